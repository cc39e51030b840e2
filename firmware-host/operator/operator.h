/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Who does what a procedure asks: a person at a terminal, a foot on a pedal, another program. An
 * operator shows events, drives the panel's lamps, buzzer and shaker, and hands back what was
 * answered. It never waits: whoever runs the procedure polls the entries given here.
 */
#pragma once

#include <jansson.h>
#include <poll.h>
#include <stdio.h>

#include "bench/fitness.h"
#include "bench/procedure.h"
#include "operator/panel.h"
#include "text/style.h"

struct up_operator;

enum up_operator_kind {
    UP_OPERATOR_KEYS,  /* a person at a terminal: lines typed on standard input */
    UP_OPERATOR_JSON,  /* another program: JSON Lines on standard input and output */
    UP_OPERATOR_PEDAL, /* a foot on the panel's pedal; where input is a terminal, its keys too */
};

/* Reads answers from `input`; JSON goes to `output`, words for a person too (standard error, by
   custom). Neither is closed. The caller destroys it. */
struct up_operator *up_operator_create(enum up_operator_kind kind, int input, FILE *output);
void up_operator_destroy(struct up_operator *op);

/* For a person whose output is a terminal: a live screen (live.h) from up_operator_begin to
   up_operator_end, instead of words; `keyboard` is a terminal too. Call setlocale(LC_CTYPE, "")
   before. On a terminal that cannot show a screen it prints a note and stays with words. */
void up_operator_use_screen(struct up_operator *op, int keyboard);

/* What a person reads is in pounds, ounces, degrees F and feet; JSON and what is stored stay SI. */
void up_operator_use_imperial(struct up_operator *op, bool imperial);

/* The session's results or calibration, as the last line of a JSON operator; not for a person. */
void up_operator_show_result(struct up_operator *op, json_t *result);

/* What to beware of: `texts`, ended by NULL, for a person at a terminal, who presses Enter to
   begin; `line` for all others. */
struct up_cautions {
    const char *const *texts;
    const char *line;
};
/* False where the person, or a signal, stopped. */
bool up_operator_caution(struct up_operator *op, const struct up_cautions *cautions,
                         const volatile sig_atomic_t *signalled, struct up_failure *failure);

/* One line that a person types, without the spaces around it, cut where it is too long. False at
   the end of the input or after a signal. */
bool up_operator_read_line(int input, const volatile sig_atomic_t *signalled, char *line,
                           size_t size);

/* ---- while a procedure runs ---- */

/* Procedure and panel must stay until up_operator_end. `panel` may be NULL; `place`, NULL or where
   we are in a queue, for the screen. */
void up_operator_begin(struct up_operator *op, const struct up_procedure *procedure,
                       struct up_panel *panel, const char *place);
void up_operator_end(struct up_operator *op);

/* After it, while the procedure is still there: on the screen the result stays in large letters
   until a key or the pedal. Nothing where there was no screen. */
void up_operator_hold_result(struct up_operator *op, const struct up_result *result,
                             unsigned results, const volatile sig_atomic_t *signalled);

/* Its class and grams in large letters, for a terminal of 80 columns; of the first water that was
   asked for, else of the tank. */
void up_operator_print_large(const struct up_result *result, unsigned results,
                             const struct up_style *style, FILE *stream);

/* False where a question could not be written: it would never be answered. */
bool up_operator_event(struct up_operator *op, const struct up_event *event,
                       struct up_failure *failure);
/* The fate of an answer that up_operator_next returned. */
void up_operator_accepted(struct up_operator *op);
void up_operator_refused(struct up_operator *op, unsigned id, const char *why);
/* The question was asked before and stands. */
void up_operator_remind(struct up_operator *op);

enum up_reply_kind {
    UP_REPLY_ANSWER,
    UP_REPLY_STOP,  /* end the session at once */
    UP_REPLY_NOTE,  /* `text`: to be stored and shown as an event */
    UP_REPLY_FAULT, /* the same, of something that is wrong */
    UP_REPLY_WATER, /* the float switch's level has changed; `text` for a person */
};

struct up_reply {
    enum up_reply_kind kind;
    unsigned id; /* answer: of the question */
    enum up_answer_word word;
    double number;
    const char *text;
};

/* The next thing that a person, foot or program did; false where there is none yet. Reads at most
   one buffer each time it is called. `is_open`: an answer is waited for. */
bool up_operator_next(struct up_operator *op, bool is_open, struct up_reply *reply);
bool up_operator_water_is_low(const struct up_operator *op);

/* Lamps, screen and live load as they are now; `away`: the device is. */
void up_operator_refresh(struct up_operator *op, bool away);

/* Entries for poll (a descriptor of -1 where there is nothing), and how long it may wait at most;
   never more than `most_ms`. */
enum { UP_OPERATOR_POLLED = 3 };
int up_operator_wait(const struct up_operator *op, bool is_open, int most_ms,
                     struct pollfd entry[UP_OPERATOR_POLLED]);

/* ---- trying the panel ---- */

/* Tries every GPIO line with the operator: inputs are to be moved, outputs to be seen or heard.
   False where it was stopped; what was found until then is there. */
bool up_panel_check(struct up_panel *panel, struct up_operator *op,
                    const volatile sig_atomic_t *signalled, struct up_findings *findings);

/* JSON of one event as the operator protocol has it; a new reference. */
json_t *up_event_to_json(const struct up_event *event, double counts_per_kg);
