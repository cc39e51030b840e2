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
#include "upthrust/chart.h"

#define NO_NUMBER ((double)NAN)

static void test_too_few_are_judged_by_their_own_u(void **state) {
    (void)state;
    const struct up_quantity check[] = {{1, 0.5, 3}, {2, 0.5, 3}};
    struct up_chart none = up_chart_of(check, 0), two = up_chart_of(check, 2);
    assert_true(isnan(none.centre) && !none.has_limits && none.count == 0);
    assert_true(two.count == 2 && !two.has_limits);
    assert_close(two.centre, 1.5, 1e-12);
    struct up_chart_judgement inside = up_chart_judge(&none, up_known(-0.99, 0.5));
    struct up_chart_judgement outside = up_chart_judge(&two, up_known(1.01, 0.5));
    assert_true(inside.verdict == UP_CHART_INSIDE && !inside.by_history);
    assert_true(outside.verdict == UP_CHART_OUTSIDE && !outside.by_history);
    assert_close(outside.low, -1, 1e-4);
    assert_close(outside.high, 1, 1e-4);
    /* GUM table G.2, 95.45 %: 3.31 for three degrees of freedom */
    assert_close(up_chart_judge(&none, (struct up_quantity){0, 0.5, 3}).high, 3.31 / 2, 0.005);
    assert_close(up_chart_judge(&none, (struct up_quantity){0, 0.5, 0}).high, 1, 1e-4);
}

static void test_what_is_no_number(void **state) {
    (void)state;
    struct up_quantity check[UP_CHART_LEAST + 2];
    for (int i = 0; i < UP_CHART_LEAST + 2; i++) {
        check[i] = up_known(i % 2, 1);
    }
    check[3].value = NO_NUMBER;
    check[6].u = NO_NUMBER;
    struct up_chart chart = up_chart_of(check, UP_CHART_LEAST + 2);
    assert_true(chart.count == UP_CHART_LEAST && chart.has_limits && isfinite(chart.sd));
    assert_int_equal(up_chart_judge(&chart, up_known(NO_NUMBER, 1)).verdict, UP_CHART_UNKNOWN);
    assert_int_equal(up_chart_judge(&chart, up_known(0, NO_NUMBER)).verdict, UP_CHART_UNKNOWN);
    assert_int_equal(up_chart_judge(&chart, up_known(0, 0)).verdict, UP_CHART_UNKNOWN);
}

/* A history that never moved makes no limits of width zero. */
static void test_a_history_without_scatter(void **state) {
    (void)state;
    struct up_quantity check[12];
    for (int i = 0; i < 12; i++) {
        check[i] = up_known(0.4, 1);
    }
    struct up_chart chart = up_chart_of(check, 12);
    struct up_chart_judgement judgement = up_chart_judge(&chart, up_known(0.5, 1));
    assert_true(!chart.has_limits && !judgement.by_history);
    assert_int_equal(judgement.verdict, UP_CHART_INSIDE);
}

/* A noisy day's check has the wider limits that its own u asks for. */
static void test_limits_widen_with_u(void **state) {
    (void)state;
    struct up_quantity check[20];
    for (int i = 0; i < 20; i++) {
        check[i] = up_known(3 + (i % 2 == 0 ? -0.5 : 0.5), 0.6);
    }
    struct up_chart chart = up_chart_of(check, 20);
    struct up_chart_judgement quiet = up_chart_judge(&chart, up_known(3, 0.3));
    struct up_chart_judgement noisy = up_chart_judge(&chart, up_known(3, 1.0));
    assert_true(quiet.by_history && noisy.by_history);
    assert_close(quiet.high, chart.high, 1e-12);
    assert_close(noisy.high - 3, 3 * sqrt(chart.sd * chart.sd + 1 - 0.36), 1e-9);
}

/* In control, a point falls outside of the three-sigma limits of a long history in 0.27 %, and a
   step of four sigma is seen in 84.1 % (normal distribution). A short history, whose limits are
   uncertain, may raise ten times the alarms, not more. */
static void test_rates(void **state) {
    (void)state;
    enum { SESSIONS = 20000 };
    static const struct {
        size_t count;
        double false_most, seen_least;
    } row[] = {{UP_CHART_LEAST, 0.035, 0.70}, {200, 0.005, 0.80}};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, 17);
    for (size_t r = 0; r < 2; r++) {
        struct up_quantity check[200];
        int false_alarms = 0, seen = 0;
        for (int n = 0; n < SESSIONS; n++) {
            for (size_t i = 0; i < row[r].count; i++) {
                check[i] = up_known(1.5 + gsl_ran_gaussian(rng, 0.5), 1);
            }
            struct up_chart chart = up_chart_of(check, row[r].count);
            double next = 1.5 + gsl_ran_gaussian(rng, 0.5);
            false_alarms += up_chart_judge(&chart, up_known(next, 1)).verdict == UP_CHART_OUTSIDE;
            seen += up_chart_judge(&chart, up_known(next + 2, 1)).verdict == UP_CHART_OUTSIDE;
        }
        print_message("%zu checks: %.4f false alarms, a step of 4 sd seen by %.3f\n", row[r].count,
                      (double)false_alarms / SESSIONS, (double)seen / SESSIONS);
        assert_true((double)false_alarms / SESSIONS < row[r].false_most);
        assert_true((double)seen / SESSIONS > row[r].seen_least);
    }
    gsl_rng_free(rng);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_too_few_are_judged_by_their_own_u),
        cmocka_unit_test(test_what_is_no_number),
        cmocka_unit_test(test_a_history_without_scatter),
        cmocka_unit_test(test_limits_widen_with_u),
        cmocka_unit_test(test_rates),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
