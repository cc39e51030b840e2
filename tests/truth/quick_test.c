/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Quick weighings: how long, how often wrong, how many handed on, by distance from a line, beside a
 * rival. UPTHRUST_TRUTH_SESSIONS: a fiftieth of them are afternoons of fifty items a cell (10000
 * in `make truth`); 3 afternoons of three cells in `make check`.
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

static void still(struct tank_declared *declared, struct tank_cell *cell) {
    truth_kinds[0].set(declared, cell);
}

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
    double n = fmax(tally->items, 1);
    print_message("# %-18s %5g %7.0f  %6.3f %5.1f %5.1f %5.1f %5.1f %5.1f | %6.3f %5.1f %5.1f\n",
                  name, up_to_g, tally->items, 100 * tally->wrong / n, 100 * tally->aside / n,
                  100 * tally->inside / fmax(tally->told, 1), tally->seconds / n,
                  tally->sunk_s / fmax(tally->sunk, 1), tally->floated_s / fmax(tally->floated, 1),
                  100 * tally->rival_wrong / n, 100 * tally->rival_aside / n, tally->rival_s / n);
}

/* Four standard deviations of chance, and one item. */
static bool is_within(double hits, double n, double most) {
    return hits <= n * most + 4 * sqrt(n * most) + 1;
}

static bool meets_aims(const struct quick_cell *cell, const struct quick_tally *all) {
    double n = all->items;
    return is_within(all->wrong, n, cell->wrong_most) &&
           is_within(all->aside, n, all->near / n + cell->aside_beyond) &&
           is_within(all->told - all->inside, n, 0.06) &&
           (cell->seconds_most == 0 || all->seconds / n <= cell->seconds_most);
}

static bool play(const struct up_rig *rig, const struct quick_cell *cell,
                 struct quick_tally tally[QUICK_DISTANCES + 1]) {
    struct quick_learned learned;
    struct up_failure failure = {0};
    unsigned rejected, early = 0, never = 0, count = afternoons();
    memset(tally, 0, (QUICK_DISTANCES + 1) * sizeof *tally);
    if (!quick_learn_bench(rig, cell, &learned, &failure)) {
        fail_msg("%s: %s", cell->name, failure.text);
    }
    for (unsigned i = 0; i < count; i++) {
        if (!quick_afternoon(rig, cell, &learned, 1 + i, tally, &rejected, &failure)) {
            fail_msg("%s, afternoon %u: %s", cell->name, i + 1, failure.text);
        }
        early += rejected > 0 && rejected <= 5;
        never += rejected == 0;
    }
    const struct quick_tally *all = &tally[QUICK_DISTANCES];
    for (unsigned d = 0; d <= QUICK_DISTANCES; d++) {
        print_row(d < QUICK_DISTANCES ? "" : cell->name,
                  d < QUICK_DISTANCES ? quick_distance_g[d] : (double)NAN, &tally[d]);
    }
    print_message("#   learned from %u, %u, %u traces, scatter %.2f g; bound without a step at 4 "
                  "s, 8 s: %.1f, "
                  "%.1f g; rejected by the fifth item in %u of %u, never in %u\n",
                  learned.plan.envelope[0].traces, learned.plan.envelope[1].traces,
                  learned.plan.envelope[2].traces, learned.scatter_kg.u * 1e3,
                  up_early_limit(&learned.plan.envelope[0], 0, 0).bound_kg * 1e3,
                  up_early_limit(&learned.plan.envelope[0], 4, 0).bound_kg * 1e3, early, count,
                  never);
    return meets_aims(cell, all) && (!cell->rejects || early >= 0.9 * count);
}

static void test_afternoons(void **state) {
    (void)state;
    static struct quick_tally tally[QUICK_DISTANCES + 1];
    const char *only = getenv("ONLY");
    struct up_rig rig;
    struct up_failure failure;
    if (!up_rig_parse("simulated.ini", embedded_simulated_ini, &rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    print_message(
        "# cell              dist g   items  wrong%% aside cover   s  sink s float s | rival: "
        "wrong aside s\n");
    unsigned missed = 0;
    for (size_t i = 0; i < COUNT(cells); i++) {
        bool chosen = only != NULL ? strstr(only, cells[i].name) != NULL
                                   : cells[i].always || afternoons() > AFTERNOONS_SMALL;
        if (chosen && !play(&rig, &cells[i], tally)) {
            print_message("#   %s misses its aim\n", cells[i].name);
            missed++;
        }
    }
    assert_int_equal(missed, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_afternoons)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
