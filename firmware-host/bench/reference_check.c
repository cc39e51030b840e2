/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A reference body: do calibration and water agree with what is known of it? */
#include "reference_check.h"

#include <string.h>

#include "budget.h"
#include "metrology/statistics.h"

/* With fewer degrees of freedom it may be one session's luck (a choice of ours). */
static const double KIND_LEAST_DOF = 3;

bool reference_scatter_is_known(const struct up_measurement *measurement) {
    return measurement->kind_repeatability_kg.dof >= KIND_LEAST_DOF;
}

/* Without an expansion of its own a body needs no temperature. */
struct up_quantity up_reference_volume_m3(const struct up_reference *reference, double temp_c) {
    static const double KNOWN_AT_C = 20;
    struct up_quantity volume_m3 = reference->volume_m3;
    if (reference->expansion_per_k != 0 || reference->u_expansion_per_k != 0) {
        double warmer_k = temp_c - KNOWN_AT_C, known_m3 = volume_m3.value;
        volume_m3.value *= 1 + reference->expansion_per_k * warmer_k;
        volume_m3.u = hypot(volume_m3.u, known_m3 * reference->u_expansion_per_k * warmer_k);
    }
    return volume_m3;
}

/* One reading: the scatter of a loading, of a trial where the bench has learned how trials scatter,
   what the caller knows of it, whichever is most, as each holds those before it; meniscus, how far
   the line fits and the loop, as for an item. Few readings tell a scatter badly, and the degrees of
   freedom say so. */
static struct up_quantity weight(const struct up_measurement *measurement,
                                 struct up_quantity load_counts) {
    const struct up_calibration *calibration = &measurement->calibration;
    double load_kg = load_counts.value / calibration->slope_counts_per_kg;
    double loading_kg = u_loading_kg(calibration, load_kg);
    struct up_quantity one = {0, fabs(load_counts.u / calibration->slope_counts_per_kg),
                              load_counts.dof};
    if (loading_kg > one.u) {
        one = (struct up_quantity){0, loading_kg, calibration->dof};
    }
    if (reference_scatter_is_known(measurement) && measurement->kind_repeatability_kg.u > one.u) {
        one = measurement->kind_repeatability_kg;
    }
    const double u[] = {one.u, measurement->rig.meniscus_kg / sqrt(3),
                        u_straightness_kg(calibration, load_kg)};
    const double dof[] = {one.dof, (double)INFINITY, (double)INFINITY};
    double k = 1 - calibration->air_density_kg_m3 / UP_MASS_DENSITY_KG_M3;
    return (struct up_quantity){reads_kg(calibration, load_counts.value) * k,
                                hypot(u[0], hypot(u[1], u[2])), up_effective_dof(u, dof, 3)};
}

/* The claims that hold for any load: slope and masses, and how the cell changed since. */
static struct up_quantity scale_rel(const struct up_measurement *measurement, double load_counts) {
    const struct up_calibration *calibration = &measurement->calibration;
    const double u[] = {fabs(calibration->u_slope_counts_per_kg / calibration->slope_counts_per_kg),
                        calibration->mass_tolerance_rel / sqrt(3),
                        u_reading_rel(measurement, load_counts)};
    const double dof[] = {calibration->dof, (double)INFINITY, (double)INFINITY};
    return (struct up_quantity){0, hypot(u[0], hypot(u[1], u[2])), up_effective_dof(u, dof, 3)};
}

static struct up_quantity water_density(const struct up_measurement *measurement) {
    struct up_water water = tank_water(measurement);
    struct up_water_density density;
    return up_water_density(&water, &density, NULL) ? density.density_kg_m3
                                                    : up_known((double)NAN, 0);
}

void up_measurement_check(const struct up_measurement *measurement,
                          const struct up_reference_plan *plan, struct up_quantity load_counts,
                          struct up_reference_check *check) {
    struct up_quantity water = water_density(measurement);
    double temp_c = tank_water(measurement).temp_c;
    struct up_body body = {plan->reference.mass_kg,
                           up_reference_volume_m3(&plan->reference, temp_c),
                           weight(measurement, load_counts)};
    struct up_body_check found = {.difference_kg = {(double)NAN, (double)NAN, 0},
                                  .e_n = (double)NAN};
    up_check_body(&body, scale_rel(measurement, load_counts.value), water, &found, NULL);
    struct up_chart_judgement judged = up_chart_judge(&plan->chart, found.difference_kg);
    *check = (struct up_reference_check){.load_counts = load_counts.value,
                                         .water_kg = body.water_kg.value,
                                         .u_water_kg = body.water_kg.u,
                                         .expected_kg = body.mass_kg.value -
                                                        water.value * body.volume_m3.value,
                                         .water_kg_m3 = water.value,
                                         .water_temp_c = temp_c,
                                         .deviation_kg = found.difference_kg,
                                         .e_n = found.e_n,
                                         .low_kg = judged.low,
                                         .high_kg = judged.high,
                                         .by_history = judged.by_history,
                                         .outside = judged.verdict != UP_CHART_INSIDE};
    memcpy(check->id, plan->reference.id, sizeof check->id);
    memcpy(check->name, plan->reference.name, sizeof check->name);
}

bool separate_bodies(const struct up_measurement *measurement, struct up_separation *found) {
    struct up_body body[2];
    for (int i = 0; i < 2; i++) {
        const struct up_reference *reference = &measurement->reference[i].reference;
        const struct up_reference_check *check = &measurement->check[i];
        body[i] = (struct up_body){reference->mass_kg,
                                   up_reference_volume_m3(reference, check->water_temp_c),
                                   up_known(check->water_kg, check->u_water_kg)};
    }
    return up_separate_bodies(body, measurement->check[0].water_kg_m3, found, NULL);
}
