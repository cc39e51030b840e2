/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A stream that looks as those of real load cells do, invented, with figures taken from recordings
 * of cheap beams on 24-bit converters: white noise of some 300 words of which neighbours correlate
 * by -0.2; a hung mass that swings at 0.93 Hz, 5 to 25 g 20 s after it was hung; creep of 5 to
 * 9 g a decade of time on 2.3 kg, of either sign; a zero that returns to within some grams only;
 * hands that place the mass for a second or two; boards that print each conversion several times.
 */
#ifndef REAL_CELL_H
#define REAL_CELL_H

#include <gsl/gsl_rng.h>
#include <stdbool.h>

struct real_cell {
    double counts_per_g, noise_counts, lag1;
    double creep_g_decade;  /* of the load that hangs */
    double zero_g;          /* the zero comes back to within so much, sd */
    double swing_g;         /* amplitude 20 s after a mass was hung */
    double rate_hz;         /* of the conversions */
    double lines_per_value; /* 1: each once; 3.3: three times, at times four */
    /* as it stands */
    gsl_rng *rng;
    double now_s, hung_s, load_g, before_g, offset_g, phase, last_noise, due_lines;
    long word;
};

/* Three cells of one stack differ in slope, noise and the sign of their creep. The caller frees the
   generator. */
struct real_cell real_cell_begin(int which, unsigned long seed);
/* Another mass hangs from now on, put there by hand. */
void real_cell_hang(struct real_cell *cell, double load_g);
/* The next line's word; the time stands in now_s. */
long real_cell_word(struct real_cell *cell);

#endif
