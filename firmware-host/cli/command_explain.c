/* SPDX-License-Identifier: GPL-3.0-or-later */
/* explain and report: how one result came about, on the screen and on paper. */
#include "cli.h"
#include "run_report/run_report.h"
#include "text/text.h"

const struct option_text options_explain[] = {
    {"water", "NAME", "of the item's results that in this water (default: the tank)"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

bool command_explain(struct call *call) {
    struct up_style style;
    if (call->words > 1) {
        return refuse(
            call, "explain: give one result, or one item, in quotes if its name contains spaces");
    }
    if (!style_asked(call, &style) || !open_catalogue(call, UP_CATALOGUE_READ)) {
        return false;
    }
    json_auto_t *document = up_explain(call->catalogue, call->words > 0 ? call->word[0] : NULL,
                                       option_value(call, "water"), call->failure);
    if (document != NULL && option_given(call, "json")) {
        print_json(json_incref(document));
    } else if (document != NULL) {
        up_explain_print(document, &style, stdout);
    }
    return document != NULL;
}

const struct option_text options_report[] = {
    {"run", "ID|latest", "which run of `measure`: its id, the beginning of it, or the latest"},
    {"to", "FILE", "FILE.pdf"},
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_END};

bool command_report(struct call *call) {
    const char *run = option_value(call, "run"), *file = option_value(call, "to");
    struct up_style style;
    struct up_run_report_drawn drawn;
    if (run == NULL || file == NULL) {
        return refuse(call, "report: give --run ID, or --run latest, and --to FILE.pdf");
    }
    bool good = style_asked(call, &style) && open_catalogue(call, UP_CATALOGUE_READ) &&
                up_run_report_draw(call->catalogue, run, &style, file, &drawn, call->failure);
    if (good) {
        up_text_print(stdout, "%s: run %.8s, %u pages\n", file, drawn.run_id, drawn.pages);
    }
    if (good && drawn.lacks_a_glyph) {
        up_text_print(stderr, "note: no font of this machine has every character of it: install "
                              "one that has, for example Debian's fonts-noto-core\n");
    }
    return good;
}
