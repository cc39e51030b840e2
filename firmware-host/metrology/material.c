/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/material.h"

#include <math.h>
#include <string.h>

/* Read as excerpts: the handbook's page 817, and two tables of a public engineering site. A single
   value is given a tenth either way (a choice of ours): grades, fillers and temperature differ. */
#define HANDBOOK "Callister, Fundamentals of Materials Science and Engineering, 3rd ed., table B.6"
#define VOLUME   "a public table of volume expansion, +- 10 % (our choice)"
#define LENGTH   "a public table of linear expansion, times 3"
#define BOTH     "the lower end from public tables, the upper from " HANDBOOK
#define MEMORY   "from memory"

/* Per kelvin, 1e-6 of the volume; or of the length, of which a volume has three. */
#define OF_LENGTH(name, low, high, source)                                                         \
    { name, 3e-6 * (low), 3e-6 * (high), source }
#define OF_VOLUME(name, low, high, source)                                                         \
    { name, 1e-6 * (low), 1e-6 * (high), source }

static const struct up_material materials[] = {
    OF_LENGTH("abs", 72, 108, LENGTH),
    OF_VOLUME("aluminium", 62, 76, VOLUME),
    OF_VOLUME("brass", 51, 63, VOLUME),
    OF_LENGTH("carbon-fibre", 0, 30, MEMORY),
    OF_VOLUME("copper", 45, 55, VOLUME),
    OF_LENGTH("eva", 160, 200, LENGTH),
    OF_VOLUME("glass", 25, 30, VOLUME),
    OF_LENGTH("glass-fibre", 20, 40, LENGTH),
    OF_VOLUME("lead", 76, 92, VOLUME),
    OF_LENGTH("nylon", 80, 144, BOTH),
    OF_LENGTH("polycarbonate", 65, 122, BOTH),
    OF_LENGTH("polyethylene", 106, 400, HANDBOOK),
    OF_LENGTH("polypropylene", 146, 180, HANDBOOK),
    OF_LENGTH("polyurethane", 100, 200, MEMORY),
    OF_LENGTH("pvc", 52, 180, BOTH),
    OF_VOLUME("rubber", 487, 705, BOTH),
    OF_LENGTH("silicone", 240, 300, HANDBOOK " (270), +- a tenth"),
    OF_VOLUME("stainless-steel", 30, 52, VOLUME),
    OF_VOLUME("steel", 32, 39, VOLUME),
    OF_VOLUME("titanium", 23, 29, VOLUME),
};

const struct up_material *up_material_at(size_t i) {
    return i < sizeof materials / sizeof *materials ? &materials[i] : NULL;
}

const struct up_material *up_material_named(const char *name) {
    for (size_t i = 0; i < sizeof materials / sizeof *materials; i++) {
        if (strcmp(materials[i].name, name) == 0) {
            return &materials[i];
        }
    }
    return NULL;
}

double up_material_expansion_per_k(const struct up_material *material) {
    return (material->low_per_k + material->high_per_k) / 2;
}

double up_material_u_expansion_per_k(const struct up_material *material) {
    return (material->high_per_k - material->low_per_k) / 2 / sqrt(3);
}
