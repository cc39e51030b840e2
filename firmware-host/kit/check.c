/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Impossible inputs, reported before anything is computed. */
#include <math.h>

#include "kit/internal.h"

/* Room for a reading a little above the stamp; heat alone does that. */
static const double OVER_RATING = 1.1;
/* Gear of unknown volume serves in water this near to that it was weighed in: 1 kg/m3 is 1 g a
   litre. */
static const double NEAR_KG_M3 = 1;

#define wrong(failure, ...) up_fail(failure, UP_STATUS_WRONG_INPUT, __VA_ARGS__)

/* Bounds of single numbers are the schema's; these are what none of them shows. */
static bool check_part(const struct up_part *part, struct up_failure *failure) {
    if (!isfinite(part->buoyancy_kg.value + part->buoyancy_kg.u)) {
        return wrong(failure, "\"%s\": its buoyancy is not a number", part->name);
    }
    return part->kind != UP_PART_CYLINDER || part->volume_m3.value > part->water_volume_m3 ||
           wrong(failure,
                 "cylinder \"%s\": its outside (%g l) must be larger than its inside (%g l)",
                 part->name, part->volume_m3.value * 1e3, part->water_volume_m3 * 1e3);
}

bool check_volume(const struct up_part *part, const struct up_kit_state *state, const char *label,
                  struct up_failure *failure) {
    return !isnan(part->volume_m3.value) ||
           fabs(state->water_kg_m3 - part->density_kg_m3) <= NEAR_KG_M3 ||
           wrong(failure,
                 "\"%s\" was measured in water of %.1f kg/m3 and its volume is unknown, so nothing "
                 "can be said of %s (%.1f kg/m3): weigh it in air too, or give its volume",
                 part->name, part->density_kg_m3, label, state->water_kg_m3);
}

static bool check_pressure(const struct up_part *part, const struct up_kit_state *state,
                           const char *label, struct up_failure *failure) {
    double most_bar = part->working_pressure_bar * OVER_RATING;
    return part->kind != UP_PART_CYLINDER ||
           (state->pressure_bar >= 0 && state->pressure_bar <= most_bar) ||
           wrong(failure,
                 "%s: %g bar in \"%s\", which is rated for %g bar: give 0 to %g bar as the gauge "
                 "shows it",
                 label, state->pressure_bar, part->name, part->working_pressure_bar, most_bar);
}

/* Cylinders that are worn together hold one gas. */
static bool check_gases(const struct up_kit *kit, const struct up_kit_state *state,
                        const char *label, struct up_failure *failure) {
    const struct up_part *first = NULL;
    for (size_t i = 0; i < kit->parts; i++) {
        const struct up_part *part = &kit->part[i];
        if (part->kind != UP_PART_CYLINDER || part->spare || state->without[i]) {
            continue;
        }
        if (first != NULL && first->gas.oxygen != part->gas.oxygen) {
            return wrong(
                failure,
                "%s: \"%s\" and \"%s\" hold different gases; several gases are beyond this "
                "program: list under \"without\" what is not worn then",
                label, first->name, part->name);
        }
        first = part;
    }
    return true;
}

bool check_state(const struct up_kit *kit, const struct up_kit_state *state, const char *label,
                 struct up_failure *failure) {
    if (!check_gases(kit, state, label, failure)) {
        return false;
    }
    for (size_t i = 0; i < kit->parts; i++) {
        if (!state->without[i] && !kit->part[i].spare &&
            (!check_volume(&kit->part[i], state, label, failure) ||
             !check_pressure(&kit->part[i], state, label, failure))) {
            return false;
        }
    }
    return true;
}

static bool check_checks(const struct up_kit *kit, struct up_failure *failure) {
    for (size_t i = 0; i < kit->checks; i++) {
        const struct up_kit_state *state = &kit->check[i].state;
        if (!check_state(kit, state, kit->check[i].label, failure)) {
            return false;
        }
        if (state->jacket_gas_kg != 0) {
            return wrong(failure,
                         "%s: a check with gas in the jacket says nothing of the lead: let all of "
                         "it out and check again",
                         kit->check[i].label);
        }
    }
    return true;
}

bool check_kit(const struct up_kit *kit, struct up_failure *failure) {
    if (kit->checks == 0) {
        return wrong(failure,
                     "no weight check yet: do one in the water with an instructor, "
                     "hanging still and breathing normally over several breaths, and enter it");
    }
    for (size_t i = 0; i < kit->parts; i++) {
        if (!check_part(&kit->part[i], failure)) {
            return false;
        }
    }
    return check_checks(kit, failure);
}
