/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"

struct member {
    const char *key;
    size_t offset;
};

#define MEMBER(name)                                                                               \
    { #name, offsetof(struct up_calibration, name) }

static const struct member members[] = {
    MEMBER(slope_counts_kg),
    MEMBER(u_slope_counts_kg),
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
};
enum { MEMBERS = sizeof members / sizeof members[0] };

static const double *number_in(const struct up_calibration *calibration, size_t i) {
    return (const double *)(const void *)((const char *)calibration + members[i].offset);
}

json_t *up_calibration_to_json(const struct up_calibration *calibration) {
    json_t *points = json_array();
    json_t *json =
        json_pack("{s:s, s:s}", "bench", calibration->bench, "rig_sha256", calibration->rig_sha256);
    for (size_t i = 0; i < MEMBERS; i++) {
        json_object_set_new(json, members[i].key, number_or_null(*number_in(calibration, i)));
    }
    for (unsigned i = 0; i < calibration->points; i++) {
        const struct up_calibration_point *point = &calibration->point[i];
        json_array_append_new(points,
                              json_pack("{s:f, s:f, s:f, s:f}", "mass_kg", point->mass_kg,
                                        "load_counts", point->load_counts, "u_plateau_counts",
                                        point->u_plateau_counts, "residual_g", point->residual_g));
    }
    json_object_set_new(json, "points", points);
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

bool up_calibration_from_json(const json_t *body, struct up_calibration *calibration) {
    bool good = true;
    memset(calibration, 0, sizeof *calibration);
    for (size_t i = 0; i < MEMBERS; i++) {
        double value = (double)NAN;
        take_number(body, members[i].key, &value);
        *(double *)(void *)((char *)calibration + members[i].offset) = value;
        good = good && isfinite(value);
    }
    return good && take_text(body, "bench", calibration->bench, sizeof calibration->bench) &&
           take_text(body, "rig_sha256", calibration->rig_sha256, sizeof calibration->rig_sha256) &&
           read_points(json_object_get(body, "points"), calibration);
}

bool up_calibration_add(struct up_catalogue *catalogue, struct up_calibration *calibration,
                        struct up_failure *failure) {
    calibration->id[0] = '\0';
    json_t *body = up_calibration_to_json(calibration);
    bool good = up_catalogue_add(catalogue, "calibration", NULL, calibration->bench, body, NULL,
                                 calibration->id, failure);
    json_decref(body);
    return good;
}

struct latest {
    const char *bench;
    struct up_calibration *calibration;
    bool found, bad;
};

static bool keep_latest(const struct up_record *record, void *context) {
    struct latest *latest = context;
    if (strcmp(record->bench, latest->bench) == 0) {
        latest->found = true;
        latest->bad = !up_calibration_from_json(record->body, latest->calibration);
        memcpy(latest->calibration->id, record->id, sizeof record->id);
        memcpy(latest->calibration->made_utc, record->made_utc, sizeof record->made_utc);
    }
    return true;
}

bool up_calibration_latest(struct up_catalogue *catalogue, const char *bench,
                           struct up_calibration *calibration, struct up_failure *failure) {
    struct latest latest = {.bench = bench, .calibration = calibration};
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
