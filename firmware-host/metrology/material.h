/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How much materials swell with warmth: volume expansion, for the prediction of an item's buoyancy
 * in a colder or warmer water. Handbook ranges, which enter as rectangular.
 */
#pragma once

#include <stddef.h>

struct up_material {
    const char *name;   /* lower case, no blanks */
    double low_per_k;   /* volume expansion lies between the two; */
    double high_per_k;  /* three times the linear one for solids of no grain */
    const char *source; /* where the range was read */
};

/* NULL where there is none of that name; the i-th, NULL behind the last. */
const struct up_material *up_material_named(const char *name);
const struct up_material *up_material_at(size_t i);

/* Middle of the range, and its standard uncertainty. */
double up_material_expansion_per_k(const struct up_material *material);
double up_material_u_expansion_per_k(const struct up_material *material);
