/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stored_run.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "upthrust/text.h"

static bool damaged(const char *what, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the run's journal lacks %s: it was made by an older version, or was changed",
                   what);
}

static json_t *find_plan(const struct up_run_left *left) {
    size_t i;
    json_t *entry;
    json_array_foreach(left->journal, i, entry) {
        const char *event = json_string_value(json_object_get(entry, "event"));
        if (event != NULL && strcmp(event, "plan") == 0) {
            return entry;
        }
    }
    return NULL;
}

/* ---- the journal's lines ---- */

static bool read_answer(const json_t *entry, struct up_kept *kept) {
    static const char *const words[] = {"done", "skip", "again", "stop"};
    const char *answer = json_string_value(json_object_get(entry, "answer"));
    kept->kind = UP_KEPT_ANSWER;
    kept->id = (unsigned)json_integer_value(json_object_get(entry, "id"));
    kept->time_s = up_record_number(entry, "time_s");
    kept->number = up_record_number(entry, "value");
    kept->word = UP_ANSWER_NUMBER;
    for (size_t i = 0; answer != NULL && i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(words[i], answer) == 0) {
            kept->word = (enum up_answer_word)i;
        }
    }
    return answer != NULL ? kept->word != UP_ANSWER_NUMBER : isfinite(kept->number);
}

/* False for a line that tells nothing to repeat. */
static bool read_entry(const json_t *entry, struct up_kept *kept) {
    static const char *const notes[] = {"lost",    "back", "stopped",
                                        "resumed", "left", "interrupted"};
    const char *event = json_string_value(json_object_get(entry, "event"));
    const char *text = json_string_value(json_object_get(entry, "text"));
    *kept =
        (struct up_kept){.offset = (uint64_t)json_integer_value(json_object_get(entry, "offset")),
                         .arrival_s = up_record_number(entry, "host_s")};
    snprintf(kept->text, sizeof kept->text, "%s", text != NULL ? text : "");
    if (event == NULL) {
        return false;
    }
    if (strcmp(event, "answer") == 0) {
        return read_answer(entry, kept);
    }
    for (size_t i = 0; i < sizeof notes / sizeof notes[0]; i++) {
        if (strcmp(event, notes[i]) == 0) {
            kept->kind = UP_KEPT_NOTE;
            kept->note = (enum up_note)i;
            return true;
        }
    }
    kept->kind = UP_KEPT_BYTES;
    return strcmp(event, "bytes") == 0;
}

static struct up_kept *read_entries(const struct up_run_left *left, size_t *count) {
    struct up_kept *kept = up_allocate(json_array_size(left->journal) + 1, sizeof *kept);
    size_t i;
    const json_t *entry;
    *count = 0;
    json_array_foreach(left->journal, i, entry) {
        *count += read_entry(entry, &kept[*count]);
    }
    return kept;
}

/* ---- the plan ---- */

static bool read_rig(const json_t *plan, struct up_rig *rig, struct up_failure *failure) {
    const char *text = json_string_value(json_object_get(plan, "rig"));
    const char *mass_class = json_string_value(json_object_get(plan, "mass_class"));
    double air_temp_c = up_record_number(plan, "air_temp_c");
    if (text == NULL || !isfinite(air_temp_c)) {
        return damaged("its rig file", failure);
    }
    if (!up_rig_parse("of the run", text, rig, failure)) {
        return false;
    }
    rig->air.temp_c.value = air_temp_c;
    if (mass_class != NULL) {
        up_mass_class_from_name(mass_class, &rig->mass_class);
    }
    return !json_is_true(json_object_get(plan, "typed")) || up_rig_type_readings(rig, failure);
}

static unsigned read_waters(const json_t *plan, struct up_water water[WATERS_MAX]) {
    unsigned count = 0;
    size_t i;
    const json_t *entry;
    json_array_foreach(json_object_get(plan, "waters"), i, entry) {
        const char *name = json_string_value(json_object_get(entry, "name"));
        if (count == WATERS_MAX || name == NULL) {
            break;
        }
        water[count] = (struct up_water){
            .model = json_is_true(json_object_get(entry, "sea"))    ? UP_WATER_SEA
                     : json_is_true(json_object_get(entry, "pool")) ? UP_WATER_POOL
                                                                    : UP_WATER_FRESH,
            .salinity_range = json_is_true(json_object_get(entry, "range")),
            .temp_c = up_record_number(entry, "temp_c"),
            .u_temp_c = up_record_number(entry, "u_temp_c"),
            .salinity_g_kg = up_record_number(entry, "salinity_g_kg"),
            .u_salinity_g_kg = up_record_number(entry, "u_salinity_g_kg"),
            .depth_m = up_record_number(entry, "depth_m")};
        snprintf(water[count].name, sizeof water[count].name, "%s", name);
        count++;
    }
    return count;
}

/* ---- the whole ---- */

static bool read_measure(struct stored_run *run, struct up_failure *failure) {
    const json_t *plan = run->plan;
    struct up_measure_plan *measure = &run->measure;
    if (!up_item_from_json(json_object_get(plan, "item"), &measure->item) ||
        !up_calibration_from_json(json_object_get(plan, "calibration"), &run->calibration)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %s holds no item and calibration: only a run of measure can be "
                       "measured again",
                       run->left.id);
    }
    measure->rig = &run->rig;
    measure->calibration = &run->calibration;
    measure->trials = (unsigned)json_integer_value(json_object_get(plan, "trials"));
    measure->water = run->water;
    measure->waters = read_waters(plan, run->water);
    measure->confidence = up_record_number(plan, "confidence");
    measure->coverage = up_record_number(plan, "coverage");
    plan_more_from_json(plan, measure);
    memcpy(measure->run_id, run->left.id, sizeof measure->run_id);
    return true;
}

static bool read_calibrate(struct stored_run *run, struct up_failure *failure) {
    struct up_calibrate_plan *calibrate = &run->calibrate;
    const json_t *masses = json_object_get(run->plan, "masses_kg"), *mass;
    size_t i;
    if (!json_is_array(masses)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %s holds no masses: only a run of calibrate can be repeated so",
                       run->left.id);
    }
    calibrate->rig = &run->rig;
    json_array_foreach(masses, i, mass) {
        if (calibrate->masses < UP_CALIBRATION_POINTS_MAX) {
            calibrate->mass_kg[calibrate->masses++] = json_number_value(mass);
        }
    }
    calibrate->staircase = json_is_true(json_object_get(run->plan, "staircase"));
    return true;
}

bool stored_run_open(struct stored_run *run, struct up_catalogue *catalogue, const char *id,
                     bool calibrates, struct up_failure *failure) {
    memset(run, 0, sizeof *run);
    run->calibrates = calibrates;
    if (!up_run_read(catalogue, id, &run->left, failure)) {
        return false;
    }
    run->plan = find_plan(&run->left);
    run->kept = read_entries(&run->left, &run->count);
    return (run->plan != NULL || damaged("its plan", failure)) &&
           read_rig(run->plan, &run->rig, failure) &&
           (calibrates ? read_calibrate(run, failure) : read_measure(run, failure));
}

void stored_run_free(struct stored_run *run) {
    up_run_left_free(&run->left);
    free(run->kept);
}

void stored_run_trim(struct stored_run *run) {
    for (size_t i = 0; i < run->count; i++) {
        if (run->kept[i].offset > run->left.length) {
            run->count = i;
        }
    }
    for (size_t i = 0; i < json_array_size(run->left.journal); i++) {
        json_t *offset = json_object_get(json_array_get(run->left.journal, i), "offset");
        if (json_integer_value(offset) > (json_int_t)run->left.length) {
            while (json_array_size(run->left.journal) > i) {
                json_array_remove(run->left.journal, i);
            }
        }
    }
}

bool stored_run_repeat(const struct stored_run *run, struct up_procedure *procedure, void *context,
                       void (*event)(void *context, const struct up_event *event),
                       struct up_reader *reader, struct up_failure *failure) {
    struct up_past past = {.rig = &run->rig,
                           .talked_unasked =
                               json_is_true(json_object_get(run->plan, "talked_unasked")),
                           .bytes = run->left.stream,
                           .length = run->left.length,
                           .kept = run->kept,
                           .count = run->count,
                           .context = context,
                           .event = event};
    return up_session_repeat(procedure, &past, reader, failure);
}
