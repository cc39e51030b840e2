/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <uuid/uuid.h>

#include "internal.h"
#include "text/text.h"

long catalogue_clock_step_s = 0;
bool catalogue_signs = true;

void up_new_id(char id[UP_ID_SIZE]) {
    uuid_t uuid;
    uuid_generate_random(uuid);
    uuid_unparse_lower(uuid, id);
}

void catalogue_now(char utc[UP_TIME_SIZE]) {
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

static void add_text(struct sha256_ctx *context, const char *text) {
    sha256_update(context, strlen(text), (const uint8_t *)text);
}

static void finish_hash(struct sha256_ctx *context, char hex[UP_SHA256_SIZE]) {
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_digest(context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    }
}

void catalogue_hash_text(const char *text, char hex[UP_SHA256_SIZE]) {
    struct sha256_ctx context;
    sha256_init(&context);
    add_text(&context, text);
    finish_hash(&context, hex);
}

/* Over the canonical JSON (sorted keys, no blanks) of all a record says. */
bool catalogue_hash(struct up_record *record, json_t *replaces) {
    json_t *old = replaces != NULL ? json_incref(replaces) : json_array();
    json_auto_t *all = json_pack("{s:O, s:s, s:s, s:s, s:o, s:s}", "body", record->content, "bench",
                                 record->bench, "kind", record->kind, "made_utc", record->made_utc,
                                 "replaces", old, "subject", record->subject);
    char *text = all != NULL ? dump(all) : NULL;
    if (text != NULL) {
        catalogue_hash_text(text, record->sha256);
    }
    free(text);
    return text != NULL;
}

/* A member behind its key, as the canonical JSON has it. */
static void add_member(struct sha256_ctx *context, const char *key, json_t *value) {
    UP_FREED char *text = json_dumps(value, JSON_ENCODE_ANY | JSON_SORT_KEYS | JSON_COMPACT |
                                                JSON_REAL_PRECISION(17));
    add_text(context, key);
    add_text(context, text != NULL ? text : "");
    json_decref(value);
}

bool catalogue_hash_fits_as_stored(const struct up_record *record, const char *body,
                                   json_t *replaces) {
    struct sha256_ctx context;
    char hex[UP_SHA256_SIZE];
    sha256_init(&context);
    add_member(&context, "{\"bench\":", json_string(record->bench));
    add_text(&context, ",\"body\":");
    add_text(&context, body);
    add_member(&context, ",\"kind\":", json_string(record->kind));
    add_member(&context, ",\"made_utc\":", json_string(record->made_utc));
    add_member(&context, ",\"replaces\":", json_incref(replaces));
    add_member(&context, ",\"subject\":", json_string(record->subject));
    add_text(&context, "}");
    finish_hash(&context, hex);
    return strcmp(hex, record->sha256) == 0;
}

bool catalogue_change(struct up_catalogue *catalogue, const char *sql, const char *const *values,
                      int count, struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_ready(catalogue, sql, values, count, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    return statement != NULL && catalogue_done(catalogue, statement, code, failure);
}

static bool insert_replaces(struct up_catalogue *catalogue, const char *id, const json_t *replaces,
                            struct up_failure *failure) {
    for (size_t i = 0; i < json_array_size(replaces); i++) {
        const char *pair[] = {id, json_string_value(json_array_get(replaces, i))};
        if (!catalogue_change(catalogue, "INSERT INTO replaces VALUES (?, ?)", pair, 2, failure)) {
            return false;
        }
    }
    return true;
}

bool catalogue_fail_body(const struct up_record *record, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "a record of kind %s cannot be stored: it is not a JSON object, holds text that "
                   "is not UTF-8, is nested too deep, or is larger than a megabyte",
                   record->kind);
}

bool catalogue_insert(struct up_catalogue *catalogue, const struct up_record *record,
                      const json_t *replaces, struct up_failure *failure) {
    UP_FREED char *content =
        record->facts != NULL ? up_text_format("%s", record->facts) : dump(record->content);
    const char *values[] = {record->id,    record->sha256,   record->kind, record->subject,
                            record->bench, record->made_utc, content};
    size_t length = strlen(content) + (record->detail != NULL ? strlen(record->detail) : 0);
    return (length <= CATALOGUE_CONTENT_BYTES_MAX || catalogue_fail_body(record, failure)) &&
           catalogue_change(catalogue, "INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)", values, 7,
                            failure) &&
           (sqlite3_changes(catalogue->database) == 1 ||
            up_fail(failure, UP_STATUS_UNABLE,
                    "%s/catalogue.sqlite did not keep a record: another program changed its rules; "
                    "restore a copy",
                    catalogue->directory)) &&
           insert_replaces(catalogue, record->id, replaces, failure) &&
           (record->envelope != NULL ? catalogue_insert_signed(catalogue, record, failure)
                                     : catalogue_note_touched(catalogue, record, "", failure));
}

/* A small computer without a battery loses its clock, and what it stored before would then pass
   for newer: so whatever a bench stores is counted. */
static bool assign_sequence(struct up_catalogue *catalogue, const struct up_record *record,
                            json_t *content, struct up_failure *failure) {
    const char *values[] = {record->bench, record->made_utc};
    long long sequence = 0;
    bool good =
        record->bench[0] == '\0' ||
        (catalogue_change(
             catalogue,
             "INSERT INTO bench_counter VALUES (?1, 1, ?2, 0) ON CONFLICT (bench) DO UPDATE SET"
             " last_sequence = last_sequence + 1,"
             " ran_back = max(ran_back, excluded.last_utc < last_utc),"
             " last_utc = max(last_utc, excluded.last_utc)",
             values, 2, failure) &&
         catalogue_ask(catalogue, "SELECT last_sequence FROM bench_counter WHERE bench = ?",
                       record->bench, &sequence, failure));
    if (good && record->bench[0] != '\0') {
        json_object_set_new(content, "bench_sequence", json_integer(sequence));
    }
    return good;
}

static bool fail_clock(const struct up_record *record, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "the clock of this computer says %s: set it, then try again; nothing was stored",
                   record->made_utc);
}

bool catalogue_put(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                   struct up_failure *failure) {
    json_t *given = record->content;
    if (!json_is_object(given) || catalogue_is_too_deep(given)) {
        return catalogue_fail_body(record, failure);
    }
    up_new_id(record->id);
    if (record->subject[0] == '\0') {
        memcpy(record->subject, record->id, sizeof record->id);
    }
    struct catalogue_parts parts = {.envelope = NULL};
    record->content = json_copy(given);
    bool good = catalogue_begin(catalogue, failure);
    if (good) {
        /* After the lock is held: a waiting writer must not store an older time with a later
           number. */
        catalogue_now(record->made_utc);
        good = (catalogue_is_time(record->made_utc) || fail_clock(record, failure)) &&
               assign_sequence(catalogue, record, record->content, failure) &&
               (catalogue_signs
                    ? catalogue_sign(catalogue, record, replaces, &parts, failure)
                    : catalogue_hash(record, replaces) || catalogue_fail_body(record, failure)) &&
               catalogue_insert(catalogue, record, replaces, failure) &&
               catalogue_mark_made(catalogue, record, failure) &&
               catalogue_hold_measured(catalogue, record, failure) &&
               catalogue_settle(catalogue, failure);
        good = catalogue_end(catalogue, good, failure);
    }
    catalogue_free_parts(record, &parts);
    json_decref(record->content);
    record->content = given;
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
                      const char *bench, json_t *content, const char *replaces,
                      char record_id[UP_ID_SIZE], struct up_failure *failure) {
    struct up_record record = {.content = content};
    if (!fits(kind, record.kind, sizeof record.kind) ||
        !fits(subject != NULL ? subject : "", record.subject, sizeof record.subject) ||
        !fits(bench != NULL ? bench : "", record.bench, sizeof record.bench)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a record's kind, subject or bench is too long to be stored: %.60s %.60s "
                       "%.60s",
                       kind, subject != NULL ? subject : "", bench != NULL ? bench : "");
    }
    json_auto_t *old = replaces != NULL ? json_pack("[s]", replaces) : NULL;
    bool good = catalogue_put(catalogue, &record, old, failure);
    if (good && record_id != NULL) {
        memcpy(record_id, record.id, sizeof record.id);
    }
    return good;
}

/* ---- members of bodies ---- */

const char *up_record_text(const json_t *content, const char *key) {
    const char *text = json_string_value(json_object_get(content, key));
    return text != NULL ? text : "";
}

double up_record_number(const json_t *content, const char *key) {
    const json_t *member = json_object_get(content, key);
    return json_is_number(member) ? json_number_value(member) : (double)NAN;
}

bool catalogue_read_number(const json_t *content, const char *key, double *value) {
    const json_t *member = json_object_get(content, key);
    if (!json_is_number(member)) {
        return false;
    }
    *value = json_number_value(member);
    return true;
}

bool catalogue_read_text(const json_t *content, const char *key, char *text, size_t size) {
    const char *member = json_string_value(json_object_get(content, key));
    return member != NULL && fits(member, text, size);
}

/* ---- the clock ---- */

bool up_catalogue_clock_is_behind(struct up_catalogue *catalogue, const char *bench,
                                  char last_utc[UP_TIME_SIZE]) {
    char utc[UP_TIME_SIZE];
    sqlite3_stmt *statement = NULL;
    last_utc[0] = '\0';
    if (catalogue->version >= 2) {
        statement =
            catalogue_prepare(catalogue, "SELECT last_utc FROM bench_counter WHERE bench = ?",
                              (const char *[]){bench}, 1, NULL);
    }
    if (statement != NULL && sqlite3_step(statement) == SQLITE_ROW) {
        snprintf(last_utc, UP_TIME_SIZE, "%s", catalogue_text_of(statement, 0));
    }
    sqlite3_finalize(statement);
    catalogue_now(utc);
    return strcmp(utc, last_utc) < 0;
}
