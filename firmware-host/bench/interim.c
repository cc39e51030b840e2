/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "interim.h"

#include <math.h>
#include <stdlib.h>

#include "metrology/outlier.h"
#include "text/text.h"

/* A trial that lies off by chance is asked about in one session of a hundred. */
static const double OUTLIER_SIGNIFICANCE = 0.01;
/* One that is off by less changes no diver's lead: it is not worth the question. */
static const double OUTLIER_MATTERS_KG = 0.0005;
enum { OUTLIER_LEAST_TRIALS = 4 };

static bool find_suspect(const struct up_measurement *record, unsigned *suspect) {
    double load[UP_TRIALS_MAX];
    unsigned index[UP_TRIALS_MAX] = {0}, kept = 0;
    for (unsigned i = 0; i < record->trials; i++) {
        if (!record->trial[i].left_out) {
            index[kept] = i;
            load[kept++] = record->trial[i].load_counts;
        }
    }
    struct up_outlier outlier = up_grubbs(load, kept, OUTLIER_SIGNIFICANCE);
    *suspect = outlier.outlier ? index[outlier.index] : 0;
    return kept >= OUTLIER_LEAST_TRIALS && outlier.outlier;
}

double interim_suspect_off_kg(const struct interim *interim, const struct up_measurement *record) {
    double sum = 0;
    unsigned count = 0;
    for (unsigned i = 0; i < record->trials; i++) {
        if (i != interim->suspect && !record->trial[i].left_out) {
            sum += record->trial[i].load_counts;
            count++;
        }
    }
    return (record->trial[interim->suspect].load_counts - sum / count) /
           record->calibration.slope_counts_per_kg;
}

static bool all_decided(const struct up_measurement *record) {
    struct up_result *result = up_allocate(record->waters + 1, sizeof *result);
    unsigned results = 0;
    bool decided = up_measurement_results(record, result, &results, NULL);
    for (unsigned i = 0; i < results; i++) {
        decided = decided && result[i].answer.class != UP_CLASS_UNDECIDED;
    }
    free(result);
    return decided;
}

enum interim_verdict interim_analyse(struct interim *interim, const struct up_measurement *record,
                                     const struct up_measure_plan *plan) {
    bool full = record->trials == UP_TRIALS_MAX;
    unsigned due = interim->analyses < plan->looks ? plan->look[interim->analyses] : plan->trials;
    if (up_measurement_trials(record) < due && !full) {
        return INTERIM_MORE_TRIALS;
    }
    if (record->trials > interim->asked_for && find_suspect(record, &interim->suspect) &&
        fabs(interim_suspect_off_kg(interim, record)) >= OUTLIER_MATTERS_KG) {
        interim->asked_for = record->trials;
        return INTERIM_OUTLIER;
    }
    interim->analyses++;
    return full || interim->analyses >= plan->looks || all_decided(record) ? INTERIM_ENOUGH
                                                                           : INTERIM_MORE_TRIALS;
}
