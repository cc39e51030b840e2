/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Drift that tares on either side take out, beside the drift-eliminating weighing of a national
 * mass laboratory. Readings and results read in MSLNZ/Mass-Circular-Weighing, commit 2dd8c093
 * (Measurement Standards Laboratory of New Zealand): tests/test_circweigh_driftpaper.py, and
 * tests/samples/TP_AppendixC_100.json with test_circweigh_TP001.py (procedure MSLT.M.001.008,
 * appendix C). All were computed again with NumPy 1.24.2.
 *
 * There, weights hang one after another, cycle by cycle, and one least-squares fit finds their
 * differences with a drift of second order. Here the first weight of each cycle serves as the tare
 * and the others as items, at equal steps of time, and the program's own interpolation compares
 * each with the tares around it. The last cycle has no tare after it and is left out, so that the
 * two use different readings: they must agree within the published uncertainty, not in digits.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "../../firmware-host/bench/internal.h"
#include "agree.h"

/* Mean over the cycles of weight `item` minus the first weight, each tared with the first's
   readings before and after. */
static double difference(const double *reading, size_t cycles, size_t weights, size_t item) {
    double sum = 0, u;
    for (size_t cycle = 0; cycle + 1 < cycles; cycle++) {
        size_t at = cycle * weights;
        struct up_indication before = {.time_s = (double)at, .load = reading[at], .known = true};
        struct up_indication after = {
            .time_s = (double)(at + weights), .load = reading[at + weights], .known = true};
        sum += reading[at + item] - tare_at(&before, &after, (double)(at + item), &u);
    }
    return sum / (double)(cycles - 1);
}

/*
 * The drift paper's readings: four weights, three cycles, falling by 1.1 a reading. Published, with
 * their u: first minus second -722.0805 (0.3428), second minus third -2337.7052 (0.3420), third
 * minus fourth -924.0299 (0.3428), fourth minus first 3983.8156 (0.3575). The third's u against the
 * first is taken to be no smaller than the least of these.
 */
static void test_drift_paper(void **state) {
    (void)state;
    static const double reading[] = {22.1,   743.7,  3080.4, 4003.4, 18.3,   739.2,
                                     3075.5, 3998.2, 14.2,   734.7,  3071.6, 3994.8};
    assert_close(difference(reading, 3, 4, 1), 722.08054435, 0.34277932);
    assert_close(difference(reading, 3, 4, 2), 722.08054435 + 2337.70520833, 0.34201342);
    assert_close(difference(reading, 3, 4, 3), 3983.815625, 0.35750859);
    /* One tare before all would be off by ten times that. */
    double once = (reading[1] + reading[5]) / 2 - reading[0];
    assert_true(fabs(once - 722.08054435) > 5 * 0.34277932);
}

/* Appendix C, 100 g, three weights, four cycles, in g: first minus second 0.000126168 (5.34e-6),
   third minus first 0.000015678 (5.45e-6). */
static void test_procedure_appendix(void **state) {
    (void)state;
    static const double reading[] = {100.00027, 100.00014,  100.00029, 100.000267,
                                     100.00015, 100.0003,   100.00029, 100.00015,
                                     100.00029, 100.000273, 100.00016, 100.00029};
    assert_close(difference(reading, 4, 3, 1), -0.00012616787, 5.342129e-6);
    assert_close(difference(reading, 4, 3, 2), 0.00001567778, 5.453824e-6);
}

/* Where the drift is a straight line, nothing of it is left, wherever the item hangs in between. */
static void test_straight_drift(void **state) {
    (void)state;
    struct up_indication before = {.time_s = 100, .load = 5000, .u_load = 3, .known = true};
    struct up_indication after = {.time_s = 500, .load = 5400, .u_load = 4, .known = true};
    double u;
    assert_close(tare_at(&before, &after, 200, &u), 5100, 1e-9);
    assert_close(u, hypot(0.75 * 3, 0.25 * 4), 1e-12);
    assert_close(tare_at(&before, &after, 450, &u), 5350, 1e-9);
    assert_close(u, hypot(0.125 * 3, 0.875 * 4), 1e-12);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_drift_paper),
        cmocka_unit_test(test_procedure_appendix),
        cmocka_unit_test(test_straight_drift),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
