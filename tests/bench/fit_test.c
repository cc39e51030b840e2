/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The fit of a calibration, on loadings made up by hand whose answer follows on paper. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "hand_bench.h"
#include "upthrust/measurement.h"

static const double SLOPE = 600000;
static struct up_loadings loadings;
static struct up_calibration found;

static int begin(void **state) {
    static struct hand_bench bench;
    (void)state;
    hand_bench_begin(&bench);
    memset(&loadings, 0, sizeof loadings);
    loadings.rig = bench.rig;
    loadings.noise_counts = 20;
    return 0;
}

static void hang(double mass_kg, double off_counts) {
    loadings.point[loadings.points++] = (struct up_calibration_point){
        .mass_kg = mass_kg, .load_counts = SLOPE * mass_kg + off_counts};
}

static void fit(void) {
    struct up_failure failure = {0};
    if (!up_calibration_fit(&loadings, &found, &failure)) {
        fail_msg("%s", failure.text);
    }
}

/* A loading is the difference of two readings, each rounded to 100 counts (rectangular); the slope
   has u = sqrt(2) 100 / sqrt(12) / sqrt(sum m^2). */
static void points_on_a_line_leave_their_rounding(void **state) {
    (void)state;
    loadings.rig.division_counts = 100;
    hang(0.5, 0);
    hang(1, 0);
    hang(2, 0);
    fit();
    assert_close(found.slope_counts_per_kg, SLOPE, 1e-6);
    assert_close(found.u_slope_counts_per_kg, sqrt(2) * 100 / sqrt(12) / sqrt(5.25), 1e-9);
    assert_close(found.lack_of_fit_kg, 0, 1e-12);
    assert_true(found.division_counts == 100);
}

/* Masses 1, 1, 2, 2 with residuals e, -e, e, -e either way: sd = e sqrt(8 / 6) with 6 degrees of
   freedom, u of a slope sd / sqrt(10), t(0.99, 6) = 3.71 (GUM table G.2). Slopes that differ by
   less than 3.71 sqrt(2) u are one. */
static bool directions_differ(double times_u) {
    static const double e = 30;
    double u = e * sqrt(8.0 / 6) / sqrt(10);
    loadings.points = 0;
    for (int i = 0; i < 4; i++) {
        double mass_kg = i < 2 ? 1 : 2, off = i % 2 == 0 ? e : -e;
        hang(mass_kg, off);
        hang(-mass_kg, off - mass_kg * times_u * u);
    }
    for (unsigned i = 0; i < loadings.points; i++) { /* as much as replicates scatter: none the */
        loadings.point[i].u_plateau_counts = e * sqrt(2); /* more for a heavier load */
    }
    fit();
    return !isnan(found.unloading_slope_counts_per_kg);
}

static void slopes_differ_beyond_the_u_of_both(void **state) {
    (void)state;
    assert_false(directions_differ(3.71 * sqrt(2) * 0.97));
    assert_true(directions_differ(3.71 * sqrt(2) * 1.03));
    assert_true(directions_differ(-3.71 * sqrt(2) * 1.03));
    double u = 30 * sqrt(8.0 / 6) / sqrt(10);
    assert_close(found.slope_counts_per_kg, SLOPE, 1e-6);
    assert_close(found.unloading_slope_counts_per_kg, SLOPE - 3.71 * sqrt(2) * 1.03 * u, 1e-6);
    assert_close(found.u_unloading_slope_counts_per_kg, u, 1e-9);
    assert_true(found.dof == 6);
}

/* Masses of 1, 2 and 3 kg, each hung twice, whose means lie off a line by t, -t and 0 of the load:
   a mean of shares, weighted alike, and a scatter of t with two degrees of freedom. */
static void lack_of_fit_is_the_scatter_of_the_means(void **state) {
    static const double t = 1e-4;
    (void)state;
    loadings.rig.division_counts = 1e-3;
    for (int i = 0; i < 2; i++) {
        hang(1, t * SLOPE);
        hang(2, -2 * t * SLOPE);
        hang(3, 0);
    }
    fit();
    assert_close(found.slope_counts_per_kg, SLOPE, 1e-3);
    assert_close(found.lack_of_fit_kg, t * sqrt(14.0 / 3), 1e-9);
    assert_close(found.scatter_rel, 0, 1e-9);
    assert_true(found.offset_taken == 0);
}

/* Six loadings a minute long, tares that go up and down by 400 and 800 counts beside a steady
   drift of 5 a second: a^2 = 3 (400^2 + 800^2) / 5 / 4. */
static void the_tares_tell_the_scatter_of_any_load(void **state) {
    (void)state;
    for (int i = 0; i < 6; i++) {
        hang(1 + i % 3, 0);
        loadings.tare_span_s[i] = 60;
        loadings.tare_change[i] = 300 + (i % 2 == 0 ? 1 : -1) * (i < 2 || i > 3 ? 400 : 800);
    }
    loadings.tare_change[4] = 300 + 800; /* three of each, in pairs of either sign */
    loadings.tare_change[5] = 300 - 800;
    fit();
    double a = sqrt((2 * 400.0 * 400 + 4 * 800.0 * 800) / 5 / 4);
    assert_close(found.scatter_kg, a / SLOPE, 1e-9);
    assert_close(found.scatter_rel, 0, 1e-12);
    assert_true(found.own_scatter_dof == 3);
}

/* Scales of coarse steps: a division is all that scatters, and it repeats with the mass, so all
   masses weigh alike: the slope is sum m y / sum m^2. First the lightest reads half a division more
   each of three times; then two readings of the lightest two are a division apart. */
static void rounding_weighs_alike(void **state) {
    static const double mass_kg[] = {0.5, 1, 2, 5};
    static const double division = 6000; /* 10 g */
    (void)state;
    for (int apart = 0; apart <= 1; apart++) {
        double my = 0, mm = 0;
        loadings.points = 0;
        loadings.rig.division_counts = division;
        for (int i = 0; i < (apart ? 8 : 12); i++) {
            double off = i % 4 > apart ? 0 : apart ? (i > 3 ? -division : 0) : division / 2;
            hang(mass_kg[i % 4], off);
            my += mass_kg[i % 4] * (SLOPE * mass_kg[i % 4] + off);
            mm += mass_kg[i % 4] * mass_kg[i % 4];
        }
        fit();
        assert_close(found.slope_counts_per_kg, my / mm, 1e-6);
        assert_close(found.scatter_kg, division / sqrt(6) / found.slope_counts_per_kg, 1e-12);
    }
}

/* Three hangings of each mass: the heavy one's lie x apart, which only a share of the load makes:
   (x^2 + x^2) / (r^2 + b^2 L^2) = 4 degrees of freedom. The light one is rounded alike each time,
   so the variance of its mean stays r^2, while the heavy one's is a third of x^2 / 2. */
static void a_rounding_does_not_average_out(void **state) {
    static const double division = 6000, r = 6000 / 2.449489742783178, x = 30000, light = 0.5,
                        heavy = 5;
    const double off = 0.5 * r, weight_light = 1 / (r * r), weight_heavy = 6 / (x * x);
    (void)state;
    loadings.points = 0;
    loadings.rig.division_counts = division;
    for (int i = -1; i <= 1; i++) {
        hang(light, off);
        hang(heavy, i * x);
    }
    fit();
    assert_close(found.slope_counts_per_kg,
                 SLOPE + weight_light * light * off /
                             (weight_light * light * light + weight_heavy * heavy * heavy),
                 2); /* the loads are those of the slope before it */
}

/* Pairs of one mass, apart by 2 x of it: s = sqrt(2) x of the load. Earlier calibrations that say
   y with 9 degrees of freedom pool to sqrt((3 s^2 + 9 y^2) / 12). */
static void replicates_tell_the_scatter_that_grows(void **state) {
    static const double x = 1e-3, y = 3e-3;
    (void)state;
    for (int pooled = 0; pooled < 2; pooled++) {
        loadings.points = 0;
        loadings.rig.division_counts = 1e-3;
        loadings.history = (struct up_calibration_history){y, 9.0 * pooled, 0, 0};
        for (int i = 0; i < 6; i++) {
            double kg = 1 + i % 3;
            hang(kg, (i < 3 ? x : -x) * kg * SLOPE);
        }
        fit();
        double s2 = 2 * x * x;
        assert_close(found.own_scatter_rel, sqrt(s2), 1e-9);
        assert_close(found.scatter_rel, pooled ? sqrt((3 * s2 + 9 * y * y) / 12) : sqrt(s2), 1e-9);
        /* weighted by 1 / L^2 each point determines the slope equally */
        assert_close(found.u_slope_counts_per_kg, SLOPE * sqrt(6 * x * x / 5 / 6), 1e-4);
    }
}

/* From one calibration to another this bench's slope changed by 2e-3. */
static void the_slope_is_no_surer_than_its_history(void **state) {
    (void)state;
    loadings.history = (struct up_calibration_history){0, 0, 2e-3, 4};
    hang(1, 0);
    hang(2, 0);
    hang(3, 0);
    fit();
    assert_close(found.u_slope_counts_per_kg, 2e-3 * SLOPE, 1e-6);
    assert_true(found.dof == 4);
}

/* Each load, hung or taken off, reads 3000 counts (5 g) larger; masses scatter by 6 counts. */
static void an_offset_that_was_accepted_is_part_of_the_line(void **state) {
    (void)state;
    for (int i = 0; i < 8; i++) {
        double kg = (1 + i % 3) * (i < 6 ? 1 : -1);
        hang(kg, copysign(3000, kg) + (i % 2 == 0 ? 6 : -6));
    }
    fit();
    assert_true(found.offset_taken == 0 && found.dof == 7);
    assert_true(found.lack_of_fit_kg > 1e-3);
    loadings.offset_accepted = true;
    fit();
    assert_true(found.offset_taken == 1 && found.dof == 6);
    assert_close(found.offset_counts, 3000, 20);
    assert_close(found.slope_counts_per_kg, SLOPE, 10);
    for (int i = 0; i < 8; i++) {
        assert_close(found.point[i].residual_g, 0, 0.04);
    }
}

/* Dwells of 1 kg that rise by c - d, c and c + d a decade, and two more that rise by c: of five, s
   is d / sqrt(2), and u of their common c is s over the root of the sum of squared loads. */
static const double dwell_kg[] = {1, 1, 1, 2, 0.5}, dwell_off[] = {-1, 0, 1, 0, 0};
static const double DWELL_SQUARES = 7.25;

static void dwell(double c, double d, double late_s) {
    for (int i = 0; i < 5; i++) {
        bool is_late = i == 1 && late_s > 0;
        double decades = is_late ? log10(1 + late_s / loadings.rig.read_after_s) : 0;
        hang(dwell_kg[i], decades * c * SLOPE * dwell_kg[i]);
        loadings.point[i].late_s = is_late ? late_s : 0;
        loadings.at_reading[i] = 1.7 * c * loadings.point[i].load_counts;
        loadings.decade[i] = (c + dwell_off[i] * d) * loadings.point[i].load_counts;
    }
    fit();
}

static void creep_is_told_a_decade(void **state) {
    double u = 0.001 / sqrt(2) / sqrt(DWELL_SQUARES);
    (void)state;
    dwell(-0.0031, 0.001, 0);
    assert_close(found.creep_rel_decade, -0.0031, 1e-12);
    assert_close(found.u_creep_rel_decade, u, 1e-12);
    assert_true(found.creep_is_known == 1);
    assert_close(found.creep_at_reading, 1.7 * -0.0031, 1e-12);
}

/* t (0.99, 4) = 4.604 (GUM table G.2) times u is where chance ends. */
static void creep_within_chance_is_not_used(void **state) {
    double c = 4.604 * 0.001 / sqrt(2) / sqrt(DWELL_SQUARES);
    (void)state;
    dwell(1.02 * c, 0.001, 0);
    assert_true(found.creep_is_known == 1);
    loadings.points = 0;
    dwell(0.98 * c, 0.001, 0);
    assert_true(found.creep_is_known == 0);
    loadings.points = 0;
    dwell(0.98 * c, 0.001, 9 * loadings.rig.read_after_s);
    assert_close(found.point[1].load_counts, SLOPE * (1 + 0.98 * c), 1e-6); /* as it was read */
}

/* A decade late it has crept by c more, and stands for 1 of 7.25 squared kilograms: what is not
   known of c stays with the slope. All points lie on the line once it is on time. */
static void late_readings_are_corrected_for_creep(void **state) {
    static const double c = -0.005, d = 0.001;
    (void)state;
    loadings.rig.division_counts = 0;
    double late_s = 9 * loadings.rig.read_after_s;
    dwell(c, d, late_s);
    double squares = DWELL_SQUARES - 1 + (1 + c) * (1 + c), u_c = d / sqrt(2) / sqrt(squares);
    assert_close(found.creep_rel_decade, c, 1e-12);
    assert_close(found.slope_counts_per_kg, SLOPE, 1e-6);
    assert_close(found.point[1].load_counts, SLOPE, 1e-6);
    assert_close(found.point[1].residual_g, 0, 1e-9);
    assert_true(found.point[1].late_s == late_s);
    assert_close(found.u_slope_counts_per_kg, SLOPE * u_c / DWELL_SQUARES, 1e-9 * SLOPE);
}

/* Up 1, 2, 3 kg and down 2, 1, read a minute apart; the loop is 5 g wide at 2 kg and 2 g at 1 kg.
 */
static void the_loop_is_as_wide_as_its_widest_place(void **state) {
    static const double hangs_kg[] = {1, 2, 3, 2, 1}, loop_g[] = {0, 0, 0, 5, 2};
    (void)state;
    hang(1, 0);
    hang(2, 0);
    hang(3, 0);
    loadings.stair_masses = 3;
    loadings.stairs = 5;
    loadings.stair_begin = (struct up_indication){.time_s = 1000, .load = 70, .known = true};
    loadings.stair_end = (struct up_indication){.time_s = 1360, .load = 130, .known = true};
    for (int i = 0; i < 5; i++) { /* the zero drifts by 60 counts in six minutes */
        loadings.stair_kg[i < 3 ? i : 0] = i < 3 ? hangs_kg[i] : 1;
        loadings.stair[i] =
            (struct up_indication){.time_s = 1060 + 60 * i,
                                   .load = 80 + 10 * i + SLOPE * (hangs_kg[i] + loop_g[i] / 1e3),
                                   .known = true};
    }
    fit();
    assert_close(found.hysteresis_kg, 0.005, 1e-9);
    assert_close(found.stair[3].hysteresis_g, 5, 1e-6);
    assert_close(found.stair[4].hysteresis_g, 2, 1e-6);
    assert_true(isnan(found.stair[2].hysteresis_g));
}

/* Steps of 10 g: a load has u^2 = 100 g2 / 6. F(0.99, 2, inf) = 4.61, F(0.99, 1, inf) = 6.63
   (tables of F): means off by r, -r and 0 may have r = 8.76 g, with one term more 7.43 g; a
   loop 10.5 g; an offset, u^2 larger by 14 / (3 * 14 - 6^2), 16.1 g. */
static void what_steps_explain_tells_of_no_fault(void **state) {
    struct up_calibration c = {.slope_counts_per_kg = 1e6,
                               .unloading_slope_counts_per_kg = (double)NAN,
                               .division_counts = 1e4,
                               .points = 6};
    (void)state;
    for (int i = 0; i < 6; i++) { /* rounds apart by 6 g */
        c.point[i].mass_kg = 1 + i % 3;
        c.point[i].residual_g = (i % 3 == 0 ? 8.6 : i % 3 == 1 ? -8.6 : 0) + (i < 3 ? 3 : -3);
    }
    c.hysteresis_kg = 0.0104;
    c.offset_counts = -15.9e3;
    struct up_rounding found_all = up_calibration_rounding(&c);
    assert_true(found_all.lack_of_fit && found_all.hysteresis && found_all.offset);
    c.offset_taken = 1;
    assert_false(up_calibration_rounding(&c).lack_of_fit);
    c.offset_taken = 0;
    c.unloading_slope_counts_per_kg = 1e6;
    assert_false(up_calibration_rounding(&c).lack_of_fit);
    c.unloading_slope_counts_per_kg = (double)NAN;
    c.quadratic_counts_per_kg2 = 1;
    assert_false(up_calibration_rounding(&c).lack_of_fit);
    c.quadratic_counts_per_kg2 = 0;
    c.point[0].residual_g += 0.8; /* the mean of its mass by half of it */
    c.hysteresis_kg = 0.0107;
    c.offset_counts = -16.3e3;
    struct up_rounding none = up_calibration_rounding(&c);
    assert_false(none.lack_of_fit || none.hysteresis || none.offset);
    c.point[0].residual_g -= 0.8;
    c.division_counts = (double)NAN; /* from before it was recorded */
    assert_false(up_calibration_rounding(&c).lack_of_fit);
}

/* By hand: at half the span of 2 kg; slope 1e-4, masses 1e-4 as a rectangle, lack of fit of 3 g at
   the root mean square of the masses, a loop of 4 g that narrows with the square root of the load.
 */
static void what_a_calibration_leaves_open(void **state) {
    struct up_calibration calibration = {.slope_counts_per_kg = SLOPE,
                                         .u_slope_counts_per_kg = SLOPE * 1e-4,
                                         .unloading_slope_counts_per_kg = (double)NAN,
                                         .mass_tolerance_rel = 1e-4,
                                         .lack_of_fit_kg = 0.003,
                                         .hysteresis_kg = 0.004,
                                         .span_kg = 2,
                                         .points = 2,
                                         .point = {{.mass_kg = 1}, {.mass_kg = 2}}};
    double slope_kg = 1e-4, masses_kg = 1e-4 / sqrt(3);
    double fit_kg = 0.003 / sqrt(2.5), loop_kg = 0.002 * sqrt(0.5) / sqrt(3);
    (void)state;
    assert_close(
        up_calibration_expanded_u_kg(&calibration, -1),
        2 * sqrt(slope_kg * slope_kg + masses_kg * masses_kg + fit_kg * fit_kg + loop_kg * loop_kg),
        1e-12);
    assert_close(up_calibration_expanded_u_kg(&calibration, 0), 0, 1e-12);
}

/* Where upward and downward loads have slopes of their own, 2 kg either way read as 2 kg either
   way, on a cell that counts up and on one that counts down. */
static void each_direction_is_read_by_its_own_slope(void **state) {
    (void)state;
    for (int sign = 1; sign >= -1; sign -= 2) {
        double slope = sign * SLOPE;
        struct up_calibration two = {.slope_counts_per_kg = slope,
                                     .unloading_slope_counts_per_kg = 0.9 * slope};
        assert_close(up_calibration_linear_counts(&two, 2 * slope) / slope, 2, 1e-12);
        assert_close(up_calibration_linear_counts(&two, -2 * 0.9 * slope) / slope, -2, 1e-12);
    }
}

#define FIT(test) cmocka_unit_test_setup(test, begin)

/* ---- a known mass by an earlier calibration ---- */

static struct up_calibration earlier;

static void begin_known_masses(void) {
    earlier = (struct up_calibration){.slope_counts_per_kg = SLOPE,
                                      .u_slope_counts_per_kg = 3e-4 * SLOPE,
                                      .unloading_slope_counts_per_kg = (double)NAN,
                                      .u_unloading_slope_counts_per_kg = (double)NAN,
                                      .span_kg = 4,
                                      .dof = 100};
    loadings.points = 0;
    loadings.rig.mass_class = UP_MASSES_UNCLASSED;
    loadings.rig.mass_tolerance_rel = 1e-3;
}

/* Read four times, each with 1 g. */
static void hang_known(double mass_kg, double slope_off_rel) {
    for (int i = 0; i < 4; i++) {
        hang(mass_kg, slope_off_rel * SLOPE * mass_kg);
        loadings.point[loadings.points - 1].u_plateau_counts = 600;
    }
}

static struct up_known_mass known_mass(double mass_kg, double slope_off_rel) {
    begin_known_masses();
    hang_known(mass_kg, slope_off_rel);
    return up_calibration_known_mass(&earlier, &loadings);
}

/* 2 kg: k = 2 of a slope known to 3e-4 is 1.2 g, of four readings of 1 g each 1 g, together 1.562
   g; the mass's own tolerance of 2 g is added, since it is the same each time. */
static void a_known_mass_bears_a_calibration_out(void **state) {
    (void)state;
    struct up_known_mass check = known_mass(2, 0);
    assert_close(check.mass_kg, 2, 1e-12);
    assert_close(check.reading_kg, 2, 1e-12);
    assert_close(check.bound_kg, 2e-3 + hypot(1.2e-3, 1e-3), 1e-9);
    assert_true(check.agrees && check.heavy_enough && check.masses_enough);
    assert_true(known_mass(2, 1.75e-3).agrees && known_mass(2, -1.75e-3).agrees);
    assert_false(known_mass(2, 1.80e-3).agrees);
    assert_false(known_mass(2, -1.80e-3).agrees);
    assert_false(known_mass(2, -2).agrees);   /* the sign is another cell's */
    assert_false(known_mass(-2, 0.1).agrees); /* taken off */
    assert_true(known_mass(-2, 0).agrees);
    assert_false(known_mass(2, (double)NAN).agrees);
}

/* Errors of two masses do not make up for one another, and the worst is the one that is named. */
static void each_known_mass_counts(void **state) {
    (void)state;
    begin_known_masses();
    hang_known(2, 5e-3);
    hang_known(1, -1e-2);
    struct up_known_mass check = up_calibration_known_mass(&earlier, &loadings);
    assert_false(check.agrees);
    assert_close(fabs(check.reading_kg - check.mass_kg), 10e-3, 1e-9);
}

/* What leaves half of everything open agrees with anything. */
static void a_vague_calibration_is_not_borne_out(void **state) {
    (void)state;
    begin_known_masses();
    earlier.u_slope_counts_per_kg = 0.1 * SLOPE;
    hang_known(2, 0.05);
    assert_false(up_calibration_known_mass(&earlier, &loadings).agrees);
}

static void a_bent_calibration_wants_two_masses(void **state) {
    (void)state;
    begin_known_masses();
    earlier.quadratic_counts_per_kg2 = 1e-3;
    hang_known(2, 0);
    assert_false(up_calibration_known_mass(&earlier, &loadings).masses_enough);
    hang_known(1.2, 0);
    assert_false(up_calibration_known_mass(&earlier, &loadings).masses_enough);
    hang_known(1, 0);
    assert_true(up_calibration_known_mass(&earlier, &loadings).masses_enough);
}

static void a_light_mass_says_too_little(void **state) {
    (void)state;
    assert_true(known_mass(1.001, 0).heavy_enough);
    assert_false(known_mass(0.999, 0).heavy_enough);
    loadings.points = 0;
    assert_false(up_calibration_known_mass(&earlier, &loadings).agrees);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        FIT(points_on_a_line_leave_their_rounding),
        FIT(what_a_calibration_leaves_open),
        FIT(each_direction_is_read_by_its_own_slope),
        FIT(slopes_differ_beyond_the_u_of_both),
        FIT(lack_of_fit_is_the_scatter_of_the_means),
        FIT(what_steps_explain_tells_of_no_fault),
        FIT(creep_is_told_a_decade),
        FIT(the_tares_tell_the_scatter_of_any_load),
        FIT(rounding_weighs_alike),
        FIT(a_rounding_does_not_average_out),
        FIT(replicates_tell_the_scatter_that_grows),
        FIT(the_slope_is_no_surer_than_its_history),
        FIT(an_offset_that_was_accepted_is_part_of_the_line),
        FIT(creep_within_chance_is_not_used),
        FIT(a_known_mass_bears_a_calibration_out),
        FIT(a_light_mass_says_too_little),
        FIT(each_known_mass_counts),
        FIT(a_vague_calibration_is_not_borne_out),
        FIT(a_bent_calibration_wants_two_masses),
        FIT(late_readings_are_corrected_for_creep),
        FIT(the_loop_is_as_wide_as_its_widest_place),
    };
    return cmocka_run_group_tests_name("fit", tests, NULL, NULL);
}
