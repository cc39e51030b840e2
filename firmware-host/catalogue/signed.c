/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records as their writer signed them (format 2). The envelope says what the record is, of which
   thing, who wrote it and after what; it holds the hashes of the facts (the columns) and of the
   detail (all else). The record's hash is that of the envelope, and the signature is over it. So
   detail may be taken away, and what remains still proves itself. Stored bytes are hashed, never
   what a program would write of them. Records from before have no envelope (format 1): their hash
   is of their members. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* ---- facts and detail ---- */

bool catalogue_is_fact(const char *kind, const char *key) {
    const struct catalogue_table *table = catalogue_table_of(kind);
    const struct catalogue_member *member = table != NULL ? table->members : NULL;
    while (member != NULL && member->key != NULL && strcmp(member->key, key) != 0) {
        member++;
    }
    return member != NULL && member->key != NULL && catalogue_is_column(member);
}

bool catalogue_split(const char *kind, json_t *content, char **facts, char **detail) {
    bool known = catalogue_table_of(kind) != NULL;
    json_auto_t *columns = json_object(), *rest = json_object();
    const char *key;
    json_t *value;
    *facts = *detail = NULL;
    json_object_foreach(content, key, value) {
        json_object_set(!known || catalogue_is_fact(kind, key) ? columns : rest, key, value);
    }
    *facts = up_json_canonical(columns);
    *detail = json_object_size(rest) > 0 ? up_json_canonical(rest) : NULL;
    return *facts != NULL && (*detail != NULL || json_object_size(rest) == 0);
}

json_t *catalogue_read_part(const char *text) {
    bool small = strnlen(text, CATALOGUE_CONTENT_BYTES_MAX + 1) <= CATALOGUE_CONTENT_BYTES_MAX;
    return small ? up_json_read(text) : NULL; /* it takes 80 times the room */
}

json_t *catalogue_join(const char *facts, const char *detail) {
    json_t *content = catalogue_read_part(facts);
    json_auto_t *rest = detail != NULL ? catalogue_read_part(detail) : NULL;
    if (rest != NULL) {
        json_object_update_missing(content, rest);
    }
    return content;
}

/* ---- whether the parts fit ---- */

static void hash_text(const char *text, char hex[UP_SHA256_SIZE]) {
    up_hash_bytes(text, strlen(text), hex);
}

static bool is_hash_of(const char *hash, const char *text) {
    char hex[UP_SHA256_SIZE];
    hash_text(text, hex);
    return strcmp(hex, hash) == 0;
}

bool catalogue_is_enveloped(const struct up_record *record, const json_t *replaces,
                            char fault[UP_FAULT_SIZE]) {
    struct up_envelope envelope;
    char hash[UP_SHA256_SIZE];
    const char *wrong = NULL;
    if (!up_envelope_read(record->envelope, &envelope, fault)) {
        return false;
    }
    up_envelope_hash(record->envelope, hash);
    if (strcmp(hash, record->sha256) != 0) {
        wrong = "\"sha256\" is not the hash of its envelope";
    } else if (strcmp(envelope.id, record->id) != 0 || strcmp(envelope.kind, record->kind) != 0 ||
               strcmp(envelope.subject, record->subject) != 0 ||
               strcmp(envelope.bench, record->bench) != 0 ||
               strcmp(envelope.made_utc, record->made_utc) != 0 ||
               strcmp(envelope.writer, record->writer) != 0 ||
               envelope.sequence != record->sequence || !json_equal(envelope.replaces, replaces)) {
        wrong = "its envelope says something else of it";
    } else if (record->facts != NULL && !is_hash_of(envelope.facts, record->facts)) {
        wrong = "its facts are not those that were signed";
    } else if (record->detail != NULL && !is_hash_of(envelope.detail, record->detail)) {
        wrong = "its detail is not what was signed";
    }
    json_decref(envelope.replaces);
    snprintf(fault, UP_FAULT_SIZE, "%s", wrong != NULL ? wrong : "");
    return wrong == NULL;
}

bool catalogue_facts_are_gone(const struct up_record *record) {
    struct up_envelope envelope;
    char fault[UP_FAULT_SIZE];
    if (record->facts == NULL || strcmp(record->facts, CATALOGUE_GONE) != 0 ||
        !up_envelope_read(record->envelope, &envelope, fault)) {
        return false;
    }
    json_decref(envelope.replaces);
    return !is_hash_of(envelope.facts, CATALOGUE_GONE);
}

/* ---- stored ---- */

static const char of_record[] =
    "SELECT envelope, body, signature, writer, sequence FROM signed LEFT JOIN detail USING (sha256)"
    " WHERE id = ? AND sha256 = ?";

sqlite3_stmt *catalogue_prepare_signed(struct up_catalogue *catalogue, struct up_failure *failure) {
    return catalogue_prepare(
        catalogue,
        catalogue->version >= SIGNED_SINCE ? of_record : "SELECT 1 WHERE ? = '' AND ? = ''", NULL,
        0, failure);
}

/* jansson is quick, and reads most parts as other programs do. */
static json_t *settle_numbers(json_t *read, const char *part) {
    bool good = read != NULL && up_json_is_exact(read);
    json_t *settled = good ? json_incref(read) : catalogue_read_part(part);
    json_decref(read);
    return settled;
}

bool catalogue_read_signed(struct up_catalogue *catalogue, sqlite3_stmt *statement,
                           struct up_record *record, const char *body, bool whole,
                           struct up_failure *failure) {
    int code = sqlite3_bind_text(statement, 1, record->id, -1, SQLITE_STATIC);
    if (code == SQLITE_OK) {
        code = sqlite3_bind_text(statement, 2, record->sha256, -1, SQLITE_STATIC);
    }
    if (code == SQLITE_OK) {
        code = sqlite3_step(statement);
    }
    if (code == SQLITE_ROW) {
        bool detailed = whole && sqlite3_column_type(statement, 1) != SQLITE_NULL;
        record->envelope = catalogue_text_of(statement, 0);
        record->facts = body;
        record->detail = detailed ? catalogue_text_of(statement, 1) : NULL;
        record->signature = catalogue_text_of(statement, 2);
        snprintf(record->writer, sizeof record->writer, "%s", catalogue_text_of(statement, 3));
        record->sequence = sqlite3_column_int64(statement, 4);
        json_auto_t *rest =
            detailed ? settle_numbers(catalogue_json_of(statement, 1), record->detail) : NULL;
        record->content = settle_numbers(record->content, body);
        if (rest != NULL && record->content != NULL) {
            json_object_update_missing(record->content, rest);
        }
    }
    return code == SQLITE_ROW || code == SQLITE_DONE || catalogue_fail(catalogue, code, failure);
}

static bool add_detail(struct up_catalogue *catalogue, const struct up_record *record,
                       struct up_failure *failure) {
    static const char sql[] = "INSERT INTO detail SELECT ?1, ?2 WHERE NOT " CATALOGUE_HAS_MARK(
        "?3", "'redacted', 'undetailed'") " ON CONFLICT DO NOTHING";
    return record->detail == NULL ||
           catalogue_change(catalogue, sql,
                            (const char *[]){record->sha256, record->detail, record->id}, 3,
                            failure);
}

bool catalogue_insert_signed(struct up_catalogue *catalogue, const struct up_record *record,
                             struct up_failure *failure) {
    char sequence[24];
    snprintf(sequence, sizeof sequence, "%lld", record->sequence);
    const char *values[] = {record->id, record->sha256,   record->writer,
                            sequence,   record->envelope, record->signature};
    return catalogue_change(catalogue,
                            "INSERT INTO signed VALUES (?, ?, ?, CAST(? AS INTEGER), ?, ?)"
                            " ON CONFLICT DO NOTHING",
                            values, 6, failure) &&
           catalogue_note_touched(catalogue, record, record->writer, failure) &&
           add_detail(catalogue, record, failure);
}

/* Its rule keeps it from being changed; for a moment of a transaction it is away. */
static bool exchange_signature(struct up_catalogue *catalogue, const struct up_record *record,
                               struct up_failure *failure) {
    return catalogue_run(catalogue, "DROP TRIGGER signed_kept", failure) &&
           catalogue_change(
               catalogue, "UPDATE signed SET signature = ? WHERE id = ? AND sha256 = ?",
               (const char *[]){record->signature, record->id, record->sha256}, 3, failure) &&
           catalogue_run(catalogue, CATALOGUE_SIGNED_KEPT, failure);
}

/* Whoever has the key can sign one hash in many ways. One that does not hold was damaged here. */
static bool keep_smaller(struct up_catalogue *catalogue, const struct up_record *record,
                         struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue, "SELECT signature FROM signed WHERE id = ? AND sha256 = ? AND signature <> ?",
        (const char *[]){record->id, record->sha256, record->signature}, 3, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    const char *here = code == SQLITE_ROW ? catalogue_text_of(statement, 0) : "";
    bool better = code == SQLITE_ROW && (strcmp(record->signature, here) < 0 ||
                                         !up_signature_holds(record->writer, record->sha256, here));
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code,
                            failure) &&
           (!better || exchange_signature(catalogue, record, failure));
}

bool catalogue_add_known(struct up_catalogue *catalogue, const struct up_record *record,
                         struct up_failure *failure) {
    return record->envelope == NULL ||
           (keep_smaller(catalogue, record, failure) && add_detail(catalogue, record, failure));
}
/* ---- who writes ---- */

const struct catalogue_member catalogue_writer_members[] = {
    TEXT_ALONE("writer", 0, "the key whose signatures are its own (Ed25519, hex)"),
    TEXT_ALONE("succeeds", LATER,
               "the key that it says signed in its folder before; that key has not confirmed it"),
    END};

/* A place that the system cannot tell from others is at least that of this path. */
static void place_of_writer(struct up_catalogue *catalogue, char place[UP_SHA256_SIZE]) {
    catalogue_place(catalogue, place);
    if (place[0] == '\0') {
        char *path = realpath(catalogue->directory, NULL);
        UP_FREED char *words =
            up_text_format("upthrust path %s", path != NULL ? path : catalogue->directory);
        free(path);
        hash_text(words, place);
    }
}

/* The last record of a writer here. */
static bool last_of(struct up_catalogue *catalogue, const char *writer, long long *sequence,
                    char hash[UP_SHA256_SIZE], struct up_failure *failure) {
    sqlite3_stmt *statement = catalogue_ready(
        catalogue, "SELECT sequence, sha256 FROM signed WHERE writer = ? ORDER BY sequence DESC",
        &writer, 1, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *sequence = code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
    snprintf(hash, UP_SHA256_SIZE, "%s", code == SQLITE_ROW ? catalogue_text_of(statement, 1) : "");
    return statement != NULL &&
           catalogue_done(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* Whether the catalogue still has what the writer wrote last, as was noted outside it: one that was
   put back from a backup has not. */
static bool has_noted(struct up_catalogue *catalogue, const struct up_writer *writer, bool *has,
                      struct up_failure *failure) {
    char sequence[24];
    snprintf(sequence, sizeof sequence, "%lld", writer->sequence);
    sqlite3_stmt *statement = catalogue_ready(
        catalogue,
        "SELECT 1 FROM signed WHERE writer = ? AND sequence = CAST(? AS INTEGER) AND sha256 = ?",
        (const char *[]){writer->public_key, sequence, writer->hash}, 3, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *has = writer->sequence == 0 || code == SQLITE_ROW;
    return statement != NULL &&
           catalogue_done(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* The writer that signed last among those that this folder is known to have had. */
static bool writer_before(struct up_catalogue *catalogue, char key[UP_KEY_SIZE],
                          struct up_failure *failure) {
    sqlite3_stmt *statement =
        catalogue_ready(catalogue,
                        "SELECT s.writer FROM signed AS s JOIN local_mark AS m ON"
                        " m.record_id = s.id AND m.mark = 'made' JOIN record AS r ON"
                        " r.id = s.id AND r.sha256 = s.sha256 ORDER BY r.rowid DESC LIMIT 1",
                        NULL, 0, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    snprintf(key, UP_KEY_SIZE, "%s", code == SQLITE_ROW ? catalogue_text_of(statement, 0) : "");
    return statement != NULL &&
           catalogue_done(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

/* ---- from before there were signatures ---- */

const struct catalogue_member catalogue_held_members[] = {
    INTEGER_ALONE("records", 0, 0, "how many"),
    {ROW("hashes", MEMBER_LINES, IN_NO_STRUCT, JSON_ONLY,
         "their SHA-256, ascending, one per line")},
    END};

enum { HASHES_MOST = 8000 }; /* half of what a record may hold */

/* The hashes of unsigned records after one of them, as lines. */
static bool gather_unsigned(struct up_catalogue *catalogue, const char *after, char **lines,
                            json_int_t *count, struct up_failure *failure) {
    size_t size;
    FILE *stream = open_memstream(lines, &size);
    int code = SQLITE_ERROR;
    sqlite3_stmt *statement =
        stream == NULL
            ? NULL
            : catalogue_ready(catalogue,
                              "SELECT sha256 FROM record AS r WHERE sha256 > ? AND NOT EXISTS"
                              " (SELECT 1 FROM signed AS s WHERE s.id = r.id AND"
                              " s.sha256 = r.sha256) ORDER BY sha256",
                              &after, 1, failure);
    *count = 0;
    while (statement != NULL && *count < HASHES_MOST &&
           (code = sqlite3_step(statement)) == SQLITE_ROW) {
        fprintf(stream, "%s\n", catalogue_text_of(statement, 0));
        ++*count;
    }
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    return statement != NULL &&
           catalogue_done(catalogue, statement, *count < HASHES_MOST ? code : SQLITE_DONE, failure);
}

/* Nobody signed them when they were made; the first writer signs that they were held here then. */
static bool put_held(struct up_catalogue *catalogue, struct up_failure *failure) {
    char after[UP_SHA256_SIZE] = "";
    json_int_t count = HASHES_MOST;
    long long before = 0;
    bool good = catalogue_ask(
        catalogue,
        "SELECT EXISTS (SELECT 1 FROM record WHERE kind = 'held' AND " CATALOGUE_HAS_MARK(
            "id", "'made'") ")",
        NULL, &before, failure);
    while (good && before == 0 && count == HASHES_MOST) {
        char *lines = NULL;
        good = gather_unsigned(catalogue, after, &lines, &count, failure);
        if (good && count > 0) {
            memcpy(after, lines + (size_t)(count - 1) * UP_SHA256_SIZE, UP_SHA256_SIZE - 1);
            json_auto_t *content = json_pack("{s:I, s:s}", "records", count, "hashes", lines);
            struct up_record record = {.kind = "held", .content = content};
            good = catalogue_put(catalogue, &record, NULL, failure);
        }
        free(lines);
    }
    return good;
}

/* ---- signing ---- */

/* A writer's first record says whom it succeeds. */
static bool put_writer(struct up_catalogue *catalogue, struct up_failure *failure) {
    char before[UP_KEY_SIZE];
    if (!writer_before(catalogue, before, failure)) {
        return false;
    }
    json_auto_t *content =
        json_pack("{s:s, s:o}", "writer", catalogue->writer.public_key, "succeeds",
                  before[0] != '\0' ? json_string(before) : json_null());
    struct up_record record = {.kind = "writer", .content = content};
    return catalogue_put(catalogue, &record, NULL, failure) && put_held(catalogue, failure);
}

/* Where the home directory keeps nothing, this program signs with a key of its own, and the next
   program with another: a bench does not stop for that. */
static bool take_passing_key(struct up_catalogue *catalogue, const struct up_failure *why,
                             struct up_failure *failure) {
    struct up_writer passing = {.sequence = 0};
    if (why->status != UP_STATUS_UNABLE || !up_key_make(passing.seed)) {
        return up_fail(failure, why->status, "%s", why->text);
    }
    up_key_public(passing.seed, passing.public_key);
    catalogue->writer = passing;
    catalogue->key_passes = true;
    up_writer_forget(&passing);
    return true;
}

static bool open_writer(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct up_failure why = {.text = ""};
    char place[UP_SHA256_SIZE];
    bool is_new = false;
    place_of_writer(catalogue, place);
    return up_writer_open(place, &catalogue->writer, &is_new, &why) ||
           take_passing_key(catalogue, &why, failure);
}

bool catalogue_renew_writer(struct up_catalogue *catalogue, struct up_failure *failure) {
    struct up_failure why = {.text = ""};
    char place[UP_SHA256_SIZE];
    place_of_writer(catalogue, place);
    return up_writer_renew(place, &catalogue->writer, &why) ||
           take_passing_key(catalogue, &why, failure);
}

/* The key of this account for this folder. Another one where the folder was copied (the place is
   another then) or put back from a backup: one key never writes two records under one number. */
static bool ready_writer(struct up_catalogue *catalogue, long long *last, char hash[UP_SHA256_SIZE],
                         struct up_failure *failure) {
    struct up_writer *writer = &catalogue->writer;
    bool has = true;
    return (writer->public_key[0] != '\0' || open_writer(catalogue, failure)) &&
           has_noted(catalogue, writer, &has, failure) &&
           (has || catalogue_renew_writer(catalogue, failure)) &&
           last_of(catalogue, writer->public_key, last, hash, failure);
}

bool catalogue_ready_writer(struct up_catalogue *catalogue, struct up_failure *failure) {
    char hash[UP_SHA256_SIZE];
    long long last = 0;
    return ready_writer(catalogue, &last, hash, failure);
}

bool catalogue_sign(struct up_catalogue *catalogue, struct up_record *record, json_t *replaces,
                    struct catalogue_parts *parts, struct up_failure *failure) {
    json_auto_t *none = json_array();
    struct up_envelope envelope = {.replaces = replaces != NULL ? replaces : none};
    long long last = 0;
    if (!ready_writer(catalogue, &last, envelope.previous, failure)) {
        return false;
    }
    if (last == 0 && strcmp(record->kind, "writer") != 0 &&
        (!put_writer(catalogue, failure) ||
         !last_of(catalogue, catalogue->writer.public_key, &last, envelope.previous, failure))) {
        return false;
    }
    if (!catalogue_split(record->kind, record->content, &parts->facts, &parts->detail)) {
        return catalogue_fail_body(record, failure);
    }
    memcpy(envelope.id, record->id, sizeof envelope.id);
    memcpy(envelope.kind, record->kind, sizeof envelope.kind);
    memcpy(envelope.subject, record->subject, sizeof envelope.subject);
    memcpy(envelope.bench, record->bench, sizeof envelope.bench);
    memcpy(envelope.made_utc, record->made_utc, sizeof envelope.made_utc);
    memcpy(envelope.writer, catalogue->writer.public_key, sizeof envelope.writer);
    envelope.sequence = last + 1;
    hash_text(parts->facts, envelope.facts);
    if (parts->detail != NULL) {
        hash_text(parts->detail, envelope.detail);
    }
    parts->envelope = up_envelope_write(&envelope);
    if (parts->envelope == NULL) {
        return catalogue_fail_body(record, failure);
    }
    up_envelope_hash(parts->envelope, record->sha256);
    catalogue->signed_sequence = envelope.sequence;
    memcpy(catalogue->signed_hash, record->sha256, sizeof record->sha256);
    record->envelope = parts->envelope;
    record->facts = parts->facts;
    record->detail = parts->detail;
    record->signature = parts->signature;
    memcpy(record->writer, envelope.writer, sizeof record->writer);
    record->sequence = envelope.sequence;
    return up_sign(catalogue->writer.seed, record->sha256, parts->signature) ||
           catalogue_fail_body(record, failure);
}

void catalogue_free_parts(struct up_record *record, struct catalogue_parts *parts) {
    free(parts->envelope);
    free(parts->facts);
    free(parts->detail);
    record->envelope = record->facts = record->detail = record->signature = NULL;
}

/* What is stored is noted outside the catalogue. Where that fails, the next program makes up for
   it: a catalogue may be ahead of its note. This one goes on with a key of its own, and does not
   wait for each record again. */
void catalogue_note_signed(struct up_catalogue *catalogue) {
    struct up_failure why = {.text = ""};
    char place[UP_SHA256_SIZE];
    if (catalogue->signed_sequence > 0 && !catalogue->key_passes) {
        place_of_writer(catalogue, place);
        if (!up_writer_note(place, &catalogue->writer, catalogue->signed_sequence,
                            catalogue->signed_hash, &why)) {
            take_passing_key(catalogue, &why, NULL);
        }
    }
}
