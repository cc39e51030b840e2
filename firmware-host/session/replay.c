/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stored run once more, from what it recorded. */
#include <string.h>

#include "internal.h"
#include "text/text.h"

/* ---- measure ---- */

bool up_replay_measure(struct up_catalogue *catalogue, const char *id, bool to_store,
                       struct up_session_results *results, struct up_failure *failure) {
    UP_FREED struct stored_run *run = up_allocate(1, sizeof *run);
    struct up_procedure *procedure = NULL;
    struct up_reader reader;
    bool good = stored_run_open(run, catalogue, id, false, failure) &&
                up_run_check_files(catalogue, &run->files, to_store, failure);
    if (good) {
        results->item = run->measure.item;
        results->waters = run->measure.waters;
        snprintf(results->bench, sizeof results->bench, "%s", run->rig.id);
        snprintf(results->run_id, sizeof results->run_id, "%s", run->files.id);
        good = up_procedure_measure(&run->measure, &procedure, failure) &&
               stored_run_repeat(run, procedure, NULL, NULL, &reader, failure) &&
               up_procedure_results(procedure, results->result, &results->results, failure);
    }
    up_procedure_destroy(procedure);
    stored_run_free(run);
    return good;
}

/* ---- calibrate ---- */

bool up_replay_calibrate(struct up_catalogue *catalogue, const char *id,
                         struct up_calibration *calibration, struct up_failure *failure) {
    UP_FREED struct stored_run *run = up_allocate(1, sizeof *run);
    struct up_procedure *procedure = NULL;
    struct up_reader reader;
    bool good = stored_run_open(run, catalogue, id, true, failure) &&
                up_run_check_files(catalogue, &run->files, false, failure) &&
                up_procedure_calibrate(&run->calibrate, &procedure, failure) &&
                stored_run_repeat(run, procedure, NULL, NULL, &reader, failure) &&
                up_procedure_calibration(procedure, calibration, failure);
    up_procedure_destroy(procedure);
    stored_run_free(run);
    return good;
}

/* ---- is it the same? ---- */

struct comparing {
    const struct up_session_results *results;
    unsigned stored;
    bool own; /* those of here: where there are such, the others are not asked */
    double off_g[UP_WATERS_MAX + 1]; /* from the stored result next to it; NaN: none */
};

/* What is not known stays so. */
static double apart(double a, double b) {
    return a == b || (isnan(a) && isnan(b)) ? 0 : fabs(a - b);
}

/* The net, its u and the interval, which comes from draws that are the same each time, or has an
   upper end only. */
static double distance_g(const json_t *content, const struct up_result *result) {
    const struct up_answer *answer = &result->answer;
    double at_most_g = result->quick.at_most ? result->quick.high_kg * 1e3 : (double)NAN;
    return fabs(up_record_number(content, "buoyancy_g") - answer->buoyancy_kg.value * 1e3) +
           fabs(up_record_number(content, "u_buoyancy_g") - answer->buoyancy_kg.u * 1e3) +
           apart(up_record_number(content, "expanded_u_g"), answer->expanded_u_kg * 1e3) +
           apart(up_record_number(content, "at_most_g"), at_most_g);
}

static void begin_comparing(struct comparing *comparing, const struct up_session_results *results) {
    *comparing = (struct comparing){.results = results};
    for (unsigned i = 0; i < results->results; i++) {
        comparing->off_g[i] = (double)NAN;
    }
}

/* A run may have more results than it gave: of a replay that was stored, of a water that was asked
   for later and may have the name of another. */
static bool compare(const struct up_record *record, void *context) {
    struct comparing *comparing = context;
    const struct up_session_results *results = comparing->results;
    if (strcmp(up_record_text(record->content, "run_id"), results->run_id) != 0 ||
        (record->elsewhere && comparing->own)) {
        return true;
    }
    if (!record->elsewhere && !comparing->own) {
        begin_comparing(comparing, results);
        comparing->own = true;
    }
    comparing->stored++;
    for (unsigned i = 0; i < results->results; i++) {
        const struct up_result *result = &results->result[i];
        if (strcmp(up_record_text(record->content, "water"), result->water.name) == 0) {
            comparing->off_g[i] = fmin(comparing->off_g[i], distance_g(record->content, result));
        }
    }
    return true;
}

bool up_replay_compare(struct up_catalogue *catalogue, const struct up_session_results *results,
                       struct up_replay_comparison *comparison, struct up_failure *failure) {
    struct comparing comparing;
    begin_comparing(&comparing, results);
    if (!up_catalogue_each(catalogue, "result", compare, &comparing, failure)) {
        return false;
    }
    *comparison = (struct up_replay_comparison){.stored = comparing.stored, .complete = true};
    for (unsigned i = 0; i < results->results; i++) {
        comparison->complete = comparison->complete && !isnan(comparing.off_g[i]);
        comparison->worst_g = fmax(comparison->worst_g, comparing.off_g[i]);
    }
    return true;
}
