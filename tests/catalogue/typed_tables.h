/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tables that are made of the records, row for row, and what they are when all is made anew. */
#pragma once

#include "writers.h"

static inline void add_text(char **all, const char *more) {
    char *both = up_text_format("%s%s", *all, more);
    free(*all);
    *all = both;
}

/* The rows of one table, in an order that hangs on no rowid. */
static inline char *rows_of(sqlite3 *database, const char *table, const char *columns) {
    sqlite3_str *text = sqlite3_str_new(database);
    sqlite3_stmt *statement = NULL;
    UP_FREED char *query = up_text_format("SELECT %s FROM %s ORDER BY 1, 2", columns, table);
    if (sqlite3_prepare_v2(database, query, -1, &statement, NULL) != SQLITE_OK) {
        fail_msg("%s: %s", query, sqlite3_errmsg(database));
    }
    while (sqlite3_step(statement) == SQLITE_ROW) {
        sqlite3_str_appendf(text, "%s", table);
        for (int i = 0; i < sqlite3_column_count(statement); i++) {
            const char *value = (const char *)sqlite3_column_text(statement, i);
            sqlite3_str_appendf(text, "|%Q", value);
        }
        sqlite3_str_appendall(text, "\n");
    }
    sqlite3_finalize(statement);
    char *found = sqlite3_str_finish(text);
    char *rows = up_text_format("%s", found != NULL ? found : "");
    sqlite3_free(found);
    return rows;
}

/* All of them; the caller's. Columns of types_state that a program may keep earlier than needed are
   left out: see assert_state. */
static inline char *typed_rows(sqlite3 *database) {
    char *all = rows_of(database, "newest", "*"),
         *words = rows_of(database, "item_words", "rowid, words");
    add_text(&all, words);
    free(words);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        UP_FREED char *table = up_text_format("typed_%s", catalogue_tables[i].kind);
        char *rows = rows_of(database, table, "*");
        add_text(&all, rows);
        free(rows);
    }
    return all;
}

static inline void assert_same_rows(const char *kept, const char *anew, const char *when) {
    size_t at = 0;
    while (kept[at] != '\0' && kept[at] == anew[at]) {
        at++;
    }
    if (kept[at] != anew[at]) {
        while (at > 0 && kept[at - 1] != '\n') {
            at--;
        }
        fail_msg("%s: kept\n%.400s\nmade anew\n%.400s", when, kept + at, anew + at);
    }
}

/* What was kept is what all of it gives when it is made anew; the index of words says the same as
   the words. */
static inline void assert_equal_rebuild(struct up_catalogue *catalogue, const char *when) {
    struct up_failure failure = {0};
    char *kept = typed_rows(catalogue->database);
    sql(catalogue->database, "INSERT INTO item_words(item_words) VALUES ('integrity-check')");
    if (!catalogue_begin(catalogue, &failure) ||
        !catalogue_end(catalogue, catalogue_rebuild(catalogue, &failure), &failure)) {
        fail_msg("%s: %s", when, failure.text);
    }
    char *anew = typed_rows(catalogue->database);
    assert_same_rows(kept, anew, when);
    free(kept);
    free(anew);
}
