/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pace: do the lines still come at their usual rate? */
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum up_pace_kind {
    UP_PACE_STALL, /* no line for longer than a second and ten settled intervals */
    UP_PACE_BURST, /* what a stall held back, far faster than it was measured: times of arrival
                      are worth nothing, the device's own clock still is */
    UP_PACE_RATE,  /* 1.5 times as fast or as slow as before, from one block of lines to the next; a
                      sudden rise means that the converter is gone and always looks ready */
    UP_PACE_BACK,  /* device time ran back: the reader refuses the line and counts it */
    UP_PACE_KINDS
};

const char *up_pace_name(enum up_pace_kind kind);

struct up_pace_event {
    enum up_pace_kind kind;
    double time_s;                /* device time where there is any, else arrival */
    double interval_s, settled_s; /* of the stall, or between lines now; as it was before */
    bool by_device;               /* the lines carry a clock that says when they were measured */
    bool lines_lost;              /* stall: the clock that is in use shows it */
};

enum { UP_PACE_BLOCK = 16, UP_PACE_FIRST_MAX = 16 };

struct up_pace {
    double last_s, last_arrival_s; /* NaN: the next interval means nothing */
    double settled_s;              /* interval between lines; NaN until a block of them is there */
    double tick_s;                 /* of a coarse clock, which gives one time to several lines; 0 */
    bool settled;                  /* two blocks have agreed on the interval */
    double interval[UP_PACE_BLOCK]; /* the latest of a block */
    double span_s, longest_s, second_s;
    unsigned block, ticks; /* intervals in it, and those above zero */
    bool coarse;
    int backlog; /* lines since a stall, while they may be a burst; 0: none may be */
    double backlog_s;
    bool backlog_lost, catching_up; /* the stall lost lines; the burst goes on */
    double lines_lost;              /* in all stalls, less those that came in bursts; roughly */
    uint64_t events, count[UP_PACE_KINDS];
    struct up_pace_event first[UP_PACE_FIRST_MAX];
};

void up_pace_begin(struct up_pace *pace);
/* The next line follows an intended pause: the interval to it is not checked. */
void up_pace_pause(struct up_pace *pace);
/* A line came: its device time, or NaN, and the host's monotonic time of its arrival, or NaN. True
   where it reveals something, described in *event. */
bool up_pace_push(struct up_pace *pace, double time_s, double arrival_s,
                  struct up_pace_event *event);

/* Lines come so much faster all at once that the converter may be gone and always look ready. */
bool up_pace_is_runaway(const struct up_pace_event *event);
