/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of bench/ share and nobody else needs. */
#ifndef UPTHRUST_BENCH_INTERNAL_H
#define UPTHRUST_BENCH_INTERNAL_H

#include "upthrust/procedure.h"

enum { EVENTS_MAX = 8, BROKEN_MAX = 3 };

/* What the procedure is about to read or has asked for. */
enum step {
    STEP_BALLAST,
    STEP_TEMPERATURE,
    STEP_PRELOAD,
    STEP_MASS,
    STEP_HUNG_TARE, /* a mass hangs, to be taken off */
    STEP_UNLOAD,
    STEP_STAIR,
    STEP_STAIR_END,
    STEP_AIR_TARE,
    STEP_AIR,
    STEP_AIR_TARE_AFTER,
    STEP_TARE,
    STEP_IMMERSE,
    STEP_SHAKE,
    STEP_LIFT,
    STEP_OUTLIER, /* does a trial that lies off the others stay? */
    STEP_REFERENCE,
    STEP_REFERENCE_TARE,
    STEP_REFERENCE_CONFIRM, /* the body lies outside its limits: go on all the same? */
    STEP_LEVEL,             /* hung by two points */
    STEP_LEVEL_TARE,
    STEP_DEEP_TARE,
    STEP_DEEP,
    STEP_DEEP_TARE_AFTER,
};

enum stage { STAGE_ASKING, STAGE_READING, STAGE_FINISHED };

struct up_procedure {
    bool calibrating;
    struct up_calibrate_plan calibrate;
    struct up_measure_plan measure;
    const struct up_rig *rig; /* that of the record */

    /* the record: what was measured */
    struct up_measurement measurement;
    struct up_loadings loadings;

    /* the stream */
    struct up_glitch_filter filter;
    struct up_pace pace;
    double arrival_s;        /* host time of the lines that are being fed; 0: nobody tells */
    struct up_reading *held; /* since the open or last ask */
    size_t held_count, held_room;
    double now_s;
    bool has_time; /* a sample has come */
    double live_load;
    bool overloaded;   /* and told so */
    bool stall_spoilt; /* a reading; the burst that follows it spoils no other */
    bool temp_lost;    /* the lines tell it no more; cleared when somebody was asked for it */
    bool temp_told;    /* ... and is asked no more, until the lines tell it again */

    /* where we are */
    enum stage stage;
    enum step step;
    struct up_ask ask;
    unsigned last_id;
    double typed_kg; /* the reading that was just typed */
    double done_s;   /* device time when the operator had done it */
    double late_s;   /* the reading window has been put off by this much */
    double rest_s;   /* and by this much, for the cell to rest */
    bool returned;   /* after a break: the next trial is compared with those before */
    unsigned unlike; /* trials since that were not like those */
    unsigned broken; /* steps in a row that had to be repeated */
    bool stopped, gave_up;

    struct up_event event[EVENTS_MAX];
    unsigned events;

    struct up_indication tare, last; /* the latest tare, the latest plateau of any kind */

    /* calibration */
    unsigned mass_index;
    double tare_kg; /* what hung at the latest tare */
    struct up_indication mass;

    /* measuring */
    struct up_indication air_tare, air;
    struct up_trial now;        /* under way */
    struct up_indication water; /* its latest reading */
    double immersed_s, first_immersed_s;
    unsigned looks;            /* taken */
    bool decided;              /* no more trials */
    unsigned asked_outliers;   /* trials so far when an outlier was last asked about */
    unsigned suspect;          /* index of the trial that is asked about */
    struct up_indication side; /* the reading of a body, of two points, or at the second depth */
    struct up_indication deep_tare;
    bool level_done, deep_done; /* or skipped */
};

/* plateau.c */
/* Standard uncertainty of a mean of readings with this lag-1 autocorrelation. */
double mean_uncertainty(double sd, double lag1, size_t count);
/* Fills unrest too. */
bool is_settled(struct up_plateau *plateau, double noise_floor, double creep_allowance);

/* measuring.c */
void measure_read(struct up_procedure *procedure, const struct up_plateau *plateau);
void measure_after(struct up_procedure *procedure, enum up_answer_word word);
void measure_break(struct up_procedure *procedure);
/* What lead weighs in water, and how much of it holds down a lift with room to spare. */
double ballast_holds_kg(double lead_kg);
double ballast_wanted_kg(double lift_kg);

/* Whatever is still to be done: bodies, trials, the second depth, two points; the hanger is empty
   and its tare fresh. */
void go_on(struct up_procedure *procedure);
double counts_per_kg(const struct up_procedure *procedure);
/* A difference to the tare, ready for division by the slope. */
double linear(const struct up_procedure *procedure, double counts);

/* interim.c */
/* A trial is closed: is one of them an outlier, is all decided, were there enough? False where a
   question was asked. */
bool look_at_trials(struct up_procedure *procedure);
void ask_about_outlier(struct up_procedure *procedure);
void answer_outlier(struct up_procedure *procedure, enum up_answer_word word);
bool has_thermometer(const struct up_line_rule *line);

/* references.c */
void close_reference(struct up_procedure *procedure, const struct up_indication *after);
void answer_reference(struct up_procedure *procedure, enum up_answer_word word);

/* results.c */
struct up_water tank_water(const struct up_measurement *measurement);
/* Standard uncertainties of any reading in the water: of lack of fit and loop, kg; relative to the
   load, of the cell's temperature since the calibration, creep and swing. */
double u_straightness_kg(const struct up_calibration *calibration, double load_kg);
double u_reading_rel(const struct up_measurement *measurement, double load_counts);

/* calibrating.c */
void calibrate_read(struct up_procedure *procedure, const struct up_plateau *plateau);
void calibrate_skip(struct up_procedure *procedure);
void calibrate_break(struct up_procedure *procedure);
/* What is to hang for the open step; 0 where nothing is. */
double calibrate_mass_kg(const struct up_procedure *procedure);

/* staircase.c */
void begin_stairs(struct up_procedure *procedure);
void fill_stairs(const struct up_loadings *loadings, struct up_calibration *calibration);

/* procedure.c */
void ask_step(struct up_procedure *procedure, enum step step);
/* The same in words of its own; `text` is copied. */
void ask_saying(struct up_procedure *procedure, enum step step, const char *text);
void finish(struct up_procedure *procedure);
void push_fault(struct up_procedure *procedure, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void push_note(struct up_procedure *procedure, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
struct up_event *push_event(struct up_procedure *procedure, enum up_event_kind kind);
/* A plateau that was found elsewhere, for the open ask, late_s of the procedure after its time.
   Where it has not settled, the ask stays as it is and late_s grows, or the step is broken off. The
   truth test, which has no samples, comes in here. */
void offer_plateau(struct up_procedure *procedure, struct up_plateau *plateau, double noise_floor);
struct up_indication point_of(const struct up_plateau *plateau);
/* The tares' mean at a time between them, weighted by time; u in *u_load. */
double tare_at(const struct up_indication *before, const struct up_indication *after, double time_s,
               double *u_load);

#endif
