/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "cli.h"

const struct option_text options_explain[] = {
    {"water", "NAME", "of the item's results that in this water (default: the tank)"},
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

enum up_status command_explain(const struct arguments *arguments, struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_style style;
    if (arguments->words > 1) {
        up_fail(failure, UP_STATUS_WRONG_INPUT,
                "explain: give one result, or one item, in quotes if its name contains spaces");
        return failure->status;
    }
    if (!style_asked(arguments, &style, failure) ||
        !open_catalogue(arguments, UP_CATALOGUE_READ, &catalogue, failure)) {
        return failure->status;
    }
    json_auto_t *document = up_explain(catalogue, arguments->words > 0 ? arguments->word[0] : NULL,
                                       option_value(arguments, "water"), failure);
    if (document != NULL && option_given(arguments, "json")) {
        print_json(json_incref(document));
    } else if (document != NULL) {
        up_explain_print(document, &style, stdout);
    }
    up_catalogue_close(catalogue);
    return document != NULL ? UP_STATUS_DONE : failure->status;
}
