/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/weighing.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_sort.h>
#include <stdlib.h>

#include "upthrust/statistics.h"

enum { DRAWS_DEFAULT = 50000 };

struct input_text {
    const char *name, *unit;
};

static const struct input_text input_texts[UP_INPUT_COUNT] = {
    [UP_INPUT_WATER_LOAD] = {"repeatability in water", "counts"},
    [UP_INPUT_WATER_PLATEAU] = {"plateau noise in water", "counts"},
    [UP_INPUT_AIR_LOAD] = {"dry weighing in air", "counts"},
    [UP_INPUT_SLOPE] = {"calibration slope", "counts/kg"},
    [UP_INPUT_MASSES] = {"reference masses", "1"},
    [UP_INPUT_LACK_OF_FIT] = {"calibration lack of fit", "kg"},
    [UP_INPUT_HYSTERESIS] = {"hysteresis", "kg"},
    [UP_INPUT_CELL_TEMP] = {"cell temperature since the calibration", "1"},
    [UP_INPUT_RESOLUTION] = {"resolution", "counts"},
    [UP_INPUT_CREEP] = {"residual creep", "1"},
    [UP_INPUT_AIR_DENSITY] = {"air density", "kg/m3"},
    [UP_INPUT_WATER_TEMP] = {"thermometer", "K"},
    [UP_INPUT_WATER_DENSITY] = {"tank water density", "kg/m3"},
    [UP_INPUT_ITEM_TEMP] = {"item temperature", "K"},
    [UP_INPUT_EXPANSION] = {"item expansion", "1/K"},
    [UP_INPUT_TRAPPED_AIR] = {"residual air", "kg"},
    [UP_INPUT_LINE] = {"line meniscus", "kg"},
    [UP_INPUT_TARGET_DENSITY] = {"density of the water asked for", "kg/m3"},
};

const char *up_input_name(enum up_input input) {
    return input_texts[input].name;
}

const char *up_input_unit(enum up_input input) {
    return input_texts[input].unit;
}

const char *up_distribution_name(enum up_distribution distribution) {
    switch (distribution) {
    case UP_NORMAL:
        return "normal";
    case UP_STUDENT:
        return "student";
    case UP_RECTANGULAR:
        return "rectangular";
    }
    return "";
}

const char *up_class_name(enum up_class class) {
    switch (class) {
    case UP_CLASS_POSITIVE:
        return "positive";
    case UP_CLASS_NEUTRAL:
        return "neutral";
    case UP_CLASS_NEGATIVE:
        return "negative";
    case UP_CLASS_UNDECIDED:
        break;
    }
    return "undecided";
}

/* ---- the model ---- */

struct solved {
    double buoyancy_kg, volume_m3, mass_kg;
};

/* The equations at the head of the header, with what disturbs them put in where it acts. */
static struct solved solve(const struct up_weighing *weighing, const double x[UP_INPUT_COUNT]) {
    double k = 1 - weighing->calibration_air_kg_m3 / UP_MASS_DENSITY_KG_M3;
    double slope = x[UP_INPUT_SLOPE] * (1 + x[UP_INPUT_MASSES]) * (1 + x[UP_INPUT_CELL_TEMP]);
    double water_density =
        x[UP_INPUT_WATER_DENSITY] + weighing->tank_density_slope_kg_m3_k * x[UP_INPUT_WATER_TEMP];
    double tank_temp_c = weighing->tank_temp_c + x[UP_INPUT_WATER_TEMP];
    double counts = x[UP_INPUT_WATER_LOAD] + x[UP_INPUT_WATER_PLATEAU] + x[UP_INPUT_RESOLUTION];
    double w_kg = (counts / slope) * (1 + x[UP_INPUT_CREEP]) + x[UP_INPUT_LACK_OF_FIT] +
                  x[UP_INPUT_HYSTERESIS];
    double air_kg = x[UP_INPUT_AIR_LOAD] / slope;
    double line = weighing->tank_area_m2 > 0 ? weighing->line_area_m2 / weighing->tank_area_m2 : 0;
    struct solved out = {0, (double)NAN, (double)NAN};

    out.buoyancy_kg = -w_kg * k - x[UP_INPUT_LINE] - x[UP_INPUT_TRAPPED_AIR];
    if (!weighing->weighed_in_air) {
        return out;
    }
    double volume_m3 = (air_kg - w_kg) * k / (water_density - x[UP_INPUT_AIR_DENSITY]);
    /* The trapped air's volume is none of the item's; its mass counts for nothing. The level rises
       by what is immersed, and wets more of the line, whose lift the reading lacks. */
    out.volume_m3 = volume_m3 - x[UP_INPUT_TRAPPED_AIR] / water_density;
    out.mass_kg = air_kg * k + x[UP_INPUT_AIR_DENSITY] * out.volume_m3;
    out.buoyancy_kg -= water_density * line * volume_m3;
    /* What the item will displace once it has the water's temperature. */
    out.buoyancy_kg -=
        water_density * out.volume_m3 * x[UP_INPUT_EXPANSION] * x[UP_INPUT_ITEM_TEMP];
    if (!weighing->in_tank) {
        double stretch = 1 + x[UP_INPUT_EXPANSION] * (weighing->target_temp_c - tank_temp_c);
        out.buoyancy_kg += (x[UP_INPUT_TARGET_DENSITY] * stretch - water_density) * out.volume_m3;
    }
    return out;
}

static void estimates(const struct up_weighing *weighing, double x[UP_INPUT_COUNT]) {
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        x[i] = weighing->term[i].value;
    }
}

/* ---- first order ---- */

static double sensitivity(const struct up_weighing *weighing, int input) {
    double x[UP_INPUT_COUNT];
    double step = weighing->term[input].u;
    double high, low;
    estimates(weighing, x);
    x[input] += step;
    high = solve(weighing, x).buoyancy_kg;
    x[input] -= 2 * step;
    low = solve(weighing, x).buoyancy_kg;
    return (high - low) / (2 * step);
}

static void combine_first_order(struct up_weighing *weighing, struct up_answer *answer) {
    double u[UP_INPUT_COUNT], dof[UP_INPUT_COUNT];
    double variance = 0;
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        struct up_term *term = &weighing->term[i];
        term->sensitivity = term->u > 0 ? sensitivity(weighing, i) : 0;
        u[i] = fabs(term->sensitivity) * term->u;
        dof[i] = term->dof;
        variance += u[i] * u[i];
    }
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        weighing->term[i].share = variance > 0 ? u[i] * u[i] / variance : 0;
    }
    answer->buoyancy_kg.u = sqrt(variance);
    answer->buoyancy_kg.dof = up_effective_dof(u, dof, UP_INPUT_COUNT);
}

/* ---- Monte Carlo ---- */

static double draw(gsl_rng *rng, const struct up_term *term) {
    switch (term->distribution) {
    case UP_NORMAL:
        return gsl_ran_gaussian_ziggurat(rng, term->u);
    case UP_STUDENT:
        return isinf(term->dof) ? gsl_ran_gaussian_ziggurat(rng, term->u)
                                : term->u * gsl_ran_tdist(rng, term->dof);
    case UP_RECTANGULAR:
        return term->u * sqrt(3) * (2 * gsl_rng_uniform(rng) - 1);
    }
    return 0;
}

static void draw_all(const struct up_weighing *weighing, gsl_rng *rng, double *buoyancy_kg,
                     size_t draws) {
    double centre[UP_INPUT_COUNT], x[UP_INPUT_COUNT];
    estimates(weighing, centre);
    for (size_t n = 0; n < draws; n++) {
        for (int i = 0; i < UP_INPUT_COUNT; i++) {
            const struct up_term *term = &weighing->term[i];
            x[i] = centre[i] + (term->u > 0 ? draw(rng, term) : 0);
        }
        buoyancy_kg[n] = solve(weighing, x).buoyancy_kg;
    }
}

static void count_classes(const double *buoyancy_kg, size_t draws, double tolerance_kg,
                          struct up_answer *answer) {
    size_t above = 0, below = 0;
    for (size_t n = 0; n < draws; n++) {
        above += buoyancy_kg[n] > tolerance_kg;
        below += buoyancy_kg[n] < -tolerance_kg;
    }
    answer->probability_positive = (double)above / (double)draws;
    answer->probability_negative = (double)below / (double)draws;
    answer->probability_neutral = (double)(draws - above - below) / (double)draws;
}

/* Half-width about the estimate that holds the share `coverage` of the draws. */
static double half_width(double *buoyancy_kg, size_t draws, double centre_kg, double coverage) {
    size_t index = (size_t)ceil(coverage * (double)draws);
    for (size_t n = 0; n < draws; n++) {
        buoyancy_kg[n] = fabs(buoyancy_kg[n] - centre_kg);
    }
    gsl_sort(buoyancy_kg, 1, draws);
    index = index < 1 ? 1 : index;
    return buoyancy_kg[(index > draws ? draws : index) - 1];
}

static bool monte_carlo(const struct up_weighing *weighing, const struct up_question *question,
                        struct up_answer *answer) {
    size_t draws = question->draws > 0 ? question->draws : DRAWS_DEFAULT;
    double *buoyancy_kg = calloc(draws, sizeof *buoyancy_kg);
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    bool good = buoyancy_kg != NULL && rng != NULL;
    if (good) {
        gsl_rng_set(rng, question->seed);
        draw_all(weighing, rng, buoyancy_kg, draws);
        count_classes(buoyancy_kg, draws, question->tolerance_kg, answer);
        answer->expanded_u_kg =
            half_width(buoyancy_kg, draws, answer->buoyancy_kg.value, question->coverage);
        good = isfinite(answer->expanded_u_kg) != 0;
    }
    gsl_rng_free(rng);
    free(buoyancy_kg);
    return good;
}

/* ---- the decision (JCGM 106: a class is stated when its probability is high enough) ---- */

static enum up_class class_of(const struct up_answer *answer, double confidence) {
    if (answer->probability_positive >= confidence) {
        return UP_CLASS_POSITIVE;
    }
    if (answer->probability_negative >= confidence) {
        return UP_CLASS_NEGATIVE;
    }
    return answer->probability_neutral >= confidence ? UP_CLASS_NEUTRAL : UP_CLASS_UNDECIDED;
}

/* Where nobody knows how much of the air a shake frees, a class stands only if it is the same with
   all the air that may be left and with none. */
static enum up_class class_despite_air(const struct up_weighing *weighing,
                                       const struct up_question *question,
                                       const struct up_answer *answer) {
    enum up_class stated = class_of(answer, question->confidence);
    const struct up_term *air = &weighing->term[UP_INPUT_TRAPPED_AIR];
    for (int side = -1; side <= 1 && stated != UP_CLASS_UNDECIDED; side += 2) {
        struct up_weighing edge = *weighing;
        struct up_answer other = *answer;
        double shift_kg = side * sqrt(3) * air->u;
        edge.term[UP_INPUT_TRAPPED_AIR].value += shift_kg;
        edge.term[UP_INPUT_TRAPPED_AIR].u = 0;
        other.buoyancy_kg.value -= shift_kg;
        if (!monte_carlo(&edge, question, &other) ||
            class_of(&other, question->confidence) != stated) {
            stated = UP_CLASS_UNDECIDED;
        }
    }
    return stated;
}

/* The model divides by the slope and by the difference of the densities. */
static bool can_divide(const double x[UP_INPUT_COUNT]) {
    return x[UP_INPUT_SLOPE] != 0 && x[UP_INPUT_MASSES] > -1 &&
           x[UP_INPUT_WATER_DENSITY] > x[UP_INPUT_AIR_DENSITY];
}

bool up_weigh(struct up_weighing *weighing, const struct up_question *question,
              struct up_answer *answer) {
    double x[UP_INPUT_COUNT];
    struct solved best;
    *answer = (struct up_answer){.volume_m3 = (double)NAN, .mass_kg = (double)NAN};
    estimates(weighing, x);
    if (!can_divide(x)) {
        return false;
    }
    best = solve(weighing, x);
    if (!isfinite(best.buoyancy_kg) || (weighing->weighed_in_air && !(best.volume_m3 > 0)) ||
        (!weighing->weighed_in_air && !weighing->in_tank)) {
        return false;
    }
    answer->buoyancy_kg.value = best.buoyancy_kg;
    answer->volume_m3 = best.volume_m3;
    answer->mass_kg = best.mass_kg;
    combine_first_order(weighing, answer);
    if (!monte_carlo(weighing, question, answer)) {
        return false;
    }
    answer->class = question->air_share_known ? class_of(answer, question->confidence)
                                              : class_despite_air(weighing, question, answer);
    return true;
}

double up_trapped_air_bound(double last_gain, double u_gain, double share) {
    return (fmax(last_gain, 0) + u_gain) * (1 - share) / share;
}

double up_lead_to_cancel_kg(double buoyancy_kg, double water_density_kg_m3,
                            double lead_density_kg_m3) {
    return buoyancy_kg / (1 - water_density_kg_m3 / lead_density_kg_m3);
}
