/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the records of runs and trials hold. */
#include "catalogue/run.h"
#include "internal.h"
#include "stream/plateau.h"
#include "upthrust/measurement.h"

/* One reading of the load: a trial's record has those since the trial before, a run's the rest. */
#define MEMBERS_OF struct up_plateau
const struct catalogue_member catalogue_plateau_members[] = {
    TEXT_ALONE("of", 0, "preload, tare, mass, stair, air or water"),
    NUMBER("start_s", start_s, UNIT_S, 0, "start of the window, device time"),
    NUMBER("end_s", end_s, UNIT_S, LATER, "its end"),
    NUMBER("step_s", step_s, UNIT_S, LATER, "when the load came to stand"),
    NUMBER("load_counts", load, UNIT_COUNTS, LATER, "mean of the window"),
    NUMBER("u_load_counts", u_load, UNIT_COUNTS, LATER | NOT_NEGATIVE,
           "its standard uncertainty, correlation allowed for"),
    NUMBER("slope_counts_s", slope_per_s, UNIT_COUNTS_S, LATER,
           "of the straight line through the window"),
    INTEGER("readings", readings, 0, LATER, "in the window"),
    INTEGER("glitches", glitches, 0, LATER, "not used in it"),
    NUMBER("temp_c", temp_c, UNIT_C, LATER, "of the water, mean"),
    NUMBER("late_s", late_s, UNIT_S, LATER, "read this much later than scheduled"),
    END};
#undef MEMBERS_OF

json_t *up_plateau_to_json(const char *of, const struct up_plateau *plateau) {
    json_t *json = json_pack("{s:s}", "of", of);
    members_add_to_json(catalogue_plateau_members, plateau, json);
    return json;
}

static const struct catalogue_nested plateaus = {.members = catalogue_plateau_members};
static const struct catalogue_nested counts = {.unit = UNIT_COUNTS, .most = 256};

/* ---- trials ---- */

static json_t *gains_to_json(const void *from) {
    const struct up_trial *trial = from;
    json_t *list = json_array();
    for (unsigned i = 0; i < trial->shakes; i++) {
        json_array_append_new(list, up_json_number(trial->gain_counts[i]));
    }
    return list;
}

#define MEMBERS_OF struct up_trial
const struct catalogue_member catalogue_trial_members[] = {
    TEXT_ALONE("run_id", 0, "in which session"),
    TEXT_ALONE("item_id", 0, "what was weighed"),
    INTEGER("number", number, 0, 0, "from 1 on"),
    NUMBER("load_counts", load_counts, UNIT_COUNTS, 0,
           "the last reading less the tares around it, made linear"),
    NUMBER("u_plateau_counts", u_plateau_counts, UNIT_COUNTS, NOT_NEGATIVE,
           "its standard uncertainty, from the noise of the plateaus"),
    NUMBER_ALONE("load_g", UNIT_G, LATER, "that load by the calibration's slope"),
    INTEGER("shakes", shakes, 0, 0, "that freed air, or tried to"),
    TRUTH("still_gaining", still_gaining, 0, "the last shake still freed more than noise"),
    NUMBER("soak_s", soak_s, UNIT_S, 0, "from the first immersion to the last reading"),
    NUMBER("temp_c", temp_c, UNIT_C, 0, "of the water"),
    BENCH_ALONE,
    BENCH_SEQUENCE,
    TRUTH("shakes_set", shakes_set, LATER,
          "as many shakes as the first trial needed; false: until nothing more came out"),
    TRUTH_ALONE("is_quick", LATER, "of a quick weighing, from which no kind is learned"),
    {OWN("gain_counts", MEMBER_LIST, LATER, gains_to_json, NULL,
         "heavier after each shake, by this"),
     .nested = &counts},
    LIST_ALONE("plateaus", plateaus, LATER, "read since the trial before"),
    INTEGER(
        "readings_ended_early", ended_early, 0, LATER | JSON_ONLY,
        "of a full weighing, before the last two: the gains are known within what ended them, so "
        "no kind learns from those"),
    NUMBER("early_freed_counts", early_freed_counts, UNIT_COUNTS, LATER | JSON_ONLY | NOT_NEGATIVE,
           "so the sum of the gains is known within this"),
    END};
#undef MEMBERS_OF

json_t *up_trial_to_json(const struct up_trial *trial, double counts_per_kg) {
    json_t *json = members_to_json(catalogue_trial_members, trial);
    if (counts_per_kg != 0) {
        json_object_set_new(json, "load_g",
                            up_json_number(trial->load_counts / counts_per_kg * 1e3));
    }
    return json;
}

/* ---- runs ---- */

static const struct catalogue_nested steps_rejected = {.unit = UNIT_ONE, .most = 3};
static const struct catalogue_nested grams_off = {.unit = UNIT_KG, .most = 64};
static const struct catalogue_member trace_members[] = {
    TEXT_ALONE("step", 0, "immersed, shaken or lifted"),
    NUMBER_ALONE("step_kg", UNIT_KG, 0, "of the load"),
    LIST_ALONE("off_kg", grams_off, 0,
               "early readings, tapered, then plain, less the one at the full schedule"),
    END};
static const struct catalogue_nested traces = {.members = trace_members, .most = 64};
static const struct catalogue_member taught_members[] = {
    TRUTH_ALONE("simulated", 0, "on a simulated bench"),
    NUMBER_ALONE("read_after_s", UNIT_S, 0, "schedule of the full readings"),
    NUMBER_ALONE("window_s", UNIT_S, 0, "its windows"),
    LIST_ALONE(
        "rejected", steps_rejected, 0,
        "steps whose learned bounds the session contradicted: 1 immersed, 2 shaken, 3 lifted"),
    LIST_ALONE("traces", traces, 0, "of readings that reached the full schedule"),
    END};
static const struct catalogue_nested taught = {.members = taught_members};

#define MEMBERS_OF struct up_run_begin
const struct catalogue_member catalogue_run_members[] = {
    TEXT_AS(IN_POINTER, "bench", bench, OF_RECORD, "id of the rig"),
    BENCH_SEQUENCE,
    TEXT_AS(IN_POINTER, "what", what, 0, "calibrate or measure"),
    TEXT_AS(IN_POINTER, "version", version, 0, "of the program"),
    TEXT_AS(IN_POINTER, "item_id", item_id, LATER, "what was measured"),
    TEXT_AS(IN_POINTER, "calibration_id", calibration_id, LATER, "what it was measured with"),
    TEXT_AS(IN_POINTER, "rig_file", rig_file, LATER, "name of the rig file"),
    TEXT_AS(IN_POINTER, "rig_sha256", rig_sha256, 0, "of its line and sensor sections"),
    TEXT_AS(IN_POINTER, "rig_record_id", rig_record_id, LATER, "the version of the rig"),
    TEXT_ALONE("begun_utc", LATER, "when it began"),
    TEXT_ALONE("how_ended", LATER, "completed, stopped, failed or crashed; null: it did not yet"),
    TEXT_ALONE("reason", LATER, "why it failed; null where that names files of the machine"),
    INTEGER_ALONE("trials", 0, LATER, "that were completed"),
    INTEGER_ALONE("results", 0, LATER, "that were stored"),
    INTEGER_ALONE("trials_before", 0, LATER | JSON_ONLY, "of the runs that it continues"),
    LIST_ALONE("plateaus", plateaus, LATER, "that belong to no trial"),
    TRUTH_ALONE("is_quick", LATER, "a quick weighing"),
    {ROW("taught", MEMBER_OBJECT, IN_NO_STRUCT, LATER | JSON_ONLY,
         "what its readings teach later quick weighings on this bench"),
     .nested = &taught},
    END};
#undef MEMBERS_OF

json_t *up_run_begin_to_json(const struct up_run_begin *begin) {
    return members_to_json(catalogue_run_members, begin);
}
