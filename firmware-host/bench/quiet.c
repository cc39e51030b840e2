/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "bench/listen.h"

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

static void take(struct up_quiet *quiet, double time_s, double load) {
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

static void take_oldest(struct up_quiet *quiet) {
    const struct up_waiting *oldest = &quiet->wait[quiet->oldest];
    if (oldest->after_gap) { /* the level goes on behind a glitch, but no pair reaches across */
        up_allan_break(&quiet->allan);
    }
    take(quiet, oldest->time_s, oldest->load);
    quiet->oldest = (quiet->oldest + 1) % UP_QUIET_WAIT;
    quiet->waiting--;
}

/* The level has ended; what was read last belongs to the step. */
static void leave(struct up_quiet *quiet, unsigned of_step) {
    while (quiet->waiting > of_step) {
        take_oldest(quiet);
    }
    quiet->waiting = 0;
    quiet->gap = false;
    close_level(quiet);
    up_allan_break(&quiet->allan);
}

static void wait(struct up_quiet *quiet, const struct up_reading *reading) {
    if (quiet->waiting == UP_QUIET_WAIT) {
        take_oldest(quiet);
    }
    quiet->wait[(quiet->oldest + quiet->waiting++) % UP_QUIET_WAIT] =
        (struct up_waiting){reading->time_s, reading->load, quiet->gap};
    quiet->gap = false;
}

void up_quiet_push(struct up_quiet *quiet, const struct up_reading *reading, bool on_level) {
    if (reading->back > 0) {
        quiet->waiting -= reading->back < quiet->waiting ? reading->back : quiet->waiting;
    }
    if (!on_level) {
        if (quiet->waiting > 0 || quiet->count > 0) {
            leave(quiet, UP_QUIET_OF_STEP);
        }
    } else if (reading->verdict == UP_READING_GOOD) {
        wait(quiet, reading);
    } else {
        quiet->gap = true;
    }
}

void up_quiet_end(struct up_quiet *quiet) {
    leave(quiet, 0);
}
