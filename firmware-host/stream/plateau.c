/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "metrology/statistics.h"
#include "stream/plateau.h"
#include "text/text.h"

enum { LEAST_READINGS = 5 };
static const double SCATTER_FLOORS = 2, RISE_FLOORS = 1.5;

/* ---- one window ---- */

static size_t collect_good(const struct up_reading *reading, size_t count, double *time_s,
                           double *load, struct up_plateau *plateau) {
    size_t good = 0;
    size_t temps = 0;
    double temp_sum = 0;
    for (size_t i = 0; i < count; i++) {
        if (reading[i].verdict != UP_READING_GOOD) {
            plateau->glitches++;
            continue;
        }
        plateau->unstable += reading[i].unstable;
        time_s[good] = reading[i].time_s;
        load[good++] = reading[i].load;
        if (!isnan(reading[i].temp_c)) {
            temp_sum += reading[i].temp_c;
            temps++;
        }
    }
    plateau->readings = (unsigned)good;
    plateau->temp_c = temps > 0 ? temp_sum / (double)temps : (double)NAN;
    return good;
}

/* Standard uncertainty of a mean of correlated readings: n becomes n (1 - r) / (1 + r) for a series
   with lag-1 autocorrelation r. A negative r is not taken as a gain. */
double mean_uncertainty(double sd, double lag1, size_t count) {
    double r = isnan(lag1) ? 0 : fmin(fmax(lag1, 0), 0.95);
    return sd * sqrt((1 + r) / ((1 - r) * (double)count));
}

/* The line took two degrees of freedom. */
enum { PARTS = 4 };

static double u_by_parts(const double *residual, size_t count) {
    double squares = 0;
    for (size_t part = 0; part < PARTS; part++) {
        size_t first = part * count / PARTS, stop = (part + 1) * count / PARTS;
        double mean = up_summarise(residual + first, stop - first).mean;
        squares += mean * mean;
    }
    return sqrt(squares / (PARTS - 2) / PARTS);
}

static bool describe(double *time_s, double *load, size_t good, struct up_plateau *plateau) {
    struct up_fit fit;
    struct up_summary summary;
    double start_s = time_s[0];
    double sum = 0;
    for (size_t i = 0; i < good; i++) {
        time_s[i] -= start_s;
        sum += load[i];
    }
    if (!up_fit_polynomial(time_s, load, good, 2, &fit)) {
        return false;
    }
    plateau->load = sum / (double)good;
    plateau->slope_per_s = fit.c[1];
    plateau->sd = fit.residual_sd;
    for (size_t i = 0; i < good; i++) {
        load[i] -= fit.c[0] + fit.c[1] * time_s[i];
    }
    summary = up_summarise(load, good);
    plateau->lag1 = summary.lag1;
    plateau->u_load = mean_uncertainty(plateau->sd, summary.lag1, good);
    plateau->u_parts = fmin(plateau->u_load, u_by_parts(load, good));
    return true;
}

bool is_settled(struct up_plateau *plateau, double noise_floor, double creep_allowance) {
    double rise = fabs(plateau->slope_per_s) * (plateau->end_s - plateau->start_s);
    double scatter_allowed = SCATTER_FLOORS * noise_floor;
    double rise_allowed = RISE_FLOORS * noise_floor + creep_allowance;
    plateau->unrest = scatter_allowed > 0 ? fmax(plateau->sd / scatter_allowed, rise / rise_allowed)
                                          : (double)NAN;
    /* The device may report instability, but its word for stability is no proof. */
    return 2 * plateau->unstable <= plateau->readings && plateau->sd <= scatter_allowed &&
           rise <= rise_allowed;
}

bool up_plateau_judge(const struct up_reading *reading, size_t count, double noise_floor,
                      double creep_allowance, struct up_plateau *plateau) {
    double *time_s = up_allocate(count + 1, sizeof *time_s);
    double *load = up_allocate(count + 1, sizeof *load);
    bool settled = false;
    memset(plateau, 0, sizeof *plateau);
    plateau->unrest = (double)NAN;
    if (count > 0) {
        size_t good = collect_good(reading, count, time_s, load, plateau);
        plateau->start_s = reading[0].time_s;
        plateau->end_s = reading[count - 1].time_s;
        settled = good >= LEAST_READINGS && describe(time_s, load, good, plateau) &&
                  is_settled(plateau, noise_floor, creep_allowance);
    }
    free(time_s);
    free(load);
    return settled;
}
