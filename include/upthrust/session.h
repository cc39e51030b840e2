/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A session at the bench: one poll loop that joins a source, a procedure and an operator.
 *
 * Everything that happens is handed to the listener at once, so that the caller can store each
 * trial while the next one is under way; a session that ends early has lost the trial under way, no
 * more.
 */
#ifndef UPTHRUST_SESSION_H
#define UPTHRUST_SESSION_H

#include <jansson.h>
#include <signal.h>
#include <stdbool.h>

#include "upthrust/failure.h"
#include "upthrust/panel.h"
#include "upthrust/procedure.h"
#include "upthrust/wire.h"

/* ---- operators ---- */

struct up_operator;

enum up_operator_kind {
    UP_OPERATOR_KEYS,  /* a person at a terminal: lines typed on standard input */
    UP_OPERATOR_JSON,  /* another program: JSON Lines on standard input and output */
    UP_OPERATOR_PEDAL, /* a foot on the session's lines; where input is a terminal, its keys too */
};

/* Reads answers from `input`; JSON goes to `output`, words for a person too (standard error, by
   custom). Neither is closed. The caller destroys it. */
struct up_operator *up_operator_create(enum up_operator_kind kind, int input, FILE *output);
void up_operator_destroy(struct up_operator *op);

/* For a person whose output is a terminal: a live screen (live.h) while a session runs, instead of
   words; `keyboard` is a terminal too. Call setlocale(LC_CTYPE, "") before. Where the terminal
   bears no screen a line says so, and it is words. */
void up_operator_use_screen(struct up_operator *op, int keyboard);

/* The session's results or calibration, as the last line of a JSON operator; nothing for a person.
 */
void up_operator_tell_result(struct up_operator *op, json_t *result);

/* ---- the session ---- */

/* What happens to a session from outside, besides bytes and answers. */
enum up_note {
    UP_NOTE_LOST, /* the device is gone or silent */
    UP_NOTE_BACK,
    UP_NOTE_STOPPED,
    UP_NOTE_RESUMED,     /* what came before is of a session that was left */
    UP_NOTE_LEFT,        /* nobody has answered for so long that the step begins anew */
    UP_NOTE_INTERRUPTED, /* the stream goes on, the step begins anew */
};

struct up_listener {
    void *context;
    /* Bytes as they came, and when, on the host's monotonic clock. */
    void (*bytes)(void *context, const char *bytes, size_t length, double arrival_s);
    /* Asks, plateaus, trials, faults. False stops the session: it could not be stored. */
    bool (*event)(void *context, const struct up_event *event, struct up_failure *failure);
    /* An answer that was taken. */
    void (*answer)(void *context, unsigned id, enum up_answer_word word, double number,
                   double time_s);
    /* The text is the fault's, where there is one. */
    void (*note)(void *context, enum up_note note, const char *text);
};

struct up_session {
    const struct up_rig *rig;
    struct up_source *source;
    struct up_procedure *procedure;
    struct up_operator *op;
    struct up_panel *lines; /* may be NULL */
    struct up_listener listener;
    const volatile sig_atomic_t *signalled; /* may be NULL; nonzero ends the session */
    double silence_s;                       /* no line for so long is a fault; 0 for 5 s */
    /* Of a session that goes on: the reader and the procedure as up_session_repeat left them, and
       what is told of it. NULL for a new one. */
    const struct up_reader *reader;
    const char *resumed;
    const char *place; /* in a queue, for a screen; NULL: there is none */
};

/* Runs to the end of the procedure. A device that is lost, silent or sends what does not fit is
   waited for as long as the rig says: both the loss and the return are faults for the listener.
   Who does not answer is reminded, and after the rig's absent_s what hangs counts as spoilt. False:
   the device stays away, sends lines that do not fit from the beginning, or a listener could not
   store; what was handed to the listener is good. */
bool up_session_run(struct up_session *session, struct up_failure *failure);

/* ---- the same once more, from what was kept ---- */

enum up_kept_kind { UP_KEPT_BYTES, UP_KEPT_ANSWER, UP_KEPT_NOTE };

struct up_kept {
    enum up_kept_kind kind;
    uint64_t offset;  /* so many bytes had come by then */
    double arrival_s; /* bytes; NaN where nobody kept it */
    unsigned id;      /* answer */
    enum up_answer_word word;
    double number, time_s;
    enum up_note note;
    char text[200];
};

struct up_past {
    const struct up_rig *rig;
    bool talked_unasked; /* as it was: the first line of such a device was cut */
    const char *bytes;
    size_t length;
    const struct up_kept *kept;
    size_t count;
    /* What the procedure hands out once more; may be NULL. */
    void *context;
    void (*event)(void *context, const struct up_event *event);
};

/* Feeds a procedure what another one of the same plan was fed, in the same order: the bytes of its
   stream up to each thing that was kept. False where they do not belong together. `reader` is then
   as that session's was at its end. */
bool up_session_repeat(struct up_procedure *procedure, const struct up_past *past,
                       struct up_reader *reader, struct up_failure *failure);

/* JSON of one event as the operator protocol has it; a new reference. */
json_t *up_event_to_json(const struct up_event *event, double counts_per_kg);

#endif
