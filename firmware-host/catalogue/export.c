/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Exchange files, each written whole. CSV is RFC 4180 in UTF-8, a header of plain names first. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "internal.h"
#include "upthrust/text.h"

struct writing {
    struct up_catalogue *catalogue;
    const struct catalogue_table *table;
    FILE *stream;
    json_t *item_names;      /* item id -> name */
    json_t *document, *list; /* for JSON */
    const char *directory;
    struct up_failure *failure;
    struct up_failure reading; /* while a file is being written */
};

/* ---- CSV ---- */

static void put_text(FILE *stream, const char *text) {
    char *field = up_text_for_csv(text);
    fputs(field, stream);
    free(field);
}

/* The degrees of freedom of an uncertainty taken as known are infinite, which JSON cannot hold. */
static void put_value(FILE *stream, const char *key, const json_t *value) {
    char number[32];
    if (json_is_string(value)) {
        put_text(stream, json_string_value(value));
    } else if (json_is_boolean(value)) {
        fputs(json_is_true(value) ? "true" : "false", stream);
    } else if (json_is_number(value)) {
        up_text_from_number(json_number_value(value), number, sizeof number);
        fputs(number, stream);
    } else if (strcmp(key, "dof") == 0) {
        fputs("INF", stream);
    }
}

static bool names_items(const struct catalogue_table *table) {
    return strcmp(table->kind, "result") == 0;
}

static void put_item_name(struct writing *writing, const json_t *body) {
    const char *item_id = json_string_value(json_object_get(body, "item_id"));
    const json_t *name = json_object_get(writing->item_names, item_id != NULL ? item_id : "");
    fputc(',', writing->stream);
    put_text(writing->stream, json_is_string(name) ? json_string_value(name) : "");
}

static bool put_row(const struct up_record *record, void *context) {
    struct writing *writing = context;
    FILE *stream = writing->stream;
    fprintf(stream, "%s,%s,%s", record->subject, record->id, record->made_utc);
    for (const char *const *key = writing->table->columns; *key != NULL; key++) {
        fputc(',', stream);
        if (strcmp(*key, "bench") == 0) {
            put_text(stream, record->bench);
        } else {
            put_value(stream, *key, json_object_get(record->body, *key));
        }
    }
    if (names_items(writing->table)) {
        put_item_name(writing, record->body);
    }
    fputs("\r\n", stream);
    return ferror(stream) == 0;
}

static bool write_csv(FILE *stream, void *context) {
    struct writing *writing = context;
    writing->stream = stream;
    fprintf(stream, "%s,record_id,made_utc", writing->table->id_name);
    for (const char *const *key = writing->table->columns; *key != NULL; key++) {
        fprintf(stream, ",%s", *key);
    }
    fputs(names_items(writing->table) ? ",item_name\r\n" : "\r\n", stream);
    return up_catalogue_each(writing->catalogue, writing->table->kind, put_row, writing,
                             &writing->reading) &&
           ferror(stream) == 0;
}

static bool note_name(const struct up_record *record, void *context) {
    struct writing *writing = context;
    json_t *name = json_object_get(record->body, "name");
    if (name != NULL) {
        json_object_set(writing->item_names, record->subject, name);
    }
    return true;
}

/* ---- JSON ---- */

static bool append_record(const struct up_record *record, void *context) {
    struct writing *writing = context;
    json_t *json = json_deep_copy(record->body);
    json_object_set_new(json, "id", json_string(record->id));
    json_object_set_new(json, "subject", json_string(record->subject));
    json_object_set_new(json, writing->table->id_name, json_string(record->subject));
    json_object_set_new(json, "sha256", json_string(record->sha256));
    if (record->bench[0] != '\0') {
        json_object_set_new(json, "bench", json_string(record->bench));
    }
    json_object_set_new(json, "made_utc", json_string(record->made_utc));
    json_array_append_new(writing->list, json);
    return true;
}

static bool write_json(FILE *stream, void *context) {
    return json_dumpf(context, stream, JSON_INDENT(1) | JSON_REAL_PRECISION(17)) == 0 &&
           fputc('\n', stream) != EOF;
}

/* ---- both ---- */

static bool make_directory(const char *directory, struct up_failure *failure) {
    return mkdir(directory, 0777) == 0 || errno == EEXIST ||
           up_fail(failure, UP_STATUS_UNABLE, "cannot make the directory %s: %s", directory,
                   strerror(errno));
}

/* All reads of one export see the same moment, whoever writes meanwhile. */
static bool in_one_moment(struct up_catalogue *catalogue, bool (*work)(struct writing *writing),
                          struct writing *writing, struct up_failure *failure) {
    if (!catalogue_run(catalogue, "BEGIN", failure)) {
        return false;
    }
    bool good = work(writing);
    sqlite3_exec(catalogue->database, "ROLLBACK", NULL, NULL, NULL);
    return good;
}

static bool write_all_csv(struct writing *writing) {
    bool good = up_catalogue_each(writing->catalogue, "item", note_name, writing, writing->failure);
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        char *path = up_text_format("%s/%s", writing->directory, catalogue_tables[i].file);
        writing->table = &catalogue_tables[i];
        good = up_text_write_file(path, write_csv, writing, writing->failure);
        free(path);
    }
    /* Where reading failed, the writer knows only that there was nothing to write. */
    if (!good && writing->reading.text[0] != '\0') {
        up_fail(writing->failure, writing->reading.status, "%s", writing->reading.text);
    }
    return good;
}

bool up_export_csv(struct up_catalogue *catalogue, const char *directory,
                   struct up_failure *failure) {
    struct writing writing = {.catalogue = catalogue,
                              .directory = directory,
                              .item_names = json_object(),
                              .failure = failure};
    bool good = make_directory(directory, failure) &&
                in_one_moment(catalogue, write_all_csv, &writing, failure);
    json_decref(writing.item_names);
    return good;
}

static bool gather_all(struct writing *writing) {
    bool good = true;
    for (size_t i = 0; good && i < CATALOGUE_TABLES; i++) {
        writing->table = &catalogue_tables[i];
        writing->list = json_array();
        json_object_set_new(writing->document, catalogue_tables[i].list, writing->list);
        good = up_catalogue_each(writing->catalogue, catalogue_tables[i].kind, append_record,
                                 writing, writing->failure);
    }
    return good;
}

bool up_export_json(struct up_catalogue *catalogue, const char *directory,
                    struct up_failure *failure) {
    struct writing writing = {.catalogue = catalogue,
                              .document = json_pack("{s:s}", "schema", "upthrust-catalogue-1"),
                              .failure = failure};
    char *path = up_text_format("%s/catalogue.json", directory);
    bool good = make_directory(directory, failure) &&
                in_one_moment(catalogue, gather_all, &writing, failure) &&
                up_text_write_file(path, write_json, writing.document, failure);
    free(path);
    json_decref(writing.document);
    return good;
}
