/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Folders of several writers, what they say of each other, and what is seen of it. */
#pragma once

#include "foreign_records.h"
#include "trust/trust.h"

static inline void shell(const char *command) {
    if (system(command) != 0) {
        fail_msg("%s", command);
    }
}

static inline struct up_intake merge(struct up_catalogue *catalogue, const char *from) {
    struct up_intake intake;
    struct up_failure failure = {0};
    if (!up_catalogue_merge(catalogue, from, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake;
}

static inline void merge_into(const char *directory, const char *from) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    merge(catalogue, from);
    up_catalogue_close(catalogue);
}

static inline struct up_item add_to(const char *directory, const char *name) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, name);
    up_catalogue_close(catalogue);
    return item;
}

/* The key that signed last in a folder; in one of four buffers, used in turn. */
static inline const char *key_of(const char *directory) {
    static char key[4][UP_KEY_SIZE];
    static int next = 0;
    next = (next + 1) % 4;
    char *path = up_text_format("%s/catalogue.sqlite", directory);
    sqlite3 *database = outside(path);
    char *found = ask(database, "SELECT s.writer FROM signed AS s JOIN local_mark AS m ON"
                                " m.record_id = s.id AND m.mark = 'made' JOIN record AS r ON"
                                " r.id = s.id ORDER BY r.rowid DESC");
    memcpy(key[next], found, UP_KEY_SIZE);
    free(found);
    free(path);
    sqlite3_close(database);
    return key[next];
}

static inline void give(const char *directory, const char *writer, const char *role) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    if (!up_trust_give(catalogue, writer, role, "somebody", "", &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
}

static inline void vouch(const char *directory, const char *writer) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    assert_true(up_trust_vouch(catalogue, writer, "a shop", NULL));
    up_catalogue_close(catalogue);
}

/* Whether it counts there. */
static inline bool revoke_key(const char *directory, const char *writer, long long last) {
    struct up_failure failure = {0};
    bool counts = false;
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    if (!up_trust_revoke(catalogue, writer, last, "", "stolen", &counts, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return counts;
}

static inline bool recall(const char *directory, const char *writer, long long first,
                          long long last) {
    bool counts = false;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    if (!up_trust_recall(catalogue, writer, first, last, "wrong masses", &counts, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return counts;
}

/* ---- what is seen ---- */

static inline bool note_name(const struct up_record *record, void *context) {
    json_array_append_new(context, json_string(up_record_text(record->content, "name")));
    return true;
}

static inline int compare_names(const void *a, const void *b) {
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* The names of the items that count, in order, by blanks. */
static inline void assert_items(const char *directory, const char *wanted) {
    const char *name[64];
    char seen[1024] = "";
    struct up_failure failure = {0};
    json_auto_t *names = json_array();
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_READ);
    if (!up_catalogue_each(catalogue, "item", note_name, names, &failure)) {
        fail_msg("%s", failure.text);
    }
    for (size_t i = 0; i < json_array_size(names); i++) {
        name[i] = json_string_value(json_array_get(names, i));
    }
    qsort(name, json_array_size(names), sizeof name[0], compare_names);
    for (size_t i = 0; i < json_array_size(names); i++) {
        snprintf(seen + strlen(seen), sizeof seen - strlen(seen), "%s%s", i > 0 ? " " : "",
                 name[i]);
    }
    assert_string_equal(seen, wanted);
    char *path = up_text_format("%s/catalogue.sqlite", directory);
    assert_file_answer(path,
                       "SELECT coalesce(group_concat(name, ' '), '') FROM"
                       " (SELECT name FROM item ORDER BY name)",
                       wanted);
    free(path);
    up_catalogue_close(catalogue);
}

static unsigned doubts[UP_RECORD_WAITING + 1];
static inline bool count_doubt(const struct up_doubtful_record *doubtful, void *context) {
    (void)context;
    doubts[doubtful->why]++;
    return true;
}

static inline unsigned doubts_in(const char *directory, enum up_record_doubt why) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_READ);
    memset(doubts, 0, sizeof doubts);
    assert_true(up_catalogue_check(catalogue, count_doubt, NULL, NULL));
    up_catalogue_close(catalogue);
    return doubts[why];
}

/* The derived tables are what they are when all is made anew. */
static inline void assert_settled(const char *directory) {
    static const char all[] =
        "SELECT group_concat(t, '|') FROM (SELECT record_id || sha256 || how || why AS t FROM"
        " left_out UNION SELECT writer || role || how || through || name FROM standing"
        " UNION SELECT old || new FROM rotated UNION SELECT writer || last_sequence || by_writer"
        " FROM revoked UNION SELECT sha256 FROM recalled ORDER BY 1)";
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    char *before = ask(catalogue->database, all);
    assert_true(catalogue_begin(catalogue, NULL));
    sql(catalogue->database, "DELETE FROM left_out; DELETE FROM standing; DELETE FROM revoked;"
                             "DELETE FROM rotated; DELETE FROM recalled");
    assert_true(catalogue_touch_all(catalogue, NULL));
    if (!catalogue_end(catalogue, true, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_answer(catalogue->database, all, before);
    free(before);
    up_catalogue_close(catalogue);
}

static inline void new_key(const char *directory) {
    char writer[UP_KEY_SIZE];
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    if (!up_trust_new_key(catalogue, writer, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
}
