/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "real_cell.h"

#include <gsl/gsl_randist.h>
#include <math.h>

static const double TWO_PI = 6.283185307179586, SWING_HZ = 0.93, SWING_DIES_S = 60, PLACED_S = 1.5;

struct real_cell real_cell_begin(int which, unsigned long seed) {
    static const struct real_cell cells[3] = {
        {.counts_per_g = 3034, .noise_counts = 338, .lag1 = -0.25, .creep_g_decade = -7},
        {.counts_per_g = 2517, .noise_counts = 271, .lag1 = -0.15, .creep_g_decade = 7.5},
        {.counts_per_g = 1788, .noise_counts = 300, .lag1 = -0.24, .creep_g_decade = 2},
    };
    struct real_cell cell = cells[which];
    cell.zero_g = 4;
    cell.swing_g = 12;
    cell.rate_hz = 8.85;
    cell.lines_per_value = 1;
    cell.rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(cell.rng, seed);
    cell.hung_s = -1000;
    return cell;
}

void real_cell_hang(struct real_cell *cell, double load_g) {
    cell->before_g = cell->load_g;
    cell->load_g = load_g;
    cell->hung_s = cell->now_s;
    cell->offset_g = load_g == 0 ? gsl_ran_gaussian(cell->rng, cell->zero_g) : cell->offset_g;
    cell->phase = TWO_PI * gsl_rng_uniform(cell->rng);
}

static double read_g(struct real_cell *cell) {
    double since_s = cell->now_s - cell->hung_s;
    double share = cell->load_g / 2280; /* of the load that the figures belong to */
    if (since_s < PLACED_S) {
        double placed = since_s / PLACED_S;
        return cell->before_g + placed * (cell->load_g - cell->before_g) +
               gsl_ran_gaussian(cell->rng, 100);
    }
    double swing_g = cell->swing_g * share * exp((20 - since_s) / SWING_DIES_S);
    return cell->load_g + cell->offset_g + cell->creep_g_decade * share * log10(since_s) +
           swing_g * sin(TWO_PI * SWING_HZ * since_s + cell->phase);
}

static void convert(struct real_cell *cell) {
    double fresh = sqrt(1 - cell->lag1 * cell->lag1) * cell->noise_counts;
    cell->last_noise = cell->lag1 * cell->last_noise + gsl_ran_gaussian(cell->rng, fresh);
    cell->word = lround(-50000 + cell->counts_per_g * read_g(cell) + cell->last_noise);
    cell->due_lines += cell->lines_per_value;
}

long real_cell_word(struct real_cell *cell) {
    cell->now_s += 1 / (cell->rate_hz * cell->lines_per_value);
    if (cell->due_lines < 1) {
        convert(cell);
    }
    cell->due_lines--;
    return cell->word;
}
