/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Quick weighings at the second family of tanks, sample by sample, each item in a session of its
 * own with a calibration of its own. A bench learns scatter from full weighings and readings from
 * quick ones at the full schedule under one law, and weighs under the same or another one.
 * UPTHRUST_TRUTH_SESSIONS: a twentieth of them are items a row; 20 in `make check`.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "metrology/statistics.h"
#include "second_session.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

enum { FULL = 12, LEARNING = 190, LEARNING_SMALL = 24, TRACES_MAX = 1024, SMALL = 20 };

struct row {
    enum second_law learned, weighed;
};

static const struct row rows[] = {
    {SECOND_QUIET, SECOND_QUIET},
    {SECOND_RINGING, SECOND_RINGING},
    {SECOND_SLOSH, SECOND_SLOSH},
    {SECOND_CREEP_TURNS, SECOND_CREEP_TURNS},
    {SECOND_STUCK_TENTH, SECOND_STUCK_TENTH},
    {SECOND_LOOK_ALIKE, SECOND_LOOK_ALIKE},
    {SECOND_COMPOSITE, SECOND_COMPOSITE},
    {SECOND_QUIET, SECOND_RINGING},
};

static unsigned items_wanted(void) {
    const char *text = getenv("UPTHRUST_TRUTH_SESSIONS");
    long sessions = text != NULL ? strtol(text, NULL, 10) / 20 : SMALL;
    return sessions < SMALL ? SMALL : sessions > 20000 ? 20000 : (unsigned)sessions;
}

/* ---- learning ---- */

struct bench {
    struct up_quick_plan plan;
    struct up_quantity scatter_kg;
    struct up_early_trace trace[UP_QUICK_STEPS][TRACES_MAX];
    unsigned traces[UP_QUICK_STEPS];
};

static void learn_scatter(struct bench *bench, enum second_law law) {
    struct second_outcome outcome;
    double sd[FULL], dof[FULL];
    unsigned count = 0;
    for (unsigned i = 0; i < FULL; i++) {
        struct second_plan plan = {.law = law, .seed = 700000 + i};
        second_session_play(&plan, &outcome);
        if (outcome.results > 0) {
            sd[count] = outcome.trial_sd_kg;
            dof[count++] = 4;
        }
    }
    struct up_pool pool = up_pool_sds(sd, dof, count);
    bench->scatter_kg = (struct up_quantity){0, pool.sd, pool.dof};
}

static void keep_traces(struct bench *bench, const struct second_outcome *outcome, unsigned item) {
    for (unsigned i = 0; i < outcome->taughts; i++) {
        const struct up_quick_taught *taught = &outcome->taught[i];
        unsigned *count = &bench->traces[taught->step];
        if (*count < TRACES_MAX) {
            struct up_early_trace *trace = &bench->trace[taught->step][(*count)++];
            *trace = (struct up_early_trace){.item = item, .step_kg = taught->step_kg};
            memcpy(trace->off_kg, taught->off_kg, sizeof trace->off_kg);
        }
    }
}

static void learn(struct bench *bench, enum second_law law, unsigned items) {
    struct second_outcome outcome;
    memset(bench, 0, sizeof *bench);
    bench->plan.on = true;
    learn_scatter(bench, law);
    for (unsigned i = 0; i < items; i++) {
        struct second_plan plan = {
            .law = law, .seed = 800000 + i, .quick = &bench->plan, .scatter_kg = bench->scatter_kg};
        second_session_play(&plan, &outcome);
        keep_traces(bench, &outcome, i);
    }
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        bench->plan.envelope[step] =
            up_early_learn(bench->trace[step], bench->traces[step], UP_QUICK_EARLY_RISK);
    }
}

/* ---- weighing ---- */

struct tally {
    unsigned items, wrong, aside, holds, told, near, questions, rejected;
    double seconds;
};

static void count(const struct second_outcome *outcome, struct tally *tally) {
    bool told = outcome->results > 0;
    tally->items++;
    tally->wrong += told && outcome->wrong_class[0];
    tally->aside += outcome->aside || !told || !outcome->classed[0];
    tally->told += told;
    tally->holds += told && outcome->holds[0];
    tally->near += told && fabs(fabs(outcome->truth_kg[0]) - UP_TOLERANCE_ONE_G / 1e3) < 0.01;
    tally->questions += outcome->questions > 0;
    tally->seconds += outcome->measuring_s;
}

static struct tally weigh(struct bench *bench, enum second_law law, unsigned items) {
    static struct second_outcome outcome;
    struct tally tally = {0};
    for (unsigned i = 0; i < items; i++) {
        struct second_plan plan = {
            .law = law, .seed = 1 + i, .quick = &bench->plan, .scatter_kg = bench->scatter_kg};
        second_session_play(&plan, &outcome);
        count(&outcome, &tally);
        memcpy(bench->plan.watch, outcome.watch, sizeof bench->plan.watch);
        bool rejected = false;
        for (int step = 0; step < UP_QUICK_STEPS; step++) {
            rejected =
                rejected || up_early_is_rejected(&bench->plan.watch[step], UP_QUICK_EARLY_RISK);
        }
        tally.rejected = tally.rejected == 0 && rejected ? i + 1 : tally.rejected;
    }
    return tally;
}

static void test_second_family(void **state) {
    static struct bench bench;
    (void)state;
    unsigned items = items_wanted();
    print_message("# learned at        weighed at        items wrong%% aside%% near%% cover%%    s "
                  "asked rejected at; traces, scatter g, bound at 8 s g\n");
    for (size_t i = 0; i < COUNT(rows); i++) {
        learn(&bench, rows[i].learned, items > SMALL ? LEARNING : LEARNING_SMALL);
        struct tally tally = weigh(&bench, rows[i].weighed, items);
        double n = tally.items / 100.0;
        print_message(
            "# %-17s %-17s %5u %6.2f %6.1f %5.1f %6.1f %5.0f %5u %4u; %u %u %u, %.2f, %.2f\n",
            second_law_name(rows[i].learned), second_law_name(rows[i].weighed), tally.items,
            tally.wrong / n, tally.aside / n, tally.near / n,
            100.0 * tally.holds / fmax(tally.told, 1), tally.seconds / tally.items, tally.questions,
            tally.rejected, bench.traces[0], bench.traces[1], bench.traces[2],
            bench.scatter_kg.u * 1e3,
            up_early_limit(&bench.plan.envelope[0], 4, 0.3).bound_kg * 1e3);
        /* A wrong class is rare; four of twenty are no chance. */
        assert_true(tally.wrong <= 0.002 * tally.items + 3 + 0.01 * tally.items);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_second_family)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
