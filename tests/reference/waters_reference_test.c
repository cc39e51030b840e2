/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Salinity by conductivity, hydrometers and pool salt against published numbers. */
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

#define T68_PER_T90 1.00024

/*
 * PSS-78: conductivity over that of S = 35 at 15 C and one atmosphere, C on IPTS-68, dbar,
 * salinity. The first is the definition. UNESCO Technical Papers in Marine Science 44 (1983), page
 * 9, the last one page 11: read in the tests of several public programs that cite them.
 */
static const struct {
    double ratio, t68_c, p_dbar, salinity, within;
} PUBLISHED[] = {{1, 15, 0, 35, 1e-6},
                 {1.2, 20, 2000, 37.245628, 1e-6},
                 {0.65, 5, 1500, 27.995347, 1e-6},
                 {1.888091, 40, 10000, 40, 1e-5}};

static void test_practical_salinity(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(PUBLISHED); i++) {
        double salinity = up_water_practical_salinity(PUBLISHED[i].ratio * 42.914,
                                                      PUBLISHED[i].t68_c / T68_PER_T90,
                                                      PUBLISHED[i].p_dbar * 1e4);
        assert_close(salinity, PUBLISHED[i].salinity, PUBLISHED[i].within);
    }
}

/*
 * Water with sodium chloride at 20 C, mass per cent, g/cm3: CRC Handbook of Chemistry and Physics,
 * "Concentrative properties of aqueous solutions"; 1 % read in a public table that repeats it, 4 %
 * in another handbook (Poradnik fizykochemiczny, WNT 1974); 2 and 3 % from memory.
 */
static void test_sodium_chloride(void **state) {
    (void)state;
    static const struct {
        double percent, rho_g_cm3;
    } table[] = {{1, 1.0053}, {2, 1.0125}, {3, 1.0196}, {4, 1.0268}};
    for (size_t i = 0; i < COUNT(table); i++) {
        assert_close(up_water_pool_kg_m3(table[i].percent * 10, 20, 0), table[i].rho_g_cm3 * 1e3,
                     0.08);
    }
}

/*
 * A worked example from published numbers. Seawater of S = 35 at 25 C (IPTS-68) weighs 1023.34306
 * kg/m3 (UNESCO 44, page 19). A hydrometer whose scale is true at 15 C reads there, its glass
 * having swollen by 25e-6 per kelvin (ISO 1768), 1023.34306 (1 + 25e-6 * 9.994) = 1023.59874. A
 * scale of specific gravity 60/60 F reads 1023.34306 (1 + 25e-6 * 9.4384) / 999.0163 = 1.0245926,
 * with the CIPM's density of water at 15.556 C.
 */
static void test_a_hydrometer_in_seawater(void **state) {
    (void)state;
    struct up_water_given given = up_water_nothing_given(), gravity = up_water_nothing_given();
    struct up_water water = {.name = "jar",
                             .model = UP_WATER_SEA,
                             .temp_c = 25 / T68_PER_T90,
                             .salinity_g_kg = (double)NAN};
    struct up_water again = water;
    given.hydrometer_kg_m3 = 1023.59874;
    given.hydrometer_ref_c = 15;
    assert_close(up_water_hydrometer_kg_m3(1023.59874, 15, water.temp_c), 1023.34306, 1e-4);
    assert_true(up_water_from_given(&given, &water, NULL));
    /* The older equation of state and the newer lie 0.006 kg/m3 apart. */
    assert_close(water.salinity_g_kg, 35.16504, 0.01);
    gravity.hydrometer_sg = 1.0245926;
    gravity.hydrometer_ref_c = (60 - 32) / 1.8;
    assert_true(up_water_from_given(&gravity, &again, NULL));
    assert_close(again.salinity_g_kg, 35.16504, 0.01);
    assert_close(again.u_salinity_g_kg, 0.5 / 0.75, 0.02);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_practical_salinity),
        cmocka_unit_test(test_sodium_chloride),
        cmocka_unit_test(test_a_hydrometer_in_seawater),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
