/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The noise floor of a stream, from the differences of its good readings over the last seconds. */
#include <math.h>
#include <string.h>

#include "metrology/statistics.h"
#include "stream/noise.h"

/* Half of what a window and the wait before it last by default: by the time a load is read, more
   than half of the memory is of that load. Differences of readings closer than APART_S would not
   see a swing of the load, whatever the rate. Choices of ours. */
static const double MEMORY_S = 25, APART_S = 0.09, KEPT_EVERY_S = 0.16, TAKEN_EVERY_S = 2.5;

enum { LEAST = 16 }; /* differences; a slow device's memory is as long as they take */

void noise_begin(struct up_noise *noise, double floor_least) {
    memset(noise, 0, sizeof *noise);
    noise->floor_least = floor_least;
    noise->floor = noise->from_s = (double)NAN;
    noise->due_s = noise->keep_s = (double)-INFINITY;
}

static void update_floor(struct up_noise *noise) {
    double copy[UP_NOISE_MEMORY];
    size_t count = 0;
    for (; count < noise->known; count++) {
        size_t at = (noise->learned - 1 - count) % UP_NOISE_MEMORY;
        if (count >= LEAST && noise->time_s[at] < noise->from_s - MEMORY_S) {
            break;
        }
        copy[count] = noise->difference[at];
    }
    noise->floor = fmax(noise->floor_least, 1.4826 * up_median(copy, count) / sqrt(2));
    noise->due_s = noise->from_s + TAKEN_EVERY_S;
}

static void keep(struct up_noise *noise, double time_s, double difference) {
    size_t at = noise->learned++ % UP_NOISE_MEMORY;
    noise->time_s[at] = time_s;
    noise->difference[at] = difference;
    noise->known += noise->known < UP_NOISE_MEMORY;
    noise->keep_s = time_s + KEPT_EVERY_S;
}

bool noise_learn(struct up_noise *noise, double time_s, double load) {
    double apart_s = time_s - noise->from_s;
    if (apart_s < APART_S) {
        return false;
    }
    if (!isnan(apart_s) && (time_s >= noise->keep_s || noise->known < LEAST)) {
        keep(noise, time_s, fabs(load - noise->from_load));
    }
    noise->from_s = time_s;
    noise->from_load = load;
    if (noise->known < LEAST || (time_s < noise->due_s && !isnan(noise->floor))) {
        return false;
    }
    update_floor(noise);
    return true;
}

void noise_forget_since(struct up_noise *noise, double time_s) {
    while (noise->known > 0 && noise->time_s[(noise->learned - 1) % UP_NOISE_MEMORY] > time_s) {
        noise->learned--;
        noise->known--;
    }
    if (noise->known < LEAST) {
        noise->floor = (double)NAN;
    }
}
