/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Published and independently computed densities of moist air. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "upthrust/water.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define MMHG_PA      133.322387415 /* the conventional millimetre of mercury, from memory */

static double rho_of(double temp_c, double pressure_pa, double humidity) {
    struct up_air air = {up_known(temp_c, 0), up_known(pressure_pa, 0), up_known(humidity, 0)};
    struct up_quantity rho;
    assert_true(up_air_density(&air, &rho, NULL));
    return rho.value;
}

/*
 * CIPM-2007 (Picard, Davis, Glaeser and Fujii, Metrologia 45 (2008) 149-155): C, Pa, fraction,
 * kg/m3. The paper, of which only the abstract was at hand, prints no worked density as far as we
 * know. So these are computed, with 30 digits (mpmath 1.2.1), from the formula with the constants
 * read in two programs that name it and agree (MSLNZ/Mass-Circular-Weighing, Crparedes/masscor).
 * They hold the program to the formula, not the formula to nature.
 */
static const struct {
    double temp_c, pressure_pa, humidity, rho_kg_m3;
} COMPUTED[] = {
    {20, 101325, 0.5, 1.1993139},  {20, 101325, 0.0, 1.20455734}, {15, 101325, 0.5, 1.22163122},
    {25, 101325, 0.5, 1.17731537}, {23, 101325, 0.5, 1.18608413}, {10, 101325, 0.3, 1.24551937},
    {30, 101325, 0.8, 1.15001171}, {20, 90000, 0.5, 1.06463838},  {20, 110000, 0.5, 1.30248312},
    {20, 100000, 0.5, 1.18355661}, {27, 60000, 0.2, 0.693390887}, {22, 98500, 0.45, 1.15770421}};

static void test_cipm_2007_computed_apart(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(COMPUTED); i++) {
        double rho = rho_of(COMPUTED[i].temp_c, COMPUTED[i].pressure_pa, COMPUTED[i].humidity);
        assert_close(rho, COMPUTED[i].rho_kg_m3, 5.1e-9);
    }
}

/*
 * Published densities: C, mmHg, fraction, kg/m3, and how far off ours may be. Read in the tests of
 * Crparedes/masscor, which name the originals. The originals use older formulas: NISTIR 6969 that
 * of Jones 1978, Gupta CIPM-1981/91; hence the allowance, which is 6e-5 of the density.
 */
static const struct {
    const char *source;
    double temp_c, pressure_mmhg, humidity, rho_kg_m3;
} PUBLISHED[] = {{"NISTIR 6969, SOP 2, appendix B, example 1", 22.3, 748.1, 0.37, 1.17194},
                 {"NISTIR 6969, SOP 2, appendix B, example 3", 23.4, 612.3, 0.23, 0.95632},
                 {"S. V. Gupta, Mass Metrology, p. 205", 10, 730, 0.40, 1.19569},
                 {"S. V. Gupta, Mass Metrology, p. 205", 40, 760, 0.40, 1.11497}};

static void test_published_examples(void **state) {
    (void)state;
    for (size_t i = 0; i < COUNT(PUBLISHED); i++) {
        double rho = rho_of(PUBLISHED[i].temp_c, PUBLISHED[i].pressure_mmhg * MMHG_PA,
                            PUBLISHED[i].humidity);
        assert_close(rho, PUBLISHED[i].rho_kg_m3, 6e-5 * rho);
    }
}

/* The same with inputs so rough that the short form is taken. */
static double rough_rho_of(double temp_c, double pressure_pa, double humidity) {
    struct up_air air = {up_known(temp_c, 2), up_known(pressure_pa, 0), up_known(humidity, 0)};
    struct up_quantity rho;
    assert_true(up_air_density(&air, &rho, NULL));
    return rho.value;
}

/* The density that the tests of Crparedes/masscor print for 25 C, 760 mmHg and 40 % by the
   approximate formula, 1.1787 kg/m3, and their NISTIR 6969 example within the form's range. */
static void test_short_form_published_examples(void **state) {
    (void)state;
    assert_close(rough_rho_of(25, 760 * MMHG_PA, 0.40), 1.1787, 1.2e-4);
    assert_close(rough_rho_of(22.3, 748.1 * MMHG_PA, 0.37), 1.17194, 2e-4 * 1.172);
}

/*
 * OIML R 111-1 (2004), equation E.3-1 (read in a public program): an approximation to CIPM-1981/91,
 * said to hold within 2e-4 for 900 to 1100 hPa, 10 to 30 C, below 80 % (from memory). CIPM-2007
 * gives 0.7e-4 more than CIPM-1981/91, for more argon (from memory). The farthest corner, 10 C,
 * 1100 hPa and 80 %, is 2.9e-4 away.
 */
static void test_oiml_short_formula(void **state) {
    (void)state;
    for (double temp_c = 10; temp_c <= 30; temp_c += 2.5) {
        for (double hpa = 900; hpa <= 1100; hpa += 50) {
            for (double percent = 0; percent < 80; percent += 10) {
                double oiml =
                    (0.34848 * hpa - 0.009 * percent * exp(0.061 * temp_c)) / (273.15 + temp_c);
                double rho = rho_of(temp_c, hpa * 100, percent / 100);
                assert_close(rho, oiml, 3e-4 * rho);
                assert_close(rough_rho_of(temp_c, hpa * 100, percent / 100), oiml, 1e-12);
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cipm_2007_computed_apart),
        cmocka_unit_test(test_published_examples),
        cmocka_unit_test(test_short_form_published_examples),
        cmocka_unit_test(test_oiml_short_formula),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
