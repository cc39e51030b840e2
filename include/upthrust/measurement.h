/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What was measured, as plain data: nothing here points anywhere, so a record can be copied, filled
 * by hand or from a stored run. The procedure fills one while a session goes on; the budget, the
 * interim analyses, the check of a reference body and the fit of a calibration read nothing else.
 */
#ifndef UPTHRUST_MEASUREMENT_H
#define UPTHRUST_MEASUREMENT_H

#include <stdbool.h>

#include "upthrust/calibration.h"
#include "upthrust/failure.h"
#include "upthrust/item.h"
#include "upthrust/quantity.h"
#include "upthrust/reference.h"
#include "upthrust/result.h"
#include "upthrust/rig.h"

enum { UP_WATERS_MAX = 16 };

/* A plateau as an indication at one time (VIM 4.1). */
struct up_indication {
    double time_s; /* the middle of its window */
    double step_s; /* when the load came to stand */
    double load, u_load, slope_per_s;
    double decade;       /* rise of the load by a decade of time since its step, over the dwell */
    double s_per_decade; /* so many seconds of a steady drift give the same */
    double temp_c;       /* NaN: the stream has none */
    double late_s;       /* read this much later than the schedule says */
    double early; /* ended early: the load at the full schedule lies within so much of this one */
    bool known;
};

/* ---- an item ---- */

struct up_trial {
    unsigned number;         /* from 1 */
    double load_counts;      /* the last reading less the tares around it, made linear */
    double u_plateau_counts; /* of that difference, from the plateaus' own noise */
    unsigned shakes;
    bool shakes_set; /* as many as the first trial needed: the last gain was not chosen to be small
                      */
    double gain_counts[UP_TRIAL_SHAKES_MAX]; /* heavier after each shake, by this */
    double last_gain_counts, u_gain_counts;
    double last_gain_s; /* between its two readings */
    /* Mean slope of its readings in water, and that of the tare after it, each with its time after
       the step of the load; 0 s: not known. */
    double water_slope_counts_s, water_age_s, tare_slope_counts_s, tare_age_s;
    double tare_change_counts; /* from the tare before to the one after */
    double soak_s, temp_c;
    double late_s; /* the last reading was taken so much later than the schedule says */
    /* Readings that ended early: load and last gain by the full schedule lie within so much. */
    double early_counts, early_gain_counts;
    /* Of a full weighing: so many readings before the last two ended early, and the air that all
       shakes freed lies within so much. */
    unsigned ended_early;
    double early_freed_counts;
    bool still_gaining; /* shakes_max reached and the last gain was not noise */
    bool left_out;      /* of the mean, by the operator's word; the trial itself is kept */
};

/* A quick weighing: at most so many analyses, at one boundary in standard uncertainties, of the
   class on one side and of the interval on both. */
enum { UP_QUICK_ANALYSES = 5 };

struct up_quick_rule {
    bool on;
    double bound_one, bound_two;
    unsigned analysis;              /* that was made last, from 1 */
    unsigned readings, ended_early; /* of the item and of the hanger after it; of those so many */
    double mass_kg, u_mass_kg;      /* dry, by another scale; 0: not told */
};

struct up_measurement {
    /* What was known before. Of the rig the budget reads: air, tank_water, u_thermometer_k,
       division_counts, shake_share, stuck_share, meniscus_kg, item_temp_halfwidth_k,
       cord_diameter_m, tank_area_m2, depth_m, gravity_m_s2, read_after_s, window_s. */
    struct up_rig rig;
    struct up_calibration calibration;
    struct up_item item;
    char run_id[UP_ID_SIZE];
    struct up_quantity kind_repeatability_kg; /* u: standard deviation of a trial; its dof; u 0: not
                                                 learned */
    double kind_shake_share; /* a shake frees this share of the air at least; 0: not learned */
    /* What is set for the kind: of its air at most this share stays through all shakes, 0: as the
       rig says; and beside it this lift, whatever shaking frees. */
    double kind_stuck_share, kind_stuck_kg;
    struct up_reference_plan
        reference[UP_REFERENCES_MAX]; /* reference bodies, in the order weighed */
    unsigned references;

    /* What is asked of it. */
    struct up_water water[UP_WATERS_MAX]; /* beside the tank's own */
    unsigned waters;
    double confidence, coverage;
    unsigned analyses;  /* interim analyses, at each of which a class may be stated; 0 is 1 */
    unsigned draws;     /* of the Monte Carlo; 0: as many as it takes */
    unsigned long seed; /* of its draws; 0 for 1 */
    bool under_way;     /* more trials follow: what they would decide is not computed */
    struct up_quick_rule quick;

    /* What was measured: loads are differences to the tares around them, made linear; u is that of
       the plateaus' own noise. A load of NaN was not read. */
    double water_temp_c;           /* the latest; where there are trials their mean counts */
    struct up_quantity air_counts; /* the dry weighing */
    struct up_trial trial[UP_TRIALS_MAX];
    unsigned trials;
    struct up_quantity level_counts; /* one end on the hook, the other on a fixed line */
    double two_point_m;              /* between the two */
    struct up_quantity deep_counts;  /* at the second depth */
    double second_depth_m;
    struct up_filling filling;
    struct up_reference_check check[UP_REFERENCES_MAX];
    unsigned checks;
};

/* Trials that count: not left out. */
unsigned up_measurement_trials(const struct up_measurement *measurement);

/* One result a water, the tank's first; the array is the caller's, of `waters` + 1.
   UP_STATUS_UNABLE below two trials (one where the kind's repeatability is known) and where the
   budget gives no interval. Other waters are left out (*results is then 1) for an item that was not
   weighed in air, and for a compressible one at any temperature, depth or pressure but those of the
   tank. */
bool up_measurement_results(const struct up_measurement *measurement, struct up_result *result,
                            unsigned *results, struct up_failure *failure);

/* The same for a quick weighing. Each result has the bounds in its `quick`, its interval in
   `answer`: where nothing was shaken only the upper end holds. */
bool up_measurement_quick_results(const struct up_measurement *measurement,
                                  struct up_result *result, unsigned *results,
                                  struct up_failure *failure);

/* A reference body that was read under water with this load: what it reads beside what is known of
   it. Of the record: rig, calibration and the water's temperature. */
void up_measurement_check(const struct up_measurement *measurement,
                          const struct up_reference_plan *body, struct up_quantity load_counts,
                          struct up_reference_check *check);

/* ---- a calibration ---- */

struct up_loadings {
    /* Of the rig the fit reads: id, sha256, air, division_counts, mass_class, mass_tolerance_rel,
       read_after_s, window_s. */
    struct up_rig rig;
    double noise_counts;  /* noise floor of one reading; NaN: the readings were typed */
    bool preloaded;       /* the cell was exercised first */
    bool offset_accepted; /* somebody looked: an offset beyond chance is the cell's own */
    struct up_calibration_history history;
    unsigned points;
    struct up_calibration_point point[UP_CALIBRATION_POINTS_MAX]; /* all but the residual */
    double
        tare_change[UP_CALIBRATION_POINTS_MAX]; /* from the tare before to the one after, counts */
    double tare_span_s[UP_CALIBRATION_POINTS_MAX]; /* between the two; 0: not known */
    double decade[UP_CALIBRATION_POINTS_MAX];      /* of each mass's creep, drift taken off */
    double at_reading[UP_CALIBRATION_POINTS_MAX];  /* the same by the slope of the reading alone */

    /* The staircase, where stair_end is known: all different masses, rising; it goes up and down.
     */
    double stair_kg[UP_CALIBRATION_POINTS_MAX];
    unsigned stair_masses, stairs; /* stairs read */
    struct up_indication stair[UP_STAIRS_MAX];
    struct up_indication stair_begin, stair_end; /* the empty hanger around them */
};

/* UP_STATUS_UNABLE where the points carry no sound slope. */
bool up_calibration_fit(const struct up_loadings *loadings, struct up_calibration *calibration,
                        struct up_failure *failure);

/* Known masses read by an earlier calibration: is it one of this cell? */
struct up_known_mass {
    double mass_kg, reading_kg; /* of the mass that is off most; taken off: negative */
    double bound_kg;            /* how far apart they may be: expanded uncertainties (k = 2) of
                                   calibration and readings, and the mass's own tolerance */
    bool heavy_enough;          /* a quarter of the calibration's span at least: a light mass says
                                   nothing about the slope */
    bool masses_enough;         /* two, one of at most half the other, where the calibration has a
                                   bend or two slopes */
    bool agrees;                /* each mass within its bound, a hundredth of it at most */
};
/* The uncertainty of the rig's masses is in the loadings' rig. None were read: does not agree. */
struct up_known_mass up_calibration_known_mass(const struct up_calibration *calibration,
                                               const struct up_loadings *loadings);

#endif
