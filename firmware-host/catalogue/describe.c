/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The exchange files described for other programs: CSV on the Web metadata (W3C Recommendation
   "Metadata Vocabulary for Tabular Data", 2015) and JSON Schema 2020-12, both made from the same
   table of columns as the files. */
#include <string.h>

#include "catalogue/claim.h"
#include "internal.h"
#include "text/text.h"

/* ---- CSV on the Web ---- */

/* INF, as infinite degrees of freedom stand there, is a value of XML Schema's double. */
static const char *datatype_of(const struct catalogue_member *member) {
    static const char *const names[] = {
        [MEMBER_NUMBER] = "double", [MEMBER_INTEGER] = "integer", [MEMBER_TRUTH] = "boolean"};
    return member->type == MEMBER_TEXT || member->type == MEMBER_LINES
               ? strstr(member->key, "_utc") != NULL ? "dateTime" : "string"
               : names[member->type];
}

static void add_column(json_t *columns, const char *name, const char *datatype, bool required,
                       const char *what) {
    json_array_append_new(columns, json_pack("{s:s, s:s, s:s, s:b, s:s}", "name", name, "titles",
                                             name, "datatype", datatype, "required", (int)required,
                                             "dc:description", what));
}

static json_t *csv_columns(const struct catalogue_table *table) {
    json_t *columns = json_array();
    add_column(columns, table->id_name, "string", true, "the thing that this is a version of");
    add_column(columns, "record_id", "string", true, "this version");
    add_column(columns, "made_utc", "dateTime", true, "when this version was stored");
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        if (catalogue_is_in_csv(member)) {
            add_column(columns, member->key, datatype_of(member),
                       member->type == MEMBER_INTEGER && (member->flags & LATER) == 0,
                       member->what);
        }
    }
    if (strcmp(table->kind, "result") == 0) {
        add_column(columns, "item_name", "string", false, "what the item is called now");
        add_column(columns, "body_check", "string", true,
                   "whether a reference body on its bench read inside its limits, outside them, or "
                   "none was weighed (unchecked) since its calibration and within a week");
    }
    add_column(columns, "elsewhere", "boolean", true,
               "whether it came to this catalogue by import or merge");
    return columns;
}

/* A column that is called as the id of another table points there. */
static json_t *foreign_keys(const struct catalogue_table *table) {
    json_t *keys = json_array();
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
            const struct catalogue_table *other = &catalogue_tables[i];
            if (strcmp(member->key, other->id_name) == 0) {
                json_array_append_new(keys,
                                      json_pack("{s:s, s:{s:s, s:s}}", "columnReference",
                                                member->key, "reference", "resource", other->file,
                                                "columnReference", other->id_name));
            }
        }
    }
    return keys;
}

json_t *catalogue_csv_metadata(void) {
    json_t *tables = json_array();
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        const struct catalogue_table *table = &catalogue_tables[i];
        json_array_append_new(tables,
                              json_pack("{s:s, s:{s:o, s:s, s:o}}", "url", table->file,
                                        "tableSchema", "columns", csv_columns(table), "primaryKey",
                                        table->id_name, "foreignKeys", foreign_keys(table)));
    }
    return json_pack(
        "{s:s, s:s, s:{s:b, s:i, s:s, s:s, s:s, s:b, s:[s], s:b, s:b}, s:o}", "@context",
        "http://www.w3.org/ns/csvw", "dc:description",
        "Current versions of a gear catalogue. Units stand in the columns' names. A text that a "
        "spreadsheet would take for a formula has an apostrophe before it. Calculated waters of "
        "an item that holds gas are withdrawn and left out. " UP_CLAIM_WHOSE " " UP_CLAIM_CHECK,
        "dialect", "header", 1, "headerRowCount", 1, "encoding", "utf-8", "delimiter", ",",
        "quoteChar", "\"", "doubleQuote", 1, "lineTerminators", "\r\n", "skipInitialSpace", 0,
        "skipBlankRows", 0, "tables", tables);
}

/* ---- JSON Schema ---- */

static json_t *type_of(const struct catalogue_member *member) {
    static const char *const names[] = {[MEMBER_TEXT] = "string",
                                        [MEMBER_LINES] = "string",
                                        [MEMBER_NUMBER] = "number",
                                        [MEMBER_INTEGER] = "integer",
                                        [MEMBER_TRUTH] = "boolean"};
    return member->type == MEMBER_NUMBER || (member->flags & LATER) != 0
               ? json_pack("{s:[s, s], s:s}", "type", names[member->type], "null", "description",
                           member->what)
               : json_pack("{s:s, s:s}", "type", names[member->type], "description", member->what);
}

static json_t *entry_schema(const struct catalogue_table *table) {
    json_t *properties =
        (json_pack("{s:{s:s}, s:{s:s}, s:{s:s}, s:{s:s}, s:{s:s, s:{s:s}}, s:{s:s}}", "id", "$ref",
                   "#/$defs/uuid", "subject", "$ref", "#/$defs/uuid", "sha256", "$ref",
                   "#/$defs/sha256", "made_utc", "$ref", "#/$defs/utc", "replaces", "type", "array",
                   "items", "$ref", "#/$defs/uuid", "bench", "type", "string"));
    json_t *required = json_pack("[s, s, s, s, s, s]", "id", "subject", "sha256", "made_utc",
                                 "replaces", table->id_name);
    for (const struct catalogue_member *member = table->members; member->key != NULL; member++) {
        if (!catalogue_is_column(member)) {
            continue;
        }
        json_object_set_new(properties, member->key, type_of(member));
        if ((member->flags & LATER) == 0) {
            json_array_append_new(required, json_string(member->key));
        }
    }
    json_object_set_new(properties, table->id_name, json_pack("{s:s}", "$ref", "#/$defs/uuid"));
    json_object_set_new(properties, "signed", json_pack("{s:s}", "$ref", "#/$defs/signed"));
    if (strcmp(table->kind, "result") == 0 || strcmp(table->kind, "decision") == 0) {
        json_object_set_new(properties, "withdrawn",
                            json_pack("{s:s, s:s}", "type", "boolean", "description",
                                      "calculated for an item that holds gas: do not show it"));
    }
    return json_pack("{s:s, s:o, s:o}", "type", "object", "properties", properties, "required",
                     required);
}

/* Of versions that are not current: which kind each is stands in it. */
static json_t *other_schema(void) {
    json_t *any = json_array();
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        UP_FREED char *reference = up_text_format("#/$defs/%s", catalogue_tables[i].kind);
        json_array_append_new(any, json_pack("{s:{s:{s:s}}, s:s}", "properties", "record_kind",
                                             "const", catalogue_tables[i].kind, "$ref", reference));
    }
    return json_pack("{s:[s, s], s:{s:{s:s}}, s:o}", "required", "record_kind", "live",
                     "properties", "live", "type", "boolean", "oneOf", any);
}

/* Of each current result; computed when the document was written, part of no record. */
static json_t *verifications_schema(void) {
    return json_pack("{s:s, s:{s:s, s:[s, s], s:{s:{s:s}, s:{s:[s, s, s]}}}}", "type", "array",
                     "items", "type", "object", "required", "result_id", "body_check", "properties",
                     "result_id", "$ref", "#/$defs/uuid", "body_check", "enum", "inside", "outside",
                     "unchecked");
}

json_t *catalogue_json_schema(void) {
    json_t *definitions =
        json_pack("{s:{s:s, s:s}, s:{s:s, s:s}, s:{s:s, s:s}}", "uuid", "type", "string", "pattern",
                  "^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$", "sha256", "type", "string",
                  "pattern", "^[0-9a-f]{64}$", "utc", "type", "string", "pattern",
                  "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\\.[0-9]{3}Z$");
    json_object_set_new(
        definitions, "signed",
        json_pack("{s:s, s:s, s:[s, s, s], s:{s:{s:s}, s:{s:s}, s:{s:s, s:s}}}", "type", "object",
                  "description",
                  "the record as its writer signed it, byte for byte; where it is missing nothing "
                  "shows who wrote the record, or when",
                  "required", "envelope", "facts", "signature", "properties", "envelope", "type",
                  "string", "facts", "type", "string", "signature", "type", "string", "pattern",
                  "^[0-9a-f]{128}$"));
    json_object_set_new(
        definitions, "passed_on",
        json_pack("{s:s, s:s, s:[s, s, s]}", "type", "object", "description",
                  "a record of a kind that the program did not know, as it was signed", "required",
                  "id", "record_kind", "signed"));
    json_t *properties = json_pack("{s:{s:s}}", "schema", "const", "upthrust-catalogue-2");
    json_t *required = json_pack("[s]", "schema");
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        const struct catalogue_table *table = &catalogue_tables[i];
        UP_FREED char *reference = up_text_format("#/$defs/%s", table->kind);
        json_object_set_new(definitions, table->kind, entry_schema(table));
        json_object_set_new(
            properties, table->list,
            json_pack("{s:s, s:{s:s}}", "type", "array", "items", "$ref", reference));
        json_array_append_new(required, json_string(table->list));
    }
    json_object_set_new(properties, "versions",
                        json_pack("{s:s, s:o}", "type", "array", "items", other_schema()));
    json_object_set_new(
        properties, "passed_on",
        json_pack("{s:s, s:{s:s}}", "type", "array", "items", "$ref", "#/$defs/passed_on"));
    json_object_set_new(properties, "body_checks", verifications_schema());
    return json_pack("{s:s, s:s, s:s, s:s, s:o, s:o, s:o}", "$schema",
                     "https://json-schema.org/draft/2020-12/schema", "title",
                     "upthrust-catalogue-2", "description", UP_CLAIM_WHOSE " " UP_CLAIM_CHECK,
                     "type", "object", "properties", properties, "required", required, "$defs",
                     definitions);
}
