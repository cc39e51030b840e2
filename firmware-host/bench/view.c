/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "internal.h"

struct up_procedure_view up_procedure_view(const struct up_procedure *procedure) {
    bool calibrating = procedure->calibrating;
    return (struct up_procedure_view){
        .rig = procedure->rig,
        .measurement = up_procedure_measurement(procedure),
        .loadings = up_procedure_loadings(procedure),
        .planned = calibrating ? procedure->calibrate.masses : procedure->measure.trials,
        .at_most = !calibrating && procedure->measure.looks > 1,
        .has_tare = procedure->tare.known,
        .overloaded = procedure->overloaded,
        .open_ask = procedure->stage == STAGE_ASKING ? procedure->ask.id : 0,
        .now_s = procedure->now_s};
}
