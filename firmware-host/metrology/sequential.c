/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/sequential.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_roots.h>

#include "metrology/gsl_errors.h"
#include "text/memory.h"

#define NO_NUMBER ((double)NAN)

/* As good as 400 nodes in the first six decimals, for ten looks. A sum so many standard deviations
   below nothing does not come about. */
enum { NODES = 48 };
static const double DEEPEST = 8;

/* The sum of equal steps with variance one, where no look has ended it: nodes and the probability
   that lies at each. */
struct going_on {
    double at[NODES], probability[NODES];
};

struct design {
    unsigned analyses;
    double alpha;
    bool two_sided;
    const gsl_integration_glfixed_table *table;
};

static double low_end(const struct design *design, unsigned look, double bound) {
    return -(design->two_sided ? bound : DEEPEST) * sqrt(look);
}

/* From one look to the next; `before` is NULL for the first. */
static void go_on(const struct design *design, unsigned look, double bound,
                  const struct going_on *before, struct going_on *after) {
    double low = low_end(design, look, bound), high = bound * sqrt(look);
    for (size_t i = 0; i < NODES; i++) {
        double weight = 0, density = 0;
        gsl_integration_glfixed_point(low, high, i, &after->at[i], &weight, design->table);
        for (size_t j = 0; before != NULL && j < NODES; j++) {
            density += before->probability[j] * gsl_ran_ugaussian_pdf(after->at[i] - before->at[j]);
        }
        after->probability[i] =
            weight * (before != NULL ? density : gsl_ran_ugaussian_pdf(after->at[i]));
    }
}

/* That this look ends it. */
static double ends(const struct design *design, unsigned look, double bound,
                   const struct going_on *before) {
    double high = bound * sqrt(look), sum = 0;
    if (before == NULL) {
        return gsl_cdf_ugaussian_Q(high) * (design->two_sided ? 2 : 1);
    }
    for (size_t i = 0; i < NODES; i++) {
        double out = gsl_cdf_ugaussian_Q(high - before->at[i]);
        out += design->two_sided ? gsl_cdf_ugaussian_P(-high - before->at[i]) : 0;
        sum += before->probability[i] * out;
    }
    return sum;
}

static double risk_beyond_alpha(double bound, void *context) {
    const struct design *design = context;
    struct going_on sum[2];
    double risk = ends(design, 1, bound, NULL);
    go_on(design, 1, bound, NULL, &sum[1]);
    for (unsigned look = 2; look <= design->analyses; look++) {
        risk += ends(design, look, bound, &sum[(look - 1) % 2]);
        if (look < design->analyses) {
            go_on(design, look, bound, &sum[(look - 1) % 2], &sum[look % 2]);
        }
    }
    return risk - design->alpha;
}

/* Between the bound of a single look and that of looks whose risks add up. */
static double find_bound(struct design *design, double low, double high) {
    gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
    if (solver == NULL) {
        up_out_of_memory();
    }
    gsl_function function = {risk_beyond_alpha, design};
    bool bracketed = gsl_root_fsolver_set(solver, &function, low, high) == 0;
    for (int i = 0; bracketed && i < 60 && high - low > 1e-9; i++) {
        gsl_root_fsolver_iterate(solver);
        low = gsl_root_fsolver_x_lower(solver);
        high = gsl_root_fsolver_x_upper(solver);
    }
    double bound = bracketed ? gsl_root_fsolver_root(solver) : NO_NUMBER;
    gsl_root_fsolver_free(solver);
    return bound;
}

double up_pocock_bound(unsigned analyses, double alpha, bool two_sided) {
    if (analyses < 1 || analyses > UP_SEQUENTIAL_LOOKS_MAX || !(alpha > 0 && alpha < 0.5)) {
        return NO_NUMBER;
    }
    up_gsl_answers();
    double tail = two_sided ? alpha / 2 : alpha;
    double single = gsl_cdf_ugaussian_Qinv(tail);
    if (analyses == 1) {
        return single;
    }
    gsl_integration_glfixed_table *table = gsl_integration_glfixed_table_alloc(NODES);
    if (table == NULL) {
        up_out_of_memory();
    }
    struct design design = {analyses, alpha, two_sided, table};
    double bound = find_bound(&design, single, gsl_cdf_ugaussian_Qinv(tail / analyses) + 0.01);
    gsl_integration_glfixed_table_free(table);
    return bound;
}

double up_bound_by_level(double bound, double dof) {
    if (!isfinite(bound) || !(dof >= 0.1)) {
        return NO_NUMBER;
    }
    up_gsl_answers();
    return isinf(dof) ? bound : gsl_cdf_tdist_Qinv(gsl_cdf_ugaussian_Q(bound), dof);
}

struct up_repeated_interval up_repeat_interval(struct up_quantity estimate, double bound,
                                               double too_high, double too_low) {
    double reach = up_bound_by_level(bound, estimate.dof) * estimate.u;
    return (struct up_repeated_interval){estimate.value - reach - too_high,
                                         estimate.value + reach + too_low};
}
