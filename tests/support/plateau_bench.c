/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plateau_bench.h"

#include <math.h>

#include "../../firmware-host/bench/internal.h"
#include "metrology/statistics.h"

/* A reading is judged three samples after it came: by so much the window's end is missed when its
   time has come. */
static const double JUDGED_AFTER = 3;

/* As the procedure finds it in the trace (schedule_step_s), or takes the answer's time for it. */
static double step_s(const struct plateau_bench *bench, const struct up_procedure *procedure,
                     double done_s) {
    const struct up_indication *before = &procedure->schedule.before;
    double change = tank_ideal_counts(bench->tank) - before->load;
    bool hardly = !before->known || fabs(change) < 20 * procedure->stream.filter.noise.floor;
    return hardly ? done_s : tank_step_s(bench->tank, change);
}

static struct up_plateau plateau_of(const struct tank_window *window, double from_s,
                                    double length_s) {
    return (struct up_plateau){
        .start_s = from_s,
        .end_s = from_s + length_s,
        .load = window->load_counts,
        .u_load = mean_uncertainty(window->sd_counts, window->lag1, window->readings),
        .slope_per_s = window->slope_counts_s,
        .sd = window->sd_counts,
        .lag1 = window->lag1,
        .readings = window->readings,
        .glitches = window->glitches};
}

/* The dwell before the window, in pieces, as the schedule fits it by samples. */
enum { PIECES = 4 };

struct dwell {
    double decades[PIECES + 1], seconds[PIECES + 1], load[PIECES + 1], weight[PIECES + 1];
};

static void add_piece(struct dwell *dwell, int i, const struct tank_window *window, double since_s,
                      double length_s) {
    dwell->decades[i] = log10(since_s);
    dwell->seconds[i] = since_s;
    dwell->load[i] = window->load_counts;
    dwell->weight[i] = length_s;
}

static void read_dwell(struct plateau_bench *bench, double step, double until_s,
                       struct dwell *dwell) {
    struct tank_window window;
    double from_s = bench->rig->read_after_s / 4, length_s = (until_s - step - from_s) / PIECES;
    for (int i = 0; i < PIECES; i++) {
        tank_window(bench->tank, step + from_s + i * length_s, length_s, &window);
        add_piece(dwell, i, &window, from_s + (i + 0.5) * length_s, length_s);
    }
}

static void fit_dwell(const struct dwell *dwell, struct up_plateau *plateau) {
    struct up_fit creep, drift;
    up_fit_powers(dwell->decades, dwell->load, dwell->weight, PIECES + 1, 0, 2, &creep);
    up_fit_powers(dwell->decades, dwell->seconds, dwell->weight, PIECES + 1, 0, 2, &drift);
    plateau->decade = creep.c[1];
    plateau->s_per_decade = drift.c[1];
}

static bool was_taken(const struct up_procedure *procedure, const struct up_plateau *plateau) {
    const struct up_indication *last = &procedure->schedule.last;
    return last->known && last->time_s == indication_of(plateau).time_s;
}

/* Where readings may end early, a person answers when the item hangs again. Else it is answered as
   it is taken off, as it always was here. */
static double back_on_s(struct plateau_bench *bench, const struct up_procedure *procedure,
                        double done_s) {
    bool early = up_procedure_watch(procedure) != NULL;
    if (!early || procedure->ask.action != UP_ACTION_SHAKE) {
        return done_s;
    }
    tank_wait(bench->tank, done_s + TANK_SHAKE_S);
    return done_s + TANK_SHAKE_S;
}

/* The early windows of a quick weighing; true where the reading ended with one of them. */
static bool read_early(struct plateau_bench *bench, struct up_procedure *procedure, double step) {
    double end_s, judged_s = JUDGED_AFTER / procedure->rig->line.rate_hz;
    bool ended = false;
    bool early = up_procedure_watch(procedure) != NULL; /* else it would only learn from them */
    while (early && !ended && !isnan(end_s = early_end_s(procedure, step))) {
        struct tank_window window;
        double from_s = end_s - UP_EARLY_WINDOW_S;
        tank_window_tapered(bench->tank, from_s, UP_EARLY_WINDOW_S - judged_s, &window);
        struct up_plateau plateau = plateau_of(&window, from_s, UP_EARLY_WINDOW_S - judged_s);
        plateau.step_s = step;
        plateau.tapered = window.tapered_counts;
        plateau.temp_c = tank_thermometer_c(bench->tank);
        procedure->stream.filter.noise.floor = window.floor_counts;
        procedure->stream.has_begun = true;
        procedure->stream.now_s = plateau.end_s;
        ended = offer_early(procedure, &plateau);
        if (ended) {
            tank_wait(bench->tank, end_s);
            bench->plateaus++;
            if (bench->told != NULL) {
                bench->told(bench, &plateau);
            }
        }
    }
    if (ended) {
        procedure->schedule.asked_s = procedure->stream.now_s = tank_time_s(bench->tank);
    }
    return ended;
}

/* Until it is taken or the procedure loses patience and asks for the step once more. */
static void read_plateau(struct plateau_bench *bench, struct up_procedure *procedure,
                         double done_s) {
    const struct up_rig *rig = procedure->rig;
    double length_s = rig->window_s - JUDGED_AFTER / rig->line.rate_hz;
    double hung_s = back_on_s(bench, procedure, done_s);
    double step = step_s(bench, procedure, hung_s), from_s = 0;
    unsigned id = procedure->ask.id;
    struct dwell dwell;
    bool creeps = procedure->calibrating != NULL;
    if (creeps) {
        read_dwell(bench, step, step + schedule_wait_s(&procedure->schedule, rig), &dwell);
    }
    if (read_early(bench, procedure, step)) {
        return;
    }
    while (procedure->ask.id == id && !up_procedure_is_finished(procedure)) {
        struct tank_window window;
        from_s = step + schedule_wait_s(&procedure->schedule, rig);
        tank_window(bench->tank, from_s, length_s, &window);
        struct up_plateau plateau = plateau_of(&window, from_s, length_s);
        plateau.step_s = step;
        if (creeps) {
            add_piece(&dwell, PIECES, &window, from_s + length_s / 2 - step, length_s);
            fit_dwell(&dwell, &plateau);
        }
        plateau.temp_c = tank_thermometer_c(bench->tank);
        offer_plateau(procedure, &plateau, window.floor_counts);
        if (was_taken(procedure, &plateau)) {
            bench->plateaus++;
            bench->late += plateau.late_s > 0;
            if (bench->told != NULL) {
                bench->told(bench, &plateau);
            }
        }
    }
    tank_wait(bench->tank, from_s + rig->window_s);
    procedure->schedule.asked_s = procedure->stream.now_s = tank_time_s(bench->tank);
}

static bool do_ask(struct plateau_bench *bench, struct up_procedure *procedure,
                   const struct up_ask *ask) {
    double done_s = tank_time_s(bench->tank) + bench->handling_s[ask->action];
    if (ask->wants_number) {
        return up_procedure_answer(procedure, ask->id, UP_ANSWER_NUMBER,
                                   tank_thermometer_c(bench->tank), NULL);
    }
    double number = ask->depth_m != 0 ? ask->depth_m : ask->mass_kg;
    if (ask->action == UP_ACTION_CONFIRM) { /* an outlier is kept, as any loading */
        return up_procedure_answer(
            procedure, ask->id, procedure->calibrating != NULL ? UP_ANSWER_ACCEPT : UP_ANSWER_DONE,
            0, NULL);
    }
    if (!tank_act(bench->tank, up_action_name(ask->action), ask->item_name, number, done_s)) {
        return false;
    }
    tank_wait(bench->tank, done_s);
    if (ask->action == UP_ACTION_ADD_BALLAST) {
        return up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL);
    }
    read_plateau(bench, procedure, done_s);
    return true;
}

bool plateau_bench_run(struct plateau_bench *bench, struct up_procedure *procedure) {
    struct up_event event;
    while (up_procedure_next(procedure, &event)) {
        if (event.kind == UP_EVENT_ASK && !up_procedure_is_finished(procedure) &&
            !do_ask(bench, procedure, &event.ask)) {
            return false;
        }
        if (event.kind == UP_EVENT_TRIAL && bench->closed != NULL &&
            bench->closed(bench, procedure, event.trial.number)) {
            up_procedure_stop(procedure);
        }
    }
    return up_procedure_is_finished(procedure);
}

double plateau_bench_read(struct plateau_bench *bench, enum up_action action, const char *item,
                          double mass_kg, double window_s) {
    const struct up_rig *rig = bench->rig;
    double done_s = tank_time_s(bench->tank) + bench->handling_s[action];
    double hung_s = done_s + (action == UP_ACTION_SHAKE ? TANK_SHAKE_S : 0);
    double end_s = hung_s + rig->read_after_s + rig->window_s / 2;
    struct tank_window window;
    tank_act(bench->tank, up_action_name(action), item, mass_kg, done_s);
    tank_window(bench->tank, end_s - window_s, window_s, &window);
    tank_wait(bench->tank, end_s);
    return window.load_counts;
}
