/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "agree.h"
#include "metrology/gsl_errors.h"
#include "metrology/statistics.h"
#include "text/memory.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define ENDLESS      ((double)INFINITY)
#define NO_NUMBER    ((double)NAN)

/* ---- series ---- */

static void test_summary_of_little(void **state) {
    (void)state;
    const double value[] = {3, 5};
    struct up_summary none = up_summarise(value, 0), one = up_summarise(value, 1);
    struct up_summary two = up_summarise(value, 2);
    assert_true(none.count == 0 && isnan(none.mean) && isnan(none.sd) && isnan(none.lag1));
    assert_true(one.count == 1 && one.mean == 3 && isnan(one.sd) && isnan(one.lag1));
    assert_true(two.count == 2 && two.mean == 4);
    assert_close(two.sd, sqrt(2), 1e-15);
    assert_close(two.lag1, -0.5, 1e-15);
}

static void test_summary_of_a_constant(void **state) {
    (void)state;
    double value[1000];
    for (size_t i = 0; i < COUNT(value); i++) {
        value[i] = 0.1;
    }
    struct up_summary constant = up_summarise(value, COUNT(value));
    assert_true(constant.mean == 0.1 && constant.sd == 0 && isnan(constant.lag1));
}

/* By hand: deviations -1.5 -0.5 0.5 1.5, products 0.75 - 0.25 + 0.75 over squares 5. */
static void test_lag1_by_hand(void **state) {
    (void)state;
    const double ramp[] = {1, 2, 3, 4}, swing[] = {1, -1, 1, -1};
    assert_close(up_summarise(ramp, 4).lag1, 0.25, 1e-15);
    assert_close(up_summarise(swing, 4).lag1, -0.75, 1e-15);
}

static void test_nan_is_not_hidden(void **state) {
    (void)state;
    double value[] = {1, 2, NO_NUMBER, 4, 5};
    struct up_summary summary = up_summarise(value, 5);
    assert_true(isnan(summary.mean) && isnan(summary.sd) && isnan(summary.lag1));
    assert_true(isnan(up_median(value, 5)));
}

static void test_median(void **state) {
    (void)state;
    double odd[] = {5, 1, 4, 2, 3}, even[] = {4, 1, 3, 2}, one[] = {7}, same[] = {2, 2, 2, 2};
    double wide[] = {ENDLESS, 1, -ENDLESS};
    assert_true(up_median(odd, 5) == 3);
    assert_true(up_median(even, 4) == 2.5);
    assert_true(up_median(one, 1) == 7);
    assert_true(up_median(same, 4) == 2);
    assert_true(up_median(wide, 3) == 1);
    assert_true(isnan(up_median(one, 0)));
}

/* ---- least squares ---- */

static void assert_no_fit(const double *x, const double *y, size_t count, size_t terms) {
    static const struct up_fit zero;
    struct up_fit fit;
    memset(&fit, 0xA5, sizeof fit);
    assert_false(up_fit_polynomial(x, y, count, terms, &fit));
    assert_memory_equal(&fit, &zero, sizeof fit);
}

static void assert_no_slope(const double *x, const double *y, size_t count) {
    static const struct up_fit zero;
    struct up_fit fit;
    memset(&fit, 0xA5, sizeof fit);
    assert_false(up_fit_powers(x, y, NULL, count, 1, 1, &fit));
    assert_memory_equal(&fit, &zero, sizeof fit);
}

static void test_too_few_points(void **state) {
    (void)state;
    const double x[] = {1, 2, 3, 4}, y[] = {1, 4, 9, 16};
    assert_no_fit(x, y, 0, 2);
    assert_no_fit(x, y, 2, 2);
    assert_no_fit(x, y, 3, 3);
    assert_no_fit(x, y, 1, 1);
    assert_no_fit(x, y, 4, 0);
    assert_no_fit(x, y, 4, UP_FIT_TERMS_MAX + 1);
    assert_no_fit(x, y, 4, SIZE_MAX);
    assert_no_slope(x, y, 0);
    assert_no_slope(x, y, 1);
}

static void test_too_few_different_x(void **state) {
    (void)state;
    const double y[] = {1, 2, 3, 4, 5, 6}, zero[] = {0, -0.0, 0, 0, 0, 0};
    const double level[] = {0.1, 1e6, 1.7e9, -3, DBL_TRUE_MIN, DBL_MAX};
    for (size_t i = 0; i < COUNT(level); i++) {
        double same[6], pair[6];
        for (size_t j = 0; j < 6; j++) {
            same[j] = level[i];
            pair[j] = level[i] * (j % 2 == 0 ? 1 : 0.3);
        }
        assert_no_fit(same, y, 6, 2);
        assert_no_fit(same, y, 6, 3);
        assert_no_fit(pair, y, 6, 3);
    }
    assert_no_fit(zero, y, 6, 2);
    assert_no_slope(zero, y, 6);
}

static void test_numbers_that_are_not_finite(void **state) {
    (void)state;
    const double bad[] = {NO_NUMBER, ENDLESS, -ENDLESS};
    for (size_t i = 0; i < COUNT(bad); i++) {
        for (size_t j = 0; j < 5; j++) {
            double x[] = {1, 2, 3, 4, 5}, y[] = {1, 4, 9, 16, 25}, other[] = {1, 2, 3, 4, 5};
            x[j] = bad[i];
            assert_no_fit(x, y, 5, 2);
            assert_no_slope(x, y, 5);
            y[j] = bad[i];
            assert_no_fit(other, y, 5, 3);
            assert_no_slope(other, y, 5);
        }
    }
}

static void test_overflow_is_no_fit(void **state) {
    (void)state;
    const double x[] = {1, 2, 3, 4}, y[] = {1e308, -1e308, 1e308, -1e308};
    assert_no_fit(x, y, 4, 2);
    assert_no_slope(x, y, 4);
}

static void test_constant_is_the_mean(void **state) {
    (void)state;
    const double x[] = {7, 7, 7, 7}, y[] = {1, 2, 3, 4};
    struct up_fit fit;
    assert_true(up_fit_polynomial(x, y, 4, 1, &fit));
    assert_true(fit.count == 4 && fit.terms == 1 && fit.dof == 3);
    assert_close(fit.c[0], 2.5, 1e-15);
    assert_close(fit.residual_sd, up_summarise(y, 4).sd, 1e-15);
    assert_close(fit.covariance[0][0], 5.0 / 12, 1e-15);
    assert_true(fit.c[1] == 0 && fit.c[2] == 0 && fit.covariance[1][1] == 0);
}

static void test_exact_quadratic(void **state) {
    (void)state;
    double x[9], y[9];
    struct up_fit fit;
    for (size_t i = 0; i < 9; i++) {
        x[i] = 20 + (double)i;
        y[i] = 3 - 2 * x[i] + 0.5 * x[i] * x[i];
    }
    assert_true(up_fit_polynomial(x, y, 9, 3, &fit));
    assert_close(fit.c[0], 3, 1e-9);
    assert_close(fit.c[1], -2, 1e-10);
    assert_close(fit.c[2], 0.5, 1e-12);
    assert_true(fit.terms == 3 && fit.dof == 6 && fit.residual_sd < 1e-12);
}

/* The drift of a plateau, its times counted from 1970. */
static void test_line_far_from_zero(void **state) {
    (void)state;
    double x[60], y[60], near[60];
    struct up_fit far_fit, near_fit;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (size_t i = 0; i < 60; i++) {
        near[i] = 0.5 * (double)i;
        x[i] = 1.7e9 + near[i];
        y[i] = 2 + 0.01 * near[i] + gsl_ran_gaussian(rng, 0.001);
    }
    assert_true(up_fit_polynomial(x, y, 60, 2, &far_fit));
    assert_true(up_fit_polynomial(near, y, 60, 2, &near_fit));
    assert_close(far_fit.c[1], near_fit.c[1], 1e-12 * near_fit.c[1]);
    assert_close(far_fit.covariance[1][1], near_fit.covariance[1][1],
                 1e-11 * near_fit.covariance[1][1]);
    assert_close(far_fit.residual_sd, near_fit.residual_sd, 1e-11 * near_fit.residual_sd);
    gsl_rng_free(rng);
}

/* Straight by the sums that every book prints: y = 1 2 4 at x = 1 2 3 gives 17 / 14. */
static void test_proportional(void **state) {
    (void)state;
    const double x[] = {1, 2, 3}, y[] = {1, 2, 4};
    struct up_fit fit;
    assert_true(up_fit_powers(x, y, NULL, 3, 1, 1, &fit));
    double slope = 17.0 / 14, squares = 21 - 17.0 * 17 / 14;
    assert_true(fit.count == 3 && fit.terms == 2 && fit.dof == 2);
    assert_true(fit.c[0] == 0 && fit.covariance[0][0] == 0 && fit.covariance[0][1] == 0);
    assert_close(fit.c[1], slope, 1e-15);
    assert_close(fit.residual_sum_squares, squares, 1e-14);
    assert_close(fit.residual_sd, sqrt(squares / 2), 1e-15);
    assert_close(fit.covariance[1][1], squares / 2 / 14, 1e-15);
}

/* One mass weighed several times still gives a slope through zero. */
static void test_proportional_with_equal_x(void **state) {
    (void)state;
    const double x[] = {-2, -2, -2}, y[] = {1, 2, 3};
    struct up_fit fit;
    assert_true(up_fit_powers(x, y, NULL, 3, 1, 1, &fit));
    assert_close(fit.c[1], -1, 1e-15);
    assert_close(fit.residual_sd, 1, 1e-15);
}

/* ---- Student t ---- */

static void test_coverage_factor(void **state) {
    (void)state;
    assert_close(up_coverage_factor(0.95, ENDLESS), 1.959963984540054, 1e-14);
    assert_true(isnan(up_coverage_factor(0.95, 1e-3))); /* of a record of somebody else's */
    assert_true(isnan(up_coverage_factor(0.95, 1e-300)) && isnan(up_coverage_factor(0.95, 0)));
    assert_true(up_coverage_factor(0.9999, 0.1) > 1e6);
    assert_close(up_coverage_factor(0.5, 1), 1, 1e-14);             /* tan(pi / 4) */
    assert_close(up_coverage_factor(0.9, 2), 9 / sqrt(9.5), 1e-13); /* closed form for 2 */
    const double dof[] = {1e3, 1e6, 1e9, 1e15, 1e100, DBL_MAX};
    for (size_t i = 0; i < COUNT(dof); i++) {
        double z = 1.959963984540054;
        assert_close(up_coverage_factor(0.95, dof[i]), z + (z * z * z + z) / 4 / dof[i],
                     3 / dof[i] / dof[i] + 1e-14);
    }
}

/* GSL's own answer is an error, and its default handler ends the program. */
static void test_f_limit_below_one_degree_of_freedom(void **state) {
    (void)state;
    gsl_set_error_handler(NULL); /* that handler: somebody else's code may have set it again */
    assert_true(isnan(up_f_limit(0.99, 0.5, 10)) && isnan(up_f_limit(0.99, 10, 0.5)));
    gsl_set_error_handler(NULL);
    assert_close(up_f_limit(0.95, 1, 1), 161.4476387975881, 1e-10); /* tan(0.475 pi)^2 */
}

static void end_with_seven(void) {
    _exit(7);
}

/* Within its own functions GSL goes on with what it could not allocate. */
static void test_gsl_without_memory_ends_the_program(void **state) {
    (void)state;
    int status = 0;
    pid_t child = fork();
    if (child == 0) {
        up_at_out_of_memory(end_with_seven);
        up_gsl_answers();
        gsl_error("any other", __FILE__, __LINE__, GSL_EDOM);
        gsl_error("no memory", __FILE__, __LINE__, GSL_ENOMEM);
        _exit(0);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 7);
}

static void test_coverage_factor_of_nonsense(void **state) {
    (void)state;
    const double bad[] = {0, 1, -0.1, 1.1, NO_NUMBER, ENDLESS};
    for (size_t i = 0; i < COUNT(bad); i++) {
        assert_true(isnan(up_coverage_factor(bad[i], 5)));
    }
    assert_true(isnan(up_coverage_factor(0.95, 0)));
    assert_true(isnan(up_coverage_factor(0.95, -1)));
    assert_true(isnan(up_coverage_factor(0.95, -ENDLESS)));
    assert_true(isnan(up_coverage_factor(0.95, NO_NUMBER)));
}

static void test_effective_dof(void **state) {
    (void)state;
    const double u[] = {3, 0, 4}, dof[] = {5, 0, ENDLESS};
    const double known[] = {ENDLESS, ENDLESS, ENDLESS};
    assert_close(up_effective_dof(u, dof, 1), 5, 1e-14);
    assert_close(up_effective_dof(u, dof, 2), 5, 1e-14); /* nothing contributed, nothing lost */
    assert_close(up_effective_dof(u, dof, 3), 625 / (81.0 / 5), 1e-12);
    assert_true(isinf(up_effective_dof(u, known, 3)));
    assert_true(isinf(up_effective_dof(u, known, 0)));
    assert_true(isnan(up_effective_dof(known, dof, 2)));
    const double none[] = {0}, negative[] = {-1}, nan[] = {NO_NUMBER};
    assert_true(isnan(up_effective_dof(u, none, 1)));
    assert_true(isnan(up_effective_dof(u, negative, 1)));
    assert_true(isnan(up_effective_dof(u, nan, 1)));
}

static void a_bent_line_through_zero(void **state) {
    const double x[] = {0.5, 1, 2, 4}, y[] = {1.375, 2.5, 4, 4};
    struct up_fit fit;
    (void)state;
    assert_true(up_fit_powers(x, y, NULL, 4, 1, 2, &fit));
    assert_true(fit.c[0] == 0 && fit.dof == 2);
    assert_true(fabs(fit.c[1] - 3) < 1e-12 && fabs(fit.c[2] + 0.5) < 1e-12);
    assert_false(up_fit_powers(x, y, NULL, 2, 1, 2, &fit));
    assert_false(up_fit_powers((const double[]){1, 1, 1}, y, NULL, 3, 1, 2, &fit));
}

/* Typed readings that lie on a line but for the last bit of a double: no chance, so no F, and none
   below zero; what scatters has one. */
static void an_exact_fit_has_no_f(void **state) {
    static const double mass[] = {0.5, 1, 2, 0.5, 1, 2};
    double load[6];
    struct up_fit line, bent;
    (void)state;
    for (int exact = 1; exact >= 0; exact--) {
        for (int i = 0; i < 6; i++) {
            load[i] = (2.3 + mass[i]) - 2.3 + (exact ? 0 : 0.01 * (i % 2));
        }
        assert_true(up_fit_powers(mass, load, NULL, 6, 1, 1, &line) &&
                    up_fit_powers(mass, load, NULL, 6, 1, 2, &bent));
        double f = up_f_of_term(&line, &bent);
        assert_true(exact ? isnan(f) : f >= 0);
    }
    line.residual_sum_squares = bent.residual_sum_squares * (1 - 1e-15);
    assert_true(up_f_of_term(&line, &bent) >= 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_exact_fit_has_no_f),
        cmocka_unit_test(a_bent_line_through_zero),
        cmocka_unit_test(test_summary_of_little),
        cmocka_unit_test(test_summary_of_a_constant),
        cmocka_unit_test(test_lag1_by_hand),
        cmocka_unit_test(test_nan_is_not_hidden),
        cmocka_unit_test(test_median),
        cmocka_unit_test(test_too_few_points),
        cmocka_unit_test(test_too_few_different_x),
        cmocka_unit_test(test_numbers_that_are_not_finite),
        cmocka_unit_test(test_overflow_is_no_fit),
        cmocka_unit_test(test_constant_is_the_mean),
        cmocka_unit_test(test_exact_quadratic),
        cmocka_unit_test(test_line_far_from_zero),
        cmocka_unit_test(test_proportional),
        cmocka_unit_test(test_proportional_with_equal_x),
        cmocka_unit_test(test_coverage_factor),
        cmocka_unit_test(test_f_limit_below_one_degree_of_freedom),
        cmocka_unit_test(test_gsl_without_memory_ends_the_program),
        cmocka_unit_test(test_coverage_factor_of_nonsense),
        cmocka_unit_test(test_effective_dof),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
