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
#include "upthrust/lines.h"
#include "upthrust/procedure.h"
#include "upthrust/wire.h"

/* ---- operators ---- */

struct up_operator;

enum up_operator_kind {
    UP_OPERATOR_KEYS,  /* a person at a terminal: lines typed on standard input */
    UP_OPERATOR_JSON,  /* another program: JSON Lines on standard input and output */
    UP_OPERATOR_PEDAL, /* a foot: nothing is read, the session's lines answer */
};

/* Reads answers from `input`; JSON goes to `output`, words for a person too (standard error, by
   custom). Neither is closed. The caller destroys it. */
struct up_operator *up_operator_create(enum up_operator_kind kind, int input, FILE *output);
void up_operator_destroy(struct up_operator *op);

/* The session's results or calibration, as the last line of a JSON operator; nothing for a person.
 */
void up_operator_tell_result(struct up_operator *op, json_t *result);

/* ---- the session ---- */

/* What happens to a session from outside, besides bytes and answers. */
enum up_note {
    UP_NOTE_LOST,
    UP_NOTE_BACK,
    UP_NOTE_STOPPED,
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
    struct up_lines *lines; /* may be NULL */
    struct up_listener listener;
    const volatile sig_atomic_t *signalled; /* may be NULL; nonzero ends the session */
    double silence_s;                       /* no byte for so long is a fault; 0 for 5 s */
};

/* Runs to the end of the procedure. A lost device is waited for as long as the rig says: both the
   loss and the return are faults for the listener. False: the device stays away or is silent, sends
   lines that do not fit, or a listener could not store; what was handed to the listener is good. */
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

/* Feeds a procedure what another one of the same plan was fed, in the same order: the bytes of its
   stream up to each thing that was kept. False where they do not belong together.
   `talked_unasked` as it was: the first line of such a device was cut. */
bool up_session_repeat(struct up_procedure *procedure, const struct up_rig *rig,
                       bool talked_unasked, const char *bytes, size_t length,
                       const struct up_kept *kept, size_t count, struct up_failure *failure);

/* JSON of one event as the operator protocol has it; a new reference. */
json_t *up_event_to_json(const struct up_event *event, double counts_kg);

#endif
