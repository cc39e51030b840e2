/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a run left behind, as numbers to be drawn. Only for the files of report/. */
#pragma once

#include "report/report.h"

enum { TRACE_BINS = 6000, TRACE_GLITCHES = 2000, TRACE_PLATEAUS = 2000, TRACE_MARKS = 400 };

struct trace_reading {
    double time_s, load;
};

struct trace_plateau {
    double start_s, end_s, load;
    bool under_load; /* no tare */
};

struct trace_mark {
    double time_s;
    int action; /* index into trace_actions */
};

struct trace {
    char run_id[UP_ID_SIZE], item_id[UP_ID_SIZE], made_utc[UP_TIME_SIZE];
    char bench[UP_NAME_SIZE], title[UP_NAME_SIZE]; /* title: the item's name; raw */
    char rig_sha256[UP_SHA256_SIZE];
    char calibration_id[UP_ID_SIZE]; /* empty: none was recorded */
    bool calibrating, of_another;    /* its journal says that it is another run's */
    bool simulated;                  /* its bench */
    double counts_per_kg;            /* NaN: no calibration of that bench is known */
    struct trace_reading *reading;
    size_t readings, room;
    struct trace_reading glitch[TRACE_GLITCHES];
    size_t glitches;
    struct trace_plateau plateau[TRACE_PLATEAUS];
    size_t plateaus;
    struct trace_mark mark[TRACE_MARKS];
    size_t marks;
    double zero; /* load of the first empty reading */
};

/* What the operator is asked for and is marked, in words for a picture. */
struct trace_action {
    const char *name, *word;
};
enum { TRACE_ACTIONS = 6 };
extern const struct trace_action trace_actions[TRACE_ACTIONS];

/* Finds the run by its id, the beginning of it, or "latest". Zeroes *trace first. */
bool trace_find(struct up_catalogue *catalogue, const char *run, struct trace *trace,
                struct up_failure *failure);
/* Plateaus and marks from the journal. */
bool trace_read_journal(struct up_catalogue *catalogue, struct trace *trace,
                        struct up_failure *failure);
/* Readings and glitches from the raw bytes. */
bool trace_read_stream(struct up_catalogue *catalogue, const struct up_rig *rig,
                       struct trace *trace, struct up_failure *failure);
void trace_release(struct trace *trace);
