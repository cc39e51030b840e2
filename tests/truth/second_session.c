/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_session.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "metrology/statistics.h"
#include "second_mistakes.h"

/* Seconds of device time after which a session is given up, and trials that it plans. */
enum { LONGEST_S = 4 * 3600, TRIALS = 5, DRAWS = 2000 };

struct player {
    const struct second_plan *plan;
    struct up_rig rig;
    struct up_water water[SECOND_WATERS];
    struct second_truth truth;
    struct second_tank tank;
    struct second_operator person;
    gsl_rng *drawing, *noise, *hands; /* so that the bench's doing changes no draw of the truth */
    struct up_procedure *procedure;
    struct second_outcome *outcome;
    struct up_opening opening; /* of a neighbour */
    uint64_t samples;
    double time_s;
};

/* ---- one session ---- */

static void trace(const struct player *player, const char *kind, const char *text) {
    if (player->plan->trace)
        printf("# %8.1f %-10s %s\n", player->time_s, kind, text);
}

static void note_question(struct player *player, const char *text) {
    if (player->outcome->questions++ == 0)
        snprintf(player->outcome->ended, sizeof player->outcome->ended, "%s", text);
}

static void take_ask(struct player *player, const struct up_ask *ask) {
    char text[512];
    snprintf(text, sizeof text, "%s: %s (%g) [%s]", up_action_name(ask->action), ask->text,
             ask->mass_kg, ask->how ? ask->how : "");
    trace(player, "ask", text);
    if (ask->action == UP_ACTION_CONFIRM)
        note_question(player, ask->text);
    if (ask->action == UP_ACTION_IMMERSE && player->outcome->ready_s == 0)
        player->outcome->ready_s = player->time_s;
    second_operator_asked(&player->person, ask);
}

static void trace_event(const struct player *player, const struct up_event *event) {
    char text[300];
    if (event->kind == UP_EVENT_PLATEAU)
        snprintf(text, sizeof text, "%.0f counts, %.2f g now hangs", event->plateau.load,
                 1000 * second_tank_hung_kg(&player->tank, player->time_s));
    else if (event->kind == UP_EVENT_TRIAL)
        snprintf(text, sizeof text, "%u: %.0f counts, %u shakes", event->trial.number,
                 event->trial.load_counts, event->trial.shakes);
    else
        snprintf(text, sizeof text, "%s", event->text);
    static const char *const kind[] = {
        [UP_EVENT_PLATEAU] = "reading", [UP_EVENT_TRIAL] = "trial", [UP_EVENT_FAULT] = "fault",
        [UP_EVENT_NOTE] = "note",       [UP_EVENT_CHECK] = "check", [UP_EVENT_FINISHED] = "end"};
    if (event->kind != UP_EVENT_ASK)
        trace(player, kind[event->kind], text);
}

static void take_event(struct player *player, const struct up_event *event) {
    if (player->plan->trace)
        trace_event(player, event);
    if (event->kind == UP_EVENT_ASK)
        take_ask(player, &event->ask);
    if (event->kind == UP_EVENT_FAULT) {
        note_question(player, event->text);
        second_operator_warned(&player->person, event->text);
    }
    if (event->kind == UP_EVENT_TRIAL)
        second_operator_trial_ended(&player->person, event->trial.number);
}

static void answer(struct player *player) {
    static const enum up_answer_word instead[] = {UP_ANSWER_AGAIN, UP_ANSWER_DONE, UP_ANSWER_STOP};
    struct second_answer answer;
    struct up_failure failure;
    if (!second_operator_acts(&player->person, player->time_s, &answer))
        return;
    for (unsigned i = 0;
         !up_procedure_answer(player->procedure, answer.id, answer.word, answer.number, &failure) &&
         i < sizeof instead / sizeof *instead;
         i++) {
        trace(player, "refused", failure.text);
        answer.word = instead[i];
    }
}

static void feed(struct player *player) {
    unsigned held = player->truth.cell.held > 1 ? player->truth.cell.held : 1;
    struct up_sample sample = {.loads = 1, .columns = 3, .sequence = (double)NAN};
    player->time_s += 0.1 / held;
    sample.time_s = round(1000 * player->time_s) / 1000;
    sample.load[0] = second_tank_word(&player->tank, player->time_s);
    double temp_c =
        second_tank_water_c(&player->tank, player->time_s) + player->truth.thermometer_k;
    sample.temp_c = round(100 * temp_c) / 100;
    sample.number = player->samples++;
    sample.offset = 32 * sample.number;
    up_procedure_sample(player->procedure, &sample);
}

static void play(struct player *player) {
    struct up_event event;
    double longest_s = LONGEST_S + (player->opening.known ? player->time_s : 0);
    if (!player->opening.known) {
        player->time_s = 0;
        player->samples = 0;
    }
    while (!up_procedure_is_finished(player->procedure)) {
        while (up_procedure_next(player->procedure, &event))
            take_event(player, &event);
        if (player->time_s > longest_s) {
            up_procedure_stop(player->procedure);
            continue;
        }
        feed(player);
        answer(player);
    }
    while (up_procedure_next(player->procedure, &event))
        take_event(player, &event);
}

static void set_up(struct player *player, double span_share, enum second_mistake mistake) {
    struct second_cell_law cell = player->truth.cell;
    cell.span_share = span_share;
    second_tank_begin(&player->tank, &player->truth.tank, &cell, player->noise);
    second_operator_begin(&player->person, &player->tank, &player->truth, mistake, player->hands);
}

static void set_up_calibration(struct player *player) {
    enum second_mistake mistake = player->plan->mistake;
    set_up(player, 0, second_mistake_is_of_calibration(mistake) ? mistake : SECOND_NO_MISTAKE);
}

static void set_up_measurement(struct player *player) {
    struct second_operator before = player->person;
    set_up(player, player->truth.measuring_span_share, player->plan->mistake);
    if (second_mistake_is_of_calibration(player->plan->mistake))
        second_operator_goes_on(&player->person, &before);
}

static void remember_mistake(struct player *player) {
    player->outcome->made = player->outcome->made || player->person.begun;
    player->outcome->noticed = player->outcome->noticed || player->person.noticed;
}

static bool give_up(struct player *player, const char *text) {
    snprintf(player->outcome->ended, sizeof player->outcome->ended, "%s", text);
    player->outcome->noticed = player->outcome->made;
    return false;
}

/* ---- calibration and measurement ---- */

/* Two ways to plan it: few loadings, of which some are taken off; and three rounds of the set. */
static void plan_masses(struct up_calibrate_plan *plan, bool rounds) {
    static const double few_kg[] = {0.5, 1, 2, 4, -0.5, -1, 1, 0.5};
    static const double rounds_kg[] = {0.5, 1, 2, 4, 0.5, 1, 2, 4, 0.5, 1, 2, 4, -0.5, -1};
    const double *mass_kg = rounds ? rounds_kg : few_kg;
    plan->masses = rounds ? sizeof rounds_kg / sizeof *rounds_kg : sizeof few_kg / sizeof *few_kg;
    memcpy(plan->mass_kg, mass_kg, plan->masses * sizeof *mass_kg);
}

static bool calibrate(struct player *player, struct up_calibration *calibration) {
    struct up_calibrate_plan plan = {.rig = &player->rig, .staircase = true};
    struct up_failure failure = {0};
    plan_masses(&plan, player->plan->seed % 2 == 1);
    set_up_calibration(player);
    if (!up_procedure_calibrate(&plan, &player->procedure, &failure))
        return give_up(player, failure.text);
    play(player);
    remember_mistake(player);
    player->outcome->calibrating_s = player->time_s;
    bool done = up_procedure_calibration(player->procedure, calibration, &failure);
    if (player->plan->loadings)
        *player->plan->loadings = *up_procedure_loadings(player->procedure);
    up_procedure_destroy(player->procedure);
    player->procedure = NULL;
    return done || give_up(player, failure.text);
}

static void tell_body(struct up_measure_plan *plan) {
    struct up_reference *body = &plan->reference[0].reference;
    *body = (struct up_reference){.expansion_per_k = 69e-6, .u_expansion_per_k = 2e-6};
    snprintf(body->id, sizeof body->id, "22222222-2222-4222-8222-222222222222");
    snprintf(body->name, sizeof body->name, "Aluminium");
    body->mass_kg = up_known(2, 5e-5);
    body->volume_m3 = up_known(2 / 2700.0, 1e-7);
    plan->reference[0].chart = up_chart_of(NULL, 0);
    plan->references = 1;
}

static void tell_item(const struct player *player, struct up_item *item) {
    snprintf(item->id, sizeof item->id, "11111111-1111-4111-8111-111111111111");
    snprintf(item->name, sizeof item->name, "invented piece");
    snprintf(item->kind, sizeof item->kind, "other");
    item->pieces = 1;
    item->tolerance_g = UP_TOLERANCE_ONE_G;
    bool steel = player->truth.item.expansion_per_k < 1e-4;
    item->expansion_per_k = steel ? 35e-6 : UP_EXPANSION_PER_K;
    item->u_expansion_per_k = steel ? 2e-6 : UP_U_EXPANSION_PER_K;
}

static void make_quick(const struct second_plan *wanted, struct up_measure_plan *plan) {
    plan->quick = *wanted->quick;
    plan->kind_repeatability_kg = wanted->scatter_kg;
    plan->trials = 2;
    plan->bare_hook = false;
    plan->waters = 0;
    plan->quick.lot = wanted->seed;
}

static void remember_trials(struct player *player) {
    const struct up_quick_progress *quick = up_procedure_quick(player->procedure);
    const struct up_early_watch *watch = up_procedure_watch(player->procedure);
    const struct up_measurement *record = up_procedure_measurement(player->procedure);
    struct second_outcome *outcome = player->outcome;
    double load[UP_TRIALS_MAX];
    for (unsigned i = 0; i < record->trials; i++) {
        load[i] = record->trial[i].load_counts / record->calibration.slope_counts_per_kg;
        outcome->ended_early += record->trial[i].ended_early;
    }
    if (watch)
        memcpy(outcome->watch, watch, sizeof outcome->watch);
    outcome->trial_sd_kg = up_summarise(load, record->trials).sd;
    if (!quick)
        return;
    outcome->aside = quick->put_aside;
    outcome->taughts = quick->taughts;
    memcpy(outcome->taught, quick->taught, quick->taughts * sizeof *quick->taught);
}

static bool measure(struct player *player, const struct up_calibration *calibration,
                    struct up_result *result, unsigned *results) {
    struct up_measure_plan plan = {.rig = &player->rig,
                                   .calibration = calibration,
                                   .trials = TRIALS,
                                   .bare_hook = true,
                                   .steady_shakes = true,
                                   .water = player->water,
                                   .waters = SECOND_WATERS,
                                   .confidence = 0.95,
                                   .coverage = 0.95,
                                   .draws = DRAWS,
                                   .seed = player->plan->seed};
    struct up_failure failure = {0};
    tell_item(player, &plan.item);
    if (player->plan->quick && player->plan->shortens) {
        plan.quick = *player->plan->quick;
        plan.quick.on = false;
        plan.quick.shortens = true;
        plan.quick.lot = player->plan->seed;
    } else if (player->plan->quick)
        make_quick(player->plan, &plan);
    if (player->plan->body)
        tell_body(&plan);
    plan.opening = player->opening;
    if (player->opening.known)
        player->outcome->ready_s = player->time_s;
    else
        set_up_measurement(player);
    if (!up_procedure_measure(&plan, &player->procedure, &failure))
        return give_up(player, failure.text);
    play(player);
    remember_mistake(player);
    player->outcome->measuring_s = player->time_s;
    remember_trials(player);
    bool done = up_procedure_results(player->procedure, result, results, &failure);
    if (player->plan->neighbours > 0)
        player->opening = up_procedure_opening(player->procedure);
    up_procedure_destroy(player->procedure);
    player->procedure = NULL;
    return done || give_up(player, failure.text);
}

/* ---- against the truth ---- */

static enum up_class true_class(double buoyancy_kg) {
    double tolerance_kg = UP_TOLERANCE_ONE_G / 1000;
    if (fabs(buoyancy_kg) <= tolerance_kg)
        return UP_CLASS_NEUTRAL;
    return buoyancy_kg > 0 ? UP_CLASS_POSITIVE : UP_CLASS_NEGATIVE;
}

static double truth_kg(const struct player *player, unsigned i) {
    const struct second_item *item = &player->truth.item;
    double middle_s = player->time_s / 2;
    if (i > 0)
        return second_item_buoyancy_kg(item, player->truth.water_kg_m3[i - 1],
                                       player->truth.water_c[i - 1]);
    return second_item_buoyancy_kg(item, second_tank_water_kg_m3(&player->tank, middle_s),
                                   second_tank_water_c(&player->tank, middle_s));
}

static void judge(const struct player *player, const struct up_result *result, unsigned i) {
    struct second_outcome *outcome = player->outcome;
    const struct up_answer *answer = &result->answer;
    double truth = truth_kg(player, i);
    outcome->truth_kg[i] = truth;
    outcome->value_kg[i] = answer->buoyancy_kg.value;
    outcome->width_kg[i] = answer->expanded_u_kg;
    double error_kg = answer->buoyancy_kg.value - truth; /* and air may have stayed: lower still */
    outcome->stuck_kg[i] = answer->stuck_air_kg;
    outcome->holds[i] = result->quick.at_most
                            ? error_kg >= answer->buoyancy_kg.value - result->quick.high_kg
                            : error_kg >= -answer->expanded_u_kg &&
                                  error_kg <= answer->expanded_u_kg + answer->stuck_air_kg;
    outcome->classed[i] = answer->class != UP_CLASS_UNDECIDED;
    outcome->wrong_class[i] = outcome->classed[i] && answer->class != true_class(truth);
}

static bool get_ready(struct player *player) {
    struct up_failure failure = {0};
    gsl_rng_set(player->drawing, player->plan->seed);
    gsl_rng_set(player->noise, player->plan->seed + 1000000007);
    gsl_rng_set(player->hands, player->plan->seed + 2000000011);
    if (!up_rig_parse("second tank", second_rig_text(), &player->rig, &failure))
        return give_up(player, failure.text);
    for (unsigned i = 0; i < SECOND_WATERS; i++)
        up_water_by_name(up_named_water_at(i)->name, &player->water[i]);
    second_truth_draw(&player->truth, player->plan->law, &player->rig, player->water,
                      player->drawing);
    if (player->plan->mistake == SECOND_BALLAST_TOO_LIGHT)
        second_gear_make_float(&player->truth.item, player->drawing);
    if (player->plan->quick && !player->plan->shortens)
        second_gear_make_stock(&player->truth.item, player->drawing);
    return true;
}

static void weigh(struct player *player, const struct up_calibration *calibration) {
    struct up_result result[SECOND_RESULTS];
    unsigned results = 0;
    if (!measure(player, calibration, result, &results))
        return;
    player->outcome->results = results;
    if (player->plan->quick && !player->plan->shortens)
        player->outcome->rival = second_rival_weigh(
            &player->truth, calibration->slope_counts_per_kg, player->plan->seed);
    for (unsigned i = 0; i < results; i++)
        judge(player, &result[i], i);
}

/* Another piece of the stock. */
static void take_next(struct player *player, unsigned number) {
    struct second_truth other;
    gsl_rng_set(player->drawing, player->plan->seed + 5000000029 + number);
    second_truth_draw(&other, player->plan->law, &player->rig, player->water, player->drawing);
    player->truth.item = other.item;
    second_gear_make_stock(&player->truth.item, player->drawing);
    memset(player->outcome, 0, sizeof *player->outcome);
}

static void play_all(struct player *player) {
    const struct second_plan *plan = player->plan;
    struct up_calibration calibration;
    if (!get_ready(player) || !calibrate(player, &calibration) || plan->loadings)
        return;
    weigh(player, &calibration);
    for (unsigned i = 1; i <= plan->neighbours; i++) {
        plan->weighed(plan->context, player->outcome);
        if (i < plan->neighbours) {
            take_next(player, i);
            weigh(player, &calibration);
        }
    }
}

void second_session_play(const struct second_plan *plan, struct second_outcome *outcome) {
    struct player *player = calloc(1, sizeof *player);
    memset(outcome, 0, sizeof *outcome);
    if (!player)
        abort();
    player->plan = plan;
    player->outcome = outcome;
    player->drawing = gsl_rng_alloc(gsl_rng_mt19937);
    player->noise = gsl_rng_alloc(gsl_rng_mt19937);
    player->hands = gsl_rng_alloc(gsl_rng_mt19937);
    play_all(player);
    gsl_rng_free(player->drawing);
    gsl_rng_free(player->noise);
    gsl_rng_free(player->hands);
    free(player);
}
