/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The 1000-point test suite of NIST Special Publication 1065 (W. J. Riley, Handbook of Frequency
 * Stability Analysis, 2008), page 108: values of the generator n' = 16807 n mod 2147483647 from
 * 1234567890, as shares of the modulus. The published values for fractional frequency data stand
 * below; taken from two independent transcriptions that agree, not from the print itself.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "metrology/statistics.h"

enum { COUNT = 1000 };
static double value[COUNT];

static int make(void **state) {
    uint64_t n = 1234567890;
    (void)state;
    for (int i = 0; i < COUNT; i++) {
        value[i] = (double)n / 2147483647;
        n = n * 16807 % 2147483647;
    }
    return 0;
}

static void suite_of_1000_points(void **state) {
    static const struct {
        int index;
        double factor, deviation;
    } row[] = {{0, 1, 2.922319e-01}, {3, 10, 9.965736e-02}, {6, 100, 3.897804e-02}};
    struct up_allan allan;
    (void)state;
    up_allan_begin(&allan);
    for (int i = 0; i < COUNT; i++) {
        up_allan_push(&allan, value[i]);
    }
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        double deviation = up_allan_deviation(&allan, row[i].index);
        assert_true(up_allan_factor(row[i].index) == row[i].factor);
        if (!(fabs(deviation - row[i].deviation) < 2e-7 * row[i].deviation)) {
            fail_msg("factor %g: %.6e, published %.6e", row[i].factor, deviation, row[i].deviation);
        }
    }
}

/* By the definition, in the plainest way, for every factor. */
static double plain(const double *from, int count, int factor, double *squares, double *pairs) {
    double last = (double)NAN;
    for (int i = 0; i + factor <= count; i += factor) {
        double sum = 0;
        for (int j = i; j < i + factor; j++) {
            sum += from[j];
        }
        if (!isnan(last)) {
            *squares += pow(sum / factor - last, 2);
            *pairs += 1;
        }
        last = sum / factor;
    }
    return *pairs > 0 ? sqrt(*squares / (2 * *pairs)) : (double)NAN;
}

static void every_factor_and_breaks_as_defined(void **state) {
    static const int segment[] = {0, 7, 307, 308, 1000};
    struct up_allan allan;
    (void)state;
    up_allan_begin(&allan);
    for (int s = 0; s < 4; s++) {
        for (int i = segment[s]; i < segment[s + 1]; i++) {
            up_allan_push(&allan, 1e6 * s + value[i]); /* a step of a million between them */
        }
        up_allan_break(&allan);
    }
    for (int index = 0; index < UP_ALLAN_FACTORS; index++) {
        double squares = 0, pairs = 0, expected = 0;
        for (int s = 0; s < 4; s++) {
            expected = plain(value + segment[s], segment[s + 1] - segment[s],
                             (int)up_allan_factor(index), &squares, &pairs);
        }
        assert_true(allan.group[index].pairs == (uint64_t)pairs);
        assert_true(pairs == 0
                        ? isnan(up_allan_deviation(&allan, index))
                        : fabs(up_allan_deviation(&allan, index) - expected) < 1e-8 * expected);
    }
}

static void the_minimum_needs_its_pairs(void **state) {
    struct up_allan allan;
    (void)state;
    up_allan_begin(&allan);
    assert_int_equal(up_allan_minimum(&allan, 1), -1);
    for (int i = 0; i < COUNT; i++) {
        up_allan_push(&allan, value[i] + 1e-3 * i); /* white noise and a drift */
    }
    int best = up_allan_minimum(&allan, 4);
    assert_true(best >= 4 && best <= 7);
    assert_true(up_allan_deviation(&allan, best) < up_allan_deviation(&allan, 0) / 3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(suite_of_1000_points),
        cmocka_unit_test(every_factor_and_breaks_as_defined),
        cmocka_unit_test(the_minimum_needs_its_pairs),
    };
    return cmocka_run_group_tests_name("allan", tests, make, NULL);
}
