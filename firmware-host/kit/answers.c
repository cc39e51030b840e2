/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions to a solved kit, each answered by all its draws. */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "kit/internal.h"
#include "text/text.h"

static const double GRAVITY_M_S2 = 9.80665;
static const double COVERAGE_LOW = 0.025, COVERAGE_HIGH = 0.975, BOUND_LOW = 5e-4,
                    BOUND_HIGH = 1 - 5e-4;
/* Our choices: the middle of a body's volume, metres from the hips (that of its mass lies at 0.56
   of the height, de Leva, J. Biomech. 29 (1996) 1223; the hips, from memory, at 0.53); and what
   lifts so little more that its place does not matter beside a breath. */
static const double BODY_LOW_M = -0.05, BODY_HIGH_M = 0.15, NO_MATTER_KG = 0.05;
enum { STATE_STREAM = 1 }; /* of a state's own readings */

/* A state, and where a difference is asked for the one before, with an error of each of their
   readings for each draw. */
struct view {
    struct moment {
        struct moment_of_dive dive;
        double *water_error_kg_m3;
    } now, before;
    gsl_rng *rng;
    /* What is asked about: a part, another that takes its place or the lead of a move. */
    size_t part, other;
    double kg;
};

static bool open_moment(const struct up_kit_draws *draws, const struct up_kit_state *state,
                        struct moment *moment, struct up_failure *failure) {
    bool good = check_state(&draws->kit, state, "the state asked for", failure) &&
                prepare_state(&draws->kit, state, &moment->dive, failure);
    moment->water_error_kg_m3 = good ? water_errors(draws, state) : NULL;
    return good;
}

static void close_view(struct view *view) {
    free(view->now.water_error_kg_m3);
    free(view->before.water_error_kg_m3);
    gsl_rng_free(view->rng);
}

/* `from` may be NULL. */
static bool open_view(const struct up_kit_draws *draws, const struct up_kit_state *from,
                      const struct up_kit_state *state, struct view *view,
                      struct up_failure *failure) {
    view->rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(view->rng, draws->kit.seed + STATE_STREAM);
    bool good = open_moment(draws, state, &view->now, failure) &&
                (from == NULL || open_moment(draws, from, &view->before, failure));
    if (!good) {
        close_view(view);
    }
    return good;
}

static struct misreading next_misreading(struct view *view, const struct moment *moment, size_t n) {
    const struct up_kit_state *state = moment->dive.state;
    return (struct misreading){
        .water_kg_m3 = moment->water_error_kg_m3[n],
        .depth_m = gsl_ran_gaussian_ziggurat(view->rng, 1) * state->u_depth_m,
        .pressure_bar = gsl_ran_gaussian_ziggurat(view->rng, 1) * state->u_pressure_bar,
        .gas_temp_k = gsl_ran_gaussian_ziggurat(view->rng, 1) * state->u_gas_temp_c};
}

static double body_m3(const struct up_kit_draws *draws, size_t n) {
    return draws->body_m3[n] + (draws->lowered > 0 ? draws->lowered_m3[draws->lowered - 1] : 0);
}

static double water_kg_m3(const struct moment *moment, size_t n) {
    return moment->dive.state->water_kg_m3 + moment->water_error_kg_m3[n];
}

/* With the lungs of the checks, whatever they were. */
static double same_breath_kg(const struct up_kit_draws *draws, struct view *view,
                             const struct moment *moment, size_t n) {
    struct misreading off = next_misreading(view, moment, n);
    return gear_lift_kg(draws, &moment->dive, &off, n) +
           water_kg_m3(moment, n) * body_m3(draws, n) - input_at(draws, INPUT_BODY, n);
}

static double lift_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    double breath_kg = gsl_ran_gaussian_ziggurat(view->rng, UP_KIT_BREATH_KG);
    return same_breath_kg(draws, view, &view->now, n) + breath_kg;
}

static double as_lead_kg(const struct up_kit_draws *draws, const struct moment *moment, size_t n,
                         double kg) {
    return kg / lead_factor(draws, water_kg_m3(moment, n), n);
}

static double lead_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    return as_lead_kg(draws, &view->now, n, lift_kg(draws, view, n));
}

static double lead_change_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    double now_kg = same_breath_kg(draws, view, &view->now, n);
    return as_lead_kg(draws, &view->now, n, now_kg) -
           as_lead_kg(draws, &view->before, n, same_breath_kg(draws, view, &view->before, n));
}

/* As gsl_stats_quantile_from_sorted_data has it, without sorting all. */
static double quantile(double *value, size_t count, double share) {
    double at = share * (double)(count - 1), low;
    size_t below = (size_t)at;
    low = gsl_stats_select(value, 1, count, below);
    return low + (at - (double)below) * (gsl_stats_select(value, 1, count, below + 1) - low);
}

static struct up_kit_answer summarise(double *value, size_t count) {
    return (struct up_kit_answer){.value = gsl_stats_mean(value, 1, count),
                                  .u = gsl_stats_sd(value, 1, count),
                                  .low = quantile(value, count, COVERAGE_LOW),
                                  .high = quantile(value, count, COVERAGE_HIGH),
                                  .least = quantile(value, count, BOUND_LOW),
                                  .most = quantile(value, count, BOUND_HIGH)};
}

typedef double one_draw(const struct up_kit_draws *draws, struct view *view, size_t n);

static double *each_draw(const struct up_kit_draws *draws, struct view *view, one_draw *of) {
    double *value = up_allocate(draws->count, sizeof *value);
    for (size_t i = 0; i < draws->count; i++) {
        value[i] = of(draws, view, draws->kept[i]);
    }
    return value;
}

/* What an answer changes by with all the air that may be stuck in a part, and no chance in it. */
static double lowered_by(const struct up_kit_draws *draws, size_t part, struct view *view,
                         one_draw *of) {
    struct up_kit_draws *lowered = up_allocate(1, sizeof *lowered);
    gsl_rng *begin = gsl_rng_clone(view->rng);
    *lowered = *draws;
    lowered->lowered = part + 1;
    double before = of(draws, view, draws->kept[0]);
    gsl_rng_memcpy(view->rng, begin);
    double by = of(lowered, view, draws->kept[0]) - before;
    gsl_rng_free(begin);
    free(lowered);
    return by;
}

/* Bounds add up, each to the side on which it lies. */
static void add_bound(struct up_kit_answer *answer, double by) {
    *(by < 0 ? &answer->low : &answer->high) += by;
    *(by < 0 ? &answer->least : &answer->most) += by;
}

/* `about` brings what is asked about; `from` may be NULL. */
static bool ask(const struct up_kit_draws *draws, const struct up_kit_state *from,
                const struct up_kit_state *state, struct view about, one_draw *of,
                struct up_kit_answer *answer, struct up_failure *failure) {
    if (!open_view(draws, from, state, &about, failure)) {
        return false;
    }
    double *value = each_draw(draws, &about, of);
    *answer = summarise(value, draws->count);
    free(value);
    for (size_t part = 0; part < draws->kit.parts; part++) {
        bool stuck = draws->kit.part[part].stuck_air_kg > 0;
        add_bound(answer, stuck ? lowered_by(draws, part, &about, of) : 0);
    }
    close_view(&about);
    return true;
}

bool up_kit_lift_kg(const struct up_kit_draws *draws, const struct up_kit_state *state,
                    struct up_kit_answer *answer, struct up_failure *failure) {
    return ask(draws, NULL, state, (struct view){0}, lift_kg, answer, failure);
}

bool up_kit_lead_kg(const struct up_kit_draws *draws, const struct up_kit_state *state,
                    struct up_kit_answer *answer, struct up_failure *failure) {
    return ask(draws, NULL, state, (struct view){0}, lead_kg, answer, failure);
}

bool up_kit_lead_change_kg(const struct up_kit_draws *draws, const struct up_kit_state *from,
                           const struct up_kit_state *to, struct up_kit_answer *answer,
                           struct up_failure *failure) {
    return ask(draws, from, to, (struct view){0}, lead_change_kg, answer, failure);
}

/* ---- parts, spares, moves ---- */

/* A spare of unknown place sits where its part sits. */
static size_t place_index(const struct up_kit_draws *draws, size_t part) {
    const struct up_part *of = &draws->kit.part[part];
    return of->spare && isnan(of->place_m.value) ? of->instead_of : part;
}

static double arm_m_s2(const struct up_kit_draws *draws, size_t part, size_t n) {
    return input_at(draws, part_input(place_index(draws, part), INPUT_PLACE), n) * GRAVITY_M_S2;
}

static bool has_place(const struct up_kit_draws *draws, size_t part, struct up_failure *failure) {
    const struct up_part *of = &draws->kit.part[place_index(draws, part)];
    return !isnan(of->place_m.value) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the place of \"%s\" is missing: give its place_m, metres from the hips, feet "
                   "negative",
                   of->name);
}

static double one_lift_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    struct misreading off = next_misreading(view, &view->now, n);
    return part_lift_kg(draws, view->part, &view->now.dive, &off, n);
}

static double one_moment_nm(const struct up_kit_draws *draws, struct view *view, size_t n) {
    return one_lift_kg(draws, view, n) * arm_m_s2(draws, view->part, n);
}

static double swap_lift_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    struct misreading off = next_misreading(view, &view->now, n);
    return part_lift_kg(draws, view->other, &view->now.dive, &off, n) -
           part_lift_kg(draws, view->part, &view->now.dive, &off, n);
}

static double swap_lead_kg(const struct up_kit_draws *draws, struct view *view, size_t n) {
    return as_lead_kg(draws, &view->now, n, swap_lift_kg(draws, view, n));
}

static double swap_moment_nm(const struct up_kit_draws *draws, struct view *view, size_t n) {
    struct misreading off = next_misreading(view, &view->now, n);
    return part_lift_kg(draws, view->other, &view->now.dive, &off, n) *
               arm_m_s2(draws, view->other, n) -
           part_lift_kg(draws, view->part, &view->now.dive, &off, n) *
               arm_m_s2(draws, view->part, n);
}

/* As far off its mark as that lead always is. */
static double move_moment_nm(const struct up_kit_draws *draws, struct view *view, size_t n) {
    double marked_kg = draws->kit.part[view->part].mass_kg.value;
    double kg = view->kg * input_at(draws, part_input(view->part, INPUT_MASS), n) / marked_kg;
    return -kg * lead_factor(draws, water_kg_m3(&view->now, n), n) *
           (arm_m_s2(draws, view->other, n) - arm_m_s2(draws, view->part, n));
}

bool up_kit_part_lift_kg(const struct up_kit_draws *draws, size_t part,
                         const struct up_kit_state *state, struct up_kit_answer *answer,
                         struct up_failure *failure) {
    return ask(draws, NULL, state, (struct view){.part = part}, one_lift_kg, answer, failure);
}

bool up_kit_part_moment_nm(const struct up_kit_draws *draws, size_t part,
                           const struct up_kit_state *state, struct up_kit_answer *answer,
                           struct up_failure *failure) {
    return has_place(draws, part, failure) &&
           ask(draws, NULL, state, (struct view){.part = part}, one_moment_nm, answer, failure);
}

bool up_kit_swap(const struct up_kit_draws *draws, size_t spare, const struct up_kit_state *state,
                 struct up_kit_swap *swap, struct up_failure *failure) {
    struct view about = {.part = draws->kit.part[spare].instead_of, .other = spare};
    double none = (double)NAN;
    swap->moment_nm = (struct up_kit_answer){none, none, none, none, none, none};
    bool placed = has_place(draws, about.part, NULL) && has_place(draws, spare, NULL);
    return check_volume(&draws->kit.part[spare], state, "the dive", failure) &&
           ask(draws, NULL, state, about, swap_lift_kg, &swap->lift_kg, failure) &&
           ask(draws, NULL, state, about, swap_lead_kg, &swap->lead_kg, failure) &&
           (!placed || ask(draws, NULL, state, about, swap_moment_nm, &swap->moment_nm, failure));
}

bool up_kit_move_nm(const struct up_kit_draws *draws, size_t from, size_t to, double kg,
                    const struct up_kit_state *state, struct up_kit_answer *answer,
                    struct up_failure *failure) {
    struct view about = {.part = from, .other = to, .kg = kg};
    return has_place(draws, from, failure) && has_place(draws, to, failure) &&
           ask(draws, NULL, state, about, move_moment_nm, answer, failure);
}

/* ---- level ---- */

/* What every part lifts more than when all was level, and the body, by its place. A part of unknown
   place is one that lifts as much as then. */
static double off_level_nm(const struct up_kit_draws *draws, struct view *view, size_t n) {
    struct misreading off = next_misreading(view, &view->now, n);
    struct misreading then = next_misreading(view, &view->before, n);
    double place_m = gsl_ran_flat(view->rng, BODY_LOW_M, BODY_HIGH_M);
    double more_kg_m3 = water_kg_m3(&view->now, n) - water_kg_m3(&view->before, n);
    double nm = gsl_ran_gaussian_ziggurat(view->rng, UP_KIT_BREATH_NM) +
                more_kg_m3 * body_m3(draws, n) * place_m * GRAVITY_M_S2;
    for (size_t i = 0; i < draws->kit.parts; i++) {
        if (!draws->kit.part[i].spare && has_place(draws, i, NULL)) {
            nm += (part_lift_kg(draws, i, &view->now.dive, &off, n) -
                   part_lift_kg(draws, i, &view->before.dive, &then, n)) *
                  arm_m_s2(draws, i, n);
        }
    }
    return nm + (view->other != view->part ? swap_moment_nm(draws, view, n) : 0);
}

/* Whether what lifts otherwise than then has a place. */
static bool has_places(const struct up_kit_draws *draws, const struct up_kit_state *then,
                       const struct up_kit_state *now, struct up_failure *failure) {
    struct misreading none = {0, 0, 0, 0};
    struct moment_of_dive before, after;
    bool good = prepare_state(&draws->kit, then, &before, failure) &&
                prepare_state(&draws->kit, now, &after, failure);
    for (size_t i = 0; good && i < draws->kit.parts; i++) {
        double kg = draws->kit.part[i].spare ? 0
                                             : part_lift_kg(draws, i, &after, &none, 0) -
                                                   part_lift_kg(draws, i, &before, &none, 0);
        good = fabs(kg) < NO_MATTER_KG || has_place(draws, i, failure);
    }
    return good;
}

bool up_kit_off_level_nm(const struct up_kit_draws *draws, size_t check, size_t part,
                         const struct up_kit_state *now, struct up_kit_answer *answer,
                         struct up_failure *failure) {
    const struct up_kit_state *level = &draws->kit.check[check].state;
    const struct up_part *of = &draws->kit.part[part];
    struct view about = {.part = of->spare ? of->instead_of : part, .other = part};
    return check_volume(of, now, "the dive", failure) && has_place(draws, about.part, failure) &&
           has_place(draws, part, failure) && has_places(draws, level, now, failure) &&
           ask(draws, level, now, about, off_level_nm, answer, failure);
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
    static const char REST[] = "breath, and what was read at each check";
    struct up_kit_share all[INPUTS_MOST + 1];
    struct view view = {0};
    double rest = 1;
    size_t count = 0;
    if (!open_view(draws, NULL, state, &view, NULL)) {
        return 0;
    }
    double *value = each_draw(draws, &view, lead_kg);
    double *other = up_allocate(draws->count, sizeof *other);
    for (int i = 0; i < INPUTS_MOST; i++) {
        if (draws->column[i] != NULL) {
            name_input(&draws->kit, i, all[count].name, sizeof all[count].name);
            all[count].share = squared_correlation(draws, draws->column[i], value, other);
            rest -= all[count++].share;
        }
    }
    memcpy(all[count].name, REST, sizeof REST);
    all[count++].share = fmax(rest, 0);
    qsort(all, count, sizeof *all, by_share);
    count = count < room ? count : room;
    memcpy(share, all, count * sizeof *all);
    free(other);
    free(value);
    close_view(&view);
    return count;
}
