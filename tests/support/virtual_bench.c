/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "virtual_bench.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "embedded.h"

enum { SAMPLES_MAX = 24 * 3600 * 10 };

void virtual_bench_begin(struct virtual_bench *bench, unsigned long seed) {
    struct up_failure failure;
    memset(bench, 0, sizeof *bench);
    if (!up_rig_parse("simulated.ini", embedded_simulated_ini, &bench->rig, &failure)) {
        fprintf(stderr, "%s\n", failure.text);
        abort();
    }
    bench->cell = tank_cell_default();
    bench->declared = tank_declared_default();
    virtual_bench_restart(bench, seed);
}

void virtual_bench_quiet(struct virtual_bench *bench, unsigned long seed) {
    virtual_bench_begin(bench, seed);
    bench->cell.creep_rel_low = bench->cell.creep_rel_high = 0;
    bench->cell.curvature_rel = bench->cell.drift_counts_min = bench->cell.walk_counts_sqrt_s = 0;
    bench->cell.correlated_counts = bench->cell.bit_slip_chance = bench->cell.hysteresis_rel = 0;
    bench->declared.hang_sd_kg = bench->declared.item_temp_halfwidth_k = 0;
    bench->declared.swing_most_rad = 0;
    bench->declared.u_thermometer_k = bench->declared.mass_tolerance_rel = 0;
    virtual_bench_restart(bench, seed);
}

void virtual_bench_restart(struct virtual_bench *bench, unsigned long seed) {
    tank_destroy(bench->tank);
    bench->tank = tank_create(&bench->declared, &bench->cell, seed);
    up_reader_begin(&bench->reader, &bench->rig.line, false);
}

void virtual_bench_end(struct virtual_bench *bench) {
    tank_destroy(bench->tank);
    bench->tank = NULL;
}

static void do_ask(struct virtual_bench *bench, struct up_procedure *procedure,
                   const struct up_ask *ask) {
    bench->asks++;
    bench->asked[ask->action]++;
    if (bench->hook != NULL && bench->hook(bench, procedure, ask)) {
        return;
    }
    if (ask->wants_number) {
        up_procedure_answer(procedure, ask->id, UP_ANSWER_NUMBER, tank_thermometer_c(bench->tank),
                            NULL);
        return;
    }
    tank_act(bench->tank, up_action_name(ask->action), ask->item_name,
             ask->depth_m != 0 ? ask->depth_m : ask->mass_kg, tank_time_s(bench->tank));
    up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL);
}

static void take_event(struct virtual_bench *bench, struct up_procedure *procedure,
                       const struct up_event *event) {
    switch (event->kind) {
    case UP_EVENT_ASK:
        do_ask(bench, procedure, &event->ask);
        break;
    case UP_EVENT_PLATEAU:
        bench->plateaus++;
        bench->glitches += event->plateau.glitches;
        if (bench->told != NULL) {
            bench->told(bench, &event->plateau);
        }
        break;
    case UP_EVENT_TRIAL:
        bench->trials++;
        break;
    case UP_EVENT_FAULT:
        bench->faults++;
        snprintf(bench->fault, sizeof bench->fault, "%s", event->text);
        break;
    case UP_EVENT_NOTE:
        snprintf(bench->note, sizeof bench->note, "%s", event->text);
        break;
    case UP_EVENT_CHECK:
        bench->checks++;
        bench->checks_confirmed += event->check.confirmed;
        break;
    case UP_EVENT_FINISHED:
        break;
    }
}

static void one_sample(struct virtual_bench *bench, struct up_procedure *procedure) {
    char line[96];
    struct up_sample sample;
    size_t length = tank_sample(bench->tank, line, sizeof line);
    for (const char *at = line; up_reader_take(&bench->reader, &at, &length, &sample);) {
        if (bench->spoil != NULL) {
            bench->spoil(bench, procedure, &sample);
        }
        up_procedure_sample(procedure, &sample);
    }
}

bool virtual_bench_run(struct virtual_bench *bench, struct up_procedure *procedure) {
    struct up_event event;
    for (long i = 0; i < SAMPLES_MAX; i++) {
        while (up_procedure_next(procedure, &event)) {
            take_event(bench, procedure, &event);
        }
        if (up_procedure_is_finished(procedure)) {
            return true;
        }
        one_sample(bench, procedure);
    }
    return false;
}

bool virtual_bench_calibrate(struct virtual_bench *bench, const double *mass_kg, unsigned masses,
                             unsigned rounds, struct up_failure *failure) {
    struct up_calibrate_plan plan = {
        .rig = &bench->rig, .masses = masses * rounds, .staircase = bench->staircase};
    struct up_procedure *procedure;
    for (unsigned i = 0; i < plan.masses; i++) {
        plan.mass_kg[i] = mass_kg[i % masses];
    }
    if (!up_procedure_calibrate(&plan, &procedure, failure)) {
        return false;
    }
    bool good = virtual_bench_run(bench, procedure) &&
                up_procedure_calibration(procedure, &bench->calibration, failure);
    up_procedure_destroy(procedure);
    return good;
}

const struct tank_item *virtual_bench_gear(const char *name) {
    size_t count;
    const struct tank_item *gear = tank_gear(&count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(gear[i].name, name) == 0) {
            return &gear[i];
        }
    }
    fprintf(stderr, "no gear called %s\n", name);
    abort();
}

struct up_item virtual_bench_item(const struct tank_item *from) {
    struct up_item item = {.id = "00000000-0000-4000-8000-000000000001",
                           .pieces = from->pieces,
                           .tolerance_g =
                               from->pieces == 2 ? UP_TOLERANCE_PAIR_G : UP_TOLERANCE_ONE_G,
                           .expansion_per_k = UP_EXPANSION_PER_K,
                           .u_expansion_per_k = UP_U_EXPANSION_PER_K,
                           .holds_gas = from->compressible ? UP_GAS_YES : UP_GAS_NO,
                           .compressible = from->compressible};
    snprintf(item.name, sizeof item.name, "%s", from->name);
    snprintf(item.kind, sizeof item.kind, "%s", from->kind);
    return item;
}

bool virtual_bench_measure(struct virtual_bench *bench, const struct tank_item *item,
                           unsigned trials, const struct up_water *water, unsigned waters,
                           struct up_result *result, unsigned *results,
                           struct up_failure *failure) {
    struct up_measure_plan plan = {.rig = &bench->rig,
                                   .steady_shakes = true,
                                   .calibration = &bench->calibration,
                                   .item = virtual_bench_item(item),
                                   .trials = trials,
                                   .water = water,
                                   .waters = waters,
                                   .confidence = 0.95,
                                   .coverage = 0.95};
    struct up_procedure *procedure;
    if (!up_procedure_measure(&plan, &procedure, failure)) {
        return false;
    }
    bool good = virtual_bench_run(bench, procedure) &&
                up_procedure_results(procedure, result, results, failure);
    up_procedure_destroy(procedure);
    return good;
}
