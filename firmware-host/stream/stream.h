/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The samples of a session: tested for glitches and pace, kept while a reading may need them. */
#pragma once

#include "stream/pace.h"
#include "stream/readings.h"
#include "upthrust/rig.h"
#include "upthrust/wire.h"

struct stream {
    struct up_glitch_filter filter;
    struct up_pace pace;
    struct readings readings; /* since stream_forget */
    double now_s;             /* device time of the last sample */
    bool has_begun;           /* a sample has come since the beginning or the last interruption */
    double arrival_s;         /* host time of the lines that are being fed; 0: not measured */
    double load;              /* of the latest good reading; NaN: none came yet */
};

void stream_begin(struct stream *stream, const struct up_rig *rig);
void stream_free(struct stream *stream);

/* True where a line came too late, too soon or too fast, with the reason in *event. */
bool stream_check_pace(struct stream *stream, const struct up_line_rule *line,
                       const struct up_sample *sample, struct up_pace_event *event);
/* True when a reading, three samples back, has been judged into *judged. */
bool stream_judge(struct stream *stream, const struct up_sample *sample, struct up_reading *judged);

void stream_hold(struct stream *stream, const struct up_reading *reading);
void stream_forget(struct stream *stream);

/* Equal words reach back before this time, and may yet turn out to be stuck. */
bool stream_may_be_stuck(const struct stream *stream, double before_s);
