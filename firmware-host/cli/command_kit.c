/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "cli.h"
#include "embedded.h"
#include "kit/report.h"

const struct option_text options_kit[] = {OPTION_CATALOGUE, OPTION_JSON, OPTION_END};

static bool is_word(struct call *call, const char *word, int words) {
    return call->words == words && strcmp(call->word[0], word) == 0;
}

bool command_kit(struct call *call) {
    if (is_word(call, "example", 1)) {
        fputs(embedded_kit_example_json, stdout);
        return true;
    }
    if (!is_word(call, "report", 2)) {
        return refuse(
            call, "kit: type `upthrust kit example` for a file to fill in, or `upthrust kit report "
                  "FILE`");
    }
    /* A kit may be entered by data alone; only a part that names an item needs a catalogue. */
    up_catalogue_open(catalogue_directory(call), UP_CATALOGUE_READ, &call->catalogue, NULL);
    json_t *document = up_kit_report(call->word[1], call->catalogue, call->failure);
    if (document == NULL) {
        return false;
    }
    if (option_given(call, "json")) {
        print_json(document);
        return true;
    }
    up_kit_report_print(document, stdout);
    json_decref(document);
    return true;
}
