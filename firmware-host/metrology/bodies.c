/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/bodies.h"

#include "metrology/statistics.h"

static const double DENSITY_RATIO_MAX = 0.8;

static bool is_finite(struct up_quantity quantity) {
    return isfinite(quantity.value) && isfinite(quantity.u) && quantity.u >= 0;
}

static bool is_body(const struct up_body *body, struct up_failure *failure) {
    if (!is_finite(body->mass_kg) || !is_finite(body->volume_m3) || !(body->mass_kg.value > 0) ||
        !(body->volume_m3.value > 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "reference body: mass %g kg and volume %g m3 are not both known and above "
                       "zero; weigh it in air and give its volume",
                       body->mass_kg.value, body->volume_m3.value);
    }
    if (!is_finite(body->water_kg)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "reference body: its load in the water, %g kg, is not a number with an "
                       "uncertainty; weigh it in the tank",
                       body->water_kg.value);
    }
    return true;
}

static bool is_water(double density_kg_m3, struct up_failure *failure) {
    return (isfinite(density_kg_m3) && density_kg_m3 > 0) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "reference body: the water's density, %g kg/m3, is not above zero",
                   density_kg_m3);
}

bool up_check_body(const struct up_body *body, struct up_quantity scale_rel,
                   struct up_quantity water_kg_m3, struct up_body_check *check,
                   struct up_failure *failure) {
    *check = (struct up_body_check){{(double)NAN, (double)NAN, 0}, (double)NAN};
    if (!is_body(body, failure) || !is_water(water_kg_m3.value, failure)) {
        return false;
    }
    if (!is_finite(scale_rel) || !is_finite(water_kg_m3)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "reference body: the claimed uncertainty of scale or water is not a number");
    }
    double scale = 1 + scale_rel.value, volume_m3 = body->volume_m3.value;
    double weight_kg = body->mass_kg.value - water_kg_m3.value * volume_m3;
    const double u[] = {body->water_kg.u, scale * body->mass_kg.u,
                        scale * water_kg_m3.value * body->volume_m3.u,
                        scale * volume_m3 * water_kg_m3.u, weight_kg * scale_rel.u};
    const double dof[] = {body->water_kg.dof, body->mass_kg.dof, body->volume_m3.dof,
                          water_kg_m3.dof, scale_rel.dof};
    double variance = 0;
    for (int i = 0; i < 5; i++) {
        variance += u[i] * u[i];
    }
    check->difference_kg = (struct up_quantity){body->water_kg.value - scale * weight_kg,
                                                sqrt(variance), up_effective_dof(u, dof, 5)};
    check->e_n = check->difference_kg.value / (2 * check->difference_kg.u);
    return true;
}

/* ---- two bodies ---- */

/* Of o = A m - B V: how much it may be out, over both loads and what is known of the body. */
static struct up_quantity error_of_equation(const struct up_body *body, double a, double b) {
    const double u[] = {body->water_kg.u, a * body->mass_kg.u, b * body->volume_m3.u};
    const double dof[] = {body->water_kg.dof, body->mass_kg.dof, body->volume_m3.dof};
    return (struct up_quantity){0, hypot(u[0], hypot(u[1], u[2])), up_effective_dof(u, dof, 3)};
}

static bool densities_differ(const struct up_body body[2], struct up_failure *failure) {
    double first = body[0].mass_kg.value / body[0].volume_m3.value;
    double second = body[1].mass_kg.value / body[1].volume_m3.value;
    return fmin(first, second) <= DENSITY_RATIO_MAX * fmax(first, second) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "reference bodies: densities of %.0f and %.0f kg/m3 are too close to separate "
                   "an error of the scale from one of the water; use bodies of which one is at "
                   "least 1.25 times as dense",
                   first, second);
}

/* Both equations give A and B; s = A - 1 and rho + d = B / A. First order in what is uncertain. */
static void separate(const struct up_body body[2], double water_kg_m3, double a, double b,
                     double determinant, struct up_separation *separation) {
    double u_s[2], u_d[2], dof[2];
    for (int i = 0; i < 2; i++) {
        const struct up_body *other = &body[1 - i];
        double sign = i == 0 ? -1 : 1;
        double to_a = sign * other->volume_m3.value / determinant;
        double to_b = sign * other->mass_kg.value / determinant;
        struct up_quantity error = error_of_equation(&body[i], a, b);
        u_s[i] = to_a * error.u;
        u_d[i] = (to_b - b / a * to_a) / a * error.u;
        dof[i] = error.dof;
    }
    separation->scale_rel =
        (struct up_quantity){a - 1, hypot(u_s[0], u_s[1]), up_effective_dof(u_s, dof, 2)};
    separation->density_error_kg_m3 = (struct up_quantity){
        b / a - water_kg_m3, hypot(u_d[0], u_d[1]), up_effective_dof(u_d, dof, 2)};
    separation->covariance_kg_m3 = u_s[0] * u_d[0] + u_s[1] * u_d[1];
}

bool up_separate_bodies(const struct up_body body[2], double water_kg_m3,
                        struct up_separation *separation, struct up_failure *failure) {
    const struct up_quantity nothing = {(double)NAN, (double)NAN, 0};
    *separation = (struct up_separation){nothing, nothing, (double)NAN};
    if (!is_body(&body[0], failure) || !is_body(&body[1], failure) ||
        !is_water(water_kg_m3, failure) || !densities_differ(body, failure)) {
        return false;
    }
    double m_0 = body[0].mass_kg.value, v_0 = body[0].volume_m3.value, o_0 = body[0].water_kg.value;
    double m_1 = body[1].mass_kg.value, v_1 = body[1].volume_m3.value, o_1 = body[1].water_kg.value;
    double determinant = m_1 * v_0 - m_0 * v_1;
    double a = (o_1 * v_0 - o_0 * v_1) / determinant, b = (o_1 * m_0 - o_0 * m_1) / determinant;
    if (!(a > 0.5 && a < 2)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "reference bodies: loads of %g and %g kg in water would make the scale %g "
                       "times too large; check whether the two were swapped",
                       o_0, o_1, a);
    }
    separate(body, water_kg_m3, a, b, determinant, separation);
    return true;
}
