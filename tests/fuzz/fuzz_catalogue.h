/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Catalogues for the fuzz targets, in memory where there is a /dev/shm. */
#ifndef SHELF_H
#define SHELF_H

#ifndef _GNU_SOURCE
#define _GNU_SOURCE /* nftw */
#endif
#include <ftw.h>
#include <sys/stat.h>
#include <unistd.h>

#include "catalogue/internal.h"
#include "fuzz.h"
#include "text/text.h"

/* ---- a folder of our own, in which the target stands ---- */

static inline int shelf_remove_one(const char *path, const struct stat *about, int type,
                                   struct FTW *place) {
    (void)about, (void)type, (void)place;
    return remove(path);
}

static inline void shelf_remove(const char *path) {
    nftw(path, shelf_remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

static char shelf_place[64];

static inline void shelf_leave(void) {
    must(chdir("/") == 0);
    shelf_remove(shelf_place);
}

/* fuzz.sh removes what a target that crashed leaves behind. */
static inline void shelf_enter(void) {
    const char *place = getenv("UPTHRUST_FUZZ_PLACE");
    snprintf(shelf_place, sizeof shelf_place, "%.40s/shelf-XXXXXX",
             place != NULL                   ? place
             : access("/dev/shm", W_OK) == 0 ? "/dev/shm"
                                             : "/tmp");
    must(mkdtemp(shelf_place) != NULL && chdir(shelf_place) == 0);
    atexit(shelf_leave);
}

static inline void shelf_write(const char *path, const void *bytes, size_t size) {
    FILE *stream = fopen(path, "wb");
    must(stream != NULL && fwrite(bytes, 1, size, stream) == size && fclose(stream) == 0);
}

static inline char *shelf_read(const char *path, size_t *size) {
    struct up_failure failure;
    char *bytes = up_text_read_file(path, UP_LINKS_REFUSED, 64 << 20, size, &failure);
    must(bytes != NULL);
    return bytes;
}

/* ---- catalogues ---- */

static inline struct up_catalogue *shelf_open(const char *directory) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    catalogue_patience_ms = 0;
    must(up_catalogue_open(directory, UP_CATALOGUE_CREATE, &catalogue, &failure));
    /* What the disk does is not asked here. */
    must(catalogue_run(catalogue, "PRAGMA synchronous = OFF", &failure));
    return catalogue;
}

static const char *const shelf_names[] = {"My fin", "other fin", "2 kg", "Mask \xC3\xA9", "a"};
enum { SHELF_ITEMS = sizeof shelf_names / sizeof shelf_names[0] };

/* A few items, with ids that seeds can name. */
static inline void shelf_fill(struct up_catalogue *catalogue) {
    struct up_failure failure;
    for (int i = 0; i < SHELF_ITEMS; i++) {
        struct up_item item = {.pieces = 1};
        snprintf(item.id, sizeof item.id, "%08d-0000-4000-8000-000000000000", i + 1);
        snprintf(item.name, sizeof item.name, "%s", shelf_names[i]);
        snprintf(item.kind, sizeof item.kind, "fin");
        item.tolerance_g = 50;
        item.expansion_per_k = item.u_expansion_per_k = 1e-4;
        must(up_item_add(catalogue, &item, &failure));
    }
}

/* The one that stands for mine, as it was made. */
struct shelf {
    const char *directory;
    struct up_catalogue *mine;
    char *file; /* the bytes of its database */
    size_t size;
};

static inline void shelf_begin(struct shelf *shelf, const char *directory, bool filled) {
    char *path = up_text_format("%s/catalogue.sqlite", directory);
    shelf->directory = directory;
    shelf->mine = shelf_open(directory);
    if (filled) {
        shelf_fill(shelf->mine);
    }
    up_catalogue_close(shelf->mine); /* all of it is in the one file then */
    shelf->file = shelf_read(path, &shelf->size);
    shelf->mine = shelf_open(directory);
    free(path);
}

static inline void shelf_put(const char *directory, const void *file, size_t size) {
    static const char *const names[] = {"catalogue.sqlite-wal", "catalogue.sqlite-shm"};
    char *path = up_text_format("%s/catalogue.sqlite", directory);
    for (size_t i = 0; i < 2; i++) {
        char *beside = up_text_format("%s/%s", directory, names[i]);
        remove(beside);
        free(beside);
    }
    shelf_write(path, file, size);
    free(path);
}

static inline void shelf_restore(struct shelf *shelf) {
    up_catalogue_close(shelf->mine);
    shelf_put(shelf->directory, shelf->file, shelf->size);
    shelf->mine = shelf_open(shelf->directory);
}

/* What comes between the two is taken back, without opening the catalogue anew. Within it a refusal
   takes nothing back by itself. */
static inline void shelf_try(struct shelf *shelf) {
    struct up_failure failure;
    must(catalogue_begin(shelf->mine, &failure));
}

static inline void shelf_forget(struct shelf *shelf) {
    struct up_failure failure;
    must(!catalogue_end(shelf->mine, false, &failure) && shelf->mine->depth == 0);
}

/* ---- what is in one ---- */

static inline bool shelf_note(const struct up_record *record, void *context) {
    json_object_set_new(context, record->id, json_string(record->sha256));
    return true;
}

/* Id and hash of every record. */
static inline json_t *shelf_records(struct up_catalogue *catalogue) {
    struct up_failure failure;
    json_t *records = json_object();
    unsigned damaged = 0;
    must(catalogue_each_record(catalogue, shelf_note, records, &damaged, &failure) && damaged == 0);
    return records;
}

static inline void must_be_refused(const struct up_failure *failure) {
    must(failure->status == UP_STATUS_WRONG_INPUT || failure->status == UP_STATUS_UNABLE);
    must(failure->text[0] != '\0');
}

/* What a program prints of it is one line. */
static inline void must_be_a_line(const struct up_failure *failure) {
    char *line = up_text_for_terminal(failure->text);
    must_be_refused(failure);
    must(strpbrk(line, "\n\r\x1b") == NULL);
    free(line);
}

#endif
