/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The procedure at the tank as a state machine in virtual time: it is fed samples and the
 * operator's answers, and hands back what to ask, show and store. It knows no device, clock or
 * screen, so a simulated session of an hour takes a second and the same code serves the tank.
 *
 * Feed samples while up_procedure_next gives nothing; when it has given an ask, answer it (samples
 * may go on meanwhile: the step of the load is looked for in them).
 */
#pragma once

#include "bench/quick.h"
#include "stream/schedule.h"

enum up_action {
    UP_ACTION_BARE_HOOK, /* nothing hangs, the ballast neither */
    UP_ACTION_ADD_BALLAST,
    UP_ACTION_READ_TEMPERATURE, /* answered with a number, degrees C */
    UP_ACTION_HANG_MASS,
    UP_ACTION_EMPTY_IN_AIR,
    UP_ACTION_HANG_IN_AIR,
    UP_ACTION_EMPTY_IN_WATER,
    UP_ACTION_IMMERSE,
    UP_ACTION_SHAKE,
    UP_ACTION_LIFT_OUT,
    UP_ACTION_HANG_REFERENCE, /* a body of known mass and volume, under water */
    UP_ACTION_LOWER_HANGER,   /* empty, so that the item will hang at another depth */
    UP_ACTION_HANG_LEVEL,     /* between the hook and a fixed line, one end on each */
    UP_ACTION_CONFIRM,        /* nothing to handle: the text asks for a word */
    UP_ACTIONS
};

/* As in the operator protocol: "hang-mass", ... */
const char *up_action_name(enum up_action action);

struct up_ask {
    unsigned id;
    enum up_action action;
    double mass_kg;        /* hang-mass */
    double depth_m;        /* lower-hanger */
    double distance_m;     /* hang-level: between the two lines */
    const char *item_name; /* of the item or the body that is handled, NULL where none is; lives as
                              long as the procedure */
    const char *item_id;
    double time_s; /* device time of the last sample */
    bool wants_number;
    bool accepts;     /* a question: only the word accept keeps what is in doubt */
    const char *unit; /* of the number: "C", "kg", ...; NULL where none is wanted */
    char text[240];   /* for a person: what to do now */
    const char *how;  /* and how to answer, where that is unusual; else NULL */
    const char *line; /* rig-check: what is tried, such as "pedal short"; else NULL */
};

enum up_answer_word {
    UP_ANSWER_DONE,
    UP_ANSWER_SKIP,
    UP_ANSWER_AGAIN, /* the step before was spoilt: repeat it */
    UP_ANSWER_STOP,
    UP_ANSWER_ACCEPT, /* to a question: continue as it is. A typed word only, no key and no pedal */
    UP_ANSWER_NUMBER
};

enum up_event_kind {
    UP_EVENT_ASK,
    UP_EVENT_PLATEAU,
    UP_EVENT_TRIAL,
    UP_EVENT_FAULT,    /* text: the step is asked for again, or a load must come off at once */
    UP_EVENT_NOTE,     /* text: shown and stored, nothing to be done */
    UP_EVENT_CHECK,    /* a reference body was weighed */
    UP_EVENT_FINISHED, /* done or stopped; results or calibration can be taken */
};

struct up_event {
    enum up_event_kind kind;
    struct up_ask ask;
    struct up_plateau plateau;
    const char *plateau_of; /* "preload", "tare", "mass", "stair", "air", "water" */
    struct up_trial trial;
    struct up_reference_check check;
    char text[240];
};

struct up_procedure;

struct up_calibrate_plan {
    const struct up_rig *rig;
    double mass_kg[UP_CALIBRATION_POINTS_MAX];
    unsigned masses; /* in the order hung; the heaviest is hung first of all as a preload; negative:
                        hangs as the tare and is taken off */
    bool staircase;  /* at the end all different masses, up and down without emptying */
    struct up_calibration_history history; /* of the bench */
    /* An earlier calibration, which these masses only bear out or not; empty: a new one is made. */
    char adopts[UP_ID_SIZE];
};

enum { UP_ANALYSES_MAX = 8 };

/* A tank in a room warms and cools by some tenths of a kelvin an hour: a temperature that a person
   read is asked for again after so long (a choice of ours). */
#define UP_TEMPERATURE_OLDEST_S 600.0

/* The empty hanger as the session before this one left it, ballast hanging: neighbours share it. */
struct up_opening {
    bool known;
    double age_s; /* since it was read, when this one's stream begins */
    double load, u_load;
    double early;      /* as of an indication */
    double temp_c;     /* of the water; NaN: not known */
    double temp_age_s; /* since then */
    double ballast_kg; /* what the ballast weighs under water, as read then; NaN: it was not */
};

struct up_measure_plan {
    const struct up_rig *rig;
    const struct up_calibration *calibration;
    struct up_item item;
    unsigned trials; /* 2 at least; 1 where the repeatability of the kind is known */
    /* Counts of trials, rising, after which the results are looked at: where all are decided the
       session goes no further. The last one is `trials`; none: one look, at the end. */
    unsigned analysis_at[UP_ANALYSES_MAX], analyses;
    /* What the bench has learned of items of this kind; u and share 0 where it has not. */
    struct up_quantity kind_repeatability_kg; /* u: standard deviation of a trial; its dof */
    double kind_shake_share;                  /* a shake frees this share of the air at least */
    double kind_stuck_share, kind_stuck_kg;   /* as of the record */
    struct up_reference_plan reference[UP_REFERENCES_MAX]; /* weighed first */
    unsigned references;
    struct up_opening opening;
    bool steady_shakes;   /* all trials shake as often as the first one that was shaken needed */
    bool bare_hook;       /* is read before the ballast goes on, so that its true weight is known */
    double temp_oldest_s; /* 0: UP_TEMPERATURE_OLDEST_S */
    double second_depth_m; /* the item is weighed there too, at the end; 0: it is not */
    double two_point_m;    /* between the hook and a fixed line it is hung level by; 0: it is not */
    struct up_filling filling;    /* what is in the item */
    struct up_quick_plan quick;   /* no dry weighing, as short as the class allows */
    const struct up_water *water; /* waters asked for beside the tank's own */
    unsigned waters;
    double confidence, coverage;
    unsigned draws;     /* of the Monte Carlo; 0: as many as it takes */
    unsigned long seed; /* of its draws; 0 for 1 */
    char run_id[UP_ID_SIZE];
};

/* How long an item takes, in s, up to the first look where there are several; and each trial of it.
   A guess: people differ. */
double up_measure_guess_s(const struct up_measure_plan *plan, double *trial_s);

/* The record as a session begins: all of the plan, nothing measured. */
void up_measurement_begin(struct up_measurement *measurement, const struct up_measure_plan *plan);

/* UP_STATUS_WRONG_INPUT where the plan cannot work: fewer than three different masses, one of
   nothing, outside the table of its class or beyond the cell's capacity; a calibration of another
   bench, of other line or sensor settings, of another schedule, or with a slope that is not sound.
   The caller destroys it. */
/* Whether a calibration is one of the rig as its file is now: id, line, sensor, schedule. */
bool up_calibration_fits(const struct up_calibration *calibration, const struct up_rig *rig,
                         struct up_failure *failure);
bool up_procedure_calibrate(const struct up_calibrate_plan *plan, struct up_procedure **procedure,
                            struct up_failure *failure);
bool up_procedure_measure(const struct up_measure_plan *plan, struct up_procedure **procedure,
                          struct up_failure *failure);
void up_procedure_destroy(struct up_procedure *procedure);

/* The next thing to ask, show or store; false when there is nothing now: feed samples. */
bool up_procedure_next(struct up_procedure *procedure, struct up_event *event);
void up_procedure_sample(struct up_procedure *procedure, const struct up_sample *sample);
/* Before the samples of a chunk from a live port: the host's monotonic time at which it came. Never
   0; without it only the device's clock is checked. */
void up_procedure_arrival(struct up_procedure *procedure, double arrival_s);

/* False, changing nothing, for an id that is not the open ask's, or a number that is missing, not
   finite or impossible (with the reason in the failure). */
bool up_procedure_answer(struct up_procedure *procedure, unsigned id, enum up_answer_word word,
                         double number, struct up_failure *failure);

/* The stream broke off, or resumes: a fault with this text, and the current step is asked again
   from its tare. The operator did nothing wrong, so it does not count among the tries. */
void up_procedure_interrupt(struct up_procedure *procedure, const char *text);

/* The operator has not answered for so long that drift and creep matter: a fault with this text,
   and the step is repeated from a tare, which is read later than usual, since the cell must recover
   from the load that hung so long. */
void up_procedure_abandon_step(struct up_procedure *procedure, const char *text);

/* Stops the procedure early; what was completed can be fetched. */
void up_procedure_stop(struct up_procedure *procedure);

/* Continues a procedure that was stopped, gave up or was interrupted: a fault with this text, and
   the step begins anew as after up_procedure_abandon_step. Nothing where it came to its end. */
void up_procedure_resume(struct up_procedure *procedure, const char *text);

struct up_progress {
    unsigned done, wanted; /* trials, or loadings of a calibration */
    bool weighed_in_air;
    bool complete; /* ended as planned: neither stopped nor given up */
    bool stopped;  /* by the operator */
};
struct up_progress up_procedure_progress(const struct up_procedure *procedure);

/* Where readings are typed no sample carries a time: seconds of the host's clock, any origin. */
void up_procedure_clock(struct up_procedure *procedure, double time_s);

bool up_procedure_is_asking(const struct up_procedure *procedure);
bool up_procedure_is_finished(const struct up_procedure *procedure);

/* Live view: the latest good reading as a difference to the last tare, in load units; NaN: none
   came yet. */
double up_procedure_live_load(const struct up_procedure *procedure);
double up_procedure_noise_floor(const struct up_procedure *procedure);

/* For the next session at the same bench and in the same water, whose stream goes on where this one
   stops: the latest tare; not known where it is too old to serve, or where the hanger went to
   another depth. */
struct up_opening up_procedure_opening(const struct up_procedure *procedure);

struct up_reading_progress up_procedure_reading(const struct up_procedure *procedure);

/* What a screen shows of a procedure. The pointers live as long as it does. */
struct up_procedure_view {
    const struct up_rig *rig;
    const struct up_measurement *measurement; /* NULL while calibrating */
    const struct up_loadings *loadings;       /* NULL while measuring */
    unsigned planned;                         /* trials or loadings */
    bool at_most;                             /* it may end with fewer */
    bool has_tare, overloaded;
    unsigned open_ask; /* the id of the ask that waits for its answer; 0: none does */
    double now_s;      /* device time */
};
struct up_procedure_view up_procedure_view(const struct up_procedure *procedure);

/* The record so far; lives as long as the procedure. NULL for the other kind of procedure. */
const struct up_measurement *up_procedure_measurement(const struct up_procedure *procedure);
const struct up_loadings *up_procedure_loadings(const struct up_procedure *procedure);

/* Of a quick weighing, while it goes on and after; NULL: it is none. */
const struct up_quick_progress *up_procedure_quick(const struct up_procedure *procedure);
/* What the session has seen of early readings, UP_QUICK_STEPS of them; NULL: none may end one. */
const struct up_early_watch *up_procedure_watch(const struct up_procedure *procedure);
/* The traces that went on to the full schedule, of a full weighing too: they teach later ones. */
const struct up_quick_taught *up_procedure_taught(const struct up_procedure *procedure,
                                                  unsigned *count);

/* After UP_EVENT_FINISHED: the fit and the results of what was completed (measurement.h).
   UP_STATUS_UNABLE where a calibration was stopped early. */
bool up_procedure_calibration(const struct up_procedure *procedure,
                              struct up_calibration *calibration, struct up_failure *failure);
bool up_procedure_results(const struct up_procedure *procedure, struct up_result *result,
                          unsigned *results, struct up_failure *failure);
