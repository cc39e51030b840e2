/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "agree.h"
#include "metrology/bodies.h"

#define NO_NUMBER ((double)NAN)

static const double WATER_KG_M3 = 998.2;

/* A body as it would be weighed with a scale and a water that are off by so much. */
static struct up_body body_of(double mass_kg, double density_kg_m3, double scale_rel,
                              double density_error_kg_m3, double u_kg) {
    double volume_m3 = mass_kg / density_kg_m3;
    double load_kg = (1 + scale_rel) * (mass_kg - (WATER_KG_M3 + density_error_kg_m3) * volume_m3);
    return (struct up_body){.mass_kg = up_known(mass_kg, 1e-5),
                            .volume_m3 = up_known(volume_m3, 1e-8),
                            .water_kg = {load_kg, u_kg, 4}};
}

/* Steel and PVC, 2 and 1.4 kg: whatever is put in comes out, exactly, not to first order. */
static void test_both_errors_come_out(void **state) {
    (void)state;
    static const double scale[] = {0, 0.004, -0.02, 0.1}, water[] = {0, 3, -1.5, 25};
    for (int i = 0; i < 4; i++) {
        for (int j = 0; j < 4; j++) {
            const struct up_body body[2] = {body_of(2, 7900, scale[i], water[j], 2e-4),
                                            body_of(1.4, 1400, scale[i], water[j], 2e-4)};
            struct up_separation found;
            struct up_failure failure;
            assert_true(up_separate_bodies(body, WATER_KG_M3, &found, &failure));
            assert_close(found.scale_rel.value, scale[i], 1e-12);
            assert_close(found.density_error_kg_m3.value, water[j], 1e-8);
        }
    }
}

static struct up_body disturbed(const struct up_body *body, gsl_rng *rng) {
    struct up_body drawn = *body;
    drawn.water_kg.value += gsl_ran_gaussian(rng, body->water_kg.u);
    drawn.mass_kg.value += gsl_ran_gaussian(rng, body->mass_kg.u);
    drawn.volume_m3.value += gsl_ran_gaussian(rng, body->volume_m3.u);
    return drawn;
}

/* The covariance beside 40,000 draws of all that is uncertain; a standard deviation of those is
   good to 0.4 %, a correlation to 0.005. */
static void test_covariance(void **state) {
    (void)state;
    enum { DRAWS = 40000 };
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    const struct up_body body[2] = {body_of(2, 7900, 0.003, 1, 3e-4),
                                    body_of(1.4, 1400, 0.003, 1, 2e-4)};
    struct up_separation at, drawn;
    double s = 0, d = 0, ss = 0, dd = 0, sd = 0;
    gsl_rng_set(rng, 23);
    assert_true(up_separate_bodies(body, WATER_KG_M3, &at, NULL));
    for (int n = 0; n < DRAWS; n++) {
        struct up_body now[2] = {disturbed(&body[0], rng), disturbed(&body[1], rng)};
        assert_true(up_separate_bodies(now, WATER_KG_M3, &drawn, NULL));
        double off_s = drawn.scale_rel.value - 0.003, off_d = drawn.density_error_kg_m3.value - 1;
        s += off_s / DRAWS;
        d += off_d / DRAWS;
        ss += off_s * off_s / DRAWS;
        dd += off_d * off_d / DRAWS;
        sd += off_s * off_d / DRAWS;
    }
    gsl_rng_free(rng);
    double u_s = sqrt(ss - s * s), u_d = sqrt(dd - d * d);
    assert_close(at.scale_rel.u / u_s, 1, 0.02);
    assert_close(at.density_error_kg_m3.u / u_d, 1, 0.02);
    assert_close(at.covariance_kg_m3 / (at.scale_rel.u * at.density_error_kg_m3.u),
                 (sd - s * d) / (u_s * u_d), 0.025);
    assert_true(at.scale_rel.dof > 4 && isfinite(at.scale_rel.dof));
}

/* A gram on a litre of plastic, beside steel weighed without error. Steel ties s to d, s = V_1 d /
   w_1 with w_1 its weight in the water, so that d V_2 (1 - V_1 w_2 / (V_2 w_1)) is the gram: with
   V_1 = 1.01266 l, w_1 = 6.98917 kg, V_2 = 1 l, w_2 = 0.4018 kg it is worth 1.0618 kg/m3; and 1
   kg/m3 were the scale known. */
static void test_what_a_gram_is_worth(void **state) {
    (void)state;
    const struct up_body body[2] = {body_of(8, 7900, 0, 0, 1e-6), body_of(1.4, 1400, 0, 0, 1e-3)};
    struct up_separation found;
    assert_true(up_separate_bodies(body, WATER_KG_M3, &found, NULL));
    assert_close(found.density_error_kg_m3.u, 1.0618, 5e-4);
}

static void assert_refused(const struct up_body body[2], double water_kg_m3, const char *word) {
    struct up_separation found;
    struct up_failure failure = {0};
    assert_false(up_separate_bodies(body, water_kg_m3, &found, &failure));
    assert_true(isnan(found.scale_rel.value) && isnan(found.density_error_kg_m3.u));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_non_null(strstr(failure.text, word));
    assert_null(strchr(failure.text, '\n'));
}

static void test_refusals(void **state) {
    (void)state;
    struct up_body steel = body_of(2, 7900, 0, 0, 1e-4), brass = body_of(2, 8500, 0, 0, 1e-4);
    struct up_body plastic = body_of(1.4, 1400, 0, 0, 1e-4), unknown = plastic, dry = plastic;
    unknown.volume_m3.value = NO_NUMBER;
    dry.water_kg = (struct up_quantity){NO_NUMBER, NO_NUMBER, 0};
    assert_refused((struct up_body[]){steel, brass}, WATER_KG_M3, "too close");
    assert_refused((struct up_body[]){steel, steel}, WATER_KG_M3, "too close");
    assert_refused((struct up_body[]){steel, unknown}, WATER_KG_M3, "weigh it in air");
    assert_refused((struct up_body[]){dry, steel}, WATER_KG_M3, "weigh it in the tank");
    assert_refused((struct up_body[]){steel, plastic}, 0, "density");
    assert_refused((struct up_body[]){steel, plastic}, NO_NUMBER, "density");
    struct up_body swapped[2] = {steel, plastic};
    swapped[0].water_kg = plastic.water_kg;
    swapped[1].water_kg = steel.water_kg;
    assert_refused(swapped, WATER_KG_M3, "the two were swapped");
}

/* One body: the claims' uncertainties, in quadrature, by hand. 2 kg of steel: V 253.16 ml, in the
   water 1.7473 kg; u: load 0.3 g, mass 0.01 g, volume 0.00998 g, water 0.5 kg/m3 0.12658 g, scale
   1e-4 0.17473 g: 0.36980 g in all. */
static void test_one_body(void **state) {
    (void)state;
    struct up_body body = body_of(2, 7900, 0.001, 0, 3e-4);
    struct up_body_check check;
    assert_true(up_check_body(&body, up_known(0, 1e-4), up_known(WATER_KG_M3, 0.5), &check, NULL));
    assert_close(check.difference_kg.value, 0.0017473, 1e-7);
    assert_close(check.difference_kg.u, 0.36980e-3, 1e-8);
    assert_close(check.e_n, 2.3625, 1e-3);
    assert_true(check.difference_kg.dof > 4);
    /* The scale's error being known, nothing is left. */
    assert_true(
        up_check_body(&body, up_known(0.001, 1e-4), up_known(WATER_KG_M3, 0.5), &check, NULL));
    assert_close(check.e_n, 0, 1e-9);
}

static void test_one_body_refused(void **state) {
    (void)state;
    struct up_body body = body_of(2, 7900, 0, 0, 3e-4), weightless = body;
    struct up_body_check check;
    struct up_failure failure = {0};
    weightless.mass_kg.value = 0;
    assert_false(up_check_body(&weightless, up_known(0, 0), up_known(998, 1), &check, &failure));
    assert_non_null(strstr(failure.text, "weigh it in air"));
    assert_false(up_check_body(&body, up_known(NO_NUMBER, 0), up_known(998, 1), &check, &failure));
    assert_false(up_check_body(&body, up_known(0, 0), up_known(998, NO_NUMBER), &check, &failure));
    assert_true(isnan(check.e_n) && isnan(check.difference_kg.value));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_both_errors_come_out),
        cmocka_unit_test(test_covariance),
        cmocka_unit_test(test_what_a_gram_is_worth),
        cmocka_unit_test(test_refusals),
        cmocka_unit_test(test_one_body),
        cmocka_unit_test(test_one_body_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
