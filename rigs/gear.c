/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The demonstration's gear. All of it is invented: names, makers, masses, volumes. Net buoyancy in
 * fresh water of 22 C (997.8 kg/m3) stands behind each, in grams; volumes are at 20 C.
 */
#include "tank.h"

#define GEAR(name_, kind_, model_, size_, pieces_, compressible_, mass, volume, trapped)           \
    .name = name_, .kind = kind_, .maker = "Invented Works", .model = model_, .size = size_,       \
    .pieces = pieces_, .compressible = compressible_, .mass_kg = mass, .volume_m3 = volume,        \
    .trapped_kg = trapped

static const struct tank_item gear[] = {
    {GEAR("Heron fin", "fin", "Heron", "L", 1, false, 1.980, 1.612e-3, 0.006)},          /* -371 */
    {GEAR("Heron fins, pair", "fin", "Heron", "L", 2, false, 3.960, 3.224e-3, 0.012)},   /* -742 */
    {GEAR("Plover fin", "fin", "Plover", "M", 1, false, 0.870, 1.036e-3, 0.004)},        /* +164 */
    {GEAR("Plover fins, pair", "fin", "Plover", "M", 2, false, 1.740, 2.072e-3, 0.008)}, /* +328 */
    /* -10: the tip floats, the foot sinks */
    {GEAR("Coot fin", "fin", "Coot", "M", 1, false, 1.110, 1.1025e-3, 0.005), .tip_kg = -0.06},
    {GEAR("Coot fins, pair", "fin", "Coot", "M", 2, false, 2.220, 2.205e-3, 0.010)}, /* -19 */
    /* On the limit between neutral and negative, so that it cannot be decided. */
    {GEAR("Grebe fin", "fin", "Grebe", "XS", 1, false, 0.469405, 0.42e-3, 0.004)}, /* -50 */
    /* Neutral in fresh water, positive in the sea. */
    {GEAR("Smew long fin", "fin", "Smew", "42", 1, false, 2.580, 2.5958e-3, 0.008)}, /* +11 */
    {GEAR("Dabchick boot", "boot", "Dabchick", "43", 1, true, 0.520, 0.705e-3, 0.030),
     .gas_m3 = 0.15e-3},
    {GEAR("Auk hood", "hood", "Auk", "M", 1, true, 0.310, 0.585e-3, 0.010), .gas_m3 = 0.3e-3},
    {GEAR("Lead block", "lead", "block", "1 kg", 1, false, 1.000, 8.83e-5, 0)},       /* -912 */
    {GEAR("Float light", "light", "Lantern", "", 1, false, 0.640, 0.770e-3, 0.003)},  /* +128 */
    {GEAR("Tern mask", "mask", "Tern", "", 1, false, 0.395, 0.288e-3, 0.012)},        /* -108 */
    {GEAR("Finger reel", "reel", "Spool", "30 m", 1, false, 0.212, 0.187e-3, 0.004)}, /* -25 */
    {.name = "Steel reference", .mass_kg = 1.5, .volume_m3 = 1.9e-4, .reference = true},
    {.name = "Hollow reference", .mass_kg = 1.2, .volume_m3 = 1.0e-3, .reference = true},
};
enum { REFERENCES = 2, PIECES = sizeof gear / sizeof gear[0] - REFERENCES };

const struct tank_item *tank_gear(size_t *count) {
    *count = PIECES;
    return gear;
}

const struct tank_item *tank_references(size_t *count) {
    *count = REFERENCES;
    return gear + PIECES;
}
