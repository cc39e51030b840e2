/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is known of all items of one kind ("fin", "boot", ...): the tolerance that was set for it,
 * and what a bench has learned from the trials of its items. Kinds are distinguished by the names
 * that items give, ignoring case.
 */
#pragma once

#include "metrology/shake.h"
#include "upthrust/catalogue.h"

/* Whether what is of a kind is filled with gas, which has weight and lift. */
enum up_filled { UP_FILLED_NEVER, UP_FILLED_TO_PRESSURE, UP_FILLED_EMPTIED };

/* A row of the table of kinds. */
struct up_kind_facts {
    const char *name;
    enum up_holds_gas holds_gas; /* UP_GAS_NOT_STATED: to be asked of each item */
    enum up_filled filled;
};

/* By name, ignoring case; never NULL: for a kind that is not listed the user is asked. NULL behind
   the last row. */
const struct up_kind_facts *up_kind_facts(const char *kind);
const struct up_kind_facts *up_kind_facts_at(unsigned i);

#define UP_STUCK_SHARE_LEAST 0.001
#define UP_STUCK_SHARE_MOST  0.9

struct up_kind {
    char name[UP_NAME_SIZE];
    char bench[UP_NAME_SIZE];                 /* what follows the tolerances was learned there */
    double tolerance_one_g, tolerance_pair_g; /* 0: none set */
    double stuck_share; /* at most this share of the air stays through all shakes; 0: none set */
    double stuck_g;     /* and this lift beside it, whatever shaking frees; 0: none set */
    /* Standard deviation of a trial (u; value 0), each a fresh immersion, pooled over the runs. A
       pair scatters otherwise than a piece, by how much nobody knows before: pooled apart. u and
       dof 0: not learned. */
    struct up_quantity repeatability_kg, repeatability_pair_kg;
    struct up_share share; /* of both; not learned where share.shares is 0 (then NaN) */
    unsigned items, runs;  /* whose trials were used */
};

/* Kinds of items. `set` stores what can be set under the name: of the same name the newest
   counts, also after merging. `learn` fills in all that is known, which may be nothing;
   for all at once, every kind on every bench that has trials of it, and on none where no bench
   has; the caller frees *kinds. `find` gives what is set alone. */
bool up_kind_set(struct up_catalogue *catalogue, const struct up_kind *kind,
                 struct up_failure *failure);
bool up_kind_find(struct up_catalogue *catalogue, const char *name, struct up_kind *kind,
                  struct up_failure *failure);
/* The tolerance set for one piece of a kind, or for more; *tolerance_g is left alone where none
   is. */
bool up_kind_tolerance(struct up_catalogue *catalogue, const char *name, int pieces,
                       double *tolerance_g, struct up_failure *failure);
bool up_kind_learn(struct up_catalogue *catalogue, const char *name, const char *bench,
                   struct up_kind *kind, struct up_failure *failure);
bool up_kinds_learn(struct up_catalogue *catalogue, struct up_kind **kinds, size_t *count,
                    struct up_failure *failure);
