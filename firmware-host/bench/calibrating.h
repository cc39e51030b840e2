/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The sequence of a calibration: preload, tare, mass, tare, mass, ... tare; then the staircase. */
#pragma once

#include "step.h"

enum calibrating_step {
    CALIBRATE_BALLAST = 1,
    CALIBRATE_PRELOAD,
    CALIBRATE_TARE,
    CALIBRATE_MASS,
    CALIBRATE_HUNG_TARE, /* a mass hangs, to be taken off */
    CALIBRATE_UNLOAD,
    CALIBRATE_LINE_DOUBTED, /* no line through zero goes through all of them */
    CALIBRATE_STAIR,
    CALIBRATE_STAIR_END,
    CALIBRATE_STEPS
};

enum line_doubt { LINE_HOLDS, LINE_NOT_SEEN, LINE_HAS_OFFSET, LINE_HAS_MASS_OFF };

struct calibrating {
    struct up_loadings record;
    struct up_calibrate_plan plan; /* for what is still to be done */
    unsigned mass_index;
    struct up_indication tare; /* the latest */
    double tare_kg;            /* what hung at it */
    struct up_indication preload;
    struct up_indication mass; /* read, and not yet completed by a tare */
    enum line_doubt line;
    char question[sizeof((struct up_ask *)NULL)->text];
};

/* UP_STATUS_WRONG_INPUT where the plan cannot calibrate. */
bool calibrate_plan_check(const struct up_calibrate_plan *plan, struct up_failure *failure);

/* The different masses, rising, whether they are hung or taken off. Returns how many. */
unsigned calibrate_plan_masses(const struct up_calibrate_plan *plan, double *sorted_kg);

/* As those of measuring.h. */
int calibrating_begin(struct calibrating *calibrating, const struct up_calibrate_plan *plan);
const struct step *calibrating_step(int step);
void calibrating_fill_ask(const struct calibrating *calibrating, int step, struct up_ask *ask);
/* The indication of a kilogram as far as it is known; NaN: not yet. */
double calibrating_counts_per_kg(const struct calibrating *calibrating);
int calibrating_read(struct calibrating *calibrating, int step, const struct up_indication *here);
/* The preload counts without a reading too, where readings are typed. */
int calibrating_answer(struct calibrating *calibrating, int step, enum up_answer_word word);
int calibrating_again(struct calibrating *calibrating, int step);
/* known_mass.c: do all loadings lie on one line through zero? Else the text says what does not. */
enum line_doubt calibration_line_doubt(const struct up_loadings *loadings, char *text, size_t size);
