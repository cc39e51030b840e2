/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plateaus as indications at one time, and the tare between two of them. */
#pragma once

#include "stream/plateau.h"
#include "upthrust/measurement.h"

struct up_indication indication_of(const struct up_plateau *plateau);

/* The tares' mean at a time between them, weighted by time; u in *u_load. */
double tare_at(const struct up_indication *before, const struct up_indication *after, double time_s,
               double *u_load);

/* A load as the difference to the tares around it; u that of the plateaus' own noise. */
struct up_quantity load_between(const struct up_indication *before,
                                const struct up_indication *load,
                                const struct up_indication *after);
