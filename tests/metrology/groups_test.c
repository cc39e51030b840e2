/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/statistics.h"

#define ENDLESS   ((double)INFINITY)
#define NO_NUMBER ((double)NAN)

static void test_pool(void **state) {
    (void)state;
    const double sd[] = {3, NO_NUMBER, 1}, dof[] = {2, 0, 6};
    struct up_pool pool = up_pool_sds(sd, dof, 3), none = up_pool_sds(sd + 1, dof + 1, 1);
    assert_close(pool.sd, sqrt(24.0 / 8), 1e-12);
    assert_true(pool.dof == 8 && none.dof == 0 && isnan(none.sd));
    const double hole[] = {NO_NUMBER, 1}, both[] = {3, 3};
    assert_true(isnan(up_pool_sds(hole, both, 2).sd)); /* a hole where there should be a value */
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
        cmocka_unit_test(test_pool),
        cmocka_unit_test(test_consensus_of_values_that_agree),
        cmocka_unit_test(test_consensus_of_values_that_differ),
        cmocka_unit_test(test_consensus_refuses),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
