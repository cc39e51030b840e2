/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Plateaus in a stream of which it is not known when the load was changed.
 *
 * The readings are taken in blocks of a second. A level goes on while the median of each block
 * agrees with those before; what is read of it, and when, follows the rule of a calibration: a
 * window at a fixed time after the step of the load, put off while it has not settled. A level that
 * ends earlier is read as late as possible.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "metrology/statistics.h"
#include "stream/finder.h"
#include "stream/schedule.h"
#include "text/text.h"

/* A block holds a period of most swings of a hung load (0.9 Hz in recordings), so that its median
   hardly moves with them. Four blocks are a level; by then a stuck or saturated converter is known.
   Choices of ours. */
static const double BLOCK_S = 1, STEP_FLOORS = 8, STEP_SCATTERS = 2, STILL_FLOORS = 3;
static const double CREEP_REL = 0.005; /* of a step, in the seconds after it */
enum { BLOCK_LEAST = 3, BLOCK_MOST = 64, SURE = 4, FOLLOW = 4, HELD_MAX = 1 << 16 };

struct up_finder {
    const struct up_rig *rig;
    struct up_quiet *quiet;
    struct readings readings; /* since the level before ended; glitches too */
    size_t begin[SURE + 1];   /* of the open block, and of those before it, the latest first */
    bool still[SURE + 1];     /* their readings scatter as little as the noise */
    size_t still_end;         /* of the level's last such block but one */
    unsigned in_block;        /* good readings */
    unsigned blocks;          /* of this level */
    double level, latest;     /* medians: of its blocks but the latest, and of that one */
    double level_s;           /* when its first block began */
    double before;            /* the level before that lasted; NaN: none did */
    double late_s;
    bool done; /* read, or given up */
    unsigned unsettled;
};

struct up_finder *up_finder_create(const struct up_rig *rig, struct up_quiet *quiet) {
    struct up_finder *finder = up_allocate(1, sizeof *finder);
    finder->rig = rig;
    finder->quiet = quiet;
    finder->before = (double)NAN;
    return finder;
}

void up_finder_destroy(struct up_finder *finder) {
    if (finder != NULL) {
        readings_free(&finder->readings);
        free(finder);
    }
}

static size_t less(size_t index, size_t dropped) {
    return index > dropped ? index - dropped : 0;
}

static void shift(struct up_finder *finder, size_t dropped) {
    for (int i = 0; i <= SURE; i++) {
        finder->begin[i] = less(finder->begin[i], dropped);
    }
    finder->still_end = less(finder->still_end, dropped);
}

static void drop(struct up_finder *finder, size_t first) {
    readings_drop(&finder->readings, first);
    shift(finder, first);
}

/* ---- reading a level ---- */

static double step_time(const struct up_finder *finder, double noise_floor) {
    const struct up_reading *first =
        steps_away(finder->before, finder->level, noise_floor)
            ? readings_step(&finder->readings, finder->before, finder->level)
            : NULL;
    return first != NULL ? first->time_s : finder->level_s;
}

static bool judge_window(const struct up_finder *finder, double from_s, double noise_floor,
                         struct up_plateau *plateau) {
    const struct up_rig *rig = finder->rig;
    double step = isnan(finder->before) ? 0 : finder->level - finder->before;
    size_t first = readings_first_from(&finder->readings, from_s);
    size_t stop = readings_first_from(&finder->readings, from_s + rig->window_s);
    return up_plateau_judge(finder->readings.at + first, stop - first, noise_floor,
                            rise_allowed(rig, step), plateau);
}

/* Windows that lie before end_s, one after the other, until one has settled or patience ends. */
static bool read_windows(struct up_finder *finder, double due_s, double end_s, double noise_floor,
                         struct up_plateau *plateau) {
    const struct up_rig *rig = finder->rig;
    while (!finder->done && due_s + finder->late_s + rig->window_s <= end_s) {
        if (judge_window(finder, due_s + finder->late_s, noise_floor, plateau)) {
            plateau->late_s = finder->late_s;
            finder->done = true;
            return true;
        }
        finder->late_s += rig->window_s / 2;
        finder->done = finder->late_s > rig->patience_s;
        finder->unsettled += finder->done;
    }
    return false;
}

/* The level ended before its time: the latest window that has settled. */
static bool read_early(struct up_finder *finder, double due_s, double end_s, double noise_floor,
                       struct up_plateau *plateau) {
    double from_s = fmin(end_s - finder->rig->window_s, due_s);
    bool found = false;
    while (!found && from_s >= finder->level_s) {
        found = judge_window(finder, from_s, noise_floor, plateau);
        plateau->late_s = from_s - due_s;
        from_s -= BLOCK_S;
    }
    finder->unsettled += !found;
    return found;
}

/* Of the readings before held[end]. */
static bool read_level(struct up_finder *finder, size_t end, bool ended, double noise_floor,
                       struct up_plateau *plateau) {
    double end_s = end > 0 ? finder->readings.at[end - 1].time_s : finder->level_s;
    if (finder->done || end_s - finder->level_s < finder->rig->window_s) {
        return false;
    }
    const struct up_rig *rig = finder->rig;
    double step_s = step_time(finder, noise_floor);
    double due_s = step_s + rig->read_after_s - rig->window_s / 2;
    bool found = read_windows(finder, due_s, end_s, noise_floor, plateau);
    if (ended && !found && !finder->done) {
        found = read_early(finder, due_s, end_s, noise_floor, plateau);
    }
    plateau->step_s = step_s;
    return found;
}

/* ---- blocks ---- */

struct block {
    double median, scatter;
};

static bool summarise(const struct up_finder *finder, struct block *block) {
    double load[BLOCK_MOST];
    size_t count = 0, stride = (finder->readings.count - finder->begin[0]) / BLOCK_MOST + 1;
    for (size_t i = finder->begin[0]; i < finder->readings.count; i += stride) {
        if (finder->readings.at[i].verdict == UP_READING_GOOD) {
            load[count++] = finder->readings.at[i].load;
        }
    }
    block->median = up_median(load, count);
    for (size_t i = 0; i < count; i++) {
        load[i] = fabs(load[i] - block->median);
    }
    block->scatter = 1.4826 * up_median(load, count);
    return count >= BLOCK_LEAST;
}

/* Right after a step the load creeps, by a share of it. */
static bool is_of_level(const struct up_finder *finder, const struct block *block,
                        double noise_floor) {
    bool creeps = !finder->done && !isnan(finder->before);
    double limit = fmax(STEP_FLOORS * noise_floor, STEP_SCATTERS * block->scatter) +
                   (creeps ? CREEP_REL * fabs(finder->level - finder->before) : 0);
    return finder->blocks > 0 && fabs(block->median - finder->level) <= limit;
}

/* A window just before a step may contain part of it. */
static bool end_level(struct up_finder *finder, size_t end, double noise_floor,
                      struct up_plateau *plateau) {
    bool found = read_level(finder, end, true, noise_floor, plateau);
    if (finder->blocks >= SURE) {
        finder->before = finder->level;
        drop(finder, finder->still_end);
    }
    up_quiet_break(finder->quiet);
    finder->blocks = 0;
    finder->still_end = 0;
    finder->late_s = 0;
    finder->done = false;
    return found;
}

/* So many blocks ago. */
static void pass_block(struct up_finder *finder, unsigned ago) {
    size_t begin = finder->begin[ago];
    if (finder->still[ago]) {
        up_quiet_take(finder->quiet, finder->readings.at + begin, finder->begin[ago - 1] - begin);
    } else {
        up_quiet_break(finder->quiet);
    }
}

static bool continue_level(struct up_finder *finder, double noise_floor,
                           struct up_plateau *plateau) {
    if (finder->still[1]) {
        double weight = finder->blocks < FOLLOW ? finder->blocks : FOLLOW;
        finder->level += (finder->latest - finder->level) / weight;
        finder->still_end = finder->begin[0];
    }
    if (++finder->blocks <= SURE + 1) { /* the first one may contain part of the step */
        return false;
    }
    pass_block(finder, SURE);
    return read_level(finder, finder->begin[SURE - 1], false, noise_floor, plateau);
}

static void begin_level(struct up_finder *finder, const struct block *block) {
    finder->level = finder->latest = block->median;
    finder->level_s = finder->readings.at[finder->begin[0]].time_s;
    finder->blocks = 1;
}

static bool close_block(struct up_finder *finder, double noise_floor, struct up_plateau *plateau) {
    struct block block;
    bool found = false;
    if (!summarise(finder, &block)) {
        return false;
    }
    finder->still[0] = block.scatter <= STILL_FLOORS * noise_floor;
    if (is_of_level(finder, &block, noise_floor)) {
        found = continue_level(finder, noise_floor, plateau);
        finder->latest = block.median;
    } else {
        found = finder->blocks > 0 && end_level(finder, finder->still_end, noise_floor, plateau);
        begin_level(finder, &block);
    }
    if (finder->done) {
        drop(finder, finder->begin[SURE]);
    }
    memmove(finder->begin + 1, finder->begin, SURE * sizeof finder->begin[0]);
    memmove(finder->still + 1, finder->still, SURE * sizeof finder->still[0]);
    finder->begin[0] = finder->readings.count;
    finder->in_block = 0;
    return found;
}

bool up_finder_push(struct up_finder *finder, const struct up_reading *reading, double noise_floor,
                    struct up_plateau *plateau) {
    shift(finder, readings_hold(&finder->readings, reading, HELD_MAX));
    finder->in_block += reading->verdict == UP_READING_GOOD;
    return reading->verdict == UP_READING_GOOD && !isnan(noise_floor) &&
           finder->in_block >= BLOCK_LEAST &&
           reading->time_s - finder->readings.at[finder->begin[0]].time_s >= BLOCK_S &&
           close_block(finder, noise_floor, plateau);
}

unsigned up_finder_unsettled(const struct up_finder *finder) {
    return finder->unsettled;
}

bool up_finder_end(struct up_finder *finder, double noise_floor, struct up_plateau *plateau) {
    for (unsigned ago = SURE; ago > 0; ago--) {
        if (ago < finder->blocks) {
            pass_block(finder, ago);
        }
    }
    bool found =
        finder->blocks > 0 && end_level(finder, finder->readings.count, noise_floor, plateau);
    drop(finder, finder->readings.count);
    return found;
}
