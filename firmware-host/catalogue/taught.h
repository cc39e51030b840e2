/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a bench has learned of its own readings: a run that came to its end keeps the traces that
 * went on to the full schedule, and a quick weighing learns from those how early it may end one.
 */
#pragma once

#include <jansson.h>

#include "bench/quick.h"
#include "upthrust/catalogue.h"

/* Whose readings, and on which schedule. */
struct up_taught_bench {
    const char *id, *rig_sha256;
    double read_after_s, window_s;
    bool simulated;
};

/* "immersed", "shaken", "lifted". */
const char *up_taught_step_name(enum up_quick_step step);

/* The member "taught" of a run's record; a new reference. `watch` NULL: nothing was rejected. */
json_t *up_taught_to_json(const struct up_taught_bench *bench, const struct up_quick_taught *taught,
                          unsigned taughts, const struct up_early_watch *watch);

/* From runs of this bench that were made here by a calibration that is trusted as the folder now
   lies, with the same rig hash and schedule; of a simulated bench for a simulated one only. What a
   session rejected is forgotten, and what came before it. */
bool up_taught_learn(struct up_catalogue *catalogue, const struct up_taught_bench *bench,
                     struct up_early_envelope envelope[UP_QUICK_STEPS], struct up_failure *failure);
