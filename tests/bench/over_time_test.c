/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What changes while a session or a queue goes on: temperature, water taken up, the load while it
   is read, and what the kind has taught. On the simulated tank. */
#include "session_extras.h"

/* ---- neighbours in a queue ---- */

static void a_neighbour_takes_over_the_empty_hanger(void **state) {
    (void)state;
    measure("Heron fin");
    plan.opening = up_procedure_opening(procedure);
    up_procedure_destroy(procedure);
    memset(bench.asked, 0, sizeof bench.asked);
    for (int i = 0; i < 200; i++) { /* the stream goes on, nobody reads it */
        char line[96];
        tank_sample(bench.tank, line, sizeof line);
    }
    assert_true(plan.opening.known);
    struct up_result result = measure("Lead block");
    assert_int_equal(bench.asked[UP_ACTION_ADD_BALLAST], 0);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_AIR], 1);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 0);
    double error_g =
        result.answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(bench.tank, "Lead block");
    assert_true(fabs(error_g) < 3 * result.answer.expanded_u_kg * 1e3);
    assert_true(fabs(result.answer.mass_kg / virtual_bench_gear("Lead block")->mass_kg - 1) < 2e-3);
    /* a hanger that went to another depth is none to go on with */
    up_procedure_destroy(procedure);
    plan.opening.known = false;
    plan.second_depth_m = 2;
    measure("Auk hood");
    assert_false(up_procedure_opening(procedure).known);
}

/* ---- a thermometer that a person reads ---- */

static void no_thermometer_on_the_wire(void) {
    bench.rig.line.temp.field = 0;
    bench.rig.line.temp.label[0] = '\0';
    bench.rig.temp_c = (double)NAN;
    plan.opening = (struct up_opening){.known = true, .age_s = 60, .temp_c = 18};
    plan.opening.load = tank_ideal_counts(bench.tank);
    plan.opening.u_load = 10;
}

static void a_neighbours_temperature_serves_while_it_is_fresh(void **state) {
    (void)state;
    no_thermometer_on_the_wire();
    plan.opening.temp_age_s = 20;
    plan.trials = 2;
    double begin_s = tank_time_s(bench.tank);
    struct up_result result = measure("Heron fin");
    double session_s = tank_time_s(bench.tank) - begin_s;
    assert_true(session_s < 550);
    assert_int_equal(bench.asked[UP_ACTION_READ_TEMPERATURE], 0);
    assert_true(result.water.temp_c == 18);
    struct up_opening next = up_procedure_opening(procedure);
    assert_true(next.known && next.temp_c == 18);
    assert_true(fabs(next.temp_age_s - 20 - session_s) < 2);
}

static void an_old_temperature_is_asked_for_again(void **state) {
    (void)state;
    no_thermometer_on_the_wire();
    plan.opening.temp_age_s = 3600;
    plan.trials = 2;
    struct up_result result = measure("Heron fin");
    assert_int_equal(bench.asked[UP_ACTION_READ_TEMPERATURE], 1);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER],
                     0); /* the tare before it still serves */
    assert_true(result.water.temp_c == tank_thermometer_c(bench.tank));
    assert_true(up_procedure_opening(procedure).temp_age_s < 550);
}

static bool lose_at_the_question(struct virtual_bench *b, struct up_procedure *p,
                                 const struct up_ask *ask) {
    if (ask->action != UP_ACTION_READ_TEMPERATURE || b->asked[UP_ACTION_READ_TEMPERATURE] > 1) {
        return false;
    }
    up_procedure_interrupt(p, "the cable came off");
    return true;
}

/* Before a question that is asked again stands a tare, which the break has spoilt. */
static void a_break_at_a_question_costs_the_tare(void **state) {
    (void)state;
    no_thermometer_on_the_wire();
    plan.opening.temp_age_s = 3600;
    bench.hook = lose_at_the_question;
    measure("Heron fin");
    assert_int_equal(bench.asked[UP_ACTION_READ_TEMPERATURE], 2);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 1);
}

/* Two minutes, so that a short session is long. */
static void a_long_session_asks_more_than_once(void **state) {
    (void)state;
    no_thermometer_on_the_wire();
    plan.opening.known = false;
    plan.temp_oldest_s = 120;
    double begin_s = tank_time_s(bench.tank);
    measure("Heron fin");
    double session_s = tank_time_s(bench.tank) - begin_s;
    assert_in_range(bench.asked[UP_ACTION_READ_TEMPERATURE], 3, (unsigned)(session_s / 120) + 1);
}

/* ---- what is known of the kind ---- */

static void one_trial_rests_on_its_kind(void **state) {
    (void)state;
    plan.trials = 1;
    plan.kind_repeatability_kg = (struct up_quantity){0, 5e-4, 20};
    struct up_result result = measure("Heron fin");
    assert_int_equal(result.trials, 1);
    assert_true(result.weighing.term[UP_INPUT_WATER_LOAD].dof == 20);
    double u_kg =
        result.weighing.term[UP_INPUT_WATER_LOAD].u / bench.calibration.slope_counts_per_kg;
    assert_true(fabs(u_kg - 5e-4) < 1e-9);
    double error_g =
        result.answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(bench.tank, "Heron fin");
    assert_true(fabs(error_g) < 3 * result.answer.expanded_u_kg * 1e3);
}

static void an_item_that_scatters_more_stands_for_itself(void **state) {
    (void)state;
    plan.trials = 5;
    plan.kind_repeatability_kg = (struct up_quantity){0, 1e-6, 50};
    struct up_result own = measure("Heron fin");
    assert_true(own.weighing.term[UP_INPUT_WATER_LOAD].dof == 4);
    up_procedure_destroy(procedure);
    plan.kind_repeatability_kg = (struct up_quantity){0, 4e-4, 50};
    struct up_result pooled = measure("Heron fin");
    assert_true(pooled.weighing.term[UP_INPUT_WATER_LOAD].dof == 54);
}

static void a_share_learned_of_the_kind_goes_first(void **state) {
    (void)state;
    bench.rig.shake_share = (double)NAN;
    struct up_result unknown = measure("Heron fin");
    assert_false(unknown.question.air_share_known);
    up_procedure_destroy(procedure);
    plan.kind_shake_share = 0.6;
    struct up_result known = measure("Heron fin");
    assert_true(known.question.air_share_known);
    assert_true(known.weighing.term[UP_INPUT_TRAPPED_AIR].u <
                unknown.weighing.term[UP_INPUT_TRAPPED_AIR].u);
}

/* ---- water taken up ---- */

/* It gains 0.5 g a minute from its first immersion on, hung or not. */
static double soak_from_s;
static double soaks_g_min = 0.5;

static void soak(struct virtual_bench *b, struct up_procedure *p, struct up_sample *sample) {
    bool in_water = b->asked[UP_ACTION_IMMERSE] > b->asked[UP_ACTION_LIFT_OUT];
    (void)p;
    if (b->asked[UP_ACTION_IMMERSE] == 0) {
        soak_from_s = sample->time_s;
    } else if (in_water) {
        sample->load[0] += 600 * soaks_g_min * (sample->time_s - soak_from_s) / 60;
    }
}

static void what_takes_up_water_is_marked(void **state) {
    (void)state;
    plan.trials = 6;
    struct up_result dry = measure("Lead block");
    assert_false(dry.takes_up_water);
    up_procedure_destroy(procedure);
    memset(bench.asked, 0, sizeof bench.asked);
    bench.spoil = soak;
    struct up_result wet = measure("Lead block");
    assert_true(wet.takes_up_water);
    assert_true(fabs(wet.uptake_g_min - 0.5) < 4 * wet.u_uptake_g_min + 0.05);
    assert_true(wet.soak_s > 60 && wet.at_last_soak);
    up_procedure_destroy(procedure);
    memset(bench.asked, 0, sizeof bench.asked);
    soaks_g_min = -0.5; /* nothing dries under water */
    struct up_result lighter = measure("Lead block");
    soaks_g_min = 0.5;
    assert_false(lighter.takes_up_water || lighter.at_last_soak);
}

/* Both ends together are what the item weighs now, not what it weighed when it was dryer. */
static void a_moment_is_that_of_the_last_soak(void **state) {
    (void)state;
    plan.trials = 6;
    plan.two_point_m = 0.6;
    bench.spoil = soak;
    struct up_result wet = measure("Lead block");
    assert_true(wet.at_last_soak);
    double ends_kg = wet.moment.hook_kg.value + wet.moment.far_kg.value;
    assert_true(fabs(ends_kg - wet.answer.buoyancy_kg.value) < 1e-3);
}

/* ---- what changes while it is read ---- */

static double
    since_s; /* the latest change of what hangs in the water, as far as it was asked for */
static unsigned changes;

static double age_s(const struct virtual_bench *b, const struct up_sample *sample) {
    const unsigned *asked = b->asked;
    unsigned now = asked[UP_ACTION_IMMERSE] + asked[UP_ACTION_SHAKE] + asked[UP_ACTION_LIFT_OUT];
    since_s = now != changes ? sample->time_s : since_s;
    changes = now;
    return sample->time_s - since_s;
}

/* A gram a minute, wiped off by each shake. */
static void bubble(struct virtual_bench *b, struct up_procedure *p, struct up_sample *sample) {
    double age = age_s(b, sample);
    (void)p;
    if (b->asked[UP_ACTION_IMMERSE] > b->asked[UP_ACTION_LIFT_OUT]) {
        sample->load[0] -= 600 * age / 60;
    }
}

/* Three grams run off with a time constant of 20 s. */
static void drip(struct virtual_bench *b, struct up_procedure *p, struct up_sample *sample) {
    double age = age_s(b, sample);
    (void)p;
    if (b->asked[UP_ACTION_LIFT_OUT] > 0 &&
        b->asked[UP_ACTION_LIFT_OUT] == b->asked[UP_ACTION_IMMERSE]) {
        sample->load[0] += 600 * 3 * exp(-age / 20);
    }
}

static double error_of(const struct up_result *result) {
    return result->answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(bench.tank, "Lead block");
}

static void what_changes_while_it_is_read_is_told(void **state) {
    (void)state;
    plan.trials = 5;
    struct up_result calm = measure("Lead block");
    assert_false(calm.forms_bubbles || calm.drips);
    up_procedure_destroy(procedure);
    memset(bench.asked, 0, sizeof bench.asked);
    bench.spoil = bubble;
    struct up_result bubbles = measure("Lead block");
    assert_true(bubbles.forms_bubbles && !bubbles.drips);
    assert_true(fabs(bubbles.bubbles_g_min - 1) < 4 * bubbles.u_bubbles_g_min + 0.05);
    assert_true(fabs(error_of(&bubbles)) < bubbles.answer.expanded_u_kg * 1e3);
    up_procedure_destroy(procedure);
    memset(bench.asked, 0, sizeof bench.asked);
    bench.spoil = drip;
    struct up_result drips = measure("Lead block");
    assert_true(drips.drips && !drips.forms_bubbles);
    double dripped_g = drips.weighing.term[UP_INPUT_DRIPS].value * 1e3;
    assert_true(dripped_g > 0.3 && dripped_g < 2);
    assert_true(fabs(error_of(&drips)) < drips.answer.expanded_u_kg * 1e3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        IN_A_SESSION(a_neighbour_takes_over_the_empty_hanger),
        IN_A_SESSION(a_neighbours_temperature_serves_while_it_is_fresh),
        IN_A_SESSION(an_old_temperature_is_asked_for_again),
        IN_A_SESSION(a_break_at_a_question_costs_the_tare),
        IN_A_SESSION(a_long_session_asks_more_than_once),
        IN_A_SESSION(one_trial_rests_on_its_kind),
        IN_A_SESSION(an_item_that_scatters_more_stands_for_itself),
        IN_A_SESSION(a_share_learned_of_the_kind_goes_first),
        IN_A_SESSION(what_changes_while_it_is_read_is_told),
        IN_A_SESSION(what_takes_up_water_is_marked),
        IN_A_SESSION(a_moment_is_that_of_the_last_soak),
    };
    return cmocka_run_group_tests_name("over time", tests, NULL, NULL);
}
