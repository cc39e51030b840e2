/* SPDX-License-Identifier: GPL-3.0-or-later */
/* kit: what weight checks mean for a diver's lead and trim. Nothing of it goes into the catalogue.
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli.h"
#include "embedded.h"
#include "kit/report.h"
#include "text/text.h"

const struct option_text options_kit[] = {
    {"to", "DIR", "page: the folder to write kit.pdf and its parts to"},
    {"of-report", NULL, "schema: that of `kit report --json`"},
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

/* A kit may be entered by data alone; only a part that names an item needs a catalogue. */
static struct up_catalogue *catalogue_if_any(const struct arguments *arguments) {
    struct up_catalogue *catalogue = NULL;
    struct up_failure ignored;
    return open_catalogue(arguments, UP_CATALOGUE_READ, &catalogue, &ignored) ? catalogue : NULL;
}

/* A new folder is for the diver alone: what a person weighs is nobody else's business. */
static bool draw_page(const char *to, const json_t *document, struct up_failure *failure) {
    char *text = NULL;
    size_t size;
    if (to == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "kit page: give --to DIR, a folder of this diver alone");
    }
    if (mkdir(to, 0700) != 0 && errno != EEXIST) {
        return up_fail(failure, UP_STATUS_UNABLE, "cannot make the folder %s: %s", to,
                       strerror(errno));
    }
    FILE *stream = open_memstream(&text, &size);
    if (stream == NULL) {
        up_out_of_memory();
    }
    up_kit_page_print(document, stream);
    fclose(stream);
    bool good = up_plot_kit(document, text, to, failure);
    free(text);
    if (good) {
        up_text_print(stdout, "%s: kit.pdf, a page for the diver; kit.svg, .png, .gp, .tsv\n", to);
    }
    return good;
}

static bool report(const struct arguments *arguments, bool page, struct up_failure *failure) {
    struct up_catalogue *catalogue = catalogue_if_any(arguments);
    json_t *document = up_kit_report(arguments->word[1], catalogue, failure);
    bool good = document != NULL;
    up_catalogue_close(catalogue);
    if (good && page) {
        good = draw_page(option_value(arguments, "to"), document, failure);
    } else if (good && option_given(arguments, "json")) {
        print_json(json_incref(document));
    } else if (good) {
        up_kit_report_print(document, stdout);
    }
    json_decref(document);
    return good;
}

enum up_status command_kit(const struct arguments *arguments, struct up_failure *failure) {
    const char *verb = arguments->words > 0 ? arguments->word[0] : "";
    bool alone = arguments->words == 1, page = strcmp(verb, "page") == 0, good = true;
    if (alone && strcmp(verb, "example") == 0) {
        fputs(embedded_kit_example_json, stdout);
    } else if (alone && strcmp(verb, "schema") == 0) {
        fputs(option_given(arguments, "of-report") ? embedded_kit_report_schema_json
                                                   : embedded_kit_schema_json,
              stdout);
    } else if (arguments->words == 2 && strcmp(verb, "new") == 0) {
        good = ask_kit(arguments->word[1], failure);
    } else if (arguments->words == 2 && (page || strcmp(verb, "report") == 0)) {
        good = report(arguments, page, failure);
    } else {
        good =
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "kit: `upthrust kit new FILE` asks for a kit and `kit example` prints one to "
                    "fill in; then `kit report FILE` or `kit page FILE --to DIR`");
    }
    return good ? UP_STATUS_DONE : failure->status;
}
