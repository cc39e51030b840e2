/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "chance.h"

#include <gsl/gsl_rng.h>
#include <stdlib.h>

#include "text/text.h"

struct chance {
    gsl_rng *generator;
};

struct chance *chance_begin(unsigned long seed) {
    struct chance *chance = up_allocate(1, sizeof *chance);
    chance->generator = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(chance->generator, seed);
    return chance;
}

void chance_end(struct chance *chance) {
    gsl_rng_free(chance->generator);
    free(chance);
}

size_t chance_below(struct chance *chance, size_t limit) {
    return gsl_rng_uniform_int(chance->generator, limit);
}
