/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "upthrust/gravity.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static void test_numbers_outside_the_range_are_named(void **state) {
    (void)state;
    const double bad[] = {-1e308, 1e308, 6000.1, (double)INFINITY, (double)NAN};
    struct up_failure failure;
    struct up_quantity g;
    for (size_t i = 0; i < COUNT(bad); i++) {
        assert_true(isnan(up_gravity_normal_m_s2(bad[i], 0)));
        assert_true(isnan(up_gravity_normal_m_s2(45, bad[i])));
        assert_false(up_gravity_at(bad[i], 0, &g, &failure));
        assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
        assert_non_null(strstr(failure.text, "latitude in degrees"));
        assert_false(up_gravity_at(45, bad[i], &g, &failure));
        assert_non_null(strstr(failure.text, "altitude in m"));
        assert_true(isnan(g.value) && isnan(g.u));
    }
    assert_false(up_gravity_at(90.0001, 0, &g, NULL));
}

static void test_uncertainty_covers_real_gravity(void **state) {
    (void)state;
    struct up_quantity g;
    assert_true(up_gravity_at(52, 80, &g, NULL));
    assert_close(g.value, up_gravity_normal_m_s2(52, 80), 0);
    assert_close(g.u / g.value, 1e-4, 1e-12);
    assert_true(isinf(g.dof));
}

static void test_an_unknown_place_is_somewhere_on_earth(void **state) {
    (void)state;
    struct up_quantity g = up_gravity_unknown();
    assert_close(g.value, 9.80665, 0);
    assert_true(g.value - sqrt(3) * g.u <= 9.7804 && g.value + sqrt(3) * g.u >= 9.8321);
}

/* Tables of the standard atmosphere, Pa, from memory. */
static void test_pressure_of_the_standard_atmosphere(void **state) {
    (void)state;
    assert_close(up_standard_pressure_pa(0), 101325, 1e-9);
    assert_close(up_standard_pressure_pa(1000), 89874.6, 0.5);
    assert_close(up_standard_pressure_pa(2000), 79495.2, 0.5);
    assert_true(isnan(up_standard_pressure_pa(6001)) &&
                isnan(up_standard_pressure_pa((double)NAN)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers_outside_the_range_are_named),
        cmocka_unit_test(test_uncertainty_covers_real_gravity),
        cmocka_unit_test(test_an_unknown_place_is_somewhere_on_earth),
        cmocka_unit_test(test_pressure_of_the_standard_atmosphere),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
