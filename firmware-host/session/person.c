/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The operator's actions and silences. */
#include "internal.h"
#include "text/clock.h"

/* Reminded after this share of the time for which the bench waits. */
static const double REMIND_SHARE = 1.0 / 3;

enum { REPLIES_A_TURN = 16 };

/* ---- answers ---- */

static bool accept(struct loop *loop, const struct up_reply *answer, double time_s,
                   struct up_failure *why) {
    struct session *session = loop->session;
    bool is_low = up_operator_water_is_low(session->op);
    if ((loop->away || is_low) && answer->word != UP_ANSWER_STOP) {
        return up_fail(
            why, UP_STATUS_WRONG_INPUT,
            loop->away
                ? "the device is still away; you are asked to repeat the step when it is back"
                : "the water is still too low; you are asked to repeat the step when it is back");
    }
    if (session->rig->port_kind == UP_PORT_TYPED) {
        up_procedure_clock(session->procedure, time_s);
    }
    return up_procedure_answer(session->procedure, answer->id, answer->word, answer->number, why);
}

static void take_answer(struct loop *loop, const struct up_reply *answer) {
    struct session *session = loop->session;
    struct up_failure why;
    double now_s = up_monotonic_s(), time_s = now_s - loop->begin_s;
    if (!accept(loop, answer, time_s, &why)) {
        up_operator_refused(session->op, answer->id, why.text);
        return;
    }
    loop->absent = false;
    loop->last_byte_s = loop->last_fit_s = now_s; /* a polled device was not asked meanwhile */
    up_operator_accepted(session->op);
    session->listener.answer(session->listener.context, answer, time_s);
}

/* What was read while the water sank is lost, and the item may be wet or dry by now: the step under
   way is asked again, with its tare, at once and when the water is back. */
static void pause_for_water(const struct loop *loop, const char *text) {
    if (!loop->away) {
        interrupt_step(loop, NOTE_INTERRUPTED, text);
    }
}

/* An event of the session's own, beside those of the procedure. */
bool deliver_text(const struct loop *loop, enum up_event_kind kind, const char *text,
                  struct up_failure *failure) {
    struct up_event event = {.kind = kind};
    snprintf(event.text, sizeof event.text, "%s", text);
    return deliver_event(loop, &event, failure);
}

static bool take_reply(struct loop *loop, const struct up_reply *reply,
                       struct up_failure *failure) {
    switch (reply->kind) {
    case UP_REPLY_ANSWER:
        take_answer(loop, reply);
        break;
    case UP_REPLY_STOP:
        loop_stop(loop);
        break;
    case UP_REPLY_WATER:
        pause_for_water(loop, reply->text);
        break;
    case UP_REPLY_NOTE:
        return deliver_text(loop, UP_EVENT_NOTE, reply->text, failure);
    case UP_REPLY_FAULT:
        return deliver_text(loop, UP_EVENT_FAULT, reply->text, failure);
    }
    return true;
}

/* After an answer the procedure goes first: its next question must be shown. */
bool read_replies(struct loop *loop, struct up_failure *failure) {
    struct up_reply reply = {.kind = UP_REPLY_NOTE};
    for (int i = 0; i < REPLIES_A_TURN && reply.kind != UP_REPLY_ANSWER; i++) {
        if (!up_operator_next(loop->session->op, is_answer_open(loop), &reply)) {
            return true;
        }
        if (!take_reply(loop, &reply, failure)) {
            return false;
        }
    }
    return true;
}

/* ---- an operator who does not answer ---- */

/* "45 s" or "12 min". */
static void format_span(char text[16], double time_s) {
    snprintf(text, 16, time_s < 120 ? "%.0f s" : "%.0f min", time_s < 120 ? time_s : time_s / 60);
}

static bool remind(const struct loop *loop, double waited_s, struct up_failure *failure) {
    char text[240], waited[16];
    format_span(waited, waited_s);
    snprintf(text, sizeof text, "still waiting (%s): %.180s", waited, loop->asked);
    up_operator_remind(loop->session->op);
    return deliver_text(loop, UP_EVENT_NOTE, text, failure);
}

bool check_presence(struct loop *loop, struct up_failure *failure) {
    double absent_s = loop->session->rig->absent_s;
    double now_s = up_monotonic_s(), waited_s = now_s - loop->asked_s;
    if (absent_s <= 0 || loop->away || !is_answer_open(loop)) {
        return true;
    }
    if (!loop->absent && waited_s >= absent_s) {
        char text[160], waited[16];
        format_span(waited, waited_s);
        snprintf(text, sizeof text, "no answer for %s. Nothing since counts; repeat this step",
                 waited);
        loop->absent = true;
        loop_note(loop, NOTE_ABSENT, text);
        up_procedure_abandon_step(loop->session->procedure, text);
        return true;
    }
    if (now_s - loop->reminded_s < (loop->absent ? 1 : REMIND_SHARE) * absent_s) {
        return true;
    }
    loop->reminded_s = now_s;
    return remind(loop, waited_s, failure);
}
