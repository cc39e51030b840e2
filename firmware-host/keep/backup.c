/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A backup: the database as it is at one moment, by SQLite's own copying, and the files of the
   runs, which were there before the records that tell of them. */
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/internal.h"
#include "internal.h"
#include "text/text.h"

static bool copy_pages(struct up_catalogue *from, struct up_catalogue *to,
                       struct up_failure *failure) {
    sqlite3_backup *copying = sqlite3_backup_init(to->database, "main", from->database, "main");
    if (copying == NULL) {
        return catalogue_fail(to, sqlite3_errcode(to->database), failure);
    }
    int code = sqlite3_backup_step(copying, -1);
    int end = sqlite3_backup_finish(copying);
    return (code == SQLITE_DONE && end == SQLITE_OK) ||
           catalogue_fail(to, code == SQLITE_DONE ? end : code, failure);
}

/* ---- is it the same? ---- */

static void add_column(struct sha256_ctx *context, sqlite3_stmt *statement, int column) {
    const unsigned char *text = sqlite3_column_text(statement, column);
    uint64_t length = (uint64_t)sqlite3_column_bytes(statement, column);
    if (text == NULL && sqlite3_errcode(sqlite3_db_handle(statement)) == SQLITE_NOMEM) {
        up_out_of_memory();
    }
    sha256_update(context, sizeof length, (const uint8_t *)&length);
    if (text != NULL) {
        sha256_update(context, length, text);
    }
}

/* All rows of a table; what is in no record as well. */
static bool add_rows(struct up_catalogue *catalogue, const char *table, struct sha256_ctx *context,
                     struct up_failure *failure) {
    char *sql = sqlite3_mprintf("SELECT * FROM main.\"%w\"", table);
    int code = SQLITE_ERROR;
    if (sql == NULL) {
        up_out_of_memory();
    }
    sqlite3_stmt *statement = catalogue_prepare(catalogue, sql, NULL, 0, failure);
    sqlite3_free(sql);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        for (int i = 0; i < sqlite3_column_count(statement); i++) {
            add_column(context, statement, i);
        }
    }
    return statement != NULL && catalogue_finish(catalogue, statement, code, failure);
}

static bool hash_tables(struct up_catalogue *catalogue, uint8_t digest[SHA256_DIGEST_SIZE],
                        struct up_failure *failure) {
    struct sha256_ctx context;
    bool good = true;
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        "SELECT name FROM main.sqlite_master WHERE type = 'table' AND sql NOT LIKE"
        " 'CREATE VIRTUAL%' ORDER BY name",
        NULL, 0, failure);
    sha256_init(&context);
    while (good && statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        good = add_rows(catalogue, catalogue_text_of(statement, 0), &context, failure);
    }
    sha256_digest(&context, SHA256_DIGEST_SIZE, digest);
    if (statement == NULL || !good) {
        sqlite3_finalize(statement);
        return false;
    }
    return catalogue_finish(catalogue, statement, code, failure);
}

static bool count_damaged(const struct up_record *record, bool aside, void *context) {
    struct up_backup *backup = context;
    (void)record, (void)aside;
    backup->damaged++;
    return true;
}

static bool is_same(struct up_catalogue *from, struct up_catalogue *to,
                    struct up_failure *failure) {
    uint8_t there[SHA256_DIGEST_SIZE], copied[SHA256_DIGEST_SIZE];
    return hash_tables(from, there, failure) && hash_tables(to, copied, failure) &&
           (memcmp(there, copied, sizeof there) == 0 ||
            up_fail(failure, UP_STATUS_UNABLE,
                    "the copy in %s is not what the catalogue holds: check the disk, or choose "
                    "another folder",
                    to->directory));
}

/* The rows are those of here, the file is whole, and each record is what its hash says. */
static bool verify(struct up_catalogue *from, struct up_catalogue *to, struct up_backup *backup,
                   struct up_failure *failure) {
    long long records = 0, whole = 0;
    bool good = is_same(from, to, failure) &&
                catalogue_ask(to, "SELECT integrity_check = 'ok' FROM pragma_integrity_check(1)",
                              NULL, &whole, failure) &&
                catalogue_ask(to, "SELECT count(*) FROM record", NULL, &records, failure) &&
                (to->version >= 4 || catalogue_run(to, catalogue_marks_for_now, failure)) &&
                catalogue_each_damaged(to, count_damaged, backup, failure);
    backup->records = (unsigned long)records;
    return good && (whole > 0 ||
                    up_fail(failure, UP_STATUS_WRONG_INPUT,
                            "%s/catalogue.sqlite is damaged, and so would be its copy: restore an "
                            "older one, or save what is sound by `upthrust check-catalogue "
                            "--salvage DIR`",
                            from->directory));
}

/* ---- the whole ---- */

static bool copy_database(struct up_catalogue *from, struct up_catalogue *to,
                          struct up_backup *backup, struct up_failure *failure) {
    long long any = 0; /* a first read begins the moment that all others see */
    bool good = catalogue_run(from, "SAVEPOINT backup", failure);
    if (good) {
        good = catalogue_ask(from, "SELECT EXISTS (SELECT 1 FROM record)", NULL, &any, failure) &&
               copy_pages(from, to, failure) && verify(from, to, backup, failure);
        sqlite3_exec(from->database, "RELEASE backup", NULL, NULL, NULL);
    }
    return good;
}

/* No other program knows the copy yet: its log needs no memory that is shared, and what is not
   whole is thrown away. */
static bool make_database(struct up_catalogue *from, const char *folder, struct up_backup *backup,
                          struct up_failure *failure) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", folder);
    struct up_catalogue to = {
        .directory = up_text_format("%s", folder), .version = from->version, .watch = from->watch};
    int code =
        sqlite3_open_v2(path, &to.database, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);
    bool good = (code == SQLITE_OK || catalogue_fail(&to, code, failure)) &&
                catalogue_run(&to,
                              "PRAGMA locking_mode = EXCLUSIVE; PRAGMA journal_mode = OFF;"
                              "PRAGMA synchronous = FULL",
                              failure) &&
                copy_database(from, &to, backup, failure);
    catalogue_close_database(&to);
    free(to.directory);
    return good && keep_sync(path, failure);
}

bool up_backup(struct up_catalogue *catalogue, const char *to, struct up_backup *backup,
               struct up_failure *failure) {
    struct keep_folder folder;
    struct keep_copied copied = {0};
    *backup = (struct up_backup){0};
    bool good = keep_begin(&folder, to, failure) &&
                make_database(catalogue, folder.part, backup, failure) &&
                keep_copy_runs(catalogue->directory, folder.part, &copied, failure);
    backup->files = copied.files;
    backup->skipped = copied.skipped;
    return keep_finish(&folder, good, failure);
}
