/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An operator is a short table of functions; session.c drives it. */
#ifndef UPTHRUST_OPERATOR_OPERATOR_H
#define UPTHRUST_OPERATOR_OPERATOR_H

#include "upthrust/panel.h"
#include "upthrust/session.h"

struct answer {
    unsigned id;
    enum up_answer_word word;
    double number;
};

struct operator_kind {
    void (*event)(struct up_operator *op, const struct up_event *event);
    /* One line that arrived; false where it is no answer (the operator has been told). */
    bool (*line)(struct up_operator *op, const char *line, struct answer *answer);
    void (*refused)(struct up_operator *op, unsigned id, const char *why);
    void (*live)(struct up_operator *op, double load_g, double noise_g);
    void (*result)(struct up_operator *op, json_t *result);
    const char *how; /* to answer, for a screen; NULL: by its keyboard */
};

struct live;

struct up_operator {
    const struct operator_kind *kind;
    int input;
    FILE *output;
    bool ended; /* no more answers will come */
    bool is_terminal, live_shown;
    char text[4096];
    size_t length;
    struct up_ask ask;    /* the open one, for a person */
    double counts_per_kg; /* 0 while calibrating */
    bool loads_in_kg;     /* the rig's loads are in a unit, no counts */
    bool by_pedal;        /* the session's lines answer */
    bool stops_next;      /* the pedal: a question after `last_step` is answered with stop */
    unsigned last_step;
    bool wants_screen;
    int keyboard;      /* of the screen */
    struct live *live; /* the live screen while it is up: it shows instead of saying; else NULL */
};

extern const struct operator_kind operator_keys, operator_json, operator_pedal;

/* The question, and below it how it is answered. */
void keys_say_ask(struct up_operator *op, const struct up_ask *ask, const char *how);

/* What the pedal says, as an answer to the question that is open, if one is: true where it is one.
 *stops: the session ends at once. */
bool pedal_says(struct up_operator *op, enum up_pedal_word word, bool is_open,
                struct answer *answer, bool *stops);

enum operator_read { OPERATOR_ANSWER, OPERATOR_NOTHING, OPERATOR_ENDED };

void operator_event(struct up_operator *op, const struct up_event *event);
void operator_refused(struct up_operator *op, unsigned id, const char *why);

/* live_screen.c. Where the terminal bears no screen, begin says so and leaves op->live NULL; end
   says once more on the normal screen what the session said. */
void live_begin(struct up_operator *op, const struct up_session *session);
void live_end(struct up_operator *op);
void live_event(struct up_operator *op, const struct up_event *event);
void live_refused(struct up_operator *op, const char *why);
void live_show(struct up_operator *op, bool away);
enum operator_read live_read(struct up_operator *op, struct answer *answer);

/* Never blocks: call it when poll says that the input is readable, or again after an answer. */
enum operator_read operator_read(struct up_operator *op, struct answer *answer);

#endif
