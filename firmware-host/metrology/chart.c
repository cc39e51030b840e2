/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/chart.h"

#include "metrology/statistics.h"

#define NO_NUMBER ((double)NAN)

static const double RANGE_TO_SD = 1.128; /* d2 of pairs, as printed in the e-Handbook 6.3.2.2 */
static const double LIMIT_SDS = 3;
static const double OWN_SHARE = 0.9545; /* of a normal distribution within 2 sd */

struct up_chart up_chart_of(const struct up_quantity *difference, size_t count) {
    struct up_chart chart = {0, NO_NUMBER, NO_NUMBER, NO_NUMBER, NO_NUMBER, NO_NUMBER, false};
    double sum = 0, ranges = 0, squares = 0, before = 0;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(difference[i].value) || !isfinite(difference[i].u)) {
            continue;
        }
        ranges += chart.count > 0 ? fabs(difference[i].value - before) : 0;
        before = difference[i].value;
        sum += before;
        squares += difference[i].u * difference[i].u;
        chart.count++;
    }
    if (chart.count < 2) {
        return chart;
    }
    double n = (double)chart.count;
    chart.centre = sum / n;
    chart.sd = ranges / (n - 1) / RANGE_TO_SD;
    chart.low = chart.centre - LIMIT_SDS * chart.sd;
    chart.high = chart.centre + LIMIT_SDS * chart.sd;
    chart.typical_u = sqrt(squares / n);
    chart.has_limits = chart.count >= UP_CHART_LEAST && chart.sd > 0;
    return chart;
}

struct up_chart_judgement up_chart_judge(const struct up_chart *chart,
                                         struct up_quantity difference) {
    struct up_chart_judgement judgement = {UP_CHART_UNKNOWN, chart->has_limits, NO_NUMBER,
                                           NO_NUMBER};
    double u = difference.u;
    if (!(isfinite(difference.value) && isfinite(u) && u > 0)) {
        return judgement;
    }
    double centre = 0, half = up_coverage_factor(OWN_SHARE, difference.dof > 0 ? difference.dof
                                                                               : (double)INFINITY) *
                              u;
    if (chart->has_limits) {
        double more = fmax(u * u - chart->typical_u * chart->typical_u, 0);
        centre = chart->centre;
        half = LIMIT_SDS * sqrt(chart->sd * chart->sd + more);
    }
    judgement.low = centre - half;
    judgement.high = centre + half;
    judgement.verdict =
        fabs(difference.value - centre) <= half ? UP_CHART_INSIDE : UP_CHART_OUTSIDE;
    return judgement;
}
