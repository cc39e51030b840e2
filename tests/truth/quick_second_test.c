/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Quick weighings at the second family of tanks, sample by sample, each item in a session of its
 * own with a calibration of its own. A bench learns scatter from full weighings and readings from
 * quick ones at the full schedule under one law, and weighs under the same or another one.
 * UPTHRUST_TRUTH_SESSIONS of them are items a row; 20 in `make check`.
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

#include "jobs.h"
#include "metrology/statistics.h"
#include "second_session.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

enum { FULL = 12, LEARNING = 190, LEARNING_SMALL = 24, TRACES_MAX = 1024, SMALL = 20 };

struct row {
    enum second_law learned, weighed;
    bool shared; /* one tank and cell a session, whose items share the hanger's reading */
};

static const struct row rows[] = {
    {SECOND_QUIET, SECOND_QUIET, false},
    {SECOND_RINGING, SECOND_RINGING, false},
    {SECOND_SLOSH, SECOND_SLOSH, false},
    {SECOND_CREEP_TURNS, SECOND_CREEP_TURNS, false},
    {SECOND_STUCK_TENTH, SECOND_STUCK_TENTH, false},
    {SECOND_LOOK_ALIKE, SECOND_LOOK_ALIKE, false},
    {SECOND_LOOK_ALIKE, SECOND_LOOK_ALIKE, true},
    {SECOND_COMPOSITE, SECOND_COMPOSITE, false},
    {SECOND_LOOPS, SECOND_LOOPS, false},
    {SECOND_DRIPS, SECOND_DRIPS, false},
    {SECOND_DEGASSING, SECOND_DEGASSING, false},
    {SECOND_FAST_DRIFT, SECOND_FAST_DRIFT, false},
    {SECOND_QUIET, SECOND_RINGING, false}, /* from here on not as it was learned */
    {SECOND_QUIET, SECOND_CREEP_TURNS, false},
    {SECOND_QUIET, SECOND_LOOK_ALIKE, false},
};

static unsigned items_wanted(void) {
    const char *text = getenv("UPTHRUST_TRUTH_SESSIONS");
    long sessions = text != NULL ? strtol(text, NULL, 10) : SMALL;
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

/* ---- weighing: sessions of fifty, each with an eye of its own on what was learned ---- */

enum { SESSION = 50, DISTANCES = 5 };

/* Of the truth from the nearest line. */
static const double distance_g[DISTANCES] = {10, 25, 50, 100, (double)INFINITY};
static const double GUARD_KG = 0.02, LINE_KG = UP_TOLERANCE_ONE_G / 1e3;

struct tally { /* all double: sums of processes are added up */
    double items, wrong, aside, holds, told, questions, seconds;
    double rival_wrong, rival_aside, rival_s;
};

struct sum {
    struct tally by[DISTANCES + 1]; /* by distance, and of all */
    double sessions, rejected_early, rejected_never;
};

static enum up_class class_of(double buoyancy_kg) {
    return buoyancy_kg > LINE_KG    ? UP_CLASS_POSITIVE
           : buoyancy_kg < -LINE_KG ? UP_CLASS_NEGATIVE
                                    : UP_CLASS_NEUTRAL;
}

static void count(const struct second_outcome *outcome, struct tally *tally) {
    bool told = outcome->results > 0;
    double rival_kg = outcome->rival.buoyancy_kg;
    bool rival_aside = fabs(fabs(rival_kg) - LINE_KG) < GUARD_KG;
    tally->items++;
    tally->wrong += told && outcome->wrong_class[0];
    tally->aside += outcome->aside || !told || !outcome->classed[0];
    tally->told += told;
    tally->holds += told && outcome->holds[0];
    tally->questions += outcome->questions > 0;
    tally->seconds += outcome->measuring_s - outcome->ready_s;
    tally->rival_aside += told && rival_aside;
    tally->rival_wrong +=
        told && !rival_aside && class_of(rival_kg) != class_of(outcome->truth_kg[0]);
    tally->rival_s += told ? outcome->rival.seconds : 0;
}

static unsigned distance_of(const struct second_outcome *outcome) {
    double off_g = 1e3 * fabs(fabs(outcome->truth_kg[0]) - LINE_KG);
    unsigned d = 0;
    while (off_g >= distance_g[d]) {
        d++;
    }
    return d;
}

static bool is_rejected(const struct up_early_watch watch[UP_QUICK_STEPS]) {
    bool rejected = false;
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        rejected = rejected || up_early_is_rejected(&watch[step], UP_QUICK_EARLY_RISK);
    }
    return rejected;
}

struct stage {
    struct bench bench;
    enum second_law law;
    unsigned items;
    bool shared;
};

struct session {
    struct sum *sum;
    struct up_quick_plan quick;
    unsigned weighed, rejected; /* so many items; by which an envelope was rejected, 0: none */
};

static void weighed(void *context, const struct second_outcome *outcome) {
    struct session *session = context;
    session->weighed++;
    count(outcome, &session->sum->by[DISTANCES]);
    count(outcome, &session->sum->by[distance_of(outcome)]);
    memcpy(session->quick.watch, outcome->watch, sizeof session->quick.watch);
    if (session->rejected == 0 && is_rejected(session->quick.watch)) {
        session->rejected = session->weighed;
    }
}

static bool weigh(void *context, unsigned session, double *numbers, struct up_failure *failure) {
    static struct second_outcome outcome;
    struct stage *stage = context;
    struct sum *sum = (struct sum *)numbers;
    struct session of = {.sum = sum, .quick = stage->bench.plan};
    unsigned first = session * SESSION;
    unsigned items = stage->items - first < SESSION ? stage->items - first : SESSION;
    (void)failure;
    for (unsigned i = 0; i < (stage->shared ? 1 : items); i++) {
        struct second_plan plan = {.law = stage->law,
                                   .seed = 1 + first + i,
                                   .quick = &of.quick,
                                   .neighbours = stage->shared ? items : 0,
                                   .weighed = weighed,
                                   .context = &of,
                                   .scatter_kg = stage->bench.scatter_kg};
        second_session_play(&plan, &outcome);
        if (!stage->shared) {
            weighed(&of, &outcome);
        }
    }
    sum->sessions++;
    sum->rejected_early += of.rejected > 0 && of.rejected <= 5;
    sum->rejected_never += of.rejected == 0;
    return true;
}

static void print_tally(const char *name, double up_to_g, const struct tally *tally) {
    double n = fmax(tally->items, 1) / 100, low, high;
    truth_exact(tally->wrong, fmax(tally->items, 1), &low, &high);
    print_message("# %-36s %5g %5.0f %5.0f %6.3f (%.3f to %.3f) %6.1f %6.1f %5.0f %6.1f | %6.2f "
                  "%6.1f %5.0f\n",
                  name, up_to_g, tally->items, tally->wrong, tally->wrong / n, 100 * low,
                  100 * high, tally->aside / n, 100 * tally->holds / fmax(tally->told, 1),
                  tally->seconds / fmax(tally->items, 1), tally->questions / n,
                  tally->rival_wrong / n, tally->rival_aside / n,
                  tally->rival_s / fmax(tally->told, 1));
}

static void print_sum(const struct row *row, const struct bench *bench, const struct sum *sum) {
    char name[80];
    snprintf(name, sizeof name, "%.17s%s%.17s%s", second_law_name(row->weighed),
             row->learned != row->weighed ? " by " : "",
             row->learned != row->weighed ? second_law_name(row->learned) : "",
             row->shared ? ", one bench" : "");
    for (int d = 0; d < DISTANCES; d++) {
        print_tally("", distance_g[d], &sum->by[d]);
    }
    print_tally(name, (double)NAN, &sum->by[DISTANCES]);
    print_message("#   learned from %u, %u, %u traces, scatter %.2f g, bound at 8 s %.2f g; "
                  "rejected by the fifth item in %.0f of %.0f, never in %.0f\n",
                  bench->traces[0], bench->traces[1], bench->traces[2], bench->scatter_kg.u * 1e3,
                  up_early_limit(&bench->plan.envelope[0], 4, 0.3).bound_kg * 1e3,
                  sum->rejected_early, sum->sessions, sum->rejected_never);
}

static bool play(const struct row *row, unsigned items) {
    static struct stage stage;
    static struct sum sum;
    struct up_failure failure;
    memset(&sum, 0, sizeof sum);
    learn(&stage.bench, row->learned, items > SMALL ? LEARNING : LEARNING_SMALL);
    stage.law = row->weighed;
    stage.items = items;
    stage.shared = row->shared;
    if (!truth_share_out((items + SESSION - 1) / SESSION, weigh, &stage, (double *)&sum,
                         sizeof sum / sizeof(double), &failure)) {
        fail_msg("%s", failure.text);
    }
    print_sum(row, &stage.bench, &sum);
    const struct tally *all = &sum.by[DISTANCES];
    /* Of 0.2 % chance makes four standard deviations more, and one. */
    return all->wrong <= 0.002 * all->items + 4 * sqrt(0.002 * all->items) + 1;
}

static void test_second_family(void **state) {
    const char *only = getenv("ONLY");
    unsigned missed = 0;
    (void)state;
    print_message("# weighed at, by what was learned at    dist g items wrong %% (exact bounds) "
                  "aside%% cover%% s asked%% | rival: wrong%% aside%% s\n");
    for (size_t i = 0; i < COUNT(rows); i++) {
        bool chosen = only == NULL || strstr(only, second_law_name(rows[i].weighed)) != NULL;
        if (chosen && !play(&rows[i], items_wanted())) {
            print_message("#   more wrong classes than 0.2 %%\n");
            missed++;
        }
    }
    assert_int_equal(missed, 0);
}

/* ---- full weighings of a queue: minor readings may end ---- */

static const enum second_law fulls[] = {SECOND_QUIET,     SECOND_RINGING,    SECOND_COMPOSITE,
                                        SECOND_DEGASSING, SECOND_LOOK_ALIKE, SECOND_STUCK_TENTH,
                                        SECOND_CREEP,     SECOND_CREEP_TURNS};
enum { FULL_QUEUE = 20 };

struct fulls { /* of the tank's own water, and of all three */
    double items, seconds, half_kg, ended, holds, holds_all, results;
};

static bool play_fulls(void *context, unsigned queue, double *numbers, struct up_failure *failure) {
    static struct second_outcome outcome;
    const struct stage *stage = context;
    struct up_quick_plan quick = stage->bench.plan;
    struct fulls *sum = (struct fulls *)numbers;
    (void)failure;
    for (unsigned i = 0; i < FULL_QUEUE; i++) {
        struct second_plan plan = {.law = stage->law,
                                   .seed = 300001 + queue * FULL_QUEUE + i,
                                   .quick = &quick,
                                   .shortens = true};
        second_session_play(&plan, &outcome);
        sum->items++;
        sum->seconds += outcome.measuring_s;
        sum->ended += outcome.ended_early;
        for (unsigned r = 0; r < outcome.results; r++) {
            sum->holds += r == 0 && outcome.holds[r];
            sum->half_kg += r == 0 ? outcome.width_kg[r] : 0;
            sum->holds_all += outcome.holds[r];
            sum->results++;
        }
        memcpy(quick.watch, outcome.watch, sizeof quick.watch);
    }
    return true;
}

static struct fulls full_weighings(struct stage *stage, bool shortens) {
    static struct stage other;
    struct fulls sum = {0};
    struct up_failure failure;
    other = *stage;
    if (!shortens) { /* without an envelope nothing ends */
        memset(other.bench.plan.envelope, 0, sizeof other.bench.plan.envelope);
    }
    unsigned queues = items_wanted() / 1000 + 1;
    if (!truth_share_out(queues, play_fulls, &other, (double *)&sum, sizeof sum / sizeof(double),
                         &failure)) {
        fail_msg("%s", failure.text);
    }
    return sum;
}

static void test_full_weighings(void **state) {
    static struct stage stage;
    bool small = items_wanted() <= SMALL;
    unsigned missed = 0;
    (void)state;
    for (size_t i = 0; i < COUNT(fulls) && (i == 0 || !small); i++) {
        learn(&stage.bench, fulls[i], small ? LEARNING_SMALL : LEARNING);
        stage.law = fulls[i];
        struct fulls before = full_weighings(&stage, false), after = full_weighings(&stage, true);
        double n = before.items, all = fmax(before.results, 1);
        print_message("# %-24s %3.0f items: %5.0f s, %.2f g, holds %5.1f %% (all waters %5.1f); "
                      "minor readings ended: %5.0f s, %.2f g, %5.1f %% (%5.1f), %.1f an item\n",
                      second_law_name(fulls[i]), n, before.seconds / n, 1e3 * before.half_kg / n,
                      100 * before.holds / n, 100 * before.holds_all / all, after.seconds / n,
                      1e3 * after.half_kg / n, 100 * after.holds / n, 100 * after.holds_all / all,
                      after.ended / n);
        missed += after.seconds > before.seconds * 1.01 ||
                  after.holds < before.holds - 4 * sqrt(fmax(n - before.holds, 1)) - 1;
    }
    assert_int_equal(missed, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_full_weighings),
                                       cmocka_unit_test(test_second_family)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
