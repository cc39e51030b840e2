/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rig files, kept as the runs found them. */
#include <string.h>

#include "catalogue/run.h"
#include "internal.h"
#include "text/text.h"

/* The thing is the bench: wherever its records are put together, its rig files are versions of one
   thing. So its id comes from the bench's. */
static void subject_of(const char *bench, char subject[UP_ID_SIZE]) {
    char hex[UP_SHA256_SIZE];
    catalogue_hash_text(bench, hex);
    snprintf(subject, UP_ID_SIZE, "%.8s-%.4s-8%.3s-8%.3s-%.12s", hex, hex + 8, hex + 12, hex + 15,
             hex + 18);
}

struct newest {
    const char *file_sha256;
    char *record_id;
};

/* The newest live version comes first; nothing is new only where it has the same text. */
static bool compare(const struct up_record *record, void *context) {
    struct newest *newest = context;
    const char *sha256 = json_string_value(json_object_get(record->content, "file_sha256"));
    if (sha256 != NULL && !record->elsewhere && strcmp(sha256, newest->file_sha256) == 0) {
        memcpy(newest->record_id, record->id, sizeof record->id);
    }
    return false;
}

#define MEMBERS_OF struct up_rig_version
const struct catalogue_member catalogue_rig_members[] = {
    BENCH_ALONE,
    BENCH_SEQUENCE,
    TEXT_AS(IN_POINTER, "name", name, 0, "of the rig, for people"),
    TEXT_ALONE("file_sha256", 0, "of the whole file"),
    TEXT_AS(IN_POINTER, "rig_sha256", rig_sha256, 0, "of its line and sensor sections"),
    {ROW("file_text", MEMBER_LINES, IN_POINTER, LATER, "the rig file"), AT(file_text)},
    END};
#undef MEMBERS_OF

static bool put_version(struct up_catalogue *catalogue, struct up_record *record,
                        const struct up_rig_version *rig, const char *file_sha256,
                        struct up_failure *failure) {
    json_auto_t *replaces = up_catalogue_live_ids(catalogue, "rig", record->subject, failure);
    if (replaces == NULL) {
        return false;
    }
    record->content = members_to_json(catalogue_rig_members, rig);
    json_object_set_new(record->content, "file_sha256", json_string(file_sha256));
    bool good = catalogue_put(catalogue, record, replaces, failure);
    json_decref(record->content);
    return good;
}

bool up_rig_store(struct up_catalogue *catalogue, const struct up_rig_version *rig,
                  char record_id[UP_ID_SIZE], struct up_failure *failure) {
    struct up_record record = {.kind = "rig"};
    char file_sha256[UP_SHA256_SIZE];
    struct newest newest = {.file_sha256 = file_sha256, .record_id = record_id};
    record_id[0] = '\0';
    subject_of(rig->bench, record.subject);
    catalogue_hash_text(rig->file_text, file_sha256);
    snprintf(record.bench, sizeof record.bench, "%s", rig->bench);
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good = up_catalogue_each_live(catalogue, "rig", record.subject, compare, &newest, failure);
    if (good && record_id[0] == '\0') {
        good = put_version(catalogue, &record, rig, file_sha256, failure);
        memcpy(record_id, record.id, sizeof record.id);
    }
    return catalogue_end(catalogue, good, failure);
}
