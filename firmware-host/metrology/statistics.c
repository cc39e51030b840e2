/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/statistics.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_multifit.h>
#include <gsl/gsl_statistics_double.h>
#include <string.h>

#include "metrology/gsl_errors.h"
#include "text/memory.h"

#define NO_NUMBER ((double)NAN)

enum { FEW = 32 }; /* faster sorted whole than searched for their middle */

struct up_summary up_summarise(const double *value, size_t count) {
    struct up_summary summary = {count, NO_NUMBER, NO_NUMBER, NO_NUMBER};
    if (count > 0) {
        summary.mean = gsl_stats_mean(value, 1, count);
    }
    if (count > 1) {
        summary.sd = gsl_stats_sd_m(value, 1, count, summary.mean);
        summary.lag1 = gsl_stats_lag1_autocorrelation_m(value, 1, count, summary.mean);
    }
    return summary;
}

void up_sort(double *value, size_t count) {
    for (size_t i = 1; i < count; i++) {
        double one = value[i];
        size_t at = i;
        for (; at > 0 && value[at - 1] > one; at--) {
            value[at] = value[at - 1];
        }
        value[at] = one;
    }
}

double up_median(double *value, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (isnan(value[i])) {
            return NO_NUMBER; /* NaN has no place in an order: the selection would pick anything */
        }
    }
    if (count > 0 && count <= FEW) {
        size_t middle = count / 2;
        up_sort(value, count);
        return count % 2 != 0 ? value[middle] : 0.5 * (value[middle - 1] + value[middle]);
    }
    return count == 0 ? NO_NUMBER : gsl_stats_median(value, 1, count);
}

/* ---- least squares ---- */

/* The fit runs in z = (x - centre) / half_width: loads in millions and times since 1970 would
   otherwise lose the digits of a quadratic. */
struct scaling {
    double centre, half_width;
};

struct workspace {
    gsl_matrix *design, *covariance;
    gsl_vector *y, *c, *weight;
    gsl_multifit_linear_workspace *space;
};

static bool is_finite(const double *value, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(value[i])) {
            return false;
        }
    }
    return true;
}

/* A proportional fit must keep its zero, so it is not centred. */
static struct scaling scaling_of(const double *x, size_t count, bool centred) {
    double low = x[0], high = x[0];
    for (size_t i = 1; i < count; i++) {
        low = fmin(low, x[i]);
        high = fmax(high, x[i]);
    }
    double centre = centred ? low / 2 + high / 2 : 0;
    double half_width = fmax(high - centre, centre - low);
    return (struct scaling){centre, half_width > 0 ? half_width : 1};
}

static void release(struct workspace *workspace) {
    gsl_matrix_free(workspace->design);
    gsl_matrix_free(workspace->covariance);
    gsl_vector_free(workspace->y);
    gsl_vector_free(workspace->c);
    gsl_vector_free(workspace->weight);
    gsl_multifit_linear_free(workspace->space);
}

static void prepare(struct workspace *workspace, size_t count, size_t terms) {
    up_gsl_answers();
    workspace->design = gsl_matrix_alloc(count, terms);
    workspace->covariance = gsl_matrix_alloc(terms, terms);
    workspace->y = gsl_vector_alloc(count);
    workspace->c = gsl_vector_alloc(terms);
    workspace->weight = gsl_vector_alloc(count);
    workspace->space = gsl_multifit_linear_alloc(count, terms);
    if (workspace->design == NULL || workspace->covariance == NULL || workspace->y == NULL ||
        workspace->c == NULL || workspace->weight == NULL || workspace->space == NULL) {
        up_out_of_memory();
    }
}

/* In z the smallest singular value of a fit worth having is far above this part of the largest,
   and that of too few different x is rounding noise far below. */
#define LEAST_SINGULAR 1e-12

/* GSL reports success where columns depend on each other; only the rank shows it. */
static bool solve(struct workspace *workspace, const double *x, const double *y,
                  const double *weight, size_t first_power, struct scaling by,
                  double *residual_sum_squares) {
    size_t count = workspace->design->size1, terms = workspace->design->size2, rank = 0;
    for (size_t i = 0; i < count; i++) {
        double z = (x[i] - by.centre) / by.half_width;
        gsl_vector_set(workspace->y, i, y[i]);
        gsl_vector_set(workspace->weight, i, weight != NULL ? weight[i] : 1);
        for (size_t j = 0; j < terms; j++) {
            gsl_matrix_set(workspace->design, i, j, gsl_pow_uint(z, (unsigned)(j + first_power)));
        }
    }
    bool good =
        gsl_multifit_wlinear_tsvd(workspace->design, workspace->weight, workspace->y,
                                  LEAST_SINGULAR, workspace->c, workspace->covariance,
                                  residual_sum_squares, &rank, workspace->space) == GSL_SUCCESS &&
        rank == terms;
    /* That of weights that are the variances' reciprocals themselves. */
    gsl_matrix_scale(workspace->covariance, *residual_sum_squares / (double)(count - terms));
    return good;
}

/* back[p][k]: how much of x^p there is in z^k, by the binomial theorem. */
static void powers_of_z(struct scaling by, double back[UP_FIT_TERMS_MAX][UP_FIT_TERMS_MAX]) {
    memset(back, 0, sizeof(double[UP_FIT_TERMS_MAX][UP_FIT_TERMS_MAX]));
    back[0][0] = 1;
    for (size_t k = 1; k < UP_FIT_TERMS_MAX; k++) {
        for (size_t p = 0; p <= k; p++) {
            double lower = p > 0 ? back[p - 1][k - 1] : 0;
            back[p][k] = (lower - by.centre * back[p][k - 1]) / by.half_width;
        }
    }
}

/* An element of back * covariance in z * back transposed. */
static double covariance_of(const gsl_matrix *in_z, size_t first, const double *back_p,
                            const double *back_q) {
    double sum = 0;
    for (size_t k = 0; k < in_z->size1; k++) {
        for (size_t l = 0; l < in_z->size2; l++) {
            sum += back_p[k + first] * back_q[l + first] * gsl_matrix_get(in_z, k, l);
        }
    }
    return sum;
}

static void transform_back(const struct workspace *workspace, size_t first, struct scaling by,
                           struct up_fit *fit) {
    double back[UP_FIT_TERMS_MAX][UP_FIT_TERMS_MAX];
    powers_of_z(by, back);
    for (size_t p = first; p < fit->terms; p++) {
        for (size_t k = first; k < fit->terms; k++) {
            fit->c[p] += back[p][k] * gsl_vector_get(workspace->c, k - first);
        }
        for (size_t q = first; q < fit->terms; q++) {
            fit->covariance[p][q] = covariance_of(workspace->covariance, first, back[p], back[q]);
        }
    }
}

static bool is_usable(const struct up_fit *fit) {
    for (size_t p = 0; p < UP_FIT_TERMS_MAX; p++) {
        if (!isfinite(fit->c[p]) || !is_finite(fit->covariance[p], UP_FIT_TERMS_MAX)) {
            return false;
        }
    }
    return isfinite(fit->residual_sd);
}

static bool are_weights(const double *weight, size_t count) {
    for (size_t i = 0; weight != NULL && i < count; i++) {
        if (!(weight[i] > 0 && isfinite(weight[i]))) {
            return false;
        }
    }
    return true;
}

bool up_fit_powers(const double *x, const double *y, const double *weight, size_t count,
                   size_t first, size_t terms, struct up_fit *fit) {
    struct workspace workspace = {0};
    *fit = (struct up_fit){.count = count, .terms = first + terms};
    bool good = terms > 0 && terms <= UP_FIT_TERMS_MAX - first && count > terms &&
                is_finite(x, count) && is_finite(y, count) && are_weights(weight, count);
    if (good) {
        struct scaling by = scaling_of(x, count, first == 0);
        prepare(&workspace, count, terms);
        good = solve(&workspace, x, y, weight, first, by, &fit->residual_sum_squares);
        if (good) {
            transform_back(&workspace, first, by, fit);
            fit->dof = (double)(count - terms);
            fit->residual_sd = sqrt(fit->residual_sum_squares / fit->dof);
            good = is_usable(fit);
        }
    }
    release(&workspace);
    if (!good) {
        *fit = (struct up_fit){0};
    }
    return good;
}

bool up_fit_polynomial(const double *x, const double *y, size_t count, size_t terms,
                       struct up_fit *fit) {
    return up_fit_powers(x, y, NULL, count, 0, terms, fit);
}

/* ---- F ---- */

double up_f_of_term(const struct up_fit *narrow, const struct up_fit *wide) {
    double variance = wide->residual_sum_squares / wide->dof;
    double drop = fmax(narrow->residual_sum_squares - wide->residual_sum_squares, 0);
    double rounding = 1e-12 * wide->c[1]; /* an exact fit says nothing about chance */
    return variance > rounding * rounding ? drop / variance : NO_NUMBER;
}

double up_f_limit(double probability, double dof_1, double dof_2) {
    if (!(probability > 0 && probability < 1 && dof_1 > 0 && dof_2 > 0)) {
        return NO_NUMBER;
    }
    up_gsl_answers(); /* below one degree of freedom GSL has no answer, but an error */
    return gsl_cdf_fdist_Pinv(probability, dof_1, dof_2);
}

/* ---- Student t ---- */

/* Below it GSL's inverse does not converge for every probability, and GSL aborts. */
static const double LEAST_DOF = 0.1;

double up_coverage_factor(double probability, double dof) {
    double tail = 0.5 + probability / 2;
    if (!(probability > 0 && probability < 1 && dof >= LEAST_DOF)) {
        return NO_NUMBER;
    }
    up_gsl_answers();
    return isinf(dof) ? gsl_cdf_ugaussian_Pinv(tail) : gsl_cdf_tdist_Pinv(tail, dof);
}

double up_effective_dof(const double *u, const double *dof, size_t count) {
    double variance = 0, weighted = 0;
    for (size_t i = 0; i < count; i++) {
        if (!(u[i] == 0 || dof[i] > 0)) {
            return NO_NUMBER;
        }
        variance += u[i] * u[i];
        weighted += u[i] != 0 && !isinf(dof[i]) ? gsl_pow_4(u[i]) / dof[i] : 0;
    }
    return weighted > 0 ? variance * variance / weighted : (double)INFINITY;
}
