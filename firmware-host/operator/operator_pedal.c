/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The operator as a foot on a pedal: words go where a person at a terminal reads them, answers come
   from the session's lines. */
#include <stdlib.h>

#include "operator.h"

static bool is_to_stop(const struct up_operator *op) {
    return op->stops_next && op->ask.id > op->last_step;
}

static void pedal_event(struct up_operator *op, const struct up_event *event) {
    if (event->kind == UP_EVENT_ASK) {
        op->ask = event->ask;
        keys_say_ask(op, &event->ask,
                     event->ask.how != NULL ? event->ask.how
                     : is_to_stop(op)       ? "   stopping here"
                                      : "   pedal: short is done, long is again from the tare, "
                                        "two short stop after this step");
        return;
    }
    operator_keys.event(op, event);
}

static bool pedal_line(struct up_operator *op, const char *line, struct answer *answer) {
    return operator_keys.line(op, line, answer);
}

static void pedal_refused(struct up_operator *op, unsigned id, const char *why) {
    operator_keys.refused(op, id, why);
}

static void pedal_live(struct up_operator *op, double load_g, double noise_g) {
    operator_keys.live(op, load_g, noise_g);
}

static void pedal_result(struct up_operator *op, json_t *result) {
    operator_keys.result(op, result);
}

bool pedal_says(struct up_operator *op, enum up_pedal_word word, bool is_open,
                struct answer *answer, bool *stops) {
    bool stop = is_open && is_to_stop(op);
    if (word == UP_PEDAL_DOUBLE && op->stops_next) {
        *stops = !is_open;
        stop = is_open;
    } else if (word == UP_PEDAL_DOUBLE) {
        op->stops_next = true;
        op->last_step = op->ask.id;
    }
    *answer = (struct answer){.id = op->ask.id,
                              .word = stop                     ? UP_ANSWER_STOP
                                      : word == UP_PEDAL_SHORT ? UP_ANSWER_DONE
                                                               : UP_ANSWER_AGAIN};
    return is_open && (stop || word == UP_PEDAL_SHORT || word == UP_PEDAL_LONG);
}

const struct operator_kind operator_pedal = {
    .event = pedal_event,
    .line = pedal_line,
    .refused = pedal_refused,
    .live = pedal_live,
    .result = pedal_result,
    .how = "Pedal: short is done, long is again, two short stop after this step"};
