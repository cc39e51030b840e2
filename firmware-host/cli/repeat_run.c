/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure and calibrate --replay: a stored run once more, from what it recorded. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "kept_run.h"
#include "upthrust/text.h"

/* ---- measure ---- */

bool repeat_measure(struct up_catalogue *catalogue, const char *id, struct repeated *repeated,
                    struct up_failure *failure) {
    struct kept_run *run = up_allocate(1, sizeof *run);
    struct up_procedure *procedure = NULL;
    struct up_reader reader;
    bool good = kept_run_open(run, catalogue, id, false, failure);
    if (good) {
        repeated->item = run->measure.item;
        repeated->waters = run->measure.waters;
        snprintf(repeated->bench, sizeof repeated->bench, "%s", run->rig.id);
        snprintf(repeated->run_id, sizeof repeated->run_id, "%s", run->left.id);
        good = up_procedure_measure(&run->measure, &procedure, failure) &&
               kept_run_repeat(run, procedure, NULL, NULL, &reader, failure) &&
               up_procedure_results(procedure, repeated->result, &repeated->results, failure);
    }
    up_procedure_destroy(procedure);
    kept_run_free(run);
    free(run);
    return good;
}

/* ---- calibrate ---- */

bool repeat_calibrate(struct up_catalogue *catalogue, const char *id,
                      struct up_calibration *calibration, struct up_failure *failure) {
    struct kept_run *run = up_allocate(1, sizeof *run);
    struct up_procedure *procedure = NULL;
    struct up_reader reader;
    bool good = kept_run_open(run, catalogue, id, true, failure) &&
                up_procedure_calibrate(&run->calibrate, &procedure, failure) &&
                kept_run_repeat(run, procedure, NULL, NULL, &reader, failure) &&
                up_procedure_calibration(procedure, calibration, failure);
    up_procedure_destroy(procedure);
    kept_run_free(run);
    free(run);
    return good;
}

/* ---- is it the same? ---- */

static double number_of(const json_t *entry, const char *name) {
    const json_t *value = json_object_get(entry, name);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

struct comparison {
    const struct repeated *repeated;
    unsigned stored, same;
    double worst_g;
};

static const char *text_of(const json_t *body, const char *name) {
    const char *text = json_string_value(json_object_get(body, name));
    return text != NULL ? text : "";
}

static bool compare(const struct up_record *record, void *context) {
    struct comparison *comparison = context;
    const struct repeated *repeated = comparison->repeated;
    if (strcmp(text_of(record->body, "run_id"), repeated->run_id) != 0) {
        return true;
    }
    comparison->stored++;
    for (unsigned i = 0; i < repeated->results; i++) {
        const struct up_result *result = &repeated->result[i];
        double off_g =
            fabs(number_of(record->body, "buoyancy_g") - result->answer.buoyancy_kg.value * 1e3) +
            fabs(number_of(record->body, "u_buoyancy_g") - result->answer.buoyancy_kg.u * 1e3);
        if (strcmp(text_of(record->body, "water"), result->water.name) == 0) {
            comparison->worst_g = fmax(comparison->worst_g, off_g);
            comparison->same++;
        }
    }
    return true;
}

bool tell_sameness(struct up_catalogue *catalogue, const struct repeated *repeated, FILE *stream,
                   struct up_failure *failure) {
    struct comparison comparison = {.repeated = repeated};
    if (!up_catalogue_each(catalogue, "result", compare, &comparison, failure)) {
        return false;
    }
    if (comparison.stored == 0) {
        fprintf(stream, "run %s had stored no results\n", repeated->run_id);
    } else if (comparison.same == repeated->results && comparison.worst_g <= 1e-9) {
        fprintf(stream, "the same as run %s stored: %u results, to 1e-9 g\n", repeated->run_id,
                comparison.same);
    } else {
        fprintf(stream,
                "run %s stored other numbers, by up to %.3g g: this version calculates otherwise\n",
                repeated->run_id, comparison.worst_g);
    }
    return true;
}
