/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/shake.h"

#include <gsl/gsl_math.h>

#include "metrology/statistics.h"
#include "text/memory.h"

#define NO_NUMBER ((double)NAN)

/* Choices of ours: less air than so many u_gain is all noise; no bound below the least share. */
static const double LEAST_US = 5, LEAST_SHARE = 0.02;
static const double LOW_MOST = 0.25, LOW_LEAST = 0.1; /* bounds of guess.low, a choice too */
static const double CONFIDENCE = 0.95;

enum { ROUNDS = 30 }; /* some ten settle it: an error of the guess only scales the air left over */

/* The assumed shares while they are being estimated. */
struct guess {
    double share, spread;
    double low;    /* few shares are below */
    double more_u; /* of the last gain, in u_gain, for the air that is left */
};

struct estimates {
    double *share, *u;
    size_t count;
};

static void estimate_shares(const struct up_shaken *trial, const struct guess *guess,
                            struct estimates *estimates) {
    size_t last = trial->shakes - 1;
    double phi = guess->share, odds = (1 - phi) / phi, u_gain = trial->u_gain;
    double gain = fmax(trial->gain[last], 0) + guess->more_u * u_gain;
    double u_remaining = hypot(u_gain * odds, gain * guess->spread / gsl_pow_2(phi));
    double u_three = u_gain / M_SQRT2 * sqrt(1 + phi * phi + gsl_pow_2(1 - phi));
    double freed = trial->gain[last];
    for (size_t k = last; k-- > 0;) {
        freed += trial->gain[k];
        double air = freed + gain * odds;
        if (air >= fmax(LEAST_US * u_gain, trial->stop_gain / guess->low)) {
            estimates->share[estimates->count] = trial->gain[k] / air;
            estimates->u[estimates->count++] = hypot(u_three, phi * u_remaining) / air;
        }
    }
}

static bool find(const struct up_shaken *trial, size_t trials, const struct guess *guess,
                 struct estimates *estimates, struct up_consensus *consensus) {
    estimates->count = 0;
    for (size_t i = 0; i < trials; i++) {
        if (trial[i].shakes > 1) {
            estimate_shares(&trial[i], guess, estimates);
        }
    }
    return up_find_consensus(estimates->share, estimates->u, estimates->count, consensus);
}

static bool are_usable(const struct up_shaken *trial, size_t trials, size_t *gains) {
    for (size_t i = 0; i < trials; i++) {
        if (!(trial[i].u_gain > 0 && isfinite(trial[i].u_gain) && isfinite(trial[i].stop_gain))) {
            return false;
        }
        for (size_t k = 0; k < trial[i].shakes; k++) {
            if (!isfinite(trial[i].gain[k])) {
                return false;
            }
        }
        *gains += trial[i].shakes;
    }
    return true;
}

static double limited(double share) {
    return fmin(fmax(share, LEAST_SHARE), 1 - LEAST_SHARE);
}

static bool find_both(const struct up_shaken *trial, size_t trials, struct estimates *estimates,
                      struct up_share *share) {
    struct guess guess = {0.5, 0.15, LOW_MOST, 0};
    struct up_consensus mean, low;
    for (int round = 0; round < ROUNDS; round++) {
        if (!find(trial, trials, &guess, estimates, &mean)) {
            return false;
        }
        guess.share = limited(mean.mean.value);
        guess.spread = mean.between_sd;
        guess.low = fmin(guess.low, fmax(guess.share - 2 * guess.spread, LOW_LEAST));
    }
    size_t shares = estimates->count;
    /* For the bound, more air is taken to be left: the last gain two u larger, phi one lower. */
    guess.share = limited(mean.mean.value - hypot(mean.mean.u, mean.between_sd));
    guess.more_u = 2;
    if (!find(trial, trials, &guess, estimates, &low)) {
        return false;
    }
    double t = up_coverage_factor(2 * CONFIDENCE - 1, low.mean.dof);
    *share =
        (struct up_share){mean.mean, mean.between_sd,
                          limited(low.mean.value - t * hypot(low.mean.u, low.between_sd)), shares};
    return true;
}

bool up_find_share(const struct up_shaken *trial, size_t trials, struct up_share *share) {
    size_t gains = 0;
    *share = (struct up_share){{NO_NUMBER, NO_NUMBER, 0}, NO_NUMBER, NO_NUMBER, 0};
    if (!are_usable(trial, trials, &gains) || gains < 3) {
        return false;
    }
    UP_FREED double *room = up_allocate(2 * gains, sizeof *room);
    struct estimates estimates = {room, room + gains, 0};
    return find_both(trial, trials, &estimates, share);
}
