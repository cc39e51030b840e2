/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One poll loop that joins a source, a procedure and an operator. */
#include <errno.h>
#include <string.h>

#include "internal.h"
#include "text/clock.h"

enum { PATIENCE_MS = 200 };

/* A device whose time stands still between polls has lines to send. Events wait for them, so that
   an operator's action falls between the same two samples at any speed. */
bool is_awaiting_lines(const struct loop *loop) {
    return loop->session->rig->line.poll_only_to_read && loop->reader.lines < loop->awaited;
}

bool is_answer_open(const struct loop *loop) {
    return up_procedure_is_asking(loop->session->procedure) && !is_awaiting_lines(loop);
}

bool deliver_event(const struct loop *loop, const struct up_event *event,
                   struct up_failure *failure) {
    const struct listener *listener = &loop->session->listener;
    return listener->event(listener->context, event, failure) &&
           up_operator_event(loop->session->op, event, failure);
}

void loop_note(const struct loop *loop, enum note what, const char *text) {
    const struct listener *listener = &loop->session->listener;
    listener->note(listener->context, what, text);
}

void interrupt_step(const struct loop *loop, enum note what, const char *text) {
    loop_note(loop, what, text);
    up_procedure_interrupt(loop->session->procedure, text);
}

void loop_stop(const struct loop *loop) {
    if (!up_procedure_is_finished(loop->session->procedure)) {
        loop_note(loop, NOTE_STOPPED, "");
        up_procedure_stop(loop->session->procedure);
    }
}

static bool deliver_events(struct loop *loop, struct up_failure *failure) {
    struct up_event event;
    while (!is_awaiting_lines(loop) && up_procedure_next(loop->session->procedure, &event)) {
        if (event.kind == UP_EVENT_ASK) {
            loop->asked_s = loop->reminded_s = up_monotonic_s();
            memcpy(loop->asked, event.ask.text, sizeof loop->asked);
        }
        if (!deliver_event(loop, &event, failure)) {
            return false;
        }
    }
    return true;
}

static bool wait_for_input(struct loop *loop, struct up_failure *failure) {
    const struct session *session = loop->session;
    struct pollfd entry[1 + UP_OPERATOR_POLLED] = {{.fd = -1}};
    int wait_ms = up_operator_wait(session->op, is_answer_open(loop), PATIENCE_MS, entry + 1);
    int ready;
    if (session->source != NULL) {
        entry[0] = (struct pollfd){.fd = up_source_descriptor(session->source), .events = POLLIN};
    }
    ready = poll(entry, 1 + UP_OPERATOR_POLLED, wait_ms);
    if (ready < 0 && errno != EINTR) {
        return up_fail(failure, UP_STATUS_UNABLE, "poll: %s", strerror(errno));
    }
    return ready <= 0 || entry[0].revents == 0 || read_device(loop, failure);
}

/* One turn; where readings are typed there is no device. */
static bool run_once(struct loop *loop, struct up_failure *failure) {
    bool wired = loop->session->source != NULL;
    if (!check_presence(loop, failure) || (wired && !keep_device(loop, failure))) {
        return false;
    }
    up_operator_refresh(loop->session->op, loop->away);
    return wait_for_input(loop, failure) && read_replies(loop, failure) &&
           (!wired || check_silence(loop, failure));
}

static void begin(struct loop *loop) {
    struct session *session = loop->session;
    loop->begin_s = loop->last_byte_s = loop->last_fit_s = up_monotonic_s();
    if (session->reader == NULL) {
        up_reader_begin(&loop->reader, &session->rig->line, sends_unasked(loop));
        return;
    }
    loop->reader = *session->reader;
    if (session->rig->port_kind == UP_PORT_TYPED) {
        loop->begin_s -= up_procedure_view(session->procedure).now_s; /* their clock goes on */
    }
    loop_note(loop, NOTE_RESUMED, session->resumed);
    up_reader_resume(&loop->reader, sends_unasked(loop));
    up_procedure_resume(session->procedure, session->resumed);
    loop->awaited = loop->reader.lines;
}

bool session_run(struct session *session, struct up_failure *failure) {
    struct loop loop = {.session = session};
    begin(&loop);
    while (deliver_events(&loop, failure)) {
        if (up_procedure_is_finished(session->procedure) && !is_awaiting_lines(&loop)) {
            return true;
        }
        if (session->signalled != NULL && *session->signalled != 0) {
            loop_stop(&loop);
            return true;
        }
        if (!run_once(&loop, failure)) {
            return false;
        }
    }
    return false;
}
