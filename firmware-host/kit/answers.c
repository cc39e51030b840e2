/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions to a solved kit, each answered by all its draws. */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>

#include "kit/internal.h"
#include "text/text.h"

static const double GRAVITY_M_S2 = 9.80665;
static const double COVERAGE_LOW = 0.025, COVERAGE_HIGH = 0.975, BOUND_LOW = 0.005,
                    BOUND_HIGH = 0.995;
static const double BREATH_KG = 0.5;
enum { STATE_STREAM = 1 }; /* the state's own readings; another state's are the next stream */

/* A state, with an error of each of its readings for each draw. */
struct view {
    struct moment_of_dive moment;
    double *water_error_kg_m3;
    gsl_rng *rng;
};

static bool open_view(const struct up_kit_draws *draws, const struct up_kit_state *state,
                      unsigned stream, struct view *view, struct up_failure *failure) {
    *view = (struct view){.water_error_kg_m3 = NULL};
    if (!check_state(&draws->kit, state, "the state asked for", failure) ||
        !prepare_state(&draws->kit, state, &view->moment, failure)) {
        return false;
    }
    view->water_error_kg_m3 = water_errors(draws, state);
    view->rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(view->rng, draws->kit.seed + STATE_STREAM + stream);
    return true;
}

static void close_view(struct view *view) {
    free(view->water_error_kg_m3);
    gsl_rng_free(view->rng);
}

static struct misreading next_misreading(struct view *view, size_t n) {
    const struct up_kit_state *state = view->moment.state;
    return (struct misreading){
        .water_kg_m3 = view->water_error_kg_m3[n],
        .depth_m = gsl_ran_gaussian_ziggurat(view->rng, 1) * state->u_depth_m,
        .pressure_bar = gsl_ran_gaussian_ziggurat(view->rng, 1) * state->u_pressure_bar,
        .gas_temp_k = gsl_ran_gaussian_ziggurat(view->rng, 1) * state->u_gas_temp_c};
}

/* With the lungs of the checks, whatever they were. */
static double same_breath_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    struct misreading off = next_misreading(view, n);
    double water_kg_m3 = view->moment.state->water_kg_m3 + off.water_kg_m3;
    return gear_lift_kg(draws, &view->moment, &off, n) + water_kg_m3 * draws->body_m3[n] -
           input_at(draws, INPUT_BODY, n);
}

static double lift_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    double own_kg = view->moment.state->u_breath_kg;
    double breath_kg = gsl_ran_gaussian_ziggurat(view->rng, own_kg > 0 ? own_kg : BREATH_KG);
    return same_breath_kg(draws, view, n) + breath_kg;
}

static double as_lead_kg(const struct up_kit_draws *draws, const struct view *view, size_t n,
                         double kg) {
    double water_kg_m3 = view->moment.state->water_kg_m3 + view->water_error_kg_m3[n];
    return kg / lead_factor(draws, water_kg_m3, n);
}

static double lead_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    return as_lead_kg(draws, view, n, lift_kg(draws, view, n));
}

static double same_breath_lead_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    return as_lead_kg(draws, view, n, same_breath_kg(draws, view, n));
}

static struct up_kit_answer summarise(double *value, size_t count) {
    struct up_kit_answer answer = {.value = gsl_stats_mean(value, 1, count),
                                   .u = gsl_stats_sd(value, 1, count)};
    gsl_sort(value, 1, count);
    answer.low = gsl_stats_quantile_from_sorted_data(value, 1, count, COVERAGE_LOW);
    answer.high = gsl_stats_quantile_from_sorted_data(value, 1, count, COVERAGE_HIGH);
    answer.least = gsl_stats_quantile_from_sorted_data(value, 1, count, BOUND_LOW);
    answer.most = gsl_stats_quantile_from_sorted_data(value, 1, count, BOUND_HIGH);
    return answer;
}

typedef double one_draw(const struct up_kit_draws *draws, struct view *view, size_t n);

static double *each_draw(const struct up_kit_draws *draws, struct view *view, one_draw *of) {
    double *value = up_allocate(draws->count, sizeof *value);
    for (size_t i = 0; i < draws->count; i++) {
        value[i] = of(draws, view, draws->kept[i]);
    }
    return value;
}

static bool ask(const struct up_kit_draws *draws, const struct up_kit_state *state, one_draw *of,
                struct up_kit_answer *answer, struct up_failure *failure) {
    struct view view;
    if (!open_view(draws, state, 0, &view, failure)) {
        return false;
    }
    double *value = each_draw(draws, &view, of);
    *answer = summarise(value, draws->count);
    free(value);
    close_view(&view);
    return true;
}

bool up_kit_lift_kg(const struct up_kit_draws *draws, const struct up_kit_state *state,
                    struct up_kit_answer *answer, struct up_failure *failure) {
    return ask(draws, state, lift_kg, answer, failure);
}

bool up_kit_lead_kg(const struct up_kit_draws *draws, const struct up_kit_state *state,
                    struct up_kit_answer *answer, struct up_failure *failure) {
    return ask(draws, state, lead_kg, answer, failure);
}

bool up_kit_lead_change_kg(const struct up_kit_draws *draws, const struct up_kit_state *from,
                           const struct up_kit_state *to, struct up_kit_answer *answer,
                           struct up_failure *failure) {
    struct view before, after;
    if (!open_view(draws, from, 0, &before, failure)) {
        return false;
    }
    if (!open_view(draws, to, 1, &after, failure)) {
        close_view(&before);
        return false;
    }
    double *value = each_draw(draws, &after, same_breath_lead_kg);
    double *less = each_draw(draws, &before, same_breath_lead_kg);
    for (size_t i = 0; i < draws->count; i++) {
        value[i] -= less[i];
    }
    *answer = summarise(value, draws->count);
    free(less);
    free(value);
    close_view(&after);
    close_view(&before);
    return true;
}

/* ---- one part ---- */

static bool ask_part(const struct up_kit_draws *draws, size_t part,
                     const struct up_kit_state *state, bool moment, struct up_kit_answer *answer,
                     struct up_failure *failure) {
    struct view view;
    if (!open_view(draws, state, 0, &view, failure)) {
        return false;
    }
    double *value = up_allocate(draws->count, sizeof *value);
    for (size_t i = 0; i < draws->count; i++) {
        size_t n = draws->kept[i];
        struct misreading off = next_misreading(&view, n);
        double arm = moment ? input_at(draws, part_input(part, INPUT_PLACE), n) * GRAVITY_M_S2 : 1;
        value[i] = part_lift_kg(draws, part, &view.moment, &off, n) * arm;
    }
    *answer = summarise(value, draws->count);
    free(value);
    close_view(&view);
    return true;
}

bool up_kit_part_lift_kg(const struct up_kit_draws *draws, size_t part,
                         const struct up_kit_state *state, struct up_kit_answer *answer,
                         struct up_failure *failure) {
    return ask_part(draws, part, state, false, answer, failure);
}

bool up_kit_part_moment_nm(const struct up_kit_draws *draws, size_t part,
                           const struct up_kit_state *state, struct up_kit_answer *answer,
                           struct up_failure *failure) {
    if (isnan(draws->kit.part[part].place_m.value)) {
        return up_fail(
            failure, UP_STATUS_WRONG_INPUT,
            "the place of \"%s\" is missing: give its place_m, metres from the hips, feet negative",
            draws->kit.part[part].name);
    }
    return ask_part(draws, part, state, true, answer, failure);
}

/* ---- what rules ---- */

static int by_share(const void *left, const void *right) {
    const struct up_kit_share *a = left, *b = right;
    return (a->share < b->share) - (a->share > b->share);
}

static double squared_correlation(const struct up_kit_draws *draws, const double *column,
                                  const double *value, double *other) {
    for (size_t i = 0; i < draws->count; i++) {
        other[i] = column[draws->kept[i]];
    }
    double r = gsl_stats_correlation(value, 1, other, 1, draws->count);
    return r * r;
}

size_t up_kit_shares(const struct up_kit_draws *draws, const struct up_kit_state *state,
                     struct up_kit_share *share, size_t room) {
    struct up_kit_share all[INPUTS_MOST];
    struct view view;
    size_t count = 0;
    if (!open_view(draws, state, 0, &view, NULL)) {
        return 0;
    }
    double *value = each_draw(draws, &view, lead_kg);
    double *other = up_allocate(draws->count, sizeof *other);
    for (int i = 0; i < INPUTS_MOST; i++) {
        if (draws->column[i] != NULL) {
            name_input(&draws->kit, i, all[count].name, sizeof all[count].name);
            all[count++].share = squared_correlation(draws, draws->column[i], value, other);
        }
    }
    qsort(all, count, sizeof *all, by_share);
    for (size_t i = 0; i < count && i < room; i++) {
        share[i] = all[i];
    }
    free(other);
    free(value);
    close_view(&view);
    return count < room ? count : room;
}

/* ---- predictions ---- */

bool up_kit_predict(const struct up_kit *kit, size_t check, struct up_kit_prediction *prediction,
                    struct up_failure *failure) {
    struct up_kit before = *kit;
    struct up_kit_state state = kit->check[check].state;
    struct up_kit_draws *draws;
    before.checks = check;
    if (!up_kit_solve(&before, &draws, failure)) {
        return false;
    }
    bool good = up_kit_lift_kg(draws, &state, &prediction->lift_kg, failure);
    prediction->inside = good && prediction->lift_kg.low <= 0 && prediction->lift_kg.high >= 0;
    up_kit_free(draws);
    return good;
}
