/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/gas.h"

#include <stddef.h>

#define ZERO_C_K 273.15

#define DEPTH_MAX_M       60.0
#define APART_MIN_M       0.1
#define AIR_MIN_PA        60e3
#define AIR_MAX_PA        110e3
#define TEMP_MAX_C        40.0
#define TEMP_REACH_K      20.0
#define PRESSURE_LOW_REL  0.9
#define PRESSURE_HIGH_REL 3.0
#define LAW_HALF_REL      0.5 /* the rule of width, see the header */

/* ---- input ---- */

struct number {
    const char *what;
    double value, low, high;
};

static bool are_within(const struct number *number, size_t count, struct up_failure *failure) {
    for (size_t i = 0; i < count; i++) {
        /* NaN is not within either. */
        if (!(number[i].value >= number[i].low && number[i].value <= number[i].high)) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT, "gas: %s is %g, outside %g to %g",
                           number[i].what, number[i].value, number[i].low, number[i].high);
        }
    }
    return true;
}

static bool is_sound(const struct up_gas_session *session, struct up_failure *failure) {
    const struct number numbers[] = {
        {"depth of the shallow weighing in m", session->shallow.depth_m, 0, DEPTH_MAX_M},
        {"depth of the deep weighing in m", session->deep.depth_m, 0, DEPTH_MAX_M},
        {"buoyancy when shallow in kg", session->shallow.buoyancy_kg, -1e4, 1e4},
        {"buoyancy when deep in kg", session->deep.buoyancy_kg, -1e4, 1e4},
        {"uncertainty of the buoyancy in kg", session->u_buoyancy_kg, 0, 1e3},
        {"uncertainty of the difference in kg", session->u_difference_kg, 0, 1e3},
        {"uncertainty of the deep weighing in kg", session->u_deep_own_kg, 0, 1e3},
        {"uncertainty of the depths in m", session->u_depth_difference_m, 0, DEPTH_MAX_M},
        {"air pressure in Pa", session->air_pressure_pa.value, AIR_MIN_PA, AIR_MAX_PA},
        {"uncertainty of the air pressure in Pa", session->air_pressure_pa.u, 0, 20e3},
        {"temperature in C", session->temp_c, 0, TEMP_MAX_C},
        {"gravity in m/s2", session->gravity_m_s2.value, 9.7, 9.9},
        {"density of the water in kg/m3", session->water_kg_m3, 950, 1100},
    };
    double apart_m = session->deep.depth_m - session->shallow.depth_m;
    if (!are_within(numbers, sizeof numbers / sizeof *numbers, failure)) {
        return false;
    }
    return apart_m >= APART_MIN_M ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "gas: the deep weighing lies %g m below the shallow one: weigh at least %g m "
                   "deeper",
                   apart_m, APART_MIN_M);
}

/* ---- the volume ---- */

static double per_m_pa(const struct up_gas_session *session) {
    return session->water_kg_m3 * session->gravity_m_s2.value;
}

/* Relative, of 1 - P1/P2 = rho g (d2 - d1) / P2. */
static double u_squeeze_rel(const struct up_gas_session *session, double deep_pa) {
    double apart_m = session->deep.depth_m - session->shallow.depth_m;
    return hypot(session->u_depth_difference_m / apart_m,
                 hypot(session->air_pressure_pa.u / deep_pa,
                       session->gravity_m_s2.u / session->gravity_m_s2.value));
}

bool up_gas_from_depths(const struct up_gas_session *session, struct up_gas *gas,
                        struct up_failure *failure) {
    double nan = (double)NAN;
    *gas = (struct up_gas){{nan, nan, nan}, nan, nan, nan, nan, nan, nan, nan, *session};
    if (!is_sound(session, failure)) {
        return false;
    }
    double lost_kg = session->shallow.buoyancy_kg - session->deep.buoyancy_kg;
    if (lost_kg < -2 * session->u_difference_kg) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "gas: the item floats %.3g kg more when deep: air left it or was caught "
                       "between the two weighings; weigh it again",
                       -lost_kg);
    }
    gas->pressure_pa =
        session->air_pressure_pa.value + per_m_pa(session) * session->shallow.depth_m;
    gas->deep_pressure_pa =
        session->air_pressure_pa.value + per_m_pa(session) * session->deep.depth_m;
    double per_kg = 1 / (session->water_kg_m3 * (1 - gas->pressure_pa / gas->deep_pressure_pa));
    double volume_m3 = lost_kg * per_kg;
    gas->volume_m3 =
        up_known(volume_m3, hypot(session->u_difference_kg * per_kg,
                                  volume_m3 * u_squeeze_rel(session, gas->deep_pressure_pa)));
    gas->temp_c = session->temp_c;
    gas->pressure_low_pa = PRESSURE_LOW_REL * gas->pressure_pa;
    gas->pressure_high_pa = PRESSURE_HIGH_REL * gas->pressure_pa;
    gas->temp_low_c = fmax(session->temp_c - TEMP_REACH_K, 0);
    gas->temp_high_c = fmin(session->temp_c + TEMP_REACH_K, TEMP_MAX_C);
    return true;
}

/* ---- elsewhere ---- */

/* What a unit of V swells by, from the shallow weighing's state to another. */
static double relative_growth(const struct up_gas *gas, double pressure_pa, double temp_c) {
    return gas->pressure_pa / pressure_pa * (temp_c + ZERO_C_K) / (gas->temp_c + ZERO_C_K) - 1;
}

/* From the nearer of the two weighed pressures; pressure and temperature apart, so that they do
   not cancel. */
static double u_law_kg(const struct up_gas *gas, double pressure_pa, double temp_c) {
    double near_pa =
        fabs(pressure_pa - gas->pressure_pa) < fabs(pressure_pa - gas->deep_pressure_pa)
            ? gas->pressure_pa
            : gas->deep_pressure_pa;
    double by_pressure =
        relative_growth(gas, pressure_pa, gas->temp_c) - relative_growth(gas, near_pa, gas->temp_c);
    double by_temp =
        relative_growth(gas, pressure_pa, temp_c) - relative_growth(gas, pressure_pa, gas->temp_c);
    /* A volume that came out at nothing may still be as much as its u. */
    double volume_m3 = hypot(gas->volume_m3.value, gas->volume_m3.u);
    return LAW_HALF_REL * gas->session.water_kg_m3 * volume_m3 *
           (fabs(by_pressure) + fabs(by_temp)) / sqrt(3);
}

/* b = b1 - f (b1 - b2): each weighing has an error of its own, and one they share. The shallow one
   is a mean of several, the deep one a single reading. */
static double u_weighings_kg(const struct up_gas *gas, double share) {
    const struct up_gas_session *session = &gas->session;
    double both = session->u_difference_kg * session->u_difference_kg;
    double deep = session->u_deep_own_kg > 0
                      ? fmin(session->u_deep_own_kg * session->u_deep_own_kg, both)
                      : both / 2;
    double shallow = both - deep;
    double common = fmax(session->u_buoyancy_kg * session->u_buoyancy_kg - shallow, 0);
    return sqrt(common + shallow * (1 - share) * (1 - share) + deep * share * share);
}

bool up_gas_buoyancy_at(const struct up_gas *gas, const struct up_gas_place *place,
                        struct up_gas_prediction *prediction, struct up_failure *failure) {
    const struct up_gas_session *session = &gas->session;
    double nan = (double)NAN;
    double pressure_pa = place->air_pressure_pa + per_m_pa(session) * place->depth_m;
    const struct number numbers[] = {
        {"depth asked for in m", place->depth_m, 0, DEPTH_MAX_M},
        {"air pressure asked for in Pa", place->air_pressure_pa, AIR_MIN_PA, AIR_MAX_PA},
        {"absolute pressure there in Pa", pressure_pa, gas->pressure_low_pa, gas->pressure_high_pa},
        {"temperature asked for in C", place->temp_c, gas->temp_low_c, gas->temp_high_c},
    };
    *prediction = (struct up_gas_prediction){{nan, nan, nan}, nan, nan};
    if (!are_within(numbers, sizeof numbers / sizeof *numbers, failure)) {
        return false;
    }
    double swell = relative_growth(gas, pressure_pa, place->temp_c);
    double share = swell / relative_growth(gas, gas->deep_pressure_pa, gas->temp_c);
    double change_kg = session->water_kg_m3 * gas->volume_m3.value * swell;
    double u_pressures_kg = fabs(change_kg) * u_squeeze_rel(session, gas->deep_pressure_pa);
    prediction->pressure_pa = pressure_pa;
    prediction->u_law_kg = u_law_kg(gas, pressure_pa, place->temp_c);
    prediction->buoyancy_kg =
        up_known(session->shallow.buoyancy_kg + change_kg,
                 hypot(u_weighings_kg(gas, share), hypot(u_pressures_kg, prediction->u_law_kg)));
    return true;
}
