/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"

struct member {
    const char *key;
    size_t offset;
    bool may_lack; /* null where it is not known; not in bodies from before there was one */
};

#define MEMBER(name)                                                                               \
    { #name, offsetof(struct up_calibration, name), false }
#define LATER(name)                                                                                \
    { #name, offsetof(struct up_calibration, name), true }
/* Released keys stay as they are, whatever the member is called. */
#define KEYED(key, name, may_lack)                                                                 \
    { key, offsetof(struct up_calibration, name), may_lack }

static const struct member members[] = {
    KEYED("slope_counts_kg", slope_counts_per_kg, false),
    KEYED("u_slope_counts_kg", u_slope_counts_per_kg, false),
    MEMBER(dof),
    MEMBER(mass_tolerance_rel),
    MEMBER(lack_of_fit_kg),
    MEMBER(offset_counts),
    MEMBER(u_offset_counts),
    MEMBER(creep_rel_decade),
    MEMBER(noise_counts),
    MEMBER(air_density_kg_m3),
    MEMBER(read_after_s),
    MEMBER(window_s),
    MEMBER(span_kg),
    KEYED("unloading_slope_counts_kg", unloading_slope_counts_per_kg, true),
    KEYED("u_unloading_slope_counts_kg", u_unloading_slope_counts_per_kg, true),
    KEYED("quadratic_counts_kg2", quadratic_counts_per_kg2, true),
    LATER(quadratic_f),
    LATER(quadratic_f_limit),
    LATER(hysteresis_kg),
    LATER(temp_c),
    LATER(preloaded),
};
enum { MEMBERS = sizeof members / sizeof members[0] };

static const double *number_in(const struct up_calibration *calibration, size_t i) {
    return (const double *)(const void *)((const char *)calibration + members[i].offset);
}

static json_t *stairs_to_json(const struct up_calibration *calibration) {
    json_t *stairs = json_array();
    for (unsigned i = 0; i < calibration->stairs && i < UP_STAIRS_MAX; i++) {
        const struct up_stair *stair = &calibration->stair[i];
        json_array_append_new(
            stairs, json_pack("{s:o, s:b, s:o, s:o, s:o, s:o}", "mass_kg",
                              number_or_null(stair->mass_kg), "falling", (int)stair->falling,
                              "load_counts", number_or_null(stair->load_counts), "u_plateau_counts",
                              number_or_null(stair->u_plateau_counts), "residual_g",
                              number_or_null(stair->residual_g), "hysteresis_g",
                              number_or_null(stair->hysteresis_g)));
    }
    return stairs;
}

json_t *up_calibration_to_json(const struct up_calibration *calibration) {
    json_t *points = json_array();
    json_t *json = json_pack("{s:o, s:s}", "bench", clean_string(calibration->bench), "rig_sha256",
                             calibration->rig_sha256);
    for (size_t i = 0; i < MEMBERS; i++) {
        json_object_set_new(json, members[i].key, number_or_null(*number_in(calibration, i)));
    }
    for (unsigned i = 0; i < calibration->points && i < UP_CALIBRATION_POINTS_MAX; i++) {
        const struct up_calibration_point *point = &calibration->point[i];
        json_array_append_new(
            points, json_pack("{s:o, s:o, s:o, s:o}", "mass_kg", number_or_null(point->mass_kg),
                              "load_counts", number_or_null(point->load_counts), "u_plateau_counts",
                              number_or_null(point->u_plateau_counts), "residual_g",
                              number_or_null(point->residual_g)));
    }
    json_object_set_new(json, "points", points);
    json_object_set_new(json, "staircase", stairs_to_json(calibration));
    json_object_set_new(json, "mass_class",
                        calibration->mass_class[0] != '\0' ? clean_string(calibration->mass_class)
                                                           : json_null());
    if (calibration->id[0] != '\0') {
        json_object_set_new(json, "calibration_id", json_string(calibration->id));
    }
    return json;
}

static bool read_points(const json_t *points, struct up_calibration *calibration) {
    size_t count = json_array_size(points);
    if (count > UP_CALIBRATION_POINTS_MAX) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *from = json_array_get(points, i);
        struct up_calibration_point *point = &calibration->point[i];
        if (!take_number(from, "mass_kg", &point->mass_kg) ||
            !take_number(from, "load_counts", &point->load_counts) ||
            !take_number(from, "u_plateau_counts", &point->u_plateau_counts) ||
            !take_number(from, "residual_g", &point->residual_g)) {
            return false;
        }
    }
    calibration->points = (unsigned)count;
    return true;
}

static bool read_stairs(const json_t *stairs, struct up_calibration *calibration) {
    size_t count = json_array_size(stairs);
    if (count > UP_STAIRS_MAX) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *from = json_array_get(stairs, i);
        struct up_stair *stair = &calibration->stair[i];
        stair->falling = json_is_true(json_object_get(from, "falling"));
        stair->hysteresis_g = (double)NAN;
        take_number(from, "hysteresis_g", &stair->hysteresis_g);
        if (!take_number(from, "mass_kg", &stair->mass_kg) ||
            !take_number(from, "load_counts", &stair->load_counts) ||
            !take_number(from, "u_plateau_counts", &stair->u_plateau_counts) ||
            !take_number(from, "residual_g", &stair->residual_g)) {
            return false;
        }
    }
    calibration->stairs = (unsigned)count;
    return true;
}

/* One from before the line could bend was straight. */
static void fill_lacking(const json_t *body, struct up_calibration *calibration) {
    take_text(body, "mass_class", calibration->mass_class, sizeof calibration->mass_class);
    if (isnan(calibration->quadratic_counts_per_kg2)) {
        calibration->quadratic_counts_per_kg2 = 0;
    }
}

bool up_calibration_from_json(const json_t *body, struct up_calibration *calibration) {
    bool good = true;
    memset(calibration, 0, sizeof *calibration);
    for (size_t i = 0; i < MEMBERS; i++) {
        double value = (double)NAN;
        take_number(body, members[i].key, &value);
        if (members[i].offset == offsetof(struct up_calibration, dof) &&
            json_is_null(json_object_get(body, "dof"))) {
            value = (double)INFINITY;
        }
        *(double *)(void *)((char *)calibration + members[i].offset) = value;
        good = good && (members[i].may_lack || !isnan(value));
    }
    fill_lacking(body, calibration);
    return good && take_text(body, "bench", calibration->bench, sizeof calibration->bench) &&
           take_text(body, "rig_sha256", calibration->rig_sha256, sizeof calibration->rig_sha256) &&
           read_points(json_object_get(body, "points"), calibration) &&
           read_stairs(json_object_get(body, "staircase"), calibration);
}

/* ---- the latest of a bench ---- */

struct latest {
    const char *bench;
    struct up_calibration *calibration;
    double sequence;
    bool found, bad;
};

static double sequence_of(const json_t *body) {
    double sequence = 0;
    take_number(body, "bench_sequence", &sequence);
    return sequence;
}

/* Visited by time; the sequence goes before it. */
static bool keep_latest(const struct up_record *record, void *context) {
    struct latest *latest = context;
    double sequence = sequence_of(record->body);
    if (strcmp(record->bench, latest->bench) != 0 ||
        (latest->found && sequence < latest->sequence)) {
        return true;
    }
    latest->found = true;
    latest->sequence = sequence;
    latest->bad = !up_calibration_from_json(record->body, latest->calibration);
    memcpy(latest->calibration->id, record->id, sizeof record->id);
    memcpy(latest->calibration->made_utc, record->made_utc, sizeof record->made_utc);
    return true;
}

bool up_calibration_latest(struct up_catalogue *catalogue, const char *bench,
                           struct up_calibration *calibration, struct up_failure *failure) {
    struct latest latest = {.bench = bench, .calibration = calibration};
    memset(calibration, 0, sizeof *calibration);
    if (!up_catalogue_each(catalogue, "calibration", keep_latest, &latest, failure)) {
        return false;
    }
    if (!latest.found) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the bench %s has no calibration yet: run `upthrust calibrate` first",
                       bench);
    }
    return !latest.bad ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the stored calibration %s cannot be read: calibrate again", calibration->id);
}

/* ---- adding ---- */

/* What could not be read back is not stored. */
static bool check(const struct up_calibration *calibration, const json_t *body,
                  struct up_failure *failure) {
    struct up_calibration copy;
    return (calibration->bench[0] != '\0' && !isnan(calibration->dof) &&
            calibration->points <= UP_CALIBRATION_POINTS_MAX &&
            calibration->stairs <= UP_STAIRS_MAX && up_calibration_from_json(body, &copy) &&
            copy.points == calibration->points && copy.stairs == calibration->stairs &&
            strcmp(copy.bench, calibration->bench) == 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "this calibration of the bench \"%.80s\" cannot be stored: it holds a number "
                   "that is not finite, or the bench's id is empty or not UTF-8",
                   calibration->bench);
}

bool up_calibration_add(struct up_catalogue *catalogue, struct up_calibration *calibration,
                        struct up_failure *failure) {
    struct up_record record = {.kind = "calibration"};
    calibration->id[0] = '\0';
    record.body = up_calibration_to_json(calibration);
    memcpy(record.bench, calibration->bench, sizeof record.bench);
    bool good = check(calibration, record.body, failure) &&
                catalogue_put(catalogue, &record, NULL, failure);
    if (good) {
        memcpy(calibration->id, record.id, sizeof record.id);
        memcpy(calibration->made_utc, record.made_utc, sizeof record.made_utc);
    }
    json_decref(record.body);
    return good;
}
