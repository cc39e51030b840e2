/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "internal.h"

struct up_procedure_view up_procedure_view(const struct up_procedure *procedure) {
    bool calibrating = procedure->calibrating;
    return (struct up_procedure_view){
        .calibrating = calibrating,
        .overloaded = procedure->overloaded,
        .has_tare = procedure->tare.known,
        .rig = &procedure->rig,
        .item_name = calibrating ? NULL : procedure->measure.item.name,
        .counts_per_kg = calibrating ? 0 : procedure->calibration.slope_counts_per_kg,
        .open_ask = procedure->stage == STAGE_ASKING ? procedure->ask.id : 0,
        .now_s = procedure->now_s,
        .temp_c = procedure->temp_c,
        .trial = procedure->trial,
        .trials = procedure->trials,
        .trials_planned = procedure->measure.trials,
        .at_most = procedure->measure.looks > 1,
        .point = procedure->point,
        .points = procedure->points,
        .points_planned = procedure->calibrate.masses,
        .water = procedure->waters,
        .waters = procedure->measure.waters};
}
