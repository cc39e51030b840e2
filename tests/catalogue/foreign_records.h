/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Records as another program would put them into the file, and the item that they are about. */
#pragma once

#include "support.h"

/* As another program would store it in the file itself: a record with a good hash. */
static inline void insert_foreign_record(struct up_catalogue *catalogue, const char *kind,
                                         const char *subject, const char *made_utc, json_t *content,
                                         json_t *replaces) {
    struct up_record record = {.content = content};
    up_new_id(record.id);
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.subject, sizeof record.subject, "%s", subject);
    snprintf(record.made_utc, sizeof record.made_utc, "%s", made_utc);
    assert_true(catalogue_hash(&record, replaces));
    assert_true(catalogue_insert(catalogue, &record, replaces, NULL));
    json_decref(content);
    json_decref(replaces);
}

static inline json_t *item_of_tolerance(const struct up_item *item, double tolerance_g) {
    struct up_item other = *item;
    other.tolerance_g = tolerance_g;
    return up_item_to_json(&other);
}

static inline double tolerance_g(struct up_catalogue *catalogue, const char *name) {
    struct up_item item;
    struct up_failure failure = {0};
    if (!up_item_find(catalogue, name, &item, &failure)) {
        fail_msg("%s", failure.text);
    }
    return item.tolerance_g;
}
