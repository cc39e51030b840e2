/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A quick weighing: as short as the class allows. A reading ends when enough is known; what reads
 * negative beyond its line before any shake is negative, since air only lifts; positive and neutral
 * are shaken until the class stands whatever may still be in it; one immersion does where the
 * scatter of the kind is known, two for a new one; what is still undecided then, or cannot be
 * decided by another one, is put aside for the full weighing.
 */
#pragma once

#include "metrology/early.h"
#include "upthrust/measurement.h"

/* Steps of the load under water, each with an envelope of its own. */
enum up_quick_step { UP_QUICK_IMMERSED, UP_QUICK_SHAKEN, UP_QUICK_LIFTED, UP_QUICK_STEPS };

/* That an early reading lies outside of its bound. */
#define UP_QUICK_EARLY_RISK 0.01

struct up_quick_plan {
    bool on;
    struct up_early_envelope envelope[UP_QUICK_STEPS]; /* as the bench's own traces taught them */
    struct up_early_watch watch[UP_QUICK_STEPS];       /* of this session so far */
    double mass_kg, u_mass_kg;                         /* dry, by another scale; 0: not told */
    unsigned long lot; /* which readings go on to the end; another one for each run */
    bool asks_aside;   /* what lies near a line: is it put aside, or weighed in full now? */
    /* A full weighing, not a quick one, may end readings on which little depends: those before the
       last two of a trial for which the first one set the number of shakes. */
    bool shortens;
};

/* A trace that went on to the full schedule. */
enum { UP_QUICK_TAUGHT_MAX = 64 };

struct up_quick_taught {
    enum up_quick_step step;
    double step_kg, off_kg[UP_EARLY_VALUES];
};

/* What a quick weighing has come to. */
struct up_quick_progress {
    enum up_class class; /* as told last: provisional until the hanger was read empty */
    double buoyancy_kg;  /* NaN: nothing was read yet */
    double at_most_kg;   /* all that is known of it; NaN: it has an interval, or none was read */
    bool put_aside, full_now; /* near a line; and the operator will weigh it in full at once */
    struct up_early_watch watch[UP_QUICK_STEPS];
    const struct up_quick_taught *taught;
    unsigned taughts;
};

/* ---- within bench/ ---- */

/* The readings of the trace under way at the first so many times; QUICK_NO_TRACE: not looked at. */
enum { QUICK_NO_TRACE = UP_EARLY_TIMES + 1 };

struct quick_trace {
    size_t times;
    double load[UP_EARLY_VALUES]; /* tapered, then plain */
    bool to_the_end;              /* by lot, or as something is wrong with it */
};

struct quick {
    struct quick_trace trace;
    unsigned readings;                                  /* so far, for the lot */
    struct up_quick_taught taught[UP_QUICK_TAUGHT_MAX]; /* by a full weighing too */
    struct up_quick_progress progress;
};

struct measuring;
struct up_plateau;

void quick_begin(struct measuring *measuring);
/* A reading is waited for. */
void quick_begin_reading(struct measuring *measuring);
/* The window at the next of the early times, as it was read: true where the reading may end with
   it, which then has its bound. */
bool quick_ends_reading(struct measuring *measuring, int step, double noise_floor,
                        struct up_plateau *window);
/* The reading at the full schedule. */
void quick_learn(struct measuring *measuring, int step, const struct up_plateau *full);

/* Of a reading's mean; by parts where the kind's scatter holds what noise does to whole trials. */
double quick_u_load(const struct measuring *measuring, const struct up_plateau *plateau);

/* Of a quick weighing, or of a full one that may end readings. */
bool quick_watches(const struct measuring *measuring);

/* What follows a reading of a trial, and its end. */
int quick_immersed(struct measuring *measuring, const struct up_indication *here);
int quick_shaken(struct measuring *measuring, const struct up_indication *here);
int quick_lifted(struct measuring *measuring);

/* quick_result.c: all results of the record; with `shrink` of u, as a further immersion might make
   it, and without the air. */
enum quick_air { QUICK_AIR_AS_IS, QUICK_AIR_NONE };
/* What air may still lift of a trial; infinite where nothing was shaken. */
double quick_air_counts(const struct up_measurement *record, const struct up_trial *trial);
bool quick_look(const struct up_measurement *record, double shrink, enum quick_air air,
                struct up_result *result);
