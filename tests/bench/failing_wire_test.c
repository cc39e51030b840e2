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

/* What spoils a reading: at the third immersion, for so many samples from so many after the ask. */
static struct {
    int from, count, seen; /* samples since the third immersion was asked for */
    double word, shift_s, arrival_s, last_load;
} fault;

static bool third_immersion(struct virtual_bench *b) {
    return b->asked[UP_ACTION_IMMERSE] == 3 && fault.seen++ >= fault.from &&
           fault.seen <= fault.from + fault.count;
}

static void stick(struct virtual_bench *b, struct up_procedure *procedure,
                  struct up_sample *sample) {
    (void)procedure;
    if (third_immersion(b)) {
        sample->load[0] = isnan(fault.word) ? fault.last_load : fault.word;
    }
    fault.last_load = sample->load[0];
}

static void leave_out(struct virtual_bench *b, struct up_procedure *procedure,
                      struct up_sample *sample) {
    (void)procedure;
    if (third_immersion(b)) {
        fault.shift_s += 4;
    }
    sample->time_s += fault.shift_s;
}

static void hold_back(struct virtual_bench *b, struct up_procedure *procedure,
                      struct up_sample *sample) {
    fault.arrival_s = fmax(fault.arrival_s, 1000 + sample->time_s);
    if (third_immersion(b)) {
        fault.arrival_s = 1000 + sample->time_s + 3;
    }
    up_procedure_arrival(procedure, fault.arrival_s);
}

static void run_faster(struct virtual_bench *b, struct up_procedure *procedure,
                       struct up_sample *sample) {
    static double last_s;
    (void)procedure;
    if (third_immersion(b)) {
        fault.shift_s -= 0.9 * (sample->time_s - last_s);
    }
    last_s = sample->time_s;
    sample->time_s += fault.shift_s;
}

/* The item's error in grams after a session in which the third immersion went wrong. */
static double error_with(void (*spoil)(struct virtual_bench *, struct up_procedure *,
                                       struct up_sample *)) {
    struct up_failure failure = {0};
    struct up_result result;
    unsigned results = 0;
    const struct tank_item *item = virtual_bench_gear("Lead block");
    bench.spoil = NULL;
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 2, &failure));
    bench.spoil = spoil;
    bench.faults = bench.trials = 0;
    memset(bench.asked, 0, sizeof bench.asked);
    if (!virtual_bench_measure(&bench, item, 4, NULL, 0, &result, &results, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(result.trials, 4);
    return result.answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(bench.tank, item->name);
}

/* Dead for 25 s in the middle of a reading's window: the reading waits, and none of it counts. */
static void nothing_stuck_is_averaged_in(void **state) {
    static const double word[] = {(double)NAN, 500000, -1, 4194303, 8388607, -8388608};
    (void)state;
    for (size_t i = 0; i < sizeof word / sizeof word[0]; i++) {
        for (int from = 150; from < 220; from += 23) {
            virtual_bench_quiet(&bench, 31);
            memset(&fault, 0, sizeof fault);
            fault.from = from;
            fault.count = 250;
            fault.word = word[i];
            assert_true(fabs(error_with(stick)) < 0.6);
            virtual_bench_end(&bench);
        }
    }
    virtual_bench_quiet(&bench, 31);
}

/* The window is the samples 160 to 240 after the ask, about. A run (of the last word) within it is
   left out from its first word; one that begins at its end is waited for, until it is clear what it
   is. */
static void a_run_is_left_out_from_its_first_word(void **state) {
    static const struct {
        int from, count;
        unsigned least, most;
    } row[] = {{180, 10, 0, 0}, {180, 15, 16, 16}, {219, 15, 16, 16}, {232, 40, 7, 12}};
    (void)state;
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        virtual_bench_quiet(&bench, 36);
        memset(&fault, 0, sizeof fault);
        fault.from = row[i].from;
        fault.count = row[i].count;
        fault.word = (double)NAN;
        bench.glitches = 0;
        assert_true(fabs(error_with(stick)) < 0.6);
        assert_in_range(bench.glitches, row[i].least, row[i].most);
        assert_int_equal(bench.faults, 0);
        virtual_bench_end(&bench);
    }
    virtual_bench_quiet(&bench, 36);
}

static void a_stall_spoils_the_reading_once(void **state) {
    (void)state;
    virtual_bench_quiet(&bench, 32);
    memset(&fault, 0, sizeof fault);
    fault.from = 100;
    fault.count = 1;
    assert_true(fabs(error_with(leave_out)) < 0.6);
    assert_int_equal(bench.faults, 1);
    assert_non_null(strstr(bench.fault, "no line came for 4.1 s"));
    assert_int_equal(bench.asked[UP_ACTION_EMPTY_IN_WATER], 1);
}

/* A device with a clock of its own that is polled only to read: nothing comes while a question is
   open, and its clock goes on by 84 s. What was done is dated by the first line after the answer.
 */
static double clock_ahead_s;

static bool late_answer(struct virtual_bench *b, struct up_procedure *procedure,
                        const struct up_ask *ask) {
    (void)b, (void)procedure, (void)ask;
    clock_ahead_s += 84;
    return false;
}

static void run_ahead(struct virtual_bench *b, struct up_procedure *procedure,
                      struct up_sample *sample) {
    (void)b, (void)procedure;
    sample->time_s += clock_ahead_s;
}

static void a_clock_that_runs_on_between_polls_costs_nothing(void **state) {
    (void)state;
    virtual_bench_quiet(&bench, 37);
    clock_ahead_s = 0;
    bench.hook = late_answer;
    assert_true(fabs(error_with(run_ahead)) < 0.6);
    assert_int_equal(bench.faults, 0);
}

static void a_sudden_rise_of_the_rate_spoils_the_reading(void **state) {
    (void)state;
    virtual_bench_quiet(&bench, 33);
    memset(&fault, 0, sizeof fault);
    fault.from = 50;
    fault.count = 100;
    assert_true(fabs(error_with(run_faster)) < 0.6);
    assert_true(bench.faults >= 1 && bench.faults <= 2); /* and the fall back to what it was */
    assert_non_null(strstr(bench.fault, "check the converter"));
}

/* One word, ten times as fast: saturated, though neither word nor capacity says so. */
static char first_fault[240];

static void run_faster_with_one_word(struct virtual_bench *b, struct up_procedure *procedure,
                                     struct up_sample *sample) {
    run_faster(b, procedure, sample);
    if (b->asked[UP_ACTION_IMMERSE] == 3 && fault.seen > fault.from &&
        fault.seen <= fault.from + fault.count) {
        sample->load[0] = 1234567;
    }
    if (b->faults == 1) {
        memcpy(first_fault, b->fault, sizeof first_fault);
    }
}

static void one_word_at_a_tenfold_rate_is_a_saturated_converter(void **state) {
    (void)state;
    virtual_bench_quiet(&bench, 38);
    bench.rig.line.word_bits = 0;
    memset(&fault, 0, sizeof fault);
    fault.from = 50;
    fault.count = 150;
    assert_true(fabs(error_with(run_faster_with_one_word)) < 0.6);
    assert_true(bench.faults >= 1);
    assert_non_null(strstr(first_fault, "disconnected or beyond its range: it sends one value"));
}

/* Lines that the host held back are as good as ever where they carry a clock; else they are not. */
static void a_burst_spoils_where_lines_carry_no_clock(void **state) {
    (void)state;
    for (int clock = 0; clock < 2; clock++) {
        virtual_bench_quiet(&bench, 34);
        bench.rig.line.poll[0] = '\0';
        bench.rig.line.poll_only_to_read = false;
        memset(&fault, 0, sizeof fault);
        fault.from = 100;
        fault.count = 1;
        if (clock == 0) { /* the tank's lines still have the column, the rig does not name it */
            bench.rig.line.time.field = 0;
            bench.rig.line.time_unit_s = 0;
            bench.rig.line.rate_hz = 10;
        }
        assert_true(fabs(error_with(hold_back)) < 0.6);
        assert_int_equal(bench.faults, clock == 0 ? 1 : 0);
        virtual_bench_end(&bench);
    }
    virtual_bench_quiet(&bench, 34);
}

static void overload(struct virtual_bench *b, struct up_procedure *procedure,
                     struct up_sample *sample) {
    (void)procedure;
    if (third_immersion(b)) {
        sample->load[0] += 9 * b->calibration.slope_counts_per_kg;
    }
}

static void an_overload_is_told_at_once_and_once(void **state) {
    (void)state;
    virtual_bench_quiet(&bench, 35);
    memset(&fault, 0, sizeof fault);
    fault.from = 100;
    fault.count = 60;
    assert_true(bench.rig.capacity_kg > 0);
    assert_true(fabs(error_with(overload)) < 0.6);
    assert_int_equal(bench.faults, 1);
    assert_non_null(strstr(bench.fault, "take the load off at once"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_teardown(nothing_stuck_is_averaged_in, end),
        cmocka_unit_test_teardown(a_run_is_left_out_from_its_first_word, end),
        cmocka_unit_test_teardown(a_stall_spoils_the_reading_once, end),
        cmocka_unit_test_teardown(a_clock_that_runs_on_between_polls_costs_nothing, end),
        cmocka_unit_test_teardown(a_sudden_rise_of_the_rate_spoils_the_reading, end),
        cmocka_unit_test_teardown(one_word_at_a_tenfold_rate_is_a_saturated_converter, end),
        cmocka_unit_test_teardown(a_burst_spoils_where_lines_carry_no_clock, end),
        cmocka_unit_test_teardown(an_overload_is_told_at_once_and_once, end),
    };
    return cmocka_run_group_tests_name("procedure: a wire and a converter that fail", tests, NULL,
                                       NULL);
}
