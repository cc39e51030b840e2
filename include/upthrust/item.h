/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A piece of gear as the catalogue knows it. Names are free UTF-8 text and need not be unique; the
 * id is.
 */
#ifndef UPTHRUST_ITEM_H
#define UPTHRUST_ITEM_H

#include <stdbool.h>

enum {
    UP_ID_SIZE = 37,
    UP_NAME_SIZE = 328,
    UP_PARTS_MAX = 8,
    UP_SHA256_SIZE = 65,
    UP_TIME_SIZE = 32
};

/* Whether it holds gas that the water squeezes: foam, closed air. Unknown counts as yes. */
enum up_holds_gas {
    UP_GAS_NOT_STATED, /* as `compressible` says, else as its kind has it: up_item_add settles it */
    UP_GAS_NO,
    UP_GAS_YES,
    UP_GAS_UNKNOWN
};

struct up_item {
    char id[UP_ID_SIZE]; /* UUID in lower case, of the thing: all its versions share it */
    char name[UP_NAME_SIZE];
    char kind[UP_NAME_SIZE]; /* "fin", "boot", "hood", "light", ... */
    char maker[UP_NAME_SIZE], model[UP_NAME_SIZE], size[UP_NAME_SIZE]; /* may be empty */
    int pieces;               /* hung together: 1, or 2 for a pair */
    double tolerance_g;       /* |net buoyancy| up to this is neutral */
    double expansion_per_k;   /* volume expansion of the whole, estimate */
    double u_expansion_per_k; /* and its standard uncertainty */
    enum up_holds_gas holds_gas;
    bool compressible; /* it does, or it is unknown: a result holds at its depth only */
    char part_id[UP_PARTS_MAX]
                [UP_ID_SIZE]; /* items measured together as this one, a boot in a fin */
    int parts;
    char stock_number[UP_NAME_SIZE], note[UP_NAME_SIZE]; /* may be empty */
    char side[8];   /* of a pair weighed piece by piece: "left", "right" or empty */
    bool retired;   /* kept, not shown unless asked for */
    bool elsewhere; /* `find` sets it: this version came by import or merge */
};

/* Neutral band where none is given: a choice of ours, no standard. */
#define UP_TOLERANCE_ONE_G  50.0
#define UP_TOLERANCE_PAIR_G 100.0

/* A band narrower or wider than these is a slip of the keyboard: choices of ours. The most of more
   than one piece is that of a pair. */
#define UP_TOLERANCE_LEAST_G     1.0
#define UP_TOLERANCE_MOST_ONE_G  500.0
#define UP_TOLERANCE_MOST_PAIR_G 1000.0

/* Volume expansion of gear of mixed polymers, 3e-4 to 6e-4 per kelvin taken as rectangular (from
   memory, no source opened). */
#define UP_EXPANSION_PER_K   4.5e-4
#define UP_U_EXPANSION_PER_K 0.866e-4

#endif
