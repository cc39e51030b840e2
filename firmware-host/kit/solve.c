/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the weight checks say of the body's volume, and of everything else that is uncertain. */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "kit/internal.h"
#include "metrology/gsl_errors.h"
#include "text/text.h"

enum { DRAWS = 20000 };

struct equation {
    struct moment_of_dive moment;
    double *water_error_kg_m3;
    double u_kg; /* breath, and what was read at this check alone */
};

/* The breath's, and what depth, gauge and thermometer were off at this check, one after the other.
 */
static double check_u_kg(const struct up_kit_draws *draws, const struct equation *equation) {
    const struct up_kit_state *state = equation->moment.state;
    const struct misreading off[] = {{0},
                                     {.depth_m = state->u_depth_m},
                                     {.pressure_bar = state->u_pressure_bar},
                                     {.gas_temp_k = state->u_gas_temp_c}};
    double u_kg = state->u_breath_kg > 0 ? state->u_breath_kg : UP_KIT_BREATH_KG;
    double right_kg = gear_lift_kg(draws, &equation->moment, &off[0], 0);
    for (size_t i = 1; i < sizeof off / sizeof *off; i++) {
        u_kg = hypot(u_kg, gear_lift_kg(draws, &equation->moment, &off[i], 0) - right_kg);
    }
    return u_kg;
}

static void free_equations(struct equation *equation, size_t count) {
    for (size_t i = 0; i < count; i++) {
        free(equation[i].water_error_kg_m3);
    }
    free(equation);
}

static bool set_up_equations(const struct up_kit_draws *draws, struct equation *equation,
                             struct up_failure *failure) {
    for (size_t i = 0; i < draws->kit.checks; i++) {
        const struct up_kit_state *state = &draws->kit.check[i].state;
        if (!prepare_state(&draws->kit, state, &equation[i].moment, failure)) {
            return false;
        }
        equation[i].water_error_kg_m3 = water_errors(draws, state);
        equation[i].u_kg = check_u_kg(draws, &equation[i]);
    }
    return true;
}

/* The body's volume by each check and all together, weighted; returns how badly they agree. */
static double solve_draw(const struct up_kit_draws *draws, const struct equation *equation,
                         size_t n, double *volume_m3, double *u_m3) {
    double sum = 0, weights = 0, squares = 0;
    for (size_t i = 0; i < draws->kit.checks; i++) {
        struct misreading off = {.water_kg_m3 = equation[i].water_error_kg_m3[n]};
        double water_kg_m3 = equation[i].moment.state->water_kg_m3 + off.water_kg_m3;
        double here_m3 =
            (input_at(draws, INPUT_BODY, n) - gear_lift_kg(draws, &equation[i].moment, &off, n)) /
            water_kg_m3;
        double weight = pow(water_kg_m3 / equation[i].u_kg, 2);
        double before = weights > 0 ? here_m3 - sum / weights : 0;
        squares += weights > 0 ? before * before * weight * weights / (weight + weights) : 0;
        sum += weight * here_m3;
        weights += weight;
    }
    *volume_m3 = sum / weights;
    *u_m3 = 1 / sqrt(weights);
    return squares;
}

/* Systematic resampling: each draw as often as its weight says. */
static void keep_draws(struct up_kit_draws *draws, const double *weight, double total,
                       double start) {
    double reached = 0;
    size_t n = 0;
    for (size_t i = 0; i < draws->count; i++) {
        double aim = ((double)i + start) * total / (double)draws->count;
        while (n + 1 < draws->count && reached + weight[n] < aim) {
            reached += weight[n++];
        }
        draws->kept[i] = n;
    }
}

static void weigh_draws(struct up_kit_draws *draws, const struct equation *equation, gsl_rng *rng) {
    double *weight = up_allocate(draws->count, sizeof *weight);
    double least = (double)INFINITY, total = 0, squares = 0;
    for (size_t n = 0; n < draws->count; n++) {
        double u_m3 = 0;
        weight[n] = solve_draw(draws, equation, n, &draws->body_m3[n], &u_m3);
        draws->body_m3[n] += gsl_ran_gaussian_ziggurat(rng, u_m3);
        least = fmin(least, weight[n]);
    }
    for (size_t n = 0; n < draws->count; n++) {
        weight[n] = exp((least - weight[n]) / 2);
        total += weight[n];
        squares += weight[n] * weight[n];
    }
    draws->effective = total * total / squares;
    draws->agreement =
        draws->kit.checks > 1 ? gsl_cdf_chisq_Q(least, (double)draws->kit.checks - 1) : 1;
    for (size_t part = 0; part < draws->kit.parts; part++) {
        double u_m3 = 0, as_is_m3 = 0, lowered_m3 = 0;
        solve_draw(draws, equation, 0, &as_is_m3, &u_m3);
        draws->lowered = part + 1;
        solve_draw(draws, equation, 0, &lowered_m3, &u_m3);
        draws->lowered = 0;
        draws->lowered_m3[part] = lowered_m3 - as_is_m3;
    }
    keep_draws(draws, weight, total, gsl_rng_uniform(rng));
    free(weight);
}

static struct up_kit_draws *create(const struct up_kit *kit) {
    struct up_kit_draws *draws = up_allocate(1, sizeof *draws);
    size_t cells = kit->parts * kit->parts;
    draws->kit = *kit;
    draws->count = kit->draws > 0 ? kit->draws : DRAWS;
    draws->body_m3 = up_allocate(draws->count, sizeof *draws->body_m3);
    draws->kept = up_allocate(draws->count, sizeof *draws->kept);
    if (kit->covariance_kg2 != NULL) {
        draws->covariance_kg2 = up_allocate(cells, sizeof *draws->covariance_kg2);
        memcpy(draws->covariance_kg2, kit->covariance_kg2, cells * sizeof *draws->covariance_kg2);
    }
    draws->kit.covariance_kg2 = draws->covariance_kg2;
    return draws;
}

void up_kit_free(struct up_kit_draws *draws) {
    if (draws != NULL) {
        for (int i = 0; i < INPUTS_MOST; i++) {
            free(draws->column[i]);
        }
        free(draws->covariance_kg2);
        free(draws->body_m3);
        free(draws->kept);
        free(draws);
    }
}

bool up_kit_solve(const struct up_kit *kit, struct up_kit_draws **result,
                  struct up_failure *failure) {
    *result = NULL;
    if (!check_kit(kit, failure)) {
        return false;
    }
    up_gsl_answers();
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(rng, kit->seed);
    struct up_kit_draws *draws = create(kit);
    struct equation *equation = up_allocate(kit->checks, sizeof *equation);
    draw_inputs(draws, rng);
    bool good = set_up_equations(draws, equation, failure);
    if (good) {
        weigh_draws(draws, equation, rng);
        *result = draws;
    } else {
        up_kit_free(draws);
    }
    free_equations(equation, kit->checks);
    gsl_rng_free(rng);
    return good;
}

double up_kit_effective_draws(const struct up_kit_draws *draws) {
    return draws->effective;
}

double up_kit_agreement(const struct up_kit_draws *draws) {
    return draws->agreement;
}
