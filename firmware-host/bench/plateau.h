/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef UPTHRUST_BENCH_PLATEAU_H
#define UPTHRUST_BENCH_PLATEAU_H

#include "upthrust/bench.h"

/* Standard uncertainty of a mean of readings with this lag-1 autocorrelation. */
double mean_uncertainty(double sd, double lag1, size_t count);

/* Fills unrest too. */
bool is_settled(struct up_plateau *plateau, double noise_floor, double creep_allowance);

#endif
