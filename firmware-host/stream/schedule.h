/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The schedule of one reading: when the load came to stand, and the window that is read a fixed
 * time later. A person presses "done" some seconds after the load hangs, each time other ones; the
 * load's own trace keeps the schedule.
 */
#pragma once

#include "stream/plateau.h"
#include "stream/stream.h"
#include "upthrust/measurement.h"

/* How far the reading under way is, in device time. */
struct up_reading_progress {
    bool reading;   /* one is waited for */
    double whole_s; /* from the step of the load to the end of the window, as it is put off now */
    double remaining_s; /* of that */
    double late_s;      /* put off by so much, since it did not settle */
    double unrest; /* of the latest window: 1 where the settle rule just holds; NaN: not known */
};

struct schedule {
    double asked_s, done_s; /* device time of the ask, and of the answer to it */
    bool done_open;         /* the first line after the answer dates it */
    double late_s;          /* the window has been put off by this much, since it did not settle */
    double rest_s;          /* and by this much, for the cell to rest */
    struct up_indication last;   /* the latest plateau of any kind */
    struct up_indication before; /* the level that the load's step leaves */
    bool comes_back; /* the step goes off that level and back to it: a shake, seen from its tare */
};

/* A step is asked for; `tare` where it goes off the hook and back, else NULL. */
void schedule_ask(struct schedule *schedule, double now_s, const struct up_indication *tare);
/* It was answered, at the time of the latest line. */
void schedule_done(struct schedule *schedule, double now_s);
void schedule_line(struct schedule *schedule, double time_s);
/* The cell has been loaded for so long that it needs rest before the next reading. */
void schedule_rest(struct schedule *schedule, const struct up_rig *rig);

/* From the step of the load to the window. */
double schedule_wait_s(const struct schedule *schedule, const struct up_rig *rig);
double schedule_step_s(const struct schedule *schedule, const struct stream *stream);
/* So much may a load rise within the window after a step of it, beside its noise: by its creep and
   a division. */
double rise_allowed(const struct up_rig *rig, double step);
double schedule_rise(const struct schedule *schedule, const struct up_rig *rig, double level);

/* True when the window has been read into *plateau; *settled by the settle rule. */
bool schedule_read(const struct schedule *schedule, const struct stream *stream,
                   const struct up_rig *rig, struct up_plateau *plateau, bool *settled);

/* The progress of the reading. */
void schedule_progress(const struct schedule *schedule, const struct stream *stream,
                       const struct up_rig *rig, struct up_reading_progress *progress);
