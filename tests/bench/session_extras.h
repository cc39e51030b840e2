/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A calibrated bench, and one measuring on it, for the tests of what a session does beside its
 * trials.
 */
#pragma once

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "virtual_bench.h"

static const double masses_kg[] = {0.5, 1, 2, 4};
static struct virtual_bench bench;
static struct up_procedure *procedure;
static struct up_measure_plan plan;
static double tolerance_g; /* 0: the item's own */

static int begin(void **state) {
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_begin(&bench, 12);
    bench.staircase = true;
    if (!virtual_bench_calibrate(&bench, masses_kg, 4, 2, &failure)) {
        fail_msg("%s", failure.text);
    }
    memset(bench.asked, 0, sizeof bench.asked);
    bench.trials = bench.faults = 0;
    bench.hook = NULL;
    tolerance_g = 0;
    plan = (struct up_measure_plan){.rig = &bench.rig,
                                    .calibration = &bench.calibration,
                                    .trials = 3,
                                    .confidence = 0.95,
                                    .coverage = 0.95};
    return 0;
}

static int end(void **state) {
    (void)state;
    up_procedure_destroy(procedure);
    procedure = NULL;
    virtual_bench_end(&bench);
    return 0;
}

static struct up_result measure(const char *name) {
    struct up_failure failure = {0};
    struct up_result result = {0};
    unsigned results = 0;
    plan.item = virtual_bench_item(virtual_bench_gear(name));
    plan.item.tolerance_g = tolerance_g > 0 ? tolerance_g : plan.item.tolerance_g;
    if (!up_procedure_measure(&plan, &procedure, &failure) ||
        !virtual_bench_run(&bench, procedure) ||
        !up_procedure_results(procedure, &result, &results, &failure)) {
        fail_msg("%s", failure.text);
    }
    return result;
}

#define IN_A_SESSION(test) cmocka_unit_test_setup_teardown(test, begin, end)
