/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibrating.h"

#include <string.h>

#include "stream/indication.h"

/* ---- what follows ---- */

static bool is_done(const struct calibrating *calibrating) {
    return calibrating->mass_index >= calibrating->plan.masses;
}

/* What hangs at the next tare: the mass, where it is to be taken off. */
static double next_tare_kg(const struct calibrating *calibrating) {
    const double *mass_kg = &calibrating->plan.mass_kg[calibrating->mass_index];
    return !is_done(calibrating) && *mass_kg < 0 ? -*mass_kg : 0;
}

static int tare_step(const struct calibrating *calibrating) {
    return next_tare_kg(calibrating) > 0 ? CALIBRATE_HUNG_TARE : CALIBRATE_TARE;
}

static int begin_stairs(struct calibrating *calibrating) {
    calibrating->record.stairs = 0;
    calibrating->record.stair_begin = calibrating->tare;
    return CALIBRATE_STAIR;
}

/* Once, when the last is read; masses that only bear out another calibration make no line. */
static bool doubts_line(struct calibrating *calibrating) {
    if (!is_done(calibrating) || calibrating->line != LINE_NOT_SEEN ||
        calibrating->plan.adopts[0] != '\0') {
        return false;
    }
    calibrating->line = calibration_line_doubt(&calibrating->record, calibrating->question,
                                               sizeof calibrating->question);
    /* One that is too small for a question is taken without a word. */
    calibrating->record.offset_accepted = calibrating->line == LINE_HOLDS;
    return calibrating->line != LINE_HOLDS;
}

/* A tare serves on both sides, as long as the same hangs at it. */
static int what_remains(struct calibrating *calibrating) {
    double tare_kg = next_tare_kg(calibrating);
    if (doubts_line(calibrating)) {
        return CALIBRATE_LINE_DOUBTED;
    }
    if (is_done(calibrating) && !calibrating->plan.staircase) {
        return STEP_END;
    }
    if (!calibrating->tare.known || calibrating->tare_kg != tare_kg) {
        return tare_step(calibrating);
    }
    return is_done(calibrating) ? begin_stairs(calibrating)
           : tare_kg > 0        ? CALIBRATE_UNLOAD
                                : CALIBRATE_MASS;
}

/* ---- readings ---- */

/* The tare after a mass completes its point. */
static void complete_point(struct calibrating *calibrating, const struct up_indication *after) {
    struct up_loadings *record = &calibrating->record;
    const struct up_indication *tare = &calibrating->tare, *mass = &calibrating->mass;
    struct up_quantity load = load_between(tare, mass, after);
    double span_s = after->time_s - tare->time_s;
    double drift_per_s = span_s > 0 ? (after->load - tare->load) / span_s : 0;
    record->point[record->points] =
        (struct up_calibration_point){.mass_kg = calibrating->plan.mass_kg[calibrating->mass_index],
                                      .load_counts = load.value,
                                      .u_plateau_counts = load.u,
                                      .late_s = mass->late_s};
    record->tare_change[record->points] = after->load - tare->load;
    record->tare_span_s[record->points] = span_s;
    record->at_reading[record->points] =
        (mass->slope_per_s - drift_per_s) * (mass->time_s - mass->step_s) * log(10);
    record->decade[record->points++] = mass->decade - drift_per_s * mass->s_per_decade;
    calibrating->mass_index++;
}

static int read_tare(struct calibrating *calibrating, const struct up_indication *here) {
    calibrating->tare_kg = 0;
    if (calibrating->mass.known) {
        complete_point(calibrating, here);
    }
    calibrating->mass.known = false;
    calibrating->tare = *here;
    return STEP_ONWARDS;
}

static int read_hung_tare(struct calibrating *calibrating, const struct up_indication *here) {
    double hangs_kg = next_tare_kg(calibrating);
    read_tare(calibrating, here);
    calibrating->tare_kg = hangs_kg;
    return STEP_ONWARDS;
}

static int read_preload(struct calibrating *calibrating, const struct up_indication *here) {
    calibrating->preload = *here;
    calibrating->record.preloaded = true;
    return STEP_ONWARDS;
}

static int read_mass(struct calibrating *calibrating, const struct up_indication *here) {
    calibrating->mass = *here;
    return tare_step(calibrating);
}

static int read_stair(struct calibrating *calibrating, const struct up_indication *here) {
    struct up_loadings *record = &calibrating->record;
    record->stair[record->stairs++] = *here;
    return record->stairs < 2 * record->stair_masses - 1 ? CALIBRATE_STAIR : CALIBRATE_STAIR_END;
}

static int read_stair_end(struct calibrating *calibrating, const struct up_indication *here) {
    calibrating->record.stair_end = *here;
    return STEP_END;
}

/* ---- the table ---- */

struct row {
    struct step step;
    int (*read)(struct calibrating *calibrating, const struct up_indication *here);
    int after_answer; /* without a reading: a skip, or done where nothing is read */
    bool skips_mass;  /* which then is passed over */
};

static const struct row rows[CALIBRATE_STEPS] = {
    [CALIBRATE_BALLAST] = {{UP_ACTION_ADD_BALLAST,
                            "Hang the ballast on the hanger under water and leave it there",
                            .may_skip = true, .again = CALIBRATE_BALLAST},
                           .after_answer = CALIBRATE_PRELOAD},
    [CALIBRATE_PRELOAD] = {{UP_ACTION_HANG_MASS,
                            "Hang the heaviest mass on the upper hook, to settle the cell",
                            "preload", .may_skip = true, .is_exercise = true,
                            .again = CALIBRATE_PRELOAD},
                           .read = read_preload},
    [CALIBRATE_TARE] =
        {{UP_ACTION_EMPTY_IN_WATER,
          "Take everything off the upper hook; leave only the ballast on the hanger under water",
          "tare", .shows = SHOWS_TARE, .doubt = "Did the heaviest mass hang, and was it taken off?",
          .again = CALIBRATE_TARE},
         .read = read_tare},
    [CALIBRATE_MASS] = {{UP_ACTION_HANG_MASS, "Hang this mass on the upper hook", "mass",
                         .may_skip = true, .is_known_mass = true,
                         .doubt = "Was the mass hung on the upper hook?", .again = CALIBRATE_TARE},
                        .read = read_mass,
                        .skips_mass = true},
    [CALIBRATE_HUNG_TARE] = {{UP_ACTION_HANG_MASS,
                              "Hang this mass on the upper hook; you will take it off next", "tare",
                              .again = CALIBRATE_TARE},
                             .read = read_hung_tare},
    [CALIBRATE_UNLOAD] = {{UP_ACTION_EMPTY_IN_AIR,
                           "Take the mass off; nothing stays on the upper hook", "mass",
                           .may_skip = true, .doubt = "Was the mass taken off?",
                           .again = CALIBRATE_TARE},
                          .read = read_mass,
                          .skips_mass = true},
    [CALIBRATE_LINE_DOUBTED] = {.step = {UP_ACTION_CONFIRM, .again = CALIBRATE_TARE}},
    /* A staircase with a step missing says nothing about hysteresis. */
    [CALIBRATE_STAIR] =
        {{UP_ACTION_HANG_MASS,
          "Without emptying the upper hook, add or remove masses until it holds this in total",
          "stair", .may_skip = true, .is_known_mass = true, .doubt = "Were the masses changed?",
          .again = CALIBRATE_TARE},
         .read = read_stair,
         .after_answer = STEP_END},
    [CALIBRATE_STAIR_END] =
        {{UP_ACTION_EMPTY_IN_WATER,
          "Take all masses off the upper hook; leave only the ballast on the hanger under water",
          "tare", .shows = SHOWS_TARE, .again = CALIBRATE_TARE},
         .read = read_stair_end},
};

const struct step *calibrating_step(int step) {
    return &rows[step].step;
}

static double mass_kg(const struct calibrating *calibrating, int step) {
    const struct up_loadings *record = &calibrating->record;
    unsigned heaviest = record->stair_masses - 1, stair = record->stairs;
    if (step == CALIBRATE_PRELOAD) {
        return record->stair_kg[heaviest];
    }
    if (step == CALIBRATE_STAIR) {
        return record->stair_kg[stair <= heaviest ? stair : 2 * heaviest - stair];
    }
    return fabs(calibrating->plan.mass_kg[calibrating->mass_index]);
}

void calibrating_fill_ask(const struct calibrating *calibrating, int step, struct up_ask *ask) {
    ask->mass_kg = ask->action == UP_ACTION_HANG_MASS ? mass_kg(calibrating, step) : 0;
    if (ask->action == UP_ACTION_CONFIRM) {
        memcpy(ask->text, calibrating->question, sizeof ask->text);
    }
}

static int resolve(struct calibrating *calibrating, int next) {
    return next == STEP_ONWARDS ? what_remains(calibrating) : next;
}

/* Preload and loadings so far; the heavier ones count more. */
double calibrating_counts_per_kg(const struct calibrating *calibrating) {
    const struct up_loadings *record = &calibrating->record;
    const struct up_indication *preload = &calibrating->preload;
    double counts = 0, kg = 0;
    if (preload->known) {
        kg = mass_kg(calibrating, CALIBRATE_PRELOAD);
        counts = preload->load - calibrating->tare.load;
    }
    for (unsigned i = 0; i < record->points; i++) {
        kg += fabs(record->point[i].mass_kg);
        counts += copysign(1, record->point[i].mass_kg) * record->point[i].load_counts;
    }
    return kg > 0 ? counts / kg : (double)NAN;
}

int calibrating_read(struct calibrating *calibrating, int step, const struct up_indication *here) {
    return resolve(calibrating, rows[step].read(calibrating, here));
}

int calibrating_answer(struct calibrating *calibrating, int step, enum up_answer_word word) {
    const struct row *row = &rows[step];
    if (row->step.is_exercise && word == UP_ANSWER_DONE) {
        calibrating->record.preloaded = true;
    }
    calibrating->mass_index += row->skips_mass;
    if (step == CALIBRATE_LINE_DOUBTED) {
        calibrating->record.offset_accepted =
            word == UP_ANSWER_ACCEPT && calibrating->line == LINE_HAS_OFFSET;
        if (word != UP_ANSWER_ACCEPT) { /* what was wrong was wrong in all of them */
            calibrating->line = LINE_NOT_SEEN;
            calibrating->mass_index = calibrating->record.points = 0;
        }
    }
    return resolve(calibrating, row->after_answer);
}

/* The current loading or staircase is discarded. */
int calibrating_again(struct calibrating *calibrating, int step) {
    calibrating->mass.known = false;
    if (step == CALIBRATE_LINE_DOUBTED) {
        calibrating->line = LINE_NOT_SEEN;
    }
    return rows[step].step.again == CALIBRATE_TARE ? tare_step(calibrating) : rows[step].step.again;
}

int calibrating_begin(struct calibrating *calibrating, const struct up_calibrate_plan *plan) {
    calibrating->plan = *plan;
    calibrating->record.rig = *plan->rig;
    calibrating->record.history = plan->history;
    calibrating->record.noise_counts = (double)NAN;
    calibrating->line = LINE_NOT_SEEN;
    calibrating->record.stair_masses = calibrate_plan_masses(plan, calibrating->record.stair_kg);
    return CALIBRATE_BALLAST;
}
