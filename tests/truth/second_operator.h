/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Somebody at the second tank. Hears what is asked, takes a while, does it with his hands and says
 * so; everything takes effect at its own device time. May make one mistake of one kind; asked about
 * it, he looks, mends it and does the step again. Asked where nothing is wrong, he accepts.
 */
#ifndef SECOND_OPERATOR_H
#define SECOND_OPERATOR_H

#include <stdint.h>

#include "second_laws.h"

#include "bench/procedure.h"

enum second_mistake {
    SECOND_NO_MISTAKE,
    SECOND_NOTHING_IMMERSED, /* "done", nothing hangs under water */
    SECOND_NOTHING_DRY,      /* "done", nothing hangs at the dry weighing */
    SECOND_NO_SHAKE,         /* "done" without touching it */
    SECOND_NO_REAL_SHAKE,    /* unhooked and hung again as it was */
    SECOND_NOT_LIFTED_ONCE,
    SECOND_NEVER_LIFTED,
    SECOND_MASS_LEFT, /* at one tare of the calibration */
    SECOND_MASSES_SWAPPED,
    SECOND_MASS_OFF, /* one mass is 50 g off */
    SECOND_BALLAST_SLIPS,
    SECOND_BALLAST_ON_FLOOR,
    SECOND_BALLAST_TOO_LIGHT,
    SECOND_ITEM_TOUCHES, /* floor or wall, with a force that varies */
    SECOND_OTHER_ITEM,   /* from the third trial on */
    SECOND_MASSES_LIGHT, /* all of them, by 2 % */
    SECOND_SALT,         /* in a tank declared fresh */
    SECOND_CONSTANT_TOUCH,
    SECOND_MISTAKES
};

const char *second_mistake_name(enum second_mistake mistake);
/* Whether it is made in the calibration; others are made in the measurement. */
bool second_mistake_is_of_calibration(enum second_mistake mistake);

struct second_answer {
    unsigned id; /* of the ask */
    enum up_answer_word word;
    double number;
};

enum { SECOND_MOVES_MAX = 6 };
struct second_move {
    double at_s;
    struct second_hung hung;
    bool shake;
};

struct second_operator {
    struct second_tank *tank;
    const struct second_truth *truth;
    gsl_rng *chance; /* borrowed */
    /* the mistake */
    enum second_mistake mistake;
    unsigned at, occasions; /* made at the at-th step at which it can be made, from 1 */
    bool from_then_on;
    double amount;                /* as the kind needs */
    double swapped_kg[2];         /* masses that are taken for each other */
    struct second_tank_law sound; /* what the tank is when all is mended */
    bool begun, mended;
    bool moved_since; /* something was done after it was mended */
    bool too_late;    /* made in the calibration, and that is over */
    bool noticed;     /* asked about it, not of one trial among others that it spoilt as well */
    unsigned doubts;  /* questions about what nobody can see */
    uint64_t spoilt, asked; /* bit i: in trial i + 1 it had its way; that trial was asked about */
    bool spoiling;          /* in the trial under way */
    unsigned trials;        /* ended */
    /* what is being done */
    struct second_move move[SECOND_MOVES_MAX];
    unsigned moves, moved;
    double answer_at_s; /* NaN: nothing is asked */
    struct second_answer answer;
};

void second_operator_begin(struct second_operator *person, struct second_tank *tank,
                           const struct second_truth *truth, enum second_mistake mistake,
                           gsl_rng *chance);
/* The same one at the measurement that follows, who remembers what went wrong. */
void second_operator_goes_on(struct second_operator *person, const struct second_operator *before);
void second_operator_asked(struct second_operator *person, const struct up_ask *ask);
/* A fault was reported. */
void second_operator_warned(struct second_operator *person, const char *text);
void second_operator_trial_ended(struct second_operator *person, unsigned number);
/* Moves the hands up to this time; true when the answer is given. */
bool second_operator_acts(struct second_operator *person, double time_s,
                          struct second_answer *answer);

#endif
