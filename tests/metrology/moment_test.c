/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "upthrust/moment.h"

/* Statics of a beam: 80 g that sink at a foot pocket 0.1 m from one line and 60 g that float at a
   blade 0.4 m from it, lines 0.5 m apart. About the far line (at the foot's end, x = 0): the hook
   carries a = (0.080 * 0.1 - 0.060 * 0.4) / 0.5 kg, the far line the rest of 0.020 kg. */
static void a_beam_by_hand(void **state) {
    const double g = 9.81, length_m = 0.5;
    double hook_kg = (0.080 * 0.1 - 0.060 * 0.4) / length_m;
    double about_middle_nm = g * (0.080 * (0.1 - 0.25) - 0.060 * (0.4 - 0.25));
    (void)state;
    struct up_moment moment =
        up_moment_of(up_known(hook_kg, 1e-3), up_known(0.020, 2e-3), up_known(length_m, 5e-3), g);
    assert_true(fabs(moment.moment_nm.value - about_middle_nm) < 1e-12);
    assert_true(fabs(moment.hook_kg.value + hook_kg) < 1e-15);
    assert_true(fabs(moment.hook_kg.value + moment.far_kg.value + 0.020) < 1e-15);
    /* GUM 5.1.2 by hand: M = (2 a - w) g L / 2 */
    double u = sqrt(pow(g * length_m * 1e-3, 2) + pow(g * length_m / 2 * 2e-3, 2) +
                    pow(g / 2 * (2 * hook_kg - 0.020) * 5e-3, 2));
    assert_true(fabs(moment.moment_nm.u - u) < 1e-12);
}

static void an_even_item_does_not_turn(void **state) {
    (void)state;
    struct up_moment moment =
        up_moment_of(up_known(0.15, 0), up_known(0.30, 0), up_known(0.4, 0), 9.80665);
    assert_true(moment.moment_nm.value == 0);
    assert_true(moment.moment_nm.u == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_beam_by_hand),
        cmocka_unit_test(an_even_item_does_not_turn),
    };
    return cmocka_run_group_tests_name("moment", tests, NULL, NULL);
}
