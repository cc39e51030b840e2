/* SPDX-License-Identifier: GPL-3.0-or-later */
/* import and merge: what comes from other catalogues. */
#include <stdio.h>
#include <stdlib.h>

#include "cli.h"
#include "text/text.h"

const struct option_text options_import[] = {OPTION_CATALOGUE, OPTION_JSON, OPTION_END};
const struct option_text options_merge[] = {OPTION_CATALOGUE, OPTION_JSON, OPTION_END};

static void print_intake(const char *from, const struct up_intake *intake, bool json) {
    if (json) {
        print_json(json_pack("{s:s, s:I, s:I}", "schema", "upthrust-taken-1", "records_new",
                             (json_int_t)intake->fresh, "records_known",
                             (json_int_t)intake->known));
    } else {
        up_text_print(stdout, "%s: %lu new records, %lu were here already\n", from, intake->fresh,
                      intake->known);
    }
}

static enum up_status take(const struct arguments *arguments, const char *what,
                           bool (*work)(struct up_catalogue *catalogue, const char *from,
                                        struct up_intake *intake, struct up_failure *failure),
                           struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_intake intake = {0};
    if (arguments->words != 1) {
        up_fail(failure, UP_STATUS_WRONG_INPUT, "%s", what);
        return failure->status;
    }
    bool good = up_catalogue_open(catalogue_directory(arguments), UP_CATALOGUE_CREATE, &catalogue,
                                  failure) &&
                work(catalogue, arguments->word[0], &intake, failure);
    up_catalogue_close(catalogue);
    if (good) {
        print_intake(arguments->word[0], &intake, option_given(arguments, "json"));
    }
    return good ? UP_STATUS_DONE : failure->status;
}

enum up_status command_import(const struct arguments *arguments, struct up_failure *failure) {
    return take(arguments,
                "import: name one file or directory that `upthrust export --format json` wrote",
                up_catalogue_import, failure);
}

enum up_status command_merge(const struct arguments *arguments, struct up_failure *failure) {
    return take(arguments, "merge: name the directory of one other catalogue", up_catalogue_merge,
                failure);
}
