/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include "metrology/statistics.h"
#include "stream/pace.h"

/* Real hosts hold a line back for up to 0.8 s now and then (seen in recordings); a second is worth
   a word. This and what follows are choices of ours. */
static const double STALL_S = 1, STALL_INTERVALS = 10, STALL_TICKS = 1.5;
static const double RATE_FACTOR = 1.5, RUNAWAY_FACTOR = 4;

/* A backlog: so many lines within this part of the time they were measured in. A block: so many
   lines, ticks of the clock, and a second. */
enum { BACKLOG_LINES = 8, BLOCK_TICKS = 8 };
static const double BACKLOG_SHARE = 0.25;

static const double BLOCK_S = 1;

/* The settled interval follows a slow change of the rate by this share a block. */
static const double FOLLOW = 0.125;

const char *up_pace_name(enum up_pace_kind kind) {
    static const char *const names[UP_PACE_KINDS] = {
        [UP_PACE_STALL] = "stall",
        [UP_PACE_BURST] = "burst",
        [UP_PACE_RATE] = "change of rate",
        [UP_PACE_BACK] = "time went backwards",
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

static bool report(struct up_pace *pace, struct up_pace_event *event, enum up_pace_kind kind) {
    event->kind = kind;
    event->settled_s = pace->settled_s;
    if (pace->events < UP_PACE_FIRST_MAX) {
        pace->first[pace->events] = *event;
    }
    pace->events++;
    pace->count[kind]++;
    return true;
}

/* ---- stalls, and the bursts after them ---- */

/* A clock of whole seconds repeats its value for ten lines; its ticks are not stalls. */
static bool is_stall(const struct up_pace *pace, double interval_s) {
    double limit_s = fmax(STALL_INTERVALS * pace->settled_s, STALL_TICKS * pace->tick_s);
    return pace->settled_s > 0 && interval_s > STALL_S && interval_s > limit_s;
}

/* Lines that were held back come far faster than they were measured; within one tick of its clock
   the speed cannot be seen. */
static bool is_burst(struct up_pace *pace, double seen_s) {
    double since_s = seen_s - pace->backlog_s, line_s = BACKLOG_SHARE * pace->settled_s;
    if (pace->backlog == 0) {
        return false;
    }
    if (since_s >= fmax(BACKLOG_LINES * line_s, pace->tick_s)) {
        pace->backlog = 0;
        return false;
    }
    if (++pace->backlog <= BACKLOG_LINES || since_s + pace->tick_s >= pace->backlog * line_s) {
        return false;
    }
    pace->catching_up = true;
    return true;
}

static void add_lost(struct up_pace *pace, double lines) {
    pace->lines_lost = fmax(pace->lines_lost + lines, 0);
}

static bool take_stall(struct up_pace *pace, double gap_s, double seen_s,
                       struct up_pace_event *event) {
    event->lines_lost = is_stall(pace, event->interval_s);
    pace->backlog = 1;
    pace->backlog_s = seen_s;
    pace->backlog_lost = event->lines_lost;
    if (event->lines_lost) {
        pace->block = 0;
        add_lost(pace, event->interval_s / pace->settled_s - 1);
    } else {
        event->interval_s = gap_s;
    }
    return report(pace, event, UP_PACE_STALL);
}

/* ---- the rate ---- */

/* The median; of a clock so coarse that it gives one time twice, whose median means little, the
   mean without the two longest intervals, which may be gaps, and the lines that came in them. */
static double block_interval(struct up_pace *pace) {
    double ticks = pace->ticks, lines = pace->block * (ticks - 2) / ticks;
    double sum_s = pace->span_s - pace->longest_s - pace->second_s;
    pace->tick_s = pace->coarse ? sum_s / (ticks - 2) : 0;
    return pace->coarse ? sum_s / lines : up_median(pace->interval, UP_PACE_BLOCK);
}

/* A host hands lines over in batches, and real loops stumble. False while the block is not full. */
static bool fill_block(struct up_pace *pace, double interval_s, bool by_device, double *middle_s) {
    if (pace->block == 0) {
        pace->span_s = pace->longest_s = pace->second_s = pace->ticks = 0;
        pace->coarse = !by_device;
    }
    pace->interval[pace->block++ % UP_PACE_BLOCK] = interval_s;
    pace->span_s += interval_s;
    pace->ticks += interval_s > 0;
    pace->coarse = pace->coarse || interval_s <= 0;
    if (interval_s > pace->second_s) {
        pace->second_s = fmin(interval_s, pace->longest_s);
        pace->longest_s = fmax(interval_s, pace->longest_s);
    }
    if (pace->block < UP_PACE_BLOCK || pace->ticks < BLOCK_TICKS || pace->span_s < BLOCK_S) {
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
        pace->settled = false; /* the block still contains part of the old rate */
        return true;
    }
    pace->settled_s += FOLLOW * (middle_s - pace->settled_s);
    return false;
}

/* ---- a line ---- */

/* `seen_s`: when the host saw the line; in a recording, its stamp, which may be the recorder's. */
static bool take_interval(struct up_pace *pace, double arrival_s, double seen_s,
                          struct up_pace_event *event) {
    double interval_s = event->interval_s, gap_s = arrival_s - pace->last_arrival_s;
    bool is_seen = !event->by_device || isnan(arrival_s); /* the clock in use is the host's */
    double middle_s = 0;
    if (is_stall(pace, interval_s) || is_stall(pace, gap_s)) {
        return take_stall(pace, gap_s, seen_s, event);
    }
    if (is_burst(pace, seen_s)) {
        event->by_device = !is_seen;
        add_lost(pace, pace->backlog_lost ? -pace->backlog : 0);
        pace->backlog = 0;
        return report(pace, event, UP_PACE_BURST);
    }
    double since_s = isnan(gap_s) ? interval_s : gap_s;
    pace->catching_up = pace->catching_up && since_s < pace->settled_s / 2;
    add_lost(pace, pace->catching_up && pace->backlog_lost ? -1 : 0);
    if (is_seen && (pace->backlog > 0 || pace->catching_up)) {
        pace->block = 0;
        return false;
    }
    if (fill_block(pace, interval_s, event->by_device, &middle_s) && is_new_rate(pace, middle_s)) {
        event->interval_s = middle_s;
        report(pace, event, UP_PACE_RATE);
        pace->settled_s = middle_s;
        return true;
    }
    return false;
}

bool up_pace_push(struct up_pace *pace, double time_s, double arrival_s,
                  struct up_pace_event *event) {
    bool by_device = !isnan(time_s);
    double clock_s = by_device ? time_s : arrival_s;
    bool reported = false;
    if (isnan(clock_s)) {
        return false;
    }
    if (!isnan(pace->last_s)) {
        *event = (struct up_pace_event){
            .time_s = clock_s, .interval_s = clock_s - pace->last_s, .by_device = by_device};
        reported = take_interval(pace, arrival_s, isnan(arrival_s) ? clock_s : arrival_s, event);
    }
    pace->last_s = clock_s;
    pace->last_arrival_s = arrival_s;
    return reported;
}

bool up_pace_is_runaway(const struct up_pace_event *event) {
    return event->kind == UP_PACE_RATE && event->settled_s > RUNAWAY_FACTOR * event->interval_s;
}
