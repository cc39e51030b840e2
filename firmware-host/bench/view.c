/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Questions about a procedure, which change nothing. */
#include "internal.h"

bool up_procedure_is_asking(const struct up_procedure *procedure) {
    return procedure->stage == STAGE_ASKING;
}

bool up_procedure_is_finished(const struct up_procedure *procedure) {
    return procedure->stage == STAGE_FINISHED;
}

const struct up_measurement *up_procedure_measurement(const struct up_procedure *procedure) {
    return procedure->measuring != NULL ? &procedure->measuring->record : NULL;
}

const struct up_loadings *up_procedure_loadings(const struct up_procedure *procedure) {
    return procedure->calibrating != NULL ? &procedure->calibrating->record : NULL;
}

const struct up_quick_progress *up_procedure_quick(const struct up_procedure *procedure) {
    const struct measuring *measuring = procedure->measuring;
    return measuring != NULL && measuring->plan.quick.on ? &measuring->quick.progress : NULL;
}

const struct up_early_watch *up_procedure_watch(const struct up_procedure *procedure) {
    const struct measuring *measuring = procedure->measuring;
    return measuring != NULL && quick_watches(measuring) ? measuring->quick.progress.watch : NULL;
}

const struct up_quick_taught *up_procedure_taught(const struct up_procedure *procedure,
                                                  unsigned *count) {
    const struct measuring *measuring = procedure->measuring;
    *count = measuring != NULL ? measuring->quick.progress.taughts : 0;
    return measuring != NULL ? measuring->quick.taught : NULL;
}

bool up_procedure_results(const struct up_procedure *procedure, struct up_result *result,
                          unsigned *results, struct up_failure *failure) {
    *results = 0;
    if (procedure->measuring != NULL && procedure->measuring->plan.quick.on) {
        return up_measurement_quick_results(&procedure->measuring->record, result, results,
                                            failure);
    }
    return procedure->measuring != NULL
               ? up_measurement_results(&procedure->measuring->record, result, results, failure)
               : up_fail(failure, UP_STATUS_UNABLE, "a calibration gives no results");
}

bool up_procedure_calibration(const struct up_procedure *procedure,
                              struct up_calibration *calibration, struct up_failure *failure) {
    return procedure->calibrating != NULL
               ? up_calibration_fit(&procedure->calibrating->record, calibration, failure)
               : up_fail(failure, UP_STATUS_UNABLE, "a measurement gives no calibration");
}

struct up_progress up_procedure_progress(const struct up_procedure *procedure) {
    const struct measuring *measuring = procedure->measuring;
    const struct calibrating *calibrating = procedure->calibrating;
    return (struct up_progress){
        .done = calibrating != NULL ? calibrating->record.points : measuring->record.trials,
        .wanted = calibrating != NULL ? calibrating->plan.masses : measuring->plan.trials,
        .weighed_in_air = calibrating == NULL && !isnan(measuring->record.air_counts.value),
        .complete =
            procedure->stage == STAGE_FINISHED && !procedure->stopped && !procedure->gave_up,
        .stopped = procedure->stopped};
}

struct up_reading_progress up_procedure_reading(const struct up_procedure *procedure) {
    struct up_reading_progress progress = {.reading = procedure->stage == STAGE_READING,
                                           .unrest = (double)NAN};
    schedule_progress(&procedure->schedule, &procedure->stream, procedure->rig, &progress);
    return progress;
}

struct up_opening up_procedure_opening(const struct up_procedure *procedure) {
    return measuring_opening(procedure->measuring, procedure->stream.now_s);
}

static const struct up_indication *tare_of(const struct up_procedure *procedure) {
    return procedure->calibrating != NULL ? &procedure->calibrating->tare
                                          : &procedure->measuring->tare;
}

double up_procedure_live_load(const struct up_procedure *procedure) {
    const struct up_indication *tare = tare_of(procedure);
    return procedure->stream.load - (tare->known ? tare->load : 0);
}

double up_procedure_noise_floor(const struct up_procedure *procedure) {
    return procedure->stream.filter.noise.floor;
}

struct up_procedure_view up_procedure_view(const struct up_procedure *procedure) {
    const struct measuring *measuring = procedure->measuring;
    return (struct up_procedure_view){
        .rig = procedure->rig,
        .measurement = up_procedure_measurement(procedure),
        .loadings = up_procedure_loadings(procedure),
        .planned = measuring != NULL ? measuring->plan.trials : procedure->calibrating->plan.masses,
        .at_most = measuring != NULL && measuring->plan.analyses > 1,
        .has_tare = tare_of(procedure)->known,
        .overloaded = procedure->overloaded,
        .open_ask = procedure->stage == STAGE_ASKING ? procedure->ask.id : 0,
        .now_s = procedure->stream.now_s};
}
