/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the records of runs and trials hold. The session fills them in. */
#include "internal.h"

/* One reading of the load: a trial's record has those since the trial before, a run's the rest. */
const struct catalogue_member catalogue_plateau_members[] = {
    TEXT_ALONE("of", 0, "preload, tare, mass, stair, air or water"),
    NUMBER_ALONE("start_s", UNIT_S, 0, "begin of the window, device time"),
    NUMBER_ALONE("end_s", UNIT_S, LATER, "its end"),
    NUMBER_ALONE("step_s", UNIT_S, LATER, "when the load came to stand"),
    NUMBER_ALONE("load_counts", UNIT_COUNTS, LATER, "mean of the window"),
    NUMBER_ALONE("u_load_counts", UNIT_COUNTS, LATER | NOT_NEGATIVE,
                 "its standard uncertainty, correlation allowed for"),
    NUMBER_ALONE("slope_counts_s", UNIT_COUNTS_S, LATER, "of the straight line through the window"),
    INTEGER_ALONE("readings", 0, LATER, "in the window"),
    INTEGER_ALONE("glitches", 0, LATER, "left out of it"),
    NUMBER_ALONE("temp_c", UNIT_C, LATER, "of the water, mean"),
    NUMBER_ALONE("late_s", UNIT_S, LATER, "read so much later than the schedule says"),
    END};

static const struct catalogue_nested plateaus = {.members = catalogue_plateau_members};
static const struct catalogue_nested counts = {.unit = UNIT_COUNTS, .most = 256};

const struct catalogue_member catalogue_run_members[] = {
    BENCH_ALONE,
    BENCH_SEQUENCE,
    TEXT_ALONE("what", 0, "calibrate or measure"),
    TEXT_ALONE("version", 0, "of the program"),
    TEXT_ALONE("item_id", LATER, "what was measured"),
    TEXT_ALONE("calibration_id", LATER, "what it was measured with"),
    TEXT_ALONE("rig_file", LATER, "name of the rig file"),
    TEXT_ALONE("rig_sha256", 0, "of its line and sensor sections"),
    TEXT_ALONE("rig_record_id", LATER, "the version of the rig"),
    TEXT_ALONE("begun_utc", LATER, "when it began"),
    TEXT_ALONE("how_ended", LATER, "completed, stopped, failed or crashed; null: it did not yet"),
    TEXT_ALONE("reason", LATER, "why it failed"),
    INTEGER_ALONE("trials", 0, LATER, "that were completed"),
    INTEGER_ALONE("results", 0, LATER, "that were stored"),
    INTEGER_ALONE("trials_before", 0, LATER | JSON_ONLY, "of the runs that it continues"),
    LIST_ALONE("plateaus", plateaus, LATER, "that belong to no trial"),
    END};

const struct catalogue_member catalogue_trial_members[] = {
    TEXT_ALONE("run_id", 0, "in which session"),
    TEXT_ALONE("item_id", 0, "what was weighed"),
    INTEGER_ALONE("number", 0, 0, "from 1 on"),
    NUMBER_ALONE("load_counts", UNIT_COUNTS, 0,
                 "the last reading less the tares around it, made linear"),
    NUMBER_ALONE("u_plateau_counts", UNIT_COUNTS, NOT_NEGATIVE,
                 "its standard uncertainty, from the noise of the plateaus"),
    NUMBER_ALONE("load_g", UNIT_G, LATER, "that load by the calibration's slope"),
    INTEGER_ALONE("shakes", 0, 0, "until nothing more left"),
    TRUTH_ALONE("still_gaining", 0, "the last shake still freed more than noise"),
    NUMBER_ALONE("soak_s", UNIT_S, 0, "from the first immersion to the last reading"),
    NUMBER_ALONE("temp_c", UNIT_C, 0, "of the water"),
    BENCH_ALONE,
    BENCH_SEQUENCE,
    LIST_ALONE("gain_counts", counts, LATER, "heavier after each shake, by this"),
    LIST_ALONE("plateaus", plateaus, LATER, "read since the trial before"),
    END};
