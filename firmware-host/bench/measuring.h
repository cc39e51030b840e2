/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The sequence of an item's session: which step follows, and what each reading says of the item. */
#pragma once

#include "events.h"
#include "interim.h"
#include "step.h"

enum measuring_step {
    MEASURE_BARE = 1, /* the hook before the ballast goes on */
    MEASURE_BALLAST,
    MEASURE_TEMPERATURE,
    MEASURE_AIR_TARE,
    MEASURE_BALLAST_DOUBTED, /* it does not weigh what is declared */
    MEASURE_AIR,
    MEASURE_AIR_TARE_AFTER,
    MEASURE_TARE,
    MEASURE_BODY,
    MEASURE_BODY_TARE,
    MEASURE_BODY_CONFIRM, /* the body lies outside its limits: is it weighed again? */
    MEASURE_IMMERSE,
    MEASURE_SHAKE,
    MEASURE_LIFT_OUT,
    MEASURE_TRIAL_DOUBTED, /* does a trial that cannot be so count? */
    MEASURE_OUTLIER,       /* does a trial that lies off the others stay? */
    MEASURE_ASIDE,         /* a quick weighing ends near a line: put it aside? */
    MEASURE_LEVEL,         /* hung by two points */
    MEASURE_LEVEL_TARE,
    MEASURE_DEEP_TARE,
    MEASURE_DEEP,
    MEASURE_DEEP_TARE_AFTER,
    MEASURE_STEPS
};

/* So often a body is hung at most before it is asked about (a choice of ours). */
enum { BODY_READINGS = 3 };

struct measuring {
    struct up_measurement record;
    struct up_measure_plan plan; /* for what is still to be done */
    struct events *events;
    double now_s; /* device time, set before a reading or an answer is handed over */

    struct up_indication tare; /* the latest */
    bool tare_is_stale;        /* the step that it opened was broken off */
    bool lowered;              /* the hanger was lowered: the tare belongs to the second depth */
    struct up_indication hung; /* the latest reading of what hangs, which a tare completes */

    struct up_indication bare; /* the bare hook; not known once the ballast was weighed by it */
    double ballast_kg;         /* what the ballast weighs under water; NaN: not known */

    double body_counts[BODY_READINGS]; /* hung again, where its scatter is not known */
    unsigned body_readings;

    double temp_s;              /* device time of the water's temperature */
    bool temp_lost, temp_typed; /* the lines no longer carry it; it was typed since */

    struct up_trial trial; /* under way */
    double immersed_s;     /* the item, for the first time */
    struct interim interim;
    struct quick quick;   /* of a quick weighing */
    bool has_begun;       /* the stream */
    bool returned;        /* after a break: the next trial is compared with those before */
    bool spread_accepted; /* trials that lie so far apart were kept, asked about */
    unsigned unlike;      /* trials since that were not like those */

    bool air_done, trials_done, level_done, deep_done; /* or skipped */
    char question[sizeof((struct up_ask *)NULL)->text];
};

/* The first step. */
int measuring_begin(struct measuring *measuring, const struct up_measure_plan *plan,
                    struct events *events);
const struct step *measuring_step(int step);
/* What the ask of a step says beside its row. */
void measuring_fill_ask(const struct measuring *measuring, int step, struct up_ask *ask);

/* What follows a reading, an answer without one, or a break, after which the step is repeated. */
int measuring_read(struct measuring *measuring, int step, const struct up_indication *here);
int measuring_answer(struct measuring *measuring, int step, enum up_answer_word word);
int measuring_again(struct measuring *measuring, int step);

/* The stream begins: the tare left by the session before gets its device time. */
void measuring_begin_stream(struct measuring *measuring, double time_s);
/* The water's temperature as a plateau has it, or as a person typed it. */
void measuring_watch_temperature(struct measuring *measuring, double temp_c);
void measuring_type_temperature(struct measuring *measuring, double temp_c);

/* A session goes on long after it was interrupted. */
void measuring_resume(struct measuring *measuring);

struct up_opening measuring_opening(const struct measuring *measuring, double now_s);

/* measure_plan.c */
bool measure_plan_check(const struct up_measure_plan *plan, struct up_failure *failure);

/* A difference to the tares as the record has it: made linear to the calibration. */
struct up_quantity measuring_load(const struct measuring *measuring,
                                  const struct up_indication *after);
double measuring_linear(const struct measuring *measuring, double counts);

/* trial.c: what follows each reading of a trial, and the answer about an outlier. */
/* What a reading after a shake adds to a trial, and the reading of the hanger after it. */
void trial_take_gain(const struct measuring *measuring, const struct up_indication *here,
                     struct up_trial *trial);
void trial_complete(const struct measuring *measuring, const struct up_indication *after,
                    struct up_trial *trial);
/* As many as the trials before this one had; 0: each trial decides for itself. */
unsigned trial_shakes_set(const struct measuring *measuring);
int trial_immersed(struct measuring *measuring, const struct up_indication *here);
int trial_shaken(struct measuring *measuring, const struct up_indication *here);
int trial_lifted_out(struct measuring *measuring, const struct up_indication *here);
int trial_doubted(struct measuring *measuring, enum up_answer_word word);
int trial_outlier(struct measuring *measuring, enum up_answer_word word);

/* quick.c: is what lies near a line put aside, or weighed in full now? */
int quick_aside(struct measuring *measuring, enum up_answer_word word);

/* ballast.c: the bare hook, what the ballast weighs, and whether it holds what hangs. */
int ballast_bare(struct measuring *measuring, const struct up_indication *here);
bool ballast_is_off(struct measuring *measuring, const struct up_indication *here);
int ballast_hung(struct measuring *measuring, const struct up_indication *here);
int ballast_doubted(struct measuring *measuring, enum up_answer_word word);
bool ballast_holds(const struct measuring *measuring, const struct up_indication *here);

/* reference_body.c: a reference body is weighed, skipped, or accepted outside its limits. */
int body_lifted_out(struct measuring *measuring, const struct up_indication *here);
int body_skipped(struct measuring *measuring, enum up_answer_word word);
int body_confirmed(struct measuring *measuring, enum up_answer_word word);
