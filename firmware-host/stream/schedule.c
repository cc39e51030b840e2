/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stream/schedule.h"

#include <math.h>

/* The level now is the median of so many seconds. */
static const double LEVEL_S = 2;

/* Cheap cells creep by up to half a per cent of the load a decade (load-cell data sheets; seen in
   recordings): so much slope is no sign that a reading has not settled. */
static const double CREEP_ALLOWED_REL = 0.005;

/* A display may change by a division while the load stands still; the straight line through a step
   of one in the middle rises by 1.5. */
static const double RISE_OF_ONE_STEP = 1.5;

/* After a load that hung for hours a cell recovers as the logarithm of time: so many reading times
   later its drift is below that of the usual schedule (a choice of ours; the simulated cell, whose
   creep comes to an end, would do without). */
static const double REST_READINGS = 3;

void schedule_ask(struct schedule *schedule, double now_s, const struct up_indication *tare) {
    *schedule = (struct schedule){.asked_s = now_s,
                                  .done_s = now_s,
                                  .last = schedule->last,
                                  .before = tare != NULL ? *tare : schedule->last,
                                  .comes_back = tare != NULL};
}

void schedule_done(struct schedule *schedule, double now_s) {
    schedule->done_s = now_s;
    schedule->done_open = true;
}

void schedule_line(struct schedule *schedule, double time_s) {
    schedule->done_s = schedule->done_open ? time_s : schedule->done_s;
    schedule->done_open = false;
}

void schedule_rest(struct schedule *schedule, const struct up_rig *rig) {
    schedule->rest_s = REST_READINGS * rig->read_after_s;
}

double schedule_wait_s(const struct schedule *schedule, const struct up_rig *rig) {
    return rig->read_after_s - rig->window_s / 2 + schedule->late_s + schedule->rest_s;
}

/* Where the level hardly changed, the time of the answer is used. */
double schedule_step_s(const struct schedule *schedule, const struct stream *stream) {
    const struct up_indication *before = &schedule->before;
    double level = readings_median_since(&stream->readings, stream->now_s - LEVEL_S);
    double floor = stream->filter.noise.floor;
    if (!before->known || !steps_away(before->load, level, floor)) {
        return schedule->done_s;
    }
    const struct up_reading *first = readings_step(&stream->readings, before->load, level);
    if (first != NULL || schedule->comes_back) {
        return first != NULL ? first->time_s : schedule->done_s;
    }
    return fmax(schedule->asked_s, stream->readings.at[0].time_s); /* not seen before */
}

double rise_allowed(const struct up_rig *rig, double step) {
    double half_s = rig->window_s / 2;
    double decades = log10((rig->read_after_s + half_s) / fmax(rig->read_after_s - half_s, 0.1));
    return CREEP_ALLOWED_REL * fabs(step) * decades + RISE_OF_ONE_STEP * rig->division_counts;
}

double schedule_rise(const struct schedule *schedule, const struct up_rig *rig, double level) {
    return rise_allowed(rig, schedule->last.known ? level - schedule->last.load : 0);
}

/* Judges what is held between two times. */
static bool judge(const struct schedule *schedule, const struct stream *stream,
                  const struct up_rig *rig, double from_s, size_t stop,
                  struct up_plateau *plateau) {
    size_t first = readings_first_from(&stream->readings, from_s);
    double rise = schedule_rise(schedule, rig, readings_median_since(&stream->readings, from_s));
    return up_plateau_judge(stream->readings.at + first, stop - first, stream->filter.noise.floor,
                            rise, plateau);
}

/* The whole dwell from here on: by then hands are off. Against its window alone a hung load that
   swings is off by several times its creep (0.2 to 0.6 % a decade in recordings; our choice). */
static const double DWELL_FROM = 0.4; /* of the time to the reading */

static void fit_dwell(const struct stream *stream, double read_after_s, double to_s,
                      struct up_plateau *plateau) {
    size_t first =
        readings_first_from(&stream->readings, plateau->step_s + DWELL_FROM * read_after_s);
    size_t stop = readings_first_from(&stream->readings, to_s);
    double n = 0, x = 0, y = 0, xx = 0, xy = 0, t = 0, xt = 0, origin = plateau->load;
    for (size_t i = first; i < stop; i++) {
        const struct up_reading *reading = &stream->readings.at[i];
        double since_s = reading->time_s - plateau->step_s;
        if (reading->verdict == UP_READING_GOOD && since_s > 0) {
            double decades = log10(since_s), load = reading->load - origin;
            n++;
            x += decades;
            y += load;
            t += since_s;
            xx += decades * decades;
            xy += decades * load;
            xt += decades * since_s;
        }
    }
    double spread = n > 0 ? xx - x * x / n : 0;
    plateau->decade = spread > 0 ? (xy - x * y / n) / spread : 0;
    plateau->s_per_decade = spread > 0 ? (xt - x * t / n) / spread : 0;
}

bool schedule_read(const struct schedule *schedule, const struct stream *stream,
                   const struct up_rig *rig, struct up_plateau *plateau, bool *settled) {
    double wait_s = schedule_wait_s(schedule, rig);
    /* Before that there is no need to look for it. */
    if (isnan(stream->filter.noise.floor) ||
        stream->now_s < schedule->asked_s + wait_s + rig->window_s) {
        return false;
    }
    double step_s = schedule_step_s(schedule, stream);
    double from_s = step_s + wait_s, to_s = from_s + rig->window_s;
    if (stream->now_s < to_s || stream_may_be_stuck(stream, to_s)) {
        return false;
    }
    *settled =
        judge(schedule, stream, rig, from_s, readings_first_from(&stream->readings, to_s), plateau);
    plateau->step_s = step_s;
    fit_dwell(stream, rig->read_after_s, to_s, plateau);
    return true;
}

void schedule_progress(const struct schedule *schedule, const struct stream *stream,
                       const struct up_rig *rig, struct up_reading_progress *progress) {
    struct up_plateau plateau;
    progress->whole_s = schedule_wait_s(schedule, rig) + rig->window_s;
    progress->remaining_s = progress->whole_s;
    progress->late_s = schedule->late_s;
    if (!progress->reading || isnan(stream->filter.noise.floor)) {
        return;
    }
    double step_s = schedule_step_s(schedule, stream);
    double from_s = fmax(stream->now_s - rig->window_s, step_s);
    progress->remaining_s = fmax(progress->whole_s - (stream->now_s - step_s), 0);
    judge(schedule, stream, rig, from_s, stream->readings.count, &plateau);
    progress->unrest = plateau.unrest;
}
