/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a calibration of the bench with known masses yields (VIM 2.39): counts a kilogram with
 * uncertainty, and how well a straight line describes the points. Made by bench/, kept by
 * catalogue/.
 *
 * Each point is a loading: a mass hung on the item's schedule (tare, mass, tare; read the same time
 * after the step), as a difference from the time-weighted mean of the tares around it. Differences
 * have no offset, so the model is proportional: counts = slope * mass. A fit with an offset is made
 * beside it to show whether the bench really behaves so.
 */
#ifndef UPTHRUST_CALIBRATION_H
#define UPTHRUST_CALIBRATION_H

#include "upthrust/item.h"

enum { UP_CALIBRATION_POINTS_MAX = 64 };

struct up_calibration_point {
    double mass_kg;          /* conventional mass, OIML R 111: density 8000 kg/m3 */
    double load_counts;      /* difference to the tares */
    double u_plateau_counts; /* standard uncertainty of the plateau's mean */
    double residual_g;       /* load_counts / slope - mass */
};

struct up_calibration {
    char id[UP_ID_SIZE];                            /* set when stored */
    char bench[UP_NAME_SIZE];                       /* the rig's id */
    char rig_sha256[UP_SHA256_SIZE];                /* of the rig's line and sensor sections */
    char made_utc[UP_TIME_SIZE];                    /* set when stored */
    double slope_counts_kg, u_slope_counts_kg, dof; /* from the fit */
    double mass_tolerance_rel; /* half-width; the masses of one set taken as fully correlated */
    double lack_of_fit_kg;     /* standard deviation of the points about the line that the
                                  plateaus' own noise does not explain */
    double offset_counts, u_offset_counts; /* of the fit with offset: should hold zero */
    double creep_rel_decade;       /* reading's change per decade of time after the step, as a share
                                      of the load; seen on the heaviest mass, sign kept */
    double noise_counts;           /* noise floor of one reading */
    double air_density_kg_m3;      /* while calibrating */
    double read_after_s, window_s; /* the schedule: measuring must use the same */
    double span_kg;                /* largest mass */
    unsigned points;
    struct up_calibration_point point[UP_CALIBRATION_POINTS_MAX];
};

#endif
