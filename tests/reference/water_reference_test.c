/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Published densities of water. Beside each table: the primary source, and where its digits were
 * read, which was seldom the primary source itself.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "upthrust/water.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define ZERO_C_K     273.15

/* ---- fresh water ---- */

/*
 * Tanaka, Girard, Davis, Peuto and Bignell, Metrologia 38 (2001) 301-309, table of the density of
 * air-free water, kg/m3, at 0, 1, ... 40 C and 101325 Pa. Read in the tests of two public programs
 * that list the table, naming the paper, and agree; 0, 25 and 40 C in a third as well.
 */
static const double CIPM_TABLE_KG_M3[] = {
    999.8428, 999.9017, 999.9429, 999.9672, 999.9749, 999.9668, 999.9431, 999.9045, 999.8513,
    999.7839, 999.7027, 999.6081, 999.5005, 999.3801, 999.2474, 999.1026, 998.9459, 998.7778,
    998.5984, 998.4079, 998.2067, 997.9950, 997.7730, 997.5408, 997.2988, 997.0470, 996.7857,
    996.5151, 996.2353, 995.9465, 995.6488, 995.3424, 995.0275, 994.7041, 994.3724, 994.0326,
    993.6847, 993.3290, 992.9654, 992.5941, 992.2152};

static void test_cipm_table_at_41_temperatures(void **state) {
    (void)state;
    assert_int_equal(COUNT(CIPM_TABLE_KG_M3), 41);
    for (size_t temp_c = 0; temp_c < COUNT(CIPM_TABLE_KG_M3); temp_c++) {
        assert_prints_as(up_water_fresh_kg_m3((double)temp_c, 0), CIPM_TABLE_KG_M3[temp_c], 1e-4);
    }
}

/* The paper's maximum: 999.974950 kg/m3 at 3.983035 C, both constants of the formula. */
static void test_cipm_maximum(void **state) {
    (void)state;
    assert_prints_as(up_water_fresh_kg_m3(3.983035, 0), 999.974950, 1e-6);
    assert_true(up_water_fresh_kg_m3(3.98, 0) < 999.974950);
    assert_true(up_water_fresh_kg_m3(3.99, 0) < 999.974950);
}

/* Not published: the formula computed once with 30 digits (mpmath 1.2.1), between the degrees. */
static const struct {
    double temp_c, rho_kg_m3;
} CIPM_BETWEEN[] = {{3.983035, 999.97495},    {4.5, 999.97282870861},   {12.3, 999.46571003213},
                    {17.25, 998.73397019713}, {19.5, 998.30867214884},  {20.5, 998.10218520826},
                    {21.7, 997.84065993192},  {22.5, 997.65815389716},  {23, 997.54083033233},
                    {24.9, 997.07262918978},  {26.85, 996.55629061852}, {33.3, 994.60545498826},
                    {37.0, 993.32895476628},  {39.99, 992.21903509048}};

static void test_cipm_formula_between_the_degrees(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(CIPM_BETWEEN); i++) {
        assert_close(up_water_fresh_kg_m3(CIPM_BETWEEN[i].temp_c, 0), CIPM_BETWEEN[i].rho_kg_m3,
                     6e-9);
    }
}

/*
 * Isothermal compressibility of water, 1/Pa, from 101325 to 201325 Pa. Not published as such:
 * computed from IAPWS R6-95 (python3-iapws 1.5.3) and from TEOS-10 (gsw 3.6.16, rho_t_exact). The
 * formula's constants are from memory, so this is what holds them: both agree within 0.3 %.
 */
static const struct {
    double temp_c, teos_10, iapws_95;
} COMPRESSIBILITY[] = {
    {0, 5.08776e-10, 5.08789e-10},  {5, 4.91623e-10, 4.91630e-10},  {10, 4.78023e-10, 4.78031e-10},
    {15, 4.67273e-10, 4.67278e-10}, {20, 4.58860e-10, 4.58864e-10}, {25, 4.52409e-10, 4.52414e-10},
    {30, 4.47640e-10, 4.47645e-10}, {35, 4.44336e-10, 4.44339e-10}, {40, 4.42323e-10, 4.42327e-10}};

static void test_compressibility(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(COMPRESSIBILITY); i++) {
        double temp_c = COMPRESSIBILITY[i].temp_c;
        double fresh =
            (up_water_fresh_kg_m3(temp_c, 1e5) / up_water_fresh_kg_m3(temp_c, 0) - 1) / 1e5;
        double sea =
            (up_water_sea_kg_m3(0, temp_c, 1e5) / up_water_sea_kg_m3(0, temp_c, 0) - 1) / 1e5;
        assert_close(fresh, COMPRESSIBILITY[i].teos_10, 0.003 * fresh);
        assert_close(fresh, COMPRESSIBILITY[i].iapws_95, 0.003 * fresh);
        assert_prints_as(sea, COMPRESSIBILITY[i].teos_10, 1e-15);
    }
}

/* By hand from the constants k0, k1 and k2 of water_fresh.c. */
static void test_compressibility_is_that_of_its_constants(void **state) {
    (void)state;
    const double temp_c[] = {0, 20, 40}, per_pa[] = {5.074e-10, 4.5884e-10, 4.4356e-10};
    for (size_t i = 0; i < COUNT(per_pa); i++) {
        double rise = up_water_fresh_kg_m3(temp_c[i], 1e6) / up_water_fresh_kg_m3(temp_c[i], 0) - 1;
        assert_close(rise / 1e6, per_pa[i], 1e-15);
    }
}

/* ---- the Gibbs function ---- */

/*
 * IAPWS SR7-09 (2009), table 6: temperature K, pressure MPa, density kg/m3, volume (the pressure
 * derivative) m3/kg and its pressure derivative m3/kg/Pa. Read in the tests of two public programs
 * that name the table and agree (jjgomera/iapws, mvdh7/teos10).
 */
static const struct {
    double temp_k, pressure_mpa, rho_kg_m3, last_place, volume_m3_kg, volume_last_place,
        volume_slope_m3_kg_pa;
} SR7_09[] = {{273.15, 0.101325, 999.843071, 1e-6, 0.100015695e-2, 1e-11, -0.508915308e-12},
              {273.15, 100, 1045.27793, 1e-5, 0.956683354e-3, 1e-12, -0.371527164e-12},
              {313.15, 0.101325, 992.216354, 1e-6, 0.100784471e-2, 1e-11, -0.445841077e-12}};

static double gauge_pa(double pressure_mpa) {
    return (pressure_mpa - 0.101325) * 1e6;
}

static void test_sr7_09_table_6(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(SR7_09); i++) {
        double temp_c = SR7_09[i].temp_k - ZERO_C_K, pa = gauge_pa(SR7_09[i].pressure_mpa);
        double rho = up_water_sea_kg_m3(0, temp_c, pa);
        assert_prints_as(rho, SR7_09[i].rho_kg_m3, SR7_09[i].last_place);
        assert_prints_as(1 / rho, SR7_09[i].volume_m3_kg, SR7_09[i].volume_last_place);
        double slope = (1 / up_water_sea_kg_m3(0, temp_c, pa + 5e4) -
                        1 / up_water_sea_kg_m3(0, temp_c, pa - 5e4)) /
                       1e5;
        assert_close(slope, SR7_09[i].volume_slope_m3_kg_pa, 1e-8 * 5e-10);
    }
}

/* IAPWS SR7-09, table 6: volume per kelvin, m3/kg/K, at 273.15 K; read as above. */
static void test_sr7_09_expansion(void **state) {
    (void)state;
    const double pressure_mpa[] = {0.101325, 100}, slope[] = {-0.677459513e-7, 0.199088060e-6};
    for (size_t i = 0; i < COUNT(slope); i++) {
        double pa = gauge_pa(pressure_mpa[i]);
        double warm = 1 / up_water_sea_kg_m3(0, 0.01, pa),
               cold = 1 / up_water_sea_kg_m3(0, -0.01, pa);
        assert_close((warm - cold) / 0.02, slope[i], 1e-13);
    }
}

/*
 * IAPWS R13-08 (2008), tables 8a and 8c (8b, at 353 K, lies outside our range): saline part of the
 * volume, m3/kg; its salinity derivative, m3/kg per kg/kg; density, kg/m3. S = 0.03516504 kg/kg,
 * 273.15 K. Read in the tests of the same two programs, which agree. (The second prints 8a's
 * salinity derivative of the salt part once with a wrong power of ten; its total is right.)
 */
static const struct {
    double pressure_mpa, volume_m3_kg, per_salinity, rho_kg_m3, pure_kg_m3;
} R13_08[] = {{0.101325, -0.274957224e-4, -0.759615412e-3, 1028.10720, 999.843086},
              {100, -0.229123842e-4, -0.640757619e-3, 1070.92645, 1045.27796}};

static void test_r13_08_saline_part(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(R13_08); i++) {
        double pa = gauge_pa(R13_08[i].pressure_mpa);
        double pure = 1 / up_water_sea_kg_m3(0, 0, pa);
        double sea = 1 / up_water_sea_kg_m3(35.16504, 0, pa);
        double more = 1 / up_water_sea_kg_m3(35.16604, 0, pa);
        double less = 1 / up_water_sea_kg_m3(35.16404, 0, pa);
        assert_prints_as(sea - pure, R13_08[i].volume_m3_kg, 1e-13);
        assert_close((more - less) / 2e-6, R13_08[i].per_salinity, 1e-12);
    }
}

/* The release's densities stand on IAPWS R6-95 for the water, we on SR7-09: that the table prints
   for the pure water too, and the difference there is the one to expect in the seawater. */
static void test_r13_08_density(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(R13_08); i++) {
        double pa = gauge_pa(R13_08[i].pressure_mpa);
        double other_water = R13_08[i].pure_kg_m3 - up_water_sea_kg_m3(0, 0, pa);
        double rho = up_water_sea_kg_m3(35.16504, 0, pa);
        assert_close(other_water, 0, 3.5e-5);
        assert_close(rho, R13_08[i].rho_kg_m3, 3.5e-5);
        assert_close(rho + other_water, R13_08[i].rho_kg_m3, 1.1e-5);
    }
}

/*
 * TEOS-10 Gibbs Seawater toolbox, documented values of gsw_rho_t_exact: Absolute Salinity g/kg,
 * in-situ temperature C, sea pressure dbar, density kg/m3. Read in the official repository
 * TEOS-10/python-gsw, documentation of rho_t_exact.
 */
static const struct {
    double salinity_g_kg, temp_c, pressure_dbar, rho_kg_m3;
} TEOS_10[] = {{34.7118, 28.7856, 10, 1021.84017319},  {34.8915, 28.4329, 50, 1022.26268993},
               {35.0256, 22.8103, 125, 1024.42771594}, {34.8472, 10.2600, 250, 1027.79020181},
               {34.7366, 6.8863, 600, 1029.83771473},  {34.7324, 4.4036, 1000, 1032.00240412}};

static void test_teos_10_documented_densities(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(TEOS_10); i++) {
        double rho = up_water_sea_kg_m3(TEOS_10[i].salinity_g_kg, TEOS_10[i].temp_c,
                                        TEOS_10[i].pressure_dbar * 1e4);
        assert_prints_as(rho, TEOS_10[i].rho_kg_m3, 1e-8);
    }
}

/*
 * Not published: computed once with gsw 3.6.16, rho_t_exact, where it is warm and deep, so that the
 * coefficients count that 60 m of water do not reach. g/kg, C, Pa, kg/m3.
 */
static const struct {
    double salinity_g_kg, temp_c, pressure_pa, rho_kg_m3;
} GSW[] = {{42, 40, 1e+08, 1061.039595361},  {42, 40, 5e+07, 1042.9328294149},
           {0, 40, 1e+08, 1031.9524475192},  {0, 40, 5e+07, 1013.0539127878},
           {35, -2, 1e+08, 1071.3980952984}, {20, 30, 8e+07, 1042.6340953735},
           {5, 20, 2e+07, 1010.9038961936},  {42, 25, 9e+07, 1063.8373868475}};

static void test_gsw_where_it_is_warm_and_deep(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(GSW); i++) {
        double rho = up_water_sea_kg_m3(GSW[i].salinity_g_kg, GSW[i].temp_c, GSW[i].pressure_pa);
        assert_close(rho, GSW[i].rho_kg_m3, 2e-9);
    }
}

/* Two formulations, by different people from different measurements: CIPM 2001 and IAPWS SR7-09
   differ by less than their stated uncertainties up to 30 C, by 1.15e-3 kg/m3 at 40 C. */
static void test_fresh_and_sea_meet_at_no_salt(void **state) {
    (void)state;
    for (int temp_c = 0; temp_c <= 40; temp_c++) {
        for (int depth = 0; depth <= 60; depth += 20) {
            double pa = 9.8e3 * depth;
            assert_close(up_water_fresh_kg_m3(temp_c, pa), up_water_sea_kg_m3(0, temp_c, pa), 2e-3);
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cipm_table_at_41_temperatures),
        cmocka_unit_test(test_cipm_maximum),
        cmocka_unit_test(test_cipm_formula_between_the_degrees),
        cmocka_unit_test(test_compressibility),
        cmocka_unit_test(test_compressibility_is_that_of_its_constants),
        cmocka_unit_test(test_sr7_09_table_6),
        cmocka_unit_test(test_sr7_09_expansion),
        cmocka_unit_test(test_r13_08_saline_part),
        cmocka_unit_test(test_r13_08_density),
        cmocka_unit_test(test_teos_10_documented_densities),
        cmocka_unit_test(test_gsw_where_it_is_warm_and_deep),
        cmocka_unit_test(test_fresh_and_sea_meet_at_no_salt),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
