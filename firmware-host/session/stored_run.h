/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stored run, read so that it can be repeated or gone on with. */
#ifndef UPTHRUST_SESSION_STORED_RUN_H
#define UPTHRUST_SESSION_STORED_RUN_H

#include "../cli/cli.h"
#include "upthrust/run.h"
#include "upthrust/session.h"

struct stored_run {
    struct up_run_left left;
    json_t *plan; /* borrowed from the journal */
    struct up_rig rig;
    struct up_calibration calibration;
    struct up_water water[WATERS_MAX];
    /* One of the two, with pointers to what stands above. */
    struct up_measure_plan measure;
    struct up_calibrate_plan calibrate;
    bool calibrates;
    struct up_kept *kept;
    size_t count;
};

/* By a run's id or the beginning of one; freed in any case. */
bool stored_run_open(struct stored_run *run, struct up_catalogue *catalogue, const char *id,
                     bool calibrates, struct up_failure *failure);
void stored_run_free(struct stored_run *run);

/* Leaves out, at the end, what speaks of bytes that the stream does not have: the power failed
   between the two. */
void stored_run_trim(struct stored_run *run);

/* Everything once more; `event` may be NULL. */
bool stored_run_repeat(const struct stored_run *run, struct up_procedure *procedure, void *context,
                       void (*event)(void *context, const struct up_event *event),
                       struct up_reader *reader, struct up_failure *failure);

/* ---- going on with it (resume_run.c) ---- */

/* The journal's event behind all that was copied from the run that is gone on with. */
#define RUN_COPIED "copied"

struct taken_up {
    struct stored_run run; /* of the files; its rig has the port of the rig file given now */
    struct up_unfinished unfinished;
};

/* The run that bench->resume means, of this item where it is not NULL; refused where the rig, the
   item or the calibration changed since. Freed in any case. */
bool take_up(struct taken_up *taken, const struct bench_run *bench, bool calibrates,
             const struct up_item *item, struct up_failure *failure);
void taken_up_free(struct taken_up *taken);

/* The command that goes on with a run, as it would be typed; the caller's. */
char *way_on(const struct bench_run *bench, const char *what, const char *run_id);

#endif
