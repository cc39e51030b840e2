/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "quick_cells.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "../../firmware-host/bench/internal.h"
#include "metrology/statistics.h"
#include "plateau_bench.h"
#include "virtual_bench.h"

const double quick_distance_g[QUICK_DISTANCES] = {10, 25, 50, 100, (double)INFINITY};

static const double masses_kg[] = {0.5, 1, 2, 4};
static const double WATER = 997.9, LINE_G = UP_TOLERANCE_ONE_G, GUARD_G = 20;
/* Shaking itself takes TANK_SHAKE_S more, 16 s in all. */
static const double handling_s[UP_ACTIONS] = {
    [UP_ACTION_ADD_BALLAST] = 10, [UP_ACTION_HANG_MASS] = 12,     [UP_ACTION_EMPTY_IN_AIR] = 8,
    [UP_ACTION_HANG_IN_AIR] = 12, [UP_ACTION_EMPTY_IN_WATER] = 5, [UP_ACTION_IMMERSE] = 20,
    [UP_ACTION_SHAKE] = 10,       [UP_ACTION_LIFT_OUT] = 12,
};
/* The rival reads a second of samples that ends so long after the shake (as long as ours takes). */
static const double RIVAL_READS_S = 10;
static const double PLAIN_MASS_KG = 2;
enum { PLAIN_DIPS = 3 };

/* ---- stock ---- */

/* A quarter, or what the cell says, near a line; of the rest three in five sink. */
static double draw_buoyancy_g(gsl_rng *rng, const struct quick_cell *cell) {
    double line = gsl_rng_uniform(rng) < 0.5 ? -LINE_G : LINE_G;
    if (cell->on_the_line) {
        return line + gsl_ran_flat(rng, -2, 2);
    }
    if (cell->neutral) {
        return gsl_ran_flat(rng, -20, 20);
    }
    if (gsl_rng_uniform(rng) < cell->near_share) {
        return line + gsl_ran_flat(rng, -50, 50);
    }
    return gsl_rng_uniform(rng) < 0.6 ? gsl_ran_flat(rng, -900, -100) : gsl_ran_flat(rng, 100, 500);
}

static void draw_stock(gsl_rng *rng, const struct quick_cell *cell, struct tank_item *item) {
    memset(item, 0, QUICK_STOCK * sizeof *item);
    for (int i = 0; i < QUICK_STOCK; i++) {
        double b_g = draw_buoyancy_g(rng, cell);
        snprintf(item[i].name, sizeof item[i].name, "piece %d", i + 1);
        item[i].pieces = 1;
        item[i].volume_m3 =
            cell->neutral ? gsl_ran_flat(rng, 3e-3, 5e-3) : gsl_ran_flat(rng, 3e-4, 2e-3);
        item[i].volume_m3 += b_g > 0 ? b_g / 1e6 : 0;
        item[i].mass_kg = item[i].volume_m3 * WATER - b_g / 1e3;
        item[i].trapped_kg = gsl_ran_flat(rng, cell->air_low_g, cell->air_high_g) / 1e3;
    }
}

/* ---- a tank, calibrated ---- */

struct afternoon {
    const struct up_rig *rig;
    struct tank *tank;
    struct up_calibration calibration;
    struct tank_item item[QUICK_STOCK];
    struct plateau_bench bench;
    struct up_opening opening;
    struct up_procedure *procedure; /* of the item under way */
    double hung_s, class_s;         /* NaN: not yet */
};

static bool calibrate(struct afternoon *day, struct up_failure *failure) {
    struct up_calibrate_plan plan = {.rig = day->rig, .masses = 12, .staircase = true};
    struct up_procedure *procedure;
    for (unsigned i = 0; i < plan.masses; i++) {
        plan.mass_kg[i] = masses_kg[i % 4];
    }
    bool good = up_procedure_calibrate(&plan, &procedure, failure) &&
                plateau_bench_run(&day->bench, procedure) &&
                up_procedure_calibration(procedure, &day->calibration, failure);
    up_procedure_destroy(procedure);
    return good;
}

static void notice_class(struct plateau_bench *bench, const struct up_plateau *plateau) {
    struct afternoon *day = bench->context;
    const struct up_quick_progress *quick =
        day->procedure != NULL ? up_procedure_quick(day->procedure) : NULL;
    (void)plateau;
    if (quick != NULL && isnan(day->class_s) && quick->class != UP_CLASS_UNDECIDED) {
        day->class_s = tank_time_s(bench->tank);
    }
}

static bool begin(struct afternoon *day, const struct up_rig *rig, const struct quick_cell *cell,
                  bool changed, unsigned long seed, struct up_failure *failure) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell tank_cell = tank_cell_default();
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    *day = (struct afternoon){.rig = rig};
    gsl_rng_set(rng, seed);
    cell->tank(&declared, &tank_cell);
    if (changed && cell->changed != NULL) {
        cell->changed(&declared, &tank_cell);
    }
    draw_stock(rng, cell, day->item);
    gsl_rng_free(rng);
    declared.gear = day->item;
    declared.gear_count = QUICK_STOCK;
    day->tank = tank_create(&declared, &tank_cell, seed);
    day->bench =
        (struct plateau_bench){.rig = rig, .tank = day->tank, .told = notice_class, .context = day};
    memcpy(day->bench.handling_s, handling_s, sizeof handling_s);
    return calibrate(day, failure);
}

/* The caller destroys day->procedure. */
static bool weigh(struct afternoon *day, unsigned which, const struct up_measure_plan *given,
                  struct up_failure *failure) {
    struct up_measure_plan plan = *given;
    double now_s = tank_time_s(day->tank);
    plan.rig = day->rig;
    plan.calibration = &day->calibration;
    plan.item = virtual_bench_item(&day->item[which]);
    plan.confidence = plan.coverage = 0.95;
    plan.draws = 1000;
    plan.steady_shakes = true;
    plan.opening = day->opening;
    plan.quick.lot = plan.seed * QUICK_STOCK + which;
    day->class_s = (double)NAN;
    if (!up_procedure_measure(&plan, &day->procedure, failure)) {
        return false;
    }
    measuring_begin_stream(day->procedure->measuring, now_s);
    day->procedure->stream.now_s = now_s;
    bool good = plateau_bench_run(&day->bench, day->procedure) ||
                up_fail(failure, UP_STATUS_UNABLE, "the tank does not know an act");
    day->opening = up_procedure_opening(day->procedure);
    return good;
}

static void let_go(struct afternoon *day) {
    up_procedure_destroy(day->procedure);
    day->procedure = NULL;
}

static void end(struct afternoon *day) {
    let_go(day);
    tank_destroy(day->tank);
}

/* ---- learning ---- */

enum { FULL_ITEMS = 12, FULL_TRIALS = 3, LEARNING_DAYS = 4, TRACES_MAX = 2048 };

static double trial_sd_kg(const struct afternoon *day) {
    const struct up_measurement *record = up_procedure_measurement(day->procedure);
    double load[UP_TRIALS_MAX];
    for (unsigned i = 0; i < record->trials; i++) {
        load[i] = record->trial[i].load_counts;
    }
    return up_summarise(load, record->trials).sd / record->calibration.slope_counts_per_kg;
}

static bool learn_scatter(struct afternoon *day, struct up_quantity *scatter_kg,
                          struct up_failure *failure) {
    struct up_measure_plan full = {.trials = FULL_TRIALS, .seed = 1};
    double sd[FULL_ITEMS], dof[FULL_ITEMS];
    bool good = true;
    for (unsigned i = 0; good && i < FULL_ITEMS; i++) {
        good = weigh(day, i, &full, failure);
        sd[i] = good ? trial_sd_kg(day) : 0;
        dof[i] = FULL_TRIALS - 1;
        let_go(day);
    }
    struct up_pool pool = up_pool_sds(sd, dof, FULL_ITEMS);
    *scatter_kg = (struct up_quantity){0, pool.sd, pool.dof};
    return good;
}

struct traces {
    struct up_early_trace trace[UP_QUICK_STEPS][TRACES_MAX];
    unsigned count[UP_QUICK_STEPS], item;
};

static void keep_traces(const struct afternoon *day, struct traces *traces) {
    const struct up_quick_progress *quick = up_procedure_quick(day->procedure);
    traces->item++;
    for (unsigned i = 0; i < quick->taughts; i++) {
        const struct up_quick_taught *taught = &quick->taught[i];
        unsigned *count = &traces->count[taught->step];
        if (*count < TRACES_MAX) {
            struct up_early_trace *trace = &traces->trace[taught->step][(*count)++];
            trace->item = traces->item;
            trace->step_kg = taught->step_kg;
            memcpy(trace->off_kg, taught->off_kg, sizeof trace->off_kg);
        }
    }
}

bool quick_learn_bench(const struct up_rig *rig, const struct quick_cell *cell,
                       struct quick_learned *learned, struct up_failure *failure) {
    static struct traces traces;
    struct quick_cell as_learned = *cell;
    static struct afternoon day;
    bool good = true;
    memset(&traces, 0, sizeof traces);
    *learned = (struct quick_learned){.plan = {.on = true}};
    as_learned.on_the_line = false;
    as_learned.neutral = cell->neutral && !cell->exchanged;
    for (unsigned session = 0; good && session < LEARNING_DAYS; session++) {
        good =
            begin(&day, rig, &as_learned, false, 900000 + session, failure) &&
            (session > 0 || cell->new_kind || learn_scatter(&day, &learned->scatter_kg, failure));
        struct up_measure_plan plan = {.trials = 2,
                                       .quick = learned->plan,
                                       .kind_repeatability_kg = learned->scatter_kg,
                                       .seed = 900000 + session};
        for (unsigned i = 0; good && i < QUICK_STOCK; i++) {
            good = weigh(&day, i, &plan, failure);
            if (good) {
                keep_traces(&day, &traces);
            }
            let_go(&day);
        }
        end(&day);
    }
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        learned->plan.envelope[step] =
            up_early_learn(traces.trace[step], traces.count[step], UP_QUICK_EARLY_RISK);
    }
    return good;
}

/* ---- an afternoon ---- */

static enum up_class class_by_truth(double truth_g) {
    return truth_g > LINE_G    ? UP_CLASS_POSITIVE
           : truth_g < -LINE_G ? UP_CLASS_NEGATIVE
                               : UP_CLASS_NEUTRAL;
}

static void count_rival(struct afternoon *day, const char *name, double *tare,
                        struct quick_tally *tally) {
    struct tank *tank = tank_clone(day->tank);
    struct tank_window window;
    double begun_s = tank_time_s(tank), at_s = begun_s + handling_s[UP_ACTION_IMMERSE];
    if (isnan(*tare)) {
        tank_window(tank, begun_s, 1, &window);
        *tare = window.load_counts;
    }
    tank_act(tank, "immerse", name, 0, at_s);
    tank_wait(tank, at_s);
    at_s += handling_s[UP_ACTION_SHAKE];
    tank_act(tank, "shake", name, 0, at_s);
    tank_wait(tank, at_s + TANK_SHAKE_S);
    double from_s = at_s + TANK_SHAKE_S + RIVAL_READS_S - 1;
    tank_window(tank, from_s, 1, &window);
    double b_g = -(window.load_counts - *tare) / day->calibration.slope_counts_per_kg * 1e3;
    double truth_g = tank_truth_in_tank_g(tank, name);
    bool aside = fabs(fabs(b_g) - LINE_G) < GUARD_G;
    tally->rival_aside += aside;
    tally->rival_wrong += !aside && class_by_truth(b_g) != class_by_truth(truth_g);
    tally->rival_s += from_s + 1 + handling_s[UP_ACTION_LIFT_OUT] - begun_s;
    tally->beside++;
    tank_destroy(tank);
}

static double read_plainly(struct plateau_bench *bench, enum up_action action, const char *name,
                           double mass_kg) {
    return plateau_bench_read(bench, action, name, mass_kg, 10 / bench->rig->line.rate_hz);
}

static void act_plainly(struct plateau_bench *bench, enum up_action action, const char *name) {
    double at_s = tank_time_s(bench->tank) + handling_s[action];
    tank_act(bench->tank, up_action_name(action), name, 0, at_s);
    tank_wait(bench->tank, at_s + 1);
}

/* As in truth_cells.c: a mass hung once before, one tare, three dips of one shake. */
static void count_plain(const struct afternoon *day, const char *name, struct quick_tally *tally) {
    struct plateau_bench bench = {.rig = day->rig, .tank = tank_clone(day->tank)};
    double dips_kg = 0;
    memcpy(bench.handling_s, handling_s, sizeof handling_s);
    double empty = read_plainly(&bench, UP_ACTION_EMPTY_IN_AIR, NULL, 0);
    double loaded = read_plainly(&bench, UP_ACTION_HANG_MASS, NULL, PLAIN_MASS_KG);
    double counts_per_kg = (loaded - empty) / PLAIN_MASS_KG, begun_s = tank_time_s(bench.tank);
    double tare = read_plainly(&bench, UP_ACTION_EMPTY_IN_WATER, NULL, 0);
    for (unsigned dip = 0; dip < PLAIN_DIPS; dip++) {
        act_plainly(&bench, UP_ACTION_IMMERSE, name);
        double load = read_plainly(&bench, UP_ACTION_SHAKE, name, 0);
        dips_kg -= (load - tare) / counts_per_kg;
        act_plainly(&bench, UP_ACTION_LIFT_OUT, name);
    }
    tally->plain_wrong += class_by_truth(1e3 * dips_kg / PLAIN_DIPS) !=
                          class_by_truth(tank_truth_in_tank_g(bench.tank, name));
    tally->plain_s += tank_time_s(bench.tank) - begun_s;
    tank_destroy(bench.tank);
}

static void count_item(struct afternoon *day, const char *name, double begun_s,
                       struct quick_tally *tally) {
    const struct up_quick_progress *quick = up_procedure_quick(day->procedure);
    struct up_result result[1];
    unsigned results;
    double truth_g = tank_truth_in_tank_g(day->tank, name);
    tally->items++;
    tally->seconds += tank_time_s(day->tank) - begun_s;
    tally->aside += quick->put_aside || quick->class == UP_CLASS_UNDECIDED;
    tally->wrong += quick->class != UP_CLASS_UNDECIDED && quick->class != class_by_truth(truth_g);
    tally->near += fabs(fabs(truth_g) - LINE_G) < 10;
    if (up_procedure_results(day->procedure, result, &results, NULL)) {
        double high_g = result->quick.high_kg * 1e3, low_g = result->quick.low_kg * 1e3;
        tally->told++;
        tally->inside += truth_g <= high_g && truth_g >= low_g;
    }
    double hung_s = begun_s + handling_s[UP_ACTION_IMMERSE];
    if (fabs(fabs(truth_g) - LINE_G) > LINE_G && !isnan(day->class_s)) {
        bool sinks = truth_g<-LINE_G, floats = truth_g> LINE_G;
        tally->sunk += sinks;
        tally->sunk_s += sinks ? day->class_s - hung_s : 0;
        tally->floated += floats;
        tally->floated_s += floats ? day->class_s - hung_s : 0;
    }
}

static unsigned distance_of(const struct afternoon *day, const char *name) {
    double off_g = fabs(fabs(tank_truth_in_tank_g(day->tank, name)) - LINE_G);
    unsigned d = 0;
    while (off_g >= quick_distance_g[d]) {
        d++;
    }
    return d;
}

static void add(struct quick_tally *to, const struct quick_tally *from) {
    for (size_t i = 0; i < sizeof *to / sizeof(double); i++) {
        ((double *)to)[i] += ((const double *)from)[i];
    }
}

static bool is_rejected(const struct up_quick_progress *quick) {
    bool rejected = false;
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        rejected = rejected || up_early_is_rejected(&quick->watch[step], UP_QUICK_EARLY_RISK);
    }
    return rejected;
}

bool quick_afternoon(const struct up_rig *rig, const struct quick_cell *cell,
                     const struct quick_learned *learned, unsigned long seed, struct quick_sum *sum,
                     struct up_failure *failure) {
    static struct afternoon day;
    struct up_measure_plan plan = {.trials = 2,
                                   .quick = learned->plan,
                                   .kind_repeatability_kg = learned->scatter_kg,
                                   .seed = seed};
    double rival_tare = (double)NAN;
    unsigned rejected = 0; /* the number of the item at which an envelope was, first */
    bool good = begin(&day, rig, cell, true, seed, failure);
    for (unsigned i = 0; good && i < QUICK_STOCK; i++) {
        struct quick_tally one = {0};
        const char *name = day.item[i].name;
        double begun_s = tank_time_s(day.tank);
        if (i > 0) { /* the hanger hangs in the water by then */
            count_rival(&day, name, &rival_tare, &one);
            count_plain(&day, name, &one);
        }
        good = weigh(&day, i, &plan, failure);
        if (good) {
            count_item(&day, name, begun_s, &one);
            const struct up_quick_progress *quick = up_procedure_quick(day.procedure);
            memcpy(plan.quick.watch, quick->watch, sizeof plan.quick.watch);
            rejected = rejected == 0 && is_rejected(quick) ? i + 1 : rejected;
            add(&sum->by[distance_of(&day, name)], &one);
            add(&sum->by[QUICK_DISTANCES], &one);
        }
        let_go(&day);
    }
    sum->days++;
    sum->rejected_early += rejected > 0 && rejected <= 5;
    sum->rejected_never += rejected == 0;
    end(&day);
    return good;
}

/* ---- full weighings ---- */

static void count_full(struct afternoon *day, const char *name, double begun_s,
                       struct quick_fulls *sum) {
    const struct up_measurement *record = up_procedure_measurement(day->procedure);
    struct up_result result[1];
    unsigned results;
    double truth_g = tank_truth_in_tank_g(day->tank, name);
    sum->items++;
    sum->seconds += tank_time_s(day->tank) - begun_s;
    for (unsigned i = 0; i < record->trials; i++) {
        sum->readings_ended += record->trial[i].ended_early;
    }
    if (up_procedure_results(day->procedure, result, &results, NULL)) {
        const struct up_answer *answer = &result->answer;
        double off_kg = answer->buoyancy_kg.value - truth_g / 1e3;
        sum->half_kg += answer->expanded_u_kg;
        sum->holds += off_kg >= -answer->expanded_u_kg &&
                      off_kg <= answer->expanded_u_kg + answer->stuck_air_kg;
        sum->wrong +=
            answer->class != UP_CLASS_UNDECIDED && answer->class != class_by_truth(truth_g);
    }
}

bool quick_full_queue(const struct up_rig *rig, const struct quick_cell *cell,
                      const struct quick_learned *learned, unsigned trials, bool shortens,
                      unsigned long seed, struct quick_fulls *sum, struct up_failure *failure) {
    static struct afternoon day;
    struct up_measure_plan plan = {.trials = trials, .seed = seed};
    /* Without an envelope nothing ends, and everything else is as it is with one. */
    plan.quick.shortens = true;
    if (shortens) {
        memcpy(plan.quick.envelope, learned->plan.envelope, sizeof plan.quick.envelope);
    }
    bool good = begin(&day, rig, cell, true, seed, failure);
    for (unsigned i = 0; good && i < QUICK_FULLS; i++) {
        double begun_s = tank_time_s(day.tank);
        good = weigh(&day, i, &plan, failure);
        if (good) {
            count_full(&day, day.item[i].name, begun_s, sum);
            memcpy(plan.quick.watch, up_procedure_watch(day.procedure), sizeof plan.quick.watch);
        }
        let_go(&day);
    }
    end(&day);
    return good;
}
