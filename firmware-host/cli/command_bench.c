/* SPDX-License-Identifier: GPL-3.0-or-later */
/* calibrate and measure: the bench from the command line. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli.h"
#include "upthrust/procedure.h"
#include "upthrust/report.h"
#include "upthrust/text.h"

const struct option_text options_calibrate[] = {
    OPTION_RIG,
    {"masses-g", "LIST", "known masses in g: three different ones at least; -500 is taken off"},
    {"rounds", "N", "hang each mass N times (default 2)"},
    {"mass-class", "CLASS", "of the masses, OIML R 111: E2, F1, F2, M1, M2, M3"},
    OPTION_TYPED,
    {"replay", "RUN", "a stored run once more, from what it recorded; stores nothing"},
    {"no-staircase", NULL, "do not look for hysteresis, up and down at the end"},
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

const struct option_text options_measure[] = {
    OPTION_RIG,
    {"item", "NAME_OR_ID", "what is weighed; `item add` registers it"},
    {"trials", "N", "times it is immersed (default: the rig's)"},
    {"water", "NAME[,KEY=X...]", "a water to calculate for: fresh, sea, or your own (repeatable)"},
    {"confidence", "P", "a class is stated at this probability (default 0.95)"},
    OPTION_TYPED,
    {"replay", "RUN", "a stored run once more, from what it recorded; stores nothing"},
    {"store", NULL, "with --replay: store the results all the same"},
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
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
    catch_signals();
    return true;
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

static enum up_status replay_calibrate(const struct arguments *arguments,
                                       struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good =
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
    double mass_kg[UP_CALIBRATION_POINTS_MAX];
    int masses = 0;
    if (option_given(arguments, "replay")) {
        free(calibration);
        return replay_calibrate(arguments, failure);
    }
    bool good = read_masses(arguments, mass_kg, &masses, failure) &&
                open_bench(arguments, false, &options, failure) &&
                read_conditions(arguments, &options, failure) &&
                run_calibrate(&options.run, mass_kg, masses,
                              !option_given(arguments, "no-staircase"), calibration, failure);
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
    }
    if (results < waters + 1) {
        printf("  no other water is calculated: %s\n",
               item->compressible ? "the item is compressible, its volume holds in the tank only"
                                  : "it was not weighed dry in air, so its volume is not known");
    }
    puts("These numbers prepare a dive. Check the weighting in the water before you rely on it.");
    free(name);
}

static json_t *results_to_json(const struct up_result *result, unsigned results) {
    json_t *list = json_array();
    for (unsigned i = 0; i < results; i++) {
        json_array_append_new(list, up_result_to_json(&result[i]));
    }
    return json_pack("{s:s, s:o}", "schema", "upthrust-results-1", "results", list);
}

static bool read_measure(const struct arguments *arguments, const struct bench_options *options,
                         struct up_item *item, int *trials, double *confidence,
                         struct up_failure *failure) {
    const char *name = option_value(arguments, "item");
    *trials = options->rig.trials;
    *confidence = 0.95;
    if (name == NULL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "give --item NAME_OR_ID; `upthrust item add` registers one");
    }
    return option_whole(arguments, "trials", 2, UP_TRIALS_MAX, trials, failure) &&
           option_number(arguments, "confidence", 0.5, 0.9999, confidence, failure) &&
           up_item_find(options->catalogue, name, item, failure);
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
        style_asked(arguments, &style, failure) &&
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

enum up_status command_measure(const struct arguments *arguments, struct up_failure *failure) {
    struct bench_options options = {0};
    struct up_item item;
    struct up_water water[WATERS_MAX];
    struct up_result result[WATERS_MAX + 1];
    unsigned waters = 0, results = 0;
    int trials = 0;
    double confidence = 0;
    struct up_style style;
    if (option_given(arguments, "replay")) {
        return replay_measure(arguments, failure);
    }
    bool good = style_asked(arguments, &style, failure) &&
                waters_asked(arguments, water, &waters, failure) &&
                open_bench(arguments, true, &options, failure) &&
                read_conditions(arguments, &options, failure) &&
                read_measure(arguments, &options, &item, &trials, &confidence, failure) &&
                run_measure(&options.run, &item, trials, confidence, water, waters, result,
                            &results, failure);
    if (good && options.json_document) {
        print_json(results_to_json(result, results));
    } else if (good && !options.run.json) {
        print_results(&item, result, results, waters, &style);
    }
    up_catalogue_close(options.catalogue);
    if (good) { /* the tank's own water comes first */
        fflush(stdout);
        up_lines_show_class(options.run.lines, result[0].answer.class, &signalled);
    }
    up_lines_close(options.run.lines);
    die_of_signal();
    return good ? status_of_results(result, results) : failure->status;
}
