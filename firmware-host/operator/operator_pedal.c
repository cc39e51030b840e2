/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a foot on the pedal answers; the questions go where a person at a terminal reads them. */
#include "internal.h"
#include "panel_internal.h"

bool pedal_stops_here(const struct up_operator *op) {
    return op->stops_next && op->ask.id > op->last_step;
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
                                   .text = "the pedal stays down: free it; if no foot is on it, "
                                           "check its wire and [pedal] active"};
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
    if (is_open && pedal_stops_here(op)) {
        return answer_with(op, UP_ANSWER_STOP, reply);
    }
    while ((word = panel_pedal_word(op->panel)) != UP_PEDAL_NOTHING) {
        if (take_word(op, word, is_open, reply)) {
            return true;
        }
    }
    return false;
}
