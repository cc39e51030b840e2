/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <uuid/uuid.h>

#include "internal.h"
#include "upthrust/text.h"

long catalogue_clock_step_s = 0;

void up_new_id(char id[UP_ID_SIZE]) {
    uuid_t uuid;
    uuid_generate_random(uuid);
    uuid_unparse_lower(uuid, id);
}

static void now(char utc[UP_TIME_SIZE]) {
    struct timespec time;
    struct tm parts;
    clock_gettime(CLOCK_REALTIME, &time);
    time.tv_sec += catalogue_clock_step_s;
    gmtime_r(&time.tv_sec, &parts);
    size_t length = strftime(utc, UP_TIME_SIZE, "%Y-%m-%dT%H:%M:%S", &parts);
    snprintf(utc + length, UP_TIME_SIZE - length, ".%03ldZ", time.tv_nsec / 1000000);
}

/* ---- adding ---- */

static char *dump(const json_t *json) {
    return json_dumps(json, JSON_SORT_KEYS | JSON_COMPACT | JSON_REAL_PRECISION(17));
}

static void hash_text(const char *text, char hex[UP_SHA256_SIZE]) {
    uint8_t digest[SHA256_DIGEST_SIZE];
    struct sha256_ctx context;
    sha256_init(&context);
    sha256_update(&context, strlen(text), (const uint8_t *)text);
    sha256_digest(&context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    }
}

/* Over the canonical JSON (sorted keys, no blanks) of all a record says. */
static bool hash_record(struct up_record *record, json_t *replaces) {
    json_t *old = replaces != NULL ? json_incref(replaces) : json_array();
    json_t *all = json_pack("{s:O, s:s, s:s, s:s, s:o, s:s}", "body", record->body, "bench",
                            record->bench, "kind", record->kind, "made_utc", record->made_utc,
                            "replaces", old, "subject", record->subject);
    char *text = all != NULL ? dump(all) : NULL;
    json_decref(all);
    if (text != NULL) {
        hash_text(text, record->sha256);
    }
    free(text);
    return text != NULL;
}

static bool insert(struct up_catalogue *catalogue, const char *sql, const char *const *values,
                   int count, struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    for (int i = 0; i < count && code == SQLITE_OK; i++) {
        code = sqlite3_bind_text(statement, i + 1, values[i], -1, SQLITE_STATIC);
    }
    if (code == SQLITE_OK) {
        code = sqlite3_step(statement);
    }
    bool good = code == SQLITE_DONE || catalogue_fail(catalogue, code, failure);
    sqlite3_finalize(statement);
    return good;
}

static bool insert_replaces(struct up_catalogue *catalogue, const char *id, const json_t *replaces,
                            struct up_failure *failure) {
    for (size_t i = 0; i < json_array_size(replaces); i++) {
        const char *pair[] = {id, json_string_value(json_array_get(replaces, i))};
        if (!insert(catalogue, "INSERT INTO replaces VALUES (?, ?)", pair, 2, failure)) {
            return false;
        }
    }
    return true;
}

static bool insert_record(struct up_catalogue *catalogue, const struct up_record *record,
                          const char *body, const json_t *replaces, struct up_failure *failure) {
    const char *values[] = {record->id,    record->sha256,   record->kind, record->subject,
                            record->bench, record->made_utc, body};
    /* Not a deferred transaction: one that read first could not wait for another writer. */
    if (!catalogue_run(catalogue, "BEGIN IMMEDIATE", failure)) {
        return false;
    }
    if (insert(catalogue, "INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)", values, 7, failure) &&
        insert_replaces(catalogue, record->id, replaces, failure) &&
        catalogue_run(catalogue, "COMMIT", failure)) {
        return true;
    }
    sqlite3_exec(catalogue->database, "ROLLBACK", NULL, NULL, NULL);
    return false;
}

bool catalogue_put(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                   struct up_failure *failure) {
    up_new_id(record->id);
    now(record->made_utc);
    if (record->subject[0] == '\0') {
        memcpy(record->subject, record->id, sizeof record->id);
    }
    char *body = json_is_object(record->body) ? dump(record->body) : NULL;
    bool good = body != NULL && hash_record(record, replaces);
    good = good ? insert_record(catalogue, record, body, replaces, failure)
                : up_fail(failure, UP_STATUS_UNABLE,
                          "a record of kind %s cannot be stored: it is no JSON object, or holds "
                          "text that is not UTF-8",
                          record->kind);
    free(body);
    return good;
}

static bool fits(const char *from, char *to, size_t size) {
    size_t length = strlen(from);
    if (length < size) {
        memcpy(to, from, length + 1);
    }
    return length < size;
}

bool up_catalogue_add(struct up_catalogue *catalogue, const char *kind, const char *subject,
                      const char *bench, json_t *body, const char *replaces,
                      char record_id[UP_ID_SIZE], struct up_failure *failure) {
    struct up_record record = {.body = body};
    if (!fits(kind, record.kind, sizeof record.kind) ||
        !fits(subject != NULL ? subject : "", record.subject, sizeof record.subject) ||
        !fits(bench != NULL ? bench : "", record.bench, sizeof record.bench)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a record's kind, subject or bench is too long to be stored: %.60s %.60s "
                       "%.60s",
                       kind, subject != NULL ? subject : "", bench != NULL ? bench : "");
    }
    json_t *old = replaces != NULL ? json_pack("[s]", replaces) : NULL;
    bool good = catalogue_put(catalogue, &record, old, failure);
    json_decref(old);
    if (good && record_id != NULL) {
        memcpy(record_id, record.id, sizeof record.id);
    }
    return good;
}

/* ---- reading ---- */

static sqlite3_stmt *prepare(struct up_catalogue *catalogue, const char *sql, const char *first,
                             const char *second, struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    if (code == SQLITE_OK) {
        code = sqlite3_bind_text(statement, 1, first, -1, SQLITE_STATIC);
    }
    if (code == SQLITE_OK && second != NULL) {
        code = sqlite3_bind_text(statement, 2, second, -1, SQLITE_STATIC);
    }
    if (code != SQLITE_OK) {
        catalogue_fail(catalogue, code, failure);
        sqlite3_finalize(statement);
        return NULL;
    }
    return statement;
}

/* Ends a statement whose last step gave `code`. */
static bool finish(struct up_catalogue *catalogue, sqlite3_stmt *statement, int code,
                   struct up_failure *failure) {
    bool good = code == SQLITE_DONE || catalogue_fail(catalogue, code, failure);
    sqlite3_finalize(statement);
    return good;
}

json_t *catalogue_live_ids(struct up_catalogue *catalogue, const char *kind, const char *subject,
                           struct up_failure *failure) {
    json_t *ids = json_array();
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement =
        prepare(catalogue, "SELECT id FROM live WHERE kind = ? AND subject = ? ORDER BY id", kind,
                subject, failure);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        json_array_append_new(ids, json_string((const char *)sqlite3_column_text(statement, 0)));
    }
    if (statement == NULL || !finish(catalogue, statement, code, failure)) {
        json_decref(ids);
        return NULL;
    }
    return ids;
}

static void copy_column(sqlite3_stmt *statement, int column, char *to, size_t size) {
    const unsigned char *text = sqlite3_column_text(statement, column);
    snprintf(to, size, "%s", text != NULL ? (const char *)text : "");
}

static void read_row(sqlite3_stmt *statement, struct up_record *record) {
    const unsigned char *body = sqlite3_column_text(statement, 6);
    copy_column(statement, 0, record->id, sizeof record->id);
    copy_column(statement, 1, record->sha256, sizeof record->sha256);
    copy_column(statement, 2, record->kind, sizeof record->kind);
    copy_column(statement, 3, record->subject, sizeof record->subject);
    copy_column(statement, 4, record->bench, sizeof record->bench);
    copy_column(statement, 5, record->made_utc, sizeof record->made_utc);
    record->body = body != NULL ? json_loads((const char *)body, 0, NULL) : NULL;
}

/* A record that cannot be read is told, not left out: a table that lacks a line misleads. */
static bool refuse_damaged(struct up_catalogue *catalogue, const struct up_record *record,
                           struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the record %s in the catalogue %s is damaged: restore a copy of the catalogue",
                   record->id, catalogue->directory);
}

bool up_catalogue_each(struct up_catalogue *catalogue, const char *kind,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure) {
    bool more = true, damaged = false;
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = prepare(
        catalogue,
        "SELECT id, sha256, kind, subject, bench, made_utc, body FROM current WHERE kind = ?"
        " ORDER BY made_utc, id",
        kind, NULL, failure);
    while (statement != NULL && more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_record record;
        read_row(statement, &record);
        damaged = !json_is_object(record.body);
        more = damaged ? refuse_damaged(catalogue, &record, failure) : visit(&record, context);
        json_decref(record.body);
    }
    if (statement == NULL) {
        return false;
    }
    return finish(catalogue, statement, more ? code : SQLITE_DONE, failure) && !damaged;
}

/* ---- members of bodies ---- */

json_t *number_or_null(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

json_t *clean_string(const char *text) {
    char *clean = up_text_clean(text, strlen(text));
    json_t *json = json_string(clean);
    free(clean);
    return json;
}

bool take_number(const json_t *body, const char *key, double *value) {
    const json_t *member = json_object_get(body, key);
    if (!json_is_number(member)) {
        return false;
    }
    *value = json_number_value(member);
    return true;
}

bool take_text(const json_t *body, const char *key, char *text, size_t size) {
    const char *member = json_string_value(json_object_get(body, key));
    return member != NULL && fits(member, text, size);
}
