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
#include "metrology/sequential.h"
#include "metrology/statistics.h"

static void test_no_bound(void **state) {
    (void)state;
    assert_true(isnan(up_pocock_bound(0, 0.05, true)));
    assert_true(isnan(up_pocock_bound(UP_SEQUENTIAL_LOOKS_MAX + 1, 0.05, true)));
    assert_true(isnan(up_pocock_bound(5, 0, true)) && isnan(up_pocock_bound(5, 0.5, true)));
    assert_true(isnan(up_pocock_bound(5, (double)NAN, false)));
    assert_true(isnan(up_bound_by_level(2, 0)) && isnan(up_bound_by_level((double)NAN, 5)));
}

/* By hand: 2 +- 2.5 x 0.2, and 0.3 more at the lower end, 0.1 at the upper. */
static void test_interval_by_hand(void **state) {
    (void)state;
    struct up_repeated_interval interval = up_repeat_interval(up_known(2, 0.2), 2.5, 0.3, 0.1);
    assert_close(interval.low, 1.2, 1e-12);
    assert_close(interval.high, 2.6, 1e-12);
}

enum { SESSIONS = 100000, ANALYSES = 5 };

/* How often the mean of what was seen so far passes its boundary at one of five looks, where
   nothing but chance is there; `shared`: the standard deviation of an error that all looks share,
   in those of one look, which u holds. */
static double share_of_passed(double bound, bool two_sided, double shared) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    int passed = 0;
    gsl_rng_set(rng, 16);
    for (int i = 0; i < SESSIONS; i++) {
        double common = gsl_ran_gaussian(rng, 1) * shared, sum = 0;
        bool out = false;
        for (unsigned look = 1; look <= ANALYSES; look++) {
            sum += gsl_ran_gaussian(rng, 1);
            double z = (sum / look + common) / sqrt(1.0 / look + shared * shared);
            out = out || z > bound || (two_sided && z < -bound);
        }
        passed += out;
    }
    gsl_rng_free(rng);
    return (double)passed / SESSIONS;
}

/* Five standard deviations allowed, 0.35 %. */
static void test_risk_is_kept(void **state) {
    (void)state;
    assert_close(share_of_passed(up_pocock_bound(ANALYSES, 0.05, false), false, 0), 0.05, 0.0035);
    assert_close(share_of_passed(up_pocock_bound(ANALYSES, 0.05, true), true, 0), 0.05, 0.0035);
    assert_true(share_of_passed(up_pocock_bound(ANALYSES, 0.05, true), true, 1) < 0.05);
    /* The bound of a single look, five times. */
    assert_true(share_of_passed(up_pocock_bound(1, 0.05, true), true, 0) > 0.13);
}

/* Looks after 2, 4, ... 10 observations, u from them, t by level of significance. */
static double share_outside_with_t(unsigned a_look, double *simulated_z) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    double bound = up_pocock_bound(ANALYSES, 0.05, true), by_level[ANALYSES];
    int outside = 0, outside_z = 0;
    gsl_rng_set(rng, 17);
    for (unsigned look = 0; look < ANALYSES; look++) {
        by_level[look] = up_bound_by_level(bound, (look + 1) * a_look - 1);
    }
    for (int i = 0; i < SESSIONS; i++) {
        double sum = 0, squares = 0;
        bool out = false, out_z = false;
        for (unsigned n = 1; n <= ANALYSES * a_look; n++) {
            double value = gsl_ran_gaussian(rng, 1);
            sum += value;
            squares += value * value;
            if (n % a_look == 0) {
                double t = sum / n / sqrt((squares - sum * sum / n) / (n - 1.0) / n);
                out = out || fabs(t) > by_level[n / a_look - 1];
                out_z = out_z || fabs(t) > bound;
            }
        }
        outside += out;
        outside_z += out_z;
    }
    gsl_rng_free(rng);
    *simulated_z = (double)outside_z / SESSIONS;
    return (double)outside / SESSIONS;
}

/* Computed with numpy 1.24.2 from 4 million sessions: 0.05828 for two observations a look, 0.05363
   for five; 0.32804 and 0.12837 where the boundary is taken as it stands. */
static void test_risk_with_t(void **state) {
    (void)state;
    double by_z;
    assert_close(share_outside_with_t(2, &by_z), 0.05828, 0.0037);
    assert_close(by_z, 0.32804, 0.0075);
    assert_close(share_outside_with_t(5, &by_z), 0.05363, 0.0036);
    assert_close(by_z, 0.12837, 0.0055);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_bound),
        cmocka_unit_test(test_interval_by_hand),
        cmocka_unit_test(test_risk_is_kept),
        cmocka_unit_test(test_risk_with_t),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
