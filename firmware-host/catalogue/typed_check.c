/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether the tables made of the records (typed.c) say what those say: somebody may have changed
   them behind the program's back. Row by row, so that it takes no room. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

struct comparing {
    struct up_catalogue *catalogue;
    sqlite3_stmt *newest, *words, *row[CATALOGUE_TABLES];
    long long things, rows[CATALOGUE_TABLES]; /* that there must be */
    long long unlike;
    struct up_failure *failure;
};

/* Counts where the statement gives no row. */
static bool look(struct comparing *comparing, sqlite3_stmt *statement, int code) {
    code = code == SQLITE_OK ? sqlite3_step(statement) : code;
    sqlite3_reset(statement);
    comparing->unlike += code == SQLITE_DONE;
    return code == SQLITE_DONE || code == SQLITE_ROW ||
           catalogue_fail(comparing->catalogue, code, comparing->failure);
}

static bool look_for_words(struct comparing *comparing, const struct up_record *record,
                           long long number) {
    UP_FREED char *words = catalogue_item_words(record->content);
    int code = sqlite3_bind_int64(comparing->words, 1, number);
    code = code == SQLITE_OK ? sqlite3_bind_text(comparing->words, 2, words, -1, SQLITE_TRANSIENT)
                             : code;
    return look(comparing, comparing->words, code);
}

static bool look_for_newest(struct comparing *comparing, const struct up_record *record,
                            long long number) {
    int code = sqlite3_bind_text(comparing->newest, 1, record->kind, -1, SQLITE_TRANSIENT);
    code = code == SQLITE_OK
               ? sqlite3_bind_text(comparing->newest, 2, record->subject, -1, SQLITE_TRANSIENT)
               : code;
    code = code == SQLITE_OK ? sqlite3_bind_int64(comparing->newest, 3, number) : code;
    comparing->things++;
    return look(comparing, comparing->newest, code);
}

static bool compare(struct comparing *comparing, const struct up_record *record, long long number) {
    const struct catalogue_table *table = catalogue_table_of(record->kind);
    if (!look_for_newest(comparing, record, number)) {
        return false;
    }
    if (table == NULL || !json_is_object(record->content)) {
        return true;
    }
    size_t at = (size_t)(table - catalogue_tables);
    comparing->rows[at]++;
    return look(comparing, comparing->row[at],
                catalogue_bind_typed(comparing->row[at], table, record, number)) &&
           (strcmp(record->kind, "item") != 0 || look_for_words(comparing, record, number));
}

/* Each thing's record that counts: SQLite takes the other columns from the row that has the
   maximum. */
static bool compare_each(struct comparing *comparing) {
    enum { NUMBER = 8 };
    static const char sql[] =
        "SELECT id, sha256, r.kind, r.subject, bench, made_utc, body, max(" CATALOGUE_RANK(
            "?1") "), r.rowid FROM record AS r WHERE " CATALOGUE_COUNTS("?1") " GROUP BY r.kind,"
                                                                              " r.subject";
    char latest[UP_TIME_SIZE];
    int code = SQLITE_ERROR;
    bool good = true;
    catalogue_latest(latest);
    sqlite3_stmt *statement = catalogue_prepare(comparing->catalogue, sql, (const char *[]){latest},
                                                1, comparing->failure);
    while (statement != NULL && good && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_record record;
        catalogue_read_row(statement, &record);
        good = compare(comparing, &record, sqlite3_column_int64(statement, NUMBER));
        json_decref(record.content);
    }
    return statement != NULL &&
           catalogue_finish(comparing->catalogue, statement, good ? code : SQLITE_DONE,
                            comparing->failure) &&
           good;
}

/* Rows beyond those that there must be. */
static bool count_more(struct comparing *comparing, const char *table, long long needed) {
    long long there = 0;
    UP_FREED char *sql = up_text_format("SELECT count(*) FROM %s", table);
    bool good = catalogue_ask(comparing->catalogue, sql, NULL, &there, comparing->failure);
    comparing->unlike += there > needed ? there - needed : 0;
    return good;
}

static bool prepare(struct comparing *comparing) {
    struct up_catalogue *catalogue = comparing->catalogue;
    comparing->newest = catalogue_prepare(
        catalogue, "SELECT 1 FROM newest WHERE kind = ? AND subject = ? AND record = ?", NULL, 0,
        comparing->failure);
    comparing->words =
        catalogue_prepare(catalogue, "SELECT 1 FROM item_words WHERE rowid = ? AND words = ?", NULL,
                          0, comparing->failure);
    bool good = comparing->newest != NULL && comparing->words != NULL;
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        comparing->row[i] =
            catalogue_prepare_typed(catalogue, &catalogue_tables[i], comparing->failure);
        good = comparing->row[i] != NULL;
    }
    return good;
}

static bool compare_all(struct comparing *comparing) {
    bool good = prepare(comparing) && compare_each(comparing) &&
                count_more(comparing, "newest", comparing->things);
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        const char *kind = catalogue_tables[i].kind;
        UP_FREED char *table = up_text_format("typed_%s", kind);
        good =
            count_more(comparing, table, comparing->rows[i]) &&
            (strcmp(kind, "item") != 0 || count_more(comparing, "item_words", comparing->rows[i]));
    }
    return good;
}

bool catalogue_compare_tables(struct up_catalogue *catalogue, long long *unlike,
                              struct up_failure *failure) {
    struct comparing comparing = {.catalogue = catalogue, .failure = failure};
    /* Of one moment: another program may be storing something. */
    bool good = catalogue_refresh(catalogue, failure) &&
                catalogue_run(catalogue, "SAVEPOINT tables", failure) && compare_all(&comparing);
    sqlite3_finalize(comparing.newest);
    sqlite3_finalize(comparing.words);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sqlite3_finalize(comparing.row[i]);
    }
    sqlite3_exec(catalogue->database, "RELEASE tables", NULL, NULL, NULL);
    *unlike = comparing.unlike;
    return good;
}

bool up_catalogue_mend(struct up_catalogue *catalogue, struct up_failure *failure) {
    return catalogue_begin(catalogue, failure) &&
           catalogue_end(catalogue, catalogue_rebuild(catalogue, failure), failure);
}
