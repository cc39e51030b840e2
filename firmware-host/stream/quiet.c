/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "stream/quiet.h"

void up_quiet_begin(struct up_quiet *quiet) {
    memset(quiet, 0, sizeof *quiet);
    quiet->longest_s = quiet->slope_per_s = (double)NAN;
    up_allan_begin(&quiet->allan);
}

/* The straight line through the level so far; kept where it is the longest. */
static void close_level(struct up_quiet *quiet) {
    double n = quiet->count > 0 ? (double)quiet->count : 1;
    double spread = quiet->tt - quiet->t * quiet->t / n;
    double length_s = quiet->last_s - quiet->start_s;
    if (quiet->count >= 3 && spread > 0 && !(length_s <= quiet->longest_s)) {
        quiet->longest_s = length_s;
        quiet->slope_per_s = (quiet->ty - quiet->t * quiet->y / n) / spread;
    }
    quiet->count = 0;
}

static void add_reading(struct up_quiet *quiet, double time_s, double load) {
    if (quiet->count++ == 0) {
        quiet->start_s = time_s;
        quiet->start_load = load;
        quiet->t = quiet->y = quiet->tt = quiet->ty = 0;
    }
    double t = time_s - quiet->start_s;
    double y = load - quiet->start_load;
    quiet->t += t;
    quiet->y += y;
    quiet->tt += t * t;
    quiet->ty += t * y;
    quiet->last_s = time_s;
    up_allan_push(&quiet->allan, load);
}

void up_quiet_take(struct up_quiet *quiet, const struct up_reading *reading, size_t count) {
    for (size_t i = 0; i < count; i++) {
        if (reading[i].verdict == UP_READING_GOOD) {
            add_reading(quiet, reading[i].time_s, reading[i].load);
        } else { /* the level continues after a glitch, but no pair spans it */
            up_allan_break(&quiet->allan);
        }
    }
}

void up_quiet_break(struct up_quiet *quiet) {
    close_level(quiet);
    up_allan_break(&quiet->allan);
}
