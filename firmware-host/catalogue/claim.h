/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a result is, and what may be claimed of it. Lists, sheets, exports and pictures ask here, so
 * that all of them say the same.
 */
#pragma once

#include <jansson.h>

#include "upthrust/result.h"

enum { UP_CLAIM_SIZE = 80 };

/* "one piece", "a pair", "3 pieces", "pieces not recorded". */
void up_claim_pieces(int pieces, char text[UP_CLAIM_SIZE]);

/* "this one piece, not the model". */
void up_claim_whose(int pieces, char text[UP_CLAIM_SIZE]);

/* What must stand with every number of grams: "this one piece, not the model; a weight check in the
   water decides"; before it, where no gear was weighed, that, and that it was weighed quickly. */
enum { UP_CLAIM_SCOPE_SIZE = 200 };
void up_claim_scope(int pieces, bool simulated, bool quick, char text[UP_CLAIM_SCOPE_SIZE]);
/* The same below a table of many. */
#define UP_CLAIM_WHOSE "Each number is of the piece or pair that was weighed, not of its model."
#define UP_CLAIM_CHECK "A weight check in the water decides."

#define UP_CLAIM_STUCK "the lower end allows for air that no shake frees"

/* A quick weighing: why it states no class, as words behind the item's name ("too near the line at
   +50 g"); empty where it does. And what it means. */
enum { UP_CLAIM_ASIDE_SIZE = 120 };
void up_claim_aside(const struct up_result *result, char text[UP_CLAIM_ASIDE_SIZE]);
#define UP_CLAIM_QUICK       "quick weighing, not the full one"
#define UP_CLAIM_PUT_ASIDE   "put aside: it needs the full weighing"
#define UP_CLAIM_AT_MOST     "at most: it was not shaken, so air in it may lift it; it may sink more"
#define UP_CLAIM_FULL_COUNTS "a later quick weighing stands beside it; this full one counts"

/* What is known of a net: NaN where it has an interval, else that it is at most so much. */
double up_claim_at_most_g(const struct up_result *result);

/* Of a result's record. */
bool up_claim_is_quick(const json_t *result);

/* Of two results of one item in one water, which come oldest first: does the one that was there
   stay? What was weighed here counts before what came from elsewhere, a full weighing before a
   quick one of as many pieces; else the newer one. */
struct up_claim_rank {
    bool elsewhere, quick;
    int pieces;
};
bool up_claim_stays(struct up_claim_rank there, struct up_claim_rank comes);

/* "signed by the key 3fa2b1c47d90e1f2, its record 12", where the signature is verified by whoever
   asks (`holds`); a folder is read without that. */
void up_claim_signer(const char *writer, long long sequence, bool holds, char text[UP_CLAIM_SIZE]);

/* Whether a result's record says so, or its bench is the simulated tank from before it did. */
bool up_claim_is_simulated(const json_t *result, const char *bench);

/* Of a result's record: 0 where it does not say. */
int up_claim_pieces_of(const json_t *result);

/* A calculated water of an item that holds gas, whatever was known of it when it was calculated:
   nobody is to be shown that number. The tank's own stays. */
bool up_claim_is_withdrawn(const json_t *result, bool item_compressible);
#define UP_CLAIM_WITHDRAWN "withdrawn: it holds gas, which the water squeezes"

/* "as weighed, at 210 bar of air; changes by kilograms over a dive", "as weighed, emptied of gas",
   and where a kind is filled and with what was not stated, that; empty where there is nothing to
   say. */
enum { UP_CLAIM_FILLING_SIZE = 160 };
void up_claim_filling(const struct up_filling *filling, const char *kind,
                      char text[UP_CLAIM_FILLING_SIZE]);

/* The widest band that may be asked for. */
double up_tolerance_most_g(int pieces);
