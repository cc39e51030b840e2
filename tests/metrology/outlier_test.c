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
#include "metrology/outlier.h"

#define ENDLESS   ((double)INFINITY)
#define NO_NUMBER ((double)NAN)

static void assert_nothing(struct up_outlier test, size_t count) {
    assert_true(isnan(test.statistic) && !test.outlier && test.index == count);
}

static void test_no_statistic(void **state) {
    (void)state;
    const double same[] = {2, 2, 2, 2}, hole[] = {1, NO_NUMBER, 2, 3}, far[] = {1, 2, 3, ENDLESS};
    assert_nothing(up_grubbs(same, 0, 0.05), 0);
    assert_nothing(up_grubbs(same, 2, 0.05), 2);
    assert_nothing(up_grubbs(same, 4, 0.05), 4);
    assert_nothing(up_grubbs(hole, 4, 0.05), 4);
    assert_nothing(up_grubbs(far, 4, 0.05), 4);
    assert_true(isnan(up_grubbs_critical(2, 0.05)));
    assert_true(isnan(up_grubbs_critical(9, 0)) && isnan(up_grubbs_critical(9, 1)));
    assert_true(isnan(up_grubbs_critical(9, NO_NUMBER)));
    assert_false(up_grubbs((const double[]){1, 2, 3, 90}, 4, NO_NUMBER).outlier);
}

/* The largest statistic that three values can have is 2 / sqrt(3), whatever they are. */
static void test_three_values(void **state) {
    (void)state;
    const double value[] = {0, 1e-9, 1e6};
    struct up_outlier test = up_grubbs(value, 3, 0.05);
    assert_int_equal(test.index, 2);
    assert_close(test.statistic, 2 / sqrt(3), 1e-9);
    assert_true(test.outlier);
    assert_false(up_grubbs((const double[]){0, 1, 2}, 3, 0.05).outlier);
}

/* Where nothing is wrong the test says so but for its significance: 20,000 sets, five standard
   deviations allowed. */
static void test_significance_is_kept(void **state) {
    (void)state;
    enum { SETS = 20000 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 7);
    for (size_t count = 3; count <= 8; count++) {
        double value[8];
        int found = 0;
        for (int set = 0; set < SETS; set++) {
            for (size_t i = 0; i < count; i++) {
                value[i] = gsl_ran_gaussian(rng, 3) - 200;
            }
            found += up_grubbs(value, count, 0.05).outlier;
        }
        assert_close((double)found / SETS, 0.05, 5 * sqrt(0.05 * 0.95 / SETS));
    }
    gsl_rng_free(rng);
}

/* Two of the same hide each other from Grubbs' test, not from Rosner's. */
static void test_masking(void **state) {
    (void)state;
    double value[20], scratch[20];
    struct up_outlier test[3];
    for (int i = 0; i < 20; i++) {
        value[i] = i % 5;
    }
    value[4] = value[11] = 11;
    assert_false(up_grubbs(value, 20, 0.01).outlier);
    assert_int_equal(up_rosner(value, 20, 3, 0.01, scratch, test), 2);
    assert_true((test[0].index == 4 && test[1].index == 11) ||
                (test[0].index == 11 && test[1].index == 4));
    assert_true(test[0].outlier && test[1].outlier && !test[2].outlier);
}

/* More asked for than there are: what has no statistic is no outlier, and nothing is read beyond.
 */
static void test_rosner_to_the_end(void **state) {
    (void)state;
    const double value[] = {5, 1, 2, 3};
    double scratch[4];
    struct up_outlier test[6];
    assert_int_equal(up_rosner(value, 4, 6, 0.05, scratch, test), 0);
    assert_int_equal(test[0].index, 0);
    for (int i = 2; i < 6; i++) {
        assert_nothing(test[i], 4);
    }
    assert_int_equal(up_rosner(value, 0, 1, 0.05, scratch, test), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_statistic),         cmocka_unit_test(test_three_values),
        cmocka_unit_test(test_significance_is_kept), cmocka_unit_test(test_masking),
        cmocka_unit_test(test_rosner_to_the_end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
