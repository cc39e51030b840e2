/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading what a run left behind. The files are foreign text like any other: somebody may have
   changed them. */
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/run.h"
#include "upthrust/text.h"

enum { LEAST_PREFIX = 4 };

static bool find_run(const char *directory, const char *id, char found[UP_ID_SIZE],
                     struct up_failure *failure) {
    DIR *list = opendir(directory);
    struct dirent *entry;
    int matches = 0;
    found[0] = '\0';
    while (list != NULL && (entry = readdir(list)) != NULL) {
        if (entry->d_name[0] != '.' && strlen(entry->d_name) < UP_ID_SIZE &&
            strncmp(entry->d_name, id, strlen(id)) == 0) {
            snprintf(found, UP_ID_SIZE, "%s", entry->d_name);
            matches++;
        }
    }
    if (list != NULL) {
        closedir(list);
    }
    if (strlen(id) < LEAST_PREFIX || strchr(id, '/') != NULL || matches != 1) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s: %s; give a run's id, or at least four characters that begin only one "
                       "in %s",
                       id, matches > 1 ? "several runs begin so" : "there is no such run",
                       directory);
    }
    return true;
}

static char *read_whole(const char *path, size_t *length, struct up_failure *failure) {
    FILE *file = fopen(path, "rb");
    char *bytes = NULL;
    size_t room = 0;
    *length = 0;
    while (file != NULL && !ferror(file) && !feof(file)) {
        room = room == 0 ? 65536 : 2 * room;
        bytes = up_reallocate(bytes, room + 1, 1);
        *length += fread(bytes + *length, 1, room - *length, file);
    }
    if (file == NULL || ferror(file)) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "cannot read %s: %s", path, strerror(errno));
        free(bytes);
        bytes = NULL;
    } else {
        bytes[*length] = '\0';
    }
    if (file != NULL) {
        fclose(file);
    }
    return bytes;
}

/* The last line may be cut: the program or the machine stopped there. */
static bool parse_journal(const char *path, char *text, json_t *journal,
                          struct up_failure *failure) {
    int number = 1;
    for (char *line = text; *line != '\0'; number++) {
        char *end = strchr(line, '\n');
        json_t *entry;
        if (end == NULL) {
            return true;
        }
        entry = json_loadb(line, (size_t)(end - line), JSON_REJECT_DUPLICATES, NULL);
        if (!json_is_object(entry)) {
            json_decref(entry);
            return up_fail(failure, UP_STATUS_WRONG_INPUT, "%s, line %d is no JSON object", path,
                           number);
        }
        json_array_append_new(journal, entry);
        line = end + 1;
    }
    return true;
}

bool up_run_read(const struct up_catalogue *catalogue, const char *id, struct up_run_left *left,
                 struct up_failure *failure) {
    char *runs = up_text_format("%s/runs", up_catalogue_directory(catalogue));
    char *stream = NULL, *journal = NULL, *text = NULL;
    size_t length = 0;
    bool good;
    memset(left, 0, sizeof *left);
    good = find_run(runs, id, left->id, failure);
    if (good) {
        stream = up_text_format("%s/%s/stream", runs, left->id);
        journal = up_text_format("%s/%s/journal.jsonl", runs, left->id);
        left->stream = read_whole(stream, &left->length, failure);
        text = left->stream != NULL ? read_whole(journal, &length, failure) : NULL;
        left->journal = json_array();
        good = text != NULL && parse_journal(journal, text, left->journal, failure);
    }
    free(text);
    free(stream);
    free(journal);
    free(runs);
    if (!good) {
        up_run_left_free(left);
    }
    return good;
}

void up_run_left_free(struct up_run_left *left) {
    free(left->stream);
    json_decref(left->journal);
    left->stream = NULL;
    left->journal = NULL;
}
