/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include "stream/plateau.h"
#include "stream/quiet.h"
#include "upthrust/rig.h"

/*
 * Finds plateaus in a stream of which it is not known when the load was changed, by the rule and
 * the schedule of a calibration. A step is where the median of a second departs by more than eight
 * noise floors and twice what that second scatters.
 */
struct up_finder;

/* The levels' readings go to `quiet`. Rig and quiet must outlive it. The caller destroys it. */
struct up_finder *up_finder_create(const struct up_rig *rig, struct up_quiet *quiet);
void up_finder_destroy(struct up_finder *finder);
/* Takes a judged reading, good or not; true when a plateau has been completed into *plateau. */
bool up_finder_push(struct up_finder *finder, const struct up_reading *reading, double noise_floor,
                    struct up_plateau *plateau);
bool up_finder_end(struct up_finder *finder, double noise_floor, struct up_plateau *plateau);
/* Levels that lasted for a window and were not read, for they did not settle. */
unsigned up_finder_unsettled(const struct up_finder *finder);
