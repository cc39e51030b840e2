/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What to beware of at a tank; rigs/README.md says the same at more length. Common practice, no
   source. */
#include <string.h>

#include "cli.h"

#define MAINS_OFF    "Mains off, and plugs pulled at the tank, before hands go into the water."
#define LAPTOP       "Run the laptop on its battery, without the charger."
#define ALONE        "Never work alone at the water, never leave children unattended."
#define HANGING      "Lift nothing over people or swimmers. Hands and feet out from under loads."
#define GLASS        "A dropped mass breaks a glass tank: both hands, and a mat under the hook."
#define LEAD         "Wash your hands after you handle lead, before you eat or drink."
#define CARRY        "Cylinders: two people or a hoist; valve shut, some pressure left in."
#define SECOND_DEPTH "Second depth: lower it by the line from the surface; nobody goes under water."

const char *const all_cautions[] = {
    "Low voltage only at the tank.",
    MAINS_OFF,
    LAPTOP,
    "Mains: out of splash, behind a residual-current device, each drip loop below its socket.",
    "Relay and shaker: normally open, fed by low voltage; hands out of the water while it runs.",
    "A litre is a kilogram: floor and stand must be rated for the filled tank.",
    GLASS,
    HANGING,
    "Hang no more than the load cell, its beam and its hooks are rated for.",
    ALONE,
    SECOND_DEPTH,
    "Warm standing water breeds germs: change it or treat it, and keep cuts out of it.",
    LEAD,
    CARRY,
    "Cylinders: never opened or drained for the bench.",
    "Cylinders: within their test date and as their maker's instructions say.",
    "Cylinders: within the limits of hoist and cell, and by trained people only.",
    "Local codes and licensed practice come first: where you are not sure, ask a professional.",
    "The numbers only prepare a dive: a weight check in the water decides.",
    NULL};

static const char *const for_calibrate[] = {MAINS_OFF, LAPTOP, GLASS, HANGING, LEAD, ALONE, NULL};
static const char *const for_measure[] = {MAINS_OFF,    LAPTOP, HANGING, CARRY,
                                          SECOND_DEPTH, LEAD,   ALONE,   NULL};

const struct up_cautions *cautions_of(const char *command) {
    static const struct up_cautions
        calibrating =
            {for_calibrate,
             "Cautions: mains off before hands go into the water, the laptop on battery, "
             "hands and feet out from under loads, never work alone. `upthrust help rig` has "
             "all"},
        measuring = {for_measure,
                     "Cautions: mains off before hands go into the water, the laptop on battery, "
                     "cylinders by two people or a hoist, nobody goes under water, never work "
                     "alone. `upthrust help rig` has all"};
    return strcmp(command, "measure") == 0 ? &measuring : &calibrating;
}
