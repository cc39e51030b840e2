/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/early.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "metrology/gsl_errors.h"
#include "metrology/statistics.h"
#include "text/memory.h"

const double up_early_time_s[UP_EARLY_TIMES] = {4, 5, 6, 7, 8, 9, 10, 12, 14};

/* Every so many traces one shapes the scale and the mean, and so takes no part in the rank. */
enum { SHAPES_ONE_IN = 4 };

/* The scale is never narrower than this share of what the traces show at that time, however light
   the step (our choice; the bound holds whatever it is). */
static const double LEAST_SHARE = 0.3;
/* Nor than this: far below what any cell resolves. */
static const double LEAST_KG = 1e-6;

/* Chance may reject a good envelope on one bench of so many. */
static const double REJECTED_BY_CHANCE = 0.01;
enum { AGAINST_LEAST = 2 };

size_t up_conformal_rank(size_t scores, double alpha) {
    /* Rounding must not lift a whole number to the next one. */
    double rank = ceil(((double)scores + 1) * (1 - alpha) - 1e-9);
    bool possible = alpha > 0 && alpha < 1 && rank <= (double)scores;
    return possible ? (size_t)rank : 0;
}

static double scale_kg(const struct up_early_envelope *envelope, size_t time, double step_kg) {
    return hypot(envelope->a_kg[time], envelope->b[time] * step_kg);
}

static double in_scales(const struct up_early_envelope *envelope, size_t time,
                        const struct up_early_trace *trace) {
    return trace->off_kg[time] / scale_kg(envelope, time, trace->step_kg);
}

/* ---- shape ---- */

/* Squares over the steps' squares: a straight line, as far as neither end falls below nothing. */
static void fit_scale(struct up_early_envelope *envelope, size_t time, const double *step2,
                      const double *off2, size_t count) {
    struct up_fit line;
    double mean = up_summarise(off2, count).mean;
    double a2 = mean, b2 = 0;
    if (up_fit_polynomial(step2, off2, count, 2, &line) && line.c[1] > 0) {
        a2 = fmax(line.c[0], 0);
        b2 = line.c[1];
    }
    envelope->a_kg[time] = fmax(fmax(sqrt(a2), LEAST_SHARE * sqrt(mean)), LEAST_KG);
    envelope->b[time] = sqrt(b2);
}

/* By one trace in so many; by all of them with 1. */
static void shape(struct up_early_envelope *envelope, const struct up_early_trace *trace,
                  size_t traces, size_t one_in) {
    UP_FREED double *step2 = up_allocate(traces + 1, sizeof *step2);
    UP_FREED double *off2 = up_allocate(traces + 1, sizeof *off2);
    for (size_t time = 0; time < UP_EARLY_VALUES; time++) {
        size_t count = 0;
        double sum = 0;
        for (size_t i = 0; i < traces; i += one_in) {
            step2[count] = trace[i].step_kg * trace[i].step_kg;
            off2[count++] = trace[i].off_kg[time] * trace[i].off_kg[time];
        }
        fit_scale(envelope, time, step2, off2, count);
        for (size_t i = 0; i < traces; i += one_in) {
            sum += in_scales(envelope, time, &trace[i]);
        }
        envelope->mean[time] = count > 0 ? sum / (double)count : 0;
    }
}

/* ---- bound ---- */

static double largest_off(const struct up_early_envelope *envelope,
                          const struct up_early_trace *trace) {
    double most = 0;
    for (size_t time = 0; time < UP_EARLY_VALUES; time++) {
        most = fmax(most, fabs(in_scales(envelope, time, trace) - envelope->mean[time]));
    }
    return most;
}

static bool bound_by_rank(struct up_early_envelope *envelope, const struct up_early_trace *trace,
                          size_t traces, double alpha) {
    UP_FREED double *score = up_allocate(traces + 1, sizeof *score);
    size_t scores = 0,
           rank = up_conformal_rank(traces - (traces + SHAPES_ONE_IN - 1) / SHAPES_ONE_IN, alpha);
    if (rank == 0) {
        return false;
    }
    shape(envelope, trace, traces, SHAPES_ONE_IN);
    for (size_t i = 0; i < traces; i++) {
        if (i % SHAPES_ONE_IN != 0) {
            score[scores++] = largest_off(envelope, &trace[i]);
        }
    }
    up_sort(score, scores);
    for (size_t time = 0; time < UP_EARLY_VALUES; time++) {
        envelope->bound[time] = score[rank - 1];
    }
    return true;
}

/* The scatter about the common mean, so that what lies between items is in it; the degrees of
   freedom within the items, or where each has few traces those between them. */
static bool bound_by_t(struct up_early_envelope *envelope, const struct up_early_trace *trace,
                       size_t traces, double alpha) {
    double dof = fmax((double)traces - envelope->items, envelope->items - 1.0);
    if (envelope->items < UP_EARLY_ITEMS_LEAST || dof < UP_EARLY_DOF_LEAST) {
        return false;
    }
    up_gsl_answers();
    double n = (double)traces, t = gsl_cdf_tdist_Qinv(alpha / (2 * UP_EARLY_VALUES), dof);
    shape(envelope, trace, traces, 1);
    for (size_t time = 0; time < UP_EARLY_VALUES; time++) {
        double squares = 0;
        for (size_t i = 0; i < traces; i++) {
            squares += pow(in_scales(envelope, time, &trace[i]) - envelope->mean[time], 2);
        }
        envelope->bound[time] = t * sqrt(squares / (n - 1) * (1 + 1 / n));
    }
    return true;
}

static unsigned count_items(const struct up_early_trace *trace, size_t traces) {
    unsigned items = 0;
    for (size_t i = 0; i < traces; i++) {
        bool before = false;
        for (size_t j = 0; j < i && !before; j++) {
            before = trace[j].item == trace[i].item;
        }
        items += !before;
    }
    return items;
}

struct up_early_envelope up_early_learn(const struct up_early_trace *trace, size_t traces,
                                        double alpha) {
    struct up_early_envelope envelope = {.traces = (unsigned)traces};
    if (traces == 0 || !(alpha > 0 && alpha < 1)) {
        return envelope;
    }
    envelope.items = count_items(trace, traces);
    bool spread = envelope.items >= UP_EARLY_ITEMS_LEAST;
    envelope.basis = spread && bound_by_rank(&envelope, trace, traces, alpha) ? UP_EARLY_MANY
                     : bound_by_t(&envelope, trace, traces, alpha)            ? UP_EARLY_FEW
                                                                              : UP_EARLY_NONE;
    return envelope;
}

struct up_early_limit up_early_limit(const struct up_early_envelope *envelope, size_t time,
                                     double step_kg) {
    double scale = scale_kg(envelope, time, step_kg);
    if (envelope->basis == UP_EARLY_NONE) {
        return (struct up_early_limit){0, (double)INFINITY};
    }
    return (struct up_early_limit){envelope->mean[time] * scale, envelope->bound[time] * scale};
}

/* ---- do the present traces bear it out? ---- */

bool up_early_contradicts(const struct up_early_envelope *envelope, double step_kg,
                          const double reading_kg[UP_EARLY_VALUES], size_t times, double full_kg) {
    /* Where the full reading must lie by each of them. */
    double low = isnan(full_kg) ? -(double)INFINITY : full_kg;
    double high = isnan(full_kg) ? (double)INFINITY : full_kg;
    for (size_t value = 0; value < UP_EARLY_VALUES; value++) {
        struct up_early_limit limit = up_early_limit(envelope, value, step_kg);
        double middle = reading_kg[value] - limit.off_kg;
        if (value % UP_EARLY_TIMES < times) {
            low = fmax(low, middle - limit.bound_kg);
            high = fmin(high, middle + limit.bound_kg);
        }
    }
    return low > high;
}

void up_early_note(struct up_early_watch *watch, bool contradicted) {
    watch->seen += watch->seen < UP_EARLY_WATCHED;
    watch->against = watch->against << 1 | contradicted;
}

bool up_early_is_rejected(const struct up_early_watch *watch, double alpha) {
    unsigned against = 0;
    for (unsigned i = 0; i < UP_EARLY_WATCHED; i++) {
        against += watch->against >> i & 1;
    }
    return against >= AGAINST_LEAST &&
           gsl_cdf_binomial_Q(against - 1, alpha, watch->seen) < REJECTED_BY_CHANCE;
}
