/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading what a run left behind. The files are foreign text like any other: somebody may have
   changed them. */
#include <dirent.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/run.h"
#include "internal.h"
#include "text/text.h"

enum { LEAST_PREFIX = 4, JOURNAL_MEMORY_BYTES_MAX = 1 << 30 };

struct folder {
    struct up_beginning beginning;
    char found[UP_ID_SIZE];
};

/* A folder that was put in there may have any name: that of a run that was made here goes before.
 */
static bool take_folder(struct up_catalogue *catalogue, const char *name, struct folder *folder,
                        struct up_failure *failure) {
    long long own = 0;
    bool good = !up_is_uuid(name) ||
                catalogue_ask(catalogue,
                              "SELECT count(*) FROM record AS r WHERE kind = 'run' AND subject = ?"
                              " AND " CATALOGUE_IS_OWN("r.id"),
                              name, &own, failure);
    if (good && up_is_uuid(name) && up_beginning_takes(&folder->beginning, name, own == 0)) {
        snprintf(folder->found, UP_ID_SIZE, "%.36s", name);
    }
    return good;
}

static bool find_run(struct up_catalogue *catalogue, const char *directory, const char *id,
                     char found[UP_ID_SIZE], struct up_failure *failure) {
    DIR *list = opendir(directory);
    struct folder folder = {.beginning = {.wanted = id}};
    const struct dirent *entry;
    bool good = true;
    while (list != NULL && good && (entry = readdir(list)) != NULL) {
        good = strncmp(entry->d_name, id, strlen(id)) != 0 ||
               take_folder(catalogue, entry->d_name, &folder, failure);
    }
    if (list != NULL) {
        closedir(list);
    }
    memcpy(found, folder.found, sizeof folder.found);
    if (good &&
        (strlen(id) < LEAST_PREFIX || strchr(id, '/') != NULL || folder.beginning.found != 1)) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "%s: %s; give a run's id, or at least four characters that begin only one "
            "in %s",
            id, folder.beginning.found > 1 ? "several runs begin with it" : "there is no such run",
            directory);
    }
    return good;
}

/* The last line may be cut: the program or the machine stopped there. */
static bool parse_journal(const char *path, char *text, size_t length, json_t *journal,
                          struct up_failure *failure) {
    int number = 1;
    if (up_json_bytes(text, length) > JOURNAL_MEMORY_BYTES_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s contains more values than fit into memory", path);
    }
    for (char *line = text; *line != '\0'; number++) {
        char *end = strchr(line, '\n');
        json_t *entry;
        if (end == NULL) {
            return true;
        }
        entry = json_loadb(line, (size_t)(end - line), JSON_REJECT_DUPLICATES, NULL);
        if (!json_is_object(entry)) {
            json_decref(entry);
            return up_fail(failure, UP_STATUS_WRONG_INPUT, "%s, line %d is not a JSON object", path,
                           number);
        }
        json_array_append_new(journal, entry);
        line = end + 1;
    }
    return true;
}

bool up_run_read(struct up_catalogue *catalogue, const char *id, struct up_run_files *files,
                 struct up_failure *failure) {
    UP_FREED char *runs = up_text_format("%s/runs", up_catalogue_directory(catalogue));
    char *stream = NULL, *journal = NULL, *text = NULL;
    size_t length = 0;
    bool good;
    memset(files, 0, sizeof *files);
    good = find_run(catalogue, runs, id, files->id, failure);
    if (good) {
        stream = up_text_format("%s/%s/stream", runs, files->id);
        journal = up_text_format("%s/%s/journal.jsonl", runs, files->id);
        files->stream = up_text_read_file(stream, UP_LINKS_REFUSED, UP_RUN_STREAM_BYTES_MAX,
                                          &files->length, failure);
        text = files->stream != NULL ? up_text_read_file(journal, UP_LINKS_REFUSED,
                                                         UP_RUN_JOURNAL_BYTES_MAX, &length, failure)
                                     : NULL;
        files->journal = json_array();
        good = text != NULL && parse_journal(journal, text, length, files->journal, failure);
    }
    free(text);
    free(stream);
    free(journal);
    if (!good) {
        up_run_files_free(files);
    }
    return good;
}

void up_run_files_free(struct up_run_files *files) {
    free(files->stream);
    json_decref(files->journal);
    files->stream = NULL;
    files->journal = NULL;
}

/* ---- whether they are that run's ---- */

struct begun {
    json_t *content; /* of the version that counts */
    bool elsewhere;
};

static bool take_begun(const struct up_record *record, void *context) {
    *(struct begun *)context = (struct begun){json_incref(record->content), record->elsewhere};
    return false;
}

static bool is_same(const json_t *a, const json_t *b) {
    return (a == NULL && b == NULL) || json_equal(a, b);
}

bool up_run_check_files(struct up_catalogue *catalogue, const struct up_run_files *files,
                        bool of_here, struct up_failure *failure) {
    static const char *const told[] = {"what",          "item_id",   "calibration_id", "rig_sha256",
                                       "rig_record_id", "continues", "queue"};
    const json_t *first = json_array_get(files->journal, 0);
    struct begun begun = {NULL, true};
    bool same = strcmp(up_record_text(first, "run_id"), files->id) == 0;
    if (!up_catalogue_each_live(catalogue, "run", files->id, take_begun, &begun, failure)) {
        return false;
    }
    for (size_t i = 0; begun.content != NULL && i < sizeof told / sizeof told[0]; i++) {
        same = same &&
               is_same(json_object_get(first, told[i]), json_object_get(begun.content, told[i]));
    }
    json_decref(begun.content);
    return same ? !of_here || !begun.elsewhere ||
                      up_fail(failure, UP_STATUS_WRONG_INPUT,
                              "run %s was not made here: its results cannot be stored as if they "
                              "were; merge the catalogue that has them",
                              files->id)
                : up_fail(failure, UP_STATUS_WRONG_INPUT,
                          "the files in %s/runs/%s are not those of that run, as the catalogue "
                          "has it: put back a copy of the folder runs, or begin a new run",
                          catalogue->directory, files->id);
}

/* ---- which one to continue ---- */

struct search {
    struct up_catalogue *catalogue;
    struct up_failure *failure;
    bool failed;
    const char *what, *bench, *item_id, *id;
    struct up_beginning beginning; /* of the id that is wanted */
    struct up_unfinished *found;
    char how_ended[16];  /* empty: a program is working on it */
    char by[UP_ID_SIZE]; /* continues it already */
    const char *wrong;
    unsigned matches;
};

/* A run of a copied folder, or of another catalogue, was begun on a cell that is unknown here. The
   end of a killed run is stored by who finds it: all versions must be of this folder. */
static bool was_begun_here(struct search *search, const struct up_record *record) {
    bool here = false;
    search->failed = search->failed || !catalogue_is_of_place(search->catalogue, record->subject,
                                                              &here, search->failure);
    return here;
}

static const char *why_not_resumable(struct search *search, const struct up_record *record) {
    if (strcmp(up_record_text(record->content, "what"), search->what) != 0) {
        return "is of another kind";
    }
    if (strcmp(record->bench, search->bench) != 0) {
        return "is of another bench";
    }
    if (!was_begun_here(search, record)) {
        return "was begun in another folder, or on another machine: begin a new run";
    }
    return search->item_id != NULL &&
                   strcmp(up_record_text(record->content, "item_id"), search->item_id) != 0
               ? "is of another item"
               : NULL;
}

static void choose(struct search *search, const struct up_record *record) {
    struct up_unfinished *found = search->found;
    search->matches++;
    search->by[0] = '\0';
    snprintf(search->how_ended, sizeof search->how_ended, "%s",
             up_record_text(record->content, "how_ended"));
    memcpy(found->run_id, record->subject, sizeof found->run_id);
    json_decref(found->continues);
    found->continues = json_pack("[s]", record->subject);
    const json_t *before;
    size_t i;
    json_array_foreach(json_object_get(record->content, "continues"), i, before) {
        if (json_is_string(before)) {
            json_array_append_new(found->continues, json_string(json_string_value(before)));
        }
    }
}

/* Runs come the oldest first, so one that continues another comes after it. */
static bool consider_run(const struct up_record *record, void *context) {
    struct search *search = context;
    const char *before =
        json_string_value(json_array_get(json_object_get(record->content, "continues"), 0));
    const char *wrong = why_not_resumable(search, record);
    bool named = search->id != NULL &&
                 up_beginning_takes(&search->beginning, record->subject, record->elsewhere);
    search->matches = named ? search->beginning.found - 1 : search->matches;
    if (search->matches > 0 && before != NULL && strcmp(before, search->found->run_id) == 0 &&
        was_begun_here(search, record)) {
        memcpy(search->by, record->subject, sizeof search->by);
    }
    if (search->id == NULL ? wrong == NULL : named) {
        choose(search, record);
        search->wrong = wrong;
    }
    return true;
}

static bool is_continued(const struct up_unfinished *found, const char *run_id) {
    size_t i;
    const json_t *id;
    json_array_foreach(found->continues, i, id) {
        if (strcmp(json_string_value(id), run_id) == 0) {
            return true;
        }
    }
    return false;
}

static bool note_check(const struct up_record *record, void *context) {
    struct up_unfinished *found = context;
    found->checks +=
        !record->elsewhere && is_continued(found, up_record_text(record->content, "run_id"));
    return true;
}

static bool note_trial(const struct up_record *record, void *context) {
    struct up_unfinished *found = context;
    json_int_t number = json_integer_value(json_object_get(record->content, "number"));
    if (!record->elsewhere && number >= 1 && number <= UP_RUN_TRIALS_MAX &&
        is_continued(found, up_record_text(record->content, "run_id"))) {
        found->trials += !found->stored[number];
        found->stored[number] = true;
    }
    return true;
}

static bool judge_search(const struct search *search, struct up_failure *failure) {
    const char *id = search->found->run_id;
    if (search->matches == 0) {
        return search->id != NULL
                   ? up_fail(failure, UP_STATUS_WRONG_INPUT,
                             "there is no run %.60s to continue: `upthrust export` lists all runs",
                             search->id)
                   : up_fail(failure, UP_STATUS_WRONG_INPUT,
                             "there is no run of %s on the bench %.60s%s to continue: begin one "
                             "without --resume",
                             search->what, search->bench,
                             search->item_id != NULL ? " with this item" : "");
    }
    if (search->id != NULL && (search->matches > 1 || strlen(search->id) < LEAST_PREFIX)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%.60s: give a run's id, or at least four characters that begin only one",
                       search->id);
    }
    if (search->wrong != NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "run %s %s: it cannot be continued here", id,
                       search->wrong);
    }
    if (search->by[0] != '\0') {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %s was continued already: --resume %s continues the newer one", id,
                       search->by);
    }
    if (search->how_ended[0] == '\0') {
        return up_fail(failure, UP_STATUS_UNABLE, "run %s is still running in another program", id);
    }
    return strcmp(search->how_ended, "completed") != 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the latest run, %s, is complete: there is nothing to continue", id);
}

bool up_run_find_unfinished(struct up_catalogue *catalogue, const char *what, const char *bench,
                            const char *item_id, const char *id, struct up_unfinished *found,
                            struct up_failure *failure) {
    struct search search = {.catalogue = catalogue,
                            .failure = failure,
                            .what = what,
                            .bench = bench,
                            .item_id = item_id,
                            .id = id,
                            .beginning = {.wanted = id},
                            .found = found};
    memset(found, 0, sizeof *found);
    bool good = up_catalogue_each(catalogue, "run", consider_run, &search, failure) &&
                !search.failed && judge_search(&search, failure) &&
                up_catalogue_each(catalogue, "trial", note_trial, found, failure) &&
                up_catalogue_each(catalogue, "reference_check", note_check, found, failure);
    if (!good) {
        json_decref(found->continues);
        found->continues = NULL;
    }
    return good;
}
