/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "embedded.h"
#include "tank.h"
#include "upthrust/rig.h"

static void same_seed_same_lines(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct tank *a = tank_create(&declared, &cell, 4), *b = tank_create(&declared, &cell, 4);
    struct tank *other = tank_create(&declared, &cell, 5);
    char x[96], y[96], z[96];
    bool differs = false;
    (void)state;
    for (int i = 0; i < 200; i++) {
        tank_sample(a, x, sizeof x);
        tank_sample(b, y, sizeof y);
        tank_sample(other, z, sizeof z);
        assert_string_equal(x, y);
        differs = differs || strcmp(x, z) != 0;
    }
    assert_true(differs);
    tank_destroy(a);
    tank_destroy(b);
    tank_destroy(other);
}

static void what_cannot_be_done_is_refused(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct tank *tank = tank_create(&declared, &cell, 1);
    (void)state;
    assert_false(tank_act(tank, "juggle", "Heron fin", 1, 0));
    assert_false(tank_act(tank, "immerse", "No such fin", 0, 0));
    assert_false(tank_act(tank, "shake", NULL, 0, 0));
    assert_false(tank_act(tank, "hang-mass", NULL, (double)NAN, 0));
    assert_true(tank_act(tank, "immerse", "Heron fin", 0, 0));
    assert_true(isnan(tank_truth_in_tank_g(tank, "No such fin")));
    assert_true(tank_truth_in_tank_g(tank, "Heron fin") < -300);
    tank_destroy(tank);
}

static void the_rig_file_tells_what_is_drawn(void **state) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct up_rig rig;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure));
    assert_true(rig.u_thermometer_k == declared.u_thermometer_k);
    assert_true(rig.solids_max_g_kg == declared.solids_max_g_kg);
    assert_true(rig.item_temp_halfwidth_k == declared.item_temp_halfwidth_k);
    assert_true(rig.mass_tolerance_rel == declared.mass_tolerance_rel);
    assert_true(rig.shake_share == declared.shake_share_low);
    assert_true(fabs(rig.line_diameter_m - declared.line_diameter_m) < 1e-12);
    assert_true(fabs(rig.meniscus_kg - declared.meniscus_halfwidth_kg) < 1e-12);
    assert_true(rig.tank_area_m2 == declared.tank_area_m2 && rig.depth_m == declared.depth_m);
    assert_true(rig.air.temp_c.value == declared.air_temp_c &&
                rig.air.temp_c.u == declared.u_air_temp_k);
    assert_true(rig.capacity_kg == cell.capacity_kg && rig.line.rate_hz == cell.rate_hz);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(same_seed_same_lines),
        cmocka_unit_test(what_cannot_be_done_is_refused),
        cmocka_unit_test(the_rig_file_tells_what_is_drawn),
    };
    return cmocka_run_group_tests_name("tank", tests, NULL, NULL);
}
