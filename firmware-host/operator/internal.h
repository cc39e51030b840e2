/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An operator is a short table of functions; operator.c drives it. */
#pragma once

#include "operator/operator.h"
#include "text/style.h"

struct operator_kind {
    void (*event)(struct up_operator *op, const struct up_event *event);
    /* One line that arrived; false where it is no answer (and the operator was shown why). */
    bool (*line)(struct up_operator *op, const char *line, struct up_reply *answer);
    void (*refused)(struct up_operator *op, unsigned id, const char *why);
    /* Net grams, + up, now; NULL: not shown. */
    void (*live)(struct up_operator *op, double net_g, double noise_g);
    void (*result)(struct up_operator *op, json_t *result); /* NULL: not shown */
};

struct live;

struct up_operator {
    const struct operator_kind *kind;
    int input;
    FILE *output;
    bool ended; /* no more answers will come */
    bool is_terminal, live_shown;
    struct up_style style; /* columns: of the terminal; 0: no terminal */
    char text[4096];
    size_t length;
    bool by_pedal;                 /* the panel's pedal answers */
    bool wants_screen, had_screen; /* it is wanted; it could be shown */
    int keyboard;                  /* of the screen */

    /* while a procedure runs */
    const struct up_procedure *procedure;
    struct up_panel *panel; /* may be NULL */
    const char *place;
    struct up_ask ask;    /* the latest, for a person */
    double counts_per_kg; /* 0 while calibrating */
    bool loads_in_kg;     /* the rig's loads are in a unit, no counts */
    bool is_typed;        /* the readings are, in this unit */
    enum up_load_unit typed_unit;
    bool stops_next; /* the pedal: a question after `last_step` is answered with stop */
    unsigned last_step;
    double shown_s;    /* when the live load was shown last */
    struct live *live; /* the live screen while it is up: it shows instead of words; else NULL */
};

extern const struct operator_kind operator_keys, operator_json;

/* "Hang this mass: 2 kg": the ask's text with what belongs to it; the caller's. A mass keeps the
   kilograms that are written on it, beside other units. */
char *describe_ask(const struct up_operator *op, const struct up_ask *ask);
/* How a reference body read: its name, which is no sentence, and the rest in the person's units. */
char *describe_check(const struct up_operator *op, const struct up_reference_check *check);
/* Of the number that is asked for, as the person types it. */
const char *asked_unit(const struct up_operator *op);

/* The open question is answered with stop. */
bool pedal_stops_here(const struct up_operator *op);
/* What the pedal does; false where it does nothing. */
bool pedal_next(struct up_operator *op, bool is_open, struct up_reply *reply);

/* One line or buffer of what was typed; false where it is no reply. */
bool operator_read(struct up_operator *op, struct up_reply *reply);
/* Whether a whole line waits in the buffer. */
bool operator_has_line(const struct up_operator *op);

/* live_screen.c. Where the terminal cannot show a screen, begin prints a note and leaves op->live
   NULL; end shows once more on the normal screen what the session reported. */
void live_begin(struct up_operator *op);
void live_end(struct up_operator *op);
/* Shows the result until a key, the pedal, a signal or the end of the input. */
void live_hold(struct up_operator *op, const struct up_result *result, unsigned results,
               const volatile sig_atomic_t *signalled);
void live_event(struct up_operator *op, const struct up_event *event);
void live_refused(struct up_operator *op, const char *why);
void live_show(struct up_operator *op, bool away);
bool live_read(struct up_operator *op, struct up_reply *reply);
