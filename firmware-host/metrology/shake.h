/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The share of an item's trapped air that a shake under water frees, from the gains of successive
 * shakes. Pure function; the method is our own, tests/metrology/shake_test.c shows how often its
 * bound holds.
 *
 * In a trial the air a_0 lifts, shake k frees the share phi_k of what is left, and the item gains
 * g_k = phi_k a_(k-1) of weight, as the difference of two readings. Hence all gains from k on, and
 * the air a_n that the last shake left, add up to what was there before shake k:
 *
 *     phi_k = g_k / (g_k + ... + g_n + a_n),    a_n = max(g_n, 0) (1 - phi) / phi,    k < n
 *
 * Noise: neighbouring gains share a reading, so their noise runs against each other; the sum holds
 * the first and the last reading only, whatever its length. Each phi_k carries the noise of its
 * three readings and that of a_n, for which phi is known but within the scatter. Shares differ from
 * shake to shake by more than these explain: mean and scatter between by up_find_consensus.
 *
 * Selection: shaking stops at a small gain, so the last shakes are those that happened to free
 * little. No share is taken from a last shake, which would be chosen for being low, and none from a
 * shake before which there was so little air that a share of a quarter would have made it the last:
 * those that did not end there are chosen for being high. Simulated kinds with shares of 0.4 to 0.8
 * kept the bound's 95 % (94.5 to 100 in a cell). With shares of 0.15 to 0.5 that differ from shake
 * to shake, and u_gain of 0.5 g and more beside first gains of 1 to 40 g, it held in 89 to 94 of
 * 100.
 */
#pragma once

#include <stdbool.h>
#include <stddef.h>

#include "upthrust/quantity.h"

/* One trial, in any unit, the same for all four and for all trials. */
struct up_shaken {
    const double *gain; /* of weight, a shake each, in order; the caller's */
    size_t shakes;
    double u_gain;    /* standard uncertainty of a single gain: two readings */
    double stop_gain; /* no more shakes after a gain below this; 0: their number was set before */
};

struct up_share {
    struct up_quantity mean; /* of the shares, 0 to 1 */
    double between_sd;       /* from shake to shake */
    double at_least;         /* what a further shake frees with 95 %: one-sided, Student's t; from
                                0.02, which is as good as nothing known */
    size_t shares;           /* that were estimated */
};

/* False, with *share NaN, where less than two shares can be estimated (three gains of one trial, or
   two of each of two trials, of enough air), for a number that is not finite, a u_gain not above
   zero, and where there is no memory. */
bool up_find_share(const struct up_shaken *trial, size_t trials, struct up_share *share);
