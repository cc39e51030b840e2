/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Boards whose loop is faster than their converter print each conversion several times. */
#include <math.h>
#include <string.h>

#include "metrology/statistics.h"
#include "stream/repeats.h"

enum { LEAST_RUNS = 8 };

/* Choices of ours: with so much noise two neighbours are equal by chance in one of ten cases, and a
   word that lasts longer than four of five others counts as a new conversion. */
static const double NOISY_DIVISIONS = 3, UNEVEN = 0.25, BY_CHANCE = 1.35;

void repeats_begin(struct up_repeats *repeats, double division) {
    memset(repeats, 0, sizeof *repeats);
    repeats->division = division;
    repeats->word = (double)NAN;
    repeats->per_value = repeats->most = 1;
}

/* Nothing is learned from a quiet stream, whose noise is below the division, nor where the runs are
   of any length: then the load hardly moves. The shortest and the longest runs do not count. */
static void learn(struct up_repeats *repeats) {
    size_t known = repeats->runs < UP_REPEATS_MEMORY ? repeats->runs : UP_REPEATS_MEMORY;
    size_t first = known / 5, last = known * 4 / 5;
    double lines[UP_REPEATS_MEMORY], jump[UP_REPEATS_MEMORY];
    memcpy(lines, repeats->lines, known * sizeof lines[0]);
    memcpy(jump, repeats->jump, known * sizeof jump[0]);
    up_sort(lines, known);
    if (up_median(jump, known) >= NOISY_DIVISIONS * repeats->division &&
        lines[last] - lines[first] <= fmax(1, UNEVEN * lines[last])) {
        double mean = up_summarise(lines + first, last - first + 1).mean;
        repeats->per_value = mean > BY_CHANCE ? mean : 1;
        repeats->most = mean > BY_CHANCE ? (unsigned)lines[last] : 1;
    }
}

static void end_run(struct up_repeats *repeats, double word) {
    if (!isnan(repeats->word)) {
        size_t at = repeats->runs++ % UP_REPEATS_MEMORY;
        repeats->lines[at] = repeats->run;
        repeats->jump[at] = fabs(word - repeats->word);
        if (repeats->runs % LEAST_RUNS == 0) {
            learn(repeats);
        }
    }
    repeats->word = word;
    repeats->run = 1;
}

bool repeats_take(struct up_repeats *repeats, double word) {
    if (word != repeats->word) {
        end_run(repeats, word);
        return true;
    }
    return repeats->run++ % repeats->most == 0;
}

unsigned repeats_longest(const struct up_repeats *repeats) {
    double longest = 0;
    for (size_t i = 0; repeats->runs < LEAST_RUNS && i < repeats->runs; i++) {
        longest = fmax(longest, repeats->lines[i]);
    }
    return (unsigned)longest;
}
