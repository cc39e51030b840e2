/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The share of an item's trapped air that a shake under water frees, from what successive shakes
 * gained. Pure function.
 *
 * In a trial the air a_0 lifts, shake k frees the share phi_k of what is left, and the item gains
 * g_k = phi_k a_(k-1) of weight, as the difference of two readings. Hence all gains from k on, and
 * the air a_n that the last shake left, add up to what was there before shake k:
 *
 *     phi_k = g_k / (g_k + ... + g_n + a_n),    a_n = g_n (1 - phi) / phi,    k < n
 *
 * Neighbouring gains share a reading, so their noise runs against each other; the sum holds the
 * first and the last reading only, whatever its length. Each phi_k comes with its uncertainty
 * (noise of three readings, and a_n, for which phi is not known but within the scatter). Shares
 * differ from shake to shake by more than these tell: the mean and the scatter between them by
 * Paule and Mandel (up_find_consensus). Shaking stops at a small gain, so the last gains are chosen
 * ones and lean low: no share is taken from the last shake itself, and for the bound a_n is as
 * large as the bound lets it be.
 */
#ifndef UPTHRUST_SHAKE_H
#define UPTHRUST_SHAKE_H

#include <stdbool.h>
#include <stddef.h>

#include "upthrust/quantity.h"

/* One trial: what each shake gained in weight, in order, any unit; that of u_gain, too, the
   standard uncertainty of a single gain (two readings). The caller's memory. */
struct up_shaken {
    const double *gain;
    size_t shakes;
    double u_gain;
};

struct up_share {
    struct up_quantity mean; /* of the shares, 0 to 1 */
    double between_sd;       /* from shake to shake */
    double at_least;         /* what the next shake frees with 95 %: one-sided, Student's t */
    size_t shares;           /* that were told; those of next to no air are not */
};

/* False, with *share NaN, where less than two shares can be told (three gains of one trial, or two
   of each of two trials, of more air than noise), and for a number that is not finite or a u_gain
   not above zero. */
bool up_find_share(const struct up_shaken *trial, size_t trials, struct up_share *share);

#endif
