/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a result is, and what may be claimed of it. Lists, sheets, exports and pictures ask here, so
 * that all of them say the same.
 */
#ifndef UPTHRUST_CATALOGUE_CLAIM_H
#define UPTHRUST_CATALOGUE_CLAIM_H

#include <jansson.h>

#include "upthrust/result.h"

enum { UP_CLAIM_SIZE = 80 };

/* "one piece", "a pair", "3 pieces", "pieces not recorded". */
void up_claim_pieces(int pieces, char text[UP_CLAIM_SIZE]);

/* Of a result's record: 0 where it does not say. */
int up_claim_pieces_of(const json_t *result);

/* The widest band that may be asked for. */
double up_tolerance_most_g(int pieces);

#endif
