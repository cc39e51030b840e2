/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lamps, buzzer and shaker do as a session goes. */
#include "panel_internal.h"
#include "text/clock.h"

/* A fault that is followed at once by a question stays visible for this long. */
static const double FAULT_S = 3;

void indicator_sound(struct up_panel *panel, enum up_sound sound) {
    panel->sound = sound;
    panel->sound_s = up_monotonic_s();
}

void indicator_show(struct up_panel *panel, enum up_lamp state, double now_s) {
    if (state != panel->state) {
        panel->state = state;
        panel->state_s = now_s;
    }
}

enum up_lamp lamp_of(enum up_class class) {
    static const enum up_lamp lamps[] = {[UP_CLASS_UNDECIDED] = UP_LAMP_UNDECIDED,
                                         [UP_CLASS_POSITIVE] = UP_LAMP_POSITIVE,
                                         [UP_CLASS_NEUTRAL] = UP_LAMP_NEUTRAL,
                                         [UP_CLASS_NEGATIVE] = UP_LAMP_NEGATIVE};
    return lamps[class];
}

static void show_turn(struct up_panel *panel, enum up_action action, enum up_class class,
                      double now_s) {
    bool stands = action == UP_ACTION_LIFT_OUT && class != UP_CLASS_UNDECIDED;
    panel->turn = up_turn_of(action);
    panel->state = stands ? lamp_of(class) : UP_LAMP_YOUR_TURN;
    panel->state_s = now_s;
}

void indicator_begin(struct up_panel *panel) {
    panel->state = UP_LAMP_WAITING;
    panel->state_s = up_monotonic_s();
    panel->fault_until_s = -(double)INFINITY;
}

static void shake(struct up_panel *panel, bool on) {
    if (panel->shaker != NULL && !shaker_set(panel->shaker, on)) {
        shaker_stop(panel->shaker);
        panel->shaker = NULL;
        panel->lost = "the shaker's guard has ended: shake by hand, or start again";
    }
}

static bool in_fault(const struct up_panel *panel, double now_s) {
    return panel->fault_stands || now_s < panel->fault_until_s;
}

void indicator_fault(struct up_panel *panel, bool stands) {
    double now_s = up_monotonic_s();
    if (stands && !in_fault(panel, now_s)) {
        panel->fault_s = now_s;
    }
    panel->fault_stands = stands;
}

void indicator_event(struct up_panel *panel, const struct up_event *event, enum up_class class) {
    double now_s = up_monotonic_s();
    switch (event->kind) {
    case UP_EVENT_ASK:
        show_turn(panel, event->ask.action, class, now_s);
        shake(panel, event->ask.action == UP_ACTION_SHAKE);
        if (!in_fault(panel, now_s)) { /* a fault has a sound of its own */
            indicator_sound(panel, UP_SOUND_YOUR_TURN);
        }
        break;
    case UP_EVENT_FAULT:
        shake(panel, false);
        if (!in_fault(panel, now_s)) {
            panel->fault_s = now_s;
        }
        panel->fault_until_s = now_s + FAULT_S;
        indicator_sound(panel, UP_SOUND_FAULT);
        break;
    case UP_EVENT_FINISHED:
        shake(panel, false);
        indicator_show(panel, UP_LAMP_WAITING, now_s);
        break;
    case UP_EVENT_PLATEAU:
    case UP_EVENT_TRIAL:
    case UP_EVENT_NOTE:
    case UP_EVENT_CHECK:
        break;
    }
}

void indicator_answered(struct up_panel *panel) {
    shake(panel, false);
    indicator_show(panel, UP_LAMP_SETTLING, up_monotonic_s());
    indicator_sound(panel, UP_SOUND_TAKEN);
}

void indicator_waiting(struct up_panel *panel) {
    shake(panel, false);
    indicator_show(panel, UP_LAMP_WAITING, up_monotonic_s());
}

/* ---- lamps and buzzer at a time ---- */

static enum up_lamp state_at(const struct up_panel *panel, double now_s) {
    return in_fault(panel, now_s) ? UP_LAMP_FAULT : panel->state;
}

static double state_for_s(const struct up_panel *panel, double now_s) {
    return now_s - (in_fault(panel, now_s) ? panel->fault_s : panel->state_s);
}

static void set_line(struct gpio_line *line, bool *is_set, bool on) {
    if (line != NULL && *is_set != on) {
        *is_set = on;
        gpio_set(line, on);
    }
}

void indicator_tick(struct up_panel *panel, double now_s) {
    enum up_lamp state = state_at(panel, now_s);
    enum up_lamp shown = panel->lamp[state] != NULL ? state : UP_LAMP_ALL;
    bool lit = up_lamp_is_lit(state, panel->turn, state_for_s(panel, now_s));
    for (int i = 0; i < UP_LAMPS; i++) {
        set_line(panel->lamp[i], &panel->lit[i], !panel->dark && (enum up_lamp)i == shown && lit);
    }
    set_line(panel->buzzer, &panel->sounds,
             !panel->dark && up_sound_is_on(panel->sound, now_s - panel->sound_s));
}

double indicator_due_s(const struct up_panel *panel, double now_s) {
    double due_s = now_s + fmin(up_lamp_changes_s(state_at(panel, now_s), panel->turn,
                                                  state_for_s(panel, now_s)),
                                up_sound_changes_s(panel->sound, now_s - panel->sound_s));
    return now_s < panel->fault_until_s ? fmin(due_s, panel->fault_until_s) : due_s;
}
