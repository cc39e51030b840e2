/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often the stated interval holds the truth that the simulated tank knows. Rig effects are
 * drawn anew each session from what the rig file declares: sample by sample, so through the reader,
 * the glitch test and the plateaus (cells_test.c goes by plateaus and further). Twenty sessions in
 * `make check`; UPTHRUST_TRUTH_SEEDS=60 in `make truth`.
 *
 * Results of one session share its errors (calibration, thermometer, water), so they are no
 * independent draws: the allowance is made on the sessions, not on the results.
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

#include "metrology/statistics.h"
#include "virtual_bench.h"

enum { WATERS = 3, SEEDS_MAX = 10000 };

static const double masses_kg[] = {0.5, 1, 2, 4};
static const struct up_water waters[] = {
    {.name = "fresh", .temp_c = 20, .salinity_g_kg = 0.25, .u_salinity_g_kg = 0.145},
    {.name = "sea",
     .model = UP_WATER_SEA,
     .temp_c = 15,
     .salinity_g_kg = UP_SEA_SALINITY_G_KG,
     .u_salinity_g_kg = 0.8}};
static const char *const water_names[WATERS] = {"tank", "fresh", "sea"};

struct tally {
    unsigned results, inside, wrong, undecided;
    double error_sum, error_squares, ratio_squares;
};

static struct tally tally[WATERS];
static double session_share[SEEDS_MAX];

static enum up_class true_class(double truth_g, double tolerance_g) {
    return truth_g > tolerance_g    ? UP_CLASS_POSITIVE
           : truth_g < -tolerance_g ? UP_CLASS_NEGATIVE
                                    : UP_CLASS_NEUTRAL;
}

static bool count_result(const struct up_result *result, unsigned water, double truth_g) {
    struct tally *t = &tally[water];
    double error_g = result->answer.buoyancy_kg.value * 1e3 - truth_g;
    bool inside = error_g >= -result->answer.expanded_u_kg * 1e3 &&
                  error_g <= (result->answer.expanded_u_kg + result->answer.stuck_air_kg) * 1e3;
    enum up_class class = result->answer.class;
    t->results++;
    t->inside += inside;
    t->error_sum += error_g;
    t->error_squares += error_g * error_g;
    t->ratio_squares += pow(error_g / (result->answer.buoyancy_kg.u * 1e3), 2);
    t->undecided += class == UP_CLASS_UNDECIDED;
    t->wrong += class != UP_CLASS_UNDECIDED &&
                class != true_class(truth_g, result->question.tolerance_kg * 1e3);
    return inside;
}

static double truth_of(struct virtual_bench *bench, const struct tank_item *item,
                       const struct up_result *result) {
    if (result->measured) {
        return tank_truth_in_tank_g(bench->tank, item->name);
    }
    return tank_truth_in_water_g(bench->tank, item->name, result->water.name,
                                 result->water_density_kg_m3.value, result->water_density_kg_m3.u,
                                 result->water.temp_c);
}

static void run_session(struct virtual_bench *bench, unsigned long seed, double *share) {
    size_t items;
    const struct tank_item *gear = tank_gear(&items);
    struct up_failure failure = {0};
    unsigned inside = 0, all = 0;
    virtual_bench_restart(bench, seed);
    if (!virtual_bench_calibrate(bench, masses_kg, 4, 3, &failure)) {
        fail_msg("seed %lu: %s", seed, failure.text);
    }
    for (size_t i = 0; i < items; i++) {
        struct up_result result[WATERS];
        unsigned results = 0;
        if (!virtual_bench_measure(bench, &gear[i], 5, waters, 2, result, &results, &failure)) {
            fail_msg("seed %lu, %s: %s", seed, gear[i].name, failure.text);
        }
        for (unsigned j = 0; j < results; j++) {
            inside += count_result(&result[j], j, truth_of(bench, &gear[i], &result[j]));
            all++;
        }
    }
    *share = (double)inside / all;
}

static unsigned seeds_wanted(void) {
    const char *text = getenv("UPTHRUST_TRUTH_SEEDS");
    long seeds = text != NULL ? strtol(text, NULL, 10) : 20;
    return seeds < 2 ? 2 : seeds > SEEDS_MAX ? SEEDS_MAX : (unsigned)seeds;
}

static void print_tally(unsigned seeds) {
    print_message("# %u sessions; per water: coverage, bias g, rms g, rms error over stated u, "
                  "wrong classes, undecided\n",
                  seeds);
    for (int w = 0; w < WATERS; w++) {
        const struct tally *t = &tally[w];
        double n = t->results;
        print_message("# %-6s %5u results %.3f %+.3f %.3f %.2f %u %u\n", water_names[w], t->results,
                      t->inside / n, t->error_sum / n, sqrt(t->error_squares / n),
                      sqrt(t->ratio_squares / n), t->wrong, t->undecided);
    }
}

static void intervals_hold_the_truth(void **state) {
    struct virtual_bench bench;
    unsigned seeds = seeds_wanted();
    (void)state;
    virtual_bench_begin(&bench, 1);
    bench.staircase = true;
    for (unsigned i = 0; i < seeds; i++) {
        run_session(&bench, 1000 + i, &session_share[i]);
    }
    virtual_bench_end(&bench);
    print_tally(seeds);
    struct up_summary share = up_summarise(session_share, seeds);
    double allowance = 3 * share.sd / sqrt(seeds);
    print_message("# all together %.4f, standard deviation between sessions %.4f\n", share.mean,
                  share.sd);
    /* Not below 95 % by more than chance; and not so wide that the statement is empty. Rectangular
       terms rule several of these items, for which even a true budget covers more than 95 %. */
    assert_true(share.mean >= 0.95 - allowance);
    assert_true(share.mean <= 0.995);
    for (int w = 0; w < WATERS; w++) {
        double ratio = sqrt(tally[w].ratio_squares / tally[w].results);
        assert_true(ratio > 0.6 && ratio < 1.25);
    }
}

static void classes_are_hardly_ever_wrong(void **state) {
    unsigned wrong = 0, results = 0;
    (void)state;
    for (int w = 0; w < WATERS; w++) {
        wrong += tally[w].wrong;
        results += tally[w].results;
    }
    assert_true(results > 0);
    /* A class is stated at 95 %; only the item on the limit can be misjudged at all. */
    assert_true(wrong <= results / 100);
    assert_true(tally[1].undecided > 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(intervals_hold_the_truth),
        cmocka_unit_test(classes_are_hardly_ever_wrong),
    };
    return cmocka_run_group_tests_name("coverage", tests, NULL, NULL);
}
