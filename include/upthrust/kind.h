/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is known of all items of one kind ("fin", "boot", ...): the tolerance that was set for it,
 * and what a bench has learned from the trials of its items. Kinds are told apart as items name
 * them, whatever the case of their letters.
 */
#ifndef UPTHRUST_KIND_H
#define UPTHRUST_KIND_H

#include "upthrust/item.h"
#include "upthrust/quantity.h"
#include "upthrust/shake.h"

struct up_kind {
    char name[UP_NAME_SIZE];
    char bench[UP_NAME_SIZE];                 /* what follows the tolerances was learned there */
    double tolerance_one_g, tolerance_pair_g; /* 0: none set */
    /* Standard deviation of a trial (u; value 0), each a fresh immersion, pooled over the runs. A
       pair scatters otherwise than a piece, by how much nobody knows before: pooled apart. u and
       dof 0: not learned. */
    struct up_quantity repeatability_kg, repeatability_pair_kg;
    struct up_share share; /* of both; not learned where share.shares is 0 (then NaN) */
    unsigned items, runs;  /* whose trials were used */
};

#endif
