/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Calibration in full on the simulated tank: up and down, both ways, straight or bent. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "virtual_bench.h"

static const double masses_kg[] = {0.5, 1, 2, 4};
static struct virtual_bench bench;

/* A cell without any vice but white noise. */
static void quiet(unsigned long seed) {
    virtual_bench_begin(&bench, seed);
    bench.cell.creep_rel_low = bench.cell.creep_rel_high = bench.cell.hysteresis_rel = 0;
    bench.cell.curvature_rel = bench.cell.drift_counts_min = bench.cell.walk_counts_sqrt_s = 0;
    bench.cell.correlated_counts = bench.cell.bit_slip_chance = 0;
    bench.declared.hang_sd_kg = bench.declared.item_temp_halfwidth_k = 0;
    bench.declared.swing_most_rad = 0;
    bench.declared.u_thermometer_k = bench.declared.mass_tolerance_rel = 0;
    virtual_bench_restart(&bench, seed);
}

static void calibrate(const double *kg, unsigned masses, unsigned rounds) {
    struct up_failure failure = {0};
    if (!virtual_bench_calibrate(&bench, kg, masses, rounds, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static struct up_result measure(const char *name) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(gear[i].name, name) == 0 &&
            virtual_bench_measure(&bench, &gear[i], 3, NULL, 0, &result, &results, &failure)) {
            return result;
        }
    }
    fail_msg("%s: %s", name, failure.text);
    return result;
}

static double halfwidth(const struct up_result *result, enum up_input input) {
    return result->weighing.term[input].u * sqrt(3);
}

/* A lighter load has a narrower loop than the masses' span. */
static double loop_share(const struct up_result *result) {
    const struct up_calibration *c = &bench.calibration;
    double load_kg =
        fabs(result->weighing.term[UP_INPUT_WATER_LOAD].value / c->slope_counts_per_kg);
    return sqrt(load_kg / c->span_kg);
}

static int end(void **state) {
    (void)state;
    virtual_bench_end(&bench);
    return 0;
}

/* ---- up and down ---- */

static char stair_text[160];
static double hung_kg[32];
static unsigned hung;

static bool note_masses(struct virtual_bench *b, struct up_procedure *procedure,
                        const struct up_ask *ask) {
    (void)b;
    (void)procedure;
    if (ask->action == UP_ACTION_HANG_MASS && hung < 32) {
        hung_kg[hung++] = ask->mass_kg;
        memcpy(stair_text, ask->text, sizeof stair_text);
    }
    return false;
}

static void the_staircase_goes_up_and_down_without_emptying(void **state) {
    static const double order_kg[] = {2, 1, 2, 0.5, 1, 0.5, 1, 2, 1, 0.5};
    (void)state;
    quiet(31);
    hung = 0;
    bench.hook = note_masses;
    bench.staircase = true;
    calibrate((const double[]){1, 2, 0.5, 1}, 4, 1);
    assert_int_equal(hung, 10);
    for (unsigned i = 0; i < hung; i++) {
        assert_true(hung_kg[i] == order_kg[i]);
    }
    assert_non_null(strstr(stair_text, "ithout emptying"));
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 6); /* none within the staircase */
    const struct up_calibration *c = &bench.calibration;
    assert_int_equal(c->stairs, 5);
    assert_true(c->hysteresis_kg >= 0 && c->hysteresis_kg < 2e-4);
    assert_true(isnan(c->stair[2].hysteresis_g) && !c->stair[2].falling);
    assert_true(c->stair[3].falling && c->stair[3].mass_kg == 1);
}

/* The loop that the tank's elements draw: 4 kg wide by the share drawn, at most 2e-4 of it; the
   exact width is known from a cell that is set to have it all. */
static void hysteresis_is_found_with_its_sign(void **state) {
    double most_kg = 0;
    (void)state;
    for (unsigned long seed = 40; seed < 44; seed++) {
        quiet(seed);
        bench.cell.hysteresis_rel = 1e-3; /* rectangular from 0: another share each session */
        bench.staircase = true;
        virtual_bench_restart(&bench, seed);
        calibrate(masses_kg, 4, 1);
        const struct up_calibration *c = &bench.calibration;
        assert_true(c->hysteresis_kg < 4e-3);
        assert_true(c->stair[5].hysteresis_g > -0.05); /* falling reads more */
        most_kg = fmax(most_kg, c->hysteresis_kg);
        struct up_result result = measure("Lead block");
        double beyond_kg = sqrt(fmax(0, pow(c->hysteresis_kg / 2, 2) - 3 * pow(c->scatter_kg, 2)));
        assert_true(fabs(halfwidth(&result, UP_INPUT_HYSTERESIS) -
                         beyond_kg * loop_share(&result)) < 1e-12);
        virtual_bench_end(&bench);
    }
    assert_true(most_kg > 5e-4);
    bench.tank = NULL;
}

/* The tares of the loadings show how the zero returns; older calibrations kept none of it, and
   masses that were only hung say nothing about loads that lift. */
static void hysteresis_not_looked_for_is_told_by_the_tares_or_data_sheets(void **state) {
    (void)state;
    quiet(32);
    calibrate(masses_kg, 4, 1);
    assert_true(isnan(bench.calibration.hysteresis_kg));
    assert_int_equal(bench.calibration.stairs, 0);
    struct up_result result = measure("Lead block");
    assert_true(halfwidth(&result, UP_INPUT_HYSTERESIS) == 0);
    assert_non_null(strstr(result.method, "zero return by its tares"));
    result = measure("Plover fin");
    assert_true(halfwidth(&result, UP_INPUT_HYSTERESIS) > 0);
    bench.calibration.scatter_kg = (double)NAN;
    result = measure("Lead block");
    assert_true(fabs(halfwidth(&result, UP_INPUT_HYSTERESIS) - 5e-4 * 4 * loop_share(&result)) <
                1e-12);
    assert_non_null(strstr(result.method, "hysteresis by data sheets"));
}

static bool skip_the_stairs(struct virtual_bench *b, struct up_procedure *procedure,
                            const struct up_ask *ask) {
    (void)b;
    return strstr(ask->text, "ithout emptying") != NULL &&
           up_procedure_answer(procedure, ask->id, UP_ANSWER_SKIP, 0, NULL);
}

static void a_skipped_stair_ends_the_staircase_not_the_calibration(void **state) {
    (void)state;
    quiet(33);
    bench.staircase = true;
    bench.hook = skip_the_stairs;
    calibrate(masses_kg, 4, 1);
    assert_int_equal(bench.calibration.points, 4);
    assert_true(isnan(bench.calibration.hysteresis_kg));
}

static bool again_at_the_top(struct virtual_bench *b, struct up_procedure *procedure,
                             const struct up_ask *ask) {
    bool *done = b->context;
    if (strstr(ask->text, "ithout emptying") == NULL || ask->mass_kg != 4 || *done) {
        return false;
    }
    *done = true;
    return up_procedure_answer(procedure, ask->id, UP_ANSWER_AGAIN, 0, NULL);
}

static void a_spoilt_staircase_begins_anew_with_a_tare(void **state) {
    bool done = false;
    (void)state;
    quiet(34);
    bench.staircase = true;
    bench.hook = again_at_the_top;
    bench.context = &done;
    calibrate(masses_kg, 4, 1);
    assert_true(done);
    assert_int_equal(bench.calibration.stairs, 7);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 7); /* five tares, one more, the end */
    assert_true(bench.calibration.hysteresis_kg < 2e-4);
}

/* 10 g of creep in all: the staircase shows grams of it, as it was read. */
static void creep_is_told_and_stays_in_the_loop(void **state) {
    (void)state;
    quiet(35);
    bench.cell.creep_rel_low = bench.cell.creep_rel_high = 0.0025;
    bench.staircase = true;
    virtual_bench_restart(&bench, 35);
    calibrate(masses_kg, 4, 2);
    assert_true(bench.calibration.creep_rel_decade > 5e-4 && bench.calibration.creep_is_known == 1);
    double ratio = bench.calibration.creep_at_reading / bench.calibration.creep_rel_decade;
    assert_true(ratio > 0.5 && ratio < 2);
    assert_true(bench.calibration.hysteresis_kg > 1e-3);
}

/* A cell that does not creep, on a bench that warms: the tares drift as the masses do. The drift
   drawn is 25 counts a second at most, which would show as a creep of 0.0003 and more. */
static void drift_does_not_pass_for_creep(void **state) {
    (void)state;
    for (unsigned long seed = 60; seed < 64; seed++) {
        quiet(seed);
        bench.cell.drift_counts_min = 1500;
        bench.cell.white_counts = 5;
        virtual_bench_restart(&bench, seed);
        calibrate(masses_kg, 4, 1);
        assert_true(bench.calibration.creep_is_known == 0);
        assert_true(fabs(bench.calibration.creep_rel_decade) < 2e-4);
        assert_true(fabs(bench.calibration.creep_at_reading) < 2e-4);
        virtual_bench_end(&bench);
    }
}

/* ---- both ways ---- */

static const double both_kg[] = {0.5, -0.5, 1, -1, 2, -2};

static void masses_taken_off_give_the_same_line(void **state) {
    (void)state;
    quiet(36);
    bench.cell.counts_per_kg_spread_rel = 0;
    virtual_bench_restart(&bench, 36);
    calibrate(both_kg, 6, 2);
    const struct up_calibration *c = &bench.calibration;
    assert_int_equal(c->points, 12);
    assert_true(c->point[1].mass_kg == -0.5 && c->point[1].load_counts < 0);
    assert_true(fabs(c->slope_counts_per_kg / (600000 * (1 - 1.19 / 8000)) - 1) < 3e-5);
    assert_true(isnan(c->unloading_slope_counts_per_kg));
    assert_true(up_calibration_linear_counts(c, -1000) == -1000);
}

/* What hangs as the tare is a thousandth more than was said. */
static bool heavier_tares(struct virtual_bench *b, struct up_procedure *procedure,
                          const struct up_ask *ask) {
    if (strstr(ask->text, "take it off next") == NULL) {
        return false;
    }
    tank_act(b->tank, "hang-mass", NULL, ask->mass_kg * 1.001, tank_time_s(b->tank));
    return up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL);
}

static void directions_that_differ_get_a_slope_each(void **state) {
    (void)state;
    quiet(37);
    bench.hook = heavier_tares;
    calibrate(both_kg, 6, 2);
    const struct up_calibration *c = &bench.calibration;
    double ratio = c->unloading_slope_counts_per_kg / c->slope_counts_per_kg;
    assert_true(fabs(ratio - 1.001) < 1e-4);
    assert_true(fabs(up_calibration_linear_counts(c, -1e5 * ratio) + 1e5) < 1e-6);
    assert_true(up_calibration_linear_counts(c, 1e5) == 1e5);
    assert_true(fabs(c->point[1].residual_g) < 0.3); /* 0.5 g where one slope served both */
}

static void taken_off_only(void **state) {
    (void)state;
    quiet(38);
    calibrate((const double[]){-0.5, -1, -2}, 3, 1);
    assert_int_equal(bench.calibration.points, 3);
    assert_true(bench.calibration.slope_counts_per_kg > 0);
    assert_true(bench.calibration.span_kg == 2);
}

/* ---- straight or bent ---- */

static void a_bent_cell_is_made_straight(void **state) {
    (void)state;
    quiet(39);
    bench.cell.curvature_rel = 5e-3; /* rectangular, either way: seed 39 draws enough of it */
    virtual_bench_restart(&bench, 39);
    calibrate(masses_kg, 4, 3);
    const struct up_calibration *c = &bench.calibration;
    assert_true(c->quadratic_f > c->quadratic_f_limit);
    assert_true(c->quadratic_counts_per_kg2 != 0);
    for (unsigned i = 0; i < c->points; i++) {
        assert_true(fabs(c->point[i].residual_g) < 0.2);
    }
    double counts = (c->slope_counts_per_kg + 3 * c->quadratic_counts_per_kg2) * 3;
    assert_true(fabs(up_calibration_linear_counts(c, counts) / c->slope_counts_per_kg - 3) < 1e-9);
    struct up_result result = measure("Lead block");
    double truth_g = tank_truth_in_tank_g(bench.tank, "Lead block");
    assert_true(fabs(result.answer.buoyancy_kg.value * 1e3 - truth_g) < 0.6);
}

static void a_straight_cell_stays_straight(void **state) {
    (void)state;
    quiet(45);
    calibrate(masses_kg, 4, 2);
    assert_true(bench.calibration.quadratic_counts_per_kg2 == 0);
    assert_true(bench.calibration.quadratic_f >= 0);
    calibrate(masses_kg, 3, 1); /* three loadings leave one degree of freedom: no test */
    assert_true(isnan(bench.calibration.quadratic_f));
}

/* ---- masses, temperature, preload ---- */

static void a_class_gives_the_tolerance(void **state) {
    struct up_failure failure = {0};
    (void)state;
    quiet(46);
    bench.rig.mass_class = UP_MASSES_M1;
    calibrate(masses_kg, 4, 1);
    assert_true(fabs(bench.calibration.mass_tolerance_rel - 5e-5) < 1e-12);
    assert_string_equal(bench.calibration.mass_class, "M1");
    assert_false(
        virtual_bench_calibrate(&bench, (const double[]){0.5, 1, 2.00005}, 3, 1, &failure));
    assert_non_null(strstr(failure.text, "class M1"));
}

static void temperature_since_the_calibration_is_carried(void **state) {
    (void)state;
    quiet(47);
    calibrate(masses_kg, 4, 1);
    assert_true(bench.calibration.temp_c == bench.rig.air.temp_c.value);
    struct up_result result = measure("Lead block");
    assert_true(result.weighing.term[UP_INPUT_CELL_TEMP].u == 0);
    bench.rig.air.temp_c.value -= 8;
    result = measure("Lead block");
    assert_true(fabs(halfwidth(&result, UP_INPUT_CELL_TEMP) - 4e-4) < 1e-12);
    bench.calibration.temp_c = (double)NAN; /* one that was stored before it was recorded */
    result = measure("Lead block");
    assert_true(fabs(halfwidth(&result, UP_INPUT_CELL_TEMP) - 5e-4) < 1e-12);
}

static bool no_preload(struct virtual_bench *b, struct up_procedure *procedure,
                       const struct up_ask *ask) {
    return ask->action == UP_ACTION_HANG_MASS && b->asked[UP_ACTION_HANG_MASS] == 1 &&
           up_procedure_answer(procedure, ask->id, UP_ANSWER_SKIP, 0, NULL);
}

static void a_skipped_preload_is_remembered(void **state) {
    (void)state;
    quiet(48);
    calibrate(masses_kg, 3, 1);
    assert_true(bench.calibration.preloaded == 1);
    memset(bench.asked, 0, sizeof bench.asked);
    bench.hook = no_preload;
    calibrate(masses_kg, 3, 1);
    assert_true(bench.calibration.preloaded == 0);
}

/* ---- what hangs is not what is said ---- */

static struct {
    double with_each_kg; /* beside each mass: a hook of its own */
    double off_kg, of_kg, noise_counts, tolerance_rel;
    bool no_preload;
    enum up_answer_word word; /* to the first question; to others done */
    unsigned questions;
    char first[240];
} hands;

/* Asked, the person puts it right, unless it is accepted. */
static bool hang_so(struct virtual_bench *b, struct up_procedure *procedure,
                    const struct up_ask *ask) {
    enum up_answer_word word = UP_ANSWER_DONE;
    if (ask->action == UP_ACTION_CONFIRM && hands.questions++ == 0) {
        memcpy(hands.first, ask->text, sizeof hands.first);
        word = hands.word;
        if (word == UP_ANSWER_DONE) {
            hands.with_each_kg = hands.off_kg = 0;
        }
    } else if (ask->action == UP_ACTION_HANG_MASS) {
        double mass_kg = ask->mass_kg + hands.with_each_kg;
        mass_kg += ask->mass_kg == hands.of_kg ? hands.off_kg : 0;
        if (!hands.no_preload) {
            tank_act(b->tank, "hang-mass", NULL, mass_kg, tank_time_s(b->tank));
        }
        hands.no_preload = false;
    } else if (ask->action != UP_ACTION_CONFIRM) {
        return false;
    }
    up_procedure_answer(procedure, ask->id, word, 0, NULL);
    return true;
}

static const struct up_calibration *calibrate_so(unsigned long seed, unsigned rounds) {
    quiet(seed);
    bench.rig.mass_tolerance_rel = fmax(bench.rig.mass_tolerance_rel, hands.tolerance_rel);
    bench.cell.white_counts = hands.noise_counts > 0 ? hands.noise_counts : bench.cell.white_counts;
    virtual_bench_restart(&bench, seed);
    bench.hook = hang_so;
    calibrate(masses_kg, 4, rounds);
    return &bench.calibration;
}

static double grams(const struct up_calibration *c, double counts) {
    return counts / c->slope_counts_per_kg * 1e3;
}

/* A hook of 27.5 g that comes with each mass: one question, and put right it is gone. */
static void an_offset_is_first_a_question(void **state) {
    (void)state;
    memset(&hands, 0, sizeof hands);
    hands.with_each_kg = 0.0275;
    const struct up_calibration *c = calibrate_so(51, 2);
    assert_int_equal(hands.questions, 1);
    assert_non_null(strstr(hands.first, "Each mass reads 27.5 g too heavy"));
    assert_non_null(strstr(hands.first, "type accept"));        /* the text is whole */
    assert_int_equal(bench.asked[UP_ACTION_HANG_MASS], 1 + 16); /* the preload stands */
    assert_true(c->points == 8 && c->offset_taken == 0);
    assert_true(fabs(grams(c, c->offset_counts)) < 0.1);
}

static void an_offset_that_is_confirmed_is_a_signed_term(void **state) {
    (void)state;
    memset(&hands, 0, sizeof hands);
    hands.with_each_kg = 0.0275;
    hands.word = UP_ANSWER_ACCEPT;
    const struct up_calibration *c = calibrate_so(51, 2);
    assert_int_equal(hands.questions, 1);
    assert_non_null(strstr(bench.note, "accepted by the operator: Each mass"));
    assert_int_equal(bench.asked[UP_ACTION_HANG_MASS], 1 + 8);
    assert_true(c->offset_taken == 1 && up_calibration_offset_matters(c));
    assert_true(fabs(grams(c, c->offset_counts) - 27.5) < 0.1);
    bench.hook = NULL;
    struct up_result result = measure("Lead block");
    assert_true(fabs(result.weighing.term[UP_INPUT_OFFSET].value - 0.0275) < 1e-4);
}

/* Beyond chance on a cell as quiet as this, and less than one weighing shows. */
static void a_small_offset_is_no_question(void **state) {
    (void)state;
    memset(&hands, 0, sizeof hands);
    hands.noise_counts = 400; /* one loading scatters by 0.1 g, the mean of 24 by less */
    hands.with_each_kg = 0.00015;
    const struct up_calibration *c = calibrate_so(64, 6);
    assert_int_equal(hands.questions, 0);
    print_message("# offset %.3f g, u %.3f g, scatter %.3f g\n", grams(c, c->offset_counts),
                  grams(c, c->u_offset_counts), c->scatter_kg * 1e3);
    assert_true(c->offset_counts > 3 * c->u_offset_counts); /* t(0.99, 22) = 2.82 */
    assert_true(c->offset_taken == 1 && !up_calibration_offset_matters(c));
}

/* The heaviest of the set, so that no loading before it shows it: by 1.25 % too heavy. */
static void a_mass_off_the_others_is_asked_about(void **state) {
    (void)state;
    memset(&hands, 0, sizeof hands);
    hands.of_kg = 4;
    hands.off_kg = 0.05;
    const struct up_calibration *c = calibrate_so(53, 2);
    assert_int_equal(hands.questions, 1);
    assert_non_null(strstr(hands.first, "the one of 4 kg weighs 50.0 g too much"));
    assert_non_null(strstr(hands.first, "type accept"));
    assert_int_equal(c->points, 8);
    assert_true(c->lack_of_fit_kg < 1e-4);
    virtual_bench_end(&bench);
    hands.off_kg = 0.05; /* kept: the line says what it is worth, and takes no offset */
    hands.word = UP_ANSWER_ACCEPT;
    hands.questions = 0;
    c = calibrate_so(53, 2);
    assert_int_equal(hands.questions, 1);
    assert_true(c->lack_of_fit_kg > 5e-3 && c->offset_taken == 0);
    virtual_bench_end(&bench);
    hands.tolerance_rel = 0.02; /* of 4 kg: 80 g, which its papers allow */
    hands.questions = 0;
    hands.first[0] = '\0';
    calibrate_so(53, 2);
    assert_null(strstr(hands.first, "the one of 4 kg"));
}

/* Before, the masses were held against it: "by the loadings before, -inf kg hang". */
static void a_preload_that_never_hung_is_asked_about(void **state) {
    (void)state;
    for (int accepted = 0; accepted < 2; accepted++) {
        virtual_bench_end(&bench);
        memset(&hands, 0, sizeof hands);
        hands.no_preload = true;
        hands.word = accepted ? UP_ANSWER_ACCEPT : UP_ANSWER_DONE;
        const struct up_calibration *c = calibrate_so(54, 2);
        assert_int_equal(hands.questions, 1);
        assert_non_null(strstr(hands.first, "The load has not moved"));
        assert_non_null(strstr(hands.first, "Did the heaviest mass hang"));
        assert_true(c->points == 8 && fabs(grams(c, c->offset_counts)) < 0.1);
    }
}

/* ---- readings that are typed ---- */

static const char SCALE[] = "[rig]\nid = scale\n[port]\nkind = typed\n"
                            "[line]\nlayout = bare\nload_unit = kg\n"
                            "[sensor]\ndivision_counts = 0.01\ncapacity_kg = 20\n"
                            "u_thermometer_k = 0.5\n[tank]\nwater = fresh\ndepth_m = 0.3\n"
                            "ballast_kg = 2\n";

static double scale_shows_kg(const struct up_ask *ask) {
    return 1.9 + (ask->action == UP_ACTION_HANG_MASS ? ask->mass_kg : 0);
}

/* Nobody types what hangs at the preload: it is no reading, of 0 kg or any other. */
static void a_typed_preload_is_not_read(void **state) {
    struct up_calibrate_plan calibrate = {.mass_kg = {1, 2, 4}, .masses = 3};
    struct up_procedure *procedure;
    struct up_calibration calibration;
    struct up_failure failure = {0};
    struct up_event event;
    unsigned plateaus = 0;
    (void)state;
    assert_true(up_rig_parse("scale.ini", SCALE, &bench.rig, &failure));
    calibrate.rig = &bench.rig;
    assert_true(up_procedure_calibrate(&calibrate, &procedure, &failure));
    while (up_procedure_next(procedure, &event)) {
        if (event.kind == UP_EVENT_ASK) {
            enum up_answer_word word = event.ask.wants_number ? UP_ANSWER_NUMBER : UP_ANSWER_DONE;
            assert_true(up_procedure_answer(procedure, event.ask.id, word,
                                            scale_shows_kg(&event.ask), &failure));
        } else if (event.kind == UP_EVENT_PLATEAU) {
            assert_string_not_equal(event.plateau_of, "preload");
            assert_true(event.plateau.load >= 1.9);
            plateaus++;
        }
    }
    assert_int_equal(plateaus, 7); /* three masses, a tare around each */
    assert_true(up_procedure_calibration(procedure, &calibration, &failure));
    assert_true(calibration.preloaded == 1);
    assert_true(fabs(calibration.slope_counts_per_kg - 1) < 1e-9);
    up_procedure_destroy(procedure);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(the_staircase_goes_up_and_down_without_emptying, end),
        cmocka_unit_test(hysteresis_is_found_with_its_sign),
        cmocka_unit_test_teardown(hysteresis_not_looked_for_is_told_by_the_tares_or_data_sheets,
                                  end),
        cmocka_unit_test_teardown(a_skipped_stair_ends_the_staircase_not_the_calibration, end),
        cmocka_unit_test_teardown(a_spoilt_staircase_begins_anew_with_a_tare, end),
        cmocka_unit_test_teardown(creep_is_told_and_stays_in_the_loop, end),
        cmocka_unit_test_teardown(drift_does_not_pass_for_creep, end),
        cmocka_unit_test_teardown(masses_taken_off_give_the_same_line, end),
        cmocka_unit_test_teardown(directions_that_differ_get_a_slope_each, end),
        cmocka_unit_test_teardown(taken_off_only, end),
        cmocka_unit_test_teardown(a_bent_cell_is_made_straight, end),
        cmocka_unit_test_teardown(a_straight_cell_stays_straight, end),
        cmocka_unit_test_teardown(a_class_gives_the_tolerance, end),
        cmocka_unit_test_teardown(temperature_since_the_calibration_is_carried, end),
        cmocka_unit_test_teardown(a_skipped_preload_is_remembered, end),
        cmocka_unit_test_teardown(an_offset_is_first_a_question, end),
        cmocka_unit_test_teardown(an_offset_that_is_confirmed_is_a_signed_term, end),
        cmocka_unit_test_teardown(a_small_offset_is_no_question, end),
        cmocka_unit_test_teardown(a_mass_off_the_others_is_asked_about, end),
        cmocka_unit_test_teardown(a_preload_that_never_hung_is_asked_about, end),
        cmocka_unit_test(a_typed_preload_is_not_read),
    };
    return cmocka_run_group_tests_name("calibrating", tests, NULL, NULL);
}
