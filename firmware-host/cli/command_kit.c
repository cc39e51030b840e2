/* SPDX-License-Identifier: GPL-3.0-or-later */
/* kit: what weight checks mean for a diver's lead and trim. The catalogue gets nothing of it. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli.h"
#include "embedded.h"
#include "kit/report.h"
#include "text/text.h"

const struct option_text options_kit[] = {
    {"to", "DIR", "page: the folder to write kit.pdf and its parts to"},
    {"dark", NULL, "page: on a dark ground"},
    {"of-report", NULL, "schema: that of `kit report --json`"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

/* Printed into a text, for the caller to free. */
static char *words_of(const json_t *document, bool page, const struct up_style *style) {
    char *text = NULL;
    size_t size;
    FILE *stream = open_memstream(&text, &size);
    if (stream != NULL && style == NULL) {
        up_kit_report_standing(document, stream);
    } else if (stream != NULL) {
        up_kit_report_print(document, page, style, stream);
    }
    if (stream == NULL || ferror(stream) != 0 || fclose(stream) != 0) {
        up_out_of_memory();
    }
    return text;
}

static bool draw_page(struct call *call, const json_t *document, const struct up_style *style) {
    const char *to = option_value(call, "to");
    const struct up_look look = {.dark = option_given(call, "dark")};
    if (to == NULL) {
        return refuse(call, "kit page: give --to DIR, a folder of this diver alone");
    }
    if (mkdir(to, 0700) != 0 && errno != EEXIST) {
        return up_fail(call->failure, UP_STATUS_UNABLE, "cannot make the folder %s: %s", to,
                       strerror(errno));
    }
    UP_FREED char *text = words_of(document, true, style);
    UP_FREED char *standing = words_of(document, true, NULL);
    const struct up_kit_page page = {document, text, standing};
    const struct up_plots plots = {to, *style};
    bool good = up_plot_kit(&page, &plots, &look, call->failure);
    if (good) {
        up_text_print(stdout, "%s: kit.pdf, a page for the diver; kit.svg, .png, .gp, .tsv\n", to);
    }
    return good;
}

/* Where the line is to be broken: the last blank that fits; NULL where it fits whole. */
static char *break_of(char *line, int columns) {
    char *last = NULL;
    if (up_text_columns(line) <= columns) {
        return NULL;
    }
    for (char *at = line + strspn(line, " "); (at = strchr(at, ' ')) != NULL; at++) {
        *at = '\0';
        bool fits = up_text_columns(line) <= columns;
        *at = ' ';
        if (!fits) {
            break;
        }
        last = at;
    }
    return last;
}

/* One too long for the terminal goes on below, set in as it is. */
static void print_line(char *line, int columns) {
    int indent = (int)strspn(line, " "), set_in = 0;
    char *end;
    while (columns > indent && (end = break_of(line, columns - set_in)) != NULL) {
        *end = '\0';
        printf("%*s%s\n", set_in, "", line);
        line = end + 1;
        set_in = indent;
    }
    printf("%*s%s", set_in, "", line);
}

static void print_report(const json_t *document, const struct up_style *style) {
    UP_FREED char *text = words_of(document, false, style);
    char *rest = text;
    for (char *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n")) {
        print_line(line, terminal_columns(STDOUT_FILENO)); /* harmless already */
        fputs(rest != NULL ? "\n" : "", stdout);
    }
}

static bool report(struct call *call, bool page) {
    struct up_style style;
    if (!style_asked(call, &style)) {
        return false;
    }
    json_auto_t *document = up_kit_report(call->word[1], call->catalogue, call->failure);
    bool good = document != NULL;
    if (good && page) {
        good = draw_page(call, document, &style);
    } else if (good && option_given(call, "json")) {
        print_json(json_incref(document));
    } else if (good) {
        print_report(document, &style);
    }
    return good;
}

bool command_kit(struct call *call) {
    const char *verb = call->words > 0 ? call->word[0] : "";
    bool alone = call->words == 1, page = strcmp(verb, "page") == 0;
    if (option_given(call, "units") && !page && strcmp(verb, "report") != 0) {
        return refuse(call, "kit: a kit file is in kilograms, metres, litres and bar; give --units "
                            "to `kit report` or `kit page`");
    }
    if (option_given(call, "dark") && !page) {
        return refuse(call, "kit: --dark is for `kit page`");
    }
    if (alone && strcmp(verb, "example") == 0) {
        fputs(embedded_kit_example_json, stdout);
        return true;
    }
    if (alone && strcmp(verb, "schema") == 0) {
        fputs(option_given(call, "of-report") ? embedded_kit_report_schema_json
                                              : embedded_kit_schema_json,
              stdout);
        return true;
    }
    umask(077); /* what a person weighs is nobody else's business */
    /* A kit may be entered by data alone; only a part that names an item needs a catalogue. */
    up_catalogue_open(catalogue_directory(call), UP_CATALOGUE_READ, &call->catalogue, NULL);
    if (call->words == 2 && strcmp(verb, "new") == 0) {
        return ask_kit(call->word[1], call->catalogue, call->failure);
    }
    if (call->words == 2 && (page || strcmp(verb, "report") == 0)) {
        return report(call, page);
    }
    return refuse(call,
                  "kit: `upthrust kit new FILE` asks for a kit and `kit example` prints one to "
                  "fill in; then `kit report FILE` or `kit page FILE --to DIR`");
}
