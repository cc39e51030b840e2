/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The uncertain inputs of a kit, and draws of them. */
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>

#include "kit/internal.h"
#include "text/text.h"

static const double LEAD_LOW_KG_M3 = 11030, LEAD_HIGH_KG_M3 = 11350;
static const double SHARE_LOW = 0.5, SHARE_HIGH = 1;
static const double SHARE_LOW_CHECKED = 0.2, SHARE_HIGH_CHECKED = 1.1, DEPTHS_APART_M = 3;

/* Seeds far from those of the other draws. */
enum { WATER_STREAM = 1000 };

struct up_bounded up_between(double low, double high) {
    return (struct up_bounded){(low + high) / 2, (high - low) / 2 / sqrt(3), true};
}

static struct up_bounded part_number(const struct up_part *part, enum part_input input) {
    const struct up_bounded number[PART_INPUTS] = {[INPUT_BUOYANCY] = part->buoyancy_kg,
                                                   [INPUT_VOLUME] = part->volume_m3,
                                                   [INPUT_MASS] = part->mass_kg,
                                                   [INPUT_GAS] = part->gas_m3,
                                                   [INPUT_PLACE] = part->place_m};
    return number[input];
}

bool tell_suit(const struct up_kit *kit, size_t checks) {
    double least_m = (double)INFINITY, most_m = 0;
    for (size_t i = 0; i < checks; i++) {
        least_m = fmin(least_m, kit->check[i].state.depth_m);
        most_m = fmax(most_m, kit->check[i].state.depth_m);
    }
    return most_m - least_m >= DEPTHS_APART_M;
}

static struct up_bounded kit_number(const struct up_kit *kit, enum kit_input input) {
    const struct up_bounded number[KIT_INPUTS] = {
        [INPUT_BODY] = kit->body_kg,
        [INPUT_LEAD_DENSITY] = up_between(LEAD_LOW_KG_M3, LEAD_HIGH_KG_M3),
        [INPUT_SHARE] = tell_suit(kit, kit->checks)
                            ? up_between(SHARE_LOW_CHECKED, SHARE_HIGH_CHECKED)
                            : up_between(SHARE_LOW, SHARE_HIGH),
        [INPUT_GAUGE] = {0, kit->u_gauge_bar, false},
        [INPUT_EQUATION] = {0, 1, false}}; /* in units of the equation's own uncertainty */
    return number[input];
}

static void draw_column(struct up_kit_draws *draws, int input, struct up_bounded number,
                        gsl_rng *rng) {
    draws->centre[input] = number.value;
    if (!(number.u > 0) || isnan(number.value)) {
        return;
    }
    double *column = up_allocate(draws->count, sizeof *column);
    for (size_t n = 0; n < draws->count; n++) {
        column[n] =
            number.value + (number.rectangular ? gsl_ran_flat(rng, -sqrt(3), sqrt(3)) * number.u
                                               : gsl_ran_gaussian_ziggurat(rng, number.u));
    }
    draws->column[input] = column;
}

/* Gear whose buoyancies share errors: its columns become those of the covariance's root. */
static void share_errors(struct up_kit_draws *draws, gsl_rng *rng) {
    size_t parts = draws->kit.parts, part[UP_KIT_PARTS_MAX], count = 0;
    for (size_t i = 0; i < parts; i++) { /* what is known exactly has no root */
        if (draws->column[part_input(i, INPUT_BUOYANCY)] != NULL &&
            draws->covariance_kg2[i * parts + i] > 0) {
            part[count++] = i;
        }
    }
    gsl_matrix *root = gsl_matrix_calloc(count + 1, count + 1);
    gsl_matrix_set_identity(root);
    for (size_t i = 0; i < count * count; i++) {
        gsl_matrix_set(root, i / count, i % count,
                       draws->covariance_kg2[part[i / count] * parts + part[i % count]]);
    }
    bool good = gsl_linalg_cholesky_decomp1(root) == 0;
    for (size_t n = 0; good && n < draws->count; n++) {
        double unit[UP_KIT_PARTS_MAX];
        for (size_t i = 0; i < count; i++) {
            double sum = 0;
            unit[i] = gsl_ran_gaussian_ziggurat(rng, 1);
            for (size_t k = 0; k <= i; k++) {
                sum += gsl_matrix_get(root, i, k) * unit[k];
            }
            int input = part_input(part[i], INPUT_BUOYANCY);
            draws->column[input][n] = draws->centre[input] + sum;
        }
    }
    gsl_matrix_free(root);
}

void draw_inputs(struct up_kit_draws *draws, gsl_rng *rng) {
    for (int i = 0; i < KIT_INPUTS; i++) {
        draw_column(draws, i, kit_number(&draws->kit, (enum kit_input)i), rng);
    }
    for (size_t part = 0; part < draws->kit.parts; part++) {
        for (int i = 0; i < PART_INPUTS; i++) {
            draw_column(draws, part_input(part, (enum part_input)i),
                        part_number(&draws->kit.part[part], (enum part_input)i), rng);
        }
    }
    if (draws->covariance_kg2 != NULL) {
        share_errors(draws, rng);
    }
}

double *water_errors(const struct up_kit_draws *draws, const struct up_kit_state *state) {
    double *error = up_allocate(draws->count, sizeof *error);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    gsl_rng_set(rng, draws->kit.seed + WATER_STREAM + state->water);
    for (size_t n = 0; n < draws->count; n++) {
        error[n] = gsl_ran_gaussian_ziggurat(rng, 1) * state->u_water_kg_m3;
    }
    gsl_rng_free(rng);
    return error;
}

void name_input(const struct up_kit *kit, int input, char *name, size_t size) {
    static const char *const of_kit[KIT_INPUTS] = {"mass of the body", "density of the lead",
                                                   "suit gas that follows pressure",
                                                   "error of the gauge", "density of the gas"};
    static const char *const of_part[PART_INPUTS] = {"buoyancy", "volume", "mass", "gas", "place"};
    if (input < KIT_INPUTS) {
        snprintf(name, size, "%s", of_kit[input]);
        return;
    }
    input -= KIT_INPUTS;
    snprintf(name, size, "%s of %s", of_part[input % PART_INPUTS],
             kit->part[input / PART_INPUTS].name);
}
