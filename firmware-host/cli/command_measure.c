/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>
#include <unistd.h>

#include "catalogue/claim.h"
#include "session_options.h"
#include "text/text.h"

const struct option_text options_measure[] = {
    OPTION_RIG,
    {"item", "NAME_OR_ID", "what is weighed; `item add` registers it"},
    {"queue", "FILE",
     "one item after the other: a list of names, one per line, or a stock list as CSV"},
    {"scan", NULL, "each item as its barcode or name is typed: a queue without a list"},
    {"quick", NULL, "as short as the class in the tank allows; what lies near a line is put aside"},
    {"mass-g", "M", "with --quick: its dry mass by another scale, so that other waters follow"},
    {"u-mass-g", "U", "the standard uncertainty of that mass"},
    {"trials", "N[,N...]",
     "times it is immersed (default: the rig's); 4,6,8: as soon as all is decided"},
    {"water", "NAME[,KEY=X...]",
     "to calculate for: a name of `water --list`, or your own (repeatable)"},
    {"confidence", "P", "a class is stated at this probability (default 0.95)"},
    {"body", "NAME_OR_ID",
     "weigh this reference body first (one or two; `body add` registers one)"},
    {"pressure-bar", "P", "a cylinder: the pressure in it now, as its gauge shows"},
    {"gas", "NAME", "what is in it: air, EAN32, ...; none: a jacket or bladder that was emptied"},
    {"second-depth-m", "D", "foam or closed air: weigh it again, D metres deep"},
    {"two-point-m", "L", "hang it level between two lines L metres apart too: which end sinks?"},
    OPTION_TYPED,
    {"resume", NULL, "continue an interrupted run: the latest, or the RUN that is named"},
    {"replay", "RUN", "replay a stored run from what it recorded; stores nothing"},
    {"store", NULL, "with --replay: store the results"},
    {"label", "DIR", "draw the item's label there afterwards, a PDF of 74x105 mm"},
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_PLAIN,
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

/* Lighter ones hardly displace water; heavier ones nobody hangs. */
static const double MASS_LEAST_G = 1, MASS_MOST_G = 100000, U_MASS_LEAST_G = 0.001;

void print_results(const struct up_session_results *results, struct up_catalogue *catalogue,
                   const struct up_style *style) {
    const struct up_item *item = &results->item;
    const struct up_result *result = results->result;
    char pieces[UP_CLAIM_SIZE];
    bool large = isatty(STDOUT_FILENO) != 0 && style->columns >= 80;
    up_claim_pieces(item->pieces, pieces);
    up_text_put(stdout, item->name, 0, style->isolate);
    printf(" (%s)", pieces);
    if (large) {
        fputs(" in ", stdout);
        unsigned first = results->results > 1 && !result[0].quick.is ? 1 : 0;
        up_text_put(stdout, result[first].water.name, 0, style->isolate);
        puts(":");
        up_operator_print_large(result, results->results, style, stdout);
    } else {
        putchar('\n');
    }
    up_results_print(result, results->results, item, style, stdout);
    json_auto_t *content = up_result_to_json(&result[0]);
    up_result_remarks_print(content, style, stdout);
    if (results->results < results->waters + 1) {
        printf("  no other water is calculated: %s\n",
               item->compressible
                   ? "the item holds gas or may, and its volume is that at the tank's depth"
               : result[0].quick.is ? "no dry mass was given"
                                    : "it was not weighed dry in air, so its volume is not known");
    }
    UP_FREED char *name = quoted(item->name);
    UP_FREED char *what = up_text_format("show %s", name);
    UP_FREED char *show = command_on(catalogue, what);
    puts("Everything known about it:");
    up_text_print(stdout, "  %s\n", show);
}

/* As the document, or as words. */
static void show_results(const struct up_session_results *results, bool document,
                         struct up_catalogue *catalogue, const struct up_style *style) {
    json_auto_t *list = json_array();
    for (unsigned i = 0; i < results->results; i++) {
        json_array_append_new(list, up_result_to_json(&results->result[i]));
    }
    if (document) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-results-1", "results", list));
    } else {
        print_results(results, catalogue, style);
    }
}

static bool read_trials(struct call *call, int usual, struct up_measure_plan *plan) {
    double given[UP_ANALYSES_MAX];
    int count = 0;
    plan->trials = (unsigned)usual;
    if (!option_list(call, "trials", given, UP_ANALYSES_MAX, &count)) {
        return false;
    }
    for (int i = 0; i < count; i++) {
        if (given[i] != floor(given[i]) || given[i] < 1 || given[i] > UP_TRIALS_MAX) {
            return refuse(call, "--trials: give whole numbers from 1 to %d", UP_TRIALS_MAX);
        }
        plan->analysis_at[i] = plan->trials = (unsigned)given[i];
    }
    plan->analyses = count > 1 ? (unsigned)count : 0;
    return true;
}

/* Each with the chart of its deviations on this bench. */
static bool read_references(struct call *call, const struct session_options *options,
                            struct up_measure_plan *plan) {
    for (int i = 0; i < call->options; i++) {
        if (strcmp(call->option[i].name, "body") != 0) {
            continue;
        }
        if (plan->references == UP_REFERENCES_MAX) {
            return refuse(call, "--body: at most %d reference bodies", UP_REFERENCES_MAX);
        }
        struct up_reference_plan *to = &plan->reference[plan->references++];
        if (!up_reference_find(options->catalogue, call->option[i].value, &to->reference,
                               call->failure) ||
            !up_reference_chart(options->catalogue, to->reference.id, options->rig.id, &to->chart,
                                call->failure)) {
            return false;
        }
    }
    if (plan->references == 2 &&
        strcmp(plan->reference[0].reference.id, plan->reference[1].reference.id) == 0) {
        return refuse(call, "--body: the same one twice: give two of different density");
    }
    return true;
}

/* What is no part of a quick weighing would be passed over. */
static bool check_quick(struct call *call, bool quick) {
    static const char *const only_full[] = {"trials",      "body",  "second-depth-m",
                                            "two-point-m", "typed", NULL};
    static const char *const only_quick[] = {"mass-g", "u-mass-g", NULL};
    const char *const *of_other = quick ? only_full : only_quick;
    for (; *of_other != NULL; of_other++) {
        if (option_given(call, *of_other)) {
            return quick
                       ? refuse(call,
                                "--%s and --quick: a quick weighing does without it; leave out one",
                                *of_other)
                       : refuse(call,
                                "--%s needs --quick: a full weighing hangs the item dry itself",
                                *of_other);
        }
    }
    return true;
}

static bool read_quick(struct call *call, struct up_measure_plan *plan) {
    double mass_g = 0, u_mass_g = 0;
    bool mass = option_given(call, "mass-g"), u = option_given(call, "u-mass-g");
    plan->quick = (struct up_quick_plan){.on = option_given(call, "quick")};
    if (!option_number(call, "mass-g", MASS_LEAST_G, MASS_MOST_G, &mass_g) ||
        !option_number(call, "u-mass-g", U_MASS_LEAST_G, MASS_MOST_G, &u_mass_g)) {
        return false;
    }
    if (mass != u) {
        return refuse(call, "give --mass-g and --u-mass-g together: the volume is as uncertain as "
                            "the mass");
    }
    if (mass && (option_given(call, "queue") || option_given(call, "scan"))) {
        return refuse(call, "--mass-g is of one item: give the list a column for the mass");
    }
    plan->quick.mass_kg = mass_g * 1e-3;
    plan->quick.u_mass_kg = u_mass_g * 1e-3;
    return true;
}

bool read_measure(struct call *call, const struct session_options *options,
                  struct up_measure_plan *plan) {
    plan->confidence = 0.95;
    if (!read_quick(call, plan)) {
        return false;
    }
    if (!read_trials(call, options->rig.trials, plan) ||
        !option_number(call, "confidence", 0.5, 0.9999, &plan->confidence) ||
        !option_number(call, "second-depth-m", 0.05, 60, &plan->second_depth_m) ||
        !option_number(call, "two-point-m", 0.05, 5, &plan->two_point_m)) {
        return false;
    }
    plan->trials = plan->quick.on ? 2 : plan->trials; /* at most */
    return read_references(call, options, plan);
}

bool check_item(const struct up_item *item, const struct up_measure_plan *plan,
                struct up_failure *failure) {
    return plan->second_depth_m == 0 || item->compressible ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--second-depth-m is for what holds gas: `upthrust item edit NAME --holds-gas "
                   "yes` says that an item does");
}

static bool read_item(struct call *call, const struct session_options *options,
                      struct up_measure_plan *plan) {
    const char *name = option_value(call, "item");
    struct up_item item;
    if (name == NULL) {
        return refuse(
            call, "give --item NAME_OR_ID (`upthrust item add` registers one), or --queue FILE");
    }
    return up_item_find(options->catalogue, name, &item, call->failure) &&
           check_item(&item, plan, call->failure) &&
           take_filling(call, options->settings.operator_kind == UP_OPERATOR_KEYS, &item,
                        &plan->filling) &&
           up_session_plan_item(options->catalogue, &options->rig, &item, plan, call->failure);
}

/* ---- a stored run once more ---- */

static bool compare(struct up_catalogue *catalogue, const struct up_session_results *results,
                    FILE *stream, struct up_failure *failure) {
    struct up_replay_comparison comparison;
    if (!up_replay_compare(catalogue, results, &comparison, failure)) {
        return false;
    }
    if (comparison.stored == 0) {
        fprintf(stream, "run %s had stored no results\n", results->run_id);
    } else if (comparison.complete && comparison.worst_g <= 1e-9) {
        fprintf(stream, "the same as run %s stored: %u result%s, to 1e-9 g\n", results->run_id,
                results->results, up_text_plural(results->results));
    } else {
        fprintf(stream,
                "run %s stored other numbers, by up to %.3g g: this version calculates otherwise\n",
                results->run_id, comparison.worst_g);
    }
    return true;
}

static bool replay(struct call *call) {
    bool store = option_given(call, "store");
    bool document = option_given(call, "json");
    UP_FREED struct up_session_results *results = up_allocate(1, sizeof *results);
    struct up_style style;
    bool good =
        only_replays(call) && style_asked(call, &style) &&
        up_catalogue_open(catalogue_directory(call), store ? UP_CATALOGUE_WRITE : UP_CATALOGUE_READ,
                          &call->catalogue, call->failure) &&
        up_replay_measure(call->catalogue, option_value(call, "replay"), store, results,
                          call->failure);
    if (good) {
        show_results(results, document, call->catalogue, &style);
    }
    good = good && compare(call->catalogue, results, document ? stderr : stdout, call->failure) &&
           (!store || up_results_add(call->catalogue, results->result, results->results,
                                     results->bench, call->failure));
    call->status = up_session_status(results);
    return good;
}

/* ---- the command ---- */

static bool resume(struct call *call, struct session_options *options,
                   struct up_session_results *results) {
    static const char *const planned[] = {"trials",       "water", "confidence",     "body",
                                          "air-temp-c",   "typed", "second-depth-m", "two-point-m",
                                          "pressure-bar", "gas",   "quick",          "mass-g",
                                          "u-mass-g",     NULL};
    const char *name = option_value(call, "item");
    struct up_item item;
    return open_session(call, true, options) && read_resume(call, planned, options) &&
           (name == NULL || up_item_find(options->catalogue, name, &item, call->failure)) &&
           up_session_resume_measure(&options->settings, name != NULL ? &item : NULL, results,
                                     call->failure);
}

static bool measure(struct call *call, struct session_options *options,
                    struct up_session_results *results) {
    struct up_water water[UP_WATERS_MAX];
    struct up_measure_plan plan = {.water = water};
    if (!waters_asked(call, water, &plan.waters) || !open_session(call, true, options) ||
        !read_conditions(call, options) || !read_measure(call, options, &plan) ||
        !read_item(call, options, &plan)) {
        return false;
    }
    note_rough_calibration(options);
    return up_session_measure(&options->settings, &plan, results, call->failure);
}

bool command_measure(struct call *call) {
    if (option_given(call, "replay")) {
        return replay(call);
    }
    if (!check_quick(call, option_given(call, "quick"))) {
        return false;
    }
    if (option_given(call, "label") && option_value(call, "label")[0] == '\0') {
        return refuse(call, "--label: name a folder"); /* before it is the one at the root */
    }
    if (option_given(call, "queue") || option_given(call, "scan")) {
        return measure_queue(call);
    }
    struct session_options options = {0};
    UP_FREED struct up_session_results *results = up_allocate(1, sizeof *results);
    struct up_style style;
    bool good = check_words(call) && style_asked(call, &style) &&
                (option_given(call, "resume") ? resume(call, &options, results)
                                              : measure(call, &options, results));
    if (good && options.settings.operator_kind != UP_OPERATOR_JSON) {
        show_results(results, options.json_document, options.catalogue, &style);
    }
    if (good) {
        draw_label(call, options.catalogue, &results->item, &style);
    }
    call->status = up_session_status(results);
    close_session(&options, good ? &results->result[0] : NULL);
    die_of_signal();
    return good;
}
