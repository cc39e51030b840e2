/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "cli.h"
#include "embedded.h"
#include "kit/report.h"

const struct option_text options_kit[] = {OPTION_CATALOGUE, OPTION_JSON, OPTION_END};

/* A kit may be entered by data alone; only a part that names an item needs a catalogue. */
static struct up_catalogue *catalogue_if_any(const struct arguments *arguments) {
    struct up_catalogue *catalogue = NULL;
    struct up_failure ignored;
    return open_catalogue(arguments, UP_CATALOGUE_READ, &catalogue, &ignored) ? catalogue : NULL;
}

static bool is_word(const struct arguments *arguments, const char *word, int words) {
    return arguments->words == words && strcmp(arguments->word[0], word) == 0;
}

enum up_status command_kit(const struct arguments *arguments, struct up_failure *failure) {
    if (is_word(arguments, "example", 1)) {
        fputs(embedded_kit_example_json, stdout);
        return UP_STATUS_DONE;
    }
    if (!is_word(arguments, "report", 2)) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "kit: type `upthrust kit example` for a file to fill in, or `upthrust kit report "
                "FILE`");
        return failure->status;
    }
    struct up_catalogue *catalogue = catalogue_if_any(arguments);
    json_t *document = up_kit_report(arguments->word[1], catalogue, failure);
    up_catalogue_close(catalogue);
    if (document == NULL) {
        return failure->status;
    }
    if (option_given(arguments, "json")) {
        print_json(document);
        return UP_STATUS_DONE;
    }
    up_kit_report_print(document, stdout);
    json_decref(document);
    return UP_STATUS_DONE;
}
