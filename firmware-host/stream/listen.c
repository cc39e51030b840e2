/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stream/listen.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "metrology/statistics.h"
#include "text/text.h"

struct up_listening *up_listening_create(const struct up_rig *rig, bool skip_first_line) {
    struct up_listening *listening = up_allocate(1, sizeof *listening);
    listening->rig = rig;
    listening->columns = rig->line.loads;
    listening->column = up_allocate((size_t)rig->line.loads, sizeof *listening->column);
    listening->interval_step = 1;
    listening->arrival_s = (double)NAN;
    up_pace_begin(&listening->pace);
    up_reader_begin(&listening->reader, &rig->line, skip_first_line);
    for (int i = 0; i < listening->columns; i++) {
        struct up_heard_column *column = &listening->column[i];
        column->field = rig->line.load[i].field;
        column->floor_step = 1;
        up_quiet_begin(&column->quiet);
        column->finder = up_finder_create(rig, &column->quiet);
        up_glitch_filter_begin(&column->filter, rig->line.word_bits, rig->division_counts);
        if (rig->line.load_unit != UP_LOAD_COUNTS && rig->capacity_kg > 0) {
            up_glitch_filter_set_limit(&column->filter, rig->capacity_kg);
        }
    }
    return listening;
}

void up_listening_destroy(struct up_listening *listening) {
    if (listening == NULL) {
        return;
    }
    for (int i = 0; i < listening->columns; i++) {
        up_finder_destroy(listening->column[i].finder);
    }
    free(listening->column);
    free(listening);
}

/* Keeps an even sample of an endless series: when the array is full every second value is dropped,
   and from then on only every second new value is kept. */
static void keep_thinned(double *kept, size_t *count, size_t *step, size_t *wait, double value) {
    if (++*wait < *step) {
        return;
    }
    *wait = 0;
    if (*count == UP_HEARD_FLOORS_MAX) {
        for (size_t i = 0; i < UP_HEARD_FLOORS_MAX / 2; i++) {
            kept[i] = kept[2 * i];
        }
        *count /= 2;
        *step *= 2;
    }
    kept[(*count)++] = value;
}

/* A constant reading may lie anywhere within its division, which only noise would average out. (A
   calibration carries the resolution as a term of its own.) */
static void keep_plateau(struct up_heard_column *column, struct up_plateau *plateau) {
    if (plateau->sd < column->filter.repeats.division) {
        plateau->u_load = hypot(plateau->u_load, column->filter.noise.floor_least);
    }
    if (column->plateaus < UP_HEARD_PLATEAUS_MAX) {
        column->plateau[column->plateaus] = *plateau;
    }
    column->plateaus++;
    if (!isnan(plateau->lag1)) {
        double squares = plateau->sd * plateau->sd * plateau->readings;
        column->lag1_sum += squares * plateau->lag1;
        column->lag1_weight += squares;
    }
}

/* Those of a run stand as one. */
static void keep_glitch(struct up_heard_column *column, const struct up_reading *reading) {
    size_t kept = column->glitches_kept;
    struct up_glitch *last = kept > 0 ? &column->glitch[kept - 1] : NULL;
    bool of_run = reading->verdict == UP_READING_STUCK || reading->verdict == UP_READING_SATURATED;
    uint64_t readings = 1 + (uint64_t)reading->back;
    column->glitches += readings;
    if (of_run && reading->back == 0 && last != NULL && last->verdict == reading->verdict &&
        last->load == reading->load) {
        last->readings += readings;
    } else if (kept < UP_HEARD_GLITCHES_MAX) {
        double time_s = reading->back > 0 ? column->filter.run_start_s : reading->time_s;
        column->glitch[column->glitches_kept++] =
            (struct up_glitch){time_s, reading->load, reading->verdict, readings};
    }
}

static void take_reading(struct up_heard_column *column, const struct up_reading *reading) {
    struct up_plateau plateau;
    double floor = column->filter.noise.floor;
    if (reading->verdict != UP_READING_GOOD) {
        keep_glitch(column, reading);
    } else if (!isnan(floor)) {
        keep_thinned(column->floor, &column->floors, &column->floor_step, &column->floor_wait,
                     floor);
    }
    if (up_finder_push(column->finder, reading, floor, &plateau)) {
        keep_plateau(column, &plateau);
    }
}

static void take_sample(struct up_listening *listening, const struct up_sample *sample) {
    struct up_reading reading;
    struct up_pace_event event;
    double clock_s = listening->reader.rule->time_unit_s > 0 ? sample->time_s : (double)NAN;
    bool faster = up_pace_push(&listening->pace, clock_s, listening->arrival_s, &event) &&
                  up_pace_is_runaway(&event);
    if (listening->samples == 0) {
        listening->first_s = sample->time_s;
    } else {
        keep_thinned(listening->interval, &listening->intervals, &listening->interval_step,
                     &listening->interval_wait, sample->time_s - listening->last_s);
    }
    listening->last_s = sample->time_s;
    listening->samples++;
    for (int i = 0; i < listening->columns; i++) {
        struct up_heard_column *column = &listening->column[i];
        if (faster) {
            up_glitch_filter_condemn(&column->filter);
        }
        bool judged = up_glitch_filter_push(&column->filter, sample->time_s, sample->load[i],
                                            sample->temp_c, &reading);
        if (sample->unstable) {
            up_glitch_filter_mark_unstable(&column->filter);
        }
        if (judged) {
            take_reading(column, &reading);
        }
    }
}

void up_listening_arrival(struct up_listening *listening, double arrival_s) {
    listening->arrival_s = arrival_s;
}

void up_listening_bytes(struct up_listening *listening, const char *bytes, size_t length) {
    struct up_sample sample;
    listening->bytes += length;
    while (up_reader_take(&listening->reader, &bytes, &length, &sample)) {
        take_sample(listening, &sample);
    }
}

void up_listening_end(struct up_listening *listening) {
    struct up_reading reading;
    struct up_plateau plateau;
    up_reader_end(&listening->reader);
    listening->pace.count[UP_PACE_BACK] = listening->reader.count[UP_REFUSED_TIME];
    for (int i = 0; i < listening->columns; i++) {
        struct up_heard_column *column = &listening->column[i];
        while (up_glitch_filter_flush(&column->filter, &reading)) {
            take_reading(column, &reading);
        }
        if (up_finder_end(column->finder, column->filter.noise.floor, &plateau)) {
            keep_plateau(column, &plateau);
        }
    }
}

/* The median interval; the mean where the clock gives one time to several lines. */
double up_listening_rate_hz(const struct up_listening *listening) {
    double copy[UP_HEARD_FLOORS_MAX];
    size_t equal = 0;
    double interval_s = (listening->last_s - listening->first_s) / ((double)listening->samples - 1);
    if (listening->reader.rule->time_unit_s == 0 || listening->intervals < 2) {
        return (double)NAN;
    }
    memcpy(copy, listening->interval, listening->intervals * sizeof copy[0]);
    for (size_t i = 0; i < listening->intervals; i++) {
        equal += copy[i] <= 0;
    }
    if (equal * 20 < listening->intervals) {
        interval_s = up_median(copy, listening->intervals);
    }
    return interval_s > 0 ? 1 / interval_s : (double)NAN;
}

double up_listening_clock_hz(const struct up_listening *listening) {
    const struct up_line_rule *rule = listening->reader.rule;
    return rule->time_unit_s == 0 ? rule->rate_hz : up_listening_rate_hz(listening);
}

double up_listening_conversion_hz(const struct up_listening *listening,
                                  const struct up_heard_column *column) {
    return up_listening_clock_hz(listening) / column->filter.repeats.per_value;
}

double up_listening_noise(const struct up_heard_column *column) {
    double copy[UP_HEARD_FLOORS_MAX];
    double squares = 0;
    size_t plateaus =
        column->plateaus < UP_HEARD_PLATEAUS_MAX ? (size_t)column->plateaus : UP_HEARD_PLATEAUS_MAX;
    if (plateaus == 0) {
        memcpy(copy, column->floor, column->floors * sizeof copy[0]);
        return up_median(copy, column->floors);
    }
    for (size_t i = 0; i < plateaus; i++) {
        squares += column->plateau[i].sd * column->plateau[i].sd;
    }
    return sqrt(squares / (double)plateaus);
}

double up_listening_lag1(const struct up_heard_column *column) {
    /* Rounding alone makes neighbours equal: below one division there is nothing to correlate. */
    bool shows = up_listening_noise(column) >= column->filter.noise.floor_least;
    return column->lag1_weight > 0 && shows ? column->lag1_sum / column->lag1_weight : (double)NAN;
}
