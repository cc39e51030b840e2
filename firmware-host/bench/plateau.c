/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bench/plateau.h"
#include "metrology/statistics.h"
#include "text/text.h"

enum { LEAST_READINGS = 5, HELD_MAX = 65536 };
static const double SCATTER_FLOORS = 2, RISE_FLOORS = 1.5;

/* ---- one window ---- */

static size_t good_ones(const struct up_reading *reading, size_t count, double *time_s,
                        double *load, struct up_plateau *plateau) {
    size_t good = 0;
    size_t temps = 0;
    double temp_sum = 0;
    for (size_t i = 0; i < count; i++) {
        if (reading[i].verdict != UP_READING_GOOD) {
            plateau->glitches++;
            continue;
        }
        plateau->unstable += reading[i].unstable;
        time_s[good] = reading[i].time_s;
        load[good++] = reading[i].load;
        if (!isnan(reading[i].temp_c)) {
            temp_sum += reading[i].temp_c;
            temps++;
        }
    }
    plateau->readings = (unsigned)good;
    plateau->temp_c = temps > 0 ? temp_sum / (double)temps : (double)NAN;
    return good;
}

/* Standard uncertainty of a mean of correlated readings: n becomes n (1 - r) / (1 + r) for a series
   with lag-1 autocorrelation r. A negative r is not taken as a gain. */
double mean_uncertainty(double sd, double lag1, size_t count) {
    double r = isnan(lag1) ? 0 : fmin(fmax(lag1, 0), 0.95);
    return sd * sqrt((1 + r) / ((1 - r) * (double)count));
}

static bool describe(double *time_s, double *load, size_t good, struct up_plateau *plateau) {
    struct up_fit fit;
    struct up_summary summary;
    double start_s = time_s[0];
    double sum = 0;
    for (size_t i = 0; i < good; i++) {
        time_s[i] -= start_s;
        sum += load[i];
    }
    if (!up_fit_polynomial(time_s, load, good, 2, &fit)) {
        return false;
    }
    plateau->load = sum / (double)good;
    plateau->slope_per_s = fit.c[1];
    plateau->sd = fit.residual_sd;
    for (size_t i = 0; i < good; i++) {
        load[i] -= fit.c[0] + fit.c[1] * time_s[i];
    }
    summary = up_summarise(load, good);
    plateau->lag1 = summary.lag1;
    plateau->u_load = mean_uncertainty(plateau->sd, summary.lag1, good);
    return true;
}

bool is_settled(struct up_plateau *plateau, double noise_floor, double creep_allowance) {
    double rise = fabs(plateau->slope_per_s) * (plateau->end_s - plateau->start_s);
    double scatter_allowed = SCATTER_FLOORS * noise_floor;
    double rise_allowed = RISE_FLOORS * noise_floor + creep_allowance;
    plateau->unrest = scatter_allowed > 0 ? fmax(plateau->sd / scatter_allowed, rise / rise_allowed)
                                          : (double)NAN;
    /* The device may say no, but its yes is no proof. */
    return 2 * plateau->unstable <= plateau->readings && plateau->sd <= scatter_allowed &&
           rise <= rise_allowed;
}

bool up_plateau_judge(const struct up_reading *reading, size_t count, double noise_floor,
                      double creep_allowance, struct up_plateau *plateau) {
    double *time_s = up_allocate(count + 1, sizeof *time_s);
    double *load = up_allocate(count + 1, sizeof *load);
    bool settled = false;
    memset(plateau, 0, sizeof *plateau);
    plateau->unrest = (double)NAN;
    if (count > 0) {
        size_t good = good_ones(reading, count, time_s, load, plateau);
        plateau->start_s = reading[0].time_s;
        plateau->end_s = reading[count - 1].time_s;
        settled = good >= LEAST_READINGS && describe(time_s, load, good, plateau) &&
                  is_settled(plateau, noise_floor, creep_allowance);
    }
    free(time_s);
    free(load);
    return settled;
}

/* ---- plateaus in a stream that nobody explains ---- */

/*
 * The stream is taken as levels parted by steps. A level begins where a short run of readings lies
 * quiet, and ends where the median of the last few leaves what the level was just before. What was
 * read at the fixed time after its begin is its plateau; a level too short for that has none.
 */
enum { RUN_MAX = 256, LEVEL_SPAN = 32, LEVEL_EVERY = 8, LAST_FEW = 4 };
static const double STEP_FLOORS = 8, QUIET_SHARE = 0.25;

struct up_finder {
    double window_s, read_after_s;
    struct up_reading *held; /* of the level so far, or of the run that may begin one */
    size_t count, room;
    bool on_level;
    double level_low, level_high; /* the level lies between them, or is both */
    size_t level_end;             /* it was taken of the readings before this one */
    double step_s;
};

struct up_finder *up_finder_create(double window_s, double read_after_s) {
    struct up_finder *finder = up_allocate(1, sizeof *finder);
    finder->window_s = window_s;
    finder->read_after_s = read_after_s;
    return finder;
}

void up_finder_destroy(struct up_finder *finder) {
    if (finder != NULL) {
        free(finder->held);
        free(finder);
    }
}

static void drop(struct up_finder *finder, size_t first) {
    finder->count -= first;
    memmove(finder->held, finder->held + first, finder->count * sizeof *finder->held);
}

/* Loads are numbers: fmin's care for others costs a call. */
static double least(double a, double b) {
    return a < b ? a : b;
}

static double greatest(double a, double b) {
    return a > b ? a : b;
}

/* The median of the last four: the middle two of them, whatever the others are. */
static double median_of_last_few(const struct up_finder *finder) {
    const struct up_reading *last = &finder->held[finder->count - LAST_FEW];
    double low = least(last[0].load, last[1].load), high = greatest(last[0].load, last[1].load);
    low = greatest(low, least(last[2].load, last[3].load));
    high = least(high, greatest(last[2].load, last[3].load));
    return 0.5 * (low + high);
}

/* The level is the median of the latest readings. Mostly their least and greatest tell already that
   no step has come, so the median itself is taken where it is asked for only. */
static void set_level(struct up_finder *finder) {
    size_t first = finder->count > LEVEL_SPAN ? finder->count - LEVEL_SPAN : 0;
    finder->level_end = finder->count;
    finder->level_low = finder->level_high = finder->held[first].load;
    for (size_t i = first; i < finder->count; i++) {
        double load = finder->held[i].load;
        finder->level_low = least(load, finder->level_low);
        finder->level_high = greatest(load, finder->level_high);
    }
}

static void take_level(struct up_finder *finder) {
    double load[LEVEL_SPAN];
    size_t first = finder->level_end > LEVEL_SPAN ? finder->level_end - LEVEL_SPAN : 0;
    if (finder->level_low == finder->level_high) {
        return; /* taken already, or all the same */
    }
    for (size_t i = first; i < finder->level_end; i++) {
        load[i - first] = finder->held[i].load;
    }
    finder->level_low = finder->level_high = up_median(load, finder->level_end - first);
}

static bool is_step(struct up_finder *finder, double noise_floor) {
    double now = median_of_last_few(finder);
    double limit = STEP_FLOORS * noise_floor;
    if (now - finder->level_low <= limit && finder->level_high - now <= limit) {
        return false;
    }
    take_level(finder);
    return fabs(now - finder->level_low) > limit;
}

static void hold(struct up_finder *finder, const struct up_reading *reading) {
    if (finder->count == HELD_MAX) { /* an endless level: its beginning is what gets read */
        take_level(finder);
        finder->count = HELD_MAX / 2;
    }
    if (finder->count == finder->room) {
        finder->room = finder->room == 0 ? RUN_MAX : 2 * finder->room;
        finder->held = up_reallocate(finder->held, finder->room, sizeof *finder->held);
    }
    finder->held[finder->count++] = *reading;
}

/* The run of readings that may begin a level: a quarter of the window, five readings at least. */
static void seek_level(struct up_finder *finder, double noise_floor) {
    const struct up_reading *last = &finder->held[finder->count - 1];
    struct up_plateau run;
    while (finder->count > LEAST_READINGS &&
           (last->time_s - finder->held[1].time_s >= QUIET_SHARE * finder->window_s ||
            finder->count > RUN_MAX)) {
        drop(finder, 1);
        last = &finder->held[finder->count - 1];
    }
    if (finder->count < LEAST_READINGS ||
        last->time_s - finder->held[0].time_s < QUIET_SHARE * finder->window_s) {
        return;
    }
    if (up_plateau_judge(finder->held, finder->count, noise_floor, 0.5 * noise_floor, &run)) {
        finder->on_level = true;
        finder->step_s = finder->held[0].time_s;
        set_level(finder);
    }
}

static size_t first_from(const struct up_finder *finder, double time_s) {
    size_t i = 0;
    while (i < finder->count && finder->held[i].time_s < time_s) {
        i++;
    }
    return i;
}

/* Reads the level that ended before held[end]: at the schedule's time, or, where the level did not
   last that long, as late as it allows. */
static bool read_level(struct up_finder *finder, size_t end, double noise_floor,
                       struct up_plateau *plateau) {
    double from_s = finder->step_s + finder->read_after_s - finder->window_s / 2;
    double last_s = end > 0 ? finder->held[end - 1].time_s : 0;
    bool settled = false;
    size_t first;
    if (end < LEAST_READINGS || last_s - finder->held[0].time_s < finder->window_s) {
        return false;
    }
    from_s = fmin(from_s, last_s - finder->window_s);
    first = first_from(finder, from_s);
    size_t stop = first_from(finder, from_s + finder->window_s);
    stop = stop < end ? stop : end;
    settled =
        up_plateau_judge(finder->held + first, stop - first, noise_floor, noise_floor, plateau);
    plateau->step_s = finder->step_s;
    plateau->late_s = from_s + finder->window_s / 2 - finder->step_s - finder->read_after_s;
    return settled;
}

/* What a stuck converter repeated is no part of the level, nor can it have begun one. */
static void take_back(struct up_finder *finder, const struct up_reading *stuck) {
    unsigned back = stuck->back;
    while (back > 0 && finder->count > 0 && finder->held[finder->count - 1].load == stuck->load) {
        finder->count--;
        back--;
    }
    finder->on_level = finder->on_level && finder->count >= LEAST_READINGS;
    if (finder->on_level) {
        set_level(finder);
    }
}

bool up_finder_push(struct up_finder *finder, const struct up_reading *reading, double noise_floor,
                    struct up_plateau *plateau) {
    bool found = false;
    if (reading->back > 0) {
        take_back(finder, reading);
    }
    if (reading->verdict != UP_READING_GOOD || isnan(noise_floor)) {
        return false;
    }
    hold(finder, reading);
    if (!finder->on_level) {
        seek_level(finder, noise_floor);
        return false;
    }
    if (is_step(finder, noise_floor)) {
        size_t end = finder->count - LAST_FEW;
        found = read_level(finder, end, noise_floor, plateau);
        drop(finder, end);
        finder->on_level = false;
    } else if (finder->count % LEVEL_EVERY == 0) {
        set_level(finder);
    }
    return found;
}

bool up_finder_on_level(const struct up_finder *finder) {
    return finder->on_level;
}

bool up_finder_end(struct up_finder *finder, double noise_floor, struct up_plateau *plateau) {
    bool found = finder->on_level && read_level(finder, finder->count, noise_floor, plateau);
    finder->on_level = false;
    finder->count = 0;
    return found;
}
