/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether a file has the tables of a catalogue, word by word: one that came from somebody else may
   call anything a table, and a trigger could take away what was just stored, or never end. Views
   are for others; nothing here asks them. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* SQLite keeps a statement as it was written, without the semicolon. */
static bool is_among(const char *statements, const char *statement) {
    size_t length = strlen(statement);
    const char *at = statements;
    while ((at = strstr(at, statement)) != NULL && at[length] != ';') {
        at++;
    }
    return at != NULL && length > 0;
}

static int count_statements(const char *statements) {
    int count = 0;
    for (const char *at = statements; (at = strstr(at, "CREATE ")) != NULL; at++) {
        count++;
    }
    return count;
}

static bool refuse(const struct up_catalogue *catalogue, const char *name,
                   struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s/catalogue.sqlite has not the tables of a catalogue%s%.60s: another program "
                   "changed them; restore a copy",
                   catalogue->directory, name[0] != '\0' ? ", see " : "", name);
}

struct versions {
    char *needed[SCHEMA_VERSION + 1]; /* the statements of each version */
    int there[SCHEMA_VERSION + 1];    /* and how many of them are */
};

static void count(struct versions *versions, const char *sql) {
    for (int version = 1; version <= SCHEMA_VERSION; version++) {
        versions->there[version] += is_among(versions->needed[version], sql);
    }
}

static bool is_whole(const struct versions *versions, int version) {
    return versions->there[version] >= count_statements(versions->needed[version]);
}

/* The newest one that added tables, all of which are there. */
static int newest_whole(const struct versions *versions, int version) {
    int newest = SCHEMA_VERSION;
    while (newest > version &&
           (strcmp(versions->needed[newest], versions->needed[newest - 1]) == 0 ||
            !is_whole(versions, newest))) {
        newest--;
    }
    return newest;
}

/* An older program may have set back the file's number, so that its tables would be taken for older
   ones and what they hold for unsigned: they are taken for what they are. */
static bool check_rows(struct up_catalogue *catalogue, struct versions *versions,
                       sqlite3_stmt *statement, struct up_failure *failure) {
    int code = SQLITE_DONE;
    bool good = true;
    while (good && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        const char *name = (const char *)sqlite3_column_text(statement, 0);
        const char *sql = (const char *)sqlite3_column_text(statement, 1);
        good = (sql != NULL && is_among(versions->needed[SCHEMA_VERSION], sql)) ||
               refuse(catalogue, name != NULL ? name : "", failure);
        if (good) {
            count(versions, sql);
        }
    }
    if (good && code != SQLITE_DONE) {
        good = catalogue_fail(catalogue, code, failure);
    } else if (good && !is_whole(versions, catalogue->version)) {
        good = refuse(catalogue, "", failure);
    }
    catalogue->version = good ? newest_whole(versions, catalogue->version) : catalogue->version;
    return good;
}

/* Whoever writes into sqlite_master may name a rule of theirs like one of SQLite's own, and choose
   the case of each word; only SQLite's indexes for keys have no statement. */
bool catalogue_check_schema(struct up_catalogue *catalogue, struct up_failure *failure) {
    static const char sql[] =
        "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"
        " AND (type = 'trigger' COLLATE NOCASE OR name COLLATE NOCASE IN " CATALOGUE_TABLE_NAMES
        " OR (type = 'index' COLLATE NOCASE"
        " AND tbl_name COLLATE NOCASE IN " CATALOGUE_TABLE_NAMES "))";
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    struct versions versions = {.there = {0}};
    for (int version = 0; version <= SCHEMA_VERSION; version++) {
        versions.needed[version] = catalogue_tables_of(version);
    }
    bool good = code == SQLITE_OK ? check_rows(catalogue, &versions, statement, failure)
                                  : catalogue_fail(catalogue, code, failure);
    sqlite3_finalize(statement);
    for (int version = 0; version <= SCHEMA_VERSION; version++) {
        free(versions.needed[version]);
    }
    return good;
}
