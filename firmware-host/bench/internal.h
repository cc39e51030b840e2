/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The procedure: a stream, the schedule of a reading, and one of two sequences of steps. */
#pragma once

#include "calibrating.h"
#include "doubt.h"
#include "measuring.h"
#include "stream/indication.h"

enum stage { STAGE_ASKING, STAGE_READING, STAGE_FINISHED };

struct up_procedure {
    const struct up_rig *rig; /* of the record */
    struct measuring *measuring;
    struct calibrating *calibrating; /* one of the two, the other is NULL */
    struct events events;
    struct stream stream;
    struct schedule schedule;

    enum stage stage;
    int step; /* of the sequence */
    struct up_ask ask;
    double typed_kg; /* the reading that was just typed */
    struct doubt doubt;
    double tare;         /* of the empty hanger, for the doubt of the next one; NaN: not known */
    double largest_step; /* of the load so far */
    unsigned broken;     /* steps in a row that had to be repeated */
    unsigned doubts;     /* readings that did not show what was asked for */
    bool stopped, gave_up;
    bool overloaded;    /* and a fault pushed for it */
    bool light_noted;   /* that the scale's steps do not show what hangs */
    bool repeats_noted; /* that each value comes several times */
    bool stall_spoilt;  /* a reading; the burst that follows it spoils no other */
};

/* Where a quick weighing has one more early reading: when its window ends, in device time; NaN:
   none. offer_early takes the window; true where the reading ended with it. */
double early_end_s(const struct up_procedure *procedure, double from_s);
bool early_window(struct up_procedure *procedure, struct up_plateau *window);
bool offer_early(struct up_procedure *procedure, struct up_plateau *window);

/* A plateau that was found elsewhere, for the open ask, late_s of the schedule after its time.
   Where it has not settled, the ask stays as it is and late_s grows, or the step is broken off. The
   truth test, which has no samples, comes in here. */
void offer_plateau(struct up_procedure *procedure, struct up_plateau *plateau, double noise_floor);
