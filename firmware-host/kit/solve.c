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

/* The breath's error, and those of depth, gauge and thermometer at this check, in this order. */
static double check_u_kg(const struct up_kit_draws *draws, const struct equation *equation) {
    const struct up_kit_state *state = equation->moment.state;
    const struct misreading off[] = {{0},
                                     {.depth_m = state->u_depth_m},
                                     {.pressure_bar = state->u_pressure_bar},
                                     {.gas_temp_k = state->u_gas_temp_c}};
    double u_kg = UP_KIT_BREATH_KG;
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

/* The body's volume by one check. */
static double volume_m3(const struct up_kit_draws *draws, const struct equation *equation, size_t n,
                        double *weight) {
    struct misreading off = {.water_kg_m3 = equation->water_error_kg_m3[n]};
    double water_kg_m3 = equation->moment.state->water_kg_m3 + off.water_kg_m3;
    *weight = pow(water_kg_m3 / equation->u_kg, 2);
    return (input_at(draws, INPUT_BODY, n) - gear_lift_kg(draws, &equation->moment, &off, n)) /
           water_kg_m3;
}

/* One check more, weighted; `squares` is how badly they agree. */
static void take_check(struct up_kit_draws *draws, const struct equation *equation) {
    double weight, as_is_m3 = volume_m3(draws, equation, 0, &weight);
    for (size_t part = 0; part < draws->kit.parts; part++) {
        draws->lowered = part + 1;
        if (draws->kit.part[part].stuck_air_kg > 0) {
            draws->lowered_sum[part] +=
                (volume_m3(draws, equation, 0, &weight) - as_is_m3) * weight;
        }
    }
    draws->lowered = 0;
    for (size_t n = 0; n < draws->count; n++) {
        struct taken *taken = &draws->taken[n];
        double here_m3 = volume_m3(draws, equation, n, &weight);
        double before = taken->weights > 0 ? here_m3 - taken->sum / taken->weights : 0;
        taken->squares += before * before * weight * taken->weights / (weight + taken->weights);
        taken->sum += weight * here_m3;
        taken->weights += weight;
    }
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

/* What `checks` of them say, all that were taken. */
static void weigh_draws(struct up_kit_draws *draws, size_t checks, gsl_rng *rng) {
    double *weight = up_allocate(draws->count, sizeof *weight);
    double least = (double)INFINITY, total = 0, squares = 0;
    for (size_t n = 0; n < draws->count; n++) {
        const struct taken *taken = &draws->taken[n];
        draws->body_m3[n] =
            taken->sum / taken->weights + gsl_ran_gaussian_ziggurat(rng, 1 / sqrt(taken->weights));
        least = fmin(least, taken->squares);
    }
    for (size_t n = 0; n < draws->count; n++) {
        weight[n] = exp((least - draws->taken[n].squares) / 2);
        total += weight[n];
        squares += weight[n] * weight[n];
    }
    draws->effective = total * total / squares;
    draws->agreement = checks > 1 ? gsl_cdf_chisq_Q(least, (double)checks - 1) : 1;
    for (size_t part = 0; part < draws->kit.parts; part++) {
        draws->lowered_m3[part] = draws->lowered_sum[part] / draws->taken[0].weights;
    }
    keep_draws(draws, weight, total, gsl_rng_uniform(rng));
    free(weight);
}

static struct up_kit_draws *draw(const struct up_kit *kit, gsl_rng **rng) {
    struct up_kit_draws *draws = up_allocate(1, sizeof *draws);
    size_t cells = kit->parts * kit->parts;
    draws->kit = *kit;
    draws->count = kit->draws > 0 ? kit->draws : DRAWS;
    draws->body_m3 = up_allocate(draws->count, sizeof *draws->body_m3);
    draws->kept = up_allocate(draws->count, sizeof *draws->kept);
    draws->taken = up_allocate(draws->count, sizeof *draws->taken);
    if (kit->covariance_kg2 != NULL) {
        draws->covariance_kg2 = up_allocate(cells, sizeof *draws->covariance_kg2);
        memcpy(draws->covariance_kg2, kit->covariance_kg2, cells * sizeof *draws->covariance_kg2);
    }
    draws->kit.covariance_kg2 = draws->covariance_kg2;
    up_gsl_answers();
    *rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(*rng, kit->seed);
    draw_inputs(draws, *rng);
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
        free(draws->taken);
        free(draws);
    }
}

/* Takes the kit's checks one by one; those from `first` on are predicted before, by the rest. */
static bool take_checks(struct up_kit_draws *draws, size_t first,
                        struct up_kit_prediction *prediction, gsl_rng *rng,
                        struct up_failure *failure) {
    size_t checks = draws->kit.checks;
    struct equation *equation = up_allocate(checks, sizeof *equation);
    gsl_rng *begin = gsl_rng_clone(rng); /* each time the same chance */
    bool good = set_up_equations(draws, equation, failure);
    for (size_t i = 0; good && i < checks; i++) {
        if (i >= first) {
            gsl_rng_memcpy(rng, begin);
            weigh_draws(draws, i, rng);
            struct up_kit_answer *lift = &prediction[i].lift_kg;
            good = up_kit_lift_kg(draws, &draws->kit.check[i].state, lift, failure);
            prediction[i].inside = good && lift->low <= 0 && lift->high >= 0;
        }
        take_check(draws, &equation[i]);
    }
    gsl_rng_memcpy(rng, begin);
    gsl_rng_free(begin);
    free_equations(equation, checks);
    return good;
}

bool up_kit_solve(const struct up_kit *kit, struct up_kit_draws **result,
                  struct up_failure *failure) {
    gsl_rng *rng;
    *result = NULL;
    if (!check_kit(kit, failure)) {
        return false;
    }
    struct up_kit_draws *draws = draw(kit, &rng);
    bool good = take_checks(draws, kit->checks, NULL, rng, failure);
    if (good) {
        weigh_draws(draws, kit->checks, rng);
        *result = draws;
    } else {
        up_kit_free(draws);
    }
    gsl_rng_free(rng);
    return good;
}

/* The same draws serve as long as the checks before tell as much of the suit. */
bool up_kit_predict(const struct up_kit *kit, struct up_kit_prediction *prediction,
                    struct up_failure *failure) {
    struct up_kit before = *kit;
    bool good = check_kit(kit, failure);
    for (size_t i = 0; i < kit->parts; i++) { /* spares need no draws */
        before.part[i].buoyancy_kg.u *= !kit->part[i].spare;
        before.part[i].volume_m3.u *= !kit->part[i].spare;
    }
    for (size_t first = 1, next; good && first < kit->checks; first = next) {
        gsl_rng *rng;
        for (next = first + 1;
             next < kit->checks && tell_suit(kit, next) == tell_suit(kit, first);) {
            next++;
        }
        before.checks = first;
        struct up_kit_draws *draws = draw(&before, &rng);
        draws->kit.checks = next;
        good = take_checks(draws, first, prediction, rng, failure);
        up_kit_free(draws);
        gsl_rng_free(rng);
    }
    return good;
}

double up_kit_agreement(const struct up_kit_draws *draws, double *effective_draws) {
    *effective_draws = draws->effective;
    return draws->agreement;
}
