/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure and calibrate --replay: a stored run once more, from what it recorded. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "stored_run.h"
#include "upthrust/text.h"

/* ---- measure ---- */

bool repeat_measure(struct up_catalogue *catalogue, const char *id, struct repeated *repeated,
                    struct up_failure *failure) {
    struct stored_run *run = up_allocate(1, sizeof *run);
    struct up_procedure *procedure = NULL;
    struct up_reader reader;
    bool good = stored_run_open(run, catalogue, id, false, failure);
    if (good) {
        repeated->item = run->measure.item;
        repeated->waters = run->measure.waters;
        snprintf(repeated->bench, sizeof repeated->bench, "%s", run->rig.id);
        snprintf(repeated->run_id, sizeof repeated->run_id, "%s", run->left.id);
        good = up_procedure_measure(&run->measure, &procedure, failure) &&
               stored_run_repeat(run, procedure, NULL, NULL, &reader, failure) &&
               up_procedure_results(procedure, repeated->result, &repeated->results, failure);
    }
    up_procedure_destroy(procedure);
    stored_run_free(run);
    free(run);
    return good;
}

/* ---- calibrate ---- */

bool repeat_calibrate(struct up_catalogue *catalogue, const char *id,
                      struct up_calibration *calibration, struct up_failure *failure) {
    struct stored_run *run = up_allocate(1, sizeof *run);
    struct up_procedure *procedure = NULL;
    struct up_reader reader;
    bool good = stored_run_open(run, catalogue, id, true, failure) &&
                up_procedure_calibrate(&run->calibrate, &procedure, failure) &&
                stored_run_repeat(run, procedure, NULL, NULL, &reader, failure) &&
                up_procedure_calibration(procedure, calibration, failure);
    up_procedure_destroy(procedure);
    stored_run_free(run);
    free(run);
    return good;
}

/* ---- is it the same? ---- */

struct comparison {
    const struct repeated *repeated;
    unsigned stored;
    double off_g[WATERS_MAX + 1]; /* of each result from the stored one next to it; NaN: none */
};

/* The net, its u and the interval, which comes from draws that are the same each time. */
static double distance_g(const json_t *body, const struct up_answer *answer) {
    return fabs(up_record_number(body, "buoyancy_g") - answer->buoyancy_kg.value * 1e3) +
           fabs(up_record_number(body, "u_buoyancy_g") - answer->buoyancy_kg.u * 1e3) +
           fabs(up_record_number(body, "expanded_u_g") - answer->expanded_u_kg * 1e3);
}

/* A run may have more results than it gave: of a replay that was stored, of a water that was asked
   for later and may have the name of another. */
static bool compare(const struct up_record *record, void *context) {
    struct comparison *comparison = context;
    const struct repeated *repeated = comparison->repeated;
    if (strcmp(up_record_text(record->body, "run_id"), repeated->run_id) != 0) {
        return true;
    }
    comparison->stored++;
    for (unsigned i = 0; i < repeated->results; i++) {
        const struct up_result *result = &repeated->result[i];
        if (strcmp(up_record_text(record->body, "water"), result->water.name) == 0) {
            comparison->off_g[i] =
                fmin(comparison->off_g[i], distance_g(record->body, &result->answer));
        }
    }
    return true;
}

bool tell_sameness(struct up_catalogue *catalogue, const struct repeated *repeated, FILE *stream,
                   struct up_failure *failure) {
    struct comparison comparison = {.repeated = repeated};
    double worst_g = 0;
    bool all = true;
    for (unsigned i = 0; i < repeated->results; i++) {
        comparison.off_g[i] = (double)NAN;
    }
    if (!up_catalogue_each(catalogue, "result", compare, &comparison, failure)) {
        return false;
    }
    for (unsigned i = 0; i < repeated->results; i++) {
        all = all && !isnan(comparison.off_g[i]);
        worst_g = fmax(worst_g, comparison.off_g[i]);
    }
    if (comparison.stored == 0) {
        fprintf(stream, "run %s had stored no results\n", repeated->run_id);
    } else if (all && worst_g <= 1e-9) {
        fprintf(stream, "the same as run %s stored: %u results, to 1e-9 g\n", repeated->run_id,
                repeated->results);
    } else {
        fprintf(stream,
                "run %s stored other numbers, by up to %.3g g: this version calculates otherwise\n",
                repeated->run_id, worst_g);
    }
    return true;
}
