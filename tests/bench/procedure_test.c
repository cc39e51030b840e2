/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "virtual_bench.h"

static const double masses_kg[] = {0.5, 1, 2};
static struct virtual_bench bench;

static int end(void **state) {
    (void)state;
    virtual_bench_end(&bench);
    return 0;
}

static void calibration_finds_slope_and_stores_points(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 3);
    bench.cell.counts_per_kg_spread_rel = 0;
    virtual_bench_restart(&bench, 3);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 2, &failure));
    const struct up_calibration *c = &bench.calibration;
    /* The cell counts force; a conventional kilogram weighs 1 - rho_a / 8000 of it in air. */
    double expected = 600000 * (1 - 1.19 / 8000);
    assert_true(fabs(c->slope_counts_per_kg / expected - 1) < 3e-5);
    assert_true(fabs(c->slope_counts_per_kg - expected) < 5 * c->u_slope_counts_per_kg + 6);
    assert_int_equal(c->points, 6);
    assert_true(c->dof == 5);
    assert_true(fabs(c->offset_counts) < 4 * c->u_offset_counts);
    assert_true(fabs(c->creep_rel_decade) < 1e-4);
    assert_int_equal(bench.asked[UP_ACTION_HANG_MASS], 7);      /* the preload and six loadings */
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 7); /* a tare round each */
    assert_int_equal(bench.faults, 0);
    assert_string_equal(c->bench, "simulated-tank");
}

static void creep_is_seen_with_its_sign(void **state) {
    struct up_failure failure = {0};
    (void)state;
    for (int sign = -1; sign <= 1; sign += 2) {
        virtual_bench_quiet(&bench, 4);
        bench.cell.creep_rel_low = bench.cell.creep_rel_high = sign * 0.003;
        virtual_bench_restart(&bench, 4);
        assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
        assert_true(bench.calibration.creep_rel_decade * sign > 0.0004);
        virtual_bench_end(&bench);
    }
    bench.tank = NULL;
}

static void a_quiet_tank_gives_the_truth(void **state) {
    static const char *const names[] = {"Heron fin", "Plover fins, pair", "Lead block"};
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 5);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 2, &failure));
    for (size_t i = 0; i < 3; i++) {
        struct up_result result;
        unsigned results = 0;
        const struct tank_item *item = virtual_bench_gear(names[i]);
        bench.trials = 0;
        if (!virtual_bench_measure(&bench, item, 3, NULL, 0, &result, &results, &failure)) {
            fail_msg("%s", failure.text);
        }
        assert_int_equal(results, 1);
        assert_int_equal(bench.trials, 3);
        double truth_g = tank_truth_in_tank_g(bench.tank, item->name);
        double error_g = result.answer.buoyancy_kg.value * 1e3 - truth_g;
        assert_true(fabs(error_g) < 0.6);
        assert_true(fabs(result.answer.volume_m3 / item->volume_m3 - 1) < 2e-3);
        assert_true(fabs(result.answer.mass_kg / item->mass_kg - 1) < 3e-4);
        assert_int_equal(result.trials, 3);
        assert_true(result.measured);
        assert_string_equal(result.water.name, "tank");
    }
}

static void each_trial_has_tares_around_it_and_is_shaken(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 6);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    memset(bench.asked, 0, sizeof bench.asked);
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Dabchick boot"), 4, NULL, 0,
                                      &result, &results, &failure));
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 0); /* the dry weighing left one */
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 4);
    assert_int_equal(bench.asked[UP_ACTION_LIFT_OUT], 4);
    assert_true(bench.asked[UP_ACTION_SHAKE] > 6); /* 30 g of air take more than one shake */
    assert_int_equal(bench.asked[UP_ACTION_HANG_IN_AIR], 1);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_AIR], 2);
    assert_int_equal(bench.asked[UP_ACTION_READ_TEMPERATURE], 0); /* the stream carries it */
}

static void glitches_do_not_shift_the_result(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    const struct tank_item *item = virtual_bench_gear("Lead block");
    (void)state;
    virtual_bench_quiet(&bench, 7);
    bench.cell.bit_slip_chance = 0.1;
    virtual_bench_restart(&bench, 7);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 2, &failure));
    assert_true(virtual_bench_measure(&bench, item, 3, NULL, 0, &result, &results, &failure));
    double error_g =
        result.answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(bench.tank, item->name);
    assert_true(fabs(error_g) < 0.6);
}

/* ---- an operator who does not do as asked ---- */

static bool stop_at_third_immersion(struct virtual_bench *b, struct up_procedure *procedure,
                                    const struct up_ask *ask) {
    if (ask->action == UP_ACTION_IMMERSE && b->asked[UP_ACTION_IMMERSE] == 3) {
        return up_procedure_answer(procedure, ask->id, UP_ANSWER_STOP, 0, NULL);
    }
    return false;
}

static void stopping_early_keeps_the_completed_trials(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 8);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    bench.hook = stop_at_third_immersion;
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Heron fin"), 5, NULL, 0, &result,
                                      &results, &failure));
    assert_int_equal(result.trials, 2);
}

static bool never_in_air(struct virtual_bench *b, struct up_procedure *procedure,
                         const struct up_ask *ask) {
    (void)b;
    return ask->action == UP_ACTION_HANG_IN_AIR &&
           up_procedure_answer(procedure, ask->id, UP_ANSWER_SKIP, 0, NULL);
}

static void without_a_dry_weighing_no_other_water_is_told(void **state) {
    static const struct up_water sea = {
        .name = "sea", .model = UP_WATER_SEA, .temp_c = 15, .salinity_g_kg = 35};
    struct up_failure failure = {0};
    struct up_result result[2];
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 9);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Heron fin"), 2, &sea, 1, result,
                                      &results, &failure));
    assert_int_equal(results, 2);
    bench.hook = never_in_air;
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Heron fin"), 2, &sea, 1, result,
                                      &results, &failure));
    assert_int_equal(results, 1);
    assert_true(isnan(result[0].answer.volume_m3));
}

static bool never_shaken(struct virtual_bench *b, struct up_procedure *procedure,
                         const struct up_ask *ask) {
    (void)b;
    return ask->action == UP_ACTION_SHAKE &&
           up_procedure_answer(procedure, ask->id, UP_ANSWER_SKIP, 0, NULL);
}

/* 5 % of 870 g may be air: 164 g of lift are positive with all of that and with none, 128 g too;
   the 8 g of a nearly neutral fin are nothing that a class can stand on. */
static void no_class_hangs_on_the_air_of_an_item_never_shaken(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 20);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Coot fin"), 3, NULL, 0, &result,
                                      &results, &failure));
    assert_int_equal(result.answer.class, UP_CLASS_NEUTRAL);
    bench.hook = never_shaken;
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Coot fin"), 3, NULL, 0, &result,
                                      &results, &failure));
    assert_int_equal(result.answer.class, UP_CLASS_UNDECIDED);
    assert_true(result.answer.expanded_u_kg > 0.02);
    assert_false(result.question.air_share_known);
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Plover fin"), 3, NULL, 0, &result,
                                      &results, &failure));
    assert_int_equal(result.answer.class, UP_CLASS_POSITIVE);
}

static void an_offset_is_told_when_it_matters(void **state) {
    struct up_calibration c = {.slope_counts_per_kg = 600000,
                               .dof = 5,
                               .scatter_kg = 1.2e-4, /* 72 counts */
                               .scatter_rel = 1e-4,  /* 30 counts of 0.5 kg: 78 in all */
                               .lack_of_fit_kg = 0,
                               .hysteresis_kg = 0,
                               .span_kg = 2,
                               .unloading_slope_counts_per_kg = (double)NAN,
                               .points = 2,
                               .point = {{.mass_kg = 2}, {.mass_kg = 0.5}}};
    (void)state;
    c.u_offset_counts = 20; /* t(0.99, 4) = 4.604 (GUM table G.2): 92 counts */
    c.offset_counts = -150; /* more than chance, less than twice 78: one weighing shows none */
    assert_false(up_calibration_offset_matters(&c));
    c.offset_counts = -160;
    assert_true(up_calibration_offset_matters(&c));
    c.u_offset_counts = 40;
    assert_false(up_calibration_offset_matters(&c)); /* 184 counts may be chance */
    c.u_offset_counts = 20;
    c.mass_tolerance_rel = 2e-4; /* of 0.5 kg: 60 counts, a rectangle, u 35 */
    assert_false(up_calibration_offset_matters(&c));
}

/* A ballast that was hung just before a creeping cell is read: the preload must cost no fault. */
static void the_preload_need_not_settle(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 21);
    bench.cell.creep_rel_low = bench.cell.creep_rel_high = 0.0025;
    virtual_bench_restart(&bench, 21);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_int_equal(bench.faults, 0);
    assert_int_equal(bench.asked[UP_ACTION_HANG_MASS], 4);
}

static void compressible_gear_is_told_in_the_tank_only(void **state) {
    static const struct up_water fresh = {.name = "fresh", .temp_c = 20};
    struct up_failure failure = {0};
    struct up_result result[2];
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 10);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Auk hood"), 2, &fresh, 1, result,
                                      &results, &failure));
    assert_int_equal(results, 1);
    assert_true(result[0].compressible);
}

/* ---- the countdown ---- */

static unsigned at_zero, counted; /* samples while a reading was waited for */

static void count_down(struct virtual_bench *b, struct up_procedure *procedure,
                       struct up_sample *sample) {
    struct up_reading_progress progress = up_procedure_reading(procedure);
    (void)b;
    (void)sample;
    counted += progress.reading;
    at_zero += progress.reading && progress.remaining_s == 0;
}

static bool leave_once(struct virtual_bench *b, struct up_procedure *procedure,
                       const struct up_ask *ask) {
    double before_s = up_procedure_reading(procedure).whole_s;
    if (ask->action != UP_ACTION_IMMERSE || b->asked[UP_ACTION_IMMERSE] != 2) {
        return false;
    }
    up_procedure_abandon_step(procedure, "nobody answered");
    double rest_s = up_procedure_reading(procedure).whole_s - before_s;
    assert_true(rest_s > 2 * b->rig.read_after_s);
    at_zero = counted = 0;
    b->spoil = count_down;
    return true;
}

/* After an absence the cell rests before it is read: the countdown must not stand at zero. */
static void the_countdown_holds_the_rest(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 22);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    bench.hook = leave_once;
    memset(bench.asked, 0, sizeof bench.asked);
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Lead block"), 2, NULL, 0, &result,
                                      &results, &failure));
    assert_true(counted > 600);
    assert_in_range(at_zero, 0, 40); /* some tenths of a second a reading, until it is judged */
}

/* ---- again ---- */

static bool again_once(struct virtual_bench *b, struct up_procedure *procedure,
                       const struct up_ask *ask) {
    if (ask->action == UP_ACTION_SHAKE && b->asked[UP_ACTION_SHAKE] == 1) {
        return up_procedure_answer(procedure, ask->id, UP_ANSWER_AGAIN, 0, NULL);
    }
    return false;
}

static void again_begins_the_trial_anew_from_a_tare(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 11);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    memset(bench.asked, 0, sizeof bench.asked);
    bench.hook = again_once;
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Lead block"), 2, NULL, 0, &result,
                                      &results, &failure));
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 1);
    assert_int_equal(bench.asked[UP_ACTION_IMMERSE], 3);
    assert_int_equal(result.trials, 2);
}

static bool slow_hands(struct virtual_bench *b, struct up_procedure *procedure,
                       const struct up_ask *ask) {
    char line[96];
    struct up_sample sample;
    if (ask->wants_number) {
        return false;
    }
    /* Acts at once, but says so only half a minute later, samples going on. */
    tank_act(b->tank, up_action_name(ask->action), ask->item_name, ask->mass_kg,
             tank_time_s(b->tank));
    for (int i = 0; i < 300; i++) {
        size_t length = tank_sample(b->tank, line, sizeof line);
        for (const char *at = line; up_reader_take(&b->reader, &at, &length, &sample);) {
            up_procedure_sample(procedure, &sample);
        }
    }
    return up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL);
}

/* The schedule counts from the load's own step: with 0.3 % of creep the time of "done" would shift
   the readings, and the slope with them. */
/* The cable slips in four steps of the second trial, always after the answer. */
static bool lose_the_device(struct virtual_bench *here, struct up_procedure *procedure,
                            const struct up_ask *ask) {
    unsigned *losses = here->context;
    if (here->trials != 1 || ask->action != UP_ACTION_SHAKE || *losses == 4) {
        return false;
    }
    ++*losses;
    tank_act(here->tank, "shake", ask->item_name, 0, tank_time_s(here->tank));
    assert_true(up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL));
    up_procedure_interrupt(procedure, "the device is gone");
    up_procedure_interrupt(procedure, "the device is back");
    assert_true(up_procedure_is_asking(procedure));
    return true;
}

static void a_lost_device_costs_the_trial_and_is_nobodys_fault(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0, losses = 0;
    (void)state;
    virtual_bench_quiet(&bench, 9);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    bench.hook = lose_the_device;
    bench.context = &losses;
    bench.trials = bench.faults = 0;
    assert_true(virtual_bench_measure(&bench, virtual_bench_gear("Lead block"), 3, NULL, 0, &result,
                                      &results, &failure));
    bench.hook = NULL;
    assert_int_equal(losses, 4); /* three in a row would be given up if they were the operator's */
    assert_int_equal(bench.faults, 8);
    assert_string_equal(bench.fault, "the device is back");
    assert_int_equal(bench.trials, 3);
    assert_int_equal(result.trials, 3);
    double truth_g = tank_truth_in_tank_g(bench.tank, "Lead block");
    assert_true(fabs(result.answer.buoyancy_kg.value * 1e3 - truth_g) < 0.6);
}

static void the_schedule_counts_from_the_step_not_from_the_answer(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 12);
    bench.cell.creep_rel_low = bench.cell.creep_rel_high = 0.003;
    virtual_bench_restart(&bench, 12);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    double prompt = bench.calibration.slope_counts_per_kg;
    virtual_bench_restart(&bench, 12);
    bench.hook = slow_hands;
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_true(fabs(bench.calibration.slope_counts_per_kg / prompt - 1) < 1.5e-4);
}

static void answers_that_do_not_fit_change_nothing(void **state) {
    struct up_calibrate_plan plan = {.rig = &bench.rig, .mass_kg = {0.5, 1, 2}, .masses = 3};
    struct up_procedure *procedure;
    struct up_event event;
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 13);
    assert_true(up_procedure_calibrate(&plan, &procedure, &failure));
    assert_true(up_procedure_next(procedure, &event));
    assert_int_equal(event.kind, UP_EVENT_ASK);
    unsigned id = event.ask.id;
    assert_false(up_procedure_answer(procedure, id + 1, UP_ANSWER_DONE, 0, &failure));
    assert_false(up_procedure_answer(procedure, 0, UP_ANSWER_DONE, 0, &failure));
    assert_false(up_procedure_answer(procedure, id, UP_ANSWER_NUMBER, 20, &failure));
    assert_true(up_procedure_is_asking(procedure));
    assert_true(up_procedure_answer(procedure, id, UP_ANSWER_DONE, 0, &failure));
    assert_false(up_procedure_answer(procedure, id, UP_ANSWER_DONE, 0, &failure));
    up_procedure_destroy(procedure);
}

static void impossible_temperatures_are_refused(void **state) {
    static const double bad[] = {-0.1, 40.1, (double)NAN, (double)INFINITY, 1e300};
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 14);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    bench.rig.line.temp.field = 0;
    struct up_measure_plan plan = {.rig = &bench.rig,
                                   .calibration = &bench.calibration,
                                   .item = virtual_bench_item(virtual_bench_gear("Heron fin")),
                                   .trials = 2,
                                   .confidence = 0.95,
                                   .coverage = 0.95};
    struct up_procedure *procedure;
    struct up_event event;
    assert_true(up_procedure_measure(&plan, &procedure, &failure));
    assert_true(up_procedure_next(procedure, &event));
    up_procedure_answer(procedure, event.ask.id, UP_ANSWER_DONE, 0, NULL);
    assert_true(up_procedure_next(procedure, &event));
    assert_int_equal(event.ask.action, UP_ACTION_READ_TEMPERATURE);
    assert_false(up_procedure_answer(procedure, event.ask.id, UP_ANSWER_DONE, 0, &failure));
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        assert_false(
            up_procedure_answer(procedure, event.ask.id, UP_ANSWER_NUMBER, bad[i], &failure));
    }
    assert_true(up_procedure_answer(procedure, event.ask.id, UP_ANSWER_NUMBER, 21.5, &failure));
    up_procedure_destroy(procedure);
}

/* ---- plans that cannot work ---- */

static void refuse_masses(const double *kg, unsigned count, const char *says) {
    struct up_calibrate_plan plan = {.rig = &bench.rig, .masses = count};
    struct up_procedure *procedure;
    struct up_failure failure = {0};
    for (unsigned i = 0; i < count; i++) {
        plan.mass_kg[i] = kg[i];
    }
    if (up_procedure_calibrate(&plan, &procedure, &failure) || strstr(failure.text, says) == NULL ||
        failure.status != UP_STATUS_WRONG_INPUT) {
        fail_msg("says \"%s\", wanted \"%s\"", failure.text, says);
    }
}

static void masses_that_cannot_calibrate(void **state) {
    (void)state;
    virtual_bench_quiet(&bench, 15);
    refuse_masses(NULL, 0, "three different");
    refuse_masses((const double[]){1, 2}, 2, "three different");
    refuse_masses((const double[]){1, 2, 2, 1}, 4, "three different");
    refuse_masses((const double[]){1, 1, 1}, 3, "three different");
    refuse_masses((const double[]){1, 0, 2}, 3, "give a positive mass");
    refuse_masses((const double[]){1, -2, -1, 2}, 4, "three different");
    refuse_masses((const double[]){1, 2, -9}, 3, "capacity");
    refuse_masses((const double[]){1, (double)NAN, 3}, 3, "give a positive mass");
    refuse_masses((const double[]){1, 2, 9}, 3, "capacity");
    /* One may bear an earlier calibration out, none says nothing. */
    struct up_calibrate_plan adopting = {.rig = &bench.rig, .adopts = "an id"};
    struct up_procedure *procedure;
    struct up_failure failure = {0};
    assert_false(up_procedure_calibrate(&adopting, &procedure, &failure));
    adopting.mass_kg[adopting.masses++] = 2;
    assert_true(up_procedure_calibrate(&adopting, &procedure, &failure));
    up_procedure_destroy(procedure);
}

static void a_calibration_that_does_not_fit_the_rig(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    const struct tank_item *item = virtual_bench_gear("Heron fin");
    (void)state;
    virtual_bench_quiet(&bench, 16);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    bench.rig.sha256[0] ^= 1;
    assert_false(virtual_bench_measure(&bench, item, 2, NULL, 0, &result, &results, &failure));
    assert_non_null(strstr(failure.text, "void"));
    bench.rig.sha256[0] ^= 1;
    bench.rig.read_after_s += 1;
    assert_false(virtual_bench_measure(&bench, item, 2, NULL, 0, &result, &results, &failure));
    assert_non_null(strstr(failure.text, "creep"));
    bench.rig.read_after_s -= 1;
    memcpy(bench.rig.id, "other", 6);
    assert_false(virtual_bench_measure(&bench, item, 2, NULL, 0, &result, &results, &failure));
    assert_non_null(strstr(failure.text, "other"));
}

static bool wrong_masses(struct virtual_bench *b, struct up_procedure *procedure,
                         const struct up_ask *ask) {
    if (ask->action == UP_ACTION_CONFIRM) {
        return up_procedure_answer(procedure, ask->id, UP_ANSWER_ACCEPT, 0, NULL);
    }
    if (ask->action != UP_ACTION_HANG_MASS) {
        return false;
    }
    tank_act(b->tank, "hang-mass", NULL, b->asked[UP_ACTION_HANG_MASS] % 2 == 0 ? 0.1 : 3,
             tank_time_s(b->tank));
    return up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL);
}

static void masses_that_were_not_those_named(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 17);
    bench.hook = wrong_masses;
    assert_false(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_non_null(strstr(failure.text, "do not follow the masses"));
}

/* ---- a tank that does not come to rest; a float too strong for the ballast ---- */

static void endless_sway_is_a_fault_not_a_number(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_quiet(&bench, 18);
    bench.cell.sway_kg = 1;
    bench.cell.sway_decay_s = 1e9;
    bench.cell.slosh_kg = 0.5;
    bench.cell.slosh_decay_s = 1e9;
    virtual_bench_restart(&bench, 18);
    assert_false(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    assert_true(bench.faults >= 3);
    assert_non_null(strstr(bench.fault, "gave up"));
}

static void a_float_stronger_than_the_ballast_is_told(void **state) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    (void)state;
    virtual_bench_quiet(&bench, 19);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    bench.rig.ballast_kg = 0.3;
    assert_false(virtual_bench_measure(&bench, virtual_bench_gear("Plover fins, pair"), 2, NULL, 0,
                                       &result, &results, &failure));
    assert_non_null(strstr(bench.fault, "the item lifts"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(calibration_finds_slope_and_stores_points, end),
        cmocka_unit_test(creep_is_seen_with_its_sign),
        cmocka_unit_test_teardown(a_quiet_tank_gives_the_truth, end),
        cmocka_unit_test_teardown(each_trial_has_tares_around_it_and_is_shaken, end),
        cmocka_unit_test_teardown(glitches_do_not_shift_the_result, end),
        cmocka_unit_test_teardown(stopping_early_keeps_the_completed_trials, end),
        cmocka_unit_test_teardown(without_a_dry_weighing_no_other_water_is_told, end),
        cmocka_unit_test_teardown(no_class_hangs_on_the_air_of_an_item_never_shaken, end),
        cmocka_unit_test(an_offset_is_told_when_it_matters),
        cmocka_unit_test_teardown(the_preload_need_not_settle, end),
        cmocka_unit_test_teardown(compressible_gear_is_told_in_the_tank_only, end),
        cmocka_unit_test_teardown(a_lost_device_costs_the_trial_and_is_nobodys_fault, end),
        cmocka_unit_test_teardown(the_countdown_holds_the_rest, end),
        cmocka_unit_test_teardown(again_begins_the_trial_anew_from_a_tare, end),
        cmocka_unit_test_teardown(the_schedule_counts_from_the_step_not_from_the_answer, end),
        cmocka_unit_test_teardown(answers_that_do_not_fit_change_nothing, end),
        cmocka_unit_test_teardown(impossible_temperatures_are_refused, end),
        cmocka_unit_test_teardown(masses_that_cannot_calibrate, end),
        cmocka_unit_test_teardown(a_calibration_that_does_not_fit_the_rig, end),
        cmocka_unit_test_teardown(masses_that_were_not_those_named, end),
        cmocka_unit_test_teardown(endless_sway_is_a_fault_not_a_number, end),
        cmocka_unit_test_teardown(a_float_stronger_than_the_ballast_is_told, end),
    };
    return cmocka_run_group_tests_name("procedure", tests, NULL, NULL);
}
