/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The folder of somebody else's catalogue, made from any bytes, merged into mine. The first byte
   says how: they are the database; they are edits of a good one; they are a document whose records
   were put in past the door. */
#include "document.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void put_in(json_t *entry, struct up_record *record, json_t *replaces, void *context) {
    struct up_failure failure;
    struct catalogue_parts parts = {.envelope = NULL};
    if (document_seal(entry, record, replaces, &parts)) {
        catalogue_insert(context, record, replaces, &failure);
    }
    catalogue_free_parts(record, &parts);
}

/* Four bytes an edit: where, what, and what it is combined with. */
static void edit(char *file, size_t file_size, const uint8_t *data, size_t size) {
    for (size_t i = 0; i + 4 <= size; i += 4) {
        size_t at = ((size_t)data[i] << 16 | (size_t)data[i + 1] << 8 | data[i + 2]) % file_size;
        file[at] = (char)data[i + 3];
    }
}

/* Without the views, which merging does not look at and SQLite reads at every opening. */
static void begin_theirs(struct shelf *theirs) {
    static const char views[] =
        "SELECT 'DROP VIEW ' || name FROM sqlite_master WHERE type = 'view'";
    sqlite3_stmt *statement = NULL;
    struct up_failure failure;
    json_t *list = json_array(), *drop;
    size_t i;
    shelf_begin(theirs, "theirs", true);
    must(sqlite3_prepare_v2(theirs->mine->database, views, -1, &statement, NULL) == SQLITE_OK);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        json_array_append_new(list, json_string((const char *)sqlite3_column_text(statement, 0)));
    }
    sqlite3_finalize(statement);
    json_array_foreach(list, i, drop) {
        must(catalogue_run(theirs->mine, json_string_value(drop), &failure));
    }
    json_decref(list);
    up_catalogue_close(theirs->mine);
    free(theirs->file);
    theirs->file = shelf_read("theirs/catalogue.sqlite", &theirs->size);
}

static void make_theirs(struct shelf *theirs, const uint8_t *data, size_t size) {
    json_t *document = json_loadb((const char *)data + 1, size - 1, 0, NULL);
    if (json_is_object(document)) {
        theirs->mine = shelf_open(theirs->directory);
        must(sqlite3_exec(theirs->mine->database, "BEGIN", NULL, NULL, NULL) == SQLITE_OK);
        document_visit(document, put_in, theirs->mine);
        must(sqlite3_exec(theirs->mine->database, "COMMIT", NULL, NULL, NULL) == SQLITE_OK);
        up_catalogue_close(theirs->mine);
    } else if (data[0] % 2 == 0) {
        shelf_put(theirs->directory, data + 1, size - 1);
    } else {
        char *copy = up_allocate(theirs->size, 1);
        memcpy(copy, theirs->file, theirs->size);
        edit(copy, theirs->size, data + 1, size - 1);
        shelf_put(theirs->directory, copy, theirs->size);
        free(copy);
    }
    json_decref(document);
}

/* Theirs and then mine, into an empty one: the same. */
static void must_agree(json_t *after) {
    static struct shelf both;
    struct up_failure failure = {0};
    struct up_intake intake;
    if (both.directory == NULL) {
        shelf_begin(&both, "both", false);
    }
    shelf_try(&both);
    must(up_catalogue_merge(both.mine, "theirs", false, &intake, &failure));
    must(up_catalogue_merge(both.mine, "mine", false, &intake, &failure));
    json_t *there = shelf_records(both.mine);
    must(json_equal(there, after));
    json_decref(there);
    shelf_forget(&both);
}

static void must_be_taken(struct shelf *mine, const json_t *before, const struct up_intake *first) {
    struct up_failure failure = {0};
    struct up_intake second;
    json_t *after = shelf_records(mine->mine);
    must(json_object_size(after) == json_object_size(before) + first->fresh);
    must(up_catalogue_merge(mine->mine, "theirs", false, &second, &failure));
    must(second.fresh == 0 && second.contested == 0 &&
         second.known == first->fresh + first->known + first->contested);
    if (first->fresh > 0) {
        must_agree(after);
    }
    json_decref(after);
}

/* Nothing takes it back but merge itself. */
static void must_be_refused_whole(struct shelf *mine, const json_t *before) {
    struct up_failure failure = {0};
    struct up_intake intake;
    must(!up_catalogue_merge(mine->mine, "theirs", false, &intake, &failure));
    json_t *after = shelf_records(mine->mine);
    must(intake.fresh == 0 && json_equal(after, before));
    must_be_a_line(&failure);
    json_decref(after);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf mine, theirs;
    static json_t *before;
    struct up_failure failure = {0};
    struct up_intake first;
    if (before == NULL) {
        shelf_enter();
        shelf_begin(&mine, "mine", true);
        begin_theirs(&theirs);
        before = shelf_records(mine.mine);
    }
    if (size == 0) {
        return 0;
    }
    shelf_put("theirs", theirs.file, theirs.size);
    make_theirs(&theirs, data, size);
    shelf_try(&mine);
    bool good = up_catalogue_merge(mine.mine, "theirs", false, &first, &failure);
    if (good) {
        must_be_taken(&mine, before, &first);
    }
    shelf_forget(&mine);
    if (!good) {
        must_be_refused_whole(&mine, before);
    }
    return 0;
}
