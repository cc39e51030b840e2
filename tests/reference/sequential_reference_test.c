/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Boundaries for several looks, and the rank of split conformal prediction, as published. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/early.h"
#include "metrology/sequential.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

/*
 * C. Jennison and B. W. Turnbull, Group Sequential Methods (2000), table 2.1, three decimals, two-
 * sided 1, 5 and 10 %: read in two public files that agree, not in the book.
 */
static void test_published_constants(void **state) {
    (void)state;
    static const double row[][4] = {
        {1, 2.576, 1.960, 1.645},  {2, 2.772, 2.178, 1.875}, {3, 2.873, 2.289, 1.992},
        {4, 2.939, 2.361, 2.067},  {5, 2.986, 2.413, 2.122}, {6, 3.023, 2.453, 2.164},
        {7, 3.053, 2.485, 2.197},  {8, 3.078, 2.512, 2.225}, {9, 3.099, 2.535, 2.249},
        {10, 3.117, 2.555, 2.270},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        unsigned analyses = (unsigned)row[i][0];
        assert_prints_as(up_pocock_bound(analyses, 0.01, true), row[i][1], 1e-3);
        assert_prints_as(up_pocock_bound(analyses, 0.05, true), row[i][2], 1e-3);
        assert_prints_as(up_pocock_bound(analyses, 0.10, true), row[i][3], 1e-3);
    }
}

/* One-sided, which is not quite the two-sided one of twice the risk: computed with scipy 1.10.1 by
   recursive integration with 400 nodes a look, which mvtnorm 1.1-3 confirms for K = 4. */
static void test_one_sided(void **state) {
    (void)state;
    static const double row[][4] = {
        {2, 1.875423, 2.178272, 2.531108},  {3, 1.992192, 2.289478, 2.636203},
        {4, 2.067429, 2.361300, 2.704298},  {5, 2.121715, 2.413180, 2.753570},
        {10, 2.270003, 2.555034, 2.888515},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        unsigned analyses = (unsigned)row[i][0];
        assert_close(up_pocock_bound(analyses, 0.05, false), row[i][1], 1e-6);
        assert_close(up_pocock_bound(analyses, 0.025, false), row[i][2], 1e-6);
        assert_close(up_pocock_bound(analyses, 0.01, false), row[i][3], 1e-6);
    }
}

/* Quantiles of Student's t at the level of significance of the boundary: scipy 1.10.1. */
static void test_by_level(void **state) {
    (void)state;
    static const struct {
        unsigned analyses;
        double dof, quantile;
    } row[] = {{2, 1, 21.649},  {2, 5, 3.0209},  {2, 99, 2.2103}, {3, 2, 6.6222},
               {3, 10, 2.7069}, {4, 3, 4.7009},  {4, 30, 2.4977}, {5, 1, 40.248},
               {5, 4, 4.0238},  {5, 10, 2.9007}, {5, 20, 2.6368}};
    for (size_t i = 0; i < COUNT(row); i++) {
        double bound = up_pocock_bound(row[i].analyses, 0.05, true);
        assert_digits(up_bound_by_level(bound, row[i].dof), row[i].quantile, 4.3);
    }
    assert_close(up_bound_by_level(2.413176, (double)INFINITY), 2.413176, 1e-12);
}

/*
 * Repeated confidence intervals at five looks of four observations each, sigma 1.2, the constant of
 * the table above: made by hand, computed with scipy 1.10.1.
 */
static void test_repeated_intervals(void **state) {
    (void)state;
    static const double row[][4] = {{4, 0.83, -0.617906, 2.277906},
                                    {8, 0.61, -0.413824, 1.633824},
                                    {12, 0.74, -0.095949, 1.575949}};
    double bound = up_pocock_bound(5, 0.05, true);
    for (size_t i = 0; i < COUNT(row); i++) {
        struct up_quantity mean = up_known(row[i][1], 1.2 / sqrt(row[i][0]));
        struct up_repeated_interval interval = up_repeat_interval(mean, bound, 0, 0);
        assert_close(interval.low, row[i][2], 2e-6);
        assert_close(interval.high, row[i][3], 2e-6);
    }
}

/*
 * The rank ceil((n + 1)(1 - alpha)), none where it is above n: the rule as in the manual of R's
 * rtemis (at least 19 scores for 5 %, 99 for 1 %); ranks by exact rational arithmetic. In doubles
 * 0.172 with 249 and 499 scores comes out one too high.
 */
static void test_conformal_rank(void **state) {
    (void)state;
    static const struct {
        size_t scores, rank;
        double alpha;
    } row[] = {{98, 0, 0.01},     {99, 99, 0.01},    {100, 100, 0.01},  {198, 198, 0.01},
               {199, 198, 0.01},  {500, 496, 0.01},  {1000, 991, 0.01}, {18, 0, 0.05},
               {19, 19, 0.05},    {99, 95, 0.05},    {9, 9, 0.1},       {8, 0, 0.1},
               {249, 207, 0.172}, {499, 414, 0.172}, {999, 941, 0.059}, {0, 0, 0.01}};
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_int_equal(up_conformal_rank(row[i].scores, row[i].alpha), row[i].rank);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published_constants),
        cmocka_unit_test(test_one_sided),
        cmocka_unit_test(test_by_level),
        cmocka_unit_test(test_repeated_intervals),
        cmocka_unit_test(test_conformal_rank),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
