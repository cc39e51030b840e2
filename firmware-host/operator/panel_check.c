/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From line to line with somebody who looks, listens and steps. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "operator.h"
#include "panel_internal.h"
#include "upthrust/fitness.h"

/* After "done" the pedal's word may still be on its way: a double is told late. */
static const double WORD_S = 2;

enum step_end { STEP_GOOD, STEP_BAD, STEP_AGAIN, STEP_STOP };

struct walk {
    struct up_panel *lines;
    struct up_operator *op;
    const volatile sig_atomic_t *signalled;
    struct up_findings *findings;
    unsigned id;
};

static void find(struct walk *walk, const char *line, bool good, const char *what) {
    struct up_findings *findings = walk->findings;
    if (findings->count < UP_FINDINGS_MAX) {
        struct up_finding *finding = &findings->list[findings->count++];
        finding->good = good;
        snprintf(finding->text, sizeof finding->text, "%s: %s", line, what);
    }
}

static void ask(struct walk *walk, const char *line, const char *text, const char *how) {
    struct up_event event = {.kind = UP_EVENT_ASK};
    event.ask =
        (struct up_ask){.id = ++walk->id, .action = UP_ACTION_CONFIRM, .line = line, .how = how};
    snprintf(event.ask.text, sizeof event.ask.text, "%s", text);
    up_pedal_asks(&walk->lines->press, panel_now_s());
    walk->op->kind->event(walk->op, &event);
}

/* Told at once: who stands there would wait for a pedal that cannot be heard. */
static void tell(const struct walk *walk, const char *text) {
    struct up_event event = {.kind = UP_EVENT_FAULT};
    snprintf(event.text, sizeof event.text, "%s", text);
    walk->op->kind->event(walk->op, &event);
}

/* ---- what comes in meanwhile ---- */

struct heard {
    enum up_pedal_word word;
    bool level_changed, answered, ended;
    struct answer answer;
};

static void hear_operator(struct walk *walk, struct heard *heard) {
    switch (operator_read(walk->op, &heard->answer)) {
    case OPERATOR_ANSWER:
        heard->answered = heard->answer.id == walk->id;
        if (!heard->answered) {
            walk->op->kind->refused(walk->op, heard->answer.id, "that question is not open");
        }
        break;
    case OPERATOR_ENDED:
        heard->ended = true;
        break;
    case OPERATOR_NOTHING:
        break;
    }
}

/* Waits a while at most; the lamps go on as they should. */
static void hear(struct walk *walk, struct heard *heard) {
    struct up_panel *lines = walk->lines;
    struct pollfd entry[1 + LINES_POLLED] = {{.fd = walk->op->input, .events = POLLIN}};
    double now_s = panel_now_s();
    *heard = (struct heard){.word = UP_PEDAL_NOTHING};
    signs_tick(lines, now_s);
    panel_entries(lines, entry + 1);
    if (memchr(walk->op->text, '\n', walk->op->length) != NULL ||
        (poll(entry, 1 + LINES_POLLED, panel_wait_ms(lines, now_s, 200)) > 0 &&
         entry[0].revents != 0)) {
        hear_operator(walk, heard);
    }
    heard->word = panel_pedal_word(lines);
    heard->level_changed = panel_water_changed(lines);
    heard->ended = heard->ended || *walk->signalled != 0;
    if (heard->word == UP_PEDAL_STUCK) {
        tell(walk, "the pedal stays down: free it, or turn [pedal] active round");
    }
    if (lines->lost != NULL) {
        tell(walk, lines->lost);
        lines->lost = NULL;
    }
}

/* A foot says no with two presses, where a hand says skip. */
static bool foot_answers(const struct walk *walk, struct heard *heard) {
    if (!walk->op->by_pedal) {
        return false;
    }
    heard->answer.word = heard->word == UP_PEDAL_SHORT  ? UP_ANSWER_DONE
                         : heard->word == UP_PEDAL_LONG ? UP_ANSWER_AGAIN
                                                        : UP_ANSWER_SKIP;
    return heard->word == UP_PEDAL_SHORT || heard->word == UP_PEDAL_LONG ||
           heard->word == UP_PEDAL_DOUBLE;
}

static enum step_end end_of(const struct heard *heard) {
    if (heard->ended) {
        return STEP_STOP;
    }
    switch (heard->answer.word) {
    case UP_ANSWER_DONE:
        return STEP_GOOD;
    case UP_ANSWER_AGAIN:
        return STEP_AGAIN;
    case UP_ANSWER_STOP:
        return STEP_STOP;
    case UP_ANSWER_SKIP:
    case UP_ANSWER_NUMBER:
        break;
    }
    return STEP_BAD;
}

/* ---- outputs: is it seen, is it heard? ---- */

static const char *const HOW_SEEN = "   Enter: yes   s: no   a: once more   q: stop   "
                                    "(pedal: short, two short, long)";

static enum step_end wait_for_answer(struct walk *walk) {
    struct heard heard;
    do {
        hear(walk, &heard);
    } while (!heard.answered && !heard.ended && !foot_answers(walk, &heard));
    return end_of(&heard);
}

static void run_output(struct walk *walk, struct gpio_line *line, bool on) {
    if (line != NULL) {
        gpio_set(line, on);
    } else if (walk->lines->shaker != NULL) {
        shaker_set(walk->lines->shaker, on);
    }
}

/* `line` is NULL for the shaker. */
static enum step_end try_output(struct walk *walk, struct gpio_line *line, const char *name,
                                const char *text) {
    enum step_end end;
    do {
        run_output(walk, line, true);
        ask(walk, name, text, HOW_SEEN);
        end = wait_for_answer(walk);
        run_output(walk, line, false);
    } while (end == STEP_AGAIN);
    if (end != STEP_STOP) {
        find(walk, name, end == STEP_GOOD, end == STEP_GOOD ? "works" : "does not work");
    }
    return end;
}

/* Two steps, so that nothing moves before somebody has said that it may. */
static enum step_end try_shaker(struct walk *walk) {
    char text[160];
    enum step_end end;
    ask(walk, "shaker ready", "Hands off the shaker: it runs next. Is all clear?", HOW_SEEN);
    end = wait_for_answer(walk);
    if (end != STEP_GOOD) {
        find(walk, "shaker", false, "not tried");
        return end == STEP_STOP ? STEP_STOP : STEP_BAD;
    }
    snprintf(text, sizeof text, "Does the shaker run, and stop by itself after %g s?",
             walk->lines->rig->shaker_limit_s);
    return try_output(walk, NULL, "shaker", text);
}

static enum step_end try_lamps(struct walk *walk) {
    for (int i = 0; i < UP_LAMPS; i++) {
        char name[40], text[160];
        if (walk->lines->lamp[i] == NULL) {
            continue;
        }
        snprintf(name, sizeof name, "lamps %s", up_lamp_name((enum up_lamp)i));
        snprintf(text, sizeof text, "Is the lamp \"%s\" lit, and no other?",
                 up_lamp_name((enum up_lamp)i));
        if (try_output(walk, walk->lines->lamp[i], name, text) == STEP_STOP) {
            return STEP_STOP;
        }
    }
    return STEP_GOOD;
}

/* ---- inputs: do they move? ---- */

struct movement {
    const char *name, *text;
    enum up_pedal_word word; /* of the pedal; NOTHING for the float switch: */
    bool low;
};

static const char *const HOW_MOVED = "   s: cannot   q: stop   (or Enter when done)";

static bool has_moved(const struct walk *walk, const struct movement *movement,
                      const struct heard *heard) {
    if (movement->word != UP_PEDAL_NOTHING) {
        return heard->word == movement->word;
    }
    return walk->lines->water_is_low == movement->low;
}

static enum step_end try_movement(struct walk *walk, const struct movement *movement) {
    double until_s = (double)INFINITY;
    struct heard heard;
    bool moved;
    ask(walk, movement->name, movement->text, HOW_MOVED);
    for (;;) {
        hear(walk, &heard);
        moved = has_moved(walk, movement, &heard);
        if (heard.answered && heard.answer.word == UP_ANSWER_DONE) {
            until_s = panel_now_s() + WORD_S + walk->lines->water.debounce_s;
            heard.answered = false;
        }
        if (moved || heard.answered || heard.ended || panel_now_s() > until_s) {
            break;
        }
    }
    if (!moved && (heard.ended || (heard.answered && heard.answer.word == UP_ANSWER_STOP))) {
        return STEP_STOP;
    }
    find(walk, movement->name, moved, moved ? "seen" : "not seen");
    return moved ? STEP_GOOD : STEP_BAD;
}

static enum step_end try_inputs(struct walk *walk) {
    static const struct movement movements[] = {
        {"pedal short", "Press the pedal, shortly", UP_PEDAL_SHORT, false},
        {"pedal long", "Hold the pedal down until it is long, then let go", UP_PEDAL_LONG, false},
        {"pedal double", "Press the pedal twice, quickly", UP_PEDAL_DOUBLE, false},
        {"float low", "Push the float down, as if the water were low", UP_PEDAL_NOTHING, true},
        {"float back", "Let the float rise again", UP_PEDAL_NOTHING, false},
    };
    for (size_t i = 0; i < sizeof movements / sizeof movements[0]; i++) {
        const struct movement *movement = &movements[i];
        bool is_pedal = movement->word != UP_PEDAL_NOTHING;
        struct gpio_line *line = is_pedal ? walk->lines->pedal : walk->lines->level;
        if (line != NULL && try_movement(walk, movement) == STEP_STOP) {
            return STEP_STOP;
        }
    }
    return STEP_GOOD;
}

/* The lamps are dark but for the one that is tried. */
static void begin_dark(struct up_panel *lines) {
    lines->dark = true;
    signs_tick(lines, panel_now_s());
}

bool up_fitness_walk(struct up_panel *lines, struct up_operator *op,
                     const volatile sig_atomic_t *signalled, struct up_findings *findings) {
    struct walk walk = {lines, op, signalled, findings, 0};
    bool whole;
    if (lines == NULL) {
        return true;
    }
    begin_dark(lines);
    panel_listen(lines);
    if (lines->pedal != NULL && gpio_get(lines->pedal) == 1) {
        find(&walk, "pedal", false,
             "it is down from the first: free it, or turn [pedal] active round");
        tell(&walk, "the pedal is down from the first: free it, or turn [pedal] active round");
    }
    whole = try_inputs(&walk) != STEP_STOP && try_lamps(&walk) != STEP_STOP &&
            (lines->buzzer == NULL ||
             try_output(&walk, lines->buzzer, "buzzer", "Does the buzzer sound?") != STEP_STOP) &&
            (lines->shaker == NULL || try_shaker(&walk) != STEP_STOP);
    lines->dark = false;
    return whole;
}
