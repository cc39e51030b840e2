/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A damaged file of any bytes: what is saved of it is sound, and each record of it is one that was
   in the good file. The first byte says how: the rest is the database; edits of a good one; the
   same of one that is cut off. */
#include "fuzz_catalogue.h"
#include "keep/keep.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void ignore(const char *id, const char *kind, const char *made_utc, const char *why,
                   void *context) {
    must(id != NULL && kind != NULL && made_utc != NULL && why[0] != '\0');
    ++*(unsigned long *)context;
}

static bool no_doubt(const struct up_doubtful_record *doubtful, void *context) {
    (void)context;
    must(doubtful->why != UP_RECORD_DAMAGED);
    return true;
}

/* Four bytes an edit: where, and what. */
static void damage(const struct shelf *good, const uint8_t *data, size_t size) {
    size_t length = good->size;
    char *copy = up_allocate(good->size, 1);
    memcpy(copy, good->file, good->size);
    if (data[0] % 3 == 2 && size >= 4) {
        length = ((size_t)data[1] << 16 | (size_t)data[2] << 8 | data[3]) % good->size;
    }
    for (size_t i = 4; i + 4 <= size; i += 4) {
        size_t at = ((size_t)data[i] << 16 | (size_t)data[i + 1] << 8 | data[i + 2]) % good->size;
        copy[at] = (char)data[i + 3];
    }
    shelf_put("theirs", copy, length);
    free(copy);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf good;
    struct up_failure failure = {0};
    struct up_salvage found;
    struct up_catalogue *saved = NULL;
    unsigned long lost = 0;
    if (good.file == NULL) {
        shelf_enter();
        shelf_begin(&good, "theirs", true);
        up_catalogue_close(good.mine);
    }
    if (size == 0) {
        return 0;
    }
    if (data[0] % 3 == 0) {
        shelf_put("theirs", data + 1, size - 1);
    } else {
        damage(&good, data, size);
    }
    if (!up_salvage("theirs", "saved", &found, ignore, &lost, &failure)) {
        must_be_a_line(&failure);
        must(access("saved", F_OK) != 0);
        return 0;
    }
    must(lost == found.damaged + found.missing);
    must(up_catalogue_open("saved", UP_CATALOGUE_READ, &saved, &failure));
    must(up_catalogue_check(saved, no_doubt, NULL, &failure));
    up_catalogue_close(saved);
    shelf_remove("saved");
    return 0;
}
