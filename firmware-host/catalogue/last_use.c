/* SPDX-License-Identifier: GPL-3.0-or-later */
/* By which calibration a bench was last weighed here, noted outside the folder: a backup that is
   copied over the catalogue's own file leaves its place as it was, but does not hold the mark of
   what was lost. One small file for each place and bench; where there is none (another user, a new
   home) the place alone speaks. What stands there and is no such file vouches for nothing. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "internal.h"
#include "text/text.h"

enum { NOTE_MOST = 256 };

/* NULL where there is no home, or the place cannot be determined. */
static char *path_of(struct up_catalogue *catalogue, const char *bench) {
    char place[UP_SHA256_SIZE], name[UP_SHA256_SIZE];
    catalogue_place(catalogue, place);
    if (place[0] == '\0') {
        return NULL;
    }
    UP_FREED char *what = up_text_format("upthrust witness %s %s", place, bench);
    catalogue_hash_text(what, name);
    name[32] = '\0';
    return up_text_state_path(name);
}

/* NULL where there is none, or, `strange`, something else: a link, a pipe, a folder. */
static char *read_note(const char *path, bool *strange) {
    struct stat about;
    size_t length = 0;
    bool none = path == NULL || (lstat(path, &about) != 0 && (errno == ENOENT || errno == EACCES));
    char *note = none ? NULL : up_text_read_file(path, UP_LINKS_REFUSED, NOTE_MOST, &length, NULL);
    *strange = !none && note == NULL;
    return note;
}

char *catalogue_witness_obstacle(struct up_catalogue *catalogue, const char *bench) {
    bool strange = false;
    char *path = path_of(catalogue, bench);
    free(read_note(path, &strange));
    if (!strange) {
        free(path);
    }
    return strange ? path : NULL;
}

/* The mark by which a calibration is trusted, as words; "" where there is none. */
static bool mark_of(struct up_catalogue *catalogue, const char *calibration_id, char **words,
                    struct up_failure *failure) {
    char place[UP_SHA256_SIZE];
    catalogue_place(catalogue, place);
    sqlite3_stmt *statement = catalogue_prepare(
        catalogue,
        "SELECT record_id || ' ' || mark || ' ' || made_utc FROM local_mark WHERE record_id = ?"
        " AND place = ? AND mark IN ('adopted', 'made') ORDER BY mark",
        (const char *[]){calibration_id, place}, 2, failure);
    int code = statement != NULL ? sqlite3_step(statement) : SQLITE_ERROR;
    *words = up_text_format("%s", code == SQLITE_ROW ? catalogue_text_of(statement, 0) : "");
    return statement != NULL &&
           catalogue_finish(catalogue, statement, code == SQLITE_ROW ? SQLITE_DONE : code, failure);
}

bool catalogue_last_use_agrees(struct up_catalogue *catalogue, const char *bench, bool *agrees,
                               struct up_failure *failure) {
    bool good = true, strange = false;
    char *path = path_of(catalogue, bench), *note = read_note(path, &strange), *words = NULL;
    *agrees = note == NULL && !strange;
    if (note != NULL) {
        char id[UP_ID_SIZE];
        snprintf(id, sizeof id, "%s", note);
        good = mark_of(catalogue, id, &words, failure);
        *agrees = good && words[0] != '\0' && strcmp(words, note) == 0;
    }
    free(words);
    free(note);
    free(path);
    return good;
}

static bool write_words(FILE *stream, void *context) {
    return fputs(context, stream) >= 0;
}

bool catalogue_last_use_note(struct up_catalogue *catalogue, const char *bench,
                             const char *calibration_id, struct up_failure *failure) {
    char *path = path_of(catalogue, bench), *words = NULL;
    bool agrees = true, good = mark_of(catalogue, calibration_id, &words, failure);
    if (good && path != NULL && words[0] != '\0') {
        bool strange = false;
        up_text_make_parents(path);
        free(read_note(path, &strange));
        if (strange) { /* it was told, and the bench was checked since */
            remove(path);
        }
        /* A home directory that cannot be written is not a fault, unless the file there forbids the
           use. */
        good = up_text_update_file(path, write_words, words, failure) ||
               (catalogue_last_use_agrees(catalogue, bench, &agrees, NULL) && agrees);
    }
    free(words);
    free(path);
    return good;
}
