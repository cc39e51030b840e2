/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/session.h"

#include <errno.h>
#include <math.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "../bench/internal.h"
#include "../operator/operator.h"
#include "../operator/panel_internal.h"

enum { JUDGE_LINES = 40, CHUNK = 4096 };
static const double SILENCE_S = 5, LIVE_EVERY_S = 0.5, SCREEN_EVERY_S = 0.1;

/* A lost device is looked for so often: a person does not notice the delay, nor the machine the
   work. */
static const double SEEK_EVERY_S = 0.5;

/* What was held back on the way comes in a burst when the way is open again: so long after the
   first line that fits, what comes is of now (a choice of ours: bridges and buffers empty far
   faster than a device fills them). */
static const double BURST_S = 3;

/* Who is asked hears of it again after this share of the time for which the bench waits. */
static const double REMIND_SHARE = 1.0 / 3;

struct loop {
    struct up_session *session;
    struct up_reader reader;
    struct up_procedure *procedure;
    uint64_t awaited;         /* lines that a poll asked for: all lines up to this number */
    bool ended;               /* the source gives no more */
    bool away;                /* the device is lost or silent, and waited for */
    uint64_t fitting, beyond; /* lines of a sound device so far, and of one out of its range */
    double begin_s, last_byte_s, last_fit_s, last_beyond_s, last_live_s, lost_s, sought_s, polled_s;
    double fit_again_s;         /* away: when the first line came that fits; 0 for none */
    double asked_s, reminded_s; /* the open ask, and when somebody was last told of it */
    char asked[sizeof((struct up_ask *)NULL)->text];
    bool left; /* it was put anew because nobody answered */
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

static bool hand_one(const struct loop *loop, const struct up_event *event,
                     struct up_failure *failure) {
    struct up_session *session = loop->session;
    if (session->listener.event != NULL &&
        !session->listener.event(session->listener.context, event, failure)) {
        return false;
    }
    operator_event(session->op, event);
    if (session->lines != NULL) {
        signs_event(session->lines, event);
    }
    return true;
}

static bool hand_out(struct loop *loop, struct up_failure *failure) {
    struct up_event event;
    while (!owes_lines(loop) && up_procedure_next(loop->session->procedure, &event)) {
        if (event.kind == UP_EVENT_ASK) {
            loop->asked_s = loop->reminded_s = monotonic_s();
            if (loop->session->lines != NULL) {
                up_pedal_asks(&loop->session->lines->press, loop->asked_s);
            }
            memcpy(loop->asked, event.ask.text, sizeof loop->asked);
        }
        if (!hand_one(loop, &event, failure)) {
            return false;
        }
    }
    return true;
}

/* What happens beside the procedure. */
static bool tell(struct loop *loop, enum up_event_kind kind, const char *text,
                 struct up_failure *failure) {
    struct up_event event = {.kind = kind};
    snprintf(event.text, sizeof event.text, "%s", text);
    return hand_one(loop, &event, failure);
}

/* ---- operator -> procedure ---- */

static void take_answer(struct loop *loop, const struct answer *answer) {
    struct up_session *session = loop->session;
    struct up_failure why;
    double time_s = monotonic_s() - loop->begin_s;
    bool is_low = session->lines != NULL && session->lines->water_is_low;
    if ((loop->away || is_low) && answer->word != UP_ANSWER_STOP) {
        operator_refused(
            session->op, answer->id,
            loop->away ? "the device is still away; the step is asked again when it is back"
                       : "the water is still too low; the step is asked again when it is back");
        return;
    }
    if (session->rig->port_kind == UP_PORT_TYPED) {
        up_procedure_clock(session->procedure, time_s);
    }
    if (!up_procedure_answer(session->procedure, answer->id, answer->word, answer->number, &why)) {
        operator_refused(session->op, answer->id, why.text);
        return;
    }
    loop->left = false;
    if (session->lines != NULL) {
        signs_answered(session->lines);
        up_pedal_asks(&session->lines->press, (double)INFINITY);
    }
    if (session->listener.answer != NULL) {
        session->listener.answer(session->listener.context, answer->id, answer->word,
                                 answer->number, time_s);
        loop->left = false;
        loop->last_byte_s = loop->last_fit_s =
            monotonic_s(); /* a polled one was not asked meanwhile */
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
    } else if (word == UP_PEDAL_DOUBLE && !session->op->stops_next) {
        signs_sound(session->lines, UP_SOUND_STOPPING);
        if (!tell(loop, UP_EVENT_NOTE, "stopping after this step; two more presses: at once",
                  failure)) {
            return false;
        }
    } else if (word == UP_PEDAL_STUCK &&
               !tell(loop, UP_EVENT_FAULT,
                     "the pedal stays down: free it; where nobody stands on it, check its wire and "
                     "[pedal] active",
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
        word = panel_pedal_word(session->lines);
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
    struct up_panel *lines = loop->session->lines;
    if (lines == NULL) {
        return true;
    }
    if (panel_water_changed(lines) && !loop->away) {
        pause_for_water(loop);
    }
    if (!hear_pedal(loop, failure)) {
        return false;
    }
    if (lines->lost != NULL) {
        const char *text = lines->lost;
        lines->lost = NULL;
        if (!tell(loop, UP_EVENT_FAULT, text, failure)) {
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
static bool wait_for_device(struct loop *loop, const char *what, struct up_failure *failure) {
    struct up_session *session = loop->session;
    double return_s = session->rig->port.return_s;
    char text[200];
    if (return_s <= 0 || !up_source_is_device(session->source)) {
        return up_fail(failure, UP_STATUS_UNABLE, "%s", what);
    }
    loop->away = true;
    loop->fit_again_s = 0;
    loop->lost_s = loop->sought_s = monotonic_s();
    loop->awaited = loop->reader.lines; /* it owes nothing any more */
    snprintf(text, sizeof text, "%.150s; it is waited for, %g s", what, return_s);
    note(loop, UP_NOTE_LOST, text);
    up_procedure_interrupt(session->procedure, text);
    return true;
}

static bool lose_device(struct loop *loop, struct up_failure *failure) {
    up_source_drop(loop->session->source);
    if (loop->away) { /* silent until now, and waited for since */
        return true;
    }
    return wait_for_device(loop, "the device is gone: check its cable", failure);
}

static void greet_device(struct loop *loop) {
    struct up_session *session = loop->session;
    char text[200];
    loop->away = false;
    loop->last_byte_s = loop->last_fit_s = monotonic_s();
    up_reader_resume(&loop->reader, talks_unasked(loop));
    loop->awaited = loop->reader.lines;
    snprintf(text, sizeof text, "the device is back after %.1f s, at %.80s: the step begins anew",
             loop->last_byte_s - loop->lost_s, up_source_name(session->source));
    note(loop, UP_NOTE_BACK, text);
    up_procedure_interrupt(session->procedure, text);
}

/* A silent one is asked anew: it may have begun anew itself. */
static bool seek_silent(struct loop *loop, double now_s, struct up_failure *why) {
    const struct up_line_rule *line = &loop->session->rig->line;
    if (loop->fit_again_s > 0 && now_s - loop->fit_again_s > BURST_S) {
        greet_device(loop);
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
    greet_device(loop);
    return true;
}

static bool seek_device(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    double now_s = monotonic_s(), return_s = session->rig->port.return_s;
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
    /* Where all fitted until now, another device may have come: see check_silence. */
    bool once_sound = loop->last_fit_s < loop->last_byte_s && reader->count[UP_LINE_FITS] > 0;
    if (loop->away || once_sound || !up_reader_is_hopeless(reader, JUDGE_LINES)) {
        return true;
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%llu of %llu lines do not fit the layout in %s (%s), such as \"%.60s\" and "
                   "\"%.60s\": compare the section [line] with what `listen` shows",
                   (unsigned long long)refused, (unsigned long long)reader->lines,
                   loop->session->rig->path, up_refusal_name(up_reader_usual_refusal(reader)),
                   reader->refused_text[0], reader->refused_text[1]);
}

static void note_life(struct loop *loop) {
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
    note_life(loop);
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
               up_fail(failure, UP_STATUS_UNABLE, "the stream ended before the session did");
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
    return up_source_write(loop->session->source, line->poll, strlen(line->poll), failure) ||
           (up_source_is_lost(loop->session->source) && lose_device(loop, failure));
}

static void spoil_step(struct loop *loop, const char *text) {
    note(loop, UP_NOTE_LOST, text);
    up_procedure_interrupt(loop->session->procedure, text);
}

static bool check_silence(struct loop *loop, struct up_failure *failure) {
    double silence_s = loop->session->silence_s > 0 ? loop->session->silence_s : SILENCE_S;
    double now_s = monotonic_s();
    bool waits_for_operator = up_procedure_is_asking(loop->session->procedure) && !owes_lines(loop);
    char text[200];
    if (waits_for_operator || loop->away || now_s - loop->last_fit_s < silence_s) {
        return true;
    }
    if (now_s - loop->last_beyond_s < silence_s) { /* it speaks, but gives no number */
        spoil_step(loop, "the device says that it is loaded beyond its range: take the load off at "
                         "once; the step begins anew");
        return true;
    }
    if (now_s - loop->last_byte_s < silence_s) {
        snprintf(text, sizeof text,
                 "bytes come but no line fits for %g s: check that the device is the one of %.60s",
                 silence_s, loop->session->rig->path);
    } else {
        snprintf(text, sizeof text,
                 "nothing has come over the wire for %g s: check power, cable and the [port] of "
                 "%.60s",
                 silence_s, loop->session->rig->path);
    }
    return wait_for_device(loop, text, failure);
}

/* ---- a person who does not come ---- */

/* "45 s" or "12 min". */
static void say_time(char text[16], double time_s) {
    snprintf(text, 16, time_s < 120 ? "%.0f s" : "%.0f min", time_s < 120 ? time_s : time_s / 60);
}

static bool remind(const struct loop *loop, double waited_s, struct up_failure *failure) {
    struct up_event event = {.kind = UP_EVENT_NOTE};
    char waited[16];
    say_time(waited, waited_s);
    snprintf(event.text, sizeof event.text, "nobody has answered for %s; asked was: %.180s", waited,
             loop->asked);
    if (loop->session->lines != NULL) {
        signs_sound(loop->session->lines, UP_SOUND_YOUR_TURN);
    }
    return hand_one(loop, &event, failure);
}

static void give_up_waiting(struct loop *loop, double waited_s) {
    char text[160], waited[16];
    say_time(waited, waited_s);
    snprintf(text, sizeof text,
             "nobody answered for %s: what hung meanwhile does not count, the step begins anew",
             waited);
    loop->left = true;
    note(loop, UP_NOTE_LEFT, text);
    up_procedure_leave(loop->session->procedure, text);
}

static bool check_presence(struct loop *loop, struct up_failure *failure) {
    double absent_s = loop->session->rig->absent_s;
    double now_s = monotonic_s(), waited_s = now_s - loop->asked_s;
    if (absent_s <= 0 || loop->away || !up_procedure_is_asking(loop->session->procedure) ||
        owes_lines(loop)) {
        return true;
    }
    if (!loop->left && waited_s >= absent_s) {
        give_up_waiting(loop, waited_s);
        return true;
    }
    if (now_s - loop->reminded_s < (loop->left ? 1 : REMIND_SHARE) * absent_s) {
        return true;
    }
    loop->reminded_s = now_s;
    return remind(loop, waited_s, failure);
}

static void show_live(struct loop *loop) {
    struct up_session *session = loop->session;
    double g = session->op->counts_per_kg != 0 ? 1e3 / session->op->counts_per_kg : 0;
    double now_s = monotonic_s();
    bool screen = session->op->live != NULL;
    if ((!screen && (g == 0 || loop->away)) ||
        now_s - loop->last_live_s < (screen ? SCREEN_EVERY_S : LIVE_EVERY_S)) {
        return;
    }
    loop->last_live_s = now_s;
    if (screen) {
        live_show(session->op, loop->away);
        return;
    }
    session->op->kind->live(session->op, g * up_procedure_live_load(session->procedure),
                            fabs(g) * up_procedure_noise_floor(session->procedure));
}

static void show_screen(struct loop *loop) {
    if (loop->session->op->live != NULL) {
        show_live(loop);
    }
}

/* ---- the loop ---- */

enum { OWN = 2 };

/* Two entries of the session's own, then those of the lines. */
static int wait_on(const struct loop *loop, struct pollfd entry[OWN + LINES_POLLED]) {
    panel_entries(loop->session->lines, entry + OWN);
    return poll(entry, OWN + LINES_POLLED, panel_wait_ms(loop->session->lines, monotonic_s(), 200));
}

static bool wait_for_something(struct loop *loop, struct up_failure *failure) {
    struct up_session *session = loop->session;
    bool asking = up_procedure_is_asking(session->procedure) && !owes_lines(loop);
    struct up_operator *op = session->op;
    int operator_input = op->live != NULL ? op->keyboard : asking ? op->input : -1;
    struct pollfd entry[OWN + LINES_POLLED] = {
        {.fd = up_source_descriptor(session->source), .events = POLLIN},
        {.fd = operator_input, .events = POLLIN}};
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
    struct pollfd entry[OWN + LINES_POLLED] = {
        {.fd = op->live != NULL ? op->keyboard : op->input, .events = POLLIN}, {.fd = -1}};
    if (memchr(op->text, '\n', op->length) != NULL ||
        (wait_on(loop, entry) > 0 && entry[0].revents != 0)) {
        hear_operator(loop);
    }
}

static void begin(struct loop *loop) {
    struct up_session *session = loop->session;
    loop->begin_s = loop->last_byte_s = loop->last_fit_s = monotonic_s();
    if (session->reader == NULL) {
        up_reader_begin(&loop->reader, &session->rig->line, talks_unasked(loop));
        return;
    }
    loop->reader = *session->reader;
    if (session->rig->port_kind == UP_PORT_TYPED) {
        loop->begin_s -= session->procedure->now_s; /* their clock goes on */
    }
    note(loop, UP_NOTE_RESUMED, session->resumed);
    up_reader_resume(&loop->reader, talks_unasked(loop));
    up_procedure_resume(session->procedure, session->resumed);
    loop->awaited = loop->reader.lines;
}

static bool run(struct up_session *session, struct up_failure *failure) {
    struct loop loop = {.session = session, .procedure = session->procedure};
    bool typed = session->rig->port_kind == UP_PORT_TYPED;
    begin(&loop);
    session->op->loads_in_kg = session->rig->line.load_unit != UP_LOAD_COUNTS;
    if (!session->procedure->calibrating) {
        session->op->counts_per_kg = session->procedure->measurement.calibration.slope_counts_per_kg;
    }
    if (session->lines != NULL && session->op->by_pedal) {
        panel_listen(session->lines);
    }
    while (hand_out(&loop, failure)) {
        if (up_procedure_is_finished(session->procedure) && !owes_lines(&loop)) {
            return true;
        }
        if (session->signalled != NULL && *session->signalled != 0) {
            stop(&loop);
            return true;
        }
        if (!check_presence(&loop, failure) || !mind_lines(&loop, failure)) {
            return false;
        }
        if (typed) {
            wait_for_operator(&loop);
            show_screen(&loop);
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

bool up_session_run(struct up_session *session, struct up_failure *failure) {
    bool good;
    if (session->op->wants_screen) {
        live_begin(session->op, session);
    }
    good = run(session, failure);
    live_end(session->op);
    return good;
}
