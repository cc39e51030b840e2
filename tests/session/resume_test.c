/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sessions that were left, by the operator's word, by a fault, or by the operator's feet. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "operator/operator.h"
#include "virtual_bench.h"

static const double masses_kg[] = {0.5, 1, 2};
static struct virtual_bench bench;

static const struct tank_item *lead_block(void) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(gear[i].name, "Lead block") == 0) {
            return &gear[i];
        }
    }
    fail_msg("no lead block");
    return NULL;
}

/* Little but creep, of the worst kind the simulated cell has. */
static void begin(unsigned long seed, double creep_rel) {
    struct up_failure failure = {0};
    virtual_bench_begin(&bench, seed);
    bench.cell.creep_rel_low = bench.cell.creep_rel_high = creep_rel;
    bench.cell.curvature_rel = bench.cell.drift_counts_min = bench.cell.walk_counts_sqrt_s = 0;
    bench.cell.hysteresis_rel = 0;
    bench.declared.hang_sd_kg = bench.declared.item_temp_halfwidth_k = 0;
    bench.declared.u_thermometer_k = bench.declared.mass_tolerance_rel = 0;
    virtual_bench_restart(&bench, seed);
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 2, &failure));
    bench.faults = bench.trials = 0;
    memset(bench.asked, 0, sizeof bench.asked);
}

static int end(void **state) {
    (void)state;
    virtual_bench_end(&bench);
    return 0;
}

static struct up_procedure *begin_measuring(unsigned trials) {
    struct up_failure failure = {0};
    struct up_procedure *procedure = NULL;
    struct up_measure_plan plan = {.rig = &bench.rig,
                                   .calibration = &bench.calibration,
                                   .item = virtual_bench_item(lead_block()),
                                   .trials = trials,
                                   .confidence = 0.95,
                                   .coverage = 0.95};
    if (!up_procedure_measure(&plan, &procedure, &failure)) {
        fail_msg("%s", failure.text);
    }
    return procedure;
}

static double error_g(struct up_procedure *procedure, unsigned trials) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    if (!up_procedure_results(procedure, &result, &results, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(result.trials, trials);
    return result.answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(bench.tank, "Lead block");
}

static bool stop_at_third(struct virtual_bench *here, struct up_procedure *procedure,
                          const struct up_ask *ask) {
    return ask->action == UP_ACTION_IMMERSE && here->asked[UP_ACTION_IMMERSE] == 3 &&
           up_procedure_answer(procedure, ask->id, UP_ANSWER_STOP, 0, NULL);
}

static void one_that_was_stopped_goes_on(void **state) {
    (void)state;
    begin(41, 0);
    struct up_procedure *procedure = begin_measuring(4);
    bench.hook = stop_at_third;
    assert_true(virtual_bench_run(&bench, procedure));
    struct up_progress progress = up_procedure_progress(procedure);
    assert_false(progress.complete);
    assert_int_equal(progress.done, 2);
    assert_int_equal(progress.wanted, 4);
    assert_true(progress.weighed_in_air);
    up_procedure_resume(procedure, "it goes on");
    assert_true(up_procedure_is_asking(procedure));
    assert_true(virtual_bench_run(&bench, procedure));
    assert_string_equal(bench.fault, "it goes on");
    assert_true(up_procedure_progress(procedure).complete);
    assert_int_equal(bench.asked[UP_ACTION_HANG_IN_AIR], 1);
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 1);
    assert_true(fabs(error_g(procedure, 4)) < 0.6);
    up_procedure_destroy(procedure);
}

static void one_that_came_to_its_end_stays_there(void **state) {
    (void)state;
    begin(42, 0);
    struct up_procedure *procedure = begin_measuring(2);
    assert_true(virtual_bench_run(&bench, procedure));
    assert_true(up_procedure_progress(procedure).complete);
    up_procedure_resume(procedure, "it goes on");
    assert_true(up_procedure_is_finished(procedure));
    assert_int_equal(bench.faults, 0);
    up_procedure_destroy(procedure);
}

/* The converter is dead until somebody has given up and come back. */
static bool dead;
static void die(struct virtual_bench *here, struct up_procedure *procedure,
                struct up_sample *sample) {
    (void)procedure;
    dead = dead && here->faults < 4;
    if (dead && here->asked[UP_ACTION_IMMERSE] >= 2) {
        sample->load[0] = 8388607;
    }
}

static void one_that_gave_up_goes_on(void **state) {
    (void)state;
    begin(43, 0);
    dead = true;
    bench.spoil = die;
    struct up_procedure *procedure = begin_measuring(3);
    assert_true(virtual_bench_run(&bench, procedure));
    assert_non_null(strstr(bench.fault, "gave up"));
    assert_int_equal(up_procedure_progress(procedure).done, 1);
    assert_false(up_procedure_progress(procedure).complete);
    dead = false;
    up_procedure_resume(procedure, "it goes on");
    assert_true(virtual_bench_run(&bench, procedure));
    assert_true(fabs(error_g(procedure, 3)) < 0.6);
    up_procedure_destroy(procedure);
}

/* Hangs the item and goes for an hour; what the session then does is up_procedure_abandon_step. */
static bool walk_away(struct virtual_bench *here, struct up_procedure *procedure,
                      const struct up_ask *ask) {
    char line[96];
    struct up_sample sample;
    bool *gone = here->context;
    if (*gone || ask->action != UP_ACTION_SHAKE || here->trials != 1) {
        return false;
    }
    *gone = true;
    for (int i = 0; i < 36000; i++) {
        size_t length = tank_sample(here->tank, line, sizeof line);
        for (const char *at = line; up_reader_take(&here->reader, &at, &length, &sample);) {
            up_procedure_sample(procedure, &sample);
        }
    }
    up_procedure_abandon_step(procedure, "nobody answered for 60 min");
    return true;
}

/* An hour's load of 9.1 N leaves its mark: 0.25 % of creep are 2.3 g of it. */
static void an_hour_away_costs_the_trial_and_no_truth(void **state) {
    (void)state;
    for (int sign = -1; sign <= 1; sign += 2) {
        bool gone = false;
        begin(44, sign * 0.0025);
        bench.hook = walk_away;
        bench.context = &gone;
        struct up_procedure *procedure = begin_measuring(2);
        assert_true(virtual_bench_run(&bench, procedure));
        assert_true(gone);
        assert_int_equal(bench.faults, 1);
        assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 1);
        double off_g = error_g(procedure, 2);
        print_message("# creep of %+.2f %%: off by %+.2f g\n", sign * 0.25, off_g);
        assert_true(fabs(off_g) < 0.6);
        up_procedure_destroy(procedure);
        virtual_bench_end(&bench);
    }
    bench.tank = NULL;
}

/* Paths may be any bytes, and a long one is cut: the journal must accept what is written of it. */
static void what_is_told_is_always_json(void **state) {
    static const enum up_event_kind kinds[] = {UP_EVENT_ASK, UP_EVENT_FAULT, UP_EVENT_NOTE};
    (void)state;
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        struct up_event event = {.kind = kinds[i], .text = "caf\xC3", .ask.text = "\xFF\x1B[2J"};
        json_t *json = up_event_to_json(&event, 0);
        assert_non_null(json);
        assert_non_null(json_string_value(json_object_get(json, "text")));
        json_decref(json);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(one_that_was_stopped_goes_on, end),
        cmocka_unit_test_teardown(one_that_came_to_its_end_stays_there, end),
        cmocka_unit_test_teardown(one_that_gave_up_goes_on, end),
        cmocka_unit_test(an_hour_away_costs_the_trial_and_no_truth),
        cmocka_unit_test(what_is_told_is_always_json),
    };
    return cmocka_run_group_tests_name("sessions that were left", tests, NULL, NULL);
}
