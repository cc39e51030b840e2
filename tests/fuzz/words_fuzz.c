/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as the words of a command line, one a line: refused in a line, with the catalogue as it
   was, or done. Commands that use a port or another program only read their options. */
#define main upthrust_main
int main(int argc, char **argv);
#include "cli/main.c"
#undef main
#include "embedded.h"
#include "fuzz_catalogue.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { WORDS_MOST = 40 };

static const char *const only_read[] = {"demo",   "calibrate", "measure", "ports",
                                        "listen", "rig-check", "plot"};

static bool is_only_read(const struct command *command) {
    for (size_t i = 0; i < sizeof only_read / sizeof only_read[0]; i++) {
        if (strcmp(command->name, only_read[i]) == 0) {
            return true;
        }
    }
    return false;
}

/* Nothing is written outside of our folder, and few things in it. */
static void stay_here(struct call *call) {
    for (int i = 0; i < call->options; i++) {
        struct given *given = &call->option[i];
        given->value = strcmp(given->name, "catalogue") == 0 ? "mine"
                       : strcmp(given->name, "to") == 0      ? "out"
                                                             : given->value;
    }
}

static bool says_nothing_new(const struct command *command, const struct call *call) {
    static const char *const reading[] = {"water", "show",   "explain",
                                          "kit",   "export", "calibration"};
    const char *verb = call->words > 0 ? call->word[0] : "";
    for (size_t i = 0; i < sizeof reading / sizeof reading[0]; i++) {
        if (strcmp(command->name, reading[i]) == 0) {
            return true;
        }
    }
    return strcmp(verb, "list") == 0 || strcmp(verb, "show") == 0;
}

/* Since the last time it was asked, by another connection than ours. */
static bool was_written(struct shelf *shelf) {
    static long long version;
    struct up_failure failure;
    long long before = version;
    must(catalogue_ask(shelf->mine, "PRAGMA data_version", NULL, &version, &failure));
    return version != before;
}

static void run_one(struct shelf *shelf, const json_t *before, const struct command *command,
                    int argc, char **argv) {
    struct up_failure failure = {0};
    struct call call = {.failure = &failure};
    if (!read_arguments(command, argc, argv, &call)) {
        must(failure.text[0] == '\0' || failure.status == UP_STATUS_WRONG_INPUT);
        return;
    }
    if (is_only_read(command)) {
        return;
    }
    if (strcmp(command->name, "kit") == 0 && call.words > 0 &&
        (strcmp(call.word[0], "new") == 0 || strcmp(call.word[0], "page") == 0)) {
        return; /* asks a person; draws with another program */
    }
    stay_here(&call);
    bool done = command->run(&call);
    up_catalogue_close(call.catalogue);
    must(call.status == UP_STATUS_DONE || call.status == UP_STATUS_UNDECIDED);
    if (!done) {
        must_be_a_line(&failure);
        must(failure.status == UP_STATUS_UNABLE || failure.status == UP_STATUS_WRONG_INPUT);
    }
    if (!was_written(shelf)) {
        return;
    }
    json_t *after = shelf_records(shelf->mine);
    if (!json_equal(before, after)) {
        must(done && !says_nothing_new(command, &call));
        must(json_object_size(after) > json_object_size(before));
        shelf_restore(shelf);
        was_written(shelf); /* another connection counts from another number */
    }
    json_decref(after);
}

/* The items of the shelf, and one that was measured. */
static void begin(struct shelf *shelf) {
    const char *seeds = getenv("UPTHRUST_FUZZ_SEEDS");
    struct up_intake intake;
    struct up_failure failure;
    shelf_enter();
    setenv("UPTHRUST_CATALOGUE", "mine", 1);
    must(freopen("/dev/null", "w", stdout) != NULL);
    shelf_write("kit.json", embedded_kit_example_json, sizeof embedded_kit_example_json - 1);
    shelf_begin(shelf, "mine", true);
    if (seeds != NULL) {
        char *path = up_text_format("%s/document/result", seeds);
        size_t size;
        char *document = shelf_read(path, &size);
        shelf_write("in.json", document + 1, size - 1);
        must(up_catalogue_import(shelf->mine, "in.json", false, &intake, &failure) &&
             intake.fresh > 0);
        up_catalogue_close(shelf->mine);
        free(shelf->file);
        shelf->file = shelf_read("mine/catalogue.sqlite", &shelf->size);
        shelf->mine = shelf_open(shelf->directory);
        free(document);
        free(path);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static struct shelf shelf;
    static json_t *before;
    char *argv[WORDS_MOST + 1] = {NULL};
    int argc = 0;
    if (before == NULL) {
        begin(&shelf);
        before = shelf_records(shelf.mine);
        was_written(&shelf);
    }
    char *text = up_allocate(size + 1, 1);
    memcpy(text, data, size);
    bool outside = strchr(text, '/') != NULL || strstr(text, "..") != NULL;
    for (char *word = text; word != NULL && argc < WORDS_MOST && !outside;) {
        char *end = strchr(word, '\n');
        argv[argc++] = word;
        if (end != NULL) {
            *end++ = '\0';
        }
        word = end;
    }
    const struct command *command = argc > 0 ? find_command(argv[0]) : NULL;
    if (command != NULL) {
        run_one(&shelf, before, command, argc, argv);
    } else if (argc > 0) {
        nearest_command(argv[0]);
    }
    free(text);
    return 0;
}
