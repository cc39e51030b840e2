/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of session/ share. */
#pragma once

#include "catalogue/run.h"
#include "catalogue/taught.h"
#include "session/session.h"

/* ---- the loop (loop.c, person.c, device.c) ---- */

/* Events from outside a session, besides bytes and answers. */
enum note {
    NOTE_LOST, /* the device is gone or silent */
    NOTE_BACK,
    NOTE_STOPPED,
    NOTE_RESUMED,     /* what came before is of an earlier run */
    NOTE_ABSENT,      /* there was no answer for so long that the step is repeated */
    NOTE_INTERRUPTED, /* the stream continues, the step is repeated */
    NOTES
};

/* Receives everything at once, so that each trial is stored while the next one is measured. */
struct listener {
    void *context;
    /* Bytes as they came, and when, on the host's monotonic clock. */
    void (*bytes)(void *context, const char *bytes, size_t length, double arrival_s);
    /* False stops the session: it could not be stored. */
    bool (*event)(void *context, const struct up_event *event, struct up_failure *failure);
    /* An answer that was accepted. */
    void (*answer)(void *context, const struct up_reply *answer, double time_s);
    /* The text is the fault's, where there is one. */
    void (*note)(void *context, enum note note, const char *text);
};

struct session {
    const struct up_rig *rig;
    struct up_source *source; /* NULL where readings are typed */
    struct up_procedure *procedure;
    struct up_operator *op;
    struct listener listener;
    const volatile sig_atomic_t *signalled; /* may be NULL; nonzero ends the session */
    double silence_s;                       /* no line for so long is a fault; 0 for 5 s */
    /* Of a session that goes on: the reader as repeat_run left it, and a line for the operator.
       NULL for a new one. */
    const struct up_reader *reader;
    const char *resumed;
};

/* Runs to the end of the procedure, between up_operator_begin and up_operator_end. A device that is
   lost, silent or sends what does not fit is waited for as long as the rig says: both the loss and
   the return are faults for the listener. An operator who does not answer is reminded, and after
   the rig's absent_s the step is repeated. False: the device stays away, sends lines that do not
   fit from the beginning, or the listener could not store; what it was given is good. */
bool session_run(struct session *session, struct up_failure *failure);

struct loop {
    struct session *session;
    struct up_reader reader;
    uint64_t awaited;         /* lines that a poll asked for: all lines up to this number */
    bool away;                /* the device is lost or silent, and waited for */
    uint64_t notes;           /* of the device that were passed on */
    uint64_t fitting, beyond; /* lines of a sound device so far, and of one out of its range */
    double begin_s, last_byte_s, last_fit_s, last_beyond_s, lost_s, sought_s, polled_s;
    double fit_again_s;         /* away: when the first line came that fits; 0 for none */
    double asked_s, reminded_s; /* the open ask, and when the operator was last reminded of it */
    char asked[sizeof((struct up_ask *)NULL)->text];
    bool absent; /* the open ask was repeated because there was no answer */
};

/* loop.c */
bool is_awaiting_lines(const struct loop *loop);
bool is_answer_open(const struct loop *loop); /* one is waited for */
bool deliver_event(const struct loop *loop, const struct up_event *event,
                   struct up_failure *failure);
void loop_note(const struct loop *loop, enum note what, const char *text);
void interrupt_step(const struct loop *loop, enum note what, const char *text);
void loop_stop(const struct loop *loop);

/* person.c */
bool read_replies(struct loop *loop, struct up_failure *failure);
bool check_presence(struct loop *loop, struct up_failure *failure);
bool deliver_text(const struct loop *loop, enum up_event_kind kind, const char *text,
                  struct up_failure *failure);

/* device.c */
bool sends_unasked(const struct loop *loop);
/* Looks for one that is away, asks one that is polled. */
bool keep_device(struct loop *loop, struct up_failure *failure);
bool read_device(struct loop *loop, struct up_failure *failure);
bool check_silence(struct loop *loop, struct up_failure *failure);

/* ---- a recorded run once more (repeat.c, stored_run.c) ---- */

enum recorded_kind { RECORDED_BYTES, RECORDED_ANSWER, RECORDED_NOTE };

struct recorded {
    enum recorded_kind kind;
    uint64_t offset;  /* so many bytes had come by then */
    double arrival_s; /* bytes; NaN where it was not recorded */
    struct up_reply answer;
    double time_s; /* of the answer */
    enum note note;
    char text[200];
};

/* Lines of the journal. */
json_t *answer_to_json(const struct up_reply *answer, double time_s);
/* False where it holds neither a word that is known nor a number. */
bool answer_from_json(const json_t *entry, struct recorded *recorded);
json_t *note_to_json(enum note note, const char *text);

struct recording {
    const struct up_rig *rig;
    bool talked_unasked; /* as it was: the first line of such a device was cut */
    const char *bytes;
    size_t length;
    const struct recorded *recorded;
    size_t count;
    /* What the procedure hands out once more; may be NULL. */
    void *context;
    void (*event)(void *context, const struct up_event *event);
};

/* Feeds a procedure what another one of the same plan was fed, in the same order: the bytes of its
   stream up to each thing that was recorded. False where they do not belong together. `reader` is
   then as that session's was at its end. */
bool repeat_run(struct up_procedure *procedure, const struct recording *recording,
                struct up_reader *reader, struct up_failure *failure);

struct stored_run {
    struct up_run_files files;
    json_t *plan; /* borrowed from the journal */
    struct up_rig rig;
    struct up_calibration calibration;
    struct up_water water[UP_WATERS_MAX];
    /* One of the two, with pointers to what stands above. */
    struct up_measure_plan measure;
    struct up_calibrate_plan calibrate;
    bool calibrates;
    struct recorded *recorded;
    size_t count;
};

/* By a run's id or the beginning of one; freed in any case. */
bool stored_run_open(struct stored_run *run, struct up_catalogue *catalogue, const char *id,
                     bool calibrates, struct up_failure *failure);
void stored_run_free(struct stored_run *run);
/* Leaves out, at the end, what was recorded after the last byte of the stream: the power failed
   between the two. */
void stored_run_trim(struct stored_run *run);
/* Everything once more; `event` may be NULL. */
bool stored_run_repeat(const struct stored_run *run, struct up_procedure *procedure, void *context,
                       void (*event)(void *context, const struct up_event *event),
                       struct up_reader *reader, struct up_failure *failure);

/* plan.c: a plan as the journal holds it, with all that the session begins from; reading fills the
   run's rig too. */
bool rig_to_json(const struct up_rig *rig, json_t *plan, struct up_failure *failure);
json_t *measure_plan_to_json(const struct up_measure_plan *plan);
json_t *calibrate_plan_to_json(const struct up_calibrate_plan *plan);
bool measure_plan_from_json(const json_t *json, struct stored_run *run, struct up_failure *failure);
bool calibrate_plan_from_json(const json_t *json, struct stored_run *run,
                              struct up_failure *failure);

/* plan_quick.c: of a quick weighing. */
struct up_taught_bench taught_bench(const struct up_rig *rig);
/* What the items before it saw in this session; NULL: it is the first. Where they rejected what was
   learned, the bench has learned anew since, and looks at that afresh. */
void quick_plan_watch(struct up_quick_plan *plan, const struct up_early_watch *seen);
json_t *quick_plan_to_json(const struct up_quick_plan *plan);
bool quick_plan_from_json(const json_t *json, struct up_quick_plan *plan);

/* ---- resuming (resume.c) ---- */

/* The journal's event behind all that was copied from the run that is resumed. */
#define RUN_COPIED "copied"

struct resumed_run {
    struct stored_run run; /* of the files; its rig has the port of the rig file given now */
    struct up_unfinished unfinished;
};

/* The run that settings->resume names, of this item where it is not NULL; refused where the rig,
   the item or the calibration has changed since. Freed in any case. */
bool resumed_run_open(struct resumed_run *resumed, const struct up_session_settings *settings,
                      bool calibrates, const struct up_item *item, struct up_failure *failure);
void resumed_run_free(struct resumed_run *resumed);

/* ---- storing (recorder.c) ---- */

/* What the sessions of a queue share. */
struct queue_shared {
    const char *place;
    json_t *queue; /* for the run's record */
    struct up_source *source;
    struct up_opening opening;
    bool unfinished;    /* the session did not come to its end */
    bool body_noted;    /* that none was weighed: once is enough */
    bool learned_noted; /* what the bench knows of early readings */
    bool full_now;      /* what a quick weighing could not decide is weighed in full next */
    bool left;          /* by the operator, before the item had a result */
    struct up_early_watch watch[UP_QUICK_STEPS]; /* of the session's quick weighings */
    bool cautioned;
};

struct recorder {
    const struct up_measure_plan *plan; /* whose duration is printed first; NULL: none */
    const struct up_session_settings *settings;
    struct up_run *run;
    char run_id[UP_ID_SIZE];
    const struct up_item *item; /* NULL while calibrating */
    bool quick;
    double counts_per_kg;
    const char *calibration_id; /* NULL while calibrating */
    json_t *queue;              /* borrowed; NULL outside of one */
    char rig_record_id[UP_ID_SIZE];
    json_t *plateaus; /* read since the last trial: they are stored with the next */
    unsigned trials;
    unsigned checks;                /* of reference bodies, repeated */
    size_t compared;                /* lines of the resumed journal, with what is read again */
    char open_check_id[UP_ID_SIZE]; /* one outside its limits, not answered; empty: none */
    struct up_failure failure;      /* of a callback that cannot return one */
    const struct resumed_run *from; /* NULL for a new run */
    struct up_reader reader;        /* as it stood there at the end */
    char resumed[120];              /* a line for the operator */
    bool tries;                     /* repeats and compares, and stores nothing */
};

struct listener recorder_listener(struct recorder *recorder);
/* Whether the resumed run repeats, as it would: one that does not is refused before a new run is
   opened, which would remain. */
bool recorder_try(const struct recorder *recorder, struct up_procedure *probe,
                  struct up_failure *failure);
/* Opens a run and stores the plan it begins with, or what the resumed run recorded; takes the
   reference to `plan`. */
bool recorder_open(struct recorder *recorder, struct up_failure *failure);
bool recorder_begin(struct recorder *recorder, struct up_procedure *procedure, json_t *plan,
                    struct up_failure *failure);
/* Stores how it ended. A run that failed stays failed, whether its end can be stored or not. */
bool recorder_close(struct recorder *recorder, const struct up_procedure *procedure, bool good,
                    unsigned results, struct up_failure *failure);
/* Ends the runs that were killed, with a note of each. */
bool end_killed_runs(const struct up_session_settings *settings, struct up_failure *failure);

void send_note(const struct up_session_settings *settings, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* The number of the signal, or 0. */
int signal_of(const struct up_session_settings *settings);

/* ---- run.c ---- */

/* As the public ones; `neighbours` may be NULL. */
bool session_measure(const struct up_session_settings *settings, const struct up_measure_plan *plan,
                     struct queue_shared *queue_shared, struct up_session_results *results,
                     struct up_failure *failure);
bool session_resume_measure(const struct up_session_settings *settings, const struct up_item *item,
                            struct queue_shared *queue_shared, struct up_session_results *results,
                            struct up_failure *failure);
/* Whether session_resume_measure would find its run. */
bool session_can_resume(const struct up_session_settings *settings, const struct up_item *item,
                        struct up_failure *failure);
