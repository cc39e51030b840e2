/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a document to import. The first says whether the hashes are made to fit. What is
   refused leaves the catalogue as it was; what is taken comes out again as it came in. */
#include "document.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void write_document(const uint8_t *data, size_t size) {
    json_t *document =
        data[0] % 4 != 0 ? json_loadb((const char *)data + 1, size - 1, 0, NULL) : NULL;
    char *text = NULL;
    if (json_is_object(document)) {
        document_mend(document);
        text = json_dumps(document, JSON_COMPACT | JSON_REAL_PRECISION(17));
    }
    json_decref(document);
    if (text != NULL) {
        shelf_write("in.json", text, strlen(text));
    } else {
        shelf_write("in.json", data + 1, size - 1);
    }
    free(text);
}

/* Exported and taken in by an empty catalogue, it is the same. */
static void must_travel(struct up_catalogue *mine, json_t *records) {
    static struct shelf empty;
    struct up_failure failure = {0};
    struct up_intake intake;
    if (empty.directory == NULL) {
        shelf_begin(&empty, "empty", false);
    }
    must(up_export_json(mine, "out", &failure));
    shelf_try(&empty);
    must(up_catalogue_import(empty.mine, "out", false, &intake, &failure));
    json_t *there = shelf_records(empty.mine);
    must(json_equal(there, records) && intake.known == 0);
    json_decref(there);
    shelf_forget(&empty);
}

static void must_be_taken(struct shelf *shelf, const json_t *before,
                          const struct up_intake *first) {
    struct up_failure failure = {0};
    struct up_intake second;
    json_t *after = shelf_records(shelf->mine);
    must(json_object_size(after) == json_object_size(before) + first->fresh);
    must(up_catalogue_import(shelf->mine, "in.json", false, &second, &failure));
    must(second.fresh == 0 && second.contested == 0 &&
         second.known == first->fresh + first->known + first->contested);
    if (first->fresh > 0) {
        must_travel(shelf->mine, after);
    }
    json_decref(after);
}

/* Nothing takes it back but import itself. */
static void must_be_refused_whole(struct shelf *shelf, const json_t *before) {
    struct up_failure failure = {0};
    struct up_intake intake;
    must(!up_catalogue_import(shelf->mine, "in.json", false, &intake, &failure));
    json_t *after = shelf_records(shelf->mine);
    must(intake.fresh == 0 && json_equal(after, before));
    must_be_a_line(&failure);
    json_decref(after);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf shelf;
    static json_t *before;
    struct up_failure failure = {0};
    struct up_intake first;
    if (before == NULL) {
        shelf_enter();
        shelf_begin(&shelf, "mine", true);
        before = shelf_records(shelf.mine);
    }
    if (size == 0) {
        return 0;
    }
    write_document(data, size);
    shelf_try(&shelf);
    bool good = up_catalogue_import(shelf.mine, "in.json", false, &first, &failure);
    if (good) {
        must_be_taken(&shelf, before, &first);
    }
    shelf_forget(&shelf);
    if (!good) {
        must_be_refused_whole(&shelf, before);
    }
    return 0;
}
