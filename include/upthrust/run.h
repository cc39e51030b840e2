/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a run at the bench leaves behind beside the records: runs/ID/stream, the bytes of the wire
 * as they came, and runs/ID/journal.jsonl, a line for each thing that happened, with the number of
 * bytes that had arrived by then. Together they can be replayed.
 */
#ifndef UPTHRUST_RUN_H
#define UPTHRUST_RUN_H

#include <jansson.h>
#include <stdbool.h>

#include "upthrust/catalogue.h"

struct up_run;

/* Makes the directory and both files; `about` (borrowed) becomes the journal's first line and the
   body of a record of kind "run". `run_id` gets the new id. The caller closes it. */
bool up_run_open(struct up_catalogue *catalogue, const char *bench, json_t *about,
                 char run_id[UP_ID_SIZE], struct up_run **run, struct up_failure *failure);
void up_run_close(struct up_run *run);

/* A write that fails is remembered and told by the next up_run_journal. */
void up_run_bytes(struct up_run *run, const char *bytes, size_t length);

/* When the latest bytes came, on the host's monotonic clock: a line of the journal that reaches the
   disk with the next one. */
void up_run_arrival(struct up_run *run, double arrival_s);

/* Adds one line: takes the reference to `entry`, an object, and puts "offset" and "arrival_s" (on
   the host's monotonic clock, since the run began) into it. On the disk's side of the program when
   it returns, on the disk itself by the next record of the catalogue. */
bool up_run_journal(struct up_run *run, json_t *entry, struct up_failure *failure);

/* What a run left behind: its stream, whole, and the lines of its journal, in order. */
struct up_run_left {
    char id[UP_ID_SIZE];
    char *stream;
    size_t length;
    json_t *journal; /* an array of objects */
};

/* By a run's id or the unique beginning of one (four characters at least).
   UP_STATUS_WRONG_INPUT where there is none such, several, or its files are not whole. The caller
   frees what it was given. */
bool up_run_read(const struct up_catalogue *catalogue, const char *id, struct up_run_left *left,
                 struct up_failure *failure);
void up_run_left_free(struct up_run_left *left);

#endif
