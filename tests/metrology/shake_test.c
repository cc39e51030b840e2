/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The share that a shake frees, estimated from simulated gains: shares redrawn each shake or each
 * kind of item, shaking that stops at a small gain or after three shakes, noise on each reading.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "agree.h"
#include "metrology/shake.h"

#define NO_NUMBER ((double)NAN)

enum { TRIALS_MOST = 12, SHAKES_MOST = 6, KINDS = 1000 };

/* ---- without noise ---- */

static struct up_shaken shaken(const double *gain, size_t shakes, double u_gain) {
    return (struct up_shaken){gain, shakes, u_gain, 0};
}

/* 40 g of air and a share of 0.6: 24, 9.6, 3.84, 1.536 g. */
static void test_one_share(void **state) {
    (void)state;
    const double gain[] = {24, 9.6, 3.84, 1.536};
    struct up_shaken trial = shaken(gain, 4, 0.01);
    struct up_share share;
    assert_true(up_find_share(&trial, 1, &share));
    assert_int_equal(share.shares, 3);
    assert_close(share.mean.value, 0.6, 1e-6);
    assert_close(share.between_sd, 0, 1e-3);
    assert_true(share.at_least < 0.6 && share.at_least > 0.57);
}

/* Shares of 0.5 and 0.7 in turn, the air all freed at last: 50 and 35 of 100 and 50, 15 left. */
static void test_shares_that_differ(void **state) {
    (void)state;
    const double gain[] = {50, 35, 7.5, 5.25, 1.125, 0.7875, 0.16875, 0.118125};
    struct up_shaken trial = shaken(gain, 8, 0.001);
    struct up_share share;
    assert_true(up_find_share(&trial, 1, &share));
    assert_int_equal(share.shares, 7);
    assert_close(share.mean.value, 4.1 / 7, 0.01);
    assert_close(share.between_sd, 0.107, 0.01); /* sd of 0.5 0.7 0.5 0.7 0.5 0.7 0.5 */
    assert_true(share.at_least < 0.45 && share.at_least > 0.3);
}

/* ---- what cannot be estimated ---- */

static void assert_untold(const struct up_shaken *trial, size_t trials) {
    struct up_share share;
    assert_false(up_find_share(trial, trials, &share));
    assert_true(isnan(share.mean.value) && isnan(share.at_least) && share.shares == 0);
}

static void test_untold(void **state) {
    (void)state;
    const double gain[] = {24, 9.6, 3.84}, noise[] = {0.1, -0.05, 0.02},
                 hole[] = {24, NO_NUMBER, 1};
    struct up_shaken two[] = {shaken(gain, 1, 0.1), shaken(gain, 2, 0.1)};
    struct up_shaken air_free[] = {shaken(noise, 3, 0.1), shaken(noise, 3, 0.1)};
    struct up_shaken bad = shaken(hole, 3, 0.1), exact = shaken(gain, 3, 0);
    struct up_shaken unsure = shaken(gain, 3, NO_NUMBER);
    assert_untold(two, 0);
    assert_untold(two, 2);
    assert_untold(air_free, 2);
    assert_untold(&bad, 1);
    assert_untold(&exact, 1);
    assert_untold(&unsure, 1);
    struct up_shaken unshaken[] = {shaken(NULL, 0, 0.1), shaken(gain, 3, 0.1)};
    struct up_share share;
    assert_true(up_find_share(unshaken, 2, &share));
    assert_int_equal(share.shares, 2);
}

/* ---- whether the bound holds ---- */

struct world {
    double share_low, share_high;
    bool same_share; /* one for all shakes of a kind of item, else one a shake */
    bool stops;      /* after a gain below max(0.5 g, 3 u), else after three shakes */
    size_t trials;
    double u_gain; /* g */
};

struct gains {
    double gain[TRIALS_MOST][SHAKES_MOST];
    struct up_shaken trial[TRIALS_MOST];
};

static void shake_all(const struct world *world, gsl_rng *rng, double same, struct gains *gains) {
    double u_reading = world->u_gain / sqrt(2), first_gain = exp(gsl_ran_flat(rng, 0, log(40)));
    double stop = world->stops ? fmax(0.5, 3 * world->u_gain) : 0;
    for (size_t t = 0; t < world->trials; t++) {
        double air = first_gain / 0.6 * gsl_ran_flat(rng, 0.7, 1.3);
        double before = gsl_ran_gaussian(rng, u_reading) - air;
        double *gain = gains->gain[t];
        size_t k = 0;
        do {
            air *= 1 - (world->same_share ? same
                                          : gsl_ran_flat(rng, world->share_low, world->share_high));
            double after = gsl_ran_gaussian(rng, u_reading) - air;
            gain[k++] = after - before;
            before = after;
        } while (world->stops ? gain[k - 1] > stop && k < SHAKES_MOST : k < 3);
        gains->trial[t] = (struct up_shaken){gain, k, world->u_gain, stop};
    }
}

/* How often a further shake frees at least what the bound says, over kinds of items; first gains of
   1 to 40 g, evenly in their logarithm. */
static double holds(const struct world *world, unsigned long seed, double *told, double *bound) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    unsigned count = 0, held = 0;
    gsl_rng_set(rng, seed);
    *bound = 0;
    for (int kind = 0; kind < KINDS; kind++) {
        struct gains gains;
        struct up_share share;
        double same = gsl_ran_flat(rng, world->share_low, world->share_high);
        shake_all(world, rng, same, &gains);
        if (up_find_share(gains.trial, world->trials, &share)) {
            double next =
                world->same_share ? same : gsl_ran_flat(rng, world->share_low, world->share_high);
            count++;
            held += next >= share.at_least;
            *bound += share.at_least;
        }
    }
    gsl_rng_free(rng);
    *told = (double)count / KINDS;
    *bound /= count;
    return (double)held / count;
}

/* Shares of 0.4 to 0.8: at least the stated 95 % in each cell, less three standard deviations of
   the rate (0.025 where half of 1000 kinds are estimated), and over all cells without any
   allowance. */
static void test_bound_holds(void **state) {
    (void)state;
    static const size_t trials[] = {3, 6, 12};
    static const double u_gain[] = {0.1, 0.4, 1};
    double sum = 0;
    int cells = 0;
    for (int way = 0; way < 4; way++) {
        for (int i = 0; i < 9; i++) {
            struct world world = {0.4, 0.8, way % 2 == 1, way >= 2, trials[i / 3], u_gain[i % 3]};
            double told, bound, rate = holds(&world, 100 + (unsigned long)cells, &told, &bound);
            print_message("%s share, %s, %2zu trials, u %.1f g: told %.2f, bound %.2f holds %.3f\n",
                          world.same_share ? "one" : "any", world.stops ? "stops" : "three",
                          world.trials, world.u_gain, told, bound, rate);
            assert_true(rate >= 0.95 - 3 * sqrt(0.95 * 0.05 / (told * KINDS)));
            sum += rate;
            cells++;
        }
    }
    assert_true(sum / cells >= 0.95);
}

/* A bound that always held would be 0.02. With little noise and enough trials it comes near to the
   least share there is, 0.4, or to the one share. */
static void test_bound_is_worth_having(void **state) {
    (void)state;
    const struct world world = {0.4, 0.8, false, true, 12, 0.1};
    double told, bound;
    holds(&world, 3, &told, &bound);
    assert_true(told > 0.95 && bound > 0.35);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_one_share),
        cmocka_unit_test(test_shares_that_differ),
        cmocka_unit_test(test_untold),
        cmocka_unit_test(test_bound_holds),
        cmocka_unit_test(test_bound_is_worth_having),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
