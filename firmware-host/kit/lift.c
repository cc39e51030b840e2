/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The lift of each part of a kit in a state of the dive. */
#include <math.h>

#include "kit/internal.h"

static const double GRAVITY_M_S2 = 9.80665, PA_PER_BAR = 1e5;
/* Steps of the numerical derivatives of the gas's density. */
enum { DELTA_BAR = 1, DELTA_K = 1 };

bool prepare_state(const struct up_kit *kit, const struct up_kit_state *state,
                   struct moment_of_dive *moment, struct up_failure *failure) {
    static const double more_bar[] = {0, DELTA_BAR, 0}, more_k[] = {0, 0, DELTA_K};
    *moment = (struct moment_of_dive){.state = state};
    for (size_t i = 0; i < kit->parts; i++) {
        struct up_quantity density[3] = {{0, 0, 0}};
        for (int k = 0; k < 3 && kit->part[i].kind == UP_PART_CYLINDER; k++) {
            double pressure_pa =
                (state->pressure_bar + more_bar[k]) * PA_PER_BAR + state->air_pressure_pa;
            if (!up_breathing_gas_density(&kit->part[i].gas, pressure_pa,
                                          state->gas_temp_c + more_k[k], &density[k], failure)) {
                return false;
            }
        }
        moment->gas_kg_m3[i] = density[0].value;
        moment->gas_kg_m3_bar[i] = (density[1].value - density[0].value) / DELTA_BAR;
        moment->gas_kg_m3_k[i] = (density[2].value - density[0].value) / DELTA_K;
    }
    return true;
}

double lead_factor(const struct up_kit_draws *draws, double water_kg_m3, size_t n) {
    return 1 - water_kg_m3 / input_at(draws, INPUT_LEAD_DENSITY, n);
}

static double gear_kg(const struct up_kit_draws *draws, size_t part, double water_kg_m3, size_t n) {
    double volume_m3 = input_at(draws, part_input(part, INPUT_VOLUME), n);
    double rho0 = draws->kit.part[part].density_kg_m3;
    double buoyancy_kg = input_at(draws, part_input(part, INPUT_BUOYANCY), n);
    buoyancy_kg -= draws->lowered == part + 1 ? draws->kit.part[part].stuck_air_kg : 0;
    return isnan(volume_m3) ? buoyancy_kg : buoyancy_kg + (water_kg_m3 - rho0) * volume_m3;
}

static double gas_kg(const struct up_kit_draws *draws, size_t part,
                     const struct moment_of_dive *moment, const struct misreading *off, size_t n) {
    static const double U_AIR_REL = 0.001, U_NITROX_REL = 0.003;
    const struct up_part *cylinder = &draws->kit.part[part];
    bool is_air = fabs(cylinder->gas.oxygen - UP_AIR_OXYGEN) < 0.005;
    double off_bar = off->pressure_bar + input_at(draws, INPUT_GAUGE, n);
    double density = moment->gas_kg_m3[part] + moment->gas_kg_m3_bar[part] * off_bar +
                     moment->gas_kg_m3_k[part] * off->gas_temp_k;
    density *= 1 + input_at(draws, INPUT_EQUATION, n) * (is_air ? U_AIR_REL : U_NITROX_REL);
    return fmax(density, 0) * cylinder->water_volume_m3;
}

static double suit_gas_kg(const struct up_kit_draws *draws, size_t part,
                          const struct up_kit_state *state, double water_kg_m3, double depth_m,
                          size_t n) {
    double gas_m3 = input_at(draws, part_input(part, INPUT_GAS), n);
    double deep_pa = state->air_pressure_pa + water_kg_m3 * GRAVITY_M_S2 * fmax(depth_m, 0);
    double share = input_at(draws, INPUT_SHARE, n);
    double share_left_in =
        state->suit_gas_gone ? 0 : 1 - share * (1 - state->air_pressure_pa / deep_pa);
    return water_kg_m3 * gas_m3 * share_left_in;
}

/* What it weighs then, as far off as the same lead always is. */
static double lead_kg(const struct up_kit_draws *draws, size_t part,
                      const struct up_kit_state *state, size_t n) {
    double marked_kg = draws->kit.part[part].mass_kg.value;
    double drawn_kg = input_at(draws, part_input(part, INPUT_MASS), n);
    double then_kg = state->lead_kg[part];
    return isnan(then_kg) ? drawn_kg : marked_kg > 0 ? then_kg * drawn_kg / marked_kg : then_kg;
}

double part_lift_kg(const struct up_kit_draws *draws, size_t part,
                    const struct moment_of_dive *moment, const struct misreading *off, size_t n) {
    const struct up_kit_state *state = moment->state;
    double water_kg_m3 = state->water_kg_m3 + off->water_kg_m3;
    if (state->without[part]) {
        return 0;
    }
    switch (draws->kit.part[part].kind) {
    case UP_PART_LEAD:
        return -lead_kg(draws, part, state, n) * lead_factor(draws, water_kg_m3, n);
    case UP_PART_CYLINDER:
        return gear_kg(draws, part, water_kg_m3, n) - gas_kg(draws, part, moment, off, n);
    case UP_PART_SUIT:
        return gear_kg(draws, part, water_kg_m3, n) +
               suit_gas_kg(draws, part, state, water_kg_m3, state->depth_m + off->depth_m, n);
    case UP_PART_JACKET:
        return gear_kg(draws, part, water_kg_m3, n) + state->jacket_gas_kg +
               water_kg_m3 * input_at(draws, part_input(part, INPUT_GAS), n);
    case UP_PART_GEAR:
        break;
    }
    return gear_kg(draws, part, water_kg_m3, n);
}

double gear_lift_kg(const struct up_kit_draws *draws, const struct moment_of_dive *moment,
                    const struct misreading *off, size_t n) {
    double lift_kg = 0, all_lead_kg = 0;
    for (size_t i = 0; i < draws->kit.parts; i++) {
        const struct up_part *part = &draws->kit.part[i];
        if (part->spare || moment->state->without[i]) {
            continue;
        }
        if (part->kind == UP_PART_LEAD) {
            all_lead_kg += lead_kg(draws, i, moment->state, n);
        } else {
            lift_kg += part_lift_kg(draws, i, moment, off, n);
        }
    }
    return lift_kg -
           all_lead_kg * lead_factor(draws, moment->state->water_kg_m3 + off->water_kg_m3, n);
}
