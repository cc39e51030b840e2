/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of kit/ share. */
#ifndef UPTHRUST_KIT_INTERNAL_H
#define UPTHRUST_KIT_INTERNAL_H

#include <gsl/gsl_rng.h>

#include "kit/kit.h"

/* The inputs of a part that may be uncertain; the kit has some besides. */
enum part_input { INPUT_BUOYANCY, INPUT_VOLUME, INPUT_MASS, INPUT_GAS, INPUT_PLACE, PART_INPUTS };
enum kit_input {
    INPUT_BODY,
    INPUT_LEAD_DENSITY,
    INPUT_SHARE,
    INPUT_GAUGE,
    INPUT_EQUATION,
    KIT_INPUTS
};
enum { INPUTS_MOST = UP_KIT_PARTS_MAX * PART_INPUTS + KIT_INPUTS };

/* The body's volume by the checks that were taken, weighted, and how badly they agree. */
struct taken {
    double sum, weights, squares;
};

struct up_kit_draws {
    struct up_kit kit;
    double *covariance_kg2; /* the kit's, copied */
    size_t count;
    double *column[INPUTS_MOST]; /* a value for each draw; NULL: known exactly */
    double centre[INPUTS_MOST];
    double *body_m3; /* the body's volume by each draw */
    /* With all the air that may be stuck in one part: its number and 1, 0 for none; the body's
       volume by the checks is then larger by this. */
    size_t lowered;
    double lowered_m3[UP_KIT_PARTS_MAX], lowered_sum[UP_KIT_PARTS_MAX];
    struct taken *taken; /* by draw */
    size_t *kept;        /* the draws that stand for the checks, each as often as it counts */
    double effective, agreement;
};

static inline int part_input(size_t part, enum part_input input) {
    return KIT_INPUTS + (int)part * PART_INPUTS + (int)input;
}

/* check.c */
bool check_kit(const struct up_kit *kit, struct up_failure *failure);
/* Whether it can be computed in the state's water. */
bool check_volume(const struct up_part *part, const struct up_kit_state *state, const char *label,
                  struct up_failure *failure);
bool check_state(const struct up_kit *kit, const struct up_kit_state *state, const char *label,
                 struct up_failure *failure);

/* inputs.c */
/* Whether the first so many checks are at two depths, which tell how the suit is squeezed. */
bool tell_suit(const struct up_kit *kit, size_t checks);
void draw_inputs(struct up_kit_draws *draws, gsl_rng *rng);
void name_input(const struct up_kit *kit, int input, char *name, size_t size);
static inline double input_at(const struct up_kit_draws *draws, int input, size_t n) {
    return draws->column[input] != NULL ? draws->column[input][n] : draws->centre[input];
}

/* lift.c: what a state needs computed once, whatever the draw */
struct moment_of_dive {
    const struct up_kit_state *state;
    double gas_kg_m3[UP_KIT_PARTS_MAX],
        gas_kg_m3_bar[UP_KIT_PARTS_MAX]; /* at the gauge's reading */
    double gas_kg_m3_k[UP_KIT_PARTS_MAX];
};
/* How far off the state's own readings are, by one draw. */
struct misreading {
    double water_kg_m3, depth_m, pressure_bar, gas_temp_k;
};
bool prepare_state(const struct up_kit *kit, const struct up_kit_state *state,
                   struct moment_of_dive *moment, struct up_failure *failure);
double part_lift_kg(const struct up_kit_draws *draws, size_t part,
                    const struct moment_of_dive *moment, const struct misreading *off, size_t n);
/* All but the body's. */
double gear_lift_kg(const struct up_kit_draws *draws, const struct moment_of_dive *moment,
                    const struct misreading *off, size_t n);
/* Errors of the density of a state's water, one a draw: the same for all states in that water. The
   caller frees them. */
double *water_errors(const struct up_kit_draws *draws, const struct up_kit_state *state);
double lead_factor(const struct up_kit_draws *draws, double water_kg_m3, size_t n);

#endif
