/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli.h"

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
