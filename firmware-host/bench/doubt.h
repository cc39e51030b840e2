/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Does the trace of the load show that what was asked for was done? */
#pragma once

#include "step.h"

struct doubt {
    bool open; /* asked about, the reading waits for the answer */
    bool anew; /* the safe answer repeats the step from its tare; else only the step itself */
    /* The scale's steps may not show what was asked for: a person's word for it counts for what
       hangs, from then on. */
    bool may_be_light, is_light;
    bool passed; /* a reading that could not show it was taken */
    struct up_plateau plateau;
    char text[sizeof((struct up_ask *)NULL)->text];
};

/* What a reading is compared with, in load units. NaN: not known. */
struct doubt_levels {
    double before;  /* the reading before it, of any kind */
    double preload; /* the first tare must not read as the preload did */
    double tare;    /* the empty hanger */
    double early;   /* both readings may still lie so far from those of the full schedule */
    double largest; /* the largest step of the load so far */
    double division;
    double counts_per_kg;
    double mass_kg, counts_per_mass_kg; /* calibrating: what was to hang, and what is known so far
                                           of how much a kilogram shows */
};

/* A display may turn by one division while the load stands still; more is seen of it. */
bool division_shows(double division, double load);

/* True where the step's row asks for more than the trace shows; then text and `anew` are filled. */
bool doubt_arises(struct doubt *doubt, const struct step *step, const struct stream *stream,
                  const struct doubt_levels *levels, double load);
