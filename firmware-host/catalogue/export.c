/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Exchange files, each written whole, and only where something changed. CSV is RFC 4180 in UTF-8, a
   header of plain names first. */
#include <dirent.h>
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "catalogue/claim.h"
#include "catalogue/records.h"
#include "catalogue/verification.h"
#include "internal.h"
#include "text/text.h"

struct writing {
    struct up_catalogue *catalogue;
    const struct catalogue_table *table;
    FILE *stream;
    json_t *item_names;           /* item id -> name */
    json_t *verifications;        /* result id -> whether a reference body spoke for it; of JSON */
    struct up_verifier *verifier; /* the same, asked of each result as it is written to CSV */
    json_t *squeezed;             /* item id -> true: it holds gas */
    bool (*write)(struct writing *writing);
    bool first; /* of a list in the JSON document */
    int error;  /* errno of the first write that failed */
    const char *directory;
    const char *late; /* beside what is written: that it is out of date */
    struct up_failure *failure;
    struct up_failure reading; /* while a file is being written */
};

/* SQLite sets errno anew before anybody else can ask why a write failed: so it is checked after
   each write. */
static bool is_written(struct writing *writing) {
    if (ferror(writing->stream) != 0 && writing->error == 0) {
        writing->error = errno;
    }
    return ferror(writing->stream) == 0;
}

static bool end_writing(struct writing *writing, bool good) {
    good = is_written(writing) && good && writing->reading.text[0] == '\0';
    errno = writing->error;
    return good;
}

/* ---- CSV ---- */

static void put_text(FILE *stream, const char *text) {
    UP_FREED char *field = up_text_for_csv(text);
    fputs(field, stream);
}

/* The degrees of freedom of an uncertainty taken as known are infinite, which JSON cannot hold. */
static void put_value(FILE *stream, enum member_form form, const json_t *value) {
    char number[32];
    if (json_is_string(value)) {
        put_text(stream, json_string_value(value));
    } else if (json_is_boolean(value)) {
        fputs(json_is_true(value) ? "true" : "false", stream);
    } else if (json_is_number(value)) {
        up_text_from_number(json_number_value(value), number, sizeof number);
        fputs(number, stream);
    } else if (form == IN_DOF) {
        fputs("INF", stream);
    }
}

/* Beside its own columns each has one, and a result two more, that are of now and of here: no
   record holds them. */
static bool has_more_columns(const struct catalogue_table *table) {
    return strcmp(table->kind, "result") == 0;
}

static void put_more_columns(struct writing *writing, const struct up_record *record,
                             const char *verification) {
    const char *item_id = up_record_text(record->content, "item_id");
    fputc(',', writing->stream);
    put_text(writing->stream, up_record_text(writing->item_names, item_id));
    fputc(',', writing->stream);
    put_text(writing->stream, verification);
}

static bool is_withdrawn(const struct writing *writing, const struct up_record *record) {
    bool judged = strcmp(record->kind, "result") == 0 || strcmp(record->kind, "decision") == 0;
    const char *item_id = up_record_text(record->content, "item_id");
    return judged && up_claim_is_withdrawn(record->content,
                                           json_object_get(writing->squeezed, item_id) != NULL);
}

/* Results of before it was kept are of the same kind. */
static bool put_claim(FILE *stream, const struct up_record *record, const char *key) {
    bool simulated = up_claim_is_simulated(record->content, record->bench);
    char claim[UP_CLAIM_SCOPE_SIZE];
    if (strcmp(record->kind, "result") != 0) {
        return false;
    }
    if (strcmp(key, "simulated") == 0) {
        fputs(simulated ? "true" : "false", stream);
    } else if (strcmp(key, "claim") == 0) {
        up_claim_scope(up_claim_pieces_of(record->content), simulated,
                       up_claim_is_quick(record->content), claim);
        put_text(stream, claim);
    }
    return strcmp(key, "simulated") == 0 || strcmp(key, "claim") == 0;
}

static bool put_row(const struct up_record *record, void *context) {
    struct writing *writing = context;
    FILE *stream = writing->stream;
    /* A withdrawn one may be the first of its session, by which the others are judged. */
    const char *verification =
        has_more_columns(writing->table) ? up_verifier_visit(writing->verifier, record) : NULL;
    if (is_withdrawn(writing, record)) {
        return true;
    }
    put_text(stream, record->subject);
    fputc(',', stream);
    put_text(stream, record->id);
    fputc(',', stream);
    put_text(stream, record->made_utc);
    for (const struct catalogue_member *member = writing->table->members; member->key != NULL;
         member++) {
        if (!catalogue_is_in_csv(member)) {
            continue;
        }
        fputc(',', stream);
        if ((member->flags & OF_RECORD) != 0) {
            put_text(stream, record->bench);
        } else if (put_claim(stream, record, member->key)) {
            continue;
        } else {
            put_value(stream, member->form, json_object_get(record->content, member->key));
        }
    }
    if (has_more_columns(writing->table)) {
        put_more_columns(writing, record, verification);
    }
    fputs(record->elsewhere ? ",true\r\n" : ",false\r\n", stream);
    return is_written(writing);
}

static bool wants_detail(const struct up_record *record, void *context) {
    const struct writing *writing = context;
    return has_more_columns(writing->table) && up_verifier_wants_detail(writing->verifier, record);
}

static bool write_csv(FILE *stream, void *context) {
    struct writing *writing = context;
    writing->stream = stream;
    fprintf(stream, "%s,record_id,made_utc", writing->table->id_name);
    for (const struct catalogue_member *member = writing->table->members; member->key != NULL;
         member++) {
        if (catalogue_is_in_csv(member)) {
            fprintf(stream, ",%s", member->key);
        }
    }
    fputs(has_more_columns(writing->table) ? ",item_name,body_check,elsewhere\r\n"
                                           : ",elsewhere\r\n",
          stream);
    return end_writing(writing,
                       catalogue_each_facts(writing->catalogue, writing->table->kind, wants_detail,
                                            put_row, writing, &writing->reading));
}

static bool note_name(const struct up_record *record, void *context) {
    struct writing *writing = context;
    json_t *name = json_object_get(record->content, "name");
    if (name != NULL) {
        json_object_set(writing->item_names, record->subject, name);
    }
    struct up_item item;
    if (up_item_from_json(record->content, &item) && item.compressible) {
        json_object_set_new(writing->squeezed, record->subject, json_true());
    }
    return true;
}

/* ---- JSON ---- */

static bool write_pretty(FILE *stream, void *context) {
    return json_dumpf(context, stream, JSON_INDENT(1) | JSON_REAL_PRECISION(17)) == 0 &&
           fputc('\n', stream) != EOF;
}

/* The content, and with its members what the record says about itself: so that nothing is stored
   twice and a reader can still rebuild the record and compute its hash. */
static bool put_entry(struct writing *writing, const struct up_record *record, const char *id_name,
                      json_t *replaces, const bool *live) {
    json_t *json = record->content; /* of nobody else: each visit reads its own */
    if (replaces == NULL) {
        return false;
    }
    if (catalogue_is_too_deep(json)) { /* from before the door refused it: nobody takes it */
        json_decref(replaces);
        return true;
    }
    json_object_update_new(json, json_pack("{s:s, s:s, s:s, s:s, s:s, s:o}", "id", record->id,
                                           "subject", record->subject, id_name, record->subject,
                                           "sha256", record->sha256, "made_utc", record->made_utc,
                                           "replaces", replaces));
    if (record->bench[0] != '\0') {
        json_object_set_new(json, "bench", json_string(record->bench));
    }
    if (record->envelope != NULL) {
        json_object_set_new(json, "signed",
                            json_pack("{s:s, s:s, s:s}", "envelope", record->envelope, "facts",
                                      record->facts, "signature", record->signature));
    }
    if (is_withdrawn(writing, record)) {
        json_object_set_new(json, "withdrawn", json_true());
    }
    if (live != NULL) {
        json_object_set_new(json, "record_kind", json_string(record->kind));
        json_object_set_new(json, "live", json_boolean(*live));
    }
    fputs(writing->first ? "\n" : ",\n", writing->stream);
    writing->first = false;
    up_json_write(json, writing->stream, JSON_COMPACT | JSON_REAL_PRECISION(17));
    return is_written(writing);
}

static json_t *replaced_by(struct writing *writing, const struct up_record *record) {
    return catalogue_replaced_by(writing->catalogue, record->id, &writing->reading);
}

static bool put_current(const struct up_record *record, void *context) {
    struct writing *writing = context;
    return put_entry(writing, record, writing->table->id_name, replaced_by(writing, record), NULL);
}

static bool put_other(const struct up_record *record, bool live, void *context) {
    struct writing *writing = context;
    return put_entry(writing, record, writing->table->id_name, replaced_by(writing, record), &live);
}

/* Of a kind that a newer program made: passed on as it was signed. Unsigned, nobody takes it. */
static bool pass_on(struct writing *writing, const struct up_record *record,
                    const json_t *replaces) {
    if (record->envelope == NULL || replaces == NULL) {
        return record->envelope == NULL;
    }
    json_auto_t *json = json_pack(
        "{s:s, s:s, s:s, s:s, s:O, s:s, s:{s:s, s:s, s:s*, s:s}}", "id", record->id, "subject",
        record->subject, "sha256", record->sha256, "made_utc", record->made_utc, "replaces",
        replaces, "record_kind", record->kind, "signed", "envelope", record->envelope, "facts",
        record->facts, "detail", record->detail, "signature", record->signature);
    if (json == NULL) { /* a signature that is no text */
        return true;
    }
    if (record->bench[0] != '\0') {
        json_object_set_new(json, "bench", json_string(record->bench));
    }
    fputs(writing->first ? "\n" : ",\n", writing->stream);
    writing->first = false;
    up_json_write(json, writing->stream, JSON_COMPACT);
    return is_written(writing);
}

static bool put_unknown(const struct up_record *record, void *context) {
    json_auto_t *replaces = replaced_by(context, record);
    return pass_on(context, record, replaces);
}

static bool put_contested_unknown(const struct up_record *record, json_t *replaces, bool sound,
                                  void *context) {
    return !sound || catalogue_table_of(record->kind) != NULL || pass_on(context, record, replaces);
}

static bool put_contested(const struct up_record *record, json_t *replaces, bool sound,
                          void *context) {
    const struct catalogue_table *table = catalogue_table_of(record->kind);
    const bool live = false;
    return !sound || table == NULL ||
           put_entry(context, record, table->id_name, json_incref(replaces), &live);
}

static void begin_list(struct writing *writing, const char *name) {
    fprintf(writing->stream, ",\n\"%s\": [", name);
    writing->first = true;
    is_written(writing);
}

/* In a separate list: within the results' entries they would look like part of the records. */
static bool put_verifications(struct writing *writing) {
    const char *result_id;
    json_t *word;
    begin_list(writing, "body_checks");
    json_object_foreach(writing->verifications, result_id, word) {
        json_auto_t *json = json_pack("{s:s, s:O}", "result_id", result_id, "body_check", word);
        fputs(writing->first ? "\n" : ",\n", writing->stream);
        writing->first = false;
        up_json_write(json, writing->stream, JSON_COMPACT);
    }
    fputs("]", writing->stream);
    return is_written(writing);
}

/* Current versions in a list a kind, then all others together. */
static bool write_json(FILE *stream, void *context) {
    struct writing *writing = context;
    bool good = true;
    writing->stream = stream;
    fputs("{\"schema\": \"upthrust-catalogue-2\"", stream);
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        writing->table = &catalogue_tables[i];
        begin_list(writing, writing->table->list);
        good = up_catalogue_each(writing->catalogue, writing->table->kind, put_current, writing,
                                 &writing->reading);
        fputs("]", stream);
        is_written(writing);
    }
    begin_list(writing, "versions");
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        writing->table = &catalogue_tables[i];
        good = catalogue_each_other(writing->catalogue, writing->table->kind, put_other, writing,
                                    &writing->reading);
    }
    good = good &&
           catalogue_each_contested(writing->catalogue, put_contested, writing, &writing->reading);
    fputs("]", stream);
    begin_list(writing, "passed_on");
    good = good &&
           catalogue_each_unknown(writing->catalogue, put_unknown, writing, &writing->reading) &&
           catalogue_each_contested(writing->catalogue, put_contested_unknown, writing,
                                    &writing->reading);
    fputs("]", stream);
    good = good && put_verifications(writing);
    fputs("}\n", stream);
    return end_writing(writing, good);
}

/* ---- both ---- */

/* A writer holds the directory's lock, so a half-written file comes from a killed program. */
static void remove_remnants(const char *directory) {
    DIR *stream = opendir(directory);
    const struct dirent *entry;
    while (stream != NULL && (entry = readdir(stream)) != NULL) {
        if (strstr(entry->d_name, ".csv.part-") != NULL ||
            strstr(entry->d_name, ".json.part-") != NULL) {
            unlinkat(dirfd(stream), entry->d_name, 0);
        }
    }
    if (stream != NULL) {
        closedir(stream);
    }
}

static bool update(struct writing *writing, const char *name, bool (*write)(FILE *, void *),
                   void *context) {
    UP_FREED char *path = up_text_format("%s/%s", writing->directory, name);
    return up_text_update_file(path, write, context, writing->failure);
}

static bool update_description(struct writing *writing, const char *name, json_t *description) {
    json_auto_t *json = description;
    return update(writing, name, write_pretty, json);
}

static bool write_all_csv(struct writing *writing) {
    writing->verifier = up_verifier_begin(writing->catalogue, writing->failure);
    bool good = writing->verifier != NULL;
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        writing->table = &catalogue_tables[i];
        good = update(writing, catalogue_tables[i].file, write_csv, writing);
    }
    up_verifier_release(writing->verifier);
    return good && update_description(writing, "csv-metadata.json", catalogue_csv_metadata());
}

static bool write_document(struct writing *writing) {
    json_auto_t *verifications = writing->verifications =
        up_verifications(writing->catalogue, writing->failure);
    return verifications != NULL && update(writing, "catalogue.json", write_json, writing) &&
           update_description(writing, "catalogue.schema.json", catalogue_json_schema());
}

/* What every row may need, then the files. */
static bool gather_and_write(struct writing *writing) {
    return up_catalogue_each(writing->catalogue, "item", note_name, writing, writing->failure) &&
           writing->write(writing);
}

/* ---- put off ---- */

static const char late_csv[] = "CSV-OUT-OF-DATE.txt", late_json[] = "JSON-OUT-OF-DATE.txt";

unsigned long up_exchange_records_most = 5000;

static bool write_late(FILE *stream, void *format) {
    char utc[UP_TIME_SIZE];
    catalogue_now(utc);
    return fprintf(stream,
                   "The %s here, where there is any, is older than what was stored at %s.\n"
                   "This catalogue has more than %lu records: to write them all after each session "
                   "would take long.\n`upthrust export --format %s` writes them now.\n",
                   strcmp(format, "csv") == 0 ? "CSV" : "catalogue.json", utc,
                   up_exchange_records_most, (const char *)format) > 0;
}

static bool put_off(const char *directory, struct up_failure *failure) {
    char csv[] = "csv", json[] = "json";
    UP_FREED char *path_csv = up_text_format("%s/%s", directory, late_csv);
    UP_FREED char *path_json = up_text_format("%s/%s", directory, late_json);
    return up_text_make_folder(directory, UP_LINKS_FOLLOWED, failure) &&
           up_text_write_file(path_csv, write_late, csv, failure) &&
           up_text_write_file(path_json, write_late, json, failure);
}

/* One that was written since this export began tells of what the export does not have: it stays,
   and comes back where it was moved between two looks. */
static void remove_late(const char *path, const struct stat *before) {
    struct stat now;
    UP_FREED char *moved = up_text_format("%s.part-%ld", path, (long)getpid());
    if (before->st_ino == 0 || rename(path, moved) != 0) {
        return;
    }
    bool same = lstat(moved, &now) == 0 && now.st_ino == before->st_ino &&
                now.st_mtim.tv_sec == before->st_mtim.tv_sec &&
                now.st_mtim.tv_nsec == before->st_mtim.tv_nsec;
    if (!same || unlink(moved) != 0) {
        rename(moved, path);
    }
}

/* All reads of one export see the same state, whoever writes meanwhile; of two exports at once the
   later state is written last. */
static bool in_one_moment(struct writing *writing) {
    struct up_catalogue *catalogue = writing->catalogue;
    if (!up_text_make_folder(writing->directory, UP_LINKS_FOLLOWED, writing->failure)) {
        return false;
    }
    int lock = catalogue_lock_directory(writing->directory, writing->failure);
    if (lock < 0) {
        return false;
    }
    UP_FREED char *late = up_text_format("%s/%s", writing->directory, writing->late);
    struct stat before = {.st_ino = 0};
    if (lstat(late, &before) != 0 || !S_ISREG(before.st_mode)) {
        before.st_ino = 0;
    }
    remove_remnants(writing->directory);
    bool good = catalogue_refresh(catalogue, writing->failure) &&
                catalogue_run(catalogue, "SAVEPOINT export", writing->failure);
    if (good) {
        good = gather_and_write(writing);
        sqlite3_exec(catalogue->database, "RELEASE export", NULL, NULL, NULL);
    }
    if (good) {
        remove_late(late, &before);
    }
    close(lock);
    /* Where reading failed, the writer knows only that there was nothing to write. */
    if (!good && writing->reading.text[0] != '\0') {
        up_fail(writing->failure, writing->reading.status, "%s", writing->reading.text);
    }
    return good;
}

static bool export_to(struct up_catalogue *catalogue, const char *directory,
                      bool (*write)(struct writing *writing), const char *late,
                      struct up_failure *failure) {
    json_auto_t *item_names = json_object();
    json_auto_t *squeezed = json_object();
    struct writing writing = {.catalogue = catalogue,
                              .directory = directory,
                              .item_names = item_names,
                              .squeezed = squeezed,
                              .write = write,
                              .late = late,
                              .failure = failure};
    return in_one_moment(&writing);
}

bool up_export_csv(struct up_catalogue *catalogue, const char *directory,
                   struct up_failure *failure) {
    return export_to(catalogue, directory, write_all_csv, late_csv, failure);
}

bool up_export_json(struct up_catalogue *catalogue, const char *directory,
                    struct up_failure *failure) {
    return export_to(catalogue, directory, write_document, late_json, failure);
}

bool up_exchange_update(struct up_catalogue *catalogue, bool *late, struct up_failure *failure) {
    long long records = 0;
    UP_FREED char *directory = up_text_format("%s/exchange", catalogue->directory);
    bool good = catalogue_ask(catalogue, "SELECT max(rowid) FROM record", NULL, &records, failure);
    *late = good && records > (long long)up_exchange_records_most;
    return good && (*late ? put_off(directory, failure)
                          : up_export_csv(catalogue, directory, failure) &&
                                up_export_json(catalogue, directory, failure));
}
