/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Published outlier tests. Several handbook figures are truncated, not rounded (2.4687 for
 * 2.46876), so they are asked for within one unit of their last digit.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/outlier.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

/*
 * Critical values. One-sided 5 % is the two-sided test at 10 %. Computed with scipy 1.10.1 from the
 * formula in usnistgov/dataplot, help of GRUBBS TEST; the one-sided ones to n = 30 were also read
 * as a table without source in a public script, and agree.
 */
static void test_grubbs_critical_values(void **state) {
    (void)state;
    static const struct {
        size_t count;
        double one_5, one_1, two_5, two_1;
    } row[] = {
        {3, 1.15312, 1.15464, 1.15430, 1.15468},  {4, 1.46250, 1.49250, 1.48125, 1.49625},
        {5, 1.67139, 1.74886, 1.71504, 1.76368},  {6, 1.82212, 1.94425, 1.88715, 1.97282},
        {7, 1.93813, 2.09730, 2.01997, 2.13911},  {8, 2.03165, 2.22083, 2.12665, 2.27437},
        {9, 2.10956, 2.32315, 2.21500, 2.38681},  {10, 2.17607, 2.40972, 2.28995, 2.48208},
        {12, 2.28495, 2.54942, 2.41156, 2.63573}, {15, 2.40904, 2.70486, 2.54831, 2.80611},
        {20, 2.55658, 2.88382, 2.70825, 3.00080}, {25, 2.66287, 3.00864, 2.82168, 3.13533},
        {30, 2.74513, 3.10290, 2.90847, 3.23608}, {40, 2.86754, 3.23948, 3.03610, 3.38068},
        {50, 2.95697, 3.33662, 3.12825, 3.48246}, {100, 3.20952, 3.60020, 3.38408, 3.75400},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_prints_as(up_grubbs_critical(row[i].count, 0.10), row[i].one_5, 1e-5);
        assert_prints_as(up_grubbs_critical(row[i].count, 0.02), row[i].one_1, 1e-5);
        assert_prints_as(up_grubbs_critical(row[i].count, 0.05), row[i].two_5, 1e-5);
        assert_prints_as(up_grubbs_critical(row[i].count, 0.01), row[i].two_1, 1e-5);
    }
}

/*
 * NIST/SEMATECH e-Handbook 1.3.5.17.1, uranium by mass spectrometry: G 2.4687, critical 2.032
 * one-sided and 2.126 two-sided, at 5 %. Data and numbers read in several public test files that
 * name the section.
 */
static void test_handbook_uranium(void **state) {
    (void)state;
    const double value[] = {199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57};
    struct up_outlier test = up_grubbs(value, COUNT(value), 0.05);
    assert_int_equal(test.index, 7);
    assert_close(test.statistic, 2.4687, 1e-4);
    assert_close(test.critical, 2.126, 1e-3);
    assert_true(test.outlier);
    assert_close(up_grubbs_critical(COUNT(value), 0.10), 2.032, 1e-3);
}

/*
 * VANGEL31, n = 38: output of usnistgov/dataplot (NIST's own program), commit 19a6caae,
 * lib/help/dphe3f.tex, GRUBBS TEST; data there in lib/data/VANGEL31.DAT. Two of its four limits
 * are 0.0011 below the formula of its own help, computed with scipy 1.10.1: 2.84633, 3.01411,
 * 3.16881, 3.35607. That formula is asked for to five decimals, its output to 0.0012.
 */
static void test_dataplot_vangel(void **state) {
    (void)state;
    static const double value[] = {147, 154, 159, 159, 166, 169, 172, 172, 173, 173, 174, 174, 174,
                                   175, 178, 180, 181, 181, 184, 187, 188, 188, 189, 190, 190, 192,
                                   197, 200, 200, 200, 202, 206, 208, 209, 209, 211, 218, 231};
    static const struct {
        double significance, printed, computed;
    } row[] = {{0.10, 2.846, 2.84633},
               {0.05, 3.013, 3.01411},
               {0.025, 3.169, 3.16881},
               {0.01, 3.355, 3.35607}};
    for (size_t i = 0; i < COUNT(row); i++) {
        struct up_outlier test = up_grubbs(value, COUNT(value), row[i].significance);
        assert_int_equal(test.index, 37);
        assert_close(test.statistic, 2.4312, 1e-4);
        assert_close(test.critical, row[i].printed, 1.2e-3);
        assert_prints_as(test.critical, row[i].computed, 1e-5);
        assert_false(test.outlier);
    }
}

/*
 * Rosner 1983, n = 54: data read in usnistgov/dataplot, as above; R, lambda at 5 % and the number
 * of outliers as in the e-Handbook 1.3.5.17.3, from memory; computed again with scipy 1.10.1 they
 * are the same but truncated. The tests with R below lambda before R_3 are overruled by it: Grubbs'
 * test, which is R_1, sees nothing.
 */
static void test_rosner(void **state) {
    (void)state;
    static const double value[] = {
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56,
        1.58,  1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10,
        2.14,  2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92,
        2.92,  2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01};
    static const double r[] = {3.118, 2.942, 3.179, 2.810, 2.815,
                               2.848, 2.279, 2.310, 2.101, 2.067};
    static const double lambda[] = {3.158, 3.151, 3.143, 3.136, 3.128,
                                    3.120, 3.111, 3.103, 3.094, 3.085};
    double scratch[COUNT(value)];
    struct up_outlier test[COUNT(r)];
    assert_int_equal(up_rosner(value, COUNT(value), COUNT(r), 0.05, scratch, test), 3);
    for (size_t i = 0; i < COUNT(r); i++) {
        assert_close(test[i].statistic, r[i], 1e-3);
        assert_close(test[i].critical, lambda[i], 1e-3);
        assert_int_equal(test[i].outlier, i < 3);
    }
    assert_true(test[0].index == 53 && test[1].index == 52 && test[2].index == 51);
    assert_false(up_grubbs(value, COUNT(value), 0.05).outlier);
}

/*
 * Venus' semi-diameters, data read in usnistgov/dataplot, lib/data/TIETMOO1.DAT; Grubbs' statistic
 * and limit at 5 % computed with scipy 1.10.1.
 */
static void test_venus(void **state) {
    (void)state;
    const double value[] = {-1.40, -0.44, -0.30, -0.24, -0.22, -0.13, -0.05, 0.06,
                            0.10,  0.18,  0.20,  0.39,  0.48,  0.63,  1.01};
    struct up_outlier test = up_grubbs(value, COUNT(value), 0.05);
    assert_int_equal(test.index, 0);
    assert_prints_as(test.statistic, 2.573737, 1e-6);
    assert_prints_as(test.critical, 2.548308, 1e-6);
    assert_true(test.outlier);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_grubbs_critical_values),
        cmocka_unit_test(test_handbook_uranium),
        cmocka_unit_test(test_dataplot_vangel),
        cmocka_unit_test(test_rosner),
        cmocka_unit_test(test_venus),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
