/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "operator/panel.h"

/* A question cannot be read that soon: such a press was meant for the one before, or is the
   second of two that were to stop. A choice of ours, as with keys. */
static const double TOO_SOON_S = 0.4;

void up_pedal_begin(struct up_pedal *pedal, const struct up_pedal_rule *rule, double time_s,
                    bool down) {
    *pedal = (struct up_pedal){.rule = *rule, .down_s = time_s, .spent = true};
    up_contact_begin(&pedal->contact, rule->input.debounce_s, time_s, down);
    up_pedal_asks(pedal, (double)INFINITY);
}

void up_pedal_asks(struct up_pedal *pedal, double time_s) {
    pedal->asked_s = time_s + TOO_SOON_S;
    pedal->spent = pedal->spent || pedal->contact.level;
}

/* A press that began before the question does not answer it; nor does one without a question. */
static enum up_pedal_word if_asked(const struct up_pedal *pedal, double begun_s,
                                   enum up_pedal_word word) {
    return begun_s >= pedal->asked_s ? word : UP_PEDAL_NOTHING;
}

static enum up_pedal_word press(struct up_pedal *pedal) {
    double now_s = pedal->contact.since_s;
    double before_s = pedal->down_s;
    bool follows = pedal->waits;
    pedal->down_s = now_s;
    pedal->held = pedal->spent = pedal->waits = false;
    if (follows && now_s - pedal->up_s <= pedal->rule.double_s) {
        pedal->spent = true;
        return UP_PEDAL_DOUBLE;
    }
    return follows ? if_asked(pedal, before_s, UP_PEDAL_SHORT) : UP_PEDAL_NOTHING;
}

static enum up_pedal_word on_release(struct up_pedal *pedal) {
    double held_s = pedal->contact.since_s - pedal->down_s;
    pedal->up_s = pedal->contact.since_s;
    if (pedal->stuck) {
        pedal->stuck = false;
        return UP_PEDAL_FREED;
    }
    if (pedal->spent || held_s >= pedal->rule.stuck_s) {
        return UP_PEDAL_NOTHING;
    }
    pedal->waits = held_s < pedal->rule.long_s;
    return pedal->waits ? UP_PEDAL_NOTHING : if_asked(pedal, pedal->down_s, UP_PEDAL_LONG);
}

/* The words that come with time alone. */
static enum up_pedal_word wait_on(struct up_pedal *pedal, double time_s) {
    double held_s = time_s - pedal->down_s;
    bool down = pedal->contact.level && pedal->contact.raw; /* not on its way up */
    if (down && !pedal->stuck && held_s >= pedal->rule.stuck_s) {
        pedal->stuck = pedal->spent = true;
        return UP_PEDAL_STUCK;
    }
    if (down && !pedal->spent && !pedal->held && held_s >= pedal->rule.long_s) {
        pedal->held = true;
        return if_asked(pedal, pedal->down_s, UP_PEDAL_HELD);
    }
    if (pedal->waits && !pedal->contact.raw && time_s - pedal->up_s >= pedal->rule.double_s) {
        pedal->waits = false;
        return if_asked(pedal, pedal->down_s, UP_PEDAL_SHORT);
    }
    return UP_PEDAL_NOTHING;
}

enum up_pedal_word up_pedal_push(struct up_pedal *pedal, double time_s, bool down) {
    enum up_pedal_word word = UP_PEDAL_NOTHING;
    if (up_contact_push(&pedal->contact, time_s, down)) {
        word = pedal->contact.level ? press(pedal) : on_release(pedal);
    }
    return word != UP_PEDAL_NOTHING ? word : wait_on(pedal, time_s);
}

double up_pedal_due_s(const struct up_pedal *pedal) {
    const struct up_contact *contact = &pedal->contact;
    double due_s = (double)INFINITY;
    if (contact->raw != contact->level) {
        due_s = contact->raw_s + contact->debounce_s;
    }
    if (contact->level && contact->raw && !pedal->stuck) {
        bool may_be_held = !pedal->spent && !pedal->held;
        due_s =
            fmin(due_s, pedal->down_s + (may_be_held ? pedal->rule.long_s : pedal->rule.stuck_s));
    }
    return pedal->waits && !contact->raw ? fmin(due_s, pedal->up_s + pedal->rule.double_s) : due_s;
}
