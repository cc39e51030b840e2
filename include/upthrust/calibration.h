/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a calibration of the bench with known masses yields (VIM 2.39): counts a kilogram with
 * uncertainty, and how well a straight line describes the points. Made by bench/, kept by
 * catalogue/.
 *
 * Each point is a loading: a mass hung on the item's schedule (tare, mass, tare; read the same time
 * after the step), as a difference from the time-weighted mean of the tares around it; or an
 * unloading, where the mass hangs as the tare and is removed, recorded as a negative mass.
 * Differences have no offset, so the model is proportional: counts = slope * mass. A fit with an
 * offset is made beside it to show whether the bench really behaves so. Where the points demand it,
 * unloading has a slope of its own, and the line bends:
 *
 *   counts = slope * mass + quadratic * mass * mass    (mass as a difference to the tare)
 *
 * The staircase then adds the masses one after the other and removes them again: the difference of
 * a reading between loading and unloading is the hysteresis.
 */
#ifndef UPTHRUST_CALIBRATION_H
#define UPTHRUST_CALIBRATION_H

#include <stdbool.h>

#include "upthrust/item.h"

enum { UP_CALIBRATION_POINTS_MAX = 64, UP_STAIRS_MAX = 2 * UP_CALIBRATION_POINTS_MAX };

struct up_calibration_point {
    double mass_kg;          /* conventional mass, OIML R 111: density 8000 kg/m3; negative: taken
                                off */
    double load_counts;      /* difference to the tares; read late: as it would have been on time */
    double u_plateau_counts; /* standard uncertainty of the plateau's mean */
    double residual_g;       /* of the line that measuring uses, less the mass */
    double late_s;           /* read this much later than the schedule says */
};

struct up_stair {
    double mass_kg; /* all that hangs */
    bool falling;
    double load_counts; /* less the empty hanger's; zero drift taken off */
    double u_plateau_counts;
    double residual_g;   /* of the straight line through the empty hanger and the top */
    double hysteresis_g; /* falling: this reading less the rising one of the same mass; else NaN */
};

struct up_calibration {
    char id[UP_ID_SIZE];             /* set when stored */
    char bench[UP_NAME_SIZE];        /* the rig's id */
    char rig_sha256[UP_SHA256_SIZE]; /* of the rig's line and sensor sections */
    char made_utc[UP_TIME_SIZE];     /* set when stored */
    double slope_counts_per_kg, u_slope_counts_per_kg, dof; /* from the fit */
    /* Where the directions differ by more than chance; NaN: one slope serves both. */
    double unloading_slope_counts_per_kg, u_unloading_slope_counts_per_kg;
    double quadratic_counts_per_kg2;       /* 0 where a straight line does */
    double quadratic_f, quadratic_f_limit; /* F test (99 %); NaN: too few points for one */
    double mass_tolerance_rel; /* half-width; the masses of one set taken as fully correlated */
    double lack_of_fit_kg;     /* standard deviation of the masses' means about the line that the
                                  scatter of loadings does not explain; for their root mean square,
                                  in proportion to the load */
    /* One loading scatters by u^2 = scatter_kg^2 + (scatter_rel L)^2; NaN: made before that was
       recorded. The share is pooled with earlier calibrations of the bench; own: of its replicates.
 */
    double scatter_kg, scatter_rel, own_scatter_rel, own_scatter_dof;
    double hysteresis_kg; /* largest difference of falling and rising; NaN: not looked for */
    double offset_counts, u_offset_counts; /* of the fit with offset: should hold zero */
    double offset_taken; /* 1: it does not, and somebody said that it is the cell's own: each load,
                            either way, reads larger by it, and the slope is that of the line with
                            it; else 0, or NaN before it was recorded */
    double creep_rel_decade;       /* reading's change per decade of time after the step, as a share
                                      of the load; over all dwells, sign kept */
    double creep_at_reading;       /* the same while it is read; NaN: made before it was recorded */
    double u_creep_rel_decade;     /* NaN: made before it was recorded */
    double creep_is_known;         /* 1: beyond chance (99 %), so it is used; 0; NaN as above */
    double noise_counts;           /* noise floor of one reading */
    double division_counts;        /* smallest step of a reading; NaN: made before it was recorded
                                    */
    double air_density_kg_m3;      /* while calibrating */
    double temp_c;                 /* of the air, and so of the cell; NaN: not known */
    double read_after_s, window_s; /* the schedule: measuring must use the same */
    double span_kg;                /* largest mass */
    double preloaded;              /* 1: the cell was exercised first; 0; NaN: not known */
    char mass_class[8];            /* OIML R 111: "M1"; "": a tolerance was given */
    unsigned points, stairs;
    struct up_calibration_point point[UP_CALIBRATION_POINTS_MAX];
    struct up_stair stair[UP_STAIRS_MAX];
};

/* What earlier calibrations of this bench, as its rig file is now, have shown; dof 0: too few. */
struct up_calibration_history {
    double scatter_rel, scatter_dof; /* of loadings of one mass, in proportion to it, pooled */
    double slope_rel, slope_dof;     /* standard deviation of the slope from one to another */
};

/* A difference to the tare as the straight line of slope_counts_per_kg would read it: the slope of
   its direction and the bend are taken into account here and nowhere else. */
double up_calibration_linear_counts(const struct up_calibration *calibration, double counts);

/* What a calibration alone leaves open about a load: slope, masses, lack of fit and hysteresis, as
   a half-width of coverage factor 2. Trials, trapped air, water and creep add theirs. */
double up_calibration_expanded_u_kg(const struct up_calibration *calibration, double load_kg);

/* Whether the fit with an offset departs from no offset by more than chance (Student t, 99 %) and
   by so much that who looks for it would see it: more than the expanded uncertainty (k = 2) of one
   weighing of the lightest mass. A touching line, friction, a wrong mass. */
bool up_calibration_offset_matters(const struct up_calibration *calibration);

/* What no more than rounding to the division explains (F test, 99 %), so that it points to no
   fault. A load is a difference of two rounded readings: u = division / sqrt(6) (GUM F.2.2.1). */
struct up_rounding {
    bool lack_of_fit, offset, hysteresis;
};
struct up_rounding up_calibration_rounding(const struct up_calibration *calibration);

#endif
