/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Published statistics: the certified values of NIST's Statistical Reference Datasets (StRD) and
 * the worked examples of the GUM (JCGM 100:2008). Beside each value: the primary source and where
 * its digits were read, which was seldom the primary source itself. All were computed again with
 * 60 digits (mpmath 1.2.1) and agree in every certified digit.
 *
 * Agreement is asked for in significant digits, LRE = -log10(|computed - certified| / |certified|)
 * as StRD users give it; the number asked for stands in each test.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/statistics.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define ENDLESS      ((double)INFINITY)

/* ---- StRD, univariate ---- */

/*
 * Certified for NumAcc2, 3, 4: mean = first value, sd 0.1, lag-1 autocorrelation -0.999, n 1001.
 * Read with the data in usnistgov/dataplot (NIST's own repository), commit 19a6caae,
 * lib/data/NUMACC*.DAT, whose headers carry the certified block. The data follow a rule, written
 * out here: b.2 first, then b.1 and b.3 in turn. Checked equal to those files, value by value.
 */
static struct up_summary numacc(double first, double low, double high) {
    double value[1001];
    value[0] = first;
    for (size_t i = 1; i < COUNT(value); i++) {
        value[i] = i % 2 == 1 ? low : high;
    }
    return up_summarise(value, COUNT(value));
}

/* Certified: mean 10000002, sd 1, lag-1 -0.5. Read as above, NUMACC1.DAT. */
static void test_numacc1(void **state) {
    (void)state;
    const double value[] = {10000001, 10000003, 10000002};
    struct up_summary summary = up_summarise(value, 3);
    assert_digits(summary.mean, 10000002, 15);
    assert_digits(summary.sd, 1, 15);
    assert_digits(summary.lag1, -0.5, 15);
}

static void test_numacc2(void **state) {
    (void)state;
    struct up_summary summary = numacc(1.2, 1.1, 1.3);
    assert_digits(summary.mean, 1.2, 13);
    assert_digits(summary.sd, 0.1, 13);
    assert_digits(summary.lag1, -0.999, 12);
}

/* 1000000.1 is no double: the nearest one moves sd in the 10th digit. */
static void test_numacc3(void **state) {
    (void)state;
    struct up_summary summary = numacc(1000000.2, 1000000.1, 1000000.3);
    assert_digits(summary.mean, 1000000.2, 13);
    assert_digits(summary.sd, 0.1, 9);
    assert_digits(summary.lag1, -0.999, 12);
}

/* The same in the 9th. */
static void test_numacc4(void **state) {
    (void)state;
    struct up_summary summary = numacc(10000000.2, 10000000.1, 10000000.3);
    assert_digits(summary.mean, 10000000.2, 13);
    assert_digits(summary.sd, 0.1, 8);
    assert_digits(summary.lag1, -0.999, 12);
}

/*
 * Mavro: data read in usnistgov/dataplot, commit 19a6caae, lib/data/MAVRO.DAT; certified values
 * read in the GNU Scientific Library's statistics/test_nist.c (ampl/gsl, commit cf180cd7), which
 * quotes StRD.
 */
static const double MAVRO[] = {
    2.00180, 2.00170, 2.00180, 2.00190, 2.00180, 2.00170, 2.00150, 2.00140, 2.00150, 2.00150,
    2.00170, 2.00180, 2.00180, 2.00190, 2.00190, 2.00210, 2.00200, 2.00160, 2.00140, 2.00130,
    2.00130, 2.00150, 2.00150, 2.00160, 2.00150, 2.00140, 2.00130, 2.00140, 2.00150, 2.00140,
    2.00150, 2.00160, 2.00150, 2.00160, 2.00190, 2.00200, 2.00200, 2.00210, 2.00220, 2.00230,
    2.00240, 2.00250, 2.00270, 2.00260, 2.00260, 2.00260, 2.00270, 2.00260, 2.00250, 2.00240};

static void test_mavro(void **state) {
    (void)state;
    struct up_summary summary = up_summarise(MAVRO, COUNT(MAVRO));
    assert_int_equal(summary.count, 50);
    assert_digits(summary.mean, 2.00185600000000, 13);
    assert_digits(summary.sd, 0.000429123454003053, 11);
    assert_digits(summary.lag1, 0.937989183438248, 12);
}

/* ---- StRD, least squares ---- */

struct point {
    double x, y;
};

static void split(const struct point *point, size_t count, double *x, double *y) {
    for (size_t i = 0; i < count; i++) {
        x[i] = point[i].x;
        y[i] = point[i].y;
    }
}

/*
 * Norris: data and certified estimates, their standard deviations and the residual sum of squares
 * read in the GNU Scientific Library's fit/test.c (ampl/gsl, commit cf180cd7), which quotes StRD.
 * Certified residual standard deviation from memory; the 60-digit computation gives the same
 * digits. No covariance is certified: that one is the 60-digit computation.
 */
static const struct point NORRIS[] = {
    {0.2, 0.1},     {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2},    {226.5, 228.1},
    {666.3, 668.5}, {996.3, 998.5}, {448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3},
    {0.6, 0.1},     {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3}, {447.5, 448.9}, {11.6, 10.8},
    {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3},
    {0.3, 0.6},     {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9},
    {11.1, 10.2},   {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2}, {0.5, 0.2}};

static void test_norris(void **state) {
    (void)state;
    double x[COUNT(NORRIS)], y[COUNT(NORRIS)];
    struct up_fit fit;
    split(NORRIS, COUNT(NORRIS), x, y);
    assert_true(up_fit_polynomial(x, y, COUNT(NORRIS), 2, &fit));
    assert_true(fit.count == 36 && fit.dof == 34);
    assert_digits(fit.c[0], -0.262323073774029, 10);
    assert_digits(fit.c[1], 1.00211681802045, 12);
    assert_digits(sqrt(fit.covariance[0][0]), 0.232818234301152, 12);
    assert_digits(sqrt(fit.covariance[1][1]), 0.429796848199937E-03, 12);
    assert_digits(fit.residual_sum_squares, 26.6173985294224, 12);
    assert_digits(fit.residual_sd, 0.884796396144373, 12);
    assert_digits(fit.covariance[0][1], -7.74327536315643622e-05, 11);
    assert_true(fit.covariance[0][1] == fit.covariance[1][0]);
}

/*
 * The same data, weighted by 1 / (0.25 + (0.003 x)^2): weighted_fit.py, beside this file, solves
 * the normal equations in exact fractions, and numpy agrees.
 */
static void test_norris_weighted(void **state) {
    (void)state;
    double x[COUNT(NORRIS)], y[COUNT(NORRIS)], weight[COUNT(NORRIS)];
    struct up_fit fit;
    split(NORRIS, COUNT(NORRIS), x, y);
    for (size_t i = 0; i < COUNT(NORRIS); i++) {
        weight[i] = 1 / (0.25 + pow(0.003 * x[i], 2));
    }
    assert_true(up_fit_powers(x, y, weight, COUNT(NORRIS), 0, 2, &fit));
    assert_digits(fit.c[0], -0.39407616173406085, 10);
    assert_digits(fit.c[1], 1.0025155502837364, 12);
    assert_digits(fit.covariance[0][0], 0.011272910036378033, 11);
    assert_digits(fit.covariance[0][1], -2.5499689597823649e-05, 10);
    assert_digits(fit.covariance[1][1], 2.4959746501801965e-07, 11);
    assert_digits(fit.residual_sum_squares, 16.161000018904751, 11);
    assert_true(up_fit_powers(x, y, weight, COUNT(NORRIS), 1, 1, &fit));
    assert_digits(fit.c[1], 1.0016241371730408, 12);
    weight[3] = 0;
    assert_false(up_fit_powers(x, y, weight, COUNT(NORRIS), 1, 1, &fit));
}

/*
 * Pontius, the calibration of a load cell: deflection (y) by load in pounds (x), twice 20 loads.
 * Data read in usnistgov/dataplot, commit 19a6caae, lib/data/PONTIUS.DAT, and equal in the GNU
 * Scientific Library's multifit/test_pontius.c (commit as above), where the certified estimates,
 * their standard deviations and the residual sum of squares were read. Certified residual standard
 * deviation from memory; the 60-digit computation gives the same digits.
 */
static const struct point PONTIUS[] = {
    {150000, 0.11019},  {300000, 0.21956},  {450000, 0.32949},  {600000, 0.43899},
    {750000, 0.54803},  {900000, 0.65694},  {1050000, 0.76562}, {1200000, 0.87487},
    {1350000, 0.98292}, {1500000, 1.09146}, {1650000, 1.20001}, {1800000, 1.30822},
    {1950000, 1.41599}, {2100000, 1.52399}, {2250000, 1.63194}, {2400000, 1.73947},
    {2550000, 1.84646}, {2700000, 1.95392}, {2850000, 2.06128}, {3000000, 2.16844},
    {150000, 0.11052},  {300000, 0.22018},  {450000, 0.32939},  {600000, 0.43886},
    {750000, 0.54798},  {900000, 0.65739},  {1050000, 0.76596}, {1200000, 0.87474},
    {1350000, 0.98300}, {1500000, 1.09150}, {1650000, 1.20004}, {1800000, 1.30818},
    {1950000, 1.41613}, {2100000, 1.52408}, {2250000, 1.63159}, {2400000, 1.73965},
    {2550000, 1.84696}, {2700000, 1.95445}, {2850000, 2.06177}, {3000000, 2.16829}};

static void test_pontius(void **state) {
    (void)state;
    double x[COUNT(PONTIUS)], y[COUNT(PONTIUS)];
    struct up_fit fit;
    split(PONTIUS, COUNT(PONTIUS), x, y);
    assert_true(up_fit_polynomial(x, y, COUNT(PONTIUS), 3, &fit));
    assert_true(fit.count == 40 && fit.dof == 37);
    assert_digits(fit.c[0], 0.673565789473684E-03, 10);
    assert_digits(fit.c[1], 0.732059160401003E-06, 12);
    assert_digits(fit.c[2], -0.316081871345029E-14, 11);
    assert_digits(sqrt(fit.covariance[0][0]), 0.107938612033077E-03, 11);
    assert_digits(sqrt(fit.covariance[1][1]), 0.157817399981659E-09, 11);
    assert_digits(sqrt(fit.covariance[2][2]), 0.486652849992036E-16, 11);
    assert_digits(fit.residual_sum_squares, 0.155761768796992E-05, 11);
    assert_digits(fit.residual_sd, 0.205177424076185E-03, 11);
}

/*
 * The same data ask for their quadratic term. RSS of the quadratic certified (above); that of the
 * straight line from its residual standard deviation, computed with 60 digits: 0.00217127259605675
 * with 38 degrees of freedom. F with one degree of freedom is the square of Student's t, here the
 * certified estimate over its certified standard deviation.
 */
static void test_pontius_is_bent(void **state) {
    (void)state;
    double x[COUNT(PONTIUS)], y[COUNT(PONTIUS)];
    struct up_fit line, bent;
    split(PONTIUS, COUNT(PONTIUS), x, y);
    assert_true(up_fit_polynomial(x, y, COUNT(PONTIUS), 2, &line));
    assert_true(up_fit_polynomial(x, y, COUNT(PONTIUS), 3, &bent));
    assert_digits(line.residual_sd, 0.00217127259605675, 10);
    double t = -0.316081871345029E-14 / 0.486652849992036E-16;
    assert_digits(up_f_of_term(&line, &bent), t * t, 9);
    assert_true(up_f_of_term(&line, &bent) > up_f_limit(0.99, 1, bent.dof));
}

/* F(0.95; 3, 36) = 2.866266, read in the tests of sandialabs/suncal (an ANOVA example); with one
   degree of freedom it is the square of Student's t, GUM table G.2: t(0.99; 10) = 3.17. */
static void test_f_limit(void **state) {
    (void)state;
    assert_prints_as(up_f_limit(0.95, 3, 36), 2.866266, 1e-6);
    assert_prints_as(sqrt(up_f_limit(0.99, 1, 10)), 3.17, 1e-2);
    assert_true(isnan(up_f_limit(0.99, 1, 0)) && isnan(up_f_limit(1, 1, 5)));
}

/* NoInt1 and NoInt2, lines through zero: data by their rule; certified slope, its standard
   deviation and residual sum of squares read in the GNU Scientific Library's fit/test.c. */
static void test_noint1(void **state) {
    (void)state;
    double x[11], y[11];
    struct up_fit fit;
    for (size_t i = 0; i < 11; i++) {
        x[i] = 60 + (double)i;
        y[i] = 130 + (double)i;
    }
    assert_true(up_fit_powers(x, y, NULL, 11, 1, 1, &fit));
    assert_true(fit.c[0] == 0 && fit.dof == 10);
    assert_digits(fit.c[1], 2.07438016528926, 13);
    assert_digits(sqrt(fit.covariance[1][1]), 0.165289256198347E-01, 13);
    assert_digits(fit.residual_sum_squares, 127.272727272727, 13);
}

static void test_noint2(void **state) {
    (void)state;
    const double x[] = {4, 5, 6}, y[] = {3, 4, 4};
    struct up_fit fit;
    assert_true(up_fit_powers(x, y, NULL, 3, 1, 1, &fit));
    assert_true(fit.c[0] == 0 && fit.dof == 2);
    assert_digits(fit.c[1], 0.727272727272727, 13);
    assert_digits(sqrt(fit.covariance[1][1]), 0.420827318078432E-01, 13);
    assert_digits(fit.residual_sum_squares, 0.272727272727273, 13);
}

/* ---- GUM ---- */

/*
 * GUM H.3, calibration of a thermometer: correction by temperature, from t0 = 20 C. Data and the
 * printed results y1, y2, r and b(30 C) read in the documentation of MSLNZ/GTC, commit 1c165fce,
 * and in the tests of sandialabs/suncal, commit d44c2cc1 (s there), both naming the clause. The
 * long values are computed (mpmath), all but the residual sum of squares, which GTC prints.
 */
static struct up_fit gum_h3(void) {
    const double temp_c[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                             24.513, 25.002, 25.503, 26.010, 26.511};
    const double correction_c[] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                                   -0.156, -0.157, -0.159, -0.161, -0.160};
    double from_20_c[COUNT(temp_c)];
    struct up_fit fit;
    for (size_t i = 0; i < COUNT(temp_c); i++) {
        from_20_c[i] = temp_c[i] - 20;
    }
    assert_true(up_fit_polynomial(from_20_c, correction_c, COUNT(temp_c), 2, &fit));
    return fit;
}

static void test_gum_h3_as_printed(void **state) {
    (void)state;
    struct up_fit fit = gum_h3();
    double u1 = sqrt(fit.covariance[0][0]), u2 = sqrt(fit.covariance[1][1]);
    assert_prints_as(fit.c[0], -0.1712, 1e-4);
    assert_prints_as(u1, 0.0029, 1e-4);
    assert_prints_as(fit.c[1], 0.00218, 1e-5);
    assert_prints_as(u2, 0.00067, 1e-5);
    assert_prints_as(fit.covariance[0][1] / u1 / u2, -0.930, 1e-3);
    assert_prints_as(fit.residual_sd, 0.0035, 1e-4);
    assert_true(fit.dof == 9);
}

static void test_gum_h3_computed(void **state) {
    (void)state;
    struct up_fit fit = gum_h3();
    double u1 = sqrt(fit.covariance[0][0]), u2 = sqrt(fit.covariance[1][1]);
    assert_digits(fit.c[0], -0.171203790131, 11);
    assert_digits(u1, 0.00287759783516, 11);
    assert_digits(fit.c[1], 0.00218269773989, 11);
    assert_digits(u2, 0.000667938773228, 11);
    assert_digits(fit.covariance[0][1] / u1 / u2, -0.930429603093, 11);
    assert_digits(fit.residual_sd, 0.00349756396351, 11);
    assert_digits(fit.residual_sum_squares, 0.000110096583109, 11);
}

/* GUM H.3.4, the correction predicted at 30 C. */
static void test_gum_h3_prediction(void **state) {
    (void)state;
    struct up_fit fit = gum_h3();
    double at_30_c = fit.c[0] + 10 * fit.c[1];
    double u = sqrt(fit.covariance[0][0] + 100 * fit.covariance[1][1] + 20 * fit.covariance[0][1]);
    assert_prints_as(at_30_c, -0.1494, 1e-4);
    assert_prints_as(u, 0.0041, 1e-4);
    assert_digits(at_30_c, -0.149376812732, 11);
    assert_digits(u, 0.00413859575285, 11);
}

/*
 * GUM G.4.1: relative u 0.25, 0.57 and 0.82 % from 10, 5 and 15 observations; effective degrees of
 * freedom printed 19.0, t95 2.09, U95 2.2 %. Inputs and results from memory, not looked up; the
 * computation gives the results from the inputs (18.9987).
 */
static void test_gum_g4(void **state) {
    (void)state;
    const double u_percent[] = {0.25, 0.57, 0.82}, dof[] = {9, 4, 14};
    double effective = up_effective_dof(u_percent, dof, 3);
    double u = sqrt(0.25 * 0.25 + 0.57 * 0.57 + 0.82 * 0.82);
    assert_prints_as(effective, 19.0, 0.1);
    assert_prints_as(effective, 18.9987, 1e-4);
    assert_prints_as(up_coverage_factor(0.95, 19), 2.09, 0.01);
    assert_prints_as(u * up_coverage_factor(0.95, 19), 2.2, 0.1);
}

/*
 * GUM H.1, end gauge, nm: u(d) from 5.8 (24), 3.9 (5) and 6.7 (8), degrees of freedom printed 25.6,
 * which takes u(d) rounded to 9.7; unrounded 25.447. Inputs read in the documentation of MSLNZ/GTC,
 * commit 1c165fce; 25.6 in the tests of sandialabs/suncal, commit d44c2cc1, and the manual of
 * cran/propagate, commit 60718ff2, naming the clause.
 */
static void test_gum_h1_difference(void **state) {
    (void)state;
    const double u_nm[] = {5.8, 3.9, 6.7}, dof[] = {24, 5, 8};
    double effective = up_effective_dof(u_nm, dof, 3);
    double u_d = sqrt(5.8 * 5.8 + 3.9 * 3.9 + 6.7 * 6.7);
    assert_prints_as(u_d, 9.7, 0.1);
    assert_prints_as(effective, 25.447, 1e-3);
    assert_prints_as(effective * pow(9.7 / u_d, 4), 25.6, 0.1);
}

/*
 * The whole of it: 25 (18), u(d), 2.9 (50) and 16.6 (2). Printed 16 after truncation, read in the
 * tests of sandialabs/suncal, commit d44c2cc1; 16.7 from memory; 16.752 computed. t99(16) = 2.92
 * from memory, and computed 2.92078.
 */
static void test_gum_h1(void **state) {
    (void)state;
    const double u_nm[] = {25, 9.6819, 2.8868, 16.5990}, dof[] = {18, 25.447, 50, 2};
    double effective = up_effective_dof(u_nm, dof, 4);
    assert_prints_as(floor(effective), 16, 1);
    assert_prints_as(effective, 16.752, 1e-3);
    assert_prints_as(up_coverage_factor(0.99, 16), 2.92, 0.01);
    assert_prints_as(up_coverage_factor(0.99, 16), 2.92078, 1e-5);
}

/* A course's example (ENGR224) in the tests of sandialabs/suncal, commit d44c2cc1: 12.8 of 0.57
   with 9 and 0.25 with endless degrees of freedom. */
static void test_effective_dof_with_an_endless_one(void **state) {
    (void)state;
    const double u[] = {0.57, 0.25}, dof[] = {9, ENDLESS};
    assert_prints_as(up_effective_dof(u, dof, 2), 12.8, 0.1);
}

/* ---- Student t ---- */

/* GUM Table G.2, two decimals (one above 100): those of its values that were read, in the tests of
   sandialabs/suncal, commit d44c2cc1, test_ttable.py. */
static void test_gum_table_g2_as_printed(void **state) {
    (void)state;
    static const struct {
        double dof, probability, factor, last_place;
    } row[] = {
        {1, 0.6827, 1.84, 0.01},  {1, 0.95, 12.71, 0.01},        {5, 0.9973, 5.51, 0.01},
        {20, 0.90, 1.72, 0.01},   {ENDLESS, 0.9545, 2.00, 0.01}, {1, 0.9973, 235.8, 0.1},
        {10, 0.90, 1.81, 0.01},   {20, 0.95, 2.09, 0.01},        {ENDLESS, 0.9973, 3.00, 0.01},
        {2, 0.9973, 19.21, 0.01}, {11, 0.99, 3.11, 0.01},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_prints_as(up_coverage_factor(row[i].probability, row[i].dof), row[i].factor,
                         row[i].last_place);
    }
}

/* All rows and columns of that table, not as printed there but computed (scipy 1.10.1, good to
   5e-9) to four decimals. */
static void test_gum_table_g2_computed(void **state) {
    (void)state;
    static const double probability[] = {0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973};
    static const struct {
        double dof, factor[6];
    } row[] = {{1, {1.8374, 6.3138, 12.7062, 13.9678, 63.6567, 235.7837}},
               {2, {1.3213, 2.9200, 4.3027, 4.5266, 9.9248, 19.2060}},
               {3, {1.1969, 2.3534, 3.1824, 3.3068, 5.8409, 9.2187}},
               {4, {1.1417, 2.1318, 2.7764, 2.8693, 4.6041, 6.6201}},
               {5, {1.1105, 2.0150, 2.5706, 2.6487, 4.0321, 5.5070}},
               {6, {1.0906, 1.9432, 2.4469, 2.5165, 3.7074, 4.9040}},
               {7, {1.0767, 1.8946, 2.3646, 2.4288, 3.4995, 4.5299}},
               {8, {1.0666, 1.8595, 2.3060, 2.3664, 3.3554, 4.2766}},
               {9, {1.0588, 1.8331, 2.2622, 2.3198, 3.2498, 4.0942}},
               {10, {1.0526, 1.8125, 2.2281, 2.2837, 3.1693, 3.9569}},
               {11, {1.0476, 1.7959, 2.2010, 2.2549, 3.1058, 3.8499}},
               {12, {1.0435, 1.7823, 2.1788, 2.2314, 3.0545, 3.7642}},
               {13, {1.0400, 1.7709, 2.1604, 2.2118, 3.0123, 3.6941}},
               {14, {1.0370, 1.7613, 2.1448, 2.1953, 2.9768, 3.6358}},
               {15, {1.0345, 1.7531, 2.1314, 2.1812, 2.9467, 3.5864}},
               {16, {1.0323, 1.7459, 2.1199, 2.1689, 2.9208, 3.5441}},
               {17, {1.0303, 1.7396, 2.1098, 2.1583, 2.8982, 3.5075}},
               {18, {1.0286, 1.7341, 2.1009, 2.1489, 2.8784, 3.4754}},
               {19, {1.0270, 1.7291, 2.0930, 2.1405, 2.8609, 3.4472}},
               {20, {1.0257, 1.7247, 2.0860, 2.1330, 2.8453, 3.4221}},
               {25, {1.0204, 1.7081, 2.0595, 2.1051, 2.7874, 3.3296}},
               {30, {1.0170, 1.6973, 2.0423, 2.0868, 2.7500, 3.2703}},
               {35, {1.0145, 1.6896, 2.0301, 2.0740, 2.7238, 3.2291}},
               {40, {1.0127, 1.6839, 2.0211, 2.0645, 2.7045, 3.1987}},
               {45, {1.0113, 1.6794, 2.0141, 2.0571, 2.6896, 3.1755}},
               {50, {1.0101, 1.6759, 2.0086, 2.0513, 2.6778, 3.1571}},
               {100, {1.0050, 1.6602, 1.9840, 2.0253, 2.6259, 3.0767}},
               {ENDLESS, {1.0000, 1.6449, 1.9600, 2.0000, 2.5758, 3.0000}}};
    for (size_t i = 0; i < COUNT(row); i++) {
        for (size_t j = 0; j < COUNT(probability); j++) {
            assert_prints_as(up_coverage_factor(probability[j], row[i].dof), row[i].factor[j],
                             1e-4);
        }
    }
}

/* Computed with mpmath 1.2.1, 30 digits, from the incomplete beta function. */
static void test_factors_to_12_digits(void **state) {
    (void)state;
    static const struct {
        double dof, probability, factor;
    } row[] = {{1, 0.90, 6.313751514675043},         {1, 0.95, 12.7062047361747},
               {1, 0.9545, 13.96781148750258},       {1, 0.99, 63.65674116287158},
               {1, 0.9973, 235.7836871584926},       {2, 0.90, 2.919985580353726},
               {2, 0.95, 4.302652729749464},         {2, 0.9545, 4.526550760081991},
               {2, 0.99, 9.924843200918293},         {2, 0.9973, 19.2060158878111},
               {3, 0.90, 2.353363434801824},         {3, 0.95, 3.18244630528371},
               {3, 0.9545, 3.306829920720112},       {3, 0.99, 5.840909309733357},
               {3, 0.9973, 9.218701822037347},       {5, 0.90, 2.015048373333024},
               {5, 0.95, 2.570581835636316},         {5, 0.9545, 2.648654254283119},
               {5, 0.99, 4.032142983555228},         {5, 0.9973, 5.506984967354847},
               {10, 0.90, 1.812461122811676},        {10, 0.95, 2.228138851986275},
               {10, 0.9545, 2.283681613299642},      {10, 0.99, 3.169272672616951},
               {10, 0.9973, 3.956889989511038},      {30, 0.90, 1.697260886593958},
               {30, 0.95, 2.042272456301238},        {30, 0.9545, 2.086847053536652},
               {30, 0.99, 2.749995653567225},        {30, 0.9973, 3.270304796818607},
               {ENDLESS, 0.90, 1.644853626951473},   {ENDLESS, 0.95, 1.959963984540054},
               {ENDLESS, 0.9545, 2.000002443899604}, {ENDLESS, 0.99, 2.575829303548901},
               {ENDLESS, 0.9973, 2.999976992703393}};
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_digits(up_coverage_factor(row[i].probability, row[i].dof), row[i].factor, 12);
    }
}

/*
 * NBS Handbook 91 (Natrella), worksheet 5-4.1 and page 5-15: Young's modulus by temperature. Data
 * and printed values read in the tests of sandialabs/suncal, commit d44c2cc1, test_curvefit.py;
 * all come out the same with NumPy 1.24.2.
 */
static void test_natrella_line(void **state) {
    (void)state;
    const double temp_c[] = {30,  100, 200,  300,  400,  500,  600,  700,
                             800, 900, 1000, 1100, 1200, 1300, 1400, 1500};
    const double modulus[] = {4642, 4612, 4565, 4513, 4476, 4433, 4389, 4347,
                              4303, 4251, 4201, 4140, 4100, 4073, 4024, 3999};
    struct up_fit fit;
    assert_true(up_fit_polynomial(temp_c, modulus, 16, 2, &fit));
    assert_prints_as(fit.c[1], -0.44985482, 1e-8);
    assert_prints_as(fit.c[0], 4654.9846, 1e-4);
    assert_digits(fit.covariance[1][1], 0.000025649045, 7);
    assert_digits(fit.covariance[0][0], 19.879452, 7);
    assert_digits(fit.residual_sd, 9.277617, 6.9);
    /* Of the fitted mean, and of a single value to come: GUM H.3.4 needs the covariance too. */
    double mean_1200 =
        fit.covariance[0][0] + 2 * 1200 * fit.covariance[0][1] + 1200 * 1200 * fit.covariance[1][1];
    double single_750 = fit.residual_sd * fit.residual_sd + fit.covariance[0][0] +
                        2 * 750 * fit.covariance[0][1] + 750 * 750 * fit.covariance[1][1];
    assert_prints_as(mean_1200, 10.53, 0.01);
    assert_prints_as(single_750, 91.45, 0.01);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numacc1),
        cmocka_unit_test(test_numacc2),
        cmocka_unit_test(test_numacc3),
        cmocka_unit_test(test_numacc4),
        cmocka_unit_test(test_mavro),
        cmocka_unit_test(test_norris),
        cmocka_unit_test(test_norris_weighted),
        cmocka_unit_test(test_pontius),
        cmocka_unit_test(test_pontius_is_bent),
        cmocka_unit_test(test_f_limit),
        cmocka_unit_test(test_noint1),
        cmocka_unit_test(test_noint2),
        cmocka_unit_test(test_gum_h3_as_printed),
        cmocka_unit_test(test_gum_h3_computed),
        cmocka_unit_test(test_gum_h3_prediction),
        cmocka_unit_test(test_gum_g4),
        cmocka_unit_test(test_gum_h1_difference),
        cmocka_unit_test(test_gum_h1),
        cmocka_unit_test(test_effective_dof_with_an_endless_one),
        cmocka_unit_test(test_gum_table_g2_as_printed),
        cmocka_unit_test(test_gum_table_g2_computed),
        cmocka_unit_test(test_factors_to_12_digits),
        cmocka_unit_test(test_natrella_line),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
