/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A step of the procedure as both sequences describe it: a row of a table. What its answer or its
 * reading does to the record, and so what follows, stands beside it in the sequence's own table.
 */
#pragma once

#include "bench/procedure.h"

/* The level that a reading must show. */
enum shows {
    SHOWS_ANY,
    SHOWS_TARE,     /* the empty hanger, as it was at the tare before */
    SHOWS_NEW_TARE, /* the empty hanger, not as it was before */
    SHOWS_RISE      /* the weight of something hung in air */
};

struct step {
    enum up_action action;
    const char *text; /* for a person; NULL: the sequence words the question when it asks */
    /* The name of the plateau that is read when it is done; NULL: answered by a word or a
       temperature, nothing is read. */
    const char *plateau;
    const char *how; /* to answer, where that is unusual */
    bool may_skip;
    bool again_answers;    /* "again" is an answer of its own, and repeats nothing */
    bool is_temperature;   /* answered with the water's temperature */
    bool is_exercise;      /* only exercises the cell: need not settle, is not typed */
    bool is_known_mass;    /* what hangs is known: a typed reading is compared with it */
    bool comes_back;       /* the item goes off the hook and back on it */
    bool under_water;      /* the load may float: the ballast must hold it down */
    bool of_item, of_body; /* which of them it names */
    enum shows shows;
    /* The question where the trace shows no hand at the hook; NULL: none is needed there. */
    const char *doubt;
    int again; /* after a break it starts again from this step */
};

/* What follows where it is no step: steps are numbered from 1. */
enum {
    STEP_GIVE_UP = -2,
    STEP_END = -1,
    STEP_ONWARDS = 0 /* whichever part is still to be done */
};
