/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Propagation of distributions by a Monte Carlo (JCGM 101:2008), in blocks of 10^4 draws, until the
 * digits asked for stand still (7.9): twice the standard deviation of the averages over the blocks
 * of estimate, u, both ends of the interval and the three probabilities. The averages over the
 * blocks are reported, so that only the figures of a block are kept.
 */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_statistics_double.h>

#include "metrology/gsl_errors.h"
#include "text/memory.h"
#include "weighing_internal.h"

enum { BLOCK = 10000, BLOCKS_MOST = 100 };

/* ---- draws ---- */

/* An input that is not known exactly; the others keep their estimate. */
struct active {
    int input;
    enum up_distribution distribution;
    double centre, scale, dof;
};

static int find_active(const struct up_weighing *weighing, struct active active[UP_INPUT_COUNT]) {
    int count = 0;
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        const struct up_term *term = &weighing->term[i];
        if (term->u > 0) {
            struct active here = {i, term->distribution, term->value, term->u, term->dof};
            if (here.distribution == UP_STUDENT && isinf(here.dof)) {
                here.distribution = UP_NORMAL;
            }
            if (here.distribution == UP_RECTANGULAR) { /* from one end over the whole width */
                here.centre -= sqrt(3) * term->u;
                here.scale *= 2 * sqrt(3);
            }
            active[count++] = here;
        }
    }
    return count;
}

static double draw(gsl_rng *rng, const struct active *active) {
    double unit = 0;
    switch (active->distribution) {
    case UP_NORMAL:
        unit = gsl_ran_gaussian_ziggurat(rng, 1);
        break;
    case UP_STUDENT: /* by its definition; gsl_ran_tdist takes three times as long */
        unit =
            gsl_ran_gaussian_ziggurat(rng, 1) / sqrt(gsl_ran_chisq(rng, active->dof) / active->dof);
        break;
    case UP_RECTANGULAR:
        unit = gsl_rng_uniform(rng);
        break;
    }
    return active->centre + active->scale * unit;
}

static void draw_block(const struct up_weighing *weighing, const struct active *active, int actives,
                       gsl_rng *rng, double *buoyancy_kg, size_t draws) {
    double x[UP_INPUT_COUNT];
    struct up_chain chain;
    weighing_estimates(weighing, x);
    for (size_t n = 0; n < draws; n++) {
        for (int i = 0; i < actives; i++) {
            x[active[i].input] = draw(rng, &active[i]);
        }
        weighing_solve(weighing, x, &chain);
        buoyancy_kg[n] = chain.buoyancy_kg;
    }
}

/* ---- the figures of a block ---- */

enum figure {
    FIGURE_MEAN,
    FIGURE_U,
    FIGURE_HALF_WIDTH, /* both ends of an interval about the estimate */
    FIGURE_POSITIVE,
    FIGURE_NEUTRAL,
    FIGURE_NEGATIVE,
    FIGURE_GUARD_LOW,
    FIGURE_GUARD_HIGH,
    FIGURES
};

/* How many draws make up the probability, at least one. */
static size_t index_of(double probability, size_t draws) {
    double index = ceil(probability * (double)draws);
    return index < 1 ? 0 : index > (double)draws ? draws - 1 : (size_t)index - 1;
}

/* The least over all the air that may have stayed. Of neutral that is at one of the ends, as the
   draws have one summit. */
static void count_classes(const double *buoyancy_kg, size_t draws, double tolerance_kg,
                          double stuck_kg, double figure[FIGURES]) {
    size_t above = 0, below = 0, above_at_most = 0, below_at_most = 0;
    for (size_t n = 0; n < draws; n++) {
        above += buoyancy_kg[n] > tolerance_kg;
        below += buoyancy_kg[n] < -tolerance_kg;
        above_at_most += buoyancy_kg[n] - stuck_kg > tolerance_kg;
        below_at_most += buoyancy_kg[n] - stuck_kg < -tolerance_kg;
    }
    size_t outside = above + below, outside_at_most = above_at_most + below_at_most;
    figure[FIGURE_POSITIVE] = (double)above_at_most / (double)draws;
    figure[FIGURE_NEGATIVE] = (double)below / (double)draws;
    figure[FIGURE_NEUTRAL] =
        (double)(draws - (outside > outside_at_most ? outside : outside_at_most)) / (double)draws;
}

/* The draws become their distances from the estimate. False where one is not finite. */
static bool read_moments(double *buoyancy_kg, size_t draws, double centre_kg,
                         double figure[FIGURES]) {
    double sum = 0, squares = 0;
    for (size_t n = 0; n < draws; n++) {
        double off = buoyancy_kg[n] -= centre_kg;
        sum += off;
        squares += off * off;
    }
    figure[FIGURE_MEAN] = centre_kg + sum / (double)draws;
    figure[FIGURE_U] =
        draws > 1 ? sqrt(fmax(0, squares - sum * sum / (double)draws) / (double)(draws - 1)) : 0;
    return isfinite(squares) != 0;
}

static bool read_block(double *buoyancy_kg, size_t draws, const struct up_question *question,
                       const struct up_answer *answer, double figure[FIGURES]) {
    double confidence = up_confidence_at_analysis(question);
    count_classes(buoyancy_kg, draws, question->tolerance_kg, fmax(answer->stuck_air_kg, 0),
                  figure);
    if (!read_moments(buoyancy_kg, draws, answer->buoyancy_kg.value, figure)) {
        return false;
    }
    size_t high = index_of(confidence, draws);
    figure[FIGURE_GUARD_HIGH] = gsl_stats_select(buoyancy_kg, 1, draws, high);
    figure[FIGURE_GUARD_LOW] = -gsl_stats_select(buoyancy_kg, 1, draws, draws - 1 - high);
    for (size_t n = 0; n < draws; n++) {
        buoyancy_kg[n] = fabs(buoyancy_kg[n]);
    }
    figure[FIGURE_HALF_WIDTH] =
        gsl_stats_select(buoyancy_kg, 1, draws, index_of(question->coverage, draws));
    return true;
}

/* ---- until it stands still ---- */

struct blocks {
    double mean[FIGURES], squares[FIGURES]; /* of the figures, weighted by draws (Welford) */
    double draws;
    unsigned count;
};

static void add_block(struct blocks *blocks, const double figure[FIGURES], size_t draws) {
    blocks->draws += (double)draws;
    blocks->count++;
    for (int i = 0; i < FIGURES; i++) {
        double off = figure[i] - blocks->mean[i];
        blocks->mean[i] += off * (double)draws / blocks->draws;
        blocks->squares[i] += off * (figure[i] - blocks->mean[i]);
    }
}

static bool is_stable(const struct blocks *blocks, enum figure figure, double tolerance) {
    double h = blocks->count;
    return h >= 2 && 2 * sqrt(blocks->squares[figure] / (h * (h - 1))) <= tolerance;
}

/* Half a unit of the last digit that u is stated with (JCGM 101 7.9.2). */
static double numerical_tolerance(double u, unsigned digits) {
    double last = (digits == 1 ? 0 : 1);
    return u > 0 ? 0.5 * pow(10, floor(log10(u)) - last) : 0;
}

/* Student's t has a variance above 2 dof only, and above 4 one that blocks can agree about. */
static double least_dof(const struct active *active, int actives) {
    double least = (double)INFINITY;
    for (int i = 0; i < actives; i++) {
        if (active[i].distribution == UP_STUDENT) {
            least = fmin(least, active[i].dof);
        }
    }
    return least;
}

static bool all_stable(const struct blocks *blocks, const struct up_question *question,
                       double tolerance_kg, double dof) {
    double beyond = 1 - up_confidence_at_analysis(question);
    double tolerance = fmin(0.005, beyond / 10);
    return (dof <= 2 || is_stable(blocks, FIGURE_MEAN, tolerance_kg)) &&
           (dof <= 4 || is_stable(blocks, FIGURE_U, tolerance_kg)) &&
           is_stable(blocks, FIGURE_HALF_WIDTH, tolerance_kg) &&
           is_stable(blocks, FIGURE_POSITIVE, tolerance) &&
           is_stable(blocks, FIGURE_NEUTRAL, tolerance) &&
           is_stable(blocks, FIGURE_NEGATIVE, tolerance);
}

static void set_answer(const struct blocks *blocks, double dof, struct up_answer *answer) {
    const double *mean = blocks->mean;
    answer->draws = (unsigned)blocks->draws;
    answer->draws_mean_kg = dof > 2 ? mean[FIGURE_MEAN] : (double)NAN;
    answer->draws_u_kg = dof > 2 ? mean[FIGURE_U] : (double)NAN;
    answer->expanded_u_kg = mean[FIGURE_HALF_WIDTH];
    answer->guard_low_kg = mean[FIGURE_GUARD_LOW] + fmax(answer->stuck_air_kg, 0);
    answer->guard_high_kg = mean[FIGURE_GUARD_HIGH];
    answer->probability_positive = mean[FIGURE_POSITIVE];
    answer->probability_neutral = mean[FIGURE_NEUTRAL];
    answer->probability_negative = mean[FIGURE_NEGATIVE];
    answer->first_order_agrees = fabs(answer->first_order_expanded_u_kg - answer->expanded_u_kg) <=
                                 answer->numerical_tolerance_kg;
}

bool weighing_draw(const struct up_weighing *weighing, const struct up_question *question,
                   struct up_answer *answer) {
    double buoyancy_kg[BLOCK], figure[FIGURES];
    struct active active[UP_INPUT_COUNT];
    struct blocks blocks = {0};
    size_t remaining = question->draws > 0 ? question->draws : (size_t)BLOCK * BLOCKS_MOST;
    int actives = find_active(weighing, active);
    double dof = least_dof(active, actives);
    bool good = true;
    up_gsl_answers();
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    if (rng == NULL) {
        up_out_of_memory();
    }
    gsl_rng_set(rng, question->seed);
    answer->numerical_tolerance_kg = numerical_tolerance(answer->buoyancy_kg.u, question->digits);
    answer->stable = false;
    while (remaining > 0 && good && !(answer->stable && question->draws == 0)) {
        size_t draws = remaining < BLOCK ? remaining : BLOCK;
        draw_block(weighing, active, actives, rng, buoyancy_kg, draws);
        good = read_block(buoyancy_kg, draws, question, answer, figure);
        add_block(&blocks, figure, draws);
        answer->stable = all_stable(&blocks, question, answer->numerical_tolerance_kg, dof);
        remaining -= draws;
    }
    gsl_rng_free(rng);
    set_answer(&blocks, dof, answer);
    return good;
}
