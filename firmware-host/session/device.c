/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The device on the wire: its lines, its silence, its loss and return. */
#include <string.h>

#include "internal.h"
#include "text/clock.h"

enum { JUDGE_LINES = 40, CHUNK = 4096 };
static const double SILENCE_S = 5;

/* A lost device is looked for so often: a person does not notice the delay, nor the machine the
   work. */
static const double SEEK_EVERY_S = 0.5;

/* What was held back on the way comes in a burst when the way is open again: this long after the
   first line that fits, lines are current (a choice of ours: bridges and buffers empty far faster
   than a device fills them). */
static const double BURST_S = 3;

static bool is_live(const struct up_rig *rig) {
    return rig->port_kind == UP_PORT_PTY || rig->port_kind == UP_PORT_SERIAL;
}

static double silence_s(const struct loop *loop) {
    return loop->session->silence_s > 0 ? loop->session->silence_s : SILENCE_S;
}

static bool is_polled(const struct loop *loop) {
    return loop->session->rig->line.poll[0] != '\0';
}

/* ---- a device that is lost and found ---- */

bool sends_unasked(const struct loop *loop) {
    return loop->session->source != NULL && up_source_is_device(loop->session->source) &&
           !is_polled(loop);
}

/* The step under way is lost with the device. It is asked again at once, so that the operator can
   stop, and again when the device is back: anything may have happened meanwhile. */
static bool wait_for_device(struct loop *loop, const char *what, struct up_failure *failure) {
    double return_s = loop->session->rig->port.return_s;
    char text[200];
    if (return_s <= 0 || !up_source_is_device(loop->session->source)) {
        return up_fail(failure, UP_STATUS_UNABLE, "%s", what);
    }
    loop->away = true;
    loop->fit_again_s = 0;
    loop->lost_s = loop->sought_s = up_monotonic_s();
    loop->awaited = loop->reader.lines; /* no lines are awaited any more */
    snprintf(text, sizeof text, "%.150s; waiting for it, up to %g s", what, return_s);
    interrupt_step(loop, NOTE_LOST, text);
    return true;
}

static bool lose_device(struct loop *loop, struct up_failure *failure) {
    up_source_drop(loop->session->source);
    if (loop->away) { /* silent until now, and waited for since */
        return true;
    }
    return wait_for_device(loop, "the device is gone: check its cable", failure);
}

static void start_device(struct loop *loop) {
    struct session *session = loop->session;
    char text[200];
    loop->away = false;
    loop->last_byte_s = loop->last_fit_s = up_monotonic_s();
    up_reader_resume(&loop->reader, sends_unasked(loop));
    loop->awaited = loop->reader.lines;
    snprintf(text, sizeof text, "the device is back after %.1f s, at %.80s: repeat this step",
             loop->last_byte_s - loop->lost_s, up_source_name(session->source));
    interrupt_step(loop, NOTE_BACK, text);
}

/* A silent device is polled again: it may have restarted. */
static bool seek_silent(struct loop *loop, double now_s, struct up_failure *why) {
    const struct up_line_rule *line = &loop->session->rig->line;
    if (loop->fit_again_s > 0 && now_s - loop->fit_again_s > BURST_S) {
        start_device(loop);
    } else if (loop->fit_again_s == 0 && is_polled(loop) && now_s - loop->polled_s > SILENCE_S) {
        loop->polled_s = now_s;
        up_source_write(loop->session->source, line->poll, strlen(line->poll), NULL);
    }
    return !loop->away || loop->fit_again_s > 0 ||
           up_fail(why, UP_STATUS_UNABLE, "check its power and cable, and [port] and [line] of %s",
                   loop->session->rig->path);
}

static bool seek_gone(struct loop *loop, struct up_failure *why) {
    if (!up_source_reopen(loop->session->source, why)) {
        return false;
    }
    start_device(loop);
    return true;
}

static bool seek_device(struct loop *loop, struct up_failure *failure) {
    struct session *session = loop->session;
    double now_s = up_monotonic_s(), return_s = session->rig->port.return_s;
    bool gone = session->source != NULL && up_source_descriptor(session->source) < 0;
    struct up_failure why;
    if (!loop->away || now_s - loop->sought_s < SEEK_EVERY_S) {
        return true;
    }
    loop->sought_s = now_s;
    return (gone ? seek_gone(loop, &why) : seek_silent(loop, now_s, &why)) ||
           now_s - loop->lost_s <= return_s ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "the device %s, and did not come back within %g s: %.250s",
                   gone ? "is gone" : "gives no line that fits", return_s, why.text);
}

/* ---- source -> procedure ---- */

static bool judge_lines(const struct loop *loop, struct up_failure *failure) {
    const struct up_reader *reader = &loop->reader;
    uint64_t refused = up_reader_refused(reader);
    if (up_reader_is_endless(reader)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "no line has ended for 64 KiB: compare [port] baud and [line] frame_end of "
                       "%s with the device",
                       loop->session->rig->path);
    }
    /* Where all lines fitted until now, the device may have been replaced: see check_silence. */
    bool once_sound = loop->last_fit_s < loop->last_byte_s && reader->count[UP_LINE_FITS] > 0;
    if (loop->away || once_sound || !up_reader_is_mismatched(reader, JUDGE_LINES)) {
        return true;
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%llu of %llu lines do not fit the layout in %s (%s), such as \"%.60s\" and "
                   "\"%.60s\": compare the section [line] with what `listen` shows",
                   (unsigned long long)refused, (unsigned long long)reader->lines,
                   loop->session->rig->path, up_refusal_name(up_reader_usual_refusal(reader)),
                   reader->refused_text[0], reader->refused_text[1]);
}

static void note_sound_lines(struct loop *loop) {
    const uint64_t *count = loop->reader.count;
    uint64_t fitting = count[UP_LINE_FITS] + count[UP_LINE_PASSED] + count[UP_LINE_LABEL];
    uint64_t beyond = count[UP_REFUSED_OVER] + count[UP_REFUSED_UNDER];
    if (beyond != loop->beyond) {
        loop->beyond = beyond;
        loop->last_beyond_s = loop->last_byte_s;
    }
    if (fitting != loop->fitting) {
        loop->fitting = fitting;
        loop->last_fit_s = loop->last_byte_s;
        loop->fit_again_s = loop->fit_again_s == 0 ? loop->last_byte_s : loop->fit_again_s;
    }
}

static void feed(struct loop *loop, const char *bytes, size_t length) {
    struct up_sample sample;
    while (up_reader_take(&loop->reader, &bytes, &length, &sample)) {
        up_procedure_sample(loop->session->procedure, &sample);
    }
    note_sound_lines(loop);
}

/* That it began anew spoils the step; all else that it says of itself is passed on once. */
static bool pass_words(struct loop *loop, struct up_failure *failure) {
    bool good = true;
    for (; good && loop->notes < loop->reader.notes; loop->notes++) {
        const char *note = loop->reader.note[loop->notes % UP_NOTES];
        bool anew = strncmp(note, "start ", 6) == 0 && loop->reader.count[UP_LINE_FITS] > 0;
        char text[200];
        snprintf(text, sizeof text, "the device %s: %s",
                 anew ? "restarted: repeat this step. It says" : "says", note);
        if (anew) {
            interrupt_step(loop, NOTE_LOST, text);
        } else {
            good = deliver_text(loop, UP_EVENT_NOTE, text, failure);
        }
    }
    return good;
}

bool read_device(struct loop *loop, struct up_failure *failure) {
    struct session *session = loop->session;
    char bytes[CHUNK];
    size_t length = 0;
    switch (up_source_read(session->source, bytes, sizeof bytes, &length)) {
    case UP_READ_BYTES:
        loop->last_byte_s = up_monotonic_s();
        session->listener.bytes(session->listener.context, bytes, length, loop->last_byte_s);
        if (is_live(session->rig)) {
            up_procedure_arrival(session->procedure, loop->last_byte_s);
        }
        feed(loop, bytes, length);
        return pass_words(loop, failure) && judge_lines(loop, failure);
    case UP_READ_END:
        up_reader_end(&loop->reader);
        return up_procedure_is_finished(session->procedure) ||
               up_fail(failure, UP_STATUS_UNABLE, "the stream ended before the session did");
    case UP_READ_LOST:
        return lose_device(loop, failure);
    case UP_READ_NOTHING:
        break;
    }
    return true;
}

/* A device with a time of its own is polled while a question is open, too: what is done shows in
   its lines, and when. An answer that was lost is asked for again. */
static bool is_poll_due(const struct loop *loop, double now_s) {
    bool waits = loop->reader.lines < loop->awaited;
    if (!is_polled(loop) || loop->away) {
        return false;
    }
    if (loop->session->rig->line.poll_only_to_read) {
        return !waits && !up_procedure_is_asking(loop->session->procedure);
    }
    return !waits || now_s - loop->polled_s > silence_s(loop);
}

static bool ask_device(struct loop *loop, struct up_failure *failure) {
    const struct up_line_rule *line = &loop->session->rig->line;
    double now_s = up_monotonic_s();
    if (!is_poll_due(loop, now_s)) {
        return true;
    }
    loop->polled_s = now_s;
    loop->awaited = loop->reader.lines + (uint64_t)line->poll_lines;
    return up_source_write(loop->session->source, line->poll, strlen(line->poll), failure) ||
           (up_source_is_lost(loop->session->source) && lose_device(loop, failure));
}

bool keep_device(struct loop *loop, struct up_failure *failure) {
    return seek_device(loop, failure) && ask_device(loop, failure);
}

/* ---- silence ---- */

bool check_silence(struct loop *loop, struct up_failure *failure) {
    double most_s = silence_s(loop), now_s = up_monotonic_s();
    char text[200];
    if (is_answer_open(loop) || loop->away || now_s - loop->last_fit_s < most_s) {
        return true;
    }
    if (now_s - loop->last_beyond_s < most_s) { /* it sends lines, but no numbers */
        interrupt_step(loop, NOTE_LOST,
                       "loaded beyond its range: take the load off, then repeat this step");
        return true;
    }
    bool bytes = now_s - loop->last_byte_s < most_s;
    if (bytes && loop->notes > 0) {
        snprintf(text, sizeof text, "no reading for %g s; the device says: %.100s", most_s,
                 loop->reader.note[(loop->notes - 1) % UP_NOTES]);
    } else {
        snprintf(text, sizeof text, "%s for %g s: check %s of %.60s",
                 bytes ? "bytes come but no line fits" : "nothing has come over the wire", most_s,
                 bytes ? "[port] and [line]" : "power, cable and the [port]",
                 loop->session->rig->path);
    }
    return wait_for_device(loop, text, failure);
}
