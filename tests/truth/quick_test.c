/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Quick weighings: how long, how often wrong, how many handed on, by distance from a line, beside a
 * rival and the plain procedure. UPTHRUST_TRUTH_SESSIONS: a fiftieth of them are afternoons of
 * fifty items a cell (10000 in `make truth`); 3 afternoons of three cells in `make check`.
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

#include "embedded.h"
#include "jobs.h"
#include "quick_cells.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static void usual(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared, (void)cell;
}

static void swaying(struct tank_declared *declared, struct tank_cell *cell) {
    truth_kinds[4].set(declared, cell);
}

static void creeping(struct tank_declared *declared, struct tank_cell *cell) {
    truth_kinds[2].set(declared, cell);
}

static void drifting(struct tank_declared *declared, struct tank_cell *cell) {
    truth_kinds[1].set(declared, cell);
}

/* Creep three times, another ringing than was learned, and shakes that free 0.2 to 0.5 of the air.
 */
static void undeclared(struct tank_declared *declared, struct tank_cell *cell) {
    cell->creep_rel_low *= 3;
    cell->creep_rel_high *= 3;
    cell->sway_kg = cell->slosh_kg = 0.05;
    cell->sway_decay_s = 8;
    cell->slosh_decay_s = 6;
    declared->shake_share_low = 0.2;
    declared->shake_share_high = 0.5;
}

static void weak_shakes(struct tank_declared *declared, struct tank_cell *cell) {
    (void)cell;
    declared->shake_share_low = 0.2;
    declared->shake_share_high = 0.5;
}

/* Another one than it was learned from: rougher hands, which shake less well. */
static void other_operator(struct tank_declared *declared, struct tank_cell *cell) {
    cell->sway_kg *= 2;
    cell->slosh_kg *= 2;
    declared->hang_sd_kg *= 2;
    declared->shake_share_low = 0.3;
    declared->shake_share_high = 0.7;
}

static void still(struct tank_declared *declared, struct tank_cell *cell) {
    truth_kinds[0].set(declared, cell);
}

static const double SINKS_MOST_S = 20, FLOATS_MOST_S = 60;

#define LEARNED  .wrong_most = 0.002, .seconds_most = 80
#define STRANGE  .wrong_most = 0.05, .aside_beyond = 1 /* wrong: 1 - confidence */
#define STOCK(x) .near_share = 0.25, .aside_beyond = x

static const struct quick_cell cells[] = {
    {"usual", usual, NULL, 2, 8, STOCK(0.03), LEARNED, .always = true},
    {"quiet", still, NULL, 2, 8, STOCK(0.03), LEARNED},
    {"drifting", drifting, NULL, 2, 8, STOCK(0.03), LEARNED},
    {"creeping up", creeping, NULL, 2, 8, STOCK(0.03), LEARNED},
    {"swaying", swaying, NULL, 2, 8, STOCK(0.03), LEARNED},
    {"airy", usual, NULL, 30, 60, STOCK(0.05), LEARNED},
    {"new kind", usual, NULL, 2, 8, STOCK(1), .wrong_most = 0.002, .new_kind = true},
    {"on the line", usual, NULL, 2, 8, STRANGE, .on_the_line = true},
    {"heavy, neutral", swaying, NULL, 2, 8, STRANGE, .neutral = true},
    {"airy, weak shakes", usual, weak_shakes, 30, 60, .near_share = 0.25, STRANGE, .always = true},
    {"operator changed", usual, other_operator, 2, 8, .near_share = 0.25, STRANGE},
    {"undeclared", usual, undeclared, 2, 8, .near_share = 0.25, STRANGE, .rejects = true,
     .always = true},
    {"labels exchanged", still, swaying, 2, 8, STRANGE, .neutral = true, .exchanged = true,
     .rejects = true},
};

enum { AFTERNOONS_SMALL = 3 };

static unsigned afternoons(void) {
    const char *text = getenv("UPTHRUST_TRUTH_SESSIONS");
    long sessions = text != NULL ? strtol(text, NULL, 10) / 50 : 0;
    return sessions < AFTERNOONS_SMALL ? AFTERNOONS_SMALL
           : sessions > 20000          ? 20000
                                       : (unsigned)sessions;
}

static void print_row(const char *name, double up_to_g, const struct quick_tally *tally) {
    double n = fmax(tally->items, 1), beside = fmax(tally->beside, 1), low, high;
    truth_exact(tally->wrong, n, &low, &high);
    print_message("# %-18s %5g %6.0f  %4.0f %6.3f (%.3f to %.3f) %5.1f %5.1f %5.1f %5.1f %5.1f | "
                  "%6.2f %5.1f %5.1f | %6.2f %5.0f\n",
                  name, up_to_g, tally->items, tally->wrong, 100 * tally->wrong / n, 100 * low,
                  100 * high, 100 * tally->aside / n, 100 * tally->inside / fmax(tally->told, 1),
                  tally->seconds / n, tally->sunk_s / fmax(tally->sunk, 1),
                  tally->floated_s / fmax(tally->floated, 1), 100 * tally->rival_wrong / beside,
                  100 * tally->rival_aside / beside, tally->rival_s / beside,
                  100 * tally->plain_wrong / beside, tally->plain_s / beside);
}

/* Four standard deviations of chance, and one item. */
static bool is_within(double hits, double n, double most) {
    return hits <= n * most + 4 * sqrt(n * most) + 1;
}

/* Of a bench that has learned: from the hook to the class, and beside the plain procedure a third
   of its time and a tenth of its wrong classes. */
static bool is_quick(const struct quick_cell *cell, const struct quick_tally *all) {
    double seconds = all->seconds / all->items, beside = all->beside;
    return seconds <= cell->seconds_most && seconds <= all->plain_s / beside / 3 &&
           is_within(all->wrong, all->items, all->plain_wrong / beside / 10) &&
           all->sunk_s <= SINKS_MOST_S * all->sunk &&
           all->floated_s <= FLOATS_MOST_S * all->floated;
}

static bool meets_aims(const struct quick_cell *cell, const struct quick_sum *sum) {
    const struct quick_tally *all = &sum->by[QUICK_DISTANCES];
    double n = all->items;
    return is_within(all->wrong, n, cell->wrong_most) &&
           is_within(all->aside, n, all->near / n + cell->aside_beyond) &&
           is_within(all->told - all->inside, n, 0.06) &&
           (cell->seconds_most == 0 || is_quick(cell, all)) &&
           (!cell->rejects || sum->rejected_early >= 0.9 * sum->days);
}

struct stage {
    const struct up_rig *rig;
    const struct quick_cell *cell;
    struct quick_learned learned;
};

static bool play_day(void *context, unsigned day, double *sum, struct up_failure *failure) {
    const struct stage *stage = context;
    return quick_afternoon(stage->rig, stage->cell, &stage->learned, 1 + day,
                           (struct quick_sum *)sum, failure);
}

static void print_sum(const struct stage *stage, const struct quick_sum *sum) {
    const struct up_early_envelope *envelope = stage->learned.plan.envelope;
    for (unsigned d = 0; d <= QUICK_DISTANCES; d++) {
        print_row(d < QUICK_DISTANCES ? "" : stage->cell->name,
                  d < QUICK_DISTANCES ? quick_distance_g[d] : (double)NAN, &sum->by[d]);
    }
    print_message("#   within 10 g %.1f %%; learned from %u, %u, %u traces, scatter %.2f g; bound "
                  "without a step at 4 s, 8 s: %.1f, %.1f g; rejected by the fifth item in %.0f of "
                  "%.0f, never in %.0f\n",
                  100 * sum->by[QUICK_DISTANCES].near / fmax(sum->by[QUICK_DISTANCES].items, 1),
                  envelope[0].traces, envelope[1].traces, envelope[2].traces,
                  stage->learned.scatter_kg.u * 1e3,
                  up_early_limit(&envelope[0], 0, 0).bound_kg * 1e3,
                  up_early_limit(&envelope[0], 4, 0).bound_kg * 1e3, sum->rejected_early, sum->days,
                  sum->rejected_never);
}

static bool play(const struct up_rig *rig, const struct quick_cell *cell) {
    static struct quick_sum sum;
    static struct stage stage;
    struct up_failure failure = {0};
    memset(&sum, 0, sizeof sum);
    stage = (struct stage){.rig = rig, .cell = cell};
    if (!quick_learn_bench(rig, cell, &stage.learned, &failure) ||
        !truth_share_out(afternoons(), play_day, &stage, (double *)&sum,
                         sizeof sum / sizeof(double), &failure)) {
        fail_msg("%s: %s", cell->name, failure.text);
    }
    print_sum(&stage, &sum);
    return meets_aims(cell, &sum);
}

/* 20 of 20 and none of 10000: by the closed forms 0.025^(1/n) and 1 less that. */
static void test_exact_bounds(void **state) {
    double low, high;
    (void)state;
    truth_exact(20, 20, &low, &high);
    assert_true(fabs(low - pow(0.025, 1.0 / 20)) < 1e-12 && high == 1);
    truth_exact(0, 10000, &low, &high);
    assert_true(low == 0 && fabs(high - (1 - pow(0.025, 1.0 / 10000))) < 1e-12);
}

static void test_afternoons(void **state) {
    (void)state;
    const char *only = getenv("ONLY");
    struct up_rig rig;
    struct up_failure failure;
    if (!up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    print_message(
        "# cell              dist g  items wrong    %% (exact bounds) aside%% cover%%   s  sinks "
        "floats s | rival: wrong%% aside%% s | plain: wrong%% s\n");
    unsigned missed = 0;
    for (size_t i = 0; i < COUNT(cells); i++) {
        bool chosen = only != NULL ? strstr(only, cells[i].name) != NULL
                                   : cells[i].always || afternoons() > AFTERNOONS_SMALL;
        if (chosen && !play(&rig, &cells[i])) {
            print_message("#   %s misses its aim\n", cells[i].name);
            missed++;
        }
    }
    assert_int_equal(missed, 0);
}

/* ---- full weighings of a queue: minor readings may end ---- */

struct fulls_row {
    const char *cell;
    unsigned trials;
};

static const struct fulls_row fulls[] = {
    {"usual", 3},       {"usual", 5},   {"quiet", 3}, {"quiet", 5}, {"drifting", 5},
    {"creeping up", 5}, {"swaying", 5}, {"airy", 3},  {"airy", 5},  {"airy, weak shakes", 5}};

struct fulls_stage {
    struct stage stage;
    unsigned trials;
    bool shortens;
};

static bool play_fulls(void *context, unsigned queue, double *sum, struct up_failure *failure) {
    const struct fulls_stage *of = context;
    return quick_full_queue(of->stage.rig, of->stage.cell, &of->stage.learned, of->trials,
                            of->shortens, 1 + queue, (struct quick_fulls *)sum, failure);
}

static struct quick_fulls full_weighings(struct fulls_stage *stage, bool shortens) {
    struct quick_fulls sum = {0};
    struct up_failure failure = {0};
    unsigned queues = afternoons() / 4 > 0 ? afternoons() / 4 : 1;
    stage->shortens = shortens;
    if (!truth_share_out(queues, play_fulls, stage, (double *)&sum, sizeof sum / sizeof(double),
                         &failure)) {
        fail_msg("%s", failure.text);
    }
    return sum;
}

/* Shorter, and chance alone may make so many more miss: four standard deviations, and one. */
static bool is_as_good(const struct fulls_row *row, const struct quick_fulls *before,
                       const struct quick_fulls *after) {
    double n = before->items;
    print_message("# %-18s %u trials, %3.0f items: %5.0f s, %.2f g, holds %5.1f %%, wrong %.0f; "
                  "minor readings ended: %5.0f s, %.2f g, %5.1f %%, wrong %.0f, %.1f readings an "
                  "item\n",
                  row->cell, row->trials, n, before->seconds / n, 1e3 * before->half_kg / n,
                  100 * before->holds / n, before->wrong, after->seconds / n,
                  1e3 * after->half_kg / n, 100 * after->holds / n, after->wrong,
                  after->readings_ended / n);
    return after->seconds <= before->seconds &&
           after->holds >= before->holds - 4 * sqrt(fmax(n - before->holds, 1)) - 1;
}

static void test_full_weighings(void **state) {
    static struct fulls_stage stage;
    struct up_rig rig;
    struct up_failure failure;
    unsigned missed = 0;
    (void)state;
    assert_true(up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure));
    for (size_t i = 0; i < COUNT(fulls) && (i == 0 || afternoons() > AFTERNOONS_SMALL); i++) {
        const struct quick_cell *cell = cells;
        while (strcmp(cell->name, fulls[i].cell) != 0) {
            cell++;
        }
        stage =
            (struct fulls_stage){.stage = {.rig = &rig, .cell = cell}, .trials = fulls[i].trials};
        if (!quick_learn_bench(&rig, cell, &stage.stage.learned, &failure)) {
            fail_msg("%s", failure.text);
        }
        struct quick_fulls before = full_weighings(&stage, false);
        struct quick_fulls after = full_weighings(&stage, true);
        missed += !is_as_good(&fulls[i], &before, &after);
    }
    assert_int_equal(missed, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_exact_bounds),
                                       cmocka_unit_test(test_full_weighings),
                                       cmocka_unit_test(test_afternoons)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
