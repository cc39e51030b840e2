/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_cell.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <string.h>

void second_cell_begin(struct second_cell *cell, const struct second_cell_law *law,
                       gsl_rng *chance) {
    memset(cell, 0, sizeof *cell);
    cell->law = *law;
    cell->chance = chance;
}

static double creep_left(const struct second_cell *cell, int i, double time_s) {
    return cell->creep_left_kg[i] * exp(-(time_s - cell->since_s) / cell->law.creep_s[i]);
}

/* A loading is read too light by what has yet to creep; an unloading too heavy. In the end the same
   load shows the same value, whichever way it was come by. */
static void start_creep(struct second_cell *cell, double time_s, double step_kg) {
    for (int i = 0; i < SECOND_CREEPS; i++) {
        double share = step_kg > 0 ? cell->law.creep[i] : cell->law.creep_unloading[i];
        double left_kg = cell->law.creep_s[i] > 0 ? creep_left(cell, i, time_s) : 0;
        cell->creep_left_kg[i] = left_kg - share * step_kg;
    }
}

static void push_plays(struct second_cell *cell) {
    for (int i = 0; i < SECOND_PLAYS; i++) {
        double slack_kg = cell->law.play_kg[i];
        cell->play_at_kg[i] =
            fmax(cell->load_kg - slack_kg, fmin(cell->load_kg + slack_kg, cell->play_at_kg[i]));
    }
}

static double draw_offset(struct second_cell *cell, double step_kg) {
    const struct second_cell_law *law = &cell->law;
    double sd_kg = step_kg > 0 ? hypot(law->scatter_kg, law->scatter_share * step_kg)
                               : hypot(law->scatter_kg, law->return_share * step_kg);
    return gsl_ran_gaussian(cell->chance, sd_kg);
}

void second_cell_load(struct second_cell *cell, double time_s, double load_kg) {
    double step_kg = load_kg - cell->load_kg;
    if (step_kg == 0)
        return;
    start_creep(cell, time_s, step_kg);
    cell->offset_kg = draw_offset(cell, step_kg);
    cell->load_kg = load_kg;
    cell->since_s = time_s;
    push_plays(cell);
}

double second_cell_shows_kg(const struct second_cell *cell, double time_s, double extra_kg) {
    const struct second_cell_law *law = &cell->law;
    double shown_kg = cell->load_kg + extra_kg + cell->offset_kg;
    for (int i = 0; i < SECOND_CREEPS; i++) {
        shown_kg += law->creep[i] * cell->load_kg;
        if (cell->creep_left_kg[i] != 0)
            shown_kg += creep_left(cell, i, time_s);
    }
    for (int i = 0; i < SECOND_PLAYS; i++)
        shown_kg += law->play_share[i] * cell->play_at_kg[i];
    return shown_kg * (1 + law->span_share + law->bend_per_kg * shown_kg);
}

static double convert(struct second_cell *cell, double time_s, double extra_kg) {
    const struct second_cell_law *law = &cell->law;
    double fresh = gsl_ran_gaussian(cell->chance, law->noise_kg);
    cell->noise_kg =
        law->noise_lag1 * cell->noise_kg + sqrt(1 - law->noise_lag1 * law->noise_lag1) * fresh;
    double shown_kg = second_cell_shows_kg(cell, time_s, extra_kg) + cell->noise_kg;
    return round(law->zero_counts + 1000 * law->counts_g * shown_kg);
}

double second_cell_word(struct second_cell *cell, double time_s, double extra_kg) {
    if (cell->printed == 0)
        cell->word = convert(cell, time_s, extra_kg);
    cell->printed = (cell->printed + 1) % (cell->law.held > 1 ? cell->law.held : 1);
    return cell->word;
}
