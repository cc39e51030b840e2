/* SPDX-License-Identifier: GPL-3.0-or-later */
/* import and merge: what comes from other catalogues. */
#include <string.h>
#include <strings.h>

#include "cli.h"
#include "text/text.h"

#define DRY_RUN                                                                                    \
    { "dry-run", NULL, "check and count what would come; store nothing" }
const struct option_text options_import[] = {OPTION_CATALOGUE, DRY_RUN, OPTION_JSON, OPTION_END};
const struct option_text options_merge[] = {OPTION_CATALOGUE, DRY_RUN, OPTION_JSON, OPTION_END};

static void print_words(const char *from, const struct up_intake *intake, bool dry_run) {
    up_text_print(stdout, "%s: %s%lu new record%s, %lu already here\n", from,
                  dry_run ? "would take " : "", intake->fresh, up_text_plural(intake->fresh),
                  intake->known);
    printf("  %lu new version%s of what was made here, %lu result%s of your items, "
           "%lu calibration%s\n",
           intake->versions_of_ours, up_text_plural(intake->versions_of_ours),
           intake->results_of_ours, up_text_plural(intake->results_of_ours), intake->calibrations,
           up_text_plural(intake->calibrations));
    if (intake->contested > 0) {
        printf("  %lu with other content under the id of a record here: one of the two is forged. "
               "Kept aside, see `upthrust check-catalogue`.\n",
               intake->contested);
    }
    if (intake->undecided > 0) {
        printf("  Of %lu id%s no content counts any more: `upthrust check-catalogue` lists them, "
               "and --take-back ID/HASH takes one.\n",
               intake->undecided, up_text_plural(intake->undecided));
    }
    if (intake->refused > 0) {
        printf("  %lu refused: not what was signed or stored, a copy of another record under an id "
               "that is not its own, or nested too deep.\n",
               intake->refused);
        if (intake->refused_why[0] != '\0') {
            up_text_print(stdout, "    the first: %.300s\n", intake->refused_why);
        }
    }
    if (intake->copies > 0) {
        printf("  %lu only copy a record that has another id: kept, and changing nothing.\n",
               intake->copies);
    }
    if (intake->versions_of_ours > 0) {
        printf("  Your own versions stay as they are.%s%s\n",
               intake->items_of_ours > 0
                   ? " `upthrust item accept NAME` takes an item's from elsewhere."
                   : "",
               intake->versions_of_ours > intake->items_of_ours
                   ? " Those of bodies, kinds and the rest are kept, and never count here."
                   : "");
    }
    if (intake->calibrations > 0) {
        fputs("  A calibration from elsewhere is used only after `upthrust calibration adopt`.\n",
              stdout);
    }
}

static void print_intake(const char *from, const struct up_intake *intake, bool dry_run,
                         bool json) {
    if (json) {
        print_json(json_pack(
            "{s:s, s:b, s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:I}", "schema", "upthrust-taken-1",
            "dry_run", dry_run, "records_new", (json_int_t)intake->fresh, "records_known",
            (json_int_t)intake->known, "records_contested", (json_int_t)intake->contested,
            "records_undecided", (json_int_t)intake->undecided, "records_refused",
            (json_int_t)intake->refused, "records_copied", (json_int_t)intake->copies,
            "versions_of_ours", (json_int_t)intake->versions_of_ours, "results_of_ours",
            (json_int_t)intake->results_of_ours, "calibrations", (json_int_t)intake->calibrations));
    } else {
        print_words(from, intake, dry_run);
    }
}

static bool run_intake(struct call *call, const char *what,
                       bool (*work)(struct up_catalogue *catalogue, const char *from, bool dry_run,
                                    struct up_intake *intake, struct up_failure *failure)) {
    struct up_catalogue *catalogue = NULL;
    struct up_intake intake = {0};
    bool dry_run = option_given(call, "dry-run");
    if (call->words != 1) {
        return refuse(call, "%s", what);
    }
    bool good = up_catalogue_open(catalogue_directory(call),
                                  dry_run ? UP_CATALOGUE_WRITE : UP_CATALOGUE_CREATE, &catalogue,
                                  call->failure) &&
                work(catalogue, call->word[0], dry_run, &intake, call->failure);
    up_catalogue_close(catalogue);
    if (good) {
        print_intake(call->word[0], &intake, dry_run, option_given(call, "json"));
    }
    return good;
}

bool command_import(struct call *call) {
    const char *file = call->words == 1 ? call->word[0] : "";
    size_t length = strlen(file);
    if (length > 4 && strcasecmp(file + length - 4, ".csv") == 0) {
        return refuse(
            call,
            "%.120s: import takes the catalogue.json that `upthrust export --format json` "
            "writes; CSV files are for spreadsheets, and lack what a record needs",
            file);
    }
    return run_intake(
        call, "import: name one file or directory that `upthrust export --format json` wrote",
        up_catalogue_import);
}

bool command_merge(struct call *call) {
    return run_intake(call, "merge: name the directory of one other catalogue", up_catalogue_merge);
}
