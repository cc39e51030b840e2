/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <math.h>
#include <nettle/sha2.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>
#include <uuid/uuid.h>

#include "internal.h"
#include "upthrust/text.h"

struct up_catalogue {
    sqlite3 *database;
    char *directory;
};

int catalogue_patience_ms = 10000;

/* Nothing is ever changed or removed; REPLACE cannot go round the triggers because
   recursive_triggers is on for every connection of ours. The views are open to readers and only
   grow. */
static const char schema[] =
    "CREATE TABLE record ("
    " id TEXT NOT NULL, sha256 TEXT NOT NULL, kind TEXT NOT NULL, subject TEXT NOT NULL,"
    " bench TEXT NOT NULL, made_utc TEXT NOT NULL, body TEXT NOT NULL,"
    " PRIMARY KEY (id, sha256));"
    "CREATE TABLE replaces ("
    " new_id TEXT NOT NULL, old_id TEXT NOT NULL, PRIMARY KEY (new_id, old_id));"
    "CREATE INDEX record_subject ON record (kind, subject);"
    "CREATE INDEX replaces_old ON replaces (old_id);"
    "CREATE TRIGGER record_kept BEFORE UPDATE ON record"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER record_stays BEFORE DELETE ON record"
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
    "CREATE TRIGGER replaces_kept BEFORE UPDATE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never changed'); END;"
    "CREATE TRIGGER replaces_stays BEFORE DELETE ON replaces"
    " BEGIN SELECT RAISE(ABORT, 'records are never removed'); END;"
    "CREATE VIEW live AS SELECT * FROM record"
    " WHERE id NOT IN (SELECT old_id FROM replaces);"
    "CREATE VIEW current AS SELECT id, sha256, kind, subject, bench, made_utc, body FROM ("
    " SELECT *, row_number() OVER (PARTITION BY kind, subject"
    "  ORDER BY made_utc DESC, id DESC) AS place FROM live) WHERE place = 1;"
    "CREATE VIEW item AS SELECT subject AS item_id, made_utc,"
    " body->>'name' AS name, body->>'kind' AS kind, body->>'maker' AS maker,"
    " body->>'model' AS model, body->>'size' AS size, body->>'pieces' AS pieces,"
    " body->>'tolerance_g' AS tolerance_g, body->>'compressible' AS compressible"
    " FROM current WHERE kind = 'item';"
    "CREATE VIEW result AS SELECT id AS result_id, made_utc, bench,"
    " body->>'item_id' AS item_id, body->>'run_id' AS run_id, body->>'water' AS water,"
    " body->>'basis' AS basis, body->>'water_density_kg_m3' AS water_density_kg_m3,"
    " body->>'water_temp_c' AS water_temp_c, body->>'buoyancy_g' AS buoyancy_g,"
    " body->>'u_buoyancy_g' AS u_buoyancy_g, body->>'dof' AS dof,"
    " body->>'expanded_u_g' AS expanded_u_g, body->>'coverage' AS coverage,"
    " body->>'tolerance_g' AS tolerance_g,"
    " body->>'probability_positive' AS probability_positive,"
    " body->>'probability_neutral' AS probability_neutral,"
    " body->>'probability_negative' AS probability_negative, body->>'class' AS class,"
    " body->>'trials' AS trials, body->>'method' AS method"
    " FROM current WHERE kind = 'result';"
    "CREATE VIEW calibration AS SELECT id AS calibration_id, made_utc, bench,"
    " body->>'slope_counts_kg' AS slope_counts_kg,"
    " body->>'u_slope_counts_kg' AS u_slope_counts_kg, body->>'dof' AS dof,"
    " body->>'lack_of_fit_kg' AS lack_of_fit_kg"
    " FROM current WHERE kind = 'calibration';";

/* ---- failures ---- */

static bool fail(struct up_catalogue *catalogue, int code, struct up_failure *failure) {
    const char *directory = catalogue->directory;
    switch (code & 0xFF) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the catalogue %s is locked by another program; end it or wait, then try "
                       "again",
                       directory);
    case SQLITE_NOTADB:
    case SQLITE_CORRUPT:
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s/catalogue.sqlite is no catalogue (%s): restore a copy or choose another "
                       "--catalogue",
                       directory, sqlite3_errstr(code));
    case SQLITE_FULL:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the disk under %s is full: free space; what was stored before is safe",
                       directory);
    default:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "cannot use the catalogue %s: %s; check that you may write there", directory,
                       sqlite3_errmsg(catalogue->database));
    }
}

static bool run(struct up_catalogue *catalogue, const char *sql, struct up_failure *failure) {
    int code = sqlite3_exec(catalogue->database, sql, NULL, NULL, NULL);
    return code == SQLITE_OK || fail(catalogue, code, failure);
}

static bool ask_number(struct up_catalogue *catalogue, const char *sql, int *number,
                       struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    int code = sqlite3_prepare_v2(catalogue->database, sql, -1, &statement, NULL);
    if (code == SQLITE_OK) {
        code = sqlite3_step(statement);
        *number = sqlite3_column_int(statement, 0);
    }
    sqlite3_finalize(statement);
    return code == SQLITE_ROW || fail(catalogue, code, failure);
}

/* ---- opening ---- */

static bool make_directories(const char *directory, struct up_failure *failure) {
    static const char *const parts[] = {"", "/runs", "/plots", "/exchange"};
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        char *path = up_text_format("%s%s", directory, parts[i]);
        bool good = mkdir(path, 0777) == 0 || errno == EEXIST;
        int code = errno;
        free(path);
        if (!good) {
            return up_fail(failure, UP_STATUS_UNABLE,
                           "cannot make the catalogue %s: %s; choose another --catalogue",
                           directory, strerror(code));
        }
    }
    return true;
}

/* SQLite's write-ahead log needs memory shared by all who use it, which a network drive lacks. */
static bool is_on_network(const char *directory) {
    struct statfs about;
    if (statfs(directory, &about) != 0) {
        return false;
    }
    unsigned long type = (unsigned long)about.f_type & 0xFFFFFFFFUL;
    return type == 0x6969 /* NFS */ || type == 0xFF534D42 || type == 0xFE534D42 ||
           type == 0x517B /* SMB */;
}

static bool refuse_network(const char *directory, struct up_failure *failure) {
    return !is_on_network(directory) ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "%s lies on a network drive, where a catalogue is not safe: keep it on this "
                   "machine and export from there",
                   directory);
}

/* In a directory that cannot be written SQLite can make no shared-memory file; where no writer has
   left a log behind, the file alone is whole. */
static char *read_uri(const char *path) {
    char *log = up_text_format("%s-wal", path);
    char *directory = up_text_format("%s", path);
    *strrchr(directory, '/') = '\0';
    bool immutable = access(directory, W_OK) != 0 && access(log, F_OK) != 0;
    free(log);
    free(directory);
    /* In a URI these three have a meaning of their own. */
    char *uri = up_text_format("file:%*s", (int)(3 * strlen(path)), "");
    size_t at = 5;
    for (const char *from = path; *from != '\0'; from++) {
        if (*from == '%' || *from == '?' || *from == '#') {
            at += (size_t)sprintf(uri + at, "%%%02X", (unsigned char)*from);
        } else {
            uri[at++] = *from;
        }
    }
    uri[at] = '\0';
    char *whole = up_text_format("%s?mode=ro%s", uri, immutable ? "&immutable=1" : "");
    free(uri);
    return whole;
}

static bool open_database(struct up_catalogue *catalogue, const char *path,
                          enum up_catalogue_mode mode, struct up_failure *failure) {
    int flags = mode == UP_CATALOGUE_READ     ? SQLITE_OPEN_READONLY | SQLITE_OPEN_URI
                : mode == UP_CATALOGUE_CREATE ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE
                                              : SQLITE_OPEN_READWRITE;
    char *name = mode == UP_CATALOGUE_READ ? read_uri(path) : up_text_format("%s", path);
    int code = sqlite3_open_v2(name, &catalogue->database, flags, NULL);
    free(name);
    if (code != SQLITE_OK) {
        return fail(catalogue, code, failure);
    }
    sqlite3_extended_result_codes(catalogue->database, 1);
    sqlite3_busy_timeout(catalogue->database, catalogue_patience_ms);
    return true;
}

static bool initialise(struct up_catalogue *catalogue, struct up_failure *failure) {
    char *marks = up_text_format("PRAGMA application_id = %d; PRAGMA user_version = %d;",
                                 APPLICATION_ID, SCHEMA_VERSION);
    bool good = run(catalogue, "PRAGMA journal_mode = WAL;", failure) &&
                run(catalogue, "BEGIN IMMEDIATE;", failure);
    int version = 0;
    if (good) { /* another program may have been first */
        good =
            ask_number(catalogue, "PRAGMA user_version", &version, failure) &&
            (version != 0 || (run(catalogue, schema, failure) && run(catalogue, marks, failure)));
        sqlite3_exec(catalogue->database, good ? "COMMIT" : "ROLLBACK", NULL, NULL, NULL);
    }
    free(marks);
    return good;
}

static bool check_marks(struct up_catalogue *catalogue, enum up_catalogue_mode mode,
                        struct up_failure *failure) {
    int application = 0, version = 0, tables = 0;
    if (!ask_number(catalogue, "PRAGMA application_id", &application, failure) ||
        !ask_number(catalogue, "PRAGMA user_version", &version, failure) ||
        !ask_number(catalogue, "SELECT count(*) FROM sqlite_schema", &tables, failure)) {
        return false;
    }
    if (application == 0 && version == 0 && tables == 0 && mode == UP_CATALOGUE_CREATE) {
        return initialise(catalogue, failure);
    }
    if (application != APPLICATION_ID) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s/catalogue.sqlite is no catalogue of upthrust: choose another "
                       "--catalogue",
                       catalogue->directory);
    }
    return version <= SCHEMA_VERSION ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the catalogue %s was made by a newer upthrust (version %d of the tables, this "
                   "program knows %d): update upthrust",
                   catalogue->directory, version, SCHEMA_VERSION);
}

static bool open_all(struct up_catalogue *catalogue, enum up_catalogue_mode mode,
                     struct up_failure *failure) {
    char *path = up_text_format("%s/catalogue.sqlite", catalogue->directory);
    bool good = true;
    if (mode == UP_CATALOGUE_CREATE) {
        good = make_directories(catalogue->directory, failure) &&
               refuse_network(catalogue->directory, failure);
    } else if (access(path, F_OK) != 0) {
        good = up_fail(failure, UP_STATUS_UNABLE,
                       "there is no catalogue in %s: `upthrust item add` begins one, or name "
                       "another with --catalogue",
                       catalogue->directory);
    }
    good = good && open_database(catalogue, path, mode, failure) &&
           check_marks(catalogue, mode, failure);
    if (good && mode != UP_CATALOGUE_READ) {
        good =
            run(catalogue, "PRAGMA synchronous = FULL; PRAGMA recursive_triggers = ON;", failure);
    }
    free(path);
    return good;
}

bool up_catalogue_open(const char *directory, enum up_catalogue_mode mode,
                       struct up_catalogue **result, struct up_failure *failure) {
    struct up_catalogue *catalogue = up_allocate(1, sizeof *catalogue);
    catalogue->directory = up_text_format("%s", directory[0] != '\0' ? directory : ".");
    *result = NULL;
    if (!open_all(catalogue, mode, failure)) {
        up_catalogue_close(catalogue);
        return false;
    }
    *result = catalogue;
    return true;
}

void up_catalogue_close(struct up_catalogue *catalogue) {
    if (catalogue != NULL) {
        sqlite3_close(catalogue->database);
        free(catalogue->directory);
        free(catalogue);
    }
}

const char *up_catalogue_directory(const struct up_catalogue *catalogue) {
    return catalogue->directory;
}

/* ---- records ---- */

void up_new_id(char id[UP_ID_SIZE]) {
    uuid_t uuid;
    uuid_generate_random(uuid);
    uuid_unparse_lower(uuid, id);
}

void catalogue_now(char utc[UP_TIME_SIZE]) {
    struct timespec now;
    struct tm parts;
    clock_gettime(CLOCK_REALTIME, &now);
    gmtime_r(&now.tv_sec, &parts);
    size_t length = strftime(utc, UP_TIME_SIZE, "%Y-%m-%dT%H:%M:%S", &parts);
    snprintf(utc + length, UP_TIME_SIZE - length, ".%03ldZ", now.tv_nsec / 1000000);
}

static char *dump(const json_t *json) {
    return json_dumps(json, JSON_SORT_KEYS | JSON_COMPACT | JSON_REAL_PRECISION(17));
}

/* Over the canonical JSON (sorted keys, no blanks) of all a record says. */
static bool hash_record(const struct up_record *record, const json_t *body, const char *replaces,
                        char hex[UP_SHA256_SIZE]) {
    uint8_t digest[SHA256_DIGEST_SIZE];
    struct sha256_ctx context;
    json_t *old = json_array();
    if (replaces != NULL) {
        json_array_append_new(old, json_string(replaces));
    }
    json_t *all = json_pack("{s:O, s:s, s:s, s:s, s:o, s:s}", "body", body, "bench", record->bench,
                            "kind", record->kind, "made_utc", record->made_utc, "replaces", old,
                            "subject", record->subject);
    char *text = all != NULL ? dump(all) : NULL;
    json_decref(all);
    if (text == NULL) {
        return false;
    }
    sha256_init(&context);
    sha256_update(&context, strlen(text), (const uint8_t *)text);
    sha256_digest(&context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    }
    free(text);
    return true;
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
    sqlite3_finalize(statement);
    return code == SQLITE_DONE || fail(catalogue, code, failure);
}

static bool insert_record(struct up_catalogue *catalogue, const struct up_record *record,
                          const char *body, const char *replaces, struct up_failure *failure) {
    const char *values[] = {record->id,    record->sha256,   record->kind, record->subject,
                            record->bench, record->made_utc, body};
    const char *pair[] = {record->id, replaces};
    bool good = run(catalogue, "BEGIN IMMEDIATE", failure);
    if (!good) {
        return false;
    }
    good =
        insert(catalogue, "INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)", values, 7, failure) &&
        (replaces == NULL ||
         insert(catalogue, "INSERT INTO replaces VALUES (?, ?)", pair, 2, failure)) &&
        run(catalogue, "COMMIT", failure);
    if (!good) {
        sqlite3_exec(catalogue->database, "ROLLBACK", NULL, NULL, NULL);
    }
    return good;
}

bool up_catalogue_add(struct up_catalogue *catalogue, const char *kind, const char *subject,
                      const char *bench, json_t *body, const char *replaces,
                      char record_id[UP_ID_SIZE], struct up_failure *failure) {
    struct up_record record = {.body = NULL};
    up_new_id(record.id);
    catalogue_now(record.made_utc);
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.subject, sizeof record.subject, "%s", subject != NULL ? subject : record.id);
    snprintf(record.bench, sizeof record.bench, "%s", bench != NULL ? bench : "");
    char *text = dump(body);
    bool good = text != NULL && hash_record(&record, body, replaces, record.sha256);
    if (!good) {
        up_fail(failure, UP_STATUS_UNABLE, "a record of kind %s cannot be written as JSON", kind);
    }
    good = good && insert_record(catalogue, &record, text, replaces, failure);
    if (good && record_id != NULL) {
        memcpy(record_id, record.id, sizeof record.id);
    }
    free(text);
    return good;
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

bool up_catalogue_each(struct up_catalogue *catalogue, const char *kind,
                       bool (*visit)(const struct up_record *record, void *context), void *context,
                       struct up_failure *failure) {
    sqlite3_stmt *statement = NULL;
    bool more = true;
    int code = sqlite3_prepare_v2(
        catalogue->database,
        "SELECT id, sha256, kind, subject, bench, made_utc, body FROM current WHERE kind = ?"
        " ORDER BY made_utc, id",
        -1, &statement, NULL);
    if (code == SQLITE_OK) {
        code = sqlite3_bind_text(statement, 1, kind, -1, SQLITE_STATIC);
    }
    while (code == SQLITE_OK || code == SQLITE_ROW) {
        code = sqlite3_step(statement);
        if (code == SQLITE_ROW && more) {
            struct up_record record;
            read_row(statement, &record);
            more = record.body == NULL || visit(&record, context);
            json_decref(record.body);
        }
        if (!more) {
            code = SQLITE_DONE;
        }
    }
    sqlite3_finalize(statement);
    return code == SQLITE_DONE || fail(catalogue, code, failure);
}

/* ---- members of bodies ---- */

json_t *number_or_null(double value) {
    return isfinite(value) ? json_real(value) : json_null();
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
    if (member == NULL || strlen(member) >= size) {
        return false;
    }
    memcpy(text, member, strlen(member) + 1);
    return true;
}
