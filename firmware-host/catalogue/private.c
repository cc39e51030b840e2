/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Texts that stay in this folder. Nothing that exports, merges or shows records reads this table.
 */
#include "catalogue/private.h"

#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

bool catalogue_commit_to(const char *salt, const char *text, char commitment[UP_SHA256_SIZE]) {
    UP_FREED char *both = up_text_format("%s%s", salt, text);
    catalogue_hash_text(both, commitment);
    return salt[0] != '\0';
}

bool catalogue_new_salt(char salt[UP_SALT_SIZE], struct up_failure *failure) {
    uint8_t bytes[UP_SEED_BYTES];
    if (!up_key_make(bytes)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the system gives no random numbers; nothing was stored");
    }
    for (size_t i = 0; i < sizeof bytes; i++) {
        snprintf(salt + 2 * i, 3, "%02x", bytes[i]);
    }
    return true;
}

bool catalogue_keep_private(struct up_catalogue *catalogue, const char *thing, const char *member,
                            const char *salt, const char *text, struct up_failure *failure) {
    char utc[UP_TIME_SIZE];
    catalogue_now(utc);
    return catalogue_change(catalogue, "INSERT OR REPLACE INTO private VALUES (?, ?, ?, ?, ?)",
                            (const char *[]){thing, member, salt, text, utc}, 5, failure);
}

bool catalogue_drop_private(struct up_catalogue *catalogue, const char *thing, const char *member,
                            struct up_failure *failure) {
    return catalogue_change(catalogue, "DELETE FROM private WHERE thing = ?1 AND member LIKE ?2",
                            (const char *[]){thing, member}, 2, failure);
}

bool catalogue_scrub_log(struct up_catalogue *catalogue, struct up_failure *failure) {
    int code = sqlite3_wal_checkpoint_v2(catalogue->database, "main", SQLITE_CHECKPOINT_TRUNCATE,
                                         NULL, NULL);
    return code == SQLITE_OK || catalogue_fail(catalogue, code, failure);
}

bool up_private_set(struct up_catalogue *catalogue, const char *thing, const char *member,
                    const char *text, struct up_failure *failure) {
    char salt[UP_SALT_SIZE];
    if (!catalogue_new_salt(salt, failure) || !catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = text[0] == '\0'
                    ? catalogue_drop_private(catalogue, thing, member, failure)
                    : catalogue_keep_private(catalogue, thing, member, salt, text, failure);
    /* What was there before is overwritten in the file, but for its log. */
    return catalogue_end(catalogue, good, failure) && catalogue_scrub_log(catalogue, failure);
}

/* ---- reading ---- */

#define ROWS                                                                                       \
    "SELECT thing, member, salt, body, made_utc, (SELECT json_extract(r.body, "                    \
    "'$.text_commitment')"                                                                         \
    " FROM record AS r WHERE r.id = thing AND json_valid(r.body) LIMIT 1) FROM private"

static void read_row(sqlite3_stmt *statement, struct up_private *row) {
    snprintf(row->thing, sizeof row->thing, "%s", catalogue_text_of(statement, 0));
    snprintf(row->member, sizeof row->member, "%s", catalogue_text_of(statement, 1));
    snprintf(row->salt, sizeof row->salt, "%s", catalogue_text_of(statement, 2));
    row->text = up_text_format("%s", catalogue_text_of(statement, 3));
    snprintf(row->made_utc, sizeof row->made_utc, "%s", catalogue_text_of(statement, 4));
    catalogue_commit_to(row->salt, row->text, row->commitment);
    const char *told = catalogue_text_of(statement, 5);
    row->fits = told[0] == '\0' || strcmp(told, row->commitment) == 0;
}

bool up_private_each(struct up_catalogue *catalogue, const char *thing,
                     bool (*visit)(const struct up_private *text, void *context), void *context,
                     struct up_failure *failure) {
    if (catalogue->version < PRIVATE_SINCE) {
        return true;
    }
    bool more = true;
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue, ROWS " WHERE substr(thing, 1, length(?1)) = ?1 ORDER BY thing, member", &thing,
        1, failure);
    while (statement != NULL && more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_private row = {.text = NULL};
        read_row(statement, &row);
        more = visit(&row, context);
        free(row.text);
    }
    return statement != NULL &&
           catalogue_finish(catalogue, statement, more ? code : SQLITE_DONE, failure);
}

bool up_private_find(struct up_catalogue *catalogue, const char *thing, const char *member,
                     struct up_private *found, struct up_failure *failure) {
    *found = (struct up_private){.text = NULL};
    if (catalogue->version < PRIVATE_SINCE) {
        return true;
    }
    sqlite3_stmt *statement = catalogue_prepare(catalogue, ROWS " WHERE thing = ? AND member = ?",
                                                (const char *[]){thing, member}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    if (code == SQLITE_ROW) {
        read_row(statement, found);
    }
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* ---- who owns an item ---- */

bool up_item_set_owner(struct up_catalogue *catalogue, const char *item_id, const char *owner,
                       struct up_failure *failure) {
    UP_FREED char *clean = up_text_clean(owner, strlen(owner));
    return up_private_set(catalogue, item_id, "owner", clean, failure);
}

char *up_item_owner(struct up_catalogue *catalogue, const char *item_id) {
    struct up_private found;
    return up_private_find(catalogue, item_id, "owner", &found, NULL) ? found.text : NULL;
}
