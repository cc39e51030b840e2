/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Exchange files, each written whole. CSV is RFC 4180 in UTF-8, a header of plain names first. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "internal.h"
#include "upthrust/text.h"

struct table {
    const char *file, *kind, *id_name; /* the first column: the thing's id */
    const char *const *columns;        /* members of the bodies, ended by NULL */
    bool with_item_name;
};

static const char *const item_columns[] = {"name",
                                           "kind",
                                           "maker",
                                           "model",
                                           "size",
                                           "pieces",
                                           "tolerance_g",
                                           "expansion_per_k",
                                           "u_expansion_per_k",
                                           "compressible",
                                           NULL};
static const char *const calibration_columns[] = {"bench",
                                                  "slope_counts_kg",
                                                  "u_slope_counts_kg",
                                                  "dof",
                                                  "mass_tolerance_rel",
                                                  "lack_of_fit_kg",
                                                  "offset_counts",
                                                  "u_offset_counts",
                                                  "creep_rel_decade",
                                                  "noise_counts",
                                                  "air_density_kg_m3",
                                                  "read_after_s",
                                                  "window_s",
                                                  "span_kg",
                                                  "rig_sha256",
                                                  NULL};
static const char *const result_columns[] = {"item_id",
                                             "run_id",
                                             "water",
                                             "basis",
                                             "water_density_kg_m3",
                                             "u_water_density_kg_m3",
                                             "water_temp_c",
                                             "salinity_g_kg",
                                             "depth_m",
                                             "immersion_depth_m",
                                             "air_pressure_pa",
                                             "soak_s",
                                             "compressible",
                                             "buoyancy_g",
                                             "u_buoyancy_g",
                                             "dof",
                                             "expanded_u_g",
                                             "coverage",
                                             "tolerance_g",
                                             "confidence",
                                             "probability_positive",
                                             "probability_neutral",
                                             "probability_negative",
                                             "class",
                                             "trials",
                                             "volume_m3",
                                             "mass_kg",
                                             "method",
                                             NULL};

static const struct table tables[] = {
    {"items.csv", "item", "item_id", item_columns, false},
    {"calibrations.csv", "calibration", "calibration_id", calibration_columns, false},
    {"results.csv", "result", "result_id", result_columns, true},
};

struct writing {
    struct up_catalogue *catalogue;
    const struct table *table;
    FILE *stream;
    json_t *item_names; /* item id -> name */
    json_t *list;       /* for JSON */
    struct up_failure *failure;
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

static bool put_row(const struct up_record *record, void *context) {
    struct writing *writing = context;
    FILE *stream = writing->stream;
    put_text(stream, record->subject);
    fputc(',', stream);
    put_text(stream, record->made_utc);
    for (const char *const *key = writing->table->columns; *key != NULL; key++) {
        fputc(',', stream);
        put_value(stream, *key, json_object_get(record->body, *key));
    }
    if (writing->table->with_item_name) {
        const char *item_id = json_string_value(json_object_get(record->body, "item_id"));
        fputc(',', stream);
        put_value(stream, "item_name",
                  json_object_get(writing->item_names, item_id != NULL ? item_id : ""));
    }
    fputs("\r\n", stream);
    return ferror(stream) == 0;
}

static bool write_csv(FILE *stream, void *context) {
    struct writing *writing = context;
    writing->stream = stream;
    fprintf(stream, "%s,made_utc", writing->table->id_name);
    for (const char *const *key = writing->table->columns; *key != NULL; key++) {
        fprintf(stream, ",%s", *key);
    }
    fputs(writing->table->with_item_name ? ",item_name\r\n" : "\r\n", stream);
    return up_catalogue_each(writing->catalogue, writing->table->kind, put_row, writing,
                             writing->failure) &&
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
    json_object_set_new(json, writing->table->id_name, json_string(record->subject));
    json_object_set_new(json, "record_id", json_string(record->id));
    json_object_set_new(json, "sha256", json_string(record->sha256));
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

bool up_export_csv(struct up_catalogue *catalogue, const char *directory,
                   struct up_failure *failure) {
    struct writing writing = {.catalogue = catalogue, .item_names = json_object()};
    struct up_failure inner = {0};
    writing.failure = &inner;
    bool good = make_directory(directory, failure) &&
                up_catalogue_each(catalogue, "item", note_name, &writing, failure);
    for (size_t i = 0; good && i < sizeof tables / sizeof tables[0]; i++) {
        char *path = up_text_format("%s/%s", directory, tables[i].file);
        writing.table = &tables[i];
        good = up_text_write_file(path, write_csv, &writing, failure);
        free(path);
    }
    if (!good && inner.text[0] != '\0' && failure != NULL) {
        *failure = inner;
    }
    json_decref(writing.item_names);
    return good;
}

bool up_export_json(struct up_catalogue *catalogue, const char *directory,
                    struct up_failure *failure) {
    static const char *const names[] = {"items", "calibrations", "results"};
    struct writing writing = {.catalogue = catalogue};
    json_t *document = json_pack("{s:s}", "schema", "upthrust-catalogue-1");
    bool good = make_directory(directory, failure);
    for (size_t i = 0; good && i < sizeof tables / sizeof tables[0]; i++) {
        writing.table = &tables[i];
        writing.list = json_array();
        good = up_catalogue_each(catalogue, tables[i].kind, append_record, &writing, failure);
        json_object_set_new(document, names[i], writing.list);
    }
    if (good) {
        char *path = up_text_format("%s/catalogue.json", directory);
        good = up_text_write_file(path, write_json, document, failure);
        free(path);
    }
    json_decref(document);
    return good;
}
