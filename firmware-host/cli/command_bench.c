/* SPDX-License-Identifier: GPL-3.0-or-later */
/* calibrate and measure: the bench from the command line. */
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "queue.h"
#include "upthrust/procedure.h"
#include "upthrust/report.h"
#include "upthrust/text.h"
#include "upthrust/wire.h"

const struct option_text options_calibrate[] = {
    OPTION_RIG,
    {"masses-g", "LIST", "known masses in g: three different ones at least; -500 is taken off"},
    {"rounds", "N", "hang each mass N times (default 2)"},
    {"mass-class", "CLASS", "of the masses, OIML R 111: E2, F1, F2, M1, M2, M3"},
    OPTION_TYPED,
    {"resume", NULL, "go on with a run that was left: the latest, or the RUN that is named"},
    {"replay", "RUN", "a stored run once more, from what it recorded; stores nothing"},
    {"no-staircase", NULL, "do not look for hysteresis, up and down at the end"},
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_PLAIN,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

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

struct bench_options {
    struct up_rig rig;
    struct bench_run run;
    struct up_catalogue *catalogue;
    bool json_document;
};

/* A pedal says no numbers: none may be asked for. */
static bool can_pedal(const struct bench_options *options, bool measures,
                      struct up_failure *failure) {
    const struct up_rig *rig = &options->rig;
    bool has_thermometer = rig->line.temp.field != 0 || rig->line.temp.label[0] != '\0';
    if (rig->pedal.input.at.chip[0] == '\0') {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--operator pedal: %s has no section [pedal] that names its line",
                       rig->path);
    }
    if (rig->port_kind == UP_PORT_TYPED) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--operator pedal: readings are typed here, which no pedal can do: say "
                       "--operator keys");
    }
    return !measures || has_thermometer || !isnan(rig->temp_c) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--operator pedal: the water's temperature would have to be typed: give [tank] "
                   "temp_c in %s, or a thermometer in [line]",
                   rig->path);
}

/* What calibrate and measure read alike; lines and catalogue are then open. */
static bool open_bench(const struct arguments *arguments, bool measures,
                       struct bench_options *options, struct up_failure *failure) {
    const char *operator_kind = option_value(arguments, "operator");
    const char *rig_file = option_value(arguments, "rig");
    memset(options, 0, sizeof *options);
    options->json_document = option_given(arguments, "json");
    if (rig_file == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "give --rig FILE: rigs/ holds examples and tells how to write one");
    }
    if (operator_kind != NULL && strcmp(operator_kind, "keys") != 0 &&
        strcmp(operator_kind, "pedal") != 0 && strcmp(operator_kind, "json") != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "--operator %s: say keys, pedal or json",
                       operator_kind);
    }
    options->run.json = operator_kind != NULL && strcmp(operator_kind, "json") == 0;
    options->run.pedal = operator_kind != NULL && strcmp(operator_kind, "pedal") == 0;
    if (operator_kind == NULL && isatty(STDIN_FILENO) == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "standard input is no terminal: say --operator keys, pedal or json");
    }
    if (options->run.json && options->json_document) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--json and --operator json are one too many: the operator's last line "
                       "holds the results");
    }
    if (!up_rig_load(rig_file, &options->rig, failure)) {
        return false;
    }
    if (option_given(arguments, "typed") && !up_rig_type_readings(&options->rig, failure)) {
        return false;
    }
    if (options->rig.port_kind == UP_PORT_STDIN) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s reads samples from standard input, where the operator answers: use "
                       "`listen` for that",
                       rig_file);
    }
    if ((options->run.pedal && !can_pedal(options, measures, failure)) ||
        !up_lines_open(&options->rig, &options->run.lines, failure) ||
        !up_catalogue_open(catalogue_directory(arguments), UP_CATALOGUE_CREATE, &options->catalogue,
                           failure)) {
        return false;
    }
    options->run.catalogue = options->catalogue;
    options->run.rig = &options->rig;
    options->run.port = option_value(arguments, "port");
    options->run.operator_input = STDIN_FILENO;
    options->run.operator_output = options->run.json ? stdout : stderr;
    options->run.screen = !options->run.json && !option_given(arguments, "plain") &&
                          isatty(STDIN_FILENO) && isatty(STDERR_FILENO);
    if (options->run.screen) {
        setlocale(LC_CTYPE, "");
    }
    catch_signals();
    return true;
}

/* ---- going on with a run ---- */

/* What the run's plan says already; a second word on it would be taken for heard. */
static bool read_resume(const struct arguments *arguments, const char *const *planned,
                        struct bench_options *options, struct up_failure *failure) {
    options->run.resume = arguments->words > 0 ? arguments->word[0] : "";
    for (; *planned != NULL; planned++) {
        if (option_given(arguments, *planned)) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--%s and --resume: the run goes on as it was planned; leave out one",
                           *planned);
        }
    }
    return true;
}

/* Words are for --resume alone. */
static bool check_words(const struct arguments *arguments, struct up_failure *failure) {
    int most = option_given(arguments, "resume") ? 1 : 0;
    if (option_given(arguments, "store")) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--store goes with --replay RUN; what is measured is stored anyway");
    }
    return arguments->words <= most ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s: %s", arguments->word[most],
                   most == 1 ? "--resume goes on with one run at a time"
                             : "only a run's id is a word here, after --resume");
}

/* ---- calibrate ---- */

static bool read_masses(const struct arguments *arguments, double *mass_kg, int *masses,
                        struct up_failure *failure) {
    double given[UP_CALIBRATION_POINTS_MAX];
    int count = 0, rounds = 2;
    *masses = 0;
    if (!option_list(arguments, "masses-g", given, UP_CALIBRATION_POINTS_MAX, &count, failure) ||
        !option_whole(arguments, "rounds", 1, 10, &rounds, failure)) {
        return false;
    }
    if (count == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "give the known masses: --masses-g 500,1000,2000");
    }
    if (count * rounds > UP_CALIBRATION_POINTS_MAX) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%d masses in %d rounds: at most %d loadings", count, rounds,
                       UP_CALIBRATION_POINTS_MAX);
    }
    for (int round = 0; round < rounds; round++) {
        for (int i = 0; i < count; i++) {
            mass_kg[(*masses)++] = given[i] * 1e-3;
        }
    }
    return true;
}

/* A class named here goes before what the rig file says of its masses. */
static bool read_conditions(const struct arguments *arguments, struct bench_options *options,
                            struct up_failure *failure) {
    const char *name = option_value(arguments, "mass-class");
    if (name != NULL && !up_mass_class_from_name(name, &options->rig.mass_class)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "--mass-class %s: say E2, F1, F2, M1, M2 or M3 (OIML R 111)", name);
    }
    return option_number(arguments, "air-temp-c", 0, 40, &options->rig.air.temp_c.value, failure);
}

static void tell_calibration(const struct up_calibration *calibration, bool document) {
    if (document) {
        json_t *json = up_calibration_to_json(calibration);
        json_object_set_new(json, "schema", json_string("upthrust-calibration-1"));
        print_json(json);
    } else {
        print_calibration(calibration);
    }
}

/* A run goes through as it was: what else is asked for would be passed over. */
static bool only_replays(const struct arguments *arguments, struct up_failure *failure) {
    static const char *const good[] = {"replay", "store", "catalogue", "json", "units", "rig"};
    for (int i = 0; i < arguments->options; i++) {
        size_t known = 0;
        while (known < sizeof good / sizeof good[0] &&
               strcmp(arguments->option[i].name, good[known]) != 0) {
            known++;
        }
        if (known == sizeof good / sizeof good[0]) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT,
                           "--%s and --replay: a run is gone through as it was; leave out one",
                           arguments->option[i].name);
        }
    }
    return arguments->words == 0 ||
           up_fail(failure, UP_STATUS_WRONG_INPUT, "%.80s: --replay takes one run and no words",
                   arguments->word[0]);
}

static enum up_status replay_calibrate(const struct arguments *arguments,
                                       struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good =
        only_replays(arguments, failure) &&
        up_catalogue_open(catalogue_directory(arguments), UP_CATALOGUE_READ, &catalogue, failure) &&
        repeat_calibrate(catalogue, option_value(arguments, "replay"), calibration, failure);
    if (good) {
        tell_calibration(calibration, option_given(arguments, "json"));
    }
    free(calibration);
    up_catalogue_close(catalogue);
    return good ? UP_STATUS_DONE : failure->status;
}

enum up_status command_calibrate(const struct arguments *arguments, struct up_failure *failure) {
    struct bench_options options = {0};
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    static const char *const planned[] = {"masses-g",   "rounds", "mass-class", "no-staircase",
                                          "air-temp-c", "typed",  NULL};
    double mass_kg[UP_CALIBRATION_POINTS_MAX];
    int masses = 0;
    if (option_given(arguments, "replay")) {
        free(calibration);
        return replay_calibrate(arguments, failure);
    }
    bool resumes = option_given(arguments, "resume");
    bool good = check_words(arguments, failure) &&
                (resumes || read_masses(arguments, mass_kg, &masses, failure)) &&
                open_bench(arguments, false, &options, failure) &&
                read_conditions(arguments, &options, failure);
    if (good && resumes) {
        good = read_resume(arguments, planned, &options, failure) &&
               resume_calibrate(&options.run, calibration, failure);
    } else if (good) {
        good = run_calibrate(&options.run, mass_kg, masses,
                             !option_given(arguments, "no-staircase"), calibration, failure);
    }
    if (good && !options.run.json) {
        tell_calibration(calibration, options.json_document);
    }
    free(calibration);
    up_catalogue_close(options.catalogue);
    up_lines_close(options.run.lines);
    die_of_signal();
    return good ? UP_STATUS_DONE : failure->status;
}

/* ---- measure ---- */

static void print_results(const struct up_item *item, const struct up_result *result,
                          unsigned results, unsigned waters, const struct up_style *style) {
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
    if (plan->item.pieces <= 2) {
        plan->kind_repeatability_kg =
            plan->item.pieces == 1 ? kind.repeatability_kg : kind.repeatability_pair_kg;
    }
    plan->kind_shake_share = share_learned(&kind.share, options->rig.shake_share);
    return true;
}

static bool read_measure(const struct arguments *arguments, const struct bench_options *options,
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
static bool read_for_item(const struct bench_options *options, const struct up_item *item,
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
static void close_lines(struct up_lines *lines, const struct up_result *result) {
    if (result != NULL) {
        fflush(stdout);
        up_lines_show_class(lines, result->answer.class, &signalled);
    }
    up_lines_close(lines);
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

/* ---- a queue ---- */

struct whole_queue {
    struct bench_options options;
    struct up_measure_plan plan;
    struct queue queue;
    struct up_source *source;
    struct up_opening opening;
    struct up_style style;
    json_t *list; /* all results, for one document */
    bool begun, undecided, left;
};

static void say_place(const struct whole_queue *whole, unsigned index, const char *place) {
    char *name = up_text_for_terminal(whole->queue.entry[index].item.name);
    char *where = up_text_for_terminal(place);
    if (whole->options.run.json) {
        json_t *json = json_pack("{s:s, s:s, s:s, s:o}", "event", "queue", "item",
                                 whole->queue.entry[index].item.name, "text", place, "queue",
                                 queue_to_json(&whole->queue, index));
        json_dumpf(json, stdout, JSON_COMPACT);
        putchar('\n');
        json_decref(json);
    } else {
        fprintf(stderr, "\n== %s: %s\n", name, where);
    }
    free(name);
    free(where);
}

static void tell_one(struct whole_queue *whole, const struct repeated *one) {
    if (whole->options.json_document) {
        for (unsigned i = 0; i < one->results; i++) {
            json_array_append_new(whole->list, up_result_to_json(&one->result[i]));
        }
    } else if (!whole->options.run.json) {
        print_results(&one->item, one->result, one->results, one->waters, &whole->style);
        fflush(stdout);
    }
    up_lines_show_class(whole->options.run.lines, one->result[0].answer.class, &signalled);
    whole->undecided =
        whole->undecided || status_of_results(one->result, one->results) == UP_STATUS_UNDECIDED;
}

static bool measure_one(struct whole_queue *whole, unsigned index, struct repeated *one,
                        struct up_failure *failure) {
    struct queue_entry *entry = &whole->queue.entry[index];
    struct bench_run *run = &whole->options.run;
    char place[200];
    bool good;
    queue_say_place(&whole->queue, index, &whole->plan, &whole->options.rig, place, sizeof place);
    say_place(whole, index, place);
    run->place = place;
    run->queue = queue_to_json(&whole->queue, index);
    run->resume = entry->left_run;
    queue_begin_item(&whole->queue);
    one->item = entry->item;
    one->waters = whole->plan.waters;
    good = entry->left_run[0] != '\0'
               ? resume_measure(run, &entry->item, one, failure)
               : read_for_item(&whole->options, &entry->item, &whole->plan, failure) &&
                     run_measure(run, &whole->plan, one->result, &one->results, failure);
    whole->plan.references = 0; /* once, at the beginning */
    json_decref(run->queue);
    run->queue = NULL;
    run->place = NULL;
    return good;
}

/* Each item's results are stored before the next one is asked for. */
static bool measure_all(struct whole_queue *whole, struct up_failure *failure) {
    struct repeated *one = up_allocate(1, sizeof *one);
    bool good = true;
    for (unsigned i = 0; i < whole->queue.count && good && signalled == 0; i++) {
        if (whole->queue.entry[i].done) {
            continue;
        }
        memset(one, 0, sizeof *one);
        good = measure_one(whole, i, one, failure);
        if (good) {
            tell_one(whole, one);
        }
        if (good && !whole->left) {
            queue_end_item(&whole->queue, i);
        }
        good = good && !whole->left;
    }
    free(one);
    return good;
}

static void tell_way_on(const struct whole_queue *whole) {
    unsigned left = queue_left(&whole->queue);
    if (whole->begun && left > 0) {
        char *path = up_text_for_terminal(whole->queue.path);
        fprintf(stderr,
                "note: %u of %u items are left; `upthrust measure --queue %s --resume`, with "
                "the same --rig and --catalogue, goes on\n",
                left, whole->queue.count, path);
        free(path);
    }
}

static enum up_status end_queue(struct whole_queue *whole, bool good, struct up_failure *failure) {
    /* Left by a word is no failure: what was measured is stored. */
    enum up_status status = good || failure->text[0] == '\0'
                                ? whole->undecided ? UP_STATUS_UNDECIDED : UP_STATUS_DONE
                                : failure->status;
    if (whole->options.json_document) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-results-1", "results", whole->list));
    }
    tell_way_on(whole);
    up_source_close(whole->source);
    json_decref(whole->list);
    up_catalogue_close(whole->options.catalogue);
    up_lines_close(whole->options.run.lines);
    free(whole);
    die_of_signal();
    return status;
}

static bool check_alone(const struct arguments *arguments, struct up_failure *failure) {
    return !option_given(arguments, "item") ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "--item and --queue are one too many: the list names the items");
}

static enum up_status measure_queue(const struct arguments *arguments, struct up_failure *failure) {
    struct whole_queue *whole = up_allocate(1, sizeof *whole);
    struct bench_run *run = &whole->options.run;
    struct up_water water[WATERS_MAX];
    bool good =
        check_words(arguments, failure) && check_alone(arguments, failure) &&
        style_asked(arguments, &whole->style, failure) &&
        waters_asked(arguments, water, &whole->plan.waters, failure) &&
        open_bench(arguments, true, &whole->options, failure) &&
        read_conditions(arguments, &whole->options, failure) &&
        read_measure(arguments, &whole->options, &whole->plan, failure) &&
        queue_open(&whole->queue, whole->options.catalogue, option_value(arguments, "queue"),
                   option_given(arguments, "resume"), failure);
    whole->list = json_array();
    whole->plan.water = water;
    run->source = &whole->source;
    run->opening = &whole->opening;
    run->left = &whole->left;
    if (good && queue_left(&whole->queue) == 0) {
        fprintf(stderr, "note: all %u items of the list are done\n", whole->queue.count);
    }
    whole->begun = good;
    good = good && measure_all(whole, failure);
    return end_queue(whole, good, failure);
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
