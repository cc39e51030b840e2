/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Control chart of individual checks: a reference body is weighed at the start of each session, and
 * what was observed minus what is known should lie about zero and keep lying where it lay. Pure
 * functions.
 *
 * Centre line and limits as in the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2
 * (individuals chart; from memory, ISO 7870-2 has the same): mean, and three times the mean moving
 * range over 1.128. The moving range measures the scatter from one session to the next, whatever
 * drift or step the history contains.
 */
#ifndef UPTHRUST_CHART_H
#define UPTHRUST_CHART_H

#include <stdbool.h>
#include <stddef.h>

#include "upthrust/quantity.h"

/* Fewer checks make no limits (a choice of ours: the handbook asks for more where it can). With so
   few the limits are uncertain themselves: a check in control lies outside in some 3 of 100, with
   200 in 0.3 (simulated, tests/metrology/chart_test.c). */
enum { UP_CHART_LEAST = 8 };

struct up_chart {
    size_t count;
    double centre, sd; /* NaN below two checks; sd: mean moving range over 1.128 */
    double low, high;  /* centre -+ 3 sd */
    double typical_u;  /* root mean square of the checks' own u */
    bool has_limits;   /* UP_CHART_LEAST checks, and they do scatter */
};

enum up_chart_verdict {
    UP_CHART_INSIDE,
    UP_CHART_OUTSIDE,
    UP_CHART_UNKNOWN, /* the point's value or u is not a number, or u is not above zero */
};

struct up_chart_judgement {
    enum up_chart_verdict verdict;
    bool by_history; /* else by the point's own u, there being no limits yet */
    double low, high;
};

/* Of past checks, observed minus known, in the order of time. Leave out those that were found
   outside and whose cause is known. Those that are not finite are left out here. */
struct up_chart up_chart_of(const struct up_quantity *difference, size_t count);

/* A new check, not yet part of the chart. With limits: inside them, which are wider where the
   check's own u exceeds the typical one (variances add). Without: within 2 u of zero, |E_n| <= 1 of
   ISO/IEC 17043 (from memory) with expanded uncertainties of coverage factor 2; where the u has few
   degrees of freedom, Student's t for them stands in the place of 2 (0: as many as there are). */
struct up_chart_judgement up_chart_judge(const struct up_chart *chart,
                                         struct up_quantity difference);

#endif
