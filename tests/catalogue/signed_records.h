/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records as another program signs them, by a key of its own. */
#pragma once

#include "support.h"

struct signer {
    uint8_t seed[UP_SEED_BYTES];
    char *envelope; /* freed by whoever holds the record */
    char signature[UP_SIGNATURE_SIZE];
};

/* As its first record: kind, facts, detail and bench are those of the record, so are id, subject
   and time where they are set. `undetailed`: the envelope says that there is no detail. */
static inline void sign_record(struct signer *signer, struct up_record *record, json_t *replaces,
                               bool undetailed) {
    json_auto_t *none = json_array();
    struct up_envelope envelope = {.sequence = 1, .replaces = replaces != NULL ? replaces : none};
    if (record->id[0] == '\0') {
        up_new_id(record->id);
    }
    if (record->subject[0] == '\0') {
        memcpy(record->subject, record->id, sizeof record->subject);
    }
    if (record->made_utc[0] == '\0') {
        snprintf(record->made_utc, sizeof record->made_utc, "2026-01-01T00:00:00.000Z");
    }
    memcpy(envelope.id, record->id, sizeof envelope.id);
    memcpy(envelope.kind, record->kind, sizeof envelope.kind);
    memcpy(envelope.subject, record->subject, sizeof envelope.subject);
    memcpy(envelope.made_utc, record->made_utc, sizeof envelope.made_utc);
    memcpy(envelope.bench, record->bench, sizeof envelope.bench);
    up_key_public(signer->seed, envelope.writer);
    up_hash_bytes(record->facts, strlen(record->facts), envelope.facts);
    if (record->detail != NULL && !undetailed) {
        up_hash_bytes(record->detail, strlen(record->detail), envelope.detail);
    }
    signer->envelope = up_envelope_write(&envelope);
    assert_non_null(signer->envelope);
    up_envelope_hash(signer->envelope, record->sha256);
    assert_true(up_sign(signer->seed, record->sha256, signer->signature));
    record->envelope = signer->envelope;
    record->signature = signer->signature;
    memcpy(record->writer, envelope.writer, sizeof record->writer);
    record->sequence = 1;
}

/* Into a catalogue whose door was passed. */
static inline void store_signed(const char *directory, const struct up_record *record) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    assert_true(catalogue_begin(catalogue, NULL));
    assert_true(catalogue_insert(catalogue, record, NULL, NULL));
    assert_true(catalogue_end(catalogue, true, NULL));
    up_catalogue_close(catalogue);
}

/* What an export holds of it: the entry's members, those of its content and "signed". */
static inline void put_signed(json_t *entry, const struct up_record *record) {
    json_object_set_new(entry, "id", json_string(record->id));
    json_object_set_new(entry, "subject", json_string(record->subject));
    json_object_set_new(entry, "sha256", json_string(record->sha256));
    json_object_set_new(entry, "made_utc", json_string(record->made_utc));
    json_object_set_new(entry, "bench", json_string(record->bench));
    json_object_set_new(entry, "signed",
                        json_pack("{s:s, s:s, s:s}", "envelope", record->envelope, "facts",
                                  record->facts, "signature", record->signature));
    json_auto_t *all = catalogue_join(record->facts, record->detail);
    json_object_update(entry, all);
}
