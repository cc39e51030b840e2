/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A catalogue's JSON document for the fuzz targets: changed as JSON, and with hashes that fit,
   since random bytes find none. A program that includes this changes its inputs so. */
#ifndef DOCUMENT_H
#define DOCUMENT_H

#include "shelf.h"

/* ---- hashes that fit ---- */

/* The record that an entry of the document is; false where it is not even one by its form. As
   import.c reads it. */
static inline bool document_record(const json_t *entry, const char *list, struct up_record *record,
                                   json_t **replaces) {
    static const char *const beside[] = {"id",       "subject", "sha256",      "made_utc",
                                         "replaces", "bench",   "record_kind", "live"};
    const struct catalogue_table *table = NULL;
    const char *kind = json_string_value(json_object_get(entry, "record_kind"));
    bool other = strcmp(list, "versions") == 0;
    for (size_t i = 0; i < CATALOGUE_TABLES && !other; i++) {
        table = strcmp(catalogue_tables[i].list, list) == 0 ? &catalogue_tables[i] : table;
    }
    table = other && kind != NULL ? catalogue_table_of(kind) : table;
    *record = (struct up_record){.content = NULL};
    if (table == NULL || !json_is_object(entry) ||
        !catalogue_read_text(entry, "id", record->id, sizeof record->id) ||
        !catalogue_read_text(entry, "subject", record->subject, sizeof record->subject) ||
        !catalogue_read_text(entry, "made_utc", record->made_utc, sizeof record->made_utc)) {
        return false;
    }
    catalogue_read_text(entry, "bench", record->bench, sizeof record->bench);
    snprintf(record->kind, sizeof record->kind, "%s", table->kind);
    record->content = json_deep_copy(entry);
    for (size_t i = 0; i < sizeof beside / sizeof beside[0] - (other ? 0 : 2); i++) {
        json_object_del(record->content, beside[i]);
    }
    json_object_del(record->content, table->id_name);
    const json_t *old = json_object_get(entry, "replaces");
    *replaces = json_is_array(old) ? json_deep_copy(old) : json_array();
    return true;
}

static inline void document_visit(json_t *document,
                                  void (*visit)(json_t *entry, struct up_record *record,
                                                json_t *replaces, void *context),
                                  void *context) {
    const char *list;
    json_t *entries, *entry;
    json_object_foreach(document, list, entries) {
        for (size_t i = 0; i < json_array_size(entries); i++) {
            struct up_record record;
            json_t *replaces = NULL;
            entry = json_array_get(entries, i);
            if (document_record(entry, list, &record, &replaces)) {
                visit(entry, &record, replaces, context);
                json_decref(record.content);
                json_decref(replaces);
            }
        }
    }
}

static inline void document_mend_one(json_t *entry, struct up_record *record, json_t *replaces,
                                     void *context) {
    (void)context;
    if (catalogue_hash(record, replaces)) {
        json_object_set_new(entry, "sha256", json_string(record->sha256));
    }
}

static inline void document_mend(json_t *document) {
    document_visit(document, document_mend_one, NULL);
}

/* ---- changes ---- */

size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t max_size);
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed);

static unsigned document_chance;

static inline unsigned chance_below(unsigned most) {
    document_chance = document_chance * 1664525U + 1013904223U;
    return most > 0 ? (document_chance >> 8) % most : 0;
}

static inline json_t *odd_text(void) {
    static const char *const texts[] = {
        "",
        "=1+1",
        "\"quoted\", \\ `id`",
        "\xE2\x80\xAEgpj",
        "\x1b[2J\r\n",
        "measured",
        "%n%s",
        "9999-12-31T23:59:59.999Z",
        "00000001-0000-4000-8000-000000000000",
        "positive",
        "wide \xE6\xB0\xB4\xE4\xB8\xAD\xE6\xB0\xB4, and longer than its column is wide"};
    return json_string(texts[chance_below(sizeof texts / sizeof texts[0])]);
}

static inline json_t *odd_number(const json_t *old) {
    static const double numbers[] = {0,      -1,       1e308, -1e308,           1e-320, 1e15,
                                     0.0495, 999999.5, -0.0,  9007199254740991, 1e5,    50};
    double number = json_is_number(old) ? json_number_value(old) : 1;
    switch (chance_below(4)) {
    case 0:
        return json_real(-number);
    case 1:
        return json_real(number * (chance_below(2) ? 10 : 0.1));
    case 2:
        return json_integer((json_int_t)chance_below(10));
    default:
        return json_real(numbers[chance_below(sizeof numbers / sizeof numbers[0])]);
    }
}

static inline json_t *odd_value(const json_t *old) {
    switch (chance_below(8)) {
    case 0:
        return json_null();
    case 1:
        return json_boolean(chance_below(2));
    case 2:
        return chance_below(2) ? json_array() : json_object();
    case 3:
        return json_is_string(old) ? odd_number(NULL) : odd_text();
    default:
        return json_is_string(old) ? odd_text() : odd_number(old);
    }
}

static inline unsigned count_below(const json_t *json) {
    const char *key;
    json_t *value;
    size_t i;
    unsigned count = 0;
    json_object_foreach((json_t *)(uintptr_t)json, key, value) {
        count += 1 + count_below(value);
    }
    json_array_foreach(json, i, value) {
        count += 1 + count_below(value);
    }
    return count;
}

static inline void change_member(json_t *object, const char *key, json_t *value) {
    char name[64];
    snprintf(name, sizeof name, "%s", key);
    switch (chance_below(8)) {
    case 0:
        json_object_del(object, name);
        break;
    case 1:
        json_object_set_new(object, name[0] != '\0' ? name + 1 : "x", json_deep_copy(value));
        break;
    default:
        json_object_set_new(object, name, odd_value(value));
    }
}

static inline void change_place(json_t *array, size_t at, json_t *value) {
    switch (chance_below(4)) {
    case 0:
        json_array_remove(array, at);
        break;
    case 1:
        json_array_append_new(array, json_deep_copy(value));
        break;
    case 2:
        json_array_insert_new(array, 0, json_deep_copy(value));
        break;
    default:
        json_array_set_new(array, at, odd_value(value));
    }
}

/* Changes the so-manieth value below; true once it is done. */
static inline bool change_below(json_t *json, unsigned *left) {
    const char *key;
    json_t *value;
    void *next;
    json_object_foreach_safe(json, next, key, value) {
        if (--*left == 0) {
            change_member(json, key, value);
            return true;
        }
        if (change_below(value, left)) {
            return true;
        }
    }
    for (size_t i = 0; i < json_array_size(json); i++) {
        value = json_array_get(json, i);
        if (--*left == 0) {
            change_place(json, i, value);
            return true;
        }
        if (change_below(value, left)) {
            return true;
        }
    }
    return false;
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed) {
    document_chance = seed;
    json_t *document = size > 1 && chance_below(8) > 0
                           ? json_loadb((const char *)data + 1, size - 1, 0, NULL)
                           : NULL;
    char *text = NULL;
    if (document != NULL) {
        for (unsigned changes = 1 + chance_below(3); changes > 0; changes--) {
            unsigned left = 1 + chance_below(count_below(document));
            change_below(document, &left);
        }
        text = json_dumps(document, JSON_COMPACT);
        json_decref(document);
    }
    size_t length = text != NULL ? strlen(text) : 0;
    if (length > 0 && length < max_size) {
        memcpy(data + 1, text, length);
        data[0] = chance_below(16) == 0 ? (uint8_t)chance_below(256) : data[0];
        size = length + 1;
    } else {
        size = LLVMFuzzerMutate(data, size, max_size);
    }
    free(text);
    return size;
}

#endif
