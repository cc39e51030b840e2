/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <uuid/uuid.h>

#include "internal.h"
#include "text/text.h"

long catalogue_clock_step_s = 0;

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

void catalogue_hash_text(const char *text, char hex[UP_SHA256_SIZE]) {
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
bool catalogue_hash(struct up_record *record, json_t *replaces) {
    json_t *old = replaces != NULL ? json_incref(replaces) : json_array();
    json_t *all = json_pack("{s:O, s:s, s:s, s:s, s:o, s:s}", "body", record->content, "bench",
                            record->bench, "kind", record->kind, "made_utc", record->made_utc,
                            "replaces", old, "subject", record->subject);
    char *text = all != NULL ? dump(all) : NULL;
    json_decref(all);
    if (text != NULL) {
        catalogue_hash_text(text, record->sha256);
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

bool catalogue_insert(struct up_catalogue *catalogue, const struct up_record *record,
                      const json_t *replaces, struct up_failure *failure) {
    char *content = dump(record->content);
    const char *values[] = {record->id,    record->sha256,   record->kind, record->subject,
                            record->bench, record->made_utc, content};
    bool good =
        insert(catalogue, "INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)", values, 7, failure) &&
        insert_replaces(catalogue, record->id, replaces, failure);
    free(content);
    return good;
}

/* A small computer without a battery loses its clock, and what it stored before would then pass
   for newer: so whatever a bench stores is counted. */
static bool number_it(struct up_catalogue *catalogue, const struct up_record *record,
                      json_t *content, struct up_failure *failure) {
    const char *values[] = {record->bench, record->made_utc};
    long long sequence = 0;
    bool good =
        record->bench[0] == '\0' ||
        (insert(catalogue,
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

static bool fail_body(const struct up_record *record, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "a record of kind %s cannot be stored: it is no JSON object, or holds text that "
                   "is not UTF-8",
                   record->kind);
}

bool catalogue_put(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                   struct up_failure *failure) {
    json_t *given = record->content;
    if (!json_is_object(given)) {
        return fail_body(record, failure);
    }
    up_new_id(record->id);
    if (record->subject[0] == '\0') {
        memcpy(record->subject, record->id, sizeof record->id);
    }
    record->content = json_copy(given);
    bool good = catalogue_begin(catalogue, failure);
    if (good) {
        /* Not before the lock: who waits for it must not store an older time with a later number.
         */
        catalogue_now(record->made_utc);
        good = number_it(catalogue, record, record->content, failure) &&
               (catalogue_hash(record, replaces) || fail_body(record, failure)) &&
               catalogue_insert(catalogue, record, replaces, failure);
        good = catalogue_end(catalogue, good, failure);
    }
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
    json_t *old = replaces != NULL ? json_pack("[s]", replaces) : NULL;
    bool good = catalogue_put(catalogue, &record, old, failure);
    json_decref(old);
    if (good && record_id != NULL) {
        memcpy(record_id, record.id, sizeof record.id);
    }
    return good;
}

/* ---- reading ---- */

/* Not the views: SQLite would number and sort all rows with their bodies. */
#define NOT_REPLACED(record) " NOT EXISTS (SELECT 1 FROM replaces WHERE old_id = " record ".id)"
#define NO_NEWER                                                                                   \
    " NOT EXISTS (SELECT 1 FROM record AS o WHERE o.kind = r.kind AND o.subject = r.subject AND"   \
    " (+o.made_utc, o.id) > (r.made_utc, r.id) AND" NOT_REPLACED("o") ")"
#define COLUMNS   "id, sha256, kind, subject, bench, made_utc, body"
#define SEQUENCE  "CASE WHEN json_valid(body) THEN json_extract(body, '$.bench_sequence') END"
#define BY_NUMBER "PARTITION BY bench ORDER BY n, made_utc, id ROWS UNBOUNDED PRECEDING"

static const char by_time[] = "SELECT " COLUMNS " FROM record AS r WHERE kind = ? AND" NOT_REPLACED(
    "r") " AND" NO_NEWER " ORDER BY made_utc, id";

/* Where the clock of a bench ran back, what it stored later comes later, whatever its stamp says:
   each stands at the latest time that its bench had told until then. Of one set of records there is
   one order, wherever they were put together. */
static const char by_number[] =
    "SELECT " COLUMNS " FROM (SELECT *, " SEQUENCE " AS n FROM record AS r WHERE kind = ?"
    " AND" NOT_REPLACED("r") " AND" NO_NEWER ") ORDER BY CASE bench WHEN '' THEN made_utc ELSE"
                             " max(made_utc) OVER (" BY_NUMBER ") END, bench, n, made_utc, id";

static sqlite3_stmt *prepare(struct up_catalogue *catalogue, const char *sql, const char *first,
                             const char *second, struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    if (code == SQLITE_OK && first != NULL) {
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

/* A column that cannot be fetched for want of memory looks like one that holds nothing. */
static const char *text_of(sqlite3_stmt *statement, int column) {
    const unsigned char *text = sqlite3_column_text(statement, column);
    if (text == NULL && sqlite3_errcode(sqlite3_db_handle(statement)) == SQLITE_NOMEM) {
        up_out_of_memory();
    }
    return text != NULL ? (const char *)text : "";
}

/* The first column of all rows. */
static json_t *gather_ids(struct up_catalogue *catalogue, const char *sql, const char *first,
                          const char *second, struct up_failure *failure) {
    json_t *ids = json_array();
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement = prepare(catalogue, sql, first, second, failure);
    while (statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        json_array_append_new(ids, json_string(text_of(statement, 0)));
    }
    if (statement == NULL || !finish(catalogue, statement, code, failure)) {
        json_decref(ids);
        return NULL;
    }
    return ids;
}

json_t *catalogue_live_ids(struct up_catalogue *catalogue, const char *kind, const char *subject,
                           struct up_failure *failure) {
    return gather_ids(catalogue,
                      "SELECT id FROM record AS r WHERE kind = ? AND subject = ? AND" NOT_REPLACED(
                          "r") " ORDER BY id",
                      kind, subject, failure);
}

json_t *catalogue_replaced_by(struct up_catalogue *catalogue, const char *id,
                              struct up_failure *failure) {
    return gather_ids(catalogue, "SELECT old_id FROM replaces WHERE new_id = ? ORDER BY old_id", id,
                      NULL, failure);
}

json_t *catalogue_hashes_of(struct up_catalogue *catalogue, const char *id,
                            struct up_failure *failure) {
    return gather_ids(catalogue, "SELECT sha256 FROM record WHERE id = ?", id, NULL, failure);
}

bool catalogue_ask(struct up_catalogue *catalogue, const char *sql, const char *text,
                   long long *number, struct up_failure *failure) {
    sqlite3_stmt *statement = prepare(catalogue, sql, text, NULL, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *number = code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
    return statement != NULL &&
           finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

static void copy_column(sqlite3_stmt *statement, int column, char *to, size_t size) {
    snprintf(to, size, "%s", text_of(statement, column));
}

static void read_row(sqlite3_stmt *statement, struct up_record *record) {
    copy_column(statement, 0, record->id, sizeof record->id);
    copy_column(statement, 1, record->sha256, sizeof record->sha256);
    copy_column(statement, 2, record->kind, sizeof record->kind);
    copy_column(statement, 3, record->subject, sizeof record->subject);
    copy_column(statement, 4, record->bench, sizeof record->bench);
    copy_column(statement, 5, record->made_utc, sizeof record->made_utc);
    record->content = json_loads(text_of(statement, 6), 0, NULL);
}

/* A record that cannot be read is told, not left out: a table that lacks a line misleads. */
static bool refuse_damaged(struct up_catalogue *catalogue, const struct up_record *record,
                           struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the record %s in the catalogue %s is damaged: restore a copy of the catalogue",
                   record->id, catalogue->directory);
}

static bool clock_ran_back(struct up_catalogue *catalogue, bool *ran_back,
                           struct up_failure *failure) {
    long long benches = 0;
    bool good = catalogue->version < 2 ||
                catalogue_ask(catalogue, "SELECT count(*) FROM bench_counter WHERE ran_back", NULL,
                              &benches, failure);
    *ran_back = benches > 0;
    return good;
}

struct visitor {
    bool (*visit)(const struct up_record *record, void *context);
    bool (*visit_other)(const struct up_record *record, bool live, void *context);
    void *context;
};

static bool visit_all(struct up_catalogue *catalogue, sqlite3_stmt *statement,
                      const struct visitor *visitor, struct up_failure *failure) {
    bool more = true, damaged = false;
    int code = SQLITE_DONE;
    while (more && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_record record;
        read_row(statement, &record);
        damaged = !json_is_object(record.content);
        more = damaged ? refuse_damaged(catalogue, &record, failure)
               : visitor->visit != NULL
                   ? visitor->visit(&record, visitor->context)
                   : visitor->visit_other(&record, sqlite3_column_int(statement, 7) != 0,
                                          visitor->context);
        json_decref(record.content);
    }
    return finish(catalogue, statement, more ? code : SQLITE_DONE, failure) && !damaged;
}

bool up_catalogue_each(struct up_catalogue *catalogue, const char *kind,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure) {
    const struct visitor visitor = {.visit = visit, .context = context};
    bool ran_back = false;
    sqlite3_stmt *statement = NULL;
    if (clock_ran_back(catalogue, &ran_back, failure)) {
        statement = prepare(catalogue, ran_back ? by_number : by_time, kind, NULL, failure);
    }
    return statement != NULL && visit_all(catalogue, statement, &visitor, failure);
}

bool up_catalogue_each_live(struct up_catalogue *catalogue, const char *kind, const char *subject,
                            bool (*visit)(const struct up_record *record, void *context),
                            void *context, struct up_failure *failure) {
    const struct visitor visitor = {.visit = visit, .context = context};
    sqlite3_stmt *statement = prepare(
        catalogue,
        "SELECT " COLUMNS " FROM record AS r WHERE kind = ? AND subject = ? AND" NOT_REPLACED(
            "r") " ORDER BY made_utc DESC, id DESC",
        kind, subject, failure);
    return statement != NULL && visit_all(catalogue, statement, &visitor, failure);
}

bool catalogue_each_record(struct up_catalogue *catalogue,
                           bool (*visit)(const struct up_record *record, void *context),
                           void *context, struct up_failure *failure) {
    const struct visitor visitor = {.visit = visit, .context = context};
    sqlite3_stmt *statement =
        prepare(catalogue, "SELECT " COLUMNS " FROM record ORDER BY rowid", NULL, NULL, failure);
    return statement != NULL && visit_all(catalogue, statement, &visitor, failure);
}

bool catalogue_each_other(struct up_catalogue *catalogue, const char *kind,
                          bool (*visit)(const struct up_record *record, bool live, void *context),
                          void *context, struct up_failure *failure) {
    const struct visitor visitor = {.visit_other = visit, .context = context};
    sqlite3_stmt *statement = prepare(
        catalogue,
        "SELECT " COLUMNS
        "," NOT_REPLACED("r") " AS is_live FROM record AS r WHERE kind = ?"
                              " AND NOT (" NOT_REPLACED("r") " AND" NO_NEWER
                                                             ") ORDER BY made_utc, id, sha256",
        kind, NULL, failure);
    return statement != NULL && visit_all(catalogue, statement, &visitor, failure);
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
        statement = prepare(catalogue, "SELECT last_utc FROM bench_counter WHERE bench = ?", bench,
                            NULL, NULL);
    }
    if (statement != NULL && sqlite3_step(statement) == SQLITE_ROW) {
        copy_column(statement, 0, last_utc, UP_TIME_SIZE);
    }
    sqlite3_finalize(statement);
    catalogue_now(utc);
    return strcmp(utc, last_utc) < 0;
}
