/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is sound of a damaged file. Each record is asked for by its row, so that a page that cannot
   be read costs what is on it and nothing else; then it comes in as one of a stranger would: only
   what its hash and its signature bear out is kept. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "catalogue/internal.h"
#include "internal.h"
#include "text/text.h"

#define COLUMNS "id, sha256, kind, subject, bench, made_utc, body"

struct salvaging {
    struct up_catalogue from; /* not opened as others are: nothing of it is trusted */
    struct up_catalogue *to;
    sqlite3_stmt *record, *envelope, *detail, *replaces, *gone;
    json_t *told; /* ids of those that are lost */
    struct up_salvage *found;
    up_lost_record *lost;
    void *context;
    struct up_failure *failure;
};

/* ---- opening ---- */

static bool has_table(struct salvaging *of, const char *name) {
    long long there = 0;
    return catalogue_ask(&of->from,
                         "SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = ?",
                         name, &there, NULL) &&
           there > 0;
}

/* With a writable schema SQLite reads a file that is shorter than it says. */
static bool open_file(struct salvaging *of, const char *uri) {
    long long tables = 0;
    int code =
        sqlite3_open_v2(uri, &of->from.database, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, NULL);
    sqlite3_extended_result_codes(of->from.database, 1);
    sqlite3_db_config(of->from.database, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, NULL);
    sqlite3_limit(of->from.database, SQLITE_LIMIT_LENGTH, 16 << 20);
    return code == SQLITE_OK &&
           catalogue_run(&of->from, "PRAGMA writable_schema = ON; PRAGMA cell_size_check = ON",
                         NULL) &&
           catalogue_ask(
               &of->from,
               "SELECT count(*) FROM sqlite_master WHERE name = 'record' AND type = 'table'", NULL,
               &tables, NULL) &&
           tables > 0;
}

static bool open_damaged(struct salvaging *of, const char *directory) {
    UP_FREED char *path = up_text_format("%s/catalogue.sqlite", directory);
    UP_FREED char *with_log = catalogue_uri(path, "?mode=ro");
    UP_FREED char *alone = catalogue_uri(path, "?mode=ro&immutable=1");
    of->from.directory = up_text_format("%s", directory);
    if (!open_file(of, with_log)) {
        catalogue_close_database(&of->from);
        of->from.database = NULL;
        if (!open_file(of, alone)) {
            return up_fail(of->failure, UP_STATUS_WRONG_INPUT,
                           "nothing of %s can be read as a catalogue: restore a backup", path);
        }
    }
    of->from.version = has_table(of, "private")      ? PRIVATE_SINCE
                       : has_table(of, "signed")     ? SIGNED_SINCE
                       : has_table(of, "local_mark") ? 4
                                                     : 1;
    return true;
}

/* ---- one record ---- */

/* One step with texts bound: whether there is a row; what cannot be read is noted. */
static bool has_row(struct salvaging *of, sqlite3_stmt *statement, const char *a, const char *b) {
    sqlite3_reset(statement);
    sqlite3_bind_text(statement, 1, a, -1, SQLITE_TRANSIENT);
    if (b != NULL) {
        sqlite3_bind_text(statement, 2, b, -1, SQLITE_TRANSIENT);
    }
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_DONE;
    of->found->unreadable = of->found->unreadable || (code != SQLITE_ROW && code != SQLITE_DONE);
    return code == SQLITE_ROW;
}

static json_t *replaces_of(struct salvaging *of, const struct up_record *record) {
    struct up_envelope envelope;
    char fault[UP_FAULT_SIZE];
    if (record->envelope != NULL) {
        return up_envelope_read(record->envelope, &envelope, fault) ? envelope.replaces : NULL;
    }
    json_t *ids = json_array();
    bool more = has_row(of, of->replaces, record->id, NULL);
    while (more) {
        json_array_append_new(ids, json_string(catalogue_text_of(of->replaces, 0)));
        more = sqlite3_step(of->replaces) == SQLITE_ROW;
    }
    return ids;
}

/* Once, whatever else is found of it. */
static void lose(struct salvaging *of, const struct up_record *record, unsigned long *count,
                 const char *why) {
    if (json_object_get(of->told, record->id) != NULL) {
        return;
    }
    ++*count;
    json_object_set_new(of->told, record->id, json_true());
    of->lost(record->id, record->kind, record->made_utc, why, of->context);
}

/* As it was signed, as far as that can be read. */
static void read_parts(struct salvaging *of, struct up_record *record, const char *body) {
    if (of->from.version < SIGNED_SINCE || !has_row(of, of->envelope, record->id, record->sha256)) {
        return;
    }
    record->envelope = catalogue_text_of(of->envelope, 0);
    record->signature = catalogue_text_of(of->envelope, 1);
    snprintf(record->writer, sizeof record->writer, "%s", catalogue_text_of(of->envelope, 2));
    record->sequence = sqlite3_column_int64(of->envelope, 3);
    record->facts = body;
    if (has_row(of, of->detail, record->sha256, NULL)) {
        record->detail = catalogue_text_of(of->detail, 0);
    }
}

static bool says_detail(const struct up_record *record) {
    struct up_envelope envelope;
    char fault[UP_FAULT_SIZE];
    bool good = record->envelope != NULL && up_envelope_read(record->envelope, &envelope, fault);
    if (good) {
        json_decref(envelope.replaces);
    }
    return good && envelope.detail[0] != '\0';
}

/* Whose facts were taken away: the envelope proves itself. */
static bool keep_gone(struct salvaging *of, struct up_record *record, json_t *replaces,
                      bool *kept) {
    struct up_record bare = *record;
    char fault[UP_FAULT_SIZE];
    bare.facts = NULL;
    *kept = catalogue_is_enveloped(&bare, replaces, fault) &&
            up_signature_holds(record->writer, record->sha256, record->signature);
    return !*kept || catalogue_insert(of->to, record, replaces, of->failure);
}

/* Its own program stored it, whatever a stranger's door would say of its members. */
static bool insert_sound(struct salvaging *of, const struct up_record *record, const char *body,
                         json_t *replaces, bool *kept) {
    json_auto_t *hashes = catalogue_hashes_of(of->to, record->id, of->failure);
    *kept = hashes != NULL && json_array_size(hashes) == 0 && replaces != NULL &&
            catalogue_is_sound(record, body, replaces) &&
            (record->envelope == NULL ||
             up_signature_holds(record->writer, record->sha256, record->signature));
    return hashes != NULL && (!*kept || catalogue_insert(of->to, record, replaces, of->failure));
}

/* What is refused is told; what the new file cannot take ends all. */
static bool admit(struct salvaging *of, struct up_record *record, const char *body,
                  json_t *replaces, bool *kept) {
    enum catalogue_admitted how = ADMITTED_REFUSED;
    struct up_failure why = {.text = ""};
    if (record->envelope != NULL && catalogue_facts_are_gone(record) &&
        has_row(of, of->gone, record->id, NULL)) {
        return keep_gone(of, record, replaces, kept);
    }
    if (record->envelope != NULL) {
        json_decref(record->content);
        record->content = catalogue_join(record->facts, record->detail);
    }
    *kept =
        catalogue_admit(of->to, record, replaces, "", false, &how, &why) && how != ADMITTED_REFUSED;
    if (why.status == UP_STATUS_UNABLE) {
        return up_fail(of->failure, why.status, "%s", why.text);
    }
    return *kept || insert_sound(of, record, body, replaces, kept);
}

/* Where its detail is what is damaged, the rest is saved. */
static bool save(struct salvaging *of, struct up_record *record, const char *body,
                 json_t *replaces) {
    bool kept = false, detailed = record->detail != NULL;
    bool good = admit(of, record, body, replaces, &kept);
    if (good && !kept && detailed) {
        record->detail = NULL;
        good = admit(of, record, body, replaces, &kept);
    }
    if (good && !kept) {
        lose(of, record, &of->found->damaged, "it is not what was stored");
    } else if (good) {
        of->found->records++;
        of->found->undetailed += record->detail == NULL && says_detail(record);
    }
    return good;
}

static bool salvage_row(struct salvaging *of, sqlite3_stmt *statement) {
    struct up_record record;
    catalogue_read_row(statement, &record);
    const char *body = catalogue_text_of(statement, 6);
    read_parts(of, &record, body);
    json_auto_t *replaces = replaces_of(of, &record);
    bool good = save(of, &record, body, replaces);
    json_decref(record.content);
    return good;
}

/* ---- all of them ---- */

static sqlite3_stmt *prepare(struct salvaging *of, const char *sql) {
    return catalogue_prepare(&of->from, sql, NULL, 0, NULL);
}

static long long bytes_of(const char *directory, const char *name) {
    UP_FREED char *path = up_text_format("%s/%s", directory, name);
    struct stat about;
    return stat(path, &about) == 0 ? (long long)about.st_size : 0;
}

/* No file of so many bytes, its log with it, has more rows. */
static long long rows_at_most(struct salvaging *of) {
    enum { ROW_BYTES_LEAST = 64 };
    long long largest = 0, most = (bytes_of(of->from.directory, "catalogue.sqlite") +
                                   bytes_of(of->from.directory, "catalogue.sqlite-wal")) /
                                  ROW_BYTES_LEAST;
    if (!catalogue_ask(&of->from, "SELECT max(rowid) FROM record NOT INDEXED", NULL, &largest,
                       NULL)) {
        of->found->unreadable = true;
        return most;
    }
    return largest < most ? largest : most;
}

static bool each_row(struct salvaging *of) {
    bool good = true;
    long long most = rows_at_most(of);
    for (long long row = 1; good && of->record != NULL && row <= most; row++) {
        sqlite3_reset(of->record);
        sqlite3_bind_int64(of->record, 1, row);
        int code = sqlite3_step(of->record);
        of->found->unreadable =
            of->found->unreadable || (code != SQLITE_ROW && code != SQLITE_DONE);
        good = code != SQLITE_ROW || salvage_row(of, of->record);
    }
    return good;
}

/* Other content under the ids of records. */
static bool each_beside(struct salvaging *of) {
    bool good = true;
    int code = SQLITE_DONE;
    sqlite3_stmt *statement = prepare(of, "SELECT " COLUMNS " FROM contested ORDER BY id, sha256");
    while (good && statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        good = salvage_row(of, statement);
    }
    of->found->unreadable = of->found->unreadable || (code != SQLITE_ROW && code != SQLITE_DONE);
    sqlite3_finalize(statement);
    return good;
}

/* Rows that are of this folder alone, as far as they can be read. */
static bool copy_rows(struct salvaging *of, const char *from, const char *to, int columns) {
    bool good = true;
    int code = SQLITE_DONE;
    sqlite3_stmt *statement = prepare(of, from);
    while (good && statement != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        const char *values[5];
        for (int i = 0; i < columns; i++) {
            values[i] = catalogue_text_of(statement, i);
        }
        good = catalogue_change(of->to, to, values, columns, of->failure);
    }
    of->found->unreadable = of->found->unreadable || (code != SQLITE_ROW && code != SQLITE_DONE);
    sqlite3_finalize(statement);
    return good;
}

static bool copy_local(struct salvaging *of) {
    return copy_rows(of, "SELECT record_id, mark, place, reason, made_utc FROM local_mark",
                     "INSERT OR IGNORE INTO local_mark VALUES (?, ?, ?, ?, ?)", 5) &&
           copy_rows(of, "SELECT thing, member, salt, body, made_utc FROM private",
                     "INSERT OR IGNORE INTO private VALUES (?, ?, ?, ?, ?)", 5);
}

/* Envelopes whose record is in no row that can be read. */
static void tell_missing(struct salvaging *of) {
    int code = SQLITE_DONE;
    sqlite3_stmt *there = catalogue_prepare(
        of->to, "SELECT 1 FROM signed WHERE id = ? AND sha256 = ?", NULL, 0, NULL);
    sqlite3_stmt *statement =
        prepare(of, "SELECT id, sha256, envelope FROM signed ORDER BY id, sha256");
    while (statement != NULL && there != NULL && (code = sqlite3_step(statement)) == SQLITE_ROW) {
        struct up_record record = {.content = NULL};
        struct up_envelope envelope;
        char fault[UP_FAULT_SIZE];
        snprintf(record.id, sizeof record.id, "%s", catalogue_text_of(statement, 0));
        if (has_row(of, there, record.id, catalogue_text_of(statement, 1)) ||
            has_row(of, of->gone, record.id, NULL) ||
            !up_envelope_read(catalogue_text_of(statement, 2), &envelope, fault)) {
            continue;
        }
        memcpy(record.kind, envelope.kind, sizeof record.kind);
        memcpy(record.made_utc, envelope.made_utc, sizeof record.made_utc);
        json_decref(envelope.replaces);
        lose(of, &record, &of->found->missing, "only its envelope can be read");
    }
    of->found->unreadable = of->found->unreadable || (code != SQLITE_ROW && code != SQLITE_DONE);
    sqlite3_finalize(there);
    sqlite3_finalize(statement);
}

static bool salvage_all(struct salvaging *of) {
    unsigned long undecided = 0;
    of->record = prepare(of, "SELECT " COLUMNS " FROM record NOT INDEXED WHERE rowid = ?");
    of->envelope = prepare(of, "SELECT envelope, signature, writer, sequence FROM signed"
                               " WHERE id = ? AND sha256 = ?");
    of->detail = prepare(of, "SELECT body FROM detail WHERE sha256 = ?");
    of->replaces = prepare(of, "SELECT old_id FROM replaces WHERE new_id = ? ORDER BY old_id");
    of->gone = prepare(of, "SELECT 1 FROM local_mark WHERE record_id = ? AND mark = 'redacted'");
    bool good = catalogue_begin(of->to, of->failure);
    if (good) {
        good = copy_local(of) && each_row(of) && each_beside(of) &&
               catalogue_settle_contested(of->to, &undecided, of->failure) &&
               catalogue_run(of->to, catalogue_count_again, of->failure);
        good = catalogue_end(of->to, good, of->failure);
    }
    if (good) {
        tell_missing(of);
    }
    sqlite3_finalize(of->record);
    sqlite3_finalize(of->envelope);
    sqlite3_finalize(of->detail);
    sqlite3_finalize(of->replaces);
    sqlite3_finalize(of->gone);
    return good;
}

/* ---- the whole ---- */

static bool fill(struct salvaging *of, const char *part) {
    struct keep_copied copied = {0};
    bool good = up_catalogue_open(part, UP_CATALOGUE_CREATE, &of->to, of->failure) &&
                salvage_all(of) && catalogue_scrub_log(of->to, of->failure);
    up_catalogue_close(of->to);
    good = good && keep_copy_runs(of->from.directory, part, &copied, of->failure);
    of->found->files = copied.files;
    return good;
}

bool up_salvage(const char *directory, const char *to, struct up_salvage *salvage,
                up_lost_record *lost, void *context, struct up_failure *failure) {
    struct keep_folder folder = {.part = NULL};
    json_auto_t *told = json_object();
    struct salvaging of = {
        .found = salvage, .lost = lost, .context = context, .failure = failure, .told = told};
    *salvage = (struct up_salvage){0};
    bool good = open_damaged(&of, directory) && keep_begin(&folder, to, failure);
    good = keep_finish(&folder, good && fill(&of, folder.part), failure);
    catalogue_close_database(&of.from);
    free(of.from.directory);
    return good;
}
