/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "upthrust/gas.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

/* cmocka of Debian 12 compares only floats. A macro, so that a failure names its line. */
#define assert_close(value, wanted, within)                                                        \
    do {                                                                                           \
        double value_ = (value), wanted_ = (wanted), within_ = (within);                           \
        if (!(fabs(value_ - wanted_) <= within_)) {                                                \
            fail_msg("%.17g is not %.17g within %g", value_, wanted_, within_);                    \
        }                                                                                          \
    } while (0)

static struct up_gas_session pool(void) {
    return (struct up_gas_session){.shallow = {0.4, 1.2},
                                   .deep = {1.4, 1.11},
                                   .u_buoyancy_kg = 4e-3,
                                   .u_difference_kg = 3e-3,
                                   .u_depth_difference_m = 0.01,
                                   .air_pressure_pa = {101325, 200, (double)INFINITY},
                                   .temp_c = 24,
                                   .gravity_m_s2 = {9.81, 1e-3, (double)INFINITY},
                                   .water_kg_m3 = 997.3};
}

static struct up_gas gas_of(struct up_gas_session session) {
    struct up_gas gas;
    assert_true(up_gas_from_depths(&session, &gas, NULL));
    return gas;
}

static struct up_gas_prediction at(const struct up_gas *gas, double depth_m, double temp_c) {
    struct up_gas_prediction prediction;
    struct up_gas_place place = {depth_m, 101325, temp_c};
    assert_true(up_gas_buoyancy_at(gas, &place, &prediction, NULL));
    return prediction;
}

static void assert_refused(struct up_gas_session session, const char *wanted) {
    struct up_gas gas;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    assert_false(up_gas_from_depths(&session, &gas, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_non_null(strstr(failure.text, wanted));
    assert_true(isnan(gas.volume_m3.value) && isnan(gas.pressure_low_pa));
}

static void test_the_two_weighings_come_back(void **state) {
    (void)state;
    struct up_gas gas = gas_of(pool());
    assert_close(at(&gas, 0.4, 24).buoyancy_kg.value, 1.2, 1e-12);
    assert_close(at(&gas, 1.4, 24).buoyancy_kg.value, 1.11, 1e-12);
    assert_close(at(&gas, 0.4, 24).u_law_kg, 0, 1e-15);
    assert_close(at(&gas, 1.4, 24).u_law_kg, 0, 1e-15);
}

/* The same by brute force: each input moved by its u, one after the other. The weighings' own
   errors are u_difference / sqrt(2) each. */
static void test_uncertainty_of_the_volume_by_moving_the_inputs(void **state) {
    (void)state;
    struct up_gas_session moved[5];
    double sum = 0, volume = gas_of(pool()).volume_m3.value;
    for (int i = 0; i < 5; i++) {
        moved[i] = pool();
    }
    moved[0].shallow.buoyancy_kg += 3e-3 / sqrt(2);
    moved[1].deep.buoyancy_kg += 3e-3 / sqrt(2);
    moved[2].deep.depth_m += 0.01;
    moved[3].air_pressure_pa.value += 200;
    moved[4].gravity_m_s2.value += 1e-3;
    for (int i = 0; i < 5; i++) {
        double change = gas_of(moved[i]).volume_m3.value - volume;
        sum += change * change;
    }
    /* The gravity's part is a little less than stated, since P2 holds it too. */
    assert_close(gas_of(pool()).volume_m3.u, sqrt(sum), 0.02 * sqrt(sum));
}

static void test_uncertainty_of_a_prediction_by_moving_the_weighings(void **state) {
    (void)state;
    struct up_gas_session session = pool(), moved[3];
    session.u_depth_difference_m = session.air_pressure_pa.u = session.gravity_m_s2.u = 0;
    double common = sqrt(4e-3 * 4e-3 - 3e-3 * 3e-3 / 2), own = 3e-3 / sqrt(2), sum = 0;
    struct up_gas gas = gas_of(session);
    struct up_gas_prediction there = at(&gas, 8, 24);
    moved[0] = moved[1] = moved[2] = session;
    moved[0].shallow.buoyancy_kg += own;
    moved[1].deep.buoyancy_kg += own;
    moved[2].shallow.buoyancy_kg += common;
    moved[2].deep.buoyancy_kg += common;
    for (int i = 0; i < 3; i++) {
        struct up_gas other = gas_of(moved[i]);
        double change = at(&other, 8, 24).buoyancy_kg.value - there.buoyancy_kg.value;
        sum += change * change;
    }
    assert_close(sqrt(there.buoyancy_kg.u * there.buoyancy_kg.u - there.u_law_kg * there.u_law_kg),
                 sqrt(sum), 1e-9);
}

/* Foams made here: gas of volume v beside a wall of stiffness K, so that v(P) = v1 (P1 + K)/(P +
   K); and one that does not yield any more below the deep weighing. The interval must hold them
   all. */
static void test_interval_holds_soft_stiff_and_stuck_foam(void **state) {
    (void)state;
    const double water = 1000, g = 9.80665, air = 101325, gas_kg = 2, rest_kg = -0.5;
    for (double k = 0; k <= 1; k += 0.25) {
        double shallow = air + water * g * 0.4, wall = k * shallow, deep = shallow + water * g;
        double at_deep = rest_kg + gas_kg * (shallow + wall) / (deep + wall);
        struct up_gas_session session = {.shallow = {0.4, rest_kg + gas_kg},
                                         .deep = {1.4, at_deep},
                                         .air_pressure_pa = {air, 0, (double)INFINITY},
                                         .temp_c = 20,
                                         .gravity_m_s2 = {g, 0, (double)INFINITY},
                                         .water_kg_m3 = water};
        struct up_gas gas = gas_of(session);
        assert_true(gas.volume_m3.value <= gas_kg / water * (1 + 1e-12));
        for (double depth_m = 2; depth_m < 20; depth_m += 1) {
            struct up_gas_prediction there = at(&gas, depth_m, 20);
            double half = there.u_law_kg * sqrt(3) + 1e-12;
            double pressure = air + water * g * depth_m;
            double real = rest_kg + gas_kg * (shallow + wall) / (pressure + wall);
            assert_true(fabs(real - there.buoyancy_kg.value) <= half);
        }
        for (double depth_m = 2; depth_m < 20; depth_m += 1) {
            struct up_gas_prediction there = at(&gas, depth_m, 20);
            /* stuck: half of Boyle's further change, the least that is stated */
            double further = at_deep - there.buoyancy_kg.value;
            assert_close(there.u_law_kg * sqrt(3), further / 2, 1e-9);
        }
    }
}

/* Where it was weighed deep it is known as that weighing is: here a single reading of u 2.9 g
   beside a mean, and what both share. */
static void test_at_the_deep_weighing_its_own_u_counts(void **state) {
    (void)state;
    struct up_gas_session session = pool();
    session.u_deep_own_kg = 2.9e-3;
    session.u_depth_difference_m = session.air_pressure_pa.u = session.gravity_m_s2.u = 0;
    struct up_gas gas = gas_of(session);
    double shallow_own_kg = sqrt(3e-3 * 3e-3 - 2.9e-3 * 2.9e-3);
    double common_kg = sqrt(4e-3 * 4e-3 - shallow_own_kg * shallow_own_kg);
    assert_close(at(&gas, 1.4, 24).buoyancy_kg.u, hypot(common_kg, 2.9e-3), 1e-9);
    assert_close(at(&gas, 0.4, 24).u_law_kg, 0, 1e-12);
    assert_close(at(&gas, 0.4, 24).buoyancy_kg.u, 4e-3, 1e-9);
    session.u_deep_own_kg = (double)NAN;
    assert_refused(session, "uncertainty of the deep weighing");
}

static void test_warmth_and_pressure_do_not_cancel_in_the_width(void **state) {
    (void)state;
    struct up_gas gas = gas_of(pool());
    assert_true(at(&gas, 1.4, 34).u_law_kg > 0.009);
    assert_true(at(&gas, 3, 34).u_law_kg > at(&gas, 3, 24).u_law_kg);
    assert_true(at(&gas, 3, 14).u_law_kg > at(&gas, 3, 24).u_law_kg);
}

static void test_no_gas_is_a_volume_within_its_uncertainty(void **state) {
    (void)state;
    struct up_gas_session session = pool();
    session.deep.buoyancy_kg = session.shallow.buoyancy_kg + 2e-3;
    struct up_gas gas = gas_of(session);
    assert_true(gas.volume_m3.value < 0 && fabs(gas.volume_m3.value) < gas.volume_m3.u);
    assert_true(at(&gas, 10, 24).u_law_kg > 0);
    session.deep.buoyancy_kg = session.shallow.buoyancy_kg + 7e-3;
    assert_refused(session, "floats 0.007 kg more when deep");
}

static void test_bad_numbers_are_named(void **state) {
    (void)state;
    const double bad[] = {-1e308, 1e308, (double)INFINITY, (double)NAN};
    for (size_t i = 0; i < COUNT(bad); i++) {
        struct up_gas_session s[9];
        for (size_t j = 0; j < COUNT(s); j++) {
            s[j] = pool();
        }
        s[0].shallow.depth_m = s[1].deep.depth_m = s[2].deep.buoyancy_kg = bad[i];
        s[3].u_difference_kg = s[4].air_pressure_pa.value = s[5].temp_c = bad[i];
        s[6].gravity_m_s2.value = s[7].water_kg_m3 = s[8].u_depth_difference_m = bad[i];
        assert_refused(s[0], "depth of the shallow weighing");
        assert_refused(s[1], "depth of the deep weighing");
        assert_refused(s[2], "buoyancy when deep");
        assert_refused(s[3], "uncertainty of the difference");
        assert_refused(s[4], "air pressure in Pa");
        assert_refused(s[5], "temperature in C");
        assert_refused(s[6], "gravity in m/s2");
        assert_refused(s[7], "density of the water");
        assert_refused(s[8], "uncertainty of the depths");
    }
    struct up_gas_session swapped = pool();
    swapped.deep.depth_m = 0.45;
    assert_refused(swapped, "weigh at least 0.1 m deeper");
}

static void test_nothing_is_told_beyond_the_ranges(void **state) {
    (void)state;
    struct up_gas gas = gas_of(pool());
    struct up_gas_prediction prediction;
    struct up_failure failure;
    struct up_gas_place deep = {22, 101325, 24}, high = {0, 80000, 24}, warm = {1, 101325, 40.1},
                        cold = {1, 101325, 3.9}, none = {1, (double)NAN, 24};
    assert_false(up_gas_buoyancy_at(&gas, &deep, &prediction, &failure));
    assert_non_null(strstr(failure.text, "absolute pressure there"));
    assert_true(isnan(prediction.buoyancy_kg.value) && isnan(prediction.u_law_kg));
    assert_false(up_gas_buoyancy_at(&gas, &high, &prediction, &failure));
    assert_non_null(strstr(failure.text, "absolute pressure there"));
    assert_false(up_gas_buoyancy_at(&gas, &warm, &prediction, &failure));
    assert_non_null(strstr(failure.text, "temperature asked for"));
    assert_false(up_gas_buoyancy_at(&gas, &cold, &prediction, &failure));
    assert_false(up_gas_buoyancy_at(&gas, &none, &prediction, NULL));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_two_weighings_come_back),
        cmocka_unit_test(test_uncertainty_of_the_volume_by_moving_the_inputs),
        cmocka_unit_test(test_uncertainty_of_a_prediction_by_moving_the_weighings),
        cmocka_unit_test(test_interval_holds_soft_stiff_and_stuck_foam),
        cmocka_unit_test(test_at_the_deep_weighing_its_own_u_counts),
        cmocka_unit_test(test_warmth_and_pressure_do_not_cancel_in_the_width),
        cmocka_unit_test(test_no_gas_is_a_volume_within_its_uncertainty),
        cmocka_unit_test(test_bad_numbers_are_named),
        cmocka_unit_test(test_nothing_is_told_beyond_the_ranges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
