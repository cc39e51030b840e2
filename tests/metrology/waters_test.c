/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "upthrust/waters.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

#define NOTHING ((double)NAN)

static struct up_water own(enum up_water_model model) {
    return (struct up_water){.name = "own", .model = model, .temp_c = 20, .salinity_g_kg = NOTHING};
}

static void assert_refused(struct up_water_given given, struct up_water water, const char *wanted) {
    struct up_failure failure = {UP_STATUS_DONE, ""};
    assert_false(up_water_from_given(&given, &water, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    if (strstr(failure.text, wanted) == NULL) {
        fail_msg("\"%s\" does not hold \"%s\"", failure.text, wanted);
    }
    assert_false(up_water_from_given(&given, &water, NULL));
}

static struct up_water accepted(struct up_water_given given, struct up_water water) {
    struct up_failure failure = {UP_STATUS_DONE, ""};
    struct up_water_density density;
    if (!up_water_from_given(&given, &water, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_true(up_water_density(&water, &density, &failure));
    return water;
}

/* ---- by name ---- */

static void test_every_name_is_a_water_with_its_range(void **state) {
    (void)state;
    size_t count = 0;
    for (; up_named_water_at(count) != NULL; count++) {
        const struct up_named_water *named = up_named_water_at(count);
        struct up_water water;
        struct up_water_density density;
        assert_true(up_water_by_name(named->name, &water));
        assert_string_equal(water.name, named->name);
        assert_true(up_water_density(&water, &density, NULL));
        double half = water.u_salinity_g_kg * sqrt(3);
        assert_close(water.salinity_g_kg - half, named->low_g_kg, 1e-12);
        assert_close(water.salinity_g_kg + half, named->high_g_kg, 1e-12);
        assert_true(water.salinity_range && named->source[0] != '\0' && named->what[0] != '\0');
    }
    assert_true(count >= 8);
    assert_string_equal(up_named_water_at(0)->name, "fresh");
    assert_string_equal(up_named_water_at(1)->name, "sea");
}

static void test_an_unknown_name_is_kept_and_cut(void **state) {
    (void)state;
    struct up_water water;
    char endless[200];
    memset(endless, 'x', sizeof endless);
    endless[199] = '\0';
    assert_false(up_water_by_name("Quarry", &water));
    assert_string_equal(water.name, "Quarry");
    assert_true(isnan(water.salinity_g_kg) && isnan(water.temp_c));
    assert_false(up_water_by_name(endless, &water));
    assert_int_equal(strlen(water.name), sizeof water.name - 1);
}

static void test_a_wide_range_shapes_the_density(void **state) {
    (void)state;
    struct up_water water;
    struct up_water_density density;
    assert_true(up_water_by_name("baltic", &water));
    assert_true(up_water_density(&water, &density, NULL));
    assert_true(density.rectangular);
    water.u_temp_c = 30;
    assert_true(up_water_density(&water, &density, NULL));
    assert_false(density.rectangular);
    water.u_temp_c = 0;
    water.salinity_range = false;
    assert_true(up_water_density(&water, &density, NULL));
    assert_false(density.rectangular);
}

/* ---- each source ---- */

static void test_salinity_is_taken_as_told(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    given.salinity_psu = 35;
    assert_close(accepted(given, own(UP_WATER_SEA)).salinity_g_kg, 35.16504, 1e-12);
    assert_close(accepted(given, own(UP_WATER_SEA)).u_salinity_g_kg, 0, 0);
    given.u_salinity_g_kg = 0.2;
    assert_close(accepted(given, own(UP_WATER_SEA)).u_salinity_g_kg, 0.2, 1e-12);
}

static void test_a_name_lends_its_uncertainty(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    struct up_water sea, after;
    assert_true(up_water_by_name("sea", &sea));
    given.salinity_g_kg = 38;
    after = accepted(given, sea);
    assert_close(after.salinity_g_kg, 38, 1e-12);
    assert_close(after.u_salinity_g_kg, sea.u_salinity_g_kg, 1e-12);
    assert_false(after.salinity_range);
}

static void test_conductivity_carries_its_percent(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    given.conductivity_ms_cm = 42.914;
    given.conductivity_temp_c = 15 / 1.00024;
    struct up_water water = accepted(given, own(UP_WATER_SEA));
    assert_close(water.salinity_g_kg, 35.16504, 1e-5);
    /* At 35 a percent of conductivity is 1.1 percent of salinity. */
    assert_close(water.u_salinity_g_kg, 0.39, 0.01);
    given.u_conductivity_ms_cm = 0.0429;
    assert_close(accepted(given, own(UP_WATER_SEA)).u_salinity_g_kg, 0.039, 0.001);
    given.conductivity_ms_cm = 0.5;
    given.conductivity_temp_c = NOTHING;
    assert_close(accepted(given, own(UP_WATER_FRESH)).salinity_g_kg, 0.2695, 0.001);
}

static void test_conductivity_is_continuous_down_to_nothing(void **state) {
    (void)state;
    double before = 0;
    for (double ms_cm = 0.01; ms_cm < 6; ms_cm += 0.01) {
        double salinity = up_water_practical_salinity(ms_cm, 15, 0);
        assert_true(salinity > before && salinity - before < 0.01);
        before = salinity;
    }
    const double bad[] = {0, -1, 151, 1e308, (double)INFINITY, NOTHING};
    for (size_t i = 0; i < COUNT(bad); i++) {
        assert_true(isnan(up_water_practical_salinity(bad[i], 15, 0)));
        assert_true(i < 2 || isnan(up_water_practical_salinity(40, bad[i], 0)));
    }
}

static void test_hydrometer_comes_back_as_density(void **state) {
    (void)state;
    const enum up_water_model models[] = {UP_WATER_FRESH, UP_WATER_SEA, UP_WATER_POOL};
    const double densities[] = {998.9, 1013, 1002};
    for (size_t i = 0; i < COUNT(models); i++) {
        struct up_water_given given = up_water_nothing_given();
        struct up_water_density density;
        given.hydrometer_kg_m3 = densities[i];
        given.hydrometer_ref_c = 20;
        struct up_water water = accepted(given, own(models[i]));
        assert_true(up_water_density(&water, &density, NULL));
        assert_close(density.density_kg_m3.value, densities[i], 1e-9);
        assert_close(density.u_salinity_kg_m3, 0.5, 0.02);
    }
}

static void test_solids_and_pool_salt(void **state) {
    (void)state;
    struct up_water_given hard = up_water_nothing_given(), salt = up_water_nothing_given();
    hard.solids_g_kg = 0.8;
    salt.pool_salt_g_l = 5;
    assert_int_equal(up_water_model_given(&hard), UP_WATER_FRESH);
    assert_int_equal(up_water_model_given(&salt), UP_WATER_POOL);
    assert_close(accepted(hard, own(UP_WATER_FRESH)).u_salinity_g_kg, 0.08, 1e-12);
    struct up_water pool = accepted(salt, own(UP_WATER_POOL));
    /* 5 g in a litre that weighs 1.0018 kg */
    assert_close(pool.salinity_g_kg, 5 / 1.0018, 1e-3);
    assert_close(pool.u_salinity_g_kg, 0.5 / 1.0018, 1e-3);
}

/* ---- several sources ---- */

static void test_sources_that_agree_are_averaged(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    given.salinity_g_kg = 20;
    given.u_salinity_g_kg = 0.4;
    given.hydrometer_kg_m3 = 1013;
    given.hydrometer_ref_c = 20;
    struct up_water water = accepted(given, own(UP_WATER_SEA));
    given.salinity_g_kg = NOTHING;
    struct up_water alone = accepted(given, own(UP_WATER_SEA));
    double a = 1 / 0.16, b = 1 / (alone.u_salinity_g_kg * alone.u_salinity_g_kg);
    assert_close(water.salinity_g_kg, (20 * a + alone.salinity_g_kg * b) / (a + b), 1e-9);
    assert_close(water.u_salinity_g_kg, 1 / sqrt(a + b), 1e-9);
}

static void test_sources_that_contradict_each_other_are_refused(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    given.salinity_psu = 35;
    given.u_salinity_g_kg = 0.1;
    given.conductivity_ms_cm = 20;
    assert_refused(given, own(UP_WATER_SEA), "contradicts itself: salinity_psu gives 35.17 g/kg");
    given.salinity_psu = NOTHING;
    given.hydrometer_sg = 1.026;
    given.hydrometer_ref_c = 20;
    assert_refused(given, own(UP_WATER_SEA), "hydrometer_sg gives");
}

static void test_sources_agree_within_twice_the_u_of_their_difference(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    given.conductivity_ms_cm = 48;
    given.u_conductivity_ms_cm = 0.2;
    given.conductivity_temp_c = 20;
    struct up_water meter = accepted(given, own(UP_WATER_SEA));
    double u = hypot(meter.u_salinity_g_kg, 0.1);
    given.u_salinity_g_kg = 0.1;
    given.salinity_g_kg = meter.salinity_g_kg + 1.97 * u;
    accepted(given, own(UP_WATER_SEA));
    given.salinity_g_kg = meter.salinity_g_kg - 1.97 * u;
    accepted(given, own(UP_WATER_SEA));
    given.salinity_g_kg = meter.salinity_g_kg + 2.03 * u;
    assert_refused(given, own(UP_WATER_SEA), "contradicts itself");
    given.salinity_g_kg = meter.salinity_g_kg - 2.03 * u;
    assert_refused(given, own(UP_WATER_SEA), "contradicts itself");
}

static void test_a_number_that_contradicts_the_name_is_refused(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    struct up_water baltic, sea;
    assert_true(up_water_by_name("baltic-proper", &baltic));
    assert_true(up_water_by_name("sea", &sea));
    given.salinity_g_kg = 7.5;
    accepted(given, baltic);
    given.salinity_g_kg = 38;
    accepted(given, sea);
    assert_refused(given, baltic, "contradicts the name");
}

static void test_keys_that_do_not_go_together_are_refused(void **state) {
    (void)state;
    struct up_water_given t[12];
    for (size_t i = 0; i < COUNT(t); i++) {
        t[i] = up_water_nothing_given();
    }
    t[0].salinity_g_kg = t[0].salinity_psu = 3;
    t[1].hydrometer_kg_m3 = 1000;
    t[1].hydrometer_sg = 1;
    t[2].solids_g_kg = t[2].pool_salt_g_l = 1;
    t[3].solids_g_kg = 1;
    t[4].pool_salt_g_l = 1;
    t[5].conductivity_temp_c = 20;
    t[6].hydrometer_ref_c = 20;
    t[7].hydrometer_sg = 1.01;
    t[8].u_solids_g_kg = 0.1;
    t[9].conductivity_ms_cm = 3;
    t[10].u_pool_salt_g_l = 0.1;
    struct up_water unknown_temp = own(UP_WATER_SEA);
    unknown_temp.temp_c = NOTHING;
    assert_refused(t[0], own(UP_WATER_SEA), "say the same");
    assert_refused(t[1], own(UP_WATER_SEA), "say the same");
    assert_refused(t[2], own(UP_WATER_POOL), "both say what is dissolved");
    assert_refused(t[3], own(UP_WATER_SEA), "fresh water only");
    assert_refused(t[4], own(UP_WATER_FRESH), "only for a pool");
    assert_refused(t[5], own(UP_WATER_SEA), "need conductivity_ms_cm");
    assert_refused(t[6], own(UP_WATER_SEA), "need hydrometer_kg_m3");
    assert_refused(t[7], own(UP_WATER_SEA), "needs hydrometer_ref_c");
    assert_refused(t[8], own(UP_WATER_FRESH), "needs solids_g_kg");
    assert_refused(t[9], own(UP_WATER_POOL), "is for sea salt");
    assert_refused(t[9], unknown_temp, "needs conductivity_temp_c");
    assert_refused(t[10], own(UP_WATER_POOL), "needs pool_salt_g_l");
    assert_refused(t[11], own(UP_WATER_SEA), "what is in it?");
}

static void test_every_key_has_its_range(void **state) {
    (void)state;
    for (size_t i = 0; up_water_key_at(i) != NULL; i++) {
        const struct up_water_key *key = up_water_key_at(i);
        const double bad[] = {key->low - 1e-3, key->high + 1e-3, -1e308, (double)INFINITY};
        for (size_t j = 0; j < COUNT(bad); j++) {
            struct up_water_given given = up_water_nothing_given();
            *(double *)(void *)((char *)&given + key->offset) = bad[j];
            assert_refused(given, own(UP_WATER_SEA), key->name);
        }
    }
}

static void test_readings_no_such_water_gives_are_refused(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given(), meter = up_water_nothing_given();
    given.hydrometer_ref_c = 20;
    given.hydrometer_kg_m3 = 1036;
    assert_refused(given, own(UP_WATER_SEA), "the hydrometer shows 1036.00 kg/m3 at 20 C");
    given.hydrometer_kg_m3 = 996;
    assert_refused(given, own(UP_WATER_SEA), "outside 998.21 to");
    given.hydrometer_kg_m3 = 1003;
    assert_refused(given, own(UP_WATER_FRESH), "of fresh water there");
    given.hydrometer_kg_m3 = 997.5; /* within twice its uncertainty of the lightest */
    assert_close(accepted(given, own(UP_WATER_SEA)).salinity_g_kg, 0, 1e-9);
    meter.conductivity_ms_cm = 75;
    assert_refused(meter, own(UP_WATER_SEA), "outside 0 to 42");
    meter.conductivity_ms_cm = 8;
    assert_refused(meter, own(UP_WATER_FRESH), "outside 0 to 2");
}

static void test_temperatures_the_formulas_do_not_cover_are_refused(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given();
    struct up_water hot = own(UP_WATER_SEA);
    given.conductivity_ms_cm = 40;
    hot.temp_c = 36;
    assert_refused(given, hot, "from 0 to 35 C");
    hot.temp_c = 41;
    assert_refused(given, hot, "temperature in C is 41");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_name_is_a_water_with_its_range),
        cmocka_unit_test(test_an_unknown_name_is_kept_and_cut),
        cmocka_unit_test(test_a_wide_range_shapes_the_density),
        cmocka_unit_test(test_salinity_is_taken_as_told),
        cmocka_unit_test(test_a_name_lends_its_uncertainty),
        cmocka_unit_test(test_conductivity_carries_its_percent),
        cmocka_unit_test(test_conductivity_is_continuous_down_to_nothing),
        cmocka_unit_test(test_hydrometer_comes_back_as_density),
        cmocka_unit_test(test_solids_and_pool_salt),
        cmocka_unit_test(test_sources_that_agree_are_averaged),
        cmocka_unit_test(test_sources_that_contradict_each_other_are_refused),
        cmocka_unit_test(test_sources_agree_within_twice_the_u_of_their_difference),
        cmocka_unit_test(test_a_number_that_contradicts_the_name_is_refused),
        cmocka_unit_test(test_keys_that_do_not_go_together_are_refused),
        cmocka_unit_test(test_every_key_has_its_range),
        cmocka_unit_test(test_readings_no_such_water_gives_are_refused),
        cmocka_unit_test(test_temperatures_the_formulas_do_not_cover_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
