/* SPDX-License-Identifier: GPL-3.0-or-later */

#include "session_options.h"
#include <string.h>

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
    OPTION_UNITS,
    OPTION_CATALOGUE,
    OPTION_JSON,
    OPTION_END};

static bool read_masses(struct call *call, struct up_calibrate_plan *plan) {
    double given[UP_CALIBRATION_POINTS_MAX];
    int count = 0, rounds = 2;
    if (!option_list(call, "masses-g", given, UP_CALIBRATION_POINTS_MAX, &count) ||
        !option_whole(call, "rounds", 1, 10, &rounds)) {
        return false;
    }
    if (count == 0) {
        return refuse(call, "give the known masses: --masses-g 500,1000,2000");
    }
    if (count * rounds > UP_CALIBRATION_POINTS_MAX) {
        return refuse(call, "%d masses in %d rounds: give at most %d loadings", count, rounds,
                      UP_CALIBRATION_POINTS_MAX);
    }
    for (int round = 0; round < rounds; round++) {
        for (int i = 0; i < count; i++) {
            plan->mass_kg[plan->masses++] = given[i] * 1e-3;
        }
    }
    return true;
}

/* `bench`: it was made there just now; NULL: it is only shown. */
static void show_calibration(const struct up_calibration *calibration, bool document,
                             const struct up_style *style, const struct session_options *bench) {
    if (document) {
        json_t *json = up_calibration_to_json(calibration);
        json_object_set_new(json, "schema", json_string("upthrust-calibration-1"));
        print_json(json);
    } else if (bench != NULL) {
        print_calibration_verdict(calibration, bench->catalogue, style);
        print_next_commands(bench);
    } else {
        print_calibration(calibration, style);
    }
}

static bool replay_calibrate(struct call *call) {
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    struct up_style style;
    bool good = style_asked(call, &style) && only_replays(call) &&
                up_catalogue_open(catalogue_directory(call), UP_CATALOGUE_READ, &call->catalogue,
                                  call->failure) &&
                up_replay_calibrate(call->catalogue, option_value(call, "replay"), calibration,
                                    call->failure);
    if (good) {
        show_calibration(calibration, option_given(call, "json"), &style, NULL);
    }
    return good;
}

static bool resume(struct call *call, struct session_options *options,
                   struct up_calibration *calibration) {
    static const char *const planned[] = {"masses-g",   "rounds", "mass-class", "no-staircase",
                                          "air-temp-c", "typed",  NULL};
    return open_session(call, false, options) && read_resume(call, planned, options) &&
           up_session_resume_calibrate(&options->settings, calibration, call->failure);
}

/* Hysteresis is some thousandths of the load at most: steps of 5 g (a choice of ours) and more hide
   it, and what they show up and down is their own rounding. */
static void leave_out_staircase(const struct session_options *options,
                                struct up_calibrate_plan *plan) {
    const struct up_rig *rig = &options->rig;
    static const double COARSE_KG = 0.005;
    if (plan->staircase && rig->line.load_unit != UP_LOAD_COUNTS &&
        rig->division_counts >= COARSE_KG) {
        plan->staircase = false;
        if (options->settings.operator_kind != UP_OPERATOR_JSON) {
            UP_FREED char *text =
                up_text_format("masses are not added up and taken off at the end: in steps of %g g "
                               "the scale cannot show whether it reads differently on the way "
                               "down; up to 0.05 %% of the heaviest load is allowed for it",
                               1e3 * rig->division_counts);
            UP_FREED char *shown = up_style_text(&options->style, text);
            print_note(NULL, shown);
        }
    }
}

static bool calibrate(struct call *call, struct session_options *options,
                      struct up_calibration *calibration) {
    struct up_calibrate_plan plan = {.staircase = !option_given(call, "no-staircase")};
    if (!read_masses(call, &plan) || !open_session(call, false, options) ||
        !read_conditions(call, options)) {
        return false;
    }
    leave_out_staircase(options, &plan);
    return up_session_calibrate(&options->settings, &plan, calibration, call->failure);
}

static bool finish(struct session_options *options, const struct up_calibration *calibration,
                   bool good) {
    if (good && options->settings.operator_kind != UP_OPERATOR_JSON) {
        show_calibration(calibration, options->json_document, &options->style, options);
    }
    close_session(options, NULL);
    die_of_signal();
    return good;
}

/* `calibration adopt`: by default each mass twice, without a staircase. */
bool adopt_calibration(struct call *call) {
    struct session_options options = {0};
    struct up_calibrate_plan plan = {.staircase = false};
    const char *id = call->words > 1 ? call->word[1] : "";
    if (id[0] != '\0' && (strlen(id) < 4 || strlen(id) >= sizeof plan.adopts)) {
        return refuse(call, "calibration adopt %.40s: give four characters of the id at least", id);
    }
    snprintf(plan.adopts, sizeof plan.adopts, "%s", id);
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    return finish(&options, calibration,
                  read_masses(call, &plan) && open_session(call, false, &options) &&
                      read_conditions(call, &options) &&
                      up_session_adopt(&options.settings, &plan, calibration, call->failure));
}

bool command_calibrate(struct call *call) {
    if (option_given(call, "replay")) {
        return replay_calibrate(call);
    }
    struct session_options options = {0};
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good = check_words(call) &&
                (option_given(call, "resume") ? resume(call, &options, calibration)
                                              : calibrate(call, &options, calibration));
    return finish(&options, calibration, good);
}
