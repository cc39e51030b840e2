/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "interim.h"

#include <stdlib.h>

#include "metrology/outlier.h"
#include "text/text.h"

/* A trial that lies off by chance raises a question in one session of a hundred. */
static const double OUTLIER_SIGNIFICANCE = 0.01;
/* One that is off by less would not change a diver's lead, so no question is asked. */
static const double OUTLIER_MATTERS_KG = 0.0005;
enum { OUTLIER_LEAST_TRIALS = 4 };

/* A trial holds two rounded readings: trials that agree are up to two divisions apart. */
static const double APART_DIVISIONS = 2.5;

/* Two that lie off together widen the scatter by which they are judged and hide each other; the
   generalised test looks without the first. Of few trials the second test would find two by chance
   (simulated: at 6 trials one more question in 250 sessions, and 27 % of the pairs that are off by
   ten standard deviations are found; 77 % at 8, 96 % at 10). */
static const double PAIR_SIGNIFICANCE = 0.005;
enum { PAIR_LEAST_TRIALS = 6 };

static void find_suspects(struct interim *interim, const struct up_measurement *record) {
    double load[UP_TRIALS_MAX] = {0}, scratch[UP_TRIALS_MAX];
    struct up_outlier pair[INTERIM_SUSPECTS_MAX];
    unsigned index[UP_TRIALS_MAX] = {0}, kept = 0;
    for (unsigned i = 0; i < record->trials; i++) {
        if (!record->trial[i].left_out) {
            index[kept] = i;
            load[kept++] = record->trial[i].load_counts;
        }
    }
    struct up_outlier one = up_grubbs(load, kept, OUTLIER_SIGNIFICANCE);
    interim->suspects = kept >= OUTLIER_LEAST_TRIALS && one.outlier ? 1 : 0;
    interim->suspect[0] = interim->suspects > 0 ? index[one.index] : 0;
    if (kept >= PAIR_LEAST_TRIALS &&
        up_rosner(load, kept, INTERIM_SUSPECTS_MAX, PAIR_SIGNIFICANCE, scratch, pair) == 2) {
        interim->suspects = 2;
        interim->suspect[0] = index[pair[0].index];
        interim->suspect[1] = index[pair[1].index];
    }
}

static bool is_suspect(const struct interim *interim, unsigned index) {
    bool is = false;
    for (unsigned i = 0; i < interim->suspects; i++) {
        is = is || interim->suspect[i] == index;
    }
    return is;
}

double interim_suspect_off_kg(const struct interim *interim, const struct up_measurement *record,
                              unsigned which) {
    double sum = 0;
    unsigned count = 0;
    for (unsigned i = 0; i < record->trials; i++) {
        if (!is_suspect(interim, i) && !record->trial[i].left_out) {
            sum += record->trial[i].load_counts;
            count++;
        }
    }
    return (record->trial[interim->suspect[which]].load_counts - sum / count) /
           record->calibration.slope_counts_per_kg;
}

double interim_apart_by_rounding(const struct up_measurement *record) {
    return APART_DIVISIONS * record->rig.division_counts;
}

static bool matters(const struct interim *interim, const struct up_measurement *record,
                    unsigned which) {
    double rounding_kg =
        interim_apart_by_rounding(record) / fabs(record->calibration.slope_counts_per_kg);
    return fabs(interim_suspect_off_kg(interim, record, which)) >=
           fmax(OUTLIER_MATTERS_KG, rounding_kg);
}

/* Of a pair the second one is dropped where it alone does not matter. */
static bool is_worth_a_question(struct interim *interim, const struct up_measurement *record) {
    if (interim->suspects == 2 && !matters(interim, record, 1)) {
        interim->suspects = 1;
    }
    return interim->suspects > 0 && matters(interim, record, 0);
}

static bool all_decided(const struct up_measurement *record) {
    UP_FREED struct up_result *result = up_allocate(record->waters + 1, sizeof *result);
    unsigned results = 0;
    bool decided = up_measurement_results(record, result, &results, NULL);
    for (unsigned i = 0; i < results; i++) {
        decided = decided && result[i].answer.class != UP_CLASS_UNDECIDED;
    }
    return decided;
}

enum interim_verdict interim_analyse(struct interim *interim, const struct up_measurement *record,
                                     const struct up_measure_plan *plan) {
    bool full = record->trials == UP_TRIALS_MAX;
    unsigned due =
        interim->analyses < plan->analyses ? plan->analysis_at[interim->analyses] : plan->trials;
    if (up_measurement_trials(record) < due && !full) {
        return INTERIM_MORE_TRIALS;
    }
    find_suspects(interim, record);
    if (record->trials > interim->asked_for && is_worth_a_question(interim, record)) {
        interim->asked_for = record->trials;
        return INTERIM_OUTLIER;
    }
    interim->analyses++;
    return full || interim->analyses >= plan->analyses || all_decided(record) ? INTERIM_ENOUGH
                                                                              : INTERIM_MORE_TRIALS;
}
