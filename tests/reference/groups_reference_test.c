/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Published values of groups: pooled standard deviations, consensus of values with uncertainties,
 * F and chi-squared, a control chart.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/statistics.h"
#include "upthrust/chart.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

/* ---- GUM ---- */

/*
 * GUM H.5, a voltage standard on ten days, five values each. Daily means and standard deviations,
 * their mean, 57 uV and 85 uV read in the tests of sandialabs/suncal, commit d44c2cc1, which cite
 * the clause; the rest from memory. F is printed from rounded figures (2.25; 2.26 unrounded).
 */
static void test_gum_h5(void **state) {
    (void)state;
    static const double mean_v[] = {10.000172, 10.000116, 10.000013, 10.000144, 10.000106,
                                    10.000031, 10.000060, 10.000125, 10.000163, 10.000041};
    static const double sd_uv[] = {60, 77, 111, 101, 67, 93, 80, 73, 88, 86};
    const double dof[] = {4, 4, 4, 4, 4, 4, 4, 4, 4, 4};
    struct up_summary days = up_summarise(mean_v, 10);
    struct up_pool within = up_pool_sds(sd_uv, dof, 10);
    assert_prints_as(days.mean, 10.000097, 1e-6);
    assert_prints_as(days.sd * 1e6, 57, 1);
    assert_prints_as(within.sd, 85, 1);
    assert_true(within.dof == 40);
    double between_uv = sqrt(5) * days.sd * 1e6;
    assert_prints_as(between_uv, 128, 1);
    assert_prints_as(between_uv * between_uv / (within.sd * within.sd), 2.2615, 1e-4);
    assert_prints_as(up_f_limit(0.95, 9, 40), 2.12, 0.01);
    assert_prints_as(up_f_limit(0.975, 9, 40), 2.45, 0.01);
}

/*
 * GUM H.2, second approach (H.2.4): resistance, reactance and impedance of each of the five sets,
 * then their means and the standard deviations of the means. Data and printed values read in the
 * tests of sandialabs/suncal, as above.
 */
static void test_gum_h2(void **state) {
    (void)state;
    const double volt[] = {5.007, 4.994, 5.005, 4.990, 4.999};
    const double ma[] = {19.663, 19.639, 19.640, 19.685, 19.678};
    const double phi[] = {1.0456, 1.0438, 1.0468, 1.0428, 1.0433};
    double r[5], x[5], z[5];
    for (int i = 0; i < 5; i++) {
        z[i] = volt[i] / ma[i] * 1e3;
        r[i] = z[i] * cos(phi[i]);
        x[i] = z[i] * sin(phi[i]);
    }
    struct up_summary of_r = up_summarise(r, 5), of_x = up_summarise(x, 5);
    struct up_summary of_z = up_summarise(z, 5);
    assert_prints_as(of_r.mean, 127.732, 1e-3);
    assert_prints_as(of_r.sd / sqrt(5), 0.071, 1e-3);
    assert_close(of_x.mean, 219.847, 1e-3);
    assert_close(of_x.sd / sqrt(5), 0.295, 1e-3); /* 0.2956 unrounded */
    assert_prints_as(of_z.mean, 254.260, 1e-3);
    assert_prints_as(of_z.sd / sqrt(5), 0.236, 1e-3);
}

/* ---- consensus ---- */

struct given {
    double value, u;
};

static struct up_consensus consensus_of(const struct given *given, size_t count) {
    double value[16], u[16];
    struct up_consensus consensus;
    for (size_t i = 0; i < count; i++) {
        value[i] = given[i].value;
        u[i] = given[i].u;
    }
    assert_true(up_find_consensus(value, u, count, &consensus));
    return consensus;
}

/*
 * CLASP: R. DerSimonian and R. Kacker, Contemp. Clin. Trials 28 (2007) 105, table 4, Mandel-Paule:
 * tau 0.3681, mean -0.3811, standard error 0.2060; read in the tests of wviechtb/metafor, commit
 * 71ae8f5a. Their counts as log odds ratios with R. Further digits computed with mpmath and equal
 * to R's metafor 3.8-1.
 */
static void test_consensus_clasp(void **state) {
    (void)state;
    static const struct given given[] = {
        {-1.29762872403423, 0.588875225924649},  {-1.26487710730767, 0.515437423560081},
        {0.120792366847093, 0.445409378937187},  {-0.329377388704769, 0.162717803780493},
        {-0.200670695462152, 0.472542905739662}, {-0.128534068671863, 0.0806136481425865}};
    struct up_consensus consensus = consensus_of(given, COUNT(given));
    assert_prints_as(consensus.between_sd, 0.3681, 1e-4);
    assert_prints_as(consensus.mean.value, -0.3811, 1e-4);
    assert_prints_as(consensus.mean.u, 0.2060, 1e-4);
    assert_digits(consensus.between_sd, 0.368068641, 9);
    assert_digits(consensus.mean.value, -0.3810620355086, 12);
    assert_digits(consensus.mean.u, 0.205989738663, 11);
    assert_digits(consensus.chi_squared, 9.67786739159, 11);
}

/*
 * Fourteen measurements of the Newtonian constant, 1e-11 m3/(kg s2): data read in usnistgov/
 * dataplot, help of CONSENSUS MEAN; results computed with mpmath and equal to R's metafor 3.8-1.
 */
static void test_consensus_newtonian(void **state) {
    (void)state;
    static const struct given given[] = {{6.67248, 0.00043}, {6.6729, 0.0005},   {6.67398, 0.0007},
                                         {6.674255, 9.2e-5}, {6.67559, 0.00027}, {6.67422, 0.00098},
                                         {6.67387, 0.00027}, {6.67222, 0.00087}, {6.67425, 0.00012},
                                         {6.67349, 0.00018}, {6.67234, 0.00014}, {6.67554, 0.00016},
                                         {6.67191, 0.00099}, {6.67435, 0.00013}};
    struct up_consensus consensus = consensus_of(given, COUNT(given));
    assert_digits(consensus.mean.value, 6.673773177309, 12);
    assert_digits(consensus.mean.u, 0.000307516908258, 8);
    assert_digits(consensus.between_sd, 0.001056846362, 8);
    assert_digits(consensus.chi_squared, 319.123071798, 10);
    assert_true(consensus.probability < 1e-50);
}

/*
 * Heat of vaporisation of cadmium, the example of R. C. Paule and J. Mandel, J. Res. Natl. Bur.
 * Stand. 87 (1982) 377: data read in cran/metRology, commit b3362a36, man/mpaule.Rd; results
 * computed as above, the printed ones were not seen.
 */
static void test_consensus_cadmium(void **state) {
    (void)state;
    static const struct given given[] = {{27.044, 0.05477225575051661},
                                         {26.022, 0.2756809750418044},
                                         {26.34, 0.681175454637056},
                                         {26.787, 0.05477225575051661},
                                         {26.796, 0.1183215956619923}};
    struct up_consensus consensus = consensus_of(given, COUNT(given));
    assert_digits(consensus.mean.value, 26.71212874826, 12);
    assert_digits(consensus.mean.u, 0.171136963619, 11);
    assert_digits(consensus.between_sd * consensus.between_sd, 0.105219388249, 11);
}

/* Chi-squared, as the consensus asks it: two of some values with u 1 lie apart such that the sum of
   squares is the quantile. Quantiles computed with scipy 1.10.1. */
static void test_chi_squared(void **state) {
    (void)state;
    static const struct {
        size_t dof;
        double probability, quantile;
    } row[] = {
        {1, 0.05, 0.00393214000002}, {1, 0.95, 3.84145882069},  {1, 0.99, 6.63489660102},
        {2, 0.05, 0.102586588775},   {2, 0.95, 5.99146454711},  {3, 0.025, 0.215795282624},
        {3, 0.95, 7.81472790325},    {5, 0.95, 11.0704976935},  {5, 0.99, 15.0862724694},
        {9, 0.025, 2.70038949998},   {9, 0.975, 19.0227677986}, {10, 0.95, 18.3070380533},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        struct given given[16] = {{0, 0}};
        size_t count = row[i].dof + 1;
        for (size_t j = 0; j < count; j++) {
            given[j] = (struct given){5, 1};
        }
        given[0].value += sqrt(row[i].quantile / 2);
        given[1].value -= sqrt(row[i].quantile / 2);
        struct up_consensus consensus = consensus_of(given, count);
        assert_digits(consensus.chi_squared, row[i].quantile, 11);
        assert_digits(consensus.probability, 1 - row[i].probability, 9);
    }
}

/* F quantiles, computed with scipy 1.10.1; F(0.95; 3, 36) agrees with that in the tests of
   sandialabs/suncal, commit d44c2cc1. */
static void test_f_quantiles(void **state) {
    (void)state;
    static const struct {
        double dof_1, dof_2, probability, quantile;
    } row[] = {
        {1, 5, 0.95, 6.6078909737},    {1, 5, 0.975, 10.0069821966},  {1, 5, 0.99, 16.2581770398},
        {2, 10, 0.95, 4.10282101513},  {2, 10, 0.975, 5.45639552591}, {2, 10, 0.99, 7.55943215755},
        {4, 20, 0.95, 2.86608140202},  {4, 20, 0.975, 3.51469516226}, {4, 20, 0.99, 4.43069016144},
        {9, 40, 0.95, 2.12402926402},  {9, 40, 0.975, 2.45193921703}, {9, 40, 0.99, 2.88756044033},
        {17, 20, 0.95, 2.16670099681}, {17, 20, 0.975, 2.5227899021}, {17, 20, 0.99, 3.01829909713},
        {3, 36, 0.95, 2.86626555094},  {3, 36, 0.975, 3.50468464209}, {3, 36, 0.99, 4.3770956208},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_digits(up_f_limit(row[i].probability, row[i].dof_1, row[i].dof_2), row[i].quantile,
                      9);
    }
}

/* ---- control chart ---- */

/*
 * NIST/SEMATECH e-Handbook 6.3.2.2, flow rates of ten batches: mean 50.81, mean moving range
 * 1.8778, limits 45.8159 and 55.8041; read in several public test files that name the section.
 */
static void test_handbook_individuals_chart(void **state) {
    (void)state;
    static const double flow[] = {49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    struct up_quantity check[COUNT(flow)];
    for (size_t i = 0; i < COUNT(flow); i++) {
        check[i] = up_known(flow[i], 0.5);
    }
    struct up_chart chart = up_chart_of(check, COUNT(check));
    assert_true(chart.has_limits);
    assert_prints_as(chart.centre, 50.81, 0.01);
    assert_prints_as(chart.sd * 1.128, 1.8778, 1e-4);
    assert_prints_as(chart.low, 45.8159, 1e-4);
    assert_prints_as(chart.high, 55.8041, 1e-4);
    assert_int_equal(up_chart_judge(&chart, up_known(55.80, 0.5)).verdict, UP_CHART_INSIDE);
    assert_int_equal(up_chart_judge(&chart, up_known(55.81, 0.5)).verdict, UP_CHART_OUTSIDE);
    assert_int_equal(up_chart_judge(&chart, up_known(45.81, 0.5)).verdict, UP_CHART_OUTSIDE);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gum_h5),
        cmocka_unit_test(test_gum_h2),
        cmocka_unit_test(test_consensus_clasp),
        cmocka_unit_test(test_consensus_newtonian),
        cmocka_unit_test(test_consensus_cadmium),
        cmocka_unit_test(test_chi_squared),
        cmocka_unit_test(test_f_quantiles),
        cmocka_unit_test(test_handbook_individuals_chart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
