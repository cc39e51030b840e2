/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a run at the bench leaves behind beside the records: runs/ID/stream, the bytes of the wire
 * as they came, and runs/ID/journal.jsonl, a line for each thing that happened, with the number of
 * bytes that had arrived by then. Together they can be replayed.
 */
#pragma once

#include "catalogue/records.h"

struct up_run;
struct up_plateau;
struct up_trial;

/* What is known when a run begins; NULL: no such thing. */
struct up_run_begin {
    const char *what, *version, *bench;
    const char *rig_file, *rig_sha256, *rig_record_id;
    const char *item_id, *calibration_id; /* measuring */
};

/* New references, for the records of runs and trials, the journal and the operator's protocol. A
   trial has its grams where counts_per_kg is not 0. */
json_t *up_run_begin_to_json(const struct up_run_begin *begin);
json_t *up_plateau_to_json(const char *of, const struct up_plateau *plateau);
json_t *up_trial_to_json(const struct up_trial *trial, double counts_per_kg);

/* Makes the directory and both files; `about` (borrowed) becomes the journal's first line and, with
   "begun_utc" and "how_ended" (null), the body of a record of kind "run". `run_id` gets the new id.
   The caller ends and closes it. The catalogue must outlive it. */
bool up_run_open(struct up_catalogue *catalogue, const char *bench, json_t *about,
                 char run_id[UP_ID_SIZE], struct up_run **run, struct up_failure *failure);
void up_run_close(struct up_run *run);

/* Stores how the run ended ("completed", "stopped", "failed", ...) as a new version of its record;
   members of `more` (borrowed, may be NULL) are put into it. */
bool up_run_end(struct up_run *run, const char *how_ended, json_t *more,
                struct up_failure *failure);

/* What is kept so far is on the disk when it returns. */
bool up_run_sync(struct up_run *run, struct up_failure *failure);

/* A run without an end that no program works on: it was killed, or the power failed. */
struct up_lost_run {
    char run_id[UP_ID_SIZE], item_id[UP_ID_SIZE], what[16], bench[UP_NAME_SIZE];
    unsigned trials; /* stored, those of the runs that it continues included */
};

/* Reports all of those of this catalogue and ends them as "crashed", so that each is reported once.
   Runs that came from other catalogues, by import or merge, are let alone. */
bool up_run_recover(struct up_catalogue *catalogue,
                    void (*report)(const struct up_lost_run *lost, void *context), void *context,
                    struct up_failure *failure);

/* The rig file that a run was made with: stored once a version, the same text again gives the same
   record. The text is private (private.h, "file_text" of the record's id). */
struct up_rig_version {
    const char *bench, *name;
    const char *rig_sha256; /* of the sections that a calibration depends on */
    const char *file_text;
    bool simulated;
};
bool up_rig_store(struct up_catalogue *catalogue, const struct up_rig_version *rig,
                  char record_id[UP_ID_SIZE], struct up_failure *failure);

/* A failed write is remembered and reported by the next up_run_journal. */
void up_run_bytes(struct up_run *run, const char *bytes, size_t length);

/* When the latest bytes came, on the host's monotonic clock as the session read it, to the last
   digit
   ("host_s"): a line of the journal that reaches the disk with the next one. */
void up_run_arrival(struct up_run *run, double arrival_s);

/* Adds one line: takes the reference to `entry`, an object, and puts "offset" and "arrival_s" (on
   the host's monotonic clock, since the run began) into it. On the system's side of the program
   when it returns, on the disk itself by the next up_run_sync. */
bool up_run_journal(struct up_run *run, json_t *entry, struct up_failure *failure);

/* The largest files that are read again. A device that sends 30 bytes a thousand times a second,
   unasked, reaches the first after ten hours and the second, at a line each, after half an hour. */
enum { UP_RUN_STREAM_BYTES_MAX = 1 << 30, UP_RUN_JOURNAL_BYTES_MAX = 128 << 20 };

/* What a run left behind: its stream, whole, and the lines of its journal, in order. */
struct up_run_files {
    char id[UP_ID_SIZE];
    char *stream;
    size_t length;
    json_t *journal; /* an array of objects */
};

/* By a run's id or the unique beginning of one (four characters at least).
   UP_STATUS_WRONG_INPUT where there is none such, several, or its files are not whole. The caller
   frees what it was given. */
bool up_run_read(struct up_catalogue *catalogue, const char *id, struct up_run_files *files,
                 struct up_failure *failure);
void up_run_files_free(struct up_run_files *files);

/* Whether the journal tells of the run that the catalogue has under that id: folders can be
   exchanged. `of_here`: the run must have been made here. */
bool up_run_check_files(struct up_catalogue *catalogue, const struct up_run_files *files,
                        bool of_here, struct up_failure *failure);

/* A run that can be continued: it did not end, no program is working on it, and no other run
   continues it. */
enum { UP_RUN_TRIALS_MAX = 64 };
struct up_unfinished {
    char run_id[UP_ID_SIZE];
    json_t *continues; /* run_id and those that it continues itself, the nearest first; the caller's
                          reference */
    bool stored[UP_RUN_TRIALS_MAX + 1]; /* by number: those with a record, of any of them */
    unsigned trials, checks;            /* with a record; checks of reference bodies */
};

/* Of one kind ("measure", "calibrate"), one bench, and one item where that is not NULL: the one
   that `id` begins (four characters at least), or the latest where it is NULL.
   UP_STATUS_WRONG_INPUT says why there is none. */
bool up_run_find_unfinished(struct up_catalogue *catalogue, const char *what, const char *bench,
                            const char *item_id, const char *id, struct up_unfinished *found,
                            struct up_failure *failure);
