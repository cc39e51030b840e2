/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The operator as a foot on a pedal: words go where a person at a terminal reads them, answers come
   from the panel. */
#include "internal.h"
#include "panel_internal.h"

static bool is_to_stop(const struct up_operator *op) {
    return op->stops_next && op->ask.id > op->last_step;
}

static void pedal_event(struct up_operator *op, const struct up_event *event) {
    if (event->kind == UP_EVENT_ASK) {
        op->ask = event->ask;
        keys_show_ask(op, &event->ask,
                      event->ask.how != NULL ? event->ask.how
                      : is_to_stop(op)       ? "   stopping here"
                                       : "   pedal: short is done, long is again from the tare, "
                                         "two short stop after this step");
        return;
    }
    operator_keys.event(op, event);
}

static bool pedal_line(struct up_operator *op, const char *line, struct up_reply *answer) {
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

static bool answer_with(const struct up_operator *op, enum up_answer_word word,
                        struct up_reply *reply) {
    *reply = (struct up_reply){.kind = UP_REPLY_ANSWER, .id = op->ask.id, .word = word};
    return true;
}

/* The first two presses stop after the step under way, two more at once. */
static bool take_double(struct up_operator *op, bool is_open, struct up_reply *reply) {
    if (op->stops_next && is_open) {
        return answer_with(op, UP_ANSWER_STOP, reply);
    }
    *reply = (struct up_reply){.kind = UP_REPLY_STOP};
    if (!op->stops_next) {
        op->stops_next = true;
        op->last_step = op->ask.id;
        indicator_sound(op->panel, UP_SOUND_STOPPING);
        *reply = (struct up_reply){.kind = UP_REPLY_NOTE,
                                   .text = "stopping after this step; two more presses: at once"};
    }
    return true;
}

static bool take_word(struct up_operator *op, enum up_pedal_word word, bool is_open,
                      struct up_reply *reply) {
    switch (word) {
    case UP_PEDAL_SHORT:
        return is_open && answer_with(op, UP_ANSWER_DONE, reply);
    case UP_PEDAL_LONG:
        return is_open && answer_with(op, UP_ANSWER_AGAIN, reply);
    case UP_PEDAL_DOUBLE:
        return take_double(op, is_open, reply);
    case UP_PEDAL_HELD:
        indicator_sound(op->panel, UP_SOUND_HELD);
        return false;
    case UP_PEDAL_STUCK:
        *reply = (struct up_reply){.kind = UP_REPLY_FAULT,
                                   .text = "the pedal stays down: free it; where nobody stands on "
                                           "it, check its wire and [pedal] active"};
        return true;
    case UP_PEDAL_NOTHING:
    case UP_PEDAL_FREED:
        break;
    }
    return false;
}

bool pedal_next(struct up_operator *op, bool is_open, struct up_reply *reply) {
    enum up_pedal_word word;
    if (!op->panel->answers) {
        return false;
    }
    if (is_open && is_to_stop(op)) {
        return answer_with(op, UP_ANSWER_STOP, reply);
    }
    while ((word = panel_pedal_word(op->panel)) != UP_PEDAL_NOTHING) {
        if (take_word(op, word, is_open, reply)) {
            return true;
        }
    }
    return false;
}

const struct operator_kind operator_pedal = {
    .event = pedal_event,
    .line = pedal_line,
    .refused = pedal_refused,
    .live = pedal_live,
    .result = pedal_result,
    .how = "Pedal: short is done, long is again, two short stop after this step"};
