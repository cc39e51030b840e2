/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "agree.h"
#include "metrology/statistics.h"

#define ENDLESS   ((double)INFINITY)
#define NO_NUMBER ((double)NAN)

/* Groups of 1, 2 and 3 values, by hand: means 1, 4, 8; of all 5.5; within 2 + 8 = 10 over 3;
   between 20.25 + 4.5 + 18.75 = 43.5 over 2; n0 = (6 - 14/6) / 2 = 11/6. */
static void test_anova_of_unequal_groups(void **state) {
    (void)state;
    const double value[] = {1, 3, 5, 6, 8, 10};
    const size_t count[] = {1, 2, 3};
    struct up_anova anova;
    assert_true(up_anova(value, count, 3, &anova));
    assert_close(anova.mean, 5.5, 1e-12);
    assert_close(anova.between_mean_square, 21.75, 1e-12);
    assert_close(anova.within_mean_square, 10.0 / 3, 1e-12);
    assert_true(anova.between_dof == 2 && anova.within_dof == 3);
    assert_close(anova.f, 6.525, 1e-12);
    assert_close(anova.between_sd, sqrt((21.75 - 10.0 / 3) * 6 / 11), 1e-12);
}

static void test_anova_refuses(void **state) {
    (void)state;
    const double value[] = {1, 2, 3, NO_NUMBER};
    const size_t pair[] = {2, 2}, single[] = {1, 1, 1}, empty[] = {3, 0};
    struct up_anova anova;
    assert_false(up_anova(value, pair, 1, &anova));
    assert_false(up_anova(value, single, 3, &anova));
    assert_false(up_anova(value, empty, 2, &anova));
    assert_false(up_anova(value, pair, 2, &anova));
    assert_false(up_anova(value, pair, 0, &anova));
    assert_true(up_anova((const double[]){1, 1, 2, 2}, pair, 2, &anova));
    assert_true(isnan(anova.f) && isnan(anova.probability));
}

static void test_pool(void **state) {
    (void)state;
    const double sd[] = {3, NO_NUMBER, 1}, dof[] = {2, 0, 6};
    struct up_pool pool = up_pool_sds(sd, dof, 3), none = up_pool_sds(sd + 1, dof + 1, 1);
    assert_close(pool.sd, sqrt(24.0 / 8), 1e-12);
    assert_true(pool.dof == 8 && none.dof == 0 && isnan(none.sd));
    assert_true(isnan(up_pool_probability(1, 3, &none)));
    assert_true(isnan(up_pool_probability(NO_NUMBER, 3, &pool)));
    assert_true(isnan(up_pool_probability(1, 0, &pool)));
    assert_close(up_pool_probability(0, 3, &pool), 0, 1e-12);
    assert_true(up_pool_probability(pool.sd, 8, &pool) > 0.99);
    assert_true(up_pool_probability(20, 3, &pool) < 1e-4);
    const double hole[] = {NO_NUMBER, 1}, both[] = {3, 3};
    assert_true(isnan(up_pool_sds(hole, both, 2).sd)); /* a hole where there should be a value */
}

/* A session of the pool's own sd is told apart with the probability it should be: 20,000 sessions,
   five standard deviations allowed. */
static void test_pool_probability_is_kept(void **state) {
    (void)state;
    enum { SESSIONS = 20000 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 11);
    int told = 0;
    for (int n = 0; n < SESSIONS; n++) {
        struct up_pool pool = {sqrt(gsl_ran_chisq(rng, 12) / 12), 12};
        double sd = sqrt(gsl_ran_chisq(rng, 3) / 3);
        told += up_pool_probability(sd, 3, &pool) < 0.05;
    }
    assert_close((double)told / SESSIONS, 0.05, 5 * sqrt(0.05 * 0.95 / SESSIONS));
    gsl_rng_free(rng);
}

static void test_consensus_of_values_that_agree(void **state) {
    (void)state;
    const double value[] = {10, 10.1, 9.9}, u[] = {1, 2, 2};
    struct up_consensus consensus;
    assert_true(up_find_consensus(value, u, 3, &consensus));
    assert_close(consensus.between_sd, 0, 0);
    assert_close(consensus.mean.value, 10, 1e-12);
    assert_close(consensus.mean.u, sqrt(1 / 1.5), 1e-12);
    assert_true(consensus.mean.dof == 2 && consensus.probability > 0.99);
}

/* Far above their uncertainties the values alone rule: mean, and sd over the root of n. */
static void test_consensus_of_values_that_differ(void **state) {
    (void)state;
    const double value[] = {1e6 + 3, 1e6 + 5, 1e6 + 10}, u[] = {1e-4, 1e-4, 1e-4};
    struct up_consensus consensus;
    assert_true(up_find_consensus(value, u, 3, &consensus));
    assert_close(consensus.mean.value, 1e6 + 6, 1e-6);
    assert_close(consensus.between_sd, sqrt(13), 1e-6);
    assert_close(consensus.mean.u, sqrt(13.0 / 3), 1e-6);
}

static void test_consensus_refuses(void **state) {
    (void)state;
    struct up_consensus consensus;
    assert_false(up_find_consensus((const double[]){1}, (const double[]){1}, 1, &consensus));
    assert_false(up_find_consensus((const double[]){1, 2}, (const double[]){1, 0}, 2, &consensus));
    assert_false(
        up_find_consensus((const double[]){1, NO_NUMBER}, (const double[]){1, 1}, 2, &consensus));
    assert_false(
        up_find_consensus((const double[]){1, 2}, (const double[]){1, ENDLESS}, 2, &consensus));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_anova_of_unequal_groups),
        cmocka_unit_test(test_anova_refuses),
        cmocka_unit_test(test_pool),
        cmocka_unit_test(test_pool_probability_is_kept),
        cmocka_unit_test(test_consensus_of_values_that_agree),
        cmocka_unit_test(test_consensus_of_values_that_differ),
        cmocka_unit_test(test_consensus_refuses),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
