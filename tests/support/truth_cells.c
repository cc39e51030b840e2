/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "truth_cells.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../../firmware-host/bench/internal.h"
#include "metrology/statistics.h"
#include "plateau_bench.h"
#include "virtual_bench.h"

static const double CONFIDENCE = 0.95, COVERAGE = 0.95;
static const double PLAIN_MASS_KG = 2;
static const double masses_kg[] = {0.5, 1, 2, 4};
enum { ROUNDS = 3, TRIALS = 6, ANALYSES = 3 };
static const unsigned fixed[] = {3, 4, 6};
static const unsigned analyses[ANALYSES] = {4, 6, 8};

const char *const truth_modes[TRUTH_MODES] = {"3", "4", "6", "adapt"};

/* How long a person takes from the ask to the moment when the load hangs (a choice of ours; the
   same for the plain procedure). Shaking itself takes TANK_SHAKE_S more. */
static const double handling_s[UP_ACTIONS] = {
    [UP_ACTION_ADD_BALLAST] = 10, [UP_ACTION_HANG_MASS] = 12,     [UP_ACTION_EMPTY_IN_AIR] = 8,
    [UP_ACTION_HANG_IN_AIR] = 12, [UP_ACTION_EMPTY_IN_WATER] = 5, [UP_ACTION_IMMERSE] = 20,
    [UP_ACTION_SHAKE] = 10,       [UP_ACTION_LIFT_OUT] = 12,
};

/* ---- tanks ---- */

static void quiet(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared;
    cell->drift_counts_min = 20;
    cell->walk_counts_sqrt_s = 1;
    cell->creep_rel_low = -0.0005;
    cell->creep_rel_high = 0.0005;
    cell->sway_kg = cell->slosh_kg = 0.005;
    cell->white_counts = 25;
    cell->correlated_counts = 20;
}

static void drifting(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared;
    cell->drift_counts_min = 450; /* up to 0.75 g a minute; more of it and no reading settles */
    cell->walk_counts_sqrt_s = 10;
}

static void creeping_up(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared;
    cell->creep_rel_low = 0.0015;
    cell->creep_rel_high = 0.004;
}

static void creeping_down(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared;
    cell->creep_rel_low = -0.004;
    cell->creep_rel_high = -0.0015;
}

static void swaying(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared;
    cell->sway_kg = cell->slosh_kg = 0.04;
    cell->sway_decay_s = 5;
    cell->slosh_decay_s = 4;
}

static void glitchy(struct tank_declared *declared, struct tank_cell *cell) {
    (void)declared;
    cell->bit_slip_chance = cell->spike_chance = 0.02;
    cell->spike_counts = 600;
}

const struct truth_kind truth_kinds[TRUTH_TANKS] = {
    {"quiet", quiet},
    {"drifting", drifting},
    {"creeping up", creeping_up},
    {"creeping down", creeping_down},
    {"swaying", swaying},
    {"glitchy", glitchy},
};

/* ---- items: at 997.9 kg/m3, the mean of the declared tanks ---- */

#define ITEM(name_, mass, volume, trapped, ...)                                                    \
    {                                                                                              \
        .name = name_, .pieces = 1, .mass_kg = mass, .volume_m3 = volume, .trapped_kg = trapped,   \
        __VA_ARGS__                                                                                \
    }
/* So many grams over the mean water in 0.42 litres. */
#define NEAR_LINE(name_, buoyancy_g, trapped)                                                      \
    ITEM(name_, 0.42e-3 * 997.9 - buoyancy_g * 1e-3, 0.42e-3, trapped, .soak_kg = 0)

const struct tank_item truth_items[TRUTH_ITEMS] = {
    ITEM("-912 lead", 1.000, 8.83e-5, 0, .soak_kg = 0),
    ITEM("-371 fin", 1.980, 1.612e-3, 0.006, .soak_kg = 0),
    NEAR_LINE("-50.2 line", -50.2, 0.004),
    NEAR_LINE("-49.8 line", -49.8, 0.004),
    ITEM("-10 fin", 1.110, 1.1025e-3, 0.005, .soak_kg = 0),
    NEAR_LINE("+49.8 line", 49.8, 0.004),
    NEAR_LINE("+50.2 line", 50.2, 0.004),
    ITEM("+326 light", 1.740, 2.072e-3, 0.008, .soak_kg = 0),
    ITEM("holds air", 0.395, 0.288e-3, 0.040, .soak_kg = 0),
    ITEM("soaks 6 g", 0.310, 0.340e-3, 0.004, .soak_kg = 0.006, .soak_s = 900),
    ITEM("soaks 25 g", 0.520, 0.600e-3, 0.010, .soak_kg = 0.025, .soak_s = 3000),
};

static const struct up_water sea = {.name = "sea",
                                    .model = UP_WATER_SEA,
                                    .temp_c = 15,
                                    .salinity_g_kg = UP_SEA_SALINITY_G_KG,
                                    .u_salinity_g_kg = 0.8};

/* ---- counting ---- */

struct session {
    const struct truth_settings *settings;
    struct truth_table *table;
    struct up_failure *failure;
    unsigned kind, item;
    double begun_s;
    double inside, alone, results; /* in the tank's own water; alone: without the stuck air */
    bool broken;
};

static enum up_class true_class(double truth_g) {
    return truth_g > UP_TOLERANCE_ONE_G    ? UP_CLASS_POSITIVE
           : truth_g < -UP_TOLERANCE_ONE_G ? UP_CLASS_NEGATIVE
                                           : UP_CLASS_NEUTRAL;
}

static void count(struct truth_tally *tally, double error_g, double u_g, bool inside,
                  enum up_class class, double truth_g) {
    tally->results++;
    tally->inside += inside;
    tally->error_g += error_g;
    tally->error_squares_g2 += error_g * error_g;
    tally->ratio_squares += error_g * error_g / (u_g * u_g);
    tally->undecided += class == UP_CLASS_UNDECIDED;
    tally->wrong += class != UP_CLASS_UNDECIDED && class != true_class(truth_g);
}

static double rectangular_share(const struct up_result *result) {
    double share = 0;
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        bool rectangular = result->weighing.term[i].distribution == UP_RECTANGULAR;
        share += rectangular ? result->weighing.term[i].share : 0;
    }
    return share;
}

static void count_results(struct session *session, const struct plateau_bench *bench, unsigned mode,
                          const struct up_result *result, unsigned results) {
    const char *name = truth_items[session->item].name;
    const struct truth_settings *settings = session->settings;
    double seconds = tank_time_s(bench->tank) - session->begun_s;
    for (unsigned w = 0; w < results; w++) {
        const struct up_answer *answer = &result[w].answer;
        const struct up_quantity *density = &result[w].water_density_kg_m3;
        struct truth_tally *tally = &session->table->ours[session->kind][session->item][mode][w];
        double truth_g =
            w == 0 ? tank_truth_in_tank_g(bench->tank, name)
                   : tank_truth_in_water_g(bench->tank, name, result[w].water.name, density->value,
                                           density->u, result[w].water.temp_c);
        double error_g = answer->buoyancy_kg.value * 1e3 - truth_g;
        bool inside = error_g >= -answer->expanded_u_kg * 1e3 &&
                      error_g <= (answer->expanded_u_kg + answer->stuck_air_kg) * 1e3;
        count(tally, error_g, answer->buoyancy_kg.u * 1e3, inside, answer->class, truth_g);
        tally->trials += result[w].trials;
        tally->seconds += seconds;
        tally->rectangular += rectangular_share(&result[w]);
        session->inside += w == 0 && inside;
        session->alone += w == 0 && fabs(error_g) <= answer->expanded_u_kg * 1e3;
        session->results += w == 0;
        if (settings->told != NULL) {
            settings->told(settings->context, mode, w, session->item, &result[w], seconds);
        }
    }
}

static bool take_results(struct session *session, struct up_procedure *procedure,
                         struct up_result *result, unsigned *results) {
    session->broken =
        session->broken || !up_procedure_results(procedure, result, results, session->failure);
    return !session->broken;
}

/* ---- our procedure ---- */

static bool report_fixed(struct plateau_bench *bench, struct up_procedure *procedure,
                         unsigned trials) {
    struct session *session = bench->context;
    struct up_result result[TRUTH_WATERS];
    unsigned results;
    for (unsigned mode = 0; mode < TRUTH_ADAPTIVE; mode++) {
        if (fixed[mode] == trials && take_results(session, procedure, result, &results)) {
            count_results(session, bench, mode, result, results);
        }
    }
    return session->broken;
}

static bool run(struct plateau_bench *bench, struct session *session,
                struct up_procedure *procedure) {
    if (!plateau_bench_run(bench, procedure) && !session->broken) {
        session->broken = true;
        up_fail(session->failure, UP_STATUS_UNABLE, "%s, %s: the tank does not know an act",
                truth_kinds[session->kind].name, truth_items[session->item].name);
    }
    return !session->broken;
}

/* Fixed numbers of trials: one measurement, reported after each of them. Adaptive: the procedure
   ends by itself where all waters are decided. */
static bool measure(struct session *session, const struct tank *tank,
                    const struct up_calibration *calibration, bool adaptive, unsigned long seed) {
    struct up_measure_plan plan = {.rig = session->settings->rig,
                                   .steady_shakes = true,
                                   .calibration = calibration,
                                   .item = virtual_bench_item(&truth_items[session->item]),
                                   .trials = adaptive ? analyses[ANALYSES - 1] : TRIALS,
                                   .analysis_at = {analyses[0], analyses[1], analyses[2]},
                                   .analyses = adaptive ? ANALYSES : 0,
                                   .water = &sea,
                                   .waters = 1,
                                   .confidence = CONFIDENCE,
                                   .coverage = COVERAGE,
                                   .draws = session->settings->draws,
                                   .seed = seed};
    struct plateau_bench bench = {.rig = session->settings->rig,
                                  .tank = tank_clone(tank),
                                  .closed = adaptive ? NULL : report_fixed,
                                  .context = session};
    struct up_result result[TRUTH_WATERS];
    struct up_procedure *procedure;
    unsigned results;
    memcpy(bench.handling_s, handling_s, sizeof handling_s);
    session->begun_s = tank_time_s(tank);
    bool good = up_procedure_measure(&plan, &procedure, session->failure) &&
                run(&bench, session, procedure);
    bool gave_up = good && procedure->gave_up;
    session->table->given_up += gave_up;
    if (good && !gave_up && adaptive && take_results(session, procedure, result, &results)) {
        count_results(session, &bench, TRUTH_ADAPTIVE, result, results);
    }
    up_procedure_destroy(procedure);
    tank_destroy(bench.tank);
    return good && !session->broken;
}

static bool calibrate(struct session *session, struct tank *tank,
                      struct up_calibration *calibration, bool *gave_up) {
    struct up_calibrate_plan plan = {
        .rig = session->settings->rig, .masses = 4 * ROUNDS, .staircase = true};
    struct plateau_bench bench = {.rig = session->settings->rig, .tank = tank};
    struct up_procedure *procedure;
    memcpy(bench.handling_s, handling_s, sizeof handling_s);
    for (unsigned i = 0; i < plan.masses; i++) {
        plan.mass_kg[i] = masses_kg[i % 4];
    }
    bool good = up_procedure_calibrate(&plan, &procedure, session->failure) &&
                run(&bench, session, procedure);
    *gave_up = good && procedure->gave_up;
    good = good && (*gave_up || up_procedure_calibration(procedure, calibration, session->failure));
    up_procedure_destroy(procedure);
    return good;
}

/* ---- the plain procedure ----
   A known mass hung once; then one tare, and each dip shaken once and read as the mean of the last
   ten readings. Its interval is t s / sqrt(n), its class the value's. */

static double plain_read(struct plateau_bench *bench, enum up_action action, const char *item,
                         double mass_kg) {
    return plateau_bench_read(bench, action, item, mass_kg, 10 / bench->rig->line.rate_hz);
}

static void plain_act(struct plateau_bench *bench, enum up_action action, const char *item) {
    double at_s = tank_time_s(bench->tank) + bench->handling_s[action];
    tank_act(bench->tank, up_action_name(action), item, 0, at_s);
    tank_wait(bench->tank, at_s + 1);
}

static void plain(struct session *session, const struct tank *tank) {
    struct plateau_bench bench = {.rig = session->settings->rig, .tank = tank_clone(tank)};
    const char *name = truth_items[session->item].name;
    struct truth_tally *tallies = session->table->plain[session->kind][session->item];
    double b_g[TRUTH_DIPS_MAX];
    memcpy(bench.handling_s, handling_s, sizeof handling_s);
    double empty = plain_read(&bench, UP_ACTION_EMPTY_IN_AIR, NULL, 0);
    double counts_per_kg =
        (plain_read(&bench, UP_ACTION_HANG_MASS, NULL, PLAIN_MASS_KG) - empty) / PLAIN_MASS_KG;
    double begun_s = tank_time_s(bench.tank);
    plain_act(&bench, UP_ACTION_ADD_BALLAST, NULL);
    double tare = plain_read(&bench, UP_ACTION_EMPTY_IN_WATER, NULL, 0);
    for (unsigned dips = 1; dips <= TRUTH_DIPS_MAX; dips++) {
        plain_act(&bench, UP_ACTION_IMMERSE, name);
        double load = plain_read(&bench, UP_ACTION_SHAKE, name, 0);
        b_g[dips - 1] = -(load - tare) / counts_per_kg * 1e3;
        plain_act(&bench, UP_ACTION_LIFT_OUT, name);
        if (dips >= TRUTH_DIPS_LEAST) {
            struct up_summary mean = up_summarise(b_g, dips);
            double truth_g = tank_truth_in_tank_g(bench.tank, name);
            double u_g = mean.sd / sqrt(dips);
            double error_g = mean.mean - truth_g;
            bool inside = fabs(error_g) <= up_coverage_factor(COVERAGE, dips - 1) * u_g;
            count(&tallies[dips], error_g, u_g, inside, true_class(mean.mean), truth_g);
            tallies[dips].trials += dips;
            tallies[dips].seconds += tank_time_s(bench.tank) - begun_s;
        }
    }
    tank_destroy(bench.tank);
}

/* ---- a session ---- */

bool truth_session(const struct truth_settings *settings, unsigned kind, unsigned long seed,
                   struct truth_table *table, struct up_failure *failure) {
    struct tank_declared declared = tank_declared_default();
    struct tank_cell cell = tank_cell_default();
    struct session session = {
        .settings = settings, .table = table, .failure = failure, .kind = kind};
    static struct up_calibration calibration;
    declared.gear = truth_items;
    declared.gear_count = TRUTH_ITEMS;
    truth_kinds[kind].set(&declared, &cell);
    if (settings->spoil != NULL) {
        settings->spoil(&declared, &cell);
    }
    struct tank *tank = tank_create(&declared, &cell, seed);
    bool gave_up = false, good = calibrate(&session, tank, &calibration, &gave_up);
    for (unsigned i = 0; good && !gave_up && i < TRUTH_ITEMS; i++) {
        session.item = i;
        good = measure(&session, tank, &calibration, false, seed) &&
               measure(&session, tank, &calibration, true, seed);
        plain(&session, tank);
    }
    tank_destroy(tank);
    table->given_up += gave_up;
    if (good && session.results > 0) {
        double share = session.inside / session.results;
        table->share += share;
        table->share_squares += share * share;
        double alone = session.alone / session.results;
        table->alone += alone;
        table->alone_squares += alone * alone;
        table->sessions++;
    }
    return good;
}

void truth_interval(double hits, double trials, double k, double *low, double *high) {
    double share = hits / trials, k2 = k * k / trials;
    double middle = (share + k2 / 2) / (1 + k2);
    double half = k / (1 + k2) * sqrt((share * (1 - share) + k * k / (4 * trials)) / trials);
    *low = middle - half;
    *high = middle + half;
}
