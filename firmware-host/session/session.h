/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A session at the bench: port, operator, procedure and catalogue joined into a run that is stored
 * as it goes. A session that ends early has lost the trial under way, no more; its run can be
 * resumed, and every run can be replayed from what it recorded.
 */
#pragma once

#include "catalogue/records.h"
#include "operator/operator.h"

/* How a session reaches whoever started it. Each may be NULL. */
struct up_session_caller {
    void *context;
    /* A remark for a person, raw, in one line: a run that was killed, an old calibration, ... */
    void (*note)(void *context, const char *text);
    /* The command that resumes a run of `what` ("measure", "calibrate"), as it would be typed; to
       be freed by the session. */
    char *(*resume_command)(void *context, const char *what, const char *run_id);
};

struct up_session_settings {
    struct up_catalogue *catalogue;
    const struct up_rig *rig;
    const char *port; /* instead of the rig's; or NULL */
    enum up_operator_kind operator_kind;
    bool screen;        /* a live one, for a person */
    bool imperial;      /* what a person reads is; what is stored stays SI */
    int operator_input; /* descriptor */
    FILE *operator_output;
    const struct up_cautions *cautions; /* shown once, before the first step; NULL: none */
    struct up_panel *panel;             /* NULL where there is none */
    bool no_exchange;   /* the caller brings exchange/ up to date, once at the end */
    bool simulated;     /* a demonstration: without advice to weigh a reference body */
    const char *resume; /* a run's id or its beginning, "" for the latest; NULL: a new run */
    const volatile sig_atomic_t *signalled; /* nonzero ends the session; may be NULL */
    struct up_session_caller caller;
};

struct up_session_results {
    struct up_item item;
    struct up_result result[UP_WATERS_MAX + 1]; /* the tank's first */
    unsigned results, waters;                   /* waters asked for */
    char bench[UP_NAME_SIZE], run_id[UP_ID_SIZE];
};

/* Both store what they find. Rig, calibration, coverage and the run's id of the plan are filled
   in. */
bool up_session_calibrate(const struct up_session_settings *settings,
                          const struct up_calibrate_plan *plan, struct up_calibration *calibration,
                          struct up_failure *failure);
/* Known masses by a calibration that is not trusted here (see up_calibration_is_trusted): the one
   whose id begins with plan->adopts, or, empty, the newest (up_calibration_to_adopt). It is adopted
   where they read inside its bounds, else UP_STATUS_UNABLE. */
bool up_session_adopt(const struct up_session_settings *settings,
                      const struct up_calibrate_plan *plan, struct up_calibration *calibration,
                      struct up_failure *failure);
bool up_session_measure(const struct up_session_settings *settings,
                        const struct up_measure_plan *plan, struct up_session_results *results,
                        struct up_failure *failure);

/* Fills in the item and what the bench has learned of its kind. */
bool up_session_plan_item(struct up_catalogue *catalogue, const struct up_rig *rig,
                          const struct up_item *item, struct up_measure_plan *plan,
                          struct up_failure *failure);

/* The run that settings->resume names, or the latest unfinished one, goes on: of this item, or of
   any where it is NULL. UP_STATUS_WRONG_INPUT where there is none, or where the rig file, the item
   or the calibration has changed since. */
bool up_session_resume_calibrate(const struct up_session_settings *settings,
                                 struct up_calibration *calibration, struct up_failure *failure);
bool up_session_resume_measure(const struct up_session_settings *settings,
                               const struct up_item *item, struct up_session_results *results,
                               struct up_failure *failure);

/* UP_STATUS_UNDECIDED where one of them is. */
enum up_status up_session_status(const struct up_session_results *results);

/* ---- a stored run once more ---- */

/* `to_store`: the run must have been made here. */
bool up_replay_measure(struct up_catalogue *catalogue, const char *run, bool to_store,
                       struct up_session_results *results, struct up_failure *failure);
bool up_replay_calibrate(struct up_catalogue *catalogue, const char *run,
                         struct up_calibration *calibration, struct up_failure *failure);

/* A replay beside the results that its run stored. */
struct up_replay_comparison {
    unsigned stored; /* results of the run in the catalogue */
    bool complete;   /* each of the replay's has one */
    double worst_g;  /* largest difference in value, u or interval */
};
bool up_replay_compare(struct up_catalogue *catalogue, const struct up_session_results *results,
                       struct up_replay_comparison *comparison, struct up_failure *failure);

/* ---- a list of items, one after the other ---- */

enum { UP_QUEUE_MAX = 200 };

struct up_queue_entry {
    struct up_item item;
    struct up_filling filling;
    double mass_kg, u_mass_kg; /* dry, by another scale; 0: not told */
    bool is_new;               /* the list alone knows it: see session/stock_list.h */
    bool by_name;              /* the list gives it no stock number */
    bool done;
    char unfinished_run[UP_ID_SIZE]; /* begun in this queue and not completed; else empty */
};

struct up_queue {
    const char *path;
    const char *scans; /* not NULL: there is no list, each item is scanned as its turn comes */
    char name[800];    /* the list's file name, by which its runs know the queue */
    char id[UP_ID_SIZE];
    struct up_queue_entry entry[UP_QUEUE_MAX];
    unsigned count;
    double begun_s, spent_s; /* on the item under way, on those that were measured now */
    unsigned spent_items;
    unsigned tally[UP_CLASS_NEGATIVE + 1]; /* of those measured now, by class */
    char last[120];                        /* the last result in words; empty before the first */
};

/* Reads the list: an item a line, by name or id, or a stock list as CSV with a header (name, kind,
   size, stock number, mass g, ...); blank lines and those that begin with # do not count. With
   `resume_rig_id` the latest queue from a list of this name on that bench goes on. */
bool up_queue_open(struct up_queue *queue, struct up_catalogue *catalogue, const char *path,
                   const char *resume_rig_id, struct up_failure *failure);
/* Without a list: up_queue_caller.scan names each item. Resumed, its entries are the items scanned
   so far; one that was not completed comes first. */
bool up_queue_begin_scanning(struct up_queue *queue, struct up_catalogue *catalogue,
                             const char *resume_rig_id, struct up_failure *failure);
/* Items not done yet. */
unsigned up_queue_remaining(const struct up_queue *queue);

struct up_queue_caller {
    void *context;
    /* An item begins: "3 of 20, about 1.5 h left, next: ...", and the same as data. */
    void (*begin)(void *context, const struct up_item *item, const char *place,
                  const json_t *queue);
    void (*done)(void *context, const struct up_session_results *results);
    /* The next item, and what it is filled with, where there is no list; false: it was the last
       one. */
    bool (*scan)(void *context, struct up_queue_entry *entry);
};

/* Measures what is not done yet, by the plan; the port stays open and neighbours share their tare.
   Each item's results are stored before the next one begins. True where it came to its end or was
   stopped by the operator or a signal; up_queue_remaining shows which. */
bool up_queue_measure(struct up_queue *queue, const struct up_session_settings *settings,
                      const struct up_measure_plan *plan, const struct up_queue_caller *caller,
                      struct up_failure *failure);
