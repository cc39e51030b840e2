/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stream/stream.h"

#include <math.h>

enum { HELD_MAX = 1 << 18 };

void stream_begin(struct stream *stream, const struct up_rig *rig) {
    *stream = (struct stream){.load = (double)NAN};
    up_glitch_filter_begin(&stream->filter, rig->line.word_bits, rig->division_counts);
}

void stream_free(struct stream *stream) {
    readings_free(&stream->readings);
}

bool stream_check_pace(struct stream *stream, const struct up_line_rule *line,
                       const struct up_sample *sample, struct up_pace_event *event) {
    double time_s = line->time_unit_s > 0 ? sample->time_s : (double)NAN;
    /* A polled device sends only when asked: its arrivals show our pace, not its own. */
    bool measured = stream->arrival_s > 0 && line->poll[0] == '\0';
    return up_pace_push(&stream->pace, time_s, measured ? stream->arrival_s : (double)NAN, event);
}

bool stream_judge(struct stream *stream, const struct up_sample *sample,
                  struct up_reading *judged) {
    bool is_judged = up_glitch_filter_push(&stream->filter, sample->time_s, sample->load[0],
                                           sample->temp_c, judged);
    if (sample->unstable) {
        up_glitch_filter_mark_unstable(&stream->filter);
    }
    return is_judged;
}

void stream_hold(struct stream *stream, const struct up_reading *reading) {
    readings_hold(&stream->readings, reading, HELD_MAX);
    if (reading->verdict == UP_READING_GOOD) {
        stream->load = reading->load;
    }
}

void stream_forget(struct stream *stream) {
    stream->readings.count = 0;
}

bool stream_may_be_stuck(const struct stream *stream, double before_s) {
    double start_s = 0;
    return up_glitch_filter_may_be_stuck(&stream->filter, &start_s) && start_s < before_s;
}
