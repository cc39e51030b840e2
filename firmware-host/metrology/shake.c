/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/shake.h"

#include <gsl/gsl_math.h>
#include <math.h>

#include "upthrust/statistics.h"

#define NO_NUMBER ((double)NAN)

static const double LEAST_AIR = 5; /* gains' u: a share of less is all noise; a choice of ours */
static const double LEAST_SHARE = 0.02; /* a bound below is no knowledge */
static const double CONFIDENCE = 0.95;

enum { SHARES_MAX = 512, ROUNDS = 40 };

/* What is thought of the shares while they are being told. */
struct guess {
    double share, spread;
    bool worst; /* a_n at its upper bound for this share */
};

struct told {
    double share[SHARES_MAX], u[SHARES_MAX];
    size_t count;
};

static void tell(const struct up_shaken *trial, const struct guess *guess, struct told *told) {
    size_t last = trial->shakes - 1;
    double odds = (1 - guess->share) / guess->share;
    double last_gain = fmax(trial->gain[last], 0) + (guess->worst ? trial->u_gain : 0);
    double left = last_gain * odds;
    double u_left =
        hypot(trial->u_gain * odds, last_gain * guess->spread / gsl_pow_2(guess->share));
    double u_reading = trial->u_gain / M_SQRT2, freed = trial->gain[last];
    for (size_t k = last; k-- > 0;) {
        freed += trial->gain[k];
        double air = freed + left;
        if (air < LEAST_AIR * trial->u_gain || told->count == SHARES_MAX) {
            continue;
        }
        double phi = guess->share;
        double readings = u_reading * sqrt(1 + phi * phi + gsl_pow_2(1 - phi));
        told->share[told->count] = trial->gain[k] / air;
        told->u[told->count++] = hypot(readings, phi * u_left) / air;
    }
}

static bool find(const struct up_shaken *trial, size_t trials, const struct guess *guess,
                 struct told *told, struct up_consensus *consensus) {
    told->count = 0;
    for (size_t i = 0; i < trials; i++) {
        if (trial[i].shakes > 1) {
            tell(&trial[i], guess, told);
        }
    }
    return up_find_consensus(told->share, told->u, told->count, consensus);
}

static bool are_usable(const struct up_shaken *trial, size_t trials) {
    for (size_t i = 0; i < trials; i++) {
        if (!(trial[i].u_gain > 0 && isfinite(trial[i].u_gain))) {
            return false;
        }
        for (size_t k = 0; k < trial[i].shakes; k++) {
            if (!isfinite(trial[i].gain[k])) {
                return false;
            }
        }
    }
    return true;
}

static double limited(double share) {
    return fmin(fmax(share, LEAST_SHARE), 1 - LEAST_SHARE);
}

bool up_find_share(const struct up_shaken *trial, size_t trials, struct up_share *share) {
    struct told told;
    struct up_consensus consensus;
    struct guess guess = {0.5, 0.15, false};
    *share = (struct up_share){{NO_NUMBER, NO_NUMBER, 0}, NO_NUMBER, NO_NUMBER, 0};
    if (!are_usable(trial, trials)) {
        return false;
    }
    for (int round = 0; round < ROUNDS; round++) {
        if (!find(trial, trials, &guess, &told, &consensus)) {
            return false;
        }
        guess.share = limited(consensus.mean.value);
        guess.spread = consensus.between_sd;
    }
    share->mean = consensus.mean;
    share->between_sd = consensus.between_sd;
    share->shares = told.count;
    guess.worst = true;
    /* The bound hangs on the air that is left, and that on the bound: from above, down to rest. */
    double t = up_coverage_factor(2 * CONFIDENCE - 1, share->mean.dof);
    for (int round = 0; round < ROUNDS; round++) {
        if (!find(trial, trials, &guess, &told, &consensus)) {
            return false;
        }
        share->at_least = consensus.mean.value - t * hypot(consensus.mean.u, consensus.between_sd);
        guess.share = limited(share->at_least);
    }
    share->at_least = limited(share->at_least);
    return true;
}
