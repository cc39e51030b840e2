/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What somebody at the second tank finds without the bench: one tare, one shake, the mean of the
   second that ends ten seconds later. */
#ifndef SECOND_RIVAL_H
#define SECOND_RIVAL_H

#include "second_operator.h"

struct second_rival {
    double buoyancy_kg, seconds; /* from the ask to hang it to when it is out again */
};

struct second_rival second_rival_weigh(const struct second_truth *truth, double counts_per_kg,
                                       unsigned long seed);

#endif
