/* SPDX-License-Identifier: GPL-3.0-or-later */
/* measure and calibrate --replay: a stored run once more, from what it recorded. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"
#include "upthrust/run.h"
#include "upthrust/session.h"
#include "upthrust/text.h"

static bool damaged(const char *what, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the run's journal lacks %s: it was made by an older version, or was changed",
                   what);
}

static const json_t *find_plan(const struct up_run_left *left) {
    size_t i;
    const json_t *entry;
    json_array_foreach(left->journal, i, entry) {
        const char *event = json_string_value(json_object_get(entry, "event"));
        if (event != NULL && strcmp(event, "plan") == 0) {
            return entry;
        }
    }
    return NULL;
}

/* ---- the journal's lines ---- */

static double number_of(const json_t *entry, const char *name) {
    const json_t *value = json_object_get(entry, name);
    return json_is_number(value) ? json_number_value(value) : (double)NAN;
}

static bool read_answer(const json_t *entry, struct up_kept *kept) {
    static const char *const words[] = {"done", "skip", "again", "stop"};
    const char *answer = json_string_value(json_object_get(entry, "answer"));
    kept->kind = UP_KEPT_ANSWER;
    kept->id = (unsigned)json_integer_value(json_object_get(entry, "id"));
    kept->time_s = number_of(entry, "time_s");
    kept->number = number_of(entry, "value");
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
    static const char *const notes[] = {"lost", "back", "stopped", "interrupted"};
    const char *event = json_string_value(json_object_get(entry, "event"));
    const char *text = json_string_value(json_object_get(entry, "text"));
    *kept =
        (struct up_kept){.offset = (uint64_t)json_integer_value(json_object_get(entry, "offset")),
                         .arrival_s = number_of(entry, "host_s")};
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
    double air_temp_c = number_of(plan, "air_temp_c");
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
            .model = json_is_true(json_object_get(entry, "sea")) ? UP_WATER_SEA : UP_WATER_FRESH,
            .temp_c = number_of(entry, "temp_c"),
            .u_temp_c = number_of(entry, "u_temp_c"),
            .salinity_g_kg = number_of(entry, "salinity_g_kg"),
            .u_salinity_g_kg = number_of(entry, "u_salinity_g_kg"),
            .depth_m = number_of(entry, "depth_m")};
        snprintf(water[count].name, sizeof water[count].name, "%s", name);
        count++;
    }
    return count;
}

static bool repeat(const struct up_run_left *left, const json_t *plan, const struct up_rig *rig,
                   struct up_procedure *procedure, struct up_failure *failure) {
    size_t count = 0;
    struct up_kept *kept = read_entries(left, &count);
    bool unasked = json_is_true(json_object_get(plan, "talked_unasked"));
    bool good = up_session_repeat(procedure, rig, unasked, left->stream, left->length, kept, count,
                                  failure);
    free(kept);
    return good;
}

static bool open_run(struct up_catalogue *catalogue, const char *run, struct up_run_left *left,
                     const json_t **plan, struct up_rig *rig, struct up_failure *failure) {
    if (!up_run_read(catalogue, run, left, failure)) {
        return false;
    }
    *plan = find_plan(left);
    return (*plan != NULL || damaged("its plan", failure)) && read_rig(*plan, rig, failure);
}

/* ---- measure ---- */

bool repeat_measure(struct up_catalogue *catalogue, const char *run, struct repeated *repeated,
                    struct up_failure *failure) {
    struct up_run_left left = {0};
    struct up_rig *rig = up_allocate(1, sizeof *rig);
    struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    struct up_water water[WATERS_MAX];
    struct up_procedure *procedure = NULL;
    const json_t *plan = NULL;
    bool good = open_run(catalogue, run, &left, &plan, rig, failure);
    if (good && (!up_item_from_json(json_object_get(plan, "item"), &repeated->item) ||
                 !up_calibration_from_json(json_object_get(plan, "calibration"), calibration))) {
        good = up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run %s holds no item and calibration: only a run of measure can be "
                       "measured again",
                       left.id);
    }
    if (good) {
        struct up_measure_plan again = {
            .rig = rig,
            .calibration = calibration,
            .item = repeated->item,
            .trials = (unsigned)json_integer_value(json_object_get(plan, "trials")),
            .water = water,
            .waters = read_waters(plan, water),
            .confidence = number_of(plan, "confidence"),
            .coverage = number_of(plan, "coverage")};
        repeated->waters = again.waters;
        memcpy(again.run_id, left.id, sizeof again.run_id);
        snprintf(repeated->bench, sizeof repeated->bench, "%s", rig->id);
        snprintf(repeated->run_id, sizeof repeated->run_id, "%s", left.id);
        good = up_procedure_measure(&again, &procedure, failure) &&
               repeat(&left, plan, rig, procedure, failure) &&
               up_procedure_results(procedure, repeated->result, &repeated->results, failure);
    }
    up_procedure_destroy(procedure);
    up_run_left_free(&left);
    free(calibration);
    free(rig);
    return good;
}

/* ---- calibrate ---- */

bool repeat_calibrate(struct up_catalogue *catalogue, const char *run,
                      struct up_calibration *calibration, struct up_failure *failure) {
    struct up_run_left left = {0};
    struct up_rig *rig = up_allocate(1, sizeof *rig);
    struct up_calibrate_plan again = {.rig = rig};
    struct up_procedure *procedure = NULL;
    const json_t *plan = NULL, *mass;
    size_t i;
    bool good = open_run(catalogue, run, &left, &plan, rig, failure);
    const json_t *masses = good ? json_object_get(plan, "masses_kg") : NULL;
    if (good && !json_is_array(masses)) {
        good =
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "run %s holds no masses: only a run of calibrate can be repeated so", left.id);
    }
    json_array_foreach(masses, i, mass) {
        if (again.masses < UP_CALIBRATION_POINTS_MAX) {
            again.mass_kg[again.masses++] = json_number_value(mass);
        }
    }
    if (good) {
        again.staircase = json_is_true(json_object_get(plan, "staircase"));
        good = up_procedure_calibrate(&again, &procedure, failure) &&
               repeat(&left, plan, rig, procedure, failure) &&
               up_procedure_calibration(procedure, calibration, failure);
    }
    up_procedure_destroy(procedure);
    up_run_left_free(&left);
    free(rig);
    return good;
}

/* ---- is it the same? ---- */

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
