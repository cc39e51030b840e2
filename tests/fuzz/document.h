/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A catalogue's JSON document for the fuzz targets: changed as JSON, and with hashes that fit,
   since random bytes find none. A program that includes this changes its inputs so. */
#ifndef DOCUMENT_H
#define DOCUMENT_H

#include "change.h"
#include "fuzz_catalogue.h"

/* ---- hashes that fit ---- */

/* The record that an entry of the document is; false where it is not even one by its form. As
   import.c reads it. */
static inline bool document_record(const json_t *entry, const char *list, struct up_record *record,
                                   json_t **replaces) {
    static const char *const beside[] = {"id",    "subject", "sha256",      "made_utc", "replaces",
                                         "bench", "signed",  "record_kind", "live"};
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

/* Signs a record whose entry has a member "signed", whatever is in it, by one key under one number;
   else gives it the hash of an unsigned one. False where it can have none. */
static inline bool document_seal(const json_t *entry, struct up_record *record, json_t *replaces,
                                 struct catalogue_parts *parts) {
    static const uint8_t seed[UP_SEED_BYTES] = {1};
    struct up_envelope envelope = {.sequence = 1, .replaces = replaces};
    if (json_object_get(entry, "signed") == NULL) {
        return catalogue_hash(record, replaces);
    }
    if (!catalogue_split(record->kind, record->content, &parts->facts, &parts->detail)) {
        return false;
    }
    up_key_public(seed, envelope.writer);
    memcpy(envelope.id, record->id, sizeof envelope.id);
    memcpy(envelope.kind, record->kind, sizeof envelope.kind);
    memcpy(envelope.subject, record->subject, sizeof envelope.subject);
    memcpy(envelope.bench, record->bench, sizeof envelope.bench);
    memcpy(envelope.made_utc, record->made_utc, sizeof envelope.made_utc);
    up_hash_bytes(parts->facts, strlen(parts->facts), envelope.facts);
    if (parts->detail != NULL) {
        up_hash_bytes(parts->detail, strlen(parts->detail), envelope.detail);
    }
    parts->envelope = up_envelope_write(&envelope);
    if (parts->envelope != NULL) {
        up_envelope_hash(parts->envelope, record->sha256);
        up_sign(seed, record->sha256, parts->signature);
        record->envelope = parts->envelope;
        record->facts = parts->facts;
        record->detail = parts->detail;
        record->signature = parts->signature;
    }
    return parts->envelope != NULL;
}

static inline void document_mend_one(json_t *entry, struct up_record *record, json_t *replaces,
                                     void *context) {
    struct catalogue_parts parts = {.envelope = NULL};
    (void)context;
    if (document_seal(entry, record, replaces, &parts)) {
        json_object_set_new(entry, "sha256", json_string(record->sha256));
    }
    if (record->envelope != NULL) {
        json_object_set_new(entry, "signed",
                            json_pack("{s:s, s:s, s:s}", "envelope", record->envelope, "facts",
                                      record->facts, "signature", record->signature));
        json_auto_t *facts = json_loads(record->facts, 0, NULL);
        json_object_update(entry, facts); /* 2.0 is 2 there */
    }
    catalogue_free_parts(record, &parts);
}

static inline void document_mend(json_t *document) {
    json_object_set_new(document, "schema", json_string("upthrust-catalogue-2"));
    document_visit(document, document_mend_one, NULL);
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t max_size, unsigned seed) {
    chance_state = seed;
    char *text =
        size > 1 && chance_below(8) > 0 ? changed_json((const char *)data + 1, size - 1) : NULL;
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
