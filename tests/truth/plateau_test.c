/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The simulated tank by whole plateaus (plateau_bench.h) beside the one by samples: the same
 * sessions through both. A seed draws the same tank, masses, hands, air and ringing in both, so
 * what differs is the noise of the readings and what the closed form leaves out. Compared are the
 * loads of all plateaus as errors against what hangs, their own stated uncertainty, and the errors
 * of the results.
 *
 * Allowance: means may differ by three standard errors of the paired differences over the sessions,
 * and by what else changes no result (stated beside each); standard deviations by three of the
 * standard deviations that they have themselves.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "../../firmware-host/bench/internal.h"
#include "metrology/statistics.h"
#include "plateau_bench.h"
#include "virtual_bench.h"

enum { SESSIONS_MAX = 2000, PLATEAUS_MAX = 512, ITEMS = 4, TRIALS = 4 };

static const double masses_kg[] = {0.5, 1, 2, 4};
static const char *const item_names[ITEMS] = {"Heron fin", "Dabchick boot", "Coot fin",
                                              "Float light"};

struct session {
    unsigned plateaus;
    double error[PLATEAUS_MAX], u[PLATEAUS_MAX];
    double end_s;
    double result_error_g[ITEMS], result_u_g[ITEMS];
};

static struct session by_samples, by_plateaus;

/* What hangs is still what was read. */
static void note(struct session *session, const struct tank *tank,
                 const struct up_plateau *plateau) {
    assert_true(session->plateaus < PLATEAUS_MAX);
    session->error[session->plateaus] = plateau->load - tank_ideal_counts(tank);
    session->u[session->plateaus++] = plateau->u_load;
}

static void note_sampled(struct virtual_bench *bench, const struct up_plateau *plateau) {
    note(&by_samples, bench->tank, plateau);
}

static void note_plateau(struct plateau_bench *bench, const struct up_plateau *plateau) {
    note(&by_plateaus, bench->tank, plateau);
}

static const struct tank_item *gear_named(const char *name) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    while (strcmp(gear->name, name) != 0) {
        gear++;
    }
    return gear;
}

static void keep_result(struct session *session, unsigned item, const struct tank *tank,
                        const struct up_result *result) {
    session->result_error_g[item] =
        result->answer.buoyancy_kg.value * 1e3 - tank_truth_in_tank_g(tank, item_names[item]);
    session->result_u_g[item] = result->answer.buoyancy_kg.u * 1e3;
}

static void sample_session(struct virtual_bench *bench, unsigned long seed) {
    struct up_failure failure = {0};
    memset(&by_samples, 0, sizeof by_samples);
    virtual_bench_restart(bench, seed);
    if (!virtual_bench_calibrate(bench, masses_kg, 4, 2, &failure)) {
        fail_msg("seed %lu: %s", seed, failure.text);
    }
    for (unsigned i = 0; i < ITEMS; i++) {
        struct up_result result[1];
        unsigned results;
        if (!virtual_bench_measure(bench, gear_named(item_names[i]), TRIALS, NULL, 0, result,
                                   &results, &failure)) {
            fail_msg("seed %lu, %s: %s", seed, item_names[i], failure.text);
        }
        keep_result(&by_samples, i, bench->tank, result);
    }
    by_samples.end_s = tank_time_s(bench->tank);
}

static void run_plateaus(struct plateau_bench *bench, struct up_procedure *procedure) {
    if (!plateau_bench_run(bench, procedure)) {
        fail_msg("%s", "the plateaus did not settle");
    }
}

static void plateau_session(struct virtual_bench *from, unsigned long seed) {
    struct up_failure failure = {0};
    struct plateau_bench bench = {.rig = &from->rig, .told = note_plateau};
    struct up_calibrate_plan plan = {.rig = &from->rig, .masses = 8, .staircase = from->staircase};
    struct up_calibration calibration;
    struct up_procedure *procedure;
    memset(&by_plateaus, 0, sizeof by_plateaus);
    bench.tank = tank_create(&from->declared, &from->cell, seed);
    for (unsigned i = 0; i < plan.masses; i++) {
        plan.mass_kg[i] = masses_kg[i % 4];
    }
    assert_true(up_procedure_calibrate(&plan, &procedure, &failure));
    run_plateaus(&bench, procedure);
    assert_true(up_procedure_calibration(procedure, &calibration, &failure));
    up_procedure_destroy(procedure);
    for (unsigned i = 0; i < ITEMS; i++) {
        struct up_measure_plan measure = {.rig = &from->rig,
                                          .steady_shakes = true,
                                          .calibration = &calibration,
                                          .item = virtual_bench_item(gear_named(item_names[i])),
                                          .trials = TRIALS,
                                          .confidence = 0.95,
                                          .coverage = 0.95};
        struct up_result result[1];
        unsigned results;
        assert_true(up_procedure_measure(&measure, &procedure, &failure));
        run_plateaus(&bench, procedure);
        assert_true(up_procedure_results(procedure, result, &results, &failure));
        up_procedure_destroy(procedure);
        keep_result(&by_plateaus, i, bench.tank, result);
    }
    by_plateaus.end_s = tank_time_s(bench.tank);
    tank_destroy(bench.tank);
}

/* ---- the comparison ---- */

/* A change of the error from a plateau to the next: the walk of the zero, which is chance and goes
   its own way in either, hardly stands in it. */
struct sums {
    double change_samples, change_plateaus; /* squares */
    double difference, u_samples, u_plateaus;
    unsigned plateaus;
    double result_difference[SESSIONS_MAX]; /* mean over the items of a session */
    double result_samples, result_plateaus, stated_samples, stated_plateaus; /* squares */
    unsigned sessions, other_shakes;
};

static void add_session(struct sums *sums) {
    unsigned n = by_samples.plateaus;
    double difference_g = 0;
    for (unsigned i = 0; i < ITEMS; i++) {
        double a = by_samples.result_error_g[i], b = by_plateaus.result_error_g[i];
        difference_g += (b - a) / ITEMS;
        sums->result_samples += a * a;
        sums->result_plateaus += b * b;
        sums->stated_samples += pow(by_samples.result_u_g[i], 2);
        sums->stated_plateaus += pow(by_plateaus.result_u_g[i], 2);
    }
    sums->result_difference[sums->sessions++] = difference_g;
    if (by_plateaus.plateaus != n) { /* noise let one of them shake once more */
        sums->other_shakes++;
        return;
    }
    for (unsigned i = 1; i < n; i++) {
        double a = by_samples.error[i] - by_samples.error[i - 1];
        double b = by_plateaus.error[i] - by_plateaus.error[i - 1];
        sums->change_samples += a * a;
        sums->change_plateaus += b * b;
        sums->difference += pow(b - a, 2);
        sums->u_samples += by_samples.u[i];
        sums->u_plateaus += by_plateaus.u[i];
        sums->plateaus++;
    }
}

static unsigned sessions_wanted(void) {
    const char *text = getenv("UPTHRUST_TRUTH_PAIRS");
    long sessions = text != NULL ? strtol(text, NULL, 10) : 8;
    return sessions < 8 ? 8 : sessions > SESSIONS_MAX ? SESSIONS_MAX : (unsigned)sessions;
}

static void assert_ratio(const char *what, double a, double b, double most) {
    if (!(a / b < most && b / a < most)) {
        fail_msg("%s: %g by samples, %g by plateaus", what, a, b);
    }
}

/* Of the mean difference between the results' errors, over the sessions. */
static struct up_summary paired_errors(const struct sums *sums) {
    return up_summarise(sums->result_difference, sums->sessions);
}

static void print_sums(const char *tank, const struct sums *sums) {
    struct up_summary paired = paired_errors(sums);
    double n = sums->plateaus, results = sums->sessions * ITEMS;
    print_message("# %-10s %u sessions, %u with as many shakes in both; by samples, by plateaus:\n"
                  "#   change of a plateau's error %.1f %.1f counts rms, paired difference %.1f; "
                  "stated u %.2f %.2f\n"
                  "#   results: rms error %.3f %.3f g, stated u %.3f %.3f g, mean difference %+.4f "
                  "g, its standard error %.4f\n",
                  tank, sums->sessions, sums->sessions - sums->other_shakes,
                  sqrt(sums->change_samples / n), sqrt(sums->change_plateaus / n),
                  sqrt(sums->difference / n), sums->u_samples / n, sums->u_plateaus / n,
                  sqrt(sums->result_samples / results), sqrt(sums->result_plateaus / results),
                  sqrt(sums->stated_samples / results), sqrt(sums->stated_plateaus / results),
                  paired.mean, paired.sd / sqrt((double)sums->sessions));
}

static void check_sums(const struct sums *sums) {
    struct up_summary paired = paired_errors(sums);
    /* Of squares; where one has shaken once more all later draws are others, as if of other
       sessions: a mean square of n is then known to sqrt(2 / n), the ratio of two to twice that
       square. */
    double most = exp(3 * 2 / sqrt(sums->sessions * ITEMS));
    /* 0.02 g of difference changes no figure of the truth table. */
    assert_true(fabs(paired.mean) <= 3 * paired.sd / sqrt((double)sums->sessions) + 0.02);
    assert_true(sums->plateaus > 100);
    /* Over some hundred plateaus a standard deviation is known to 5 %, by chance 13 %. */
    assert_ratio("change of a plateau's error", sqrt(sums->change_samples),
                 sqrt(sums->change_plateaus), 1.15);
    assert_ratio("stated u of a plateau", sums->u_samples, sums->u_plateaus, 1.15);
    assert_ratio("results' error", sums->result_samples, sums->result_plateaus, most);
    assert_ratio("results' stated u", sums->stated_samples, sums->stated_plateaus, most);
}

static void compare(const char *tank, void (*set)(struct virtual_bench *bench)) {
    static struct sums sums;
    struct virtual_bench bench;
    memset(&sums, 0, sizeof sums);
    virtual_bench_begin(&bench, 1);
    bench.staircase = true;
    bench.told = note_sampled;
    set(&bench);
    for (unsigned i = 0; i < sessions_wanted(); i++) {
        sample_session(&bench, 100 + i);
        plateau_session(&bench, 100 + i);
        add_session(&sums);
    }
    virtual_bench_end(&bench);
    print_sums(tank, &sums);
    check_sums(&sums);
}

static void as_it_is(struct virtual_bench *bench) {
    (void)bench;
}

static void swaying(struct virtual_bench *bench) {
    bench->cell.sway_kg = bench->cell.slosh_kg = 0.04;
    bench->cell.sway_decay_s = 5;
    bench->cell.slosh_decay_s = 4;
}

static void glitchy(struct virtual_bench *bench) {
    bench->cell.bit_slip_chance = bench->cell.spike_chance = 0.02;
    bench->cell.spike_counts = 600;
}

static void plateaus_are_as_samples_make_them(void **state) {
    (void)state;
    compare("as it is", as_it_is);
}

static void a_swaying_load_is_as_samples_tell_it(void **state) {
    (void)state;
    compare("swaying", swaying);
}

static void glitches_leave_what_samples_leave(void **state) {
    (void)state;
    compare("glitchy", glitchy);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plateaus_are_as_samples_make_them),
        cmocka_unit_test(a_swaying_load_is_as_samples_tell_it),
        cmocka_unit_test(glitches_leave_what_samples_leave),
    };
    return cmocka_run_group_tests_name("plateau", tests, NULL, NULL);
}
