/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Is a rig fit to weigh with? What a stream that was listened to for a while shows, and whether
 * cell, ballast and tank suit the gear that is meant. up_panel_check (operator.h) tries the GPIO
 * lines.
 */
#pragma once

#include "stream/listen.h"

enum { UP_FINDINGS_MAX = 48 };

struct up_finding {
    bool good;
    bool open; /* nothing falls short, but the rig file leaves out what a session would check */
    char text[240];
};

struct up_findings {
    struct up_finding list[UP_FINDINGS_MAX];
    unsigned count;
};

bool up_findings_are_good(const struct up_findings *findings);

/* Load units are counts, or kg where the rig's loads have a unit. NaN: not known. */
struct up_fitness {
    double rate_hz;      /* by the device's clock, else as the lines came */
    double noise;        /* of one reading, load units */
    double u_plateau;    /* standard uncertainty of one plateau from the stream alone, load units */
    double u_weighing_g; /* of an item less the mean of two tares */
    unsigned readings;   /* in one plateau */
    double glitch_share, refused_share;
};

/* What the first load column shows. `counts_per_kg` is the calibration's slope, 0 where there is
   none; `heard_s` how long the host listened, NaN for a recording. Adds to the findings. */
void up_fitness_of_stream(const struct up_listening *listening, double counts_per_kg,
                          double heard_s, struct up_fitness *fitness, struct up_findings *findings);

/* Where readings are typed: what the scale's division alone allows. */
void up_fitness_of_typed(const struct up_rig *rig, struct up_fitness *fitness,
                         struct up_findings *findings);

/* Names the keys that are not set, and what is then not noticed. */
void up_fitness_of_keys(const struct up_rig *rig, struct up_findings *findings);

/* The gear that is meant: 0 where nothing is said. */
struct up_gear {
    double mass_kg;  /* dry, of the heaviest piece or pair */
    double lift_kg;  /* of the one that floats strongest */
    double length_m; /* the longest, as it hangs: across */
};

void up_fitness_for_gear(const struct up_rig *rig, const struct up_gear *gear,
                         struct up_findings *findings);
