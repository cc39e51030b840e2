/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "hand_bench.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "embedded.h"

enum { SAMPLES_MAX = 10 * 3600 * 10 };
static const double INTERVAL_S = 0.1;

/* Of zero mean and a standard deviation of one; eight of them make up a tenth of a window of 8 s.
 */
static double shape(long number) {
    static const double pattern[] = {1, -0.5, 0.25, -1.25, 1.25, -0.25, 0.5, -1};
    static const double RMS = 0.847791247890659; /* the root of 5.75 / 8 */
    return pattern[number % 8] / RMS;
}

void hand_bench_begin(struct hand_bench *bench) {
    struct up_failure failure;
    memset(bench, 0, sizeof *bench);
    if (!up_rig_parse("simulated.ini", embedded_simulated_ini, &bench->rig, &failure)) {
        fprintf(stderr, "%s\n", failure.text);
        abort();
    }
    bench->calibration = (struct up_calibration){.slope_counts_per_kg = 600000,
                                                 .u_slope_counts_per_kg = 6,
                                                 .dof = 9,
                                                 .unloading_slope_counts_per_kg = (double)NAN,
                                                 .hysteresis_kg = 2e-4,
                                                 .air_density_kg_m3 = 1.19,
                                                 .temp_c = bench->rig.air.temp_c.value,
                                                 .read_after_s = bench->rig.read_after_s,
                                                 .window_s = bench->rig.window_s,
                                                 .span_kg = 2,
                                                 .points = 2,
                                                 .point = {{.mass_kg = 1}, {.mass_kg = 2}}};
    memcpy(bench->calibration.bench, bench->rig.id, sizeof bench->calibration.bench);
    memcpy(bench->calibration.rig_sha256, bench->rig.sha256, sizeof bench->calibration.rig_sha256);
    bench->plan = (struct up_measure_plan){
        .rig = &bench->rig,
        .calibration = &bench->calibration,
        .item = {.name = "item", .pieces = 1, .tolerance_g = UP_TOLERANCE_ONE_G},
        .trials = 3,
        .confidence = 0.95,
        .coverage = 0.95,
        .draws = 1000};
    bench->level = 100000;
    bench->noise = 20;
    bench->temp_c = 20;
    bench->shaken_s = -10;
}

void hand_bench_start(struct hand_bench *bench) {
    struct up_failure failure;
    up_procedure_destroy(bench->procedure);
    memset(bench->asked, 0, sizeof bench->asked);
    bench->faults = bench->plateaus = 0;
    if (!up_procedure_measure(&bench->plan, &bench->procedure, &failure)) {
        fprintf(stderr, "%s\n", failure.text);
        abort();
    }
}

/* Where a shake is asked for a hand pulls for a second: far above the noise, not as far as the tare
   of what hangs, so that the schedule still counts from the answer. */
static double hand(const struct hand_bench *bench) {
    double long_s = bench->pull_s > 0 ? bench->pull_s : 1;
    bool pulls = bench->now_s > bench->shaken_s && bench->now_s < bench->shaken_s + long_s;
    return pulls && !bench->untouched ? fmax(20000, 12 * bench->noise) : 0;
}

static void answer(struct hand_bench *bench, const struct up_ask *ask) {
    enum up_answer_word word = UP_ANSWER_DONE;
    bench->asked[ask->action]++;
    bench->shaken_s = ask->action == UP_ACTION_SHAKE ? bench->now_s + 0.3 : bench->shaken_s;
    snprintf(bench->question, sizeof bench->question, "%s", ask->text);
    if (bench->act != NULL) {
        word = bench->act(bench, ask);
    }
    up_procedure_answer(bench->procedure, ask->id, ask->wants_number ? UP_ANSWER_NUMBER : word,
                        bench->temp_c, NULL);
}

static void take_event(struct hand_bench *bench, const struct up_event *event) {
    if (event->kind == UP_EVENT_ASK) {
        answer(bench, &event->ask);
    } else if (event->kind == UP_EVENT_FAULT) {
        bench->faults++;
        snprintf(bench->fault, sizeof bench->fault, "%s", event->text);
    } else if (event->kind == UP_EVENT_NOTE) {
        snprintf(bench->note, sizeof bench->note, "%s", event->text);
    } else if (event->kind == UP_EVENT_PLATEAU) {
        bench->plateaus++;
        bench->plateau = event->plateau;
    }
}

static void one_sample(struct hand_bench *bench, long number) {
    struct up_sample sample = {.loads = 1, .temp_c = bench->temp_c, .sequence = (double)NAN};
    bench->now_s += INTERVAL_S;
    sample.time_s = bench->now_s;
    double level = bench->now_s < bench->off_until_s ? bench->off_level : bench->level;
    sample.load[0] = level + hand(bench) + bench->drift_per_s * bench->now_s +
                     bench->noise * shape(number) +
                     bench->swing * sin(2 * M_PI * bench->swing_hz * bench->now_s);
    up_procedure_sample(bench->procedure, &sample);
}

bool hand_bench_step(struct hand_bench *bench, long i) {
    struct up_event event;
    while (up_procedure_next(bench->procedure, &event)) {
        take_event(bench, &event);
    }
    bool goes_on = !up_procedure_is_finished(bench->procedure);
    if (goes_on) {
        one_sample(bench, i);
    }
    return goes_on;
}

void hand_bench_run(struct hand_bench *bench) {
    for (long i = 0; i < SAMPLES_MAX; i++) {
        if (!hand_bench_step(bench, i)) {
            return;
        }
    }
    fprintf(stderr, "the procedure has not come to its end: %s\n", bench->question);
    abort();
}

void hand_bench_wait(struct hand_bench *bench, double seconds) {
    for (long i = 0; i < (long)(seconds / INTERVAL_S); i++) {
        one_sample(bench, i);
    }
}

const struct up_measurement *hand_bench_measured(const struct hand_bench *bench) {
    return up_procedure_measurement(bench->procedure);
}

void hand_bench_end(struct hand_bench *bench) {
    up_procedure_destroy(bench->procedure);
    bench->procedure = NULL;
}
