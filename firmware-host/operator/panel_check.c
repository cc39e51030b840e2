/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tries one GPIO line after the other with a person who looks, listens and steps on the pedal. */
#include "internal.h"
#include "panel_internal.h"
#include "text/clock.h"

/* After "done" the pedal's word may still be on its way: a double takes its time. */
static const double WORD_S = 2;

enum { PATIENCE_MS = 200 };

enum try_end { TRY_GOOD, TRY_BAD, TRY_AGAIN, TRY_STOP };

struct check {
    struct up_panel *panel;
    struct up_operator *op;
    const volatile sig_atomic_t *signalled;
    struct up_findings *findings;
    unsigned id;
};

static void find(struct check *check, const char *line, bool good, const char *what) {
    struct up_findings *findings = check->findings;
    if (findings->count < UP_FINDINGS_MAX) {
        struct up_finding *finding = &findings->list[findings->count++];
        finding->good = good;
        snprintf(finding->text, sizeof finding->text, "%s: %s", line, what);
    }
}

static void ask(struct check *check, const char *line, const char *text, const char *how) {
    struct up_event event = {.kind = UP_EVENT_ASK};
    event.ask =
        (struct up_ask){.id = ++check->id, .action = UP_ACTION_CONFIRM, .line = line, .how = how};
    snprintf(event.ask.text, sizeof event.ask.text, "%s", text);
    up_pedal_asks(&check->panel->press, up_monotonic_s());
    check->op->kind->event(check->op, &event);
}

/* Shown at once: whoever stands there would wait for a pedal that does not work. */
static void report(const struct check *check, const char *text) {
    struct up_event event = {.kind = UP_EVENT_FAULT};
    snprintf(event.text, sizeof event.text, "%s", text);
    check->op->kind->event(check->op, &event);
}

/* ---- what comes in meanwhile ---- */

struct heard {
    enum up_pedal_word pedal;
    bool answered, ended;
    enum up_answer_word word;
};

static void read_reply(const struct check *check, struct heard *heard) {
    struct up_reply reply;
    if (!operator_read(check->op, &reply)) {
        return;
    }
    heard->ended = reply.kind == UP_REPLY_STOP;
    heard->answered = !heard->ended && reply.id == check->id;
    heard->word = reply.word;
    if (!heard->answered && !heard->ended) {
        check->op->kind->refused(check->op, reply.id, "that question is not open");
    }
}

/* Waits a while at most; the lamps go on as they should. */
static void wait_for_input(const struct check *check, struct heard *heard) {
    struct up_panel *panel = check->panel;
    struct pollfd entry[UP_OPERATOR_POLLED];
    int wait_ms = up_operator_wait(check->op, true, PATIENCE_MS, entry);
    *heard = (struct heard){.pedal = UP_PEDAL_NOTHING};
    indicator_tick(panel, up_monotonic_s());
    poll(entry, UP_OPERATOR_POLLED, wait_ms);
    read_reply(check, heard);
    heard->pedal = panel_pedal_word(panel);
    panel_water_changed(panel);
    heard->ended = heard->ended || *check->signalled != 0;
    if (heard->pedal == UP_PEDAL_STUCK) {
        report(check, "the pedal stays down: free it, or swap low and high in [pedal] active");
    }
    if (panel->lost != NULL) {
        report(check, panel->lost);
        panel->lost = NULL;
    }
}

/* No: two presses by foot, or skip by hand. */
static bool is_pedal_answer(const struct check *check, struct heard *heard) {
    if (!check->op->by_pedal) {
        return false;
    }
    heard->word = heard->pedal == UP_PEDAL_SHORT  ? UP_ANSWER_DONE
                  : heard->pedal == UP_PEDAL_LONG ? UP_ANSWER_AGAIN
                                                  : UP_ANSWER_SKIP;
    return heard->pedal == UP_PEDAL_SHORT || heard->pedal == UP_PEDAL_LONG ||
           heard->pedal == UP_PEDAL_DOUBLE;
}

static enum try_end end_of(const struct heard *heard) {
    if (heard->ended) {
        return TRY_STOP;
    }
    switch (heard->word) {
    case UP_ANSWER_DONE:
        return TRY_GOOD;
    case UP_ANSWER_AGAIN:
        return TRY_AGAIN;
    case UP_ANSWER_STOP:
        return TRY_STOP;
    case UP_ANSWER_SKIP:
    case UP_ANSWER_NUMBER:
    case UP_ANSWER_ACCEPT:
        break;
    }
    return TRY_BAD;
}

/* ---- outputs: is it seen, is it heard? ---- */

static const char *const HOW_SEEN =
    "   Enter: yes   s: no   a: try again   q: stop   (pedal: short, two short, long)";

static enum try_end wait_for_answer(struct check *check) {
    struct heard heard;
    do {
        wait_for_input(check, &heard);
    } while (!heard.answered && !heard.ended && !is_pedal_answer(check, &heard));
    return end_of(&heard);
}

static void run_output(struct check *check, struct gpio_line *line, bool on) {
    if (line != NULL) {
        gpio_set(line, on);
    } else if (check->panel->shaker != NULL) {
        shaker_set(check->panel->shaker, on);
    }
}

/* `line` is NULL for the shaker. */
static enum try_end try_output(struct check *check, struct gpio_line *line, const char *name,
                               const char *text) {
    enum try_end end;
    do {
        run_output(check, line, true);
        ask(check, name, text, HOW_SEEN);
        end = wait_for_answer(check);
        run_output(check, line, false);
    } while (end == TRY_AGAIN);
    if (end != TRY_STOP) {
        find(check, name, end == TRY_GOOD, end == TRY_GOOD ? "works" : "does not work");
    }
    return end;
}

/* Two steps, so that nothing moves before the operator has agreed. */
static enum try_end try_shaker(struct check *check) {
    char text[160];
    enum try_end end;
    ask(check, "shaker ready", "Hands off the shaker: it runs next. Is all clear?", HOW_SEEN);
    end = wait_for_answer(check);
    if (end != TRY_GOOD) {
        find(check, "shaker", false, "not tried");
        return end == TRY_STOP ? TRY_STOP : TRY_BAD;
    }
    snprintf(text, sizeof text, "Does the shaker run, and stop by itself after %g s?",
             check->panel->rig->shaker_limit_s);
    return try_output(check, NULL, "shaker", text);
}

static enum try_end try_lamps(struct check *check) {
    for (int i = 0; i < UP_LAMPS; i++) {
        char name[40], text[160];
        if (check->panel->lamp[i] == NULL) {
            continue;
        }
        snprintf(name, sizeof name, "lamps %s", up_lamp_name((enum up_lamp)i));
        snprintf(text, sizeof text, "Is the lamp \"%s\" lit, and no other?",
                 up_lamp_name((enum up_lamp)i));
        if (try_output(check, check->panel->lamp[i], name, text) == TRY_STOP) {
            return TRY_STOP;
        }
    }
    return TRY_GOOD;
}

/* ---- inputs: do they move? ---- */

struct movement {
    const char *name, *text;
    enum up_pedal_word word; /* of the pedal; NOTHING for the float switch: */
    bool low;
};

static const char *const HOW_MOVED = "   s: cannot   q: stop   (or Enter when done)";

static bool has_moved(const struct check *check, const struct movement *movement,
                      const struct heard *heard) {
    if (movement->word != UP_PEDAL_NOTHING) {
        return heard->pedal == movement->word;
    }
    return check->panel->water_is_low == movement->low;
}

static enum try_end try_movement(struct check *check, const struct movement *movement) {
    double until_s = (double)INFINITY;
    struct heard heard;
    bool moved;
    ask(check, movement->name, movement->text, HOW_MOVED);
    for (;;) {
        wait_for_input(check, &heard);
        moved = has_moved(check, movement, &heard);
        if (heard.answered && heard.word == UP_ANSWER_DONE) {
            until_s = up_monotonic_s() + WORD_S + check->panel->water.debounce_s;
            heard.answered = false;
        }
        if (moved || heard.answered || heard.ended || up_monotonic_s() > until_s) {
            break;
        }
    }
    if (!moved && (heard.ended || (heard.answered && heard.word == UP_ANSWER_STOP))) {
        return TRY_STOP;
    }
    find(check, movement->name, moved, moved ? "seen" : "not seen");
    return moved ? TRY_GOOD : TRY_BAD;
}

static enum try_end try_inputs(struct check *check) {
    static const struct movement movements[] = {
        {"pedal short", "Press the pedal briefly", UP_PEDAL_SHORT, false},
        {"pedal long", "Hold the pedal down until it is long, then let go", UP_PEDAL_LONG, false},
        {"pedal double", "Press the pedal twice, quickly", UP_PEDAL_DOUBLE, false},
        {"float low", "Push the float down, as if the water were low", UP_PEDAL_NOTHING, true},
        {"float back", "Let the float rise again", UP_PEDAL_NOTHING, false},
    };
    for (size_t i = 0; i < sizeof movements / sizeof movements[0]; i++) {
        const struct movement *movement = &movements[i];
        bool is_pedal = movement->word != UP_PEDAL_NOTHING;
        struct gpio_line *line = is_pedal ? check->panel->pedal : check->panel->level;
        if (line != NULL && try_movement(check, movement) == TRY_STOP) {
            return TRY_STOP;
        }
    }
    return TRY_GOOD;
}

bool up_panel_check(struct up_panel *panel, struct up_operator *op,
                    const volatile sig_atomic_t *signalled, struct up_findings *findings) {
    struct check check = {panel, op, signalled, findings, 0};
    bool whole;
    if (panel == NULL) {
        return true;
    }
    op->panel = panel;
    /* The lamps are dark but for the one that is tried. */
    panel->dark = true;
    indicator_tick(panel, up_monotonic_s());
    panel_listen(panel);
    if (panel->pedal != NULL && gpio_get(panel->pedal) == 1) {
        find(&check, "pedal", false,
             "it is down from the start: free it, or swap low and high in [pedal] active");
        report(&check,
               "the pedal is down from the start: free it, or swap low and high in [pedal] active");
    }
    whole = try_inputs(&check) != TRY_STOP && try_lamps(&check) != TRY_STOP &&
            (panel->buzzer == NULL ||
             try_output(&check, panel->buzzer, "buzzer", "Does the buzzer sound?") != TRY_STOP) &&
            (panel->shaker == NULL || try_shaker(&check) != TRY_STOP);
    panel->dark = false;
    op->panel = NULL;
    return whole;
}
