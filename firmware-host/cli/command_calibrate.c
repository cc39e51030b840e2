/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "bench_options.h"
#include "text/text.h"

const struct option_text options_calibrate[] = {
    OPTION_RIG,
    {"masses-g", "LIST",
     "known masses in g, at least three different ones; write -500 for a mass that is removed"},
    {"rounds", "N", "hang each mass N times (default 2)"},
    {"mass-class", "CLASS", "of the masses, OIML R 111: E2, F1, F2, M1, M2, M3"},
    OPTION_TYPED,
    {"resume", NULL, "continue an interrupted run: the latest, or the RUN that is named"},
    {"replay", "RUN", "replay a stored run from what it recorded; stores nothing"},
    {"no-staircase", NULL, "do not look for hysteresis, up and down at the end"},
    OPTION_AIR_TEMP,
    OPTION_PORT,
    OPTION_OPERATOR,
    OPTION_PLAIN,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

static bool read_masses(const struct arguments *arguments, struct up_calibrate_plan *plan,
                        struct up_failure *failure) {
    double given[UP_CALIBRATION_POINTS_MAX];
    int count = 0, rounds = 2;
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
                       "%d masses in %d rounds: give at most %d loadings", count, rounds,
                       UP_CALIBRATION_POINTS_MAX);
    }
    for (int round = 0; round < rounds; round++) {
        for (int i = 0; i < count; i++) {
            plan->mass_kg[plan->masses++] = given[i] * 1e-3;
        }
    }
    return true;
}

static void show_calibration(const struct up_calibration *calibration, bool document, bool stored) {
    if (document) {
        json_t *json = up_calibration_to_json(calibration);
        json_object_set_new(json, "schema", json_string("upthrust-calibration-1"));
        print_json(json);
    } else if (stored) {
        print_calibration_verdict(calibration);
    } else {
        print_calibration(calibration);
    }
}

static enum up_status replay_calibrate(const struct arguments *arguments,
                                       struct up_failure *failure) {
    struct up_catalogue *catalogue = NULL;
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good =
        only_replays(arguments, failure) &&
        up_catalogue_open(catalogue_directory(arguments), UP_CATALOGUE_READ, &catalogue, failure) &&
        up_replay_calibrate(catalogue, option_value(arguments, "replay"), calibration, failure);
    if (good) {
        show_calibration(calibration, option_given(arguments, "json"), false);
    }
    free(calibration);
    up_catalogue_close(catalogue);
    return good ? UP_STATUS_DONE : failure->status;
}

static bool resume(const struct arguments *arguments, struct bench_options *options,
                   struct up_calibration *calibration, struct up_failure *failure) {
    static const char *const planned[] = {"masses-g",   "rounds", "mass-class", "no-staircase",
                                          "air-temp-c", "typed",  NULL};
    return open_bench(arguments, false, options, failure) &&
           read_resume(arguments, planned, options, failure) &&
           up_session_resume_calibrate(&options->settings, calibration, failure);
}

/* Hysteresis is some thousandths of the load at most: steps of 5 g (a choice of ours) and more hide
   it, and what they show up and down is their own rounding. */
static void leave_out_staircase(const struct bench_options *options,
                                struct up_calibrate_plan *plan) {
    const struct up_rig *rig = &options->rig;
    static const double COARSE_KG = 0.005;
    if (plan->staircase && rig->line.load_unit != UP_LOAD_COUNTS &&
        rig->division_counts >= COARSE_KG) {
        plan->staircase = false;
        if (options->settings.operator_kind != UP_OPERATOR_JSON) {
            fprintf(stderr,
                    "note: no staircase up and down: steps of %g g hide hysteresis; the bound from "
                    "data sheets is used\n",
                    1e3 * rig->division_counts);
        }
    }
}

static bool calibrate(const struct arguments *arguments, struct bench_options *options,
                      struct up_calibration *calibration, struct up_failure *failure) {
    struct up_calibrate_plan plan = {.staircase = !option_given(arguments, "no-staircase")};
    if (!read_masses(arguments, &plan, failure) ||
        !open_bench(arguments, false, options, failure) ||
        !read_conditions(arguments, options, failure)) {
        return false;
    }
    leave_out_staircase(options, &plan);
    return up_session_calibrate(&options->settings, &plan, calibration, failure);
}

/* `calibration adopt`: by default each mass twice, without a staircase. */
enum up_status adopt_calibration(const struct arguments *arguments, struct up_failure *failure) {
    struct bench_options options = {0};
    struct up_calibrate_plan plan = {.staircase = false};
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good = read_masses(arguments, &plan, failure) &&
                open_bench(arguments, false, &options, failure) &&
                read_conditions(arguments, &options, failure) &&
                up_session_adopt(&options.settings, &plan, calibration, failure);
    if (good && options.settings.operator_kind != UP_OPERATOR_JSON) {
        show_calibration(calibration, options.json_document, true);
    }
    free(calibration);
    close_bench(&options, NULL);
    die_of_signal();
    return good ? UP_STATUS_DONE : failure->status;
}

enum up_status command_calibrate(const struct arguments *arguments, struct up_failure *failure) {
    if (option_given(arguments, "replay")) {
        return replay_calibrate(arguments, failure);
    }
    struct bench_options options = {0};
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good =
        check_words(arguments, failure) &&
        (option_given(arguments, "resume") ? resume(arguments, &options, calibration, failure)
                                           : calibrate(arguments, &options, calibration, failure));
    if (good && options.settings.operator_kind != UP_OPERATOR_JSON) {
        show_calibration(calibration, options.json_document, true);
    }
    free(calibration);
    close_bench(&options, NULL);
    die_of_signal();
    return good ? UP_STATUS_DONE : failure->status;
}
