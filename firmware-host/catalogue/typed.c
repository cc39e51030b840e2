/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is made of the records so that a question need not read them all: which one counts of each
   thing (`newest`), what those say, a table for each kind (`typed_item`, ...), and the words of
   items. All of it follows from the records, the marks and the clock, whatever came first; it is
   kept in the transaction that stores a record, and made anew where it does not fit them. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* What is asked for, by kind. */
static const struct {
    const char *kind, *columns;
} indices[] = {
    {"item", "subject"},
    {"item", "name COLLATE NOCASE"},
    {"item", "look"},
    {"item", "folded_name, subject"},
    {"item", "folded_kind, folded_name, subject"},
    {"item", "folded_maker, folded_name, subject"},
    {"item", "folded_model, folded_name, subject"},
    {"item", "folded_size, folded_name, subject"},
    {"item", "folded_kind, made_utc, subject"},
    {"item", "stock_number"},
    {"result", "item_id"},
    {"result", "run_id"},
    {"result", "class, water, item_id"},
    {"result", "made_utc, subject"},
    {"trial", "run_id"},
    {"trial", "item_id"},
    {"decision", "item_id"},
    {"run", "item_id"},
    {"run", "subject"},
    {"run", "bench, made_utc, subject"},
    {"run", "how_ended"},
    {"calibration", "bench, made_utc, subject"},
    {"reference_check", "bench, bench_sequence, subject"},
    {"reference_check", "bench, made_utc, subject"},
    {"reference", "subject"},
    {"reference", "name COLLATE NOCASE"},
    {"reference_check", "run_id"},
    {"reference_check", "reference_id"},
};

/* Beside the columns of every table: an item's name as it looks to the eye, and as it is sorted and
   searched. */
#define LOOKS                                                                                      \
    ", look TEXT, folded_name TEXT, folded_kind TEXT, folded_maker TEXT, folded_model TEXT,"       \
    " folded_size TEXT"
static const char *const folded_keys[] = {"name", "kind", "maker", "model", "size"};
enum { FOLDED = sizeof folded_keys / sizeof folded_keys[0] };

static char *append(char *text, char *more) {
    char *both = up_text_format("%s%s", text, more);
    free(text);
    free(more);
    return both;
}

static bool is_item(const struct catalogue_table *table) {
    return strcmp(table->kind, "item") == 0;
}

static bool is_typed(const struct catalogue_member *member) {
    return catalogue_is_column(member) && (member->flags & OF_RECORD) == 0;
}

static char *table_of_kind(char *sql, const struct catalogue_table *table, const char *where) {
    sql = append(sql, up_text_format("CREATE TABLE %styped_%s (record INTEGER PRIMARY KEY,"
                                     " subject TEXT NOT NULL, made_utc TEXT NOT NULL,"
                                     " bench TEXT NOT NULL",
                                     where, table->kind));
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        if (is_typed(member)) {
            sql = append(
                sql, up_text_format(", \"%s\" %s", member->key,
                                    member->type == MEMBER_NUMBER ? "REAL"
                                    : member->type == MEMBER_TEXT || member->type == MEMBER_LINES
                                        ? "TEXT"
                                        : "INTEGER"));
        }
    }
    return append(sql, up_text_format("%s);", is_item(table) ? LOOKS : ""));
}

char *catalogue_typed_tables(const char *where) {
    char *sql = up_text_format(
        "CREATE TABLE %snewest (kind TEXT NOT NULL, subject TEXT NOT NULL, record INTEGER NOT NULL,"
        " PRIMARY KEY (kind, subject)) WITHOUT ROWID;"
        "CREATE TABLE %stypes_state (last_record TEXT NOT NULL, past_utc TEXT NOT NULL,"
        " ahead_utc TEXT NOT NULL);"
        "CREATE VIRTUAL TABLE %sitem_words USING fts5(words, tokenize='trigram');",
        where, where, where);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = table_of_kind(sql, &catalogue_tables[i], where);
    }
    for (size_t i = 0; i < sizeof indices / sizeof indices[0]; i++) {
        sql = append(sql, up_text_format("CREATE INDEX %styped_%s_%zu ON typed_%s (%s);", where,
                                         indices[i].kind, i, indices[i].kind, indices[i].columns));
    }
    return sql;
}

static char *drop_tables(const char *where) {
    char *sql = up_text_format("DROP TABLE IF EXISTS %snewest; DROP TABLE IF EXISTS %stypes_state;"
                               "DROP TABLE IF EXISTS %sitem_words;",
                               where, where, where);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sql = append(sql, up_text_format("DROP TABLE IF EXISTS %styped_%s;", where,
                                         catalogue_tables[i].kind));
    }
    return sql;
}

/* ---- a row of what a record says ---- */

/* The columns of a kind's table, each with `each` before and `behind` it. */
static char *columns_of(char *sql, const struct catalogue_table *table, const char *each,
                        const char *behind) {
    static const char *const first[] = {"record", "subject", "made_utc", "bench"};
    for (size_t i = 0; i < sizeof first / sizeof first[0]; i++) {
        sql = append(sql, up_text_format("%s%s%s", i > 0 ? each : "", first[i], behind));
    }
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        if (is_typed(member)) {
            sql = append(sql, up_text_format("%s\"%s\"%s", each, member->key, behind));
        }
    }
    if (is_item(table)) {
        sql = append(sql, up_text_format("%slook%s", each, behind));
        for (size_t i = 0; i < FOLDED; i++) {
            sql = append(sql, up_text_format("%sfolded_%s%s", each, folded_keys[i], behind));
        }
    }
    return sql;
}

sqlite3_stmt *catalogue_prepare_typed(struct up_catalogue *catalogue,
                                      const struct catalogue_table *table,
                                      struct up_failure *failure) {
    char *sql = up_text_format("SELECT 1 FROM typed_%s WHERE ", table->kind);
    sql = columns_of(sql, table, " AND ", " IS ?");
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, NULL, 0, failure);
    free(sql);
    return statement;
}

static sqlite3_stmt *prepare_insert(struct up_catalogue *catalogue,
                                    const struct catalogue_table *table,
                                    struct up_failure *failure) {
    char *sql = up_text_format("INSERT OR REPLACE INTO typed_%s VALUES (?, ?, ?, ?", table->kind);
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        if (is_typed(member)) {
            sql = append(sql, up_text_format(", ?"));
        }
    }
    sql = append(sql, up_text_format("%s)", is_item(table) ? ", ?, ?, ?, ?, ?, ?" : ""));
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, NULL, 0, failure);
    free(sql);
    return statement;
}

static int bind_text(sqlite3_stmt *statement, int column, const char *text) {
    return sqlite3_bind_text(statement, column, text, -1, SQLITE_TRANSIENT);
}

static int bind_member(sqlite3_stmt *statement, int column, const json_t *value) {
    switch (value != NULL ? json_typeof(value) : JSON_NULL) {
    case JSON_STRING:
        return bind_text(statement, column, json_string_value(value));
    case JSON_INTEGER:
        return sqlite3_bind_int64(statement, column, json_integer_value(value));
    case JSON_REAL:
        return sqlite3_bind_double(statement, column, json_real_value(value));
    case JSON_TRUE:
    case JSON_FALSE:
        return sqlite3_bind_int(statement, column, json_is_true(value));
    case JSON_OBJECT:
    case JSON_ARRAY:
    case JSON_NULL:
        break;
    }
    return sqlite3_bind_null(statement, column);
}

static int bind_row(sqlite3_stmt *statement, const struct catalogue_table *table,
                    const json_t *content) {
    int column = 4, code = SQLITE_OK;
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        if (is_typed(member) && code == SQLITE_OK) {
            code = bind_member(statement, ++column, json_object_get(content, member->key));
        }
    }
    if (is_item(table) && code == SQLITE_OK) {
        UP_FREED char *look = up_text_skeleton(up_record_text(content, "name"));
        code = bind_text(statement, ++column, look);
        for (size_t i = 0; i < FOLDED && code == SQLITE_OK; i++) {
            UP_FREED char *text = up_text_folded(up_record_text(content, folded_keys[i]));
            code = bind_text(statement, ++column, text);
        }
    }
    return code;
}

/* What a person looks for in an item, folded; the parts on lines of their own. */
char *catalogue_item_words(const json_t *content) {
    static const char *const parts[] = {"name", "kind", "maker",        "model",
                                        "size", "side", "stock_number", "note"};
    char *all = up_text_format("%s", "");
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        all = append(all, up_text_format("\n%s", up_record_text(content, parts[i])));
    }
    char *folded = up_text_folded(all);
    free(all);
    return folded;
}

int catalogue_bind_typed(sqlite3_stmt *statement, const struct catalogue_table *table,
                         const struct up_record *record, long long number) {
    int code = sqlite3_bind_int64(statement, 1, number);
    code = code == SQLITE_OK ? bind_text(statement, 2, record->subject) : code;
    code = code == SQLITE_OK ? bind_text(statement, 3, record->made_utc) : code;
    code = code == SQLITE_OK ? bind_text(statement, 4, record->bench) : code;
    return code == SQLITE_OK ? bind_row(statement, table, record->content) : code;
}

static int step_once(sqlite3_stmt *statement) {
    int code = sqlite3_step(statement);
    sqlite3_reset(statement);
    return code == SQLITE_DONE ? SQLITE_OK : code;
}

static int put_words(struct up_catalogue *catalogue, long long number, const json_t *content,
                     struct up_failure *failure) {
    static const char sql[] = "INSERT INTO item_words(rowid, words) VALUES (?, ?)";
    if (catalogue->words == NULL &&
        (catalogue->words = catalogue_prepare(catalogue, sql, NULL, 0, failure)) == NULL) {
        return SQLITE_NOMEM;
    }
    UP_FREED char *words = catalogue_item_words(content);
    int code = sqlite3_bind_int64(catalogue->words, 1, number);
    code = code == SQLITE_OK ? bind_text(catalogue->words, 2, words) : code;
    return code == SQLITE_OK ? step_once(catalogue->words) : code;
}

/* A record whose content cannot be read has no row; who asks for its kind is told of it. */
static bool put_row(struct up_catalogue *catalogue, const struct up_record *record,
                    long long number, struct up_failure *failure) {
    const struct catalogue_table *table = catalogue_table_of(record->kind);
    if (table == NULL || !json_is_object(record->content)) {
        return true;
    }
    sqlite3_stmt **insert = &catalogue->types[table - catalogue_tables];
    if (*insert == NULL && (*insert = prepare_insert(catalogue, table, failure)) == NULL) {
        return false;
    }
    int code = catalogue_bind_typed(*insert, table, record, number);
    code = code == SQLITE_OK ? step_once(*insert) : code;
    if (code == SQLITE_OK && is_item(table)) {
        code = put_words(catalogue, number, record->content, failure);
    }
    return code == SQLITE_OK || catalogue_fail(catalogue, code, failure);
}

void catalogue_forget_types(struct up_catalogue *catalogue) {
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        sqlite3_finalize(catalogue->types[i]);
        catalogue->types[i] = NULL;
    }
    sqlite3_finalize(catalogue->words);
    catalogue->words = NULL;
}

/* The records that a statement names, its last column their number. */
static bool put_rows(struct up_catalogue *catalogue, const char *sql, struct up_failure *failure) {
    enum { NUMBER = 7, EACH = 4096 };
    unsigned long done = 0;
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_ready(catalogue, sql, NULL, 0, failure);
    bool good = statement != NULL;
    while (good && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_record record;
        catalogue_read_row(statement, &record);
        good = put_row(catalogue, &record, sqlite3_column_int64(statement, NUMBER), failure);
        json_decref(record.content);
        if (++done % EACH == 0 && catalogue->watch != NULL) {
            catalogue->watch("records put in order", done);
        }
    }
    if (done >= EACH && catalogue->watch != NULL) {
        catalogue->watch("records put in order", 0);
    }
    return statement != NULL &&
           catalogue_done(catalogue, statement, good ? code : SQLITE_DONE, failure) && good;
}

/* ---- what changed ---- */

bool catalogue_unsettle(struct up_catalogue *catalogue, const char *kind, const char *subject,
                        struct up_failure *failure) {
    catalogue->unsettled = true;
    return catalogue_change(catalogue, "INSERT INTO unsettled VALUES (?, ?) ON CONFLICT DO NOTHING",
                            (const char *[]){kind, subject}, 2, failure);
}

bool catalogue_unsettle_id(struct up_catalogue *catalogue, const char *record_id,
                           struct up_failure *failure) {
    catalogue->unsettled = true;
    return catalogue_change(catalogue,
                            "INSERT INTO unsettled SELECT kind, subject FROM record WHERE id = ?"
                            " ON CONFLICT DO NOTHING",
                            &record_id, 1, failure);
}

static bool clear_kind(struct up_catalogue *catalogue, const struct catalogue_table *table,
                       struct up_failure *failure) {
#define GONE                                                                                       \
    "(SELECT record FROM unsettled CROSS JOIN newest USING (kind, subject) WHERE kind = ?1)"
    UP_FREED char *sql = up_text_format("DELETE FROM typed_%s WHERE record IN " GONE, table->kind);
    return catalogue_change(catalogue, sql, &table->kind, 1, failure) &&
           (!is_item(table) ||
            catalogue_change(catalogue, "DELETE FROM item_words WHERE rowid IN " GONE, &table->kind,
                             1, failure));
#undef GONE
}

static bool clear_rows(struct up_catalogue *catalogue, struct up_failure *failure) {
    bool good = true;
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        long long some = 0;
        good = catalogue_ask(catalogue, "SELECT EXISTS (SELECT 1 FROM unsettled WHERE kind = ?)",
                             catalogue_tables[i].kind, &some, failure) &&
               (some == 0 || clear_kind(catalogue, &catalogue_tables[i], failure));
    }
    return good &&
           catalogue_change(catalogue, "DELETE FROM newest WHERE (kind, subject) IN unsettled",
                            NULL, 0, failure);
}

/* The one that counts, of each thing that was unsettled. */
#define ONE_OF(latest)                                                                             \
    "(SELECT r.rowid FROM record AS r WHERE r.kind = t.kind AND r.subject = t.subject"             \
    " AND " CATALOGUE_COUNTS(latest) " ORDER BY " CATALOGUE_RANK(latest) " DESC LIMIT 1)"

#define ROWS(from)                                                                                 \
    "SELECT id, sha256, r.kind, r.subject, bench, made_utc, body, r.rowid FROM " from              \
    " CROSS JOIN newest AS n USING (kind, subject) CROSS JOIN record AS r ON r.rowid = n.record"

/* By its number alone VACUUM and a row of the shell's could pass for what was there. */
#define LAST_RECORD                                                                                \
    "coalesce((SELECT rowid || ' ' || id || ' ' || sha256 FROM record ORDER BY rowid DESC"         \
    " LIMIT 1), '')"

/* The latest time that the clock has passed, and the earliest that it has not: of all records where
   all was made anew, else of the things unsettled. */
static bool note_state(struct up_catalogue *catalogue, const char *latest, bool whole,
                       struct up_failure *failure) {
    static const char all[] = "INSERT INTO types_state SELECT " LAST_RECORD
                              ", coalesce(max(made_utc) FILTER (WHERE made_utc <= ?1), ''),"
                              " coalesce(min(made_utc) FILTER (WHERE made_utc > ?1), '')"
                              " FROM record";
    static const char unsettled[] =
        "UPDATE types_state SET last_record = " LAST_RECORD ","
        " past_utc = max(past_utc, came.past), ahead_utc ="
        " coalesce(min(nullif(ahead_utc, ''), came.ahead), came.ahead, ahead_utc) FROM"
        " (SELECT coalesce(max(r.made_utc) FILTER (WHERE r.made_utc <= ?1), '') AS past,"
        "  min(r.made_utc) FILTER (WHERE r.made_utc > ?1) AS ahead FROM unsettled AS t"
        "  CROSS JOIN record AS r ON r.kind = t.kind AND r.subject = t.subject) AS came";
    return (!whole || catalogue_run(catalogue, "DELETE FROM types_state", failure)) &&
           catalogue_change(catalogue, whole ? all : unsettled, &latest, 1, failure);
}

bool catalogue_settle(struct up_catalogue *catalogue, struct up_failure *failure) {
    static const char newest[] =
        "INSERT INTO newest SELECT kind, subject, record FROM (SELECT kind, subject, " ONE_OF(
            "?1") " AS record FROM unsettled AS t) WHERE record IS NOT NULL";
    char latest[UP_TIME_SIZE];
    if (!catalogue->unsettled) {
        return true;
    }
    if (!catalogue->typed) { /* while it is opened: they are made anew at once */
        catalogue->passed_over = true;
        return true;
    }
    catalogue_latest(latest);
    bool good = clear_rows(catalogue, failure) &&
                catalogue_change(catalogue, newest, (const char *[]){latest}, 1, failure) &&
                put_rows(catalogue, ROWS("unsettled"), failure) &&
                note_state(catalogue, latest, false, failure) &&
                catalogue_change(catalogue, "DELETE FROM unsettled", NULL, 0, failure);
    catalogue->unsettled = false;
    return good;
}

/* ---- all of it ---- */

/* The newest of each thing in one pass: SQLite takes the rowid from the row that has the
   maximum. */
static const char all_newest[] =
    "INSERT INTO newest SELECT kind, subject, newest FROM (SELECT r.kind AS kind,"
    " r.subject AS subject, r.rowid AS newest, max(" CATALOGUE_RANK(
        "?1") ") FROM record AS r"
              " WHERE " CATALOGUE_COUNTS("?1") " GROUP BY r.kind, r.subject)";

static bool fill(struct up_catalogue *catalogue, struct up_failure *failure) {
    char latest[UP_TIME_SIZE];
    catalogue_latest(latest);
    return catalogue_change(catalogue, all_newest, (const char *[]){latest}, 1, failure) &&
           put_rows(catalogue,
                    "SELECT id, sha256, r.kind, r.subject, bench, made_utc, body, r.rowid"
                    " FROM newest AS n CROSS JOIN record AS r ON r.rowid = n.record",
                    failure) &&
           note_state(catalogue, latest, true, failure);
}

/* Whether the index of words is not there, or can be opened. */
static bool has_words(struct up_catalogue *catalogue) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, "SELECT rowid FROM main.item_words", -1,
                                  &statement, NULL);
    sqlite3_finalize(statement);
    return (code & 0xFF) != SQLITE_CORRUPT;
}

/* An index of words that is damaged can be neither read nor dropped: as an empty one it can. Its
   first two blocks are those of a new one. */
static bool mend_words(struct up_catalogue *catalogue, struct up_failure *failure) {
    static const char empty[] =
        "DELETE FROM item_words_data;"
        "INSERT INTO item_words_data VALUES (1, x''), (10, x'00000000000000')";
    if (has_words(catalogue)) {
        return true;
    }
    sqlite3_db_config(catalogue->database, SQLITE_DBCONFIG_DEFENSIVE, 0, NULL);
    bool good = catalogue_run(catalogue, empty, failure);
    sqlite3_db_config(catalogue->database, SQLITE_DBCONFIG_DEFENSIVE, 1, NULL);
    return good;
}

bool catalogue_rebuild(struct up_catalogue *catalogue, struct up_failure *failure) {
    UP_FREED char *drop = drop_tables(""), *make = catalogue_typed_tables("");
    catalogue_forget_types(catalogue);
    return mend_words(catalogue, failure) && catalogue_run(catalogue, drop, failure) &&
           catalogue_run(catalogue, make, failure) && fill(catalogue, failure);
}

/* A file that can only be read, and whose tables do not fit: they are made in memory, and hide
   those of the file. */
static bool make_for_now(struct up_catalogue *catalogue, struct up_failure *failure) {
    UP_FREED char *drop = drop_tables("temp."), *make = catalogue_typed_tables("temp.");
    catalogue_forget_types(catalogue);
    return catalogue_run(catalogue, drop, failure) && catalogue_run(catalogue, make, failure) &&
           fill(catalogue, failure);
}

/* ---- whether they fit ---- */

/* Statements as SQLite keeps them, each on a line. */
static const char stored_tables[] =
    "SELECT sql FROM sqlite_master WHERE (name = 'newest' OR name = 'types_state' OR"
    " name = 'item_words' OR name GLOB 'typed_*' OR tbl_name GLOB 'typed_*' OR"
    " tbl_name = 'newest' OR tbl_name = 'types_state') AND sql IS NOT NULL";

static bool have_form(struct up_catalogue *catalogue, bool *form, struct up_failure *failure) {
    UP_FREED char *wanted = catalogue_typed_tables("");
    int code = SQLITE_ERROR, there = 0;
    sqlite3_stmt *statement = catalogue_prepare(catalogue, stored_tables, NULL, 0, failure);
    *form = true;
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        const char *sql = catalogue_text_of(statement, 0);
        const char *at = strstr(wanted, sql);
        *form = *form && at != NULL && at[strlen(sql)] == ';';
        there++;
    }
    int needed = 0;
    for (const char *at = wanted; (at = strstr(at, "CREATE ")) != NULL; at++) {
        needed++;
    }
    *form = *form && there == needed && has_words(catalogue);
    return statement != NULL && catalogue_finish(catalogue, statement, code, failure);
}

/* Not where a record came past this program or the records were numbered anew, nor where the clock
   passed one that was ahead of it, or stands before one that was not. */
static bool fit(struct up_catalogue *catalogue, bool *fits, struct up_failure *failure) {
    static const char sql[] =
        "SELECT count(*) = 1 AND min(last_record = " LAST_RECORD ")"
        " AND min(past_utc <= ?1 AND (ahead_utc = '' OR ahead_utc > ?1)) FROM types_state";
    char latest[UP_TIME_SIZE];
    long long state = 0;
    catalogue_latest(latest);
    bool good = catalogue_ask(catalogue, sql, latest, &state, failure);
    *fits = state > 0;
    return good;
}

static bool make_anew(struct up_catalogue *catalogue, struct up_failure *failure) {
    return catalogue->writes
               ? catalogue_begin(catalogue, failure) &&
                     catalogue_end(catalogue,
                                   catalogue->typed || catalogue_rebuild(catalogue, failure),
                                   failure)
               : make_for_now(catalogue, failure);
}

bool catalogue_refresh(struct up_catalogue *catalogue, struct up_failure *failure) {
    bool fits = true;
    return sqlite3_get_autocommit(catalogue->database) == 0 ||
           (fit(catalogue, &fits, failure) && (fits || make_anew(catalogue, failure)));
}

bool catalogue_refit(struct up_catalogue *catalogue, struct up_failure *failure) {
    bool fits = true;
    return !catalogue->typed ||
           (fit(catalogue, &fits, failure) && (fits || catalogue_rebuild(catalogue, failure)));
}

bool catalogue_settle_tables(struct up_catalogue *catalogue, struct up_failure *failure) {
    bool form = false;
    catalogue->typed = (catalogue->version < TYPED_SINCE || have_form(catalogue, &form, failure)) &&
                       (form && !catalogue->passed_over ? catalogue_refresh(catalogue, failure)
                                                        : make_anew(catalogue, failure));
    return catalogue->typed;
}

/* ---- focus ---- */

static bool is_about_items(const char *kind) {
    const struct catalogue_table *table = catalogue_table_of(kind);
    const struct catalogue_member *member = table != NULL ? table->members : NULL;
    while (member != NULL && member->key != NULL && strcmp(member->key, "item_id") != 0) {
        member++;
    }
    return member != NULL && member->key != NULL;
}

static bool begin_focus(struct up_catalogue *catalogue, struct up_failure *failure) {
    return catalogue_run(catalogue,
                         "CREATE TEMP TABLE IF NOT EXISTS in_focus (item_id TEXT PRIMARY KEY,"
                         " look TEXT) WITHOUT ROWID; DELETE FROM in_focus",
                         failure);
}

bool up_catalogue_focus(struct up_catalogue *catalogue, const char *const *item_ids, size_t items,
                        struct up_failure *failure) {
    bool good = begin_focus(catalogue, failure);
    for (size_t i = 0; good && i < items; i++) {
        good = catalogue_change(catalogue,
                                "INSERT INTO in_focus VALUES (?1, (SELECT look FROM typed_item"
                                " WHERE subject = ?1)) ON CONFLICT DO NOTHING",
                                &item_ids[i], 1, failure);
    }
    catalogue->focused = good && item_ids != NULL;
    return good;
}

bool catalogue_focus_on(struct up_catalogue *catalogue, const char *ids, const char *value,
                        struct up_failure *failure) {
    UP_FREED char *sql =
        up_text_format("INSERT INTO in_focus SELECT item_id, NULL FROM (SELECT subject AS item_id"
                       " FROM (%s))",
                       ids);
    return begin_focus(catalogue, failure) &&
           (catalogue->focused = catalogue_change(catalogue, sql, &value, 1, failure));
}

char *catalogue_in_focus(const struct up_catalogue *catalogue, const char *kind) {
    if (!catalogue->focused) {
        return NULL;
    }
    if (strcmp(kind, "item") == 0) {
        return up_text_format("SELECT record FROM typed_item WHERE subject IN (SELECT item_id FROM"
                              " in_focus) OR look IN (SELECT look FROM in_focus)");
    }
    if (strcmp(kind, "run") == 0) { /* older ones say it by their trials alone */
        return up_text_format("SELECT record FROM typed_run WHERE item_id IN (SELECT item_id FROM"
                              " in_focus) OR subject IN (SELECT run_id FROM typed_trial WHERE"
                              " item_id IN (SELECT item_id FROM in_focus))");
    }
    return is_about_items(kind) ? up_text_format("SELECT record FROM typed_%s WHERE item_id IN"
                                                 " (SELECT item_id FROM in_focus)",
                                                 kind)
                                : NULL;
}
