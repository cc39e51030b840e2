/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rig files, kept as the runs found them. The text stays in this folder (private.h): it may name
   ports, places and people. The record has what others need, and a commitment to the text. */
#include <stdlib.h>
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
    struct up_catalogue *catalogue;
    const char *file_text;
    char *record_id;
    struct up_failure *failure;
    bool failed;
};

/* The newest live version comes first; nothing is new only where it has the same text. One from
   before texts were private keeps its own, and is not followed: what is said anew stays here. */
static bool compare(const struct up_record *record, void *context) {
    struct newest *newest = context;
    struct up_private text;
    newest->failed =
        !up_private_find(newest->catalogue, record->id, "file_text", &text, newest->failure);
    if (!newest->failed && text.text != NULL && !record->elsewhere &&
        strcmp(text.text, newest->file_text) == 0) {
        memcpy(newest->record_id, record->id, sizeof record->id);
    }
    free(text.text);
    return false;
}

#define MEMBERS_OF struct up_rig_version
const struct catalogue_member catalogue_rig_members[] = {
    BENCH_ALONE,
    BENCH_SEQUENCE,
    TEXT_AS(IN_POINTER, "name", name, 0, "of the rig, for people"),
    TEXT_ALONE("file_sha256", LATER, "of the whole file; null since its text is private"),
    TEXT_AS(IN_POINTER, "rig_sha256", rig_sha256, 0, "of its line and sensor sections"),
    {ROW("file_text", MEMBER_LINES, IN_NO_STRUCT, LATER,
         "the rig file; null since its text is private")},
    TRUTH("simulated", simulated, LATER, "no gear is weighed on this bench"),
    TEXT_ALONE("text_commitment", LATER,
               "SHA-256 over a salt and the text, both of which stay "
               "with whoever wrote it"),
    END};
#undef MEMBERS_OF

static bool put_version(struct up_catalogue *catalogue, struct up_record *record,
                        const struct up_rig_version *rig, const char *text,
                        struct up_failure *failure) {
    char salt[UP_SALT_SIZE], commitment[UP_SHA256_SIZE];
    json_auto_t *replaces = up_catalogue_live_ids(catalogue, "rig", record->subject, failure);
    if (replaces == NULL || !catalogue_new_salt(salt, failure)) {
        return false;
    }
    catalogue_commit_to(salt, text, commitment);
    record->content = members_to_json(catalogue_rig_members, rig);
    json_object_set_new(record->content, "text_commitment", json_string(commitment));
    bool good = catalogue_put(catalogue, record, replaces, failure) &&
                catalogue_keep_private(catalogue, record->id, "file_text", salt, text, failure);
    json_decref(record->content);
    return good;
}

bool up_rig_store(struct up_catalogue *catalogue, const struct up_rig_version *rig,
                  char record_id[UP_ID_SIZE], struct up_failure *failure) {
    struct up_record record = {.kind = "rig"};
    UP_FREED char *text = up_text_clean_lines(rig->file_text);
    struct newest newest = {
        .catalogue = catalogue, .file_text = text, .record_id = record_id, .failure = failure};
    record_id[0] = '\0';
    subject_of(rig->bench, record.subject);
    snprintf(record.bench, sizeof record.bench, "%s", rig->bench);
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    bool good =
        up_catalogue_each_live(catalogue, "rig", record.subject, compare, &newest, failure) &&
        !newest.failed;
    if (good && record_id[0] == '\0') {
        good = put_version(catalogue, &record, rig, text, failure);
        memcpy(record_id, record.id, sizeof record.id);
    }
    return catalogue_end(catalogue, good, failure);
}
