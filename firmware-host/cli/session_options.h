/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What calibrate and measure read alike from the command line. */
#pragma once

#include "cli.h"

struct session_options {
    struct up_rig rig;
    struct up_session_settings settings;
    struct up_catalogue *catalogue;
    struct up_style style;
    bool json_document, typed; /* --json, --typed */
};

/* A command for a POSIX shell, with all options as they were given; the caller's. */
char *resume_as_typed(const char *what, const struct call *call);

/* --operator; `document`: --json was given. */
bool read_operator(struct call *call, bool document, enum up_operator_kind *kind);

/* Rig, operator and port; panel and catalogue are then open, signals caught. `measures`: the
   water's temperature will be wanted. */
bool open_session(struct call *call, bool measures, struct session_options *options);

/* --resume: refuses what the run's plan holds already (ended by NULL): it would be ignored. */
bool read_resume(struct call *call, const char *const *planned, struct session_options *options);

/* Words are for --resume alone. */
bool check_words(struct call *call);

/* --replay: a run goes through as it was, and what else is asked for would be passed over. */
bool only_replays(struct call *call);

/* A class named here replaces that of the rig file. */
bool read_conditions(struct call *call, struct session_options *options);

/* After a calibration: how to weigh an item on this bench, on stdout. */
void print_next_commands(const struct session_options *options);

/* A note for a person where the bench's last calibration is no good one (command_calibration.c). */
void note_rough_calibration(const struct session_options *options);

/* Closes the catalogue and the panel, which first shows the class of a result that is not NULL. */
void close_session(struct session_options *options, const struct up_result *result);

/* measure, of one item (command_measure.c). */
void print_results(const struct up_session_results *results, struct up_catalogue *catalogue,
                   const struct up_style *style);
/* A command to be typed next, with the catalogue where it is not the usual one; the caller's. */
char *command_on(const struct up_catalogue *catalogue, const char *what);
bool read_measure(struct call *call, const struct session_options *options,
                  struct up_measure_plan *plan);
bool check_item(const struct up_item *item, const struct up_measure_plan *plan,
                struct up_failure *failure);

/* Items of a list, one after the other (measure_queue.c). */
bool measure_queue(struct call *call);
