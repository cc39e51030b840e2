/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_options.h"
#include "upthrust/text.h"

const struct option_text options_measure[] = {
    OPTION_RIG,
    {"item", "NAME_OR_ID", "what is weighed; `item add` registers it"},
    {"queue", "FILE", "one item after the other, from a list: a name or id a line"},
    {"trials", "N[,N...]",
     "times it is immersed (default: the rig's); 4,6,8: as soon as all is decided"},
    {"water", "NAME[,KEY=X...]",
     "to calculate for: a name of `water --list`, or your own (repeatable)"},
    {"confidence", "P", "a class is stated at this probability (default 0.95)"},
    {"body", "NAME_OR_ID",
     "weigh this reference body first (one or two; `body add` registers one)"},
    {"second-depth-m", "D", "foam or closed air: weigh it once more, D metres deep"},
    {"two-point-m", "L", "hang it level between two lines L metres apart too: which end sinks?"},
    OPTION_TYPED,
    {"resume", NULL, "go on with a run that was left: the latest, or the RUN that is named"},
    {"replay", "RUN", "a stored run once more, from what it recorded; stores nothing"},
    {"store", NULL, "with --replay: store the results all the same"},
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_PLAIN,
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

void print_results(const struct up_item *item, const struct up_result *result, unsigned results,
                   unsigned waters, const struct up_style *style) {
    char *name = up_text_for_terminal(item->name);
    printf("%s (%s)\n", name, item->pieces == 2 ? "a pair" : "one piece");
    for (unsigned i = 0; i < results; i++) {
        up_result_print(&result[i], style, stdout);
        if (result[i].measured) {
            json_t *body = up_result_to_json(&result[i]);
            up_sides_print(body, style, stdout);
            json_decref(body);
        }
    }
    if (results < waters + 1) {
        printf("  no other water is calculated: %s\n",
               item->compressible ? "the item is compressible, its volume holds in the tank only"
                                  : "it was not weighed dry in air, so its volume is not known");
    }
    puts("These numbers prepare a dive. A weight check in the water decides.");
    free(name);
}

static json_t *results_to_json(const struct up_result *result, unsigned results) {
    json_t *list = json_array();
    for (unsigned i = 0; i < results; i++) {
        json_array_append_new(list, up_result_to_json(&result[i]));
    }
    return json_pack("{s:s, s:o}", "schema", "upthrust-results-1", "results", list);
}

static bool read_trials(const struct arguments *arguments, int usual, struct up_measure_plan *plan,
                        struct up_failure *failure) {
    double given[UP_LOOKS_MAX];
    int count = 0;
    plan->trials = (unsigned)usual;
    if (!option_list(arguments, "trials", given, UP_LOOKS_MAX, &count, failure)) {
        return false;
    }
    for (int i = 0; i < count; i++) {
        if (given[i] != floor(given[i]) || given[i] < 1 || given[i] > UP_TRIALS_MAX) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--trials: give whole numbers from 1 to %d", UP_TRIALS_MAX);
        }
        plan->look[i] = plan->trials = (unsigned)given[i];
    }
    plan->looks = count > 1 ? (unsigned)count : 0;
    return true;
}

/* Each with the chart of its deviations on this bench. */
static bool read_references(const struct arguments *arguments, const struct bench_options *options,
                            struct up_measure_plan *plan, struct up_failure *failure) {
    for (int i = 0; i < arguments->options; i++) {
        if (strcmp(arguments->option[i].name, "body") != 0) {
            continue;
        }
        if (plan->references == UP_REFERENCES_MAX) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT, "--body: at most %d reference bodies",
                           UP_REFERENCES_MAX);
        }
        struct up_reference_plan *to = &plan->reference[plan->references++];
        if (!up_reference_find(options->catalogue, arguments->option[i].value, &to->reference,
                               failure) ||
            !up_reference_chart(options->catalogue, to->reference.id, options->rig.id, &to->chart,
                                failure)) {
            return false;
        }
    }
    if (plan->references == 2 &&
        strcmp(plan->reference[0].reference.id, plan->reference[1].reference.id) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--body: the same one twice: give two of different density");
    }
    return true;
}

/* What the rig file claims of all items stands until the kind's own shakes tell better, or tell
   that it is not so. 0: nothing better is known. */
static double share_learned(const struct up_share *share, double claimed) {
    bool known = share->shares > 0;
    bool refuted = known && share->mean.value + 2 * share->mean.u < claimed;
    return known && (isnan(claimed) || share->at_least > claimed || refuted) ? share->at_least : 0;
}

/* What the bench has learned of items of this kind, a pair for itself. */
static bool read_kind(const struct bench_options *options, struct up_measure_plan *plan,
                      struct up_failure *failure) {
    struct up_kind kind;
    if (!up_kind_learn(options->catalogue, plan->item.kind, options->rig.id, &kind, failure)) {
        return false;
    }
    plan->kind_repeatability_kg = (struct up_quantity){0, 0, 0}; /* not of the item before it */
    if (plan->item.pieces <= 2) {
        plan->kind_repeatability_kg =
            plan->item.pieces == 1 ? kind.repeatability_kg : kind.repeatability_pair_kg;
    }
    plan->kind_shake_share = share_learned(&kind.share, options->rig.shake_share);
    return true;
}

bool read_measure(const struct arguments *arguments, const struct bench_options *options,
                  struct up_measure_plan *plan, struct up_failure *failure) {
    plan->confidence = 0.95;
    if (!read_trials(arguments, options->rig.trials, plan, failure) ||
        !option_number(arguments, "confidence", 0.5, 0.9999, &plan->confidence, failure) ||
        !option_number(arguments, "second-depth-m", 0.05, 60, &plan->second_depth_m, failure) ||
        !option_number(arguments, "two-point-m", 0.05, 5, &plan->two_point_m, failure)) {
        return false;
    }
    return read_references(arguments, options, plan, failure);
}

/* What hangs on the item. */
bool read_for_item(const struct bench_options *options, const struct up_item *item,
                   struct up_measure_plan *plan, struct up_failure *failure) {
    plan->item = *item;
    if (plan->second_depth_m != 0 && !plan->item.compressible) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--second-depth-m is for foam and closed air: `upthrust item edit "
                       "--compressible` says that an item is");
    }
    return read_kind(options, plan, failure);
}

static bool read_item(const struct arguments *arguments, const struct bench_options *options,
                      struct up_measure_plan *plan, struct up_failure *failure) {
    const char *name = option_value(arguments, "item");
    struct up_item item;
    if (name == NULL) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "give --item NAME_OR_ID (`upthrust item add` registers one), or --queue FILE");
    }
    return up_item_find(options->catalogue, name, &item, failure) &&
           read_for_item(options, &item, plan, failure);
}

static enum up_status replay_measure(const struct arguments *arguments,
                                     struct up_failure *failure) {
    bool store = option_given(arguments, "store");
    bool document = option_given(arguments, "json");
    struct up_catalogue *catalogue = NULL;
    struct repeated *repeated = up_allocate(1, sizeof *repeated);
    struct up_style style;
    enum up_status status;
    bool good =
        only_replays(arguments, failure) && style_asked(arguments, &style, failure) &&
        up_catalogue_open(catalogue_directory(arguments),
                          store ? UP_CATALOGUE_WRITE : UP_CATALOGUE_READ, &catalogue, failure) &&
        repeat_measure(catalogue, option_value(arguments, "replay"), repeated, failure);
    if (good && document) {
        print_json(results_to_json(repeated->result, repeated->results));
    } else if (good) {
        print_results(&repeated->item, repeated->result, repeated->results, repeated->waters,
                      &style);
    }
    good = good && tell_sameness(catalogue, repeated, document ? stderr : stdout, failure) &&
           (!store || up_results_add(catalogue, repeated->result, repeated->results,
                                     repeated->bench, failure));
    status = good ? status_of_results(repeated->result, repeated->results) : failure->status;
    free(repeated);
    up_catalogue_close(catalogue);
    return status;
}

/* The lamps show the first result, which is the tank's own water. */
static void close_lines(struct up_panel *lines, const struct up_result *result) {
    if (result != NULL) {
        fflush(stdout);
        up_panel_show_class(lines, result->answer.class, &signalled);
    }
    up_panel_close(lines);
}

static enum up_status go_on_measuring(const struct arguments *arguments,
                                      struct up_failure *failure) {
    static const char *const planned[] = {"trials",         "water",       "confidence",
                                          "body",           "air-temp-c",  "typed",
                                          "second-depth-m", "two-point-m", NULL};
    struct bench_options options = {0};
    struct repeated *resumed = up_allocate(1, sizeof *resumed);
    struct up_item item;
    struct up_style style;
    const char *name = option_value(arguments, "item");
    bool good = style_asked(arguments, &style, failure) && check_words(arguments, failure) &&
                open_bench(arguments, true, &options, failure) &&
                read_resume(arguments, planned, &options, failure) &&
                (name == NULL || up_item_find(options.catalogue, name, &item, failure)) &&
                resume_measure(&options.run, name != NULL ? &item : NULL, resumed, failure);
    if (good && options.json_document) {
        print_json(results_to_json(resumed->result, resumed->results));
    } else if (good && !options.run.json) {
        print_results(&resumed->item, resumed->result, resumed->results, resumed->waters, &style);
    }
    enum up_status status =
        good ? status_of_results(resumed->result, resumed->results) : failure->status;
    up_catalogue_close(options.catalogue);
    close_lines(options.run.lines, good ? &resumed->result[0] : NULL);
    free(resumed);
    die_of_signal();
    return status;
}

enum up_status command_measure(const struct arguments *arguments, struct up_failure *failure) {
    struct bench_options options = {0};
    struct up_water water[WATERS_MAX];
    struct up_measure_plan plan = {.water = water};
    struct up_result result[WATERS_MAX + 1];
    unsigned results = 0;
    struct up_style style;
    if (option_given(arguments, "replay")) {
        return replay_measure(arguments, failure);
    }
    if (option_given(arguments, "queue")) {
        return measure_queue(arguments, failure);
    }
    if (option_given(arguments, "resume")) {
        return go_on_measuring(arguments, failure);
    }
    bool good = check_words(arguments, failure) && style_asked(arguments, &style, failure) &&
                waters_asked(arguments, water, &plan.waters, failure) &&
                open_bench(arguments, true, &options, failure) &&
                read_conditions(arguments, &options, failure) &&
                read_measure(arguments, &options, &plan, failure) &&
                read_item(arguments, &options, &plan, failure) &&
                run_measure(&options.run, &plan, result, &results, failure);
    if (good && options.json_document) {
        print_json(results_to_json(result, results));
    } else if (good && !options.run.json) {
        print_results(&plan.item, result, results, plan.waters, &style);
    }
    up_catalogue_close(options.catalogue);
    close_lines(options.run.lines, good ? &result[0] : NULL);
    die_of_signal();
    return good ? status_of_results(result, results) : failure->status;
}
