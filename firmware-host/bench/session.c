/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/session.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "internal.h"
#include "lines_internal.h"
#include "operator.h"

enum { JUDGE_LINES = 40, CHUNK = 4096 };
static const double SILENCE_S = 5, LIVE_EVERY_S = 0.5;

/* A lost device is looked for so often: a person does not notice the delay, nor the machine the
   work. */
static const double SEEK_EVERY_S = 0.5;

struct loop {
    struct up_session *session;
    struct up_reader reader;
    struct up_procedure *procedure;
    uint64_t awaited; /* lines that a poll asked for: all lines up to this number */
    bool ended;       /* the source gives no more */
    bool away;        /* the device is lost and looked for */
    double begin_s, last_byte_s, last_live_s, lost_s, sought_s;
};

static double monotonic_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static bool is_live(const struct up_rig *rig) {
    return rig->port_kind == UP_PORT_PTY || rig->port_kind == UP_PORT_SERIAL;
}

static bool is_polled(const struct loop *loop) {
    return loop->session->rig->line.poll[0] != '\0';
}

/* A device that is polled still owes lines. Events wait for them, so that what an operator does
   falls between the same two samples at any speed. */
static bool owes_lines(const struct loop *loop) {
    return is_polled(loop) && loop->reader.lines < loop->awaited;
}

/* ---- procedure -> operator and listener ---- */

static bool hand_out(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    struct up_event event;
    while (!owes_lines(loop) && up_procedure_next(session->procedure, &event)) {
        if (session->listener.event != NULL &&
            !session->listener.event(session->listener.context, &event, failure)) {
            return false;
        }
        if (session->lines != NULL && event.kind == UP_EVENT_ASK) {
            up_pedal_asks(&session->lines->press, monotonic_s());
        }
        session->op->kind->event(session->op, &event);
        if (session->lines != NULL) {
            signs_event(session->lines, &event);
        }
    }
    return true;
}

/* What went wrong beside the procedure. */
static bool tell_fault(struct loop *loop, const char *text, struct up_failure *failure) {
    struct up_session *session = loop->session;
    struct up_event event = {.kind = UP_EVENT_FAULT};
    snprintf(event.text, sizeof event.text, "%s", text);
    if (session->listener.event != NULL &&
        !session->listener.event(session->listener.context, &event, failure)) {
        return false;
    }
    session->op->kind->event(session->op, &event);
    signs_event(session->lines, &event);
    return true;
}

/* ---- operator -> procedure ---- */

static void take_answer(struct loop *loop, const struct answer *answer) {
    struct up_session *session = loop->session;
    struct up_failure why;
    double time_s = monotonic_s() - loop->begin_s;
    bool is_low = session->lines != NULL && session->lines->water_is_low;
    if ((loop->away || is_low) && answer->word != UP_ANSWER_STOP) {
        session->op->kind->refused(
            session->op, answer->id,
            loop->away ? "the device is still away; the step is asked again when it is back"
                       : "the water is still too low; the step is asked again when it is back");
        return;
    }
    if (session->rig->port_kind == UP_PORT_TYPED) {
        up_procedure_clock(session->procedure, time_s);
    }
    if (!up_procedure_answer(session->procedure, answer->id, answer->word, answer->number, &why)) {
        session->op->kind->refused(session->op, answer->id, why.text);
        return;
    }
    if (session->lines != NULL) {
        signs_answered(session->lines);
        up_pedal_asks(&session->lines->press, (double)INFINITY);
    }
    if (session->listener.answer != NULL) {
        session->listener.answer(session->listener.context, answer->id, answer->word,
                                 answer->number, time_s);
    }
}

static void note(const struct loop *loop, enum up_note what, const char *text) {
    const struct up_listener *listener = &loop->session->listener;
    if (listener->note != NULL) {
        listener->note(listener->context, what, text);
    }
}

static void stop(struct loop *loop) {
    if (!up_procedure_is_finished(loop->session->procedure)) {
        note(loop, UP_NOTE_STOPPED, "");
        up_procedure_stop(loop->session->procedure);
    }
}

static void hear_operator(struct loop *loop) {
    struct answer answer;
    switch (operator_read(loop->session->op, &answer)) {
    case OPERATOR_ANSWER:
        take_answer(loop, &answer);
        break;
    case OPERATOR_ENDED:
        stop(loop);
        break;
    case OPERATOR_NOTHING:
        break;
    }
}

/* ---- lines at the bench ---- */

static bool take_pedal_word(struct loop *loop, enum up_pedal_word word,
                            struct up_failure *failure) {
    struct up_session *session = loop->session;
    bool is_open = up_procedure_is_asking(session->procedure) && !owes_lines(loop);
    bool stops = false;
    struct answer answer;
    if (word == UP_PEDAL_HELD) {
        signs_sound(session->lines, UP_SOUND_HELD);
    } else if (word == UP_PEDAL_DOUBLE) {
        signs_sound(session->lines, UP_SOUND_STOPPING);
    } else if (word == UP_PEDAL_STUCK &&
               !tell_fault(loop,
                           "the pedal stays down: free it; where nobody stands on it, check its "
                           "wire and [pedal] active",
                           failure)) {
        return false;
    }
    if (pedal_says(session->op, word, is_open, &answer, &stops)) {
        take_answer(loop, &answer);
    }
    if (stops) {
        stop(loop);
    }
    return true;
}

static bool hear_pedal(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    enum up_pedal_word word;
    if (!session->lines->answers) {
        return true;
    }
    do {
        word = lines_pedal_word(session->lines);
        if (!take_pedal_word(loop, word, failure)) {
            return false;
        }
    } while (word != UP_PEDAL_NOTHING);
    return true;
}

/* What was read while the water sank is lost, and the item may be wet or dry by now: the step under
   way is asked again, with its tare, at once and when the water is back. */
static void pause_for_water(struct loop *loop) {
    struct up_session *session = loop->session;
    const char *text = session->lines->water_is_low
                           ? "the water is too low: the run pauses until it is back"
                           : "the water is back: the step begins anew with a tare";
    note(loop, UP_NOTE_INTERRUPTED, text);
    up_procedure_interrupt(session->procedure, text);
}

static bool mind_lines(struct loop *loop, struct up_failure *failure) {
    struct up_lines *lines = loop->session->lines;
    if (lines == NULL) {
        return true;
    }
    if (lines_water_changed(lines) && !loop->away) {
        pause_for_water(loop);
    }
    if (!hear_pedal(loop, failure)) {
        return false;
    }
    if (lines->lost != NULL) {
        const char *text = lines->lost;
        lines->lost = NULL;
        if (!tell_fault(loop, text, failure)) {
            return false;
        }
    }
    signs_fault(lines, loop->away || lines->water_is_low || lines->press.stuck);
    signs_tick(lines, monotonic_s());
    return true;
}

/* ---- a device that is lost and found ---- */

static bool talks_unasked(const struct loop *loop) {
    return loop->session->source != NULL && up_source_is_device(loop->session->source) &&
           !is_polled(loop);
}

/* The step under way is lost with the device. It is asked again at once, so that somebody can say
   stop, and once more when the device is back, since nobody knows what was done meanwhile. */
static bool lose_device(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    double return_s = session->rig->port.return_s;
    char text[160];
    up_source_drop(session->source);
    if (return_s <= 0 || !up_source_is_device(session->source)) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the device is gone: check its cable, then start again; completed trials "
                       "are stored");
    }
    loop->away = true;
    loop->lost_s = loop->sought_s = monotonic_s();
    loop->awaited = loop->reader.lines; /* it owes nothing any more */
    snprintf(text, sizeof text, "the device is gone: check its cable; it is waited for, %g s",
             return_s);
    note(loop, UP_NOTE_LOST, text);
    up_procedure_interrupt(session->procedure, text);
    return true;
}

static void greet_device(struct loop *loop) {
    struct up_session *session = loop->session;
    char text[200];
    loop->away = false;
    loop->last_byte_s = monotonic_s();
    up_reader_resume(&loop->reader, talks_unasked(loop));
    loop->awaited = loop->reader.lines;
    snprintf(text, sizeof text, "the device is back after %.1f s, at %.80s: the step begins anew",
             loop->last_byte_s - loop->lost_s, up_source_name(session->source));
    note(loop, UP_NOTE_BACK, text);
    up_procedure_interrupt(session->procedure, text);
}

static bool seek_device(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    double now_s = monotonic_s();
    struct up_failure why;
    if (!loop->away || now_s - loop->sought_s < SEEK_EVERY_S) {
        return true;
    }
    loop->sought_s = now_s;
    if (up_source_reopen(session->source, &why)) {
        greet_device(loop);
    } else if (now_s - loop->lost_s > session->rig->port.return_s) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "the device is gone and did not come back within %g s (%.250s); completed "
                       "trials are stored",
                       session->rig->port.return_s, why.text);
    }
    return true;
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
    if (!up_reader_is_hopeless(reader, JUDGE_LINES)) {
        return true;
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%llu of %llu lines do not fit the layout in %s (%s), such as \"%.60s\" and "
                   "\"%.60s\": compare the section [line] with what `listen` shows",
                   (unsigned long long)refused, (unsigned long long)reader->lines,
                   loop->session->rig->path, up_refusal_name(up_reader_usual_refusal(reader)),
                   reader->refused_text[0], reader->refused_text[1]);
}

static void feed(struct loop *loop, const char *bytes, size_t length) {
    struct up_sample sample;
    while (up_reader_take(&loop->reader, &bytes, &length, &sample)) {
        up_procedure_sample(loop->session->procedure, &sample);
    }
}

static bool hear_source(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    char bytes[CHUNK];
    size_t length = 0;
    switch (up_source_read(session->source, bytes, sizeof bytes, &length)) {
    case UP_READ_BYTES:
        loop->last_byte_s = monotonic_s();
        if (session->listener.bytes != NULL) {
            session->listener.bytes(session->listener.context, bytes, length, loop->last_byte_s);
        }
        if (is_live(session->rig)) {
            up_procedure_arrival(session->procedure, loop->last_byte_s);
        }
        feed(loop, bytes, length);
        return judge_lines(loop, failure);
    case UP_READ_END:
        up_reader_end(&loop->reader);
        loop->ended = true;
        return up_procedure_is_finished(session->procedure) ||
               up_fail(failure, UP_STATUS_UNABLE,
                       "the stream ended before the session did; completed trials are stored");
    case UP_READ_LOST:
        return lose_device(loop, failure);
    case UP_READ_NOTHING:
        break;
    }
    return true;
}

static bool ask_device(struct loop *loop, struct up_failure *failure) {
    const struct up_line_rule *line = &loop->session->rig->line;
    if (!is_polled(loop) || loop->away || owes_lines(loop) ||
        up_procedure_is_asking(loop->session->procedure)) {
        return true;
    }
    loop->awaited = loop->reader.lines + (uint64_t)line->poll_lines;
    loop->last_byte_s = monotonic_s();
    return up_source_write(loop->session->source, line->poll, strlen(line->poll), failure) ||
           (up_source_is_lost(loop->session->source) && lose_device(loop, failure));
}

static bool check_silence(const struct loop *loop, struct up_failure *failure) {
    double silence_s = loop->session->silence_s > 0 ? loop->session->silence_s : SILENCE_S;
    bool waits_for_operator = up_procedure_is_asking(loop->session->procedure) && !owes_lines(loop);
    if (waits_for_operator || loop->away || monotonic_s() - loop->last_byte_s < silence_s) {
        return true;
    }
    return up_fail(failure, UP_STATUS_UNABLE,
                   "nothing has come over the wire for %g s: check power, cable and the [port] of "
                   "%s; completed trials are stored",
                   silence_s, loop->session->rig->path);
}

static void show_live(struct loop *loop) {
    struct up_session *session = loop->session;
    double g = session->op->counts_kg != 0 ? 1e3 / session->op->counts_kg : 0;
    double now_s = monotonic_s();
    if (g == 0 || loop->away || now_s - loop->last_live_s < LIVE_EVERY_S) {
        return;
    }
    loop->last_live_s = now_s;
    session->op->kind->live(session->op, g * up_procedure_live_load(session->procedure),
                            fabs(g) * up_procedure_noise_floor(session->procedure));
}

/* ---- the loop ---- */

enum { OWN = 2 };

/* Two entries of the session's own, then those of the lines. */
static int wait_on(const struct loop *loop, struct pollfd entry[OWN + LINES_POLLED]) {
    lines_entries(loop->session->lines, entry + OWN);
    return poll(entry, OWN + LINES_POLLED, lines_wait_ms(loop->session->lines, monotonic_s(), 200));
}

static bool wait_for_something(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    bool asking = up_procedure_is_asking(session->procedure) && !owes_lines(loop);
    struct pollfd entry[OWN + LINES_POLLED] = {
        {.fd = up_source_descriptor(session->source), .events = POLLIN},
        {.fd = asking ? session->op->input : -1, .events = POLLIN}};
    /* A line may be waiting in its buffer; half of one must not keep us from waiting. */
    if (asking && memchr(session->op->text, '\n', session->op->length) != NULL) {
        hear_operator(loop);
        return true;
    }
    if (wait_on(loop, entry) < 0 && errno != EINTR) {
        return up_fail(failure, UP_STATUS_UNABLE, "poll: %s", strerror(errno));
    }
    if (entry[0].revents != 0 && !hear_source(loop, failure)) {
        return false;
    }
    if (entry[1].revents != 0) {
        hear_operator(loop);
    }
    return true;
}

/* Where readings are typed there is nobody else to wait for. */
static void wait_for_operator(struct loop *loop) {
    struct up_operator *op = loop->session->op;
    struct pollfd entry[OWN + LINES_POLLED] = {{.fd = op->input, .events = POLLIN}, {.fd = -1}};
    if (memchr(op->text, '\n', op->length) != NULL ||
        (wait_on(loop, entry) > 0 && entry[0].revents != 0)) {
        hear_operator(loop);
    }
}

bool up_session_run(struct up_session *session, struct up_failure *failure) {
    struct loop loop = {.session = session, .procedure = session->procedure};
    bool typed = session->rig->port_kind == UP_PORT_TYPED;
    up_reader_begin(&loop.reader, &session->rig->line, talks_unasked(&loop));
    loop.begin_s = loop.last_byte_s = monotonic_s();
    session->op->loads_in_kg = session->rig->line.load_unit != UP_LOAD_COUNTS;
    if (!session->procedure->calibrating) {
        session->op->counts_kg = session->procedure->calibration.slope_counts_kg;
    }
    if (session->lines != NULL && session->op->by_pedal) {
        lines_listen(session->lines);
    }
    while (hand_out(&loop, failure)) {
        if (up_procedure_is_finished(session->procedure) && !owes_lines(&loop)) {
            return true;
        }
        if (session->signalled != NULL && *session->signalled != 0) {
            stop(&loop);
            return true;
        }
        if (!mind_lines(&loop, failure)) {
            return false;
        }
        if (typed) {
            wait_for_operator(&loop);
            continue;
        }
        if (!seek_device(&loop, failure) || !ask_device(&loop, failure) ||
            !wait_for_something(&loop, failure) || !check_silence(&loop, failure)) {
            return false;
        }
        show_live(&loop);
    }
    return false;
}
