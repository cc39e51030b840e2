/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lamps, buzzer and shaker do as a session goes. */
#include <math.h>

#include "panel_internal.h"

/* A fault that a new question follows at once is seen for so long. */
static const double FAULT_S = 3;

void signs_sound(struct up_panel *lines, enum up_sound sound) {
    lines->sound = sound;
    lines->sound_s = panel_now_s();
}

void signs_show(struct up_panel *lines, enum up_lamp state, double now_s) {
    if (state != lines->state) {
        lines->state = state;
        lines->state_s = now_s;
    }
}

void signs_begin(struct up_panel *lines) {
    lines->state = UP_LAMP_WAITING;
    lines->state_s = panel_now_s();
    lines->fault_until_s = -(double)INFINITY;
}

static void shake(struct up_panel *lines, bool on) {
    if (lines->shaker != NULL && !shaker_set(lines->shaker, on)) {
        shaker_stop(lines->shaker);
        lines->shaker = NULL;
        lines->lost = "the shaker's guard has ended: shake by hand, or start again";
    }
}

static bool in_fault(const struct up_panel *lines, double now_s) {
    return lines->fault_stands || now_s < lines->fault_until_s;
}

void signs_fault(struct up_panel *lines, bool stands) {
    double now_s = panel_now_s();
    if (stands && !in_fault(lines, now_s)) {
        lines->fault_s = now_s;
    }
    lines->fault_stands = stands;
}

void signs_event(struct up_panel *lines, const struct up_event *event) {
    double now_s = panel_now_s();
    switch (event->kind) {
    case UP_EVENT_ASK:
        signs_show(lines, UP_LAMP_YOUR_TURN, now_s);
        shake(lines, event->ask.action == UP_ACTION_SHAKE);
        if (!in_fault(lines, now_s)) { /* a fault's own sound says the same */
            signs_sound(lines, UP_SOUND_YOUR_TURN);
        }
        break;
    case UP_EVENT_FAULT:
        shake(lines, false);
        if (!in_fault(lines, now_s)) {
            lines->fault_s = now_s;
        }
        lines->fault_until_s = now_s + FAULT_S;
        signs_sound(lines, UP_SOUND_FAULT);
        break;
    case UP_EVENT_FINISHED:
        shake(lines, false);
        signs_show(lines, UP_LAMP_WAITING, now_s);
        break;
    case UP_EVENT_PLATEAU:
    case UP_EVENT_TRIAL:
    case UP_EVENT_NOTE:
    case UP_EVENT_CHECK:
        break;
    }
}

void signs_answered(struct up_panel *lines) {
    shake(lines, false);
    signs_show(lines, UP_LAMP_SETTLING, panel_now_s());
    signs_sound(lines, UP_SOUND_TAKEN);
}

void signs_waiting(struct up_panel *lines) {
    shake(lines, false);
    signs_show(lines, UP_LAMP_WAITING, panel_now_s());
}

/* ---- the lines as the time says ---- */

static enum up_lamp state_at(const struct up_panel *lines, double now_s) {
    return in_fault(lines, now_s) ? UP_LAMP_FAULT : lines->state;
}

static double state_for_s(const struct up_panel *lines, double now_s) {
    return now_s - (in_fault(lines, now_s) ? lines->fault_s : lines->state_s);
}

static void set_line(struct gpio_line *line, bool *is_set, bool on) {
    if (line != NULL && *is_set != on) {
        *is_set = on;
        gpio_set(line, on);
    }
}

void signs_tick(struct up_panel *lines, double now_s) {
    enum up_lamp state = state_at(lines, now_s);
    enum up_lamp shown = lines->lamp[state] != NULL ? state : UP_LAMP_ALL;
    bool lit = up_lamp_is_lit(state, state_for_s(lines, now_s));
    for (int i = 0; i < UP_LAMPS; i++) {
        set_line(lines->lamp[i], &lines->lit[i], !lines->dark && (enum up_lamp)i == shown && lit);
    }
    set_line(lines->buzzer, &lines->sounds,
             !lines->dark && up_sound_is_on(lines->sound, now_s - lines->sound_s));
}

double signs_due_s(const struct up_panel *lines, double now_s) {
    double due_s =
        now_s + fmin(up_lamp_changes_s(state_at(lines, now_s), state_for_s(lines, now_s)),
                     up_sound_changes_s(lines->sound, now_s - lines->sound_s));
    return now_s < lines->fault_until_s ? fmin(due_s, lines->fault_until_s) : due_s;
}
