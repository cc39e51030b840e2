/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stream/readings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "metrology/statistics.h"
#include "text/text.h"

enum { ROOM_FIRST = 256, MEDIAN_MAX = 512 };

/* A choice of ours. */
static const double CHANGE_FLOORS = 20;

static void retract_run(struct readings *readings, const struct up_reading *stuck) {
    unsigned back = stuck->back;
    for (size_t i = readings->count; i > 0 && back > 0; i--) {
        struct up_reading *reading = &readings->at[i - 1];
        if (reading->verdict == UP_READING_GOOD) {
            reading->verdict = stuck->verdict;
            back--;
        }
    }
}

void readings_drop(struct readings *readings, size_t first) {
    if (first == 0) {
        return;
    } // before the first reading there is no memory to move
    readings->count -= first;
    memmove(readings->at, readings->at + first, readings->count * sizeof *readings->at);
}

size_t readings_hold(struct readings *readings, const struct up_reading *reading, size_t most) {
    size_t dropped = readings->count == most ? most / 2 : 0;
    retract_run(readings, reading);
    readings_drop(readings, dropped);
    if (readings->count == readings->room) {
        readings->room = readings->room == 0 ? ROOM_FIRST : 2 * readings->room;
        readings->at = up_reallocate(readings->at, readings->room, sizeof *readings->at);
    }
    readings->at[readings->count++] = *reading;
    return dropped;
}

void readings_free(struct readings *readings) {
    free(readings->at);
    *readings = (struct readings){0};
}

size_t readings_first_from(const struct readings *readings, double time_s) {
    size_t low = 0, high = readings->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (readings->at[middle].time_s < time_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

double readings_median_since(const struct readings *readings, double time_s) {
    double load[MEDIAN_MAX];
    size_t count = 0;
    for (size_t i = readings_first_from(readings, time_s);
         i < readings->count && count < MEDIAN_MAX; i++) {
        if (readings->at[i].verdict == UP_READING_GOOD) {
            load[count++] = readings->at[i].load;
        }
    }
    return up_median(load, count);
}

bool steps_away(double before, double now, double noise_floor) {
    return fabs(now - before) >= CHANGE_FLOORS * noise_floor;
}

const struct up_reading *readings_step(const struct readings *readings, double before, double now) {
    const struct up_reading *after = NULL;
    for (size_t i = readings->count; i > 0; i--) {
        const struct up_reading *reading = &readings->at[i - 1];
        if (reading->verdict != UP_READING_GOOD) {
            continue;
        }
        if (fabs(reading->load - before) < fabs(reading->load - now)) {
            return after;
        }
        after = reading;
    }
    return NULL;
}

/* Of a good reading and the next two; false where one is not. */
static bool median_of_three(const struct readings *readings, size_t i, double *median) {
    double load[3];
    for (size_t k = 0; k < 3; k++) {
        if (i + k >= readings->count || readings->at[i + k].verdict != UP_READING_GOOD) {
            return false;
        }
        load[k] = readings->at[i + k].load;
    }
    *median = up_median(load, 3);
    return true;
}

double readings_largest_change(const struct readings *readings, double within_s) {
    double largest = 0, from, to;
    for (size_t i = 0, j = 0; i < readings->count; i++) {
        while (j < readings->count && readings->at[j].time_s < readings->at[i].time_s + within_s) {
            j++;
        }
        if (median_of_three(readings, i, &from) && median_of_three(readings, j, &to)) {
            largest = fmax(largest, fabs(to - from));
        }
    }
    return largest;
}
