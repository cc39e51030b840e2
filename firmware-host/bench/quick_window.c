/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The early readings of a weighing, from the samples that are held: a quick one may end with one of
   them, a full one only learns from them. */
#include <math.h>

#include "internal.h"

double early_end_s(const struct up_procedure *procedure, double from_s) {
    const struct measuring *measuring = procedure->measuring;
    const struct quick_trace *trace = measuring != NULL ? &measuring->quick.trace : NULL;
    if (trace == NULL || trace->times >= UP_EARLY_TIMES || procedure->schedule.rest_s > 0) {
        return (double)NAN;
    }
    double end_s = up_early_time_s[trace->times] + UP_EARLY_WINDOW_S / 2;
    bool before = end_s < procedure->rig->read_after_s + procedure->rig->window_s / 2;
    return before ? from_s + end_s : (double)NAN;
}

/* Off the hook still: the empty hanger shows where something hung before. */
static bool is_away(const struct up_procedure *procedure, double load, double floor) {
    const struct measuring *measuring = procedure->measuring;
    return procedure->step == MEASURE_SHAKE &&
           steps_away(measuring->tare.load, measuring->hung.load, floor) &&
           fabs(load - measuring->tare.load) <
               0.5 * fabs(measuring->hung.load - measuring->tare.load);
}

/* Weights that rise from nothing at the window's ends to the most in its middle (J. von Hann's): a
   swing that turns f times in the window moves their mean by 1 / (f^2 - 1) of what it moves a plain
   one; what changes evenly moves both alike. */
static double tapered_load(const struct up_reading *reading, size_t count) {
    double weights = 0, sum = 0, first_s = reading[0].time_s;
    double length_s = (reading[count - 1].time_s - first_s) * (double)count / (double)(count - 1);
    double half_s = length_s / (2 * (double)count);
    for (size_t i = 0; i < count; i++) {
        if (reading[i].verdict == UP_READING_GOOD) {
            double weight = 1 - cos(2 * M_PI * (reading[i].time_s - first_s + half_s) / length_s);
            weights += weight;
            sum += weight * reading[i].load;
        }
    }
    return sum / weights;
}

/* Whether it settled is not asked: its bound holds for readings that ring. It counts from the
   answer, as before that a hand may steady what hangs. */
bool early_window(struct up_procedure *procedure, struct up_plateau *window) {
    const struct stream *stream = &procedure->stream;
    double floor = stream->filter.noise.floor;
    if (isnan(floor) || isnan(early_end_s(procedure, 0))) {
        return false;
    }
    double step_s = schedule_step_s(&procedure->schedule, stream);
    double to_s = early_end_s(procedure, fmax(step_s, procedure->schedule.done_s));
    double from_s = to_s - UP_EARLY_WINDOW_S;
    if (stream->now_s < to_s || stream_may_be_stuck(stream, to_s)) {
        return false;
    }
    size_t first = readings_first_from(&stream->readings, from_s);
    size_t stop = readings_first_from(&stream->readings, to_s);
    up_plateau_judge(stream->readings.at + first, stop - first, floor, 0, window);
    window->step_s = step_s;
    bool away = is_away(procedure, window->load, floor);
    if (away && procedure->measuring->quick.trace.times == 0) {
        return false; /* answered before it hung again: it counts from then on */
    }
    bool good = window->readings >= 5 && window->glitches <= window->readings &&
                2 * window->unstable <= window->readings && !away &&
                to_s < step_s + procedure->rig->read_after_s + procedure->rig->window_s / 2;
    if (!good) { /* neither this reading nor what it would teach */
        procedure->measuring->quick.trace.times = QUICK_NO_TRACE;
        return false;
    }
    window->tapered = tapered_load(stream->readings.at + first, stop - first);
    return true;
}
