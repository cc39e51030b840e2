/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "bench/pace.h"
#include "metrology/statistics.h"

/* Real hosts hold a line back for up to 0.8 s now and then (seen in recordings); a second is worth
   a word. This and what follows are choices of ours. */
static const double STALL_S = 1, STALL_INTERVALS = 10;
static const double RATE_FACTOR = 1.5;

/* A backlog: so many lines within this part of the time they were measured in. */
enum { BACKLOG_LINES = 8 };
static const double BACKLOG_SHARE = 0.25;

static const double BLOCK_S = 1;

/* The settled interval follows a slow change of the rate by this share a block. */
static const double FOLLOW = 0.125;

const char *up_pace_name(enum up_pace_kind kind) {
    static const char *const names[UP_PACE_KINDS] = {
        [UP_PACE_STALL] = "stall",
        [UP_PACE_BURST] = "burst",
        [UP_PACE_RATE] = "change of rate",
        [UP_PACE_BACK] = "time ran back",
    };
    return names[kind];
}

void up_pace_begin(struct up_pace *pace) {
    memset(pace, 0, sizeof *pace);
    pace->settled_s = (double)NAN;
    up_pace_pause(pace);
}

void up_pace_pause(struct up_pace *pace) {
    pace->last_s = pace->last_arrival_s = (double)NAN;
    pace->block = 0;
    pace->backlog = 0;
    pace->catching_up = false;
}

static bool tell(struct up_pace *pace, struct up_pace_event *event, enum up_pace_kind kind) {
    uint64_t told = 0;
    event->kind = kind;
    event->settled_s = pace->settled_s;
    for (int i = 0; i < UP_PACE_KINDS; i++) {
        told += i == UP_PACE_BACK ? 0 : pace->count[i];
    }
    if (told < UP_PACE_FIRST_MAX) {
        pace->first[told] = *event;
    }
    pace->count[kind]++;
    return true;
}

/* ---- stalls, and the bursts after them ---- */

static bool is_stall(const struct up_pace *pace, double interval_s) {
    double limit_s = STALL_INTERVALS * pace->settled_s; /* NaN: not known yet, no stall */
    return interval_s > STALL_S && interval_s > limit_s;
}

static bool is_burst(struct up_pace *pace, double arrival_s) {
    double limit_s = BACKLOG_SHARE * BACKLOG_LINES * pace->settled_s;
    if (pace->backlog == 0) {
        return false;
    }
    if (arrival_s - pace->backlog_s >= limit_s) {
        pace->backlog = 0;
        return false;
    }
    if (++pace->backlog <= BACKLOG_LINES) {
        return false;
    }
    pace->backlog = 0;
    pace->catching_up = true;
    return true;
}

/* ---- the rate ---- */

/* The median; of a clock so coarse that it gives one time twice, whose median means little, the
   mean without the two longest intervals, which may be gaps. */
static double block_interval(struct up_pace *pace) {
    double sum_s = pace->span_s - pace->longest_s - pace->second_s;
    return pace->coarse ? sum_s / (pace->block - 2) : up_median(pace->interval, UP_PACE_BLOCK);
}

/* Sixteen lines and a second: a host hands lines over in batches, and real loops stumble. False
   while the block is not full. */
static bool fill_block(struct up_pace *pace, double interval_s, bool by_device, double *middle_s) {
    if (pace->block == 0) {
        pace->span_s = pace->longest_s = pace->second_s = 0;
        pace->coarse = !by_device;
    }
    pace->interval[pace->block++ % UP_PACE_BLOCK] = interval_s;
    pace->span_s += interval_s;
    pace->coarse = pace->coarse || interval_s <= 0;
    if (interval_s > pace->second_s) {
        pace->second_s = fmin(interval_s, pace->longest_s);
        pace->longest_s = fmax(interval_s, pace->longest_s);
    }
    if (pace->block < UP_PACE_BLOCK || pace->span_s < BLOCK_S) {
        return false;
    }
    *middle_s = block_interval(pace);
    pace->block = 0;
    return *middle_s > 0;
}

static bool is_new_rate(struct up_pace *pace, double middle_s) {
    double ratio = middle_s / pace->settled_s;
    bool differs = !(ratio <= RATE_FACTOR && ratio >= 1 / RATE_FACTOR);
    if (!pace->settled) { /* two blocks that agree */
        pace->settled = !differs;
        pace->settled_s = middle_s;
        return false;
    }
    if (differs) {
        pace->settled = false; /* the block holds some of the old rate still */
        return true;
    }
    pace->settled_s += FOLLOW * (middle_s - pace->settled_s);
    return false;
}

/* ---- a line ---- */

static bool take_interval(struct up_pace *pace, double arrival_s, bool by_device,
                          struct up_pace_event *event) {
    double interval_s = event->interval_s;
    double gap_s = arrival_s - pace->last_arrival_s;
    double middle_s = 0;
    if (is_stall(pace, interval_s) || is_stall(pace, gap_s)) {
        event->lines_lost = is_stall(pace, interval_s);
        event->interval_s = event->lines_lost ? interval_s : gap_s;
        pace->block = event->lines_lost ? 0 : pace->block;
        pace->backlog = is_stall(pace, gap_s);
        pace->backlog_s = arrival_s;
        return tell(pace, event, UP_PACE_STALL);
    }
    if (is_burst(pace, arrival_s)) {
        return tell(pace, event, UP_PACE_BURST);
    }
    pace->catching_up = pace->catching_up && gap_s < pace->settled_s / 2;
    if (!by_device && (pace->backlog > 0 || pace->catching_up)) {
        pace->block = 0;
        return false;
    }
    if (fill_block(pace, interval_s, by_device, &middle_s) && is_new_rate(pace, middle_s)) {
        event->interval_s = middle_s;
        tell(pace, event, UP_PACE_RATE);
        pace->settled_s = middle_s;
        return true;
    }
    return false;
}

bool up_pace_push(struct up_pace *pace, double time_s, double arrival_s,
                  struct up_pace_event *event) {
    bool by_device = !isnan(time_s);
    double clock_s = by_device ? time_s : arrival_s;
    bool told = false;
    if (isnan(clock_s)) {
        return false;
    }
    if (!isnan(pace->last_s)) {
        *event = (struct up_pace_event){
            .time_s = clock_s, .interval_s = clock_s - pace->last_s, .by_device = by_device};
        told = take_interval(pace, arrival_s, by_device, event);
    }
    pace->last_s = clock_s;
    pace->last_arrival_s = arrival_s;
    return told;
}
