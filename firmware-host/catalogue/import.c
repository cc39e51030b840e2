/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Taking over what other catalogues hold: their JSON document, or they themselves. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "internal.h"
#include "text/text.h"

/* As sessions make them 24 thousand records fit into that memory, and 9,400 where all are results.
 */
enum { DOCUMENT_BYTES_MAX = 128 << 20, DOCUMENT_MEMORY_BYTES_MAX = 512 << 20 };

struct import {
    struct up_catalogue *catalogue;
    struct up_catalogue *other; /* merge: where it comes from */
    const char *path;
    struct up_intake *intake;
    struct up_failure *failure;
    bool dry_run, failed;
};

/* ---- the document ---- */

static json_t *load_document(const char *path, struct up_failure *failure) {
    json_error_t error;
    size_t length = 0;
    char *text = up_text_read_file(path, UP_LINKS_FOLLOWED, DOCUMENT_BYTES_MAX, &length, failure);
    if (text == NULL) {
        return NULL;
    }
    if (up_json_bytes(text, length) > DOCUMENT_MEMORY_BYTES_MAX) {
        free(text);
        up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "%s contains more values than fit into memory: merge the catalogue's directory instead",
            path);
        return NULL;
    }
    json_t *document = json_loadb(text, length, JSON_REJECT_DUPLICATES, &error);
    free(text);
    if (document == NULL) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "%s, line %d: %s", path, error.line, error.text);
        return NULL;
    }
    const char *schema = json_string_value(json_object_get(document, "schema"));
    if (schema == NULL || (strcmp(schema, "upthrust-catalogue-2") != 0 &&
                           strcmp(schema, "upthrust-catalogue-1") != 0)) {
        json_decref(document);
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "%s is not an export of a catalogue: its \"schema\" is neither "
                "upthrust-catalogue-2 nor upthrust-catalogue-1",
                path);
        return NULL;
    }
    return document;
}

/* ---- one entry of it ---- */

static bool admit_member(const struct import *import, const char *where, json_t *entry,
                         const char *key, char *to, size_t size) {
    return catalogue_read_text(entry, key, to, size) ||
           up_fail(import->failure, UP_STATUS_WRONG_INPUT,
                   "%s: \"%s\" is missing, not a text or too long; nothing was stored", where, key);
}

static const char *const added[] = {"id",    "subject", "sha256",    "made_utc",    "replaces",
                                    "bench", "signed",  "withdrawn", "record_kind", "live"};
enum { ADDED = sizeof added / sizeof added[0], ADDED_TO_OTHERS = 2 }; /* the last of them */

bool catalogue_is_of_export(const struct catalogue_table *table, const char *key) {
    bool is = strcmp(key, table->id_name) == 0;
    for (size_t i = 0; i < ADDED; i++) {
        is = is || strcmp(key, added[i]) == 0;
    }
    return is;
}

/* The members that export added to those of the content. */
static void remove_export_members(json_t *content, const char *kind, bool other) {
    const struct catalogue_table *table = catalogue_table_of(kind);
    for (size_t i = 0; i < ADDED - (other ? 0 : ADDED_TO_OTHERS); i++) {
        json_object_del(content, added[i]);
    }
    json_object_del(content, table != NULL ? table->id_name : "");
}

/* Some contents name the bench themselves; the hash shows which case this is. */
static void settle_bench(struct up_record *record, json_t *replaces) {
    struct up_record copy = *record;
    bool fits = catalogue_hash(&copy, replaces) && strcmp(copy.sha256, record->sha256) == 0;
    if (!fits && record->bench[0] != '\0') {
        json_object_set_new(record->content, "bench", json_string(record->bench));
    }
}

static bool read_record(const struct import *import, const char *where, json_t *entry,
                        struct up_record *record) {
    const json_t *bench = json_object_get(entry, "bench");
    return admit_member(import, where, entry, "id", record->id, sizeof record->id) &&
           admit_member(import, where, entry, "subject", record->subject, sizeof record->subject) &&
           admit_member(import, where, entry, "sha256", record->sha256, sizeof record->sha256) &&
           admit_member(import, where, entry, "made_utc", record->made_utc,
                        sizeof record->made_utc) &&
           (bench == NULL ||
            admit_member(import, where, entry, "bench", record->bench, sizeof record->bench));
}

static bool is_among(json_t *facts, const json_t *entry) {
    const char *key;
    json_t *value;
    json_object_foreach(facts, key, value) {
        if (!json_equal(value, json_object_get(entry, key))) {
            return false;
        }
    }
    return true;
}

static bool refuse_entry(const struct import *import, const char *where, const char *wrong) {
    return up_fail(import->failure, UP_STATUS_WRONG_INPUT, "%s: %s; nothing was stored", where,
                   wrong);
}

/* The envelope and the facts stand there as they were signed; the detail among the readable
   members, but as it was signed, too, where the kind is not known. What a person or a program reads
   is what was signed: other members are refused. */
static bool read_signed(const struct import *import, const char *where, json_t *entry,
                        struct up_record *record, char **detail) {
    struct up_envelope envelope = {.replaces = NULL};
    char fault[UP_FAULT_SIZE];
    json_t *as = json_object_get(entry, "signed");
    record->envelope = json_string_value(json_object_get(as, "envelope"));
    record->facts = json_string_value(json_object_get(as, "facts"));
    record->signature = json_string_value(json_object_get(as, "signature"));
    json_auto_t *facts = record->facts != NULL ? catalogue_read_part(record->facts) : NULL;
    if (record->envelope == NULL || record->signature == NULL || !json_is_object(facts)) {
        return refuse_entry(import, where,
                            "\"signed\" is not an envelope, facts of at most a megabyte and a "
                            "signature");
    }
    if (!up_envelope_read(record->envelope, &envelope, fault)) {
        return refuse_entry(import, where, fault);
    }
    memcpy(record->writer, envelope.writer, sizeof record->writer);
    record->sequence = envelope.sequence;
    json_decref(envelope.replaces);
    if (catalogue_table_of(record->kind) == NULL) {
        const char *text = json_string_value(json_object_get(as, "detail"));
        *detail = text != NULL ? up_text_format("%s", text) : NULL;
        json_decref(record->content);
        record->content = catalogue_join(record->facts, *detail);
    } else if (is_among(facts, entry)) {
        const char *key;
        json_t *value;
        json_auto_t *rest = json_copy(record->content);
        json_object_foreach(facts, key, value) {
            json_object_del(rest, key);
        }
        *detail = json_object_size(rest) > 0 ? up_json_canonical(rest) : NULL;
        if (*detail == NULL && json_object_size(rest) > 0) {
            return refuse_entry(import, where, "a whole number in it is beyond 2^53");
        }
        json_object_update(record->content, facts);
    } else {
        return refuse_entry(import, where, "its members are not those that were signed");
    }
    record->detail = *detail;
    return true;
}

/* Whether this folder made, adopted or measured a version of the thing. Nothing is kept of the
   answer: a merge may bring millions. */
static bool is_ours(const struct import *import, const char *kind, const char *subject,
                    bool *ours) {
    sqlite3_stmt *statement =
        catalogue_ready(import->catalogue,
                        "SELECT EXISTS (SELECT 1 FROM record AS r WHERE kind = ? AND subject = ?"
                        " AND " CATALOGUE_IS_HELD("r.id") ")",
                        (const char *[]){kind, subject}, 2, import->failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *ours = code == SQLITE_ROW && sqlite3_column_int(statement, 0) > 0;
    return statement != NULL &&
           catalogue_done(import->catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code,
                          import->failure);
}

/* What of ours it touches. */
static bool count_fresh(const struct import *import, const struct up_record *record) {
    struct up_intake *intake = import->intake;
    bool is_result = strcmp(record->kind, "result") == 0, ours = false;
    const char *subject = is_result ? up_record_text(record->content, "item_id") : record->subject;
    bool good = is_ours(import, is_result ? "item" : record->kind, subject, &ours);
    intake->fresh++;
    intake->calibrations += strcmp(record->kind, "calibration") == 0;
    intake->results_of_ours += ours && is_result;
    intake->versions_of_ours += ours && !is_result;
    intake->items_of_ours += ours && strcmp(record->kind, "item") == 0;
    return good;
}

static bool count(struct import *import, const struct up_record *record,
                  enum catalogue_admitted how) {
    import->intake->known += how == ADMITTED_KNOWN;
    import->intake->contested += how == ADMITTED_CONTESTED;
    import->intake->copies += how == ADMITTED_COPY;
    import->intake->refused += how == ADMITTED_REFUSED;
    return how != ADMITTED_FRESH || count_fresh(import, record);
}

static bool admit_entry(struct import *import, const char *where, json_t *entry, const char *kind,
                        bool other) {
    struct up_record record = {.content = NULL};
    enum catalogue_admitted how;
    if (!json_is_object(entry)) {
        return up_fail(import->failure, UP_STATUS_WRONG_INPUT,
                       "%s is not a JSON object; nothing was stored", where);
    }
    if (strlen(kind) >= sizeof record.kind) {
        return refuse_entry(import, where, "\"record_kind\" is longer than any kind");
    }
    json_t *replaces = json_incref(json_object_get(entry, "replaces"));
    if (!read_record(import, where, entry, &record)) {
        json_decref(replaces);
        return false;
    }
    replaces = replaces != NULL ? replaces : json_array(); /* left out: none */
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    record.content = json_copy(entry);
    remove_export_members(record.content, kind, other);
    UP_FREED char *detail = NULL;
    bool is_signed = json_object_get(entry, "signed") != NULL;
    if (!is_signed) {
        settle_bench(&record, replaces);
    }
    bool good =
        (!is_signed || read_signed(import, where, entry, &record, &detail)) &&
        catalogue_admit(import->catalogue, &record, replaces, where, false, &how, import->failure);
    good = good && count(import, &record, how);
    json_decref(record.content);
    json_decref(replaces);
    return good;
}

static bool admit_list(struct import *import, json_t *list, const char *name,
                       const struct catalogue_table *table) {
    bool good = true;
    if (list != NULL && !json_is_array(list)) {
        return up_fail(import->failure, UP_STATUS_WRONG_INPUT, "%s: \"%s\" is not a list",
                       import->path, name);
    }
    for (size_t i = 0; good && i < json_array_size(list); i++) {
        json_t *entry = json_array_get(list, i);
        const char *kind = table != NULL ? table->kind : up_record_text(entry, "record_kind");
        bool known = catalogue_table_of(kind) != NULL ||
                     (kind[0] != '\0' && json_object_get(entry, "signed") != NULL);
        UP_FREED char *where = up_text_format("%s: %s[%zu]", import->path, name, i);
        good = known ? admit_entry(import, where, entry, kind, table == NULL)
                     : up_fail(import->failure, UP_STATUS_WRONG_INPUT,
                               "%s: \"record_kind\" is missing or not known to this program; "
                               "nothing was stored",
                               where);
    }
    return good;
}

/* ---- all of it ---- */

static bool admit_document(struct import *import, json_t *document) {
    bool good = true;
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        const struct catalogue_table *table = &catalogue_tables[i];
        good = admit_list(import, json_object_get(document, table->list), table->list, table);
    }
    return good && admit_list(import, json_object_get(document, "versions"), "versions", NULL) &&
           admit_list(import, json_object_get(document, "passed_on"), "passed_on", NULL);
}

/* Imported records may continue this bench's count, or have a later time. */
static bool finish(struct import *import, bool good) {
    if (good && import->intake->fresh + import->intake->contested > 0) {
        good = catalogue_settle_trust(import->catalogue, &import->intake->undecided,
                                      import->failure) &&
               catalogue_run(import->catalogue, catalogue_count_again, import->failure);
    }
    bool stored = catalogue_end(import->catalogue, good && !import->dry_run, import->failure);
    good = good && (stored || import->dry_run);
    if (!good) {
        *import->intake = (struct up_intake){0};
    }
    return good;
}

static char *document_in(const char *path) {
    struct stat about;
    if (stat(path, &about) != 0 || !S_ISDIR(about.st_mode)) {
        return up_text_format("%s", path);
    }
    char *file = up_text_format("%s/catalogue.json", path);
    if (access(file, F_OK) != 0) {
        char *deeper = up_text_format("%s/exchange/catalogue.json", path);
        bool there = access(deeper, F_OK) == 0;
        free(there ? file : deeper);
        file = there ? deeper : file;
    }
    return file;
}

bool up_catalogue_import(struct up_catalogue *catalogue, const char *path, bool dry_run,
                         struct up_intake *intake, struct up_failure *failure) {
    UP_FREED char *file = document_in(path);
    struct import import = {.catalogue = catalogue,
                            .path = file,
                            .intake = intake,
                            .failure = failure,
                            .dry_run = dry_run};
    *intake = (struct up_intake){0};
    json_auto_t *document = load_document(file, failure);
    bool good = document != NULL && catalogue_begin(catalogue, failure);
    if (good) {
        good = finish(&import, admit_document(&import, document));
    }
    return good;
}

/* ---- another catalogue ---- */

/* The first is told. */
static void note_refused(struct import *import) {
    struct up_intake *intake = import->intake;
    if (intake->refused_why[0] == '\0' && import->failure != NULL) {
        snprintf(intake->refused_why, sizeof intake->refused_why, "%s", import->failure->text);
    }
}

static bool admit_with(const struct up_record *record, json_t *replaces, bool sound,
                       void *context) {
    struct import *import = context;
    struct up_record copy = *record;
    enum catalogue_admitted how = ADMITTED_REFUSED;
    bool admitted = sound && catalogue_admit(import->catalogue, &copy, replaces, import->path, true,
                                             &how, import->failure);
    if (sound && !admitted && how == ADMITTED_REFUSED) {
        note_refused(import);
    }
    import->failed = (sound && !admitted && how != ADMITTED_REFUSED) || !count(import, record, how);
    return !import->failed;
}

/* Which things changed is noted in memory until their tables are settled. */
static bool settle_some(const struct import *import) {
    enum { EACH = 8192 };
    return import->intake->fresh % EACH != 0 ||
           catalogue_settle(import->catalogue, import->failure);
}

static bool admit_record(const struct up_record *record, void *context) {
    struct import *import = context;
    json_auto_t *replaces = catalogue_replaced_by(import->other, record->id, import->failure);
    import->failed =
        replaces == NULL || !admit_with(record, replaces, true, context) || !settle_some(import);
    return !import->failed;
}

static bool is_same_place(const char *a, const char *b) {
    struct stat about_a, about_b;
    return stat(a, &about_a) == 0 && stat(b, &about_b) == 0 && about_a.st_dev == about_b.st_dev &&
           about_a.st_ino == about_b.st_ino;
}

/* A bad record keeps no other out: it is refused for what it is, and counted. */
static bool admit_catalogue(struct import *import) {
    unsigned damaged = 0;
    bool good =
        catalogue_run(import->other, "SAVEPOINT merge", import->failure) &&
        catalogue_each_record(import->other, admit_record, import, &damaged, import->failure) &&
        !import->failed &&
        catalogue_each_contested(import->other, admit_with, import, import->failure) &&
        !import->failed;
    sqlite3_exec(import->other->database, "RELEASE merge", NULL, NULL, NULL);
    import->intake->refused += damaged;
    return good;
}

bool up_catalogue_merge(struct up_catalogue *catalogue, const char *directory, bool dry_run,
                        struct up_intake *intake, struct up_failure *failure) {
    struct import import = {.catalogue = catalogue,
                            .path = directory,
                            .intake = intake,
                            .failure = failure,
                            .dry_run = dry_run};
    *intake = (struct up_intake){0};
    if (is_same_place(catalogue->directory, directory)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s is the catalogue it would be merged into: name another one", directory);
    }
    if (!up_catalogue_open(directory, UP_CATALOGUE_READ, &import.other, failure)) {
        return false;
    }
    bool good = catalogue_begin(catalogue, failure) && finish(&import, admit_catalogue(&import));
    up_catalogue_close(import.other);
    return good;
}
