/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The demonstration's gear. All of it is invented: names, makers, masses, volumes. Net buoyancy in
 * fresh water of 22 C (997.8 kg/m3) stands behind each, in grams; volumes are at 20 C.
 */
#include "tank.h"

#define MAKER "Invented Works"

static const struct tank_item gear[] = {
    {"Heron fin", "fin", MAKER, "Heron", "L", 1, false, 1.980, 1.612e-3, 0.006, 0, 0,
     false}, /* -371 */
    {"Heron fins, pair", "fin", MAKER, "Heron", "L", 2, false, 3.960, 3.224e-3, 0.012, 0, 0,
     false}, /* -742 */
    {"Plover fin", "fin", MAKER, "Plover", "M", 1, false, 0.870, 1.036e-3, 0.004, 0, 0,
     false}, /* +164 */
    {"Plover fins, pair", "fin", MAKER, "Plover", "M", 2, false, 1.740, 2.072e-3, 0.008, 0, 0,
     false}, /* +328 */
    {"Coot fin", "fin", MAKER, "Coot", "M", 1, false, 1.110, 1.1025e-3, 0.005, 0, -0.06,
     false}, /* -10: the tip floats, the foot sinks */
    {"Coot fins, pair", "fin", MAKER, "Coot", "M", 2, false, 2.220, 2.205e-3, 0.010, 0, 0,
     false}, /* -19 */
    /* On the line between neutral and negative, so that nobody can tell which it is. */
    {"Grebe fin", "fin", MAKER, "Grebe", "XS", 1, false, 0.469405, 0.42e-3, 0.004, 0, 0,
     false}, /* -50 */
    /* Neutral in fresh water, positive in the sea. */
    {"Smew long fin", "fin", MAKER, "Smew", "42", 1, false, 2.580, 2.5958e-3, 0.008, 0, 0,
     false}, /* +11 */
    {"Dabchick boot", "boot", MAKER, "Dabchick", "43", 1, true, 0.520, 0.705e-3, 0.030, 0.15e-3, 0,
     false},
    {"Auk hood", "hood", MAKER, "Auk", "M", 1, true, 0.310, 0.585e-3, 0.010, 0.3e-3, 0, false},
    {"Lead block", "lead", MAKER, "block", "1 kg", 1, false, 1.000, 8.83e-5, 0, 0, 0,
     false}, /* -912 */
    {"Float light", "light", MAKER, "Lantern", "", 1, false, 0.640, 0.770e-3, 0.003, 0, 0,
     false}, /* +128 */
    {"Tern mask", "mask", MAKER, "Tern", "", 1, false, 0.395, 0.288e-3, 0.012, 0, 0,
     false}, /* -108 */
    {"Finger reel", "reel", MAKER, "Spool", "30 m", 1, false, 0.212, 0.187e-3, 0.004, 0, 0,
     false}, /* -25 */
    {.name = "Steel reference", .mass_kg = 1.5, .volume_m3 = 1.9e-4, .reference = true},
    {.name = "Hollow reference", .mass_kg = 1.2, .volume_m3 = 1.0e-3, .reference = true},
};
enum { REFERENCES = 2, GEAR = sizeof gear / sizeof gear[0] - REFERENCES };

const struct tank_item *tank_gear(size_t *count) {
    *count = GEAR;
    return gear;
}

const struct tank_item *tank_references(size_t *count) {
    *count = REFERENCES;
    return gear + GEAR;
}
