/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Between the trials: is one of them an outlier, and is all decided? The results are looked at only
   after counts of trials that were set before, at a confidence raised for it (weighing.h): who
   looks after every trial spends the risk many times over. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "internal.h"
#include "upthrust/outlier.h"
#include "upthrust/text.h"

/* A trial that lies off by chance is asked about in one session of a hundred. */
static const double OUTLIER_SIGNIFICANCE = 0.01;
enum { OUTLIER_LEAST_TRIALS = 4 };

/* ---- outliers ---- */

static bool find_suspect(const struct up_measurement *measurement, unsigned *suspect) {
    double load[UP_TRIALS_MAX];
    unsigned index[UP_TRIALS_MAX] = {0}, kept = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        if (!measurement->trial[i].left_out) {
            index[kept] = i;
            load[kept++] = measurement->trial[i].load_counts;
        }
    }
    struct up_outlier outlier = up_grubbs(load, kept, OUTLIER_SIGNIFICANCE);
    *suspect = outlier.outlier ? index[outlier.index] : 0;
    return kept >= OUTLIER_LEAST_TRIALS && outlier.outlier;
}

static double others_mean(const struct up_measurement *measurement, unsigned but) {
    double sum = 0;
    unsigned count = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        if (i != but && !measurement->trial[i].left_out) {
            sum += measurement->trial[i].load_counts;
            count++;
        }
    }
    return sum / count;
}

void ask_about_outlier(struct up_procedure *procedure) {
    const struct up_trial *trial = &procedure->measurement.trial[procedure->suspect];
    double off_g = (trial->load_counts - others_mean(&procedure->measurement, procedure->suspect)) /
                   counts_per_kg(procedure) * 1e3;
    char *text = up_text_format("Trial %u is %.1f g %s than the others (Grubbs, 1 %%). Done: "
                                "keep it. Skip: leave it out, only if you know what went wrong",
                                trial->number, fabs(off_g), off_g > 0 ? "heavier" : "lighter");
    ask_saying(procedure, STEP_OUTLIER, text);
    free(text);
}

/* ---- looks ---- */

static bool all_decided(const struct up_measurement *measurement) {
    struct up_result *result = up_allocate(measurement->waters + 1, sizeof *result);
    unsigned results = 0;
    bool decided = up_measurement_results(measurement, result, &results, NULL);
    for (unsigned i = 0; i < results; i++) {
        decided = decided && result[i].answer.class != UP_CLASS_UNDECIDED;
    }
    free(result);
    return decided;
}

static unsigned next_look(const struct up_procedure *procedure) {
    const struct up_measure_plan *plan = &procedure->measure;
    return procedure->looks < plan->looks ? plan->look[procedure->looks] : plan->trials;
}

bool look_at_trials(struct up_procedure *procedure) {
    const struct up_measure_plan *plan = &procedure->measure;
    bool full = procedure->measurement.trials == UP_TRIALS_MAX;
    if (up_measurement_trials(&procedure->measurement) < next_look(procedure) && !full) {
        return true;
    }
    if (procedure->measurement.trials > procedure->asked_outliers &&
        find_suspect(&procedure->measurement, &procedure->suspect)) {
        procedure->asked_outliers = procedure->measurement.trials;
        ask_about_outlier(procedure);
        return false;
    }
    procedure->looks++;
    procedure->decided =
        full || procedure->looks >= plan->looks || all_decided(&procedure->measurement);
    return true;
}

void answer_outlier(struct up_procedure *procedure, enum up_answer_word word) {
    struct up_trial *trial = &procedure->measurement.trial[procedure->suspect];
    if (word == UP_ANSWER_SKIP) {
        trial->left_out = true;
        push_note(procedure, "trial %u stays out of the mean, by the operator's word",
                  trial->number);
    } else {
        push_note(procedure, "trial %u lies off the others and is kept", trial->number);
    }
    if (look_at_trials(procedure)) {
        go_on(procedure);
    }
}
