/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the budget of an item and the check of a reference body share. */
#pragma once

#include "upthrust/measurement.h"

/* The mass that a difference to the tare, made linear, stands for: less the offset. */
double reads_kg(const struct up_calibration *calibration, double linear_counts);
double lightest_kg(const struct up_calibration *calibration);
/* Standard deviation of one loading of this size. */
double u_loading_kg(const struct up_calibration *calibration, double load_kg);

/* Something that goes on during a reading: its rate, and what it amounts to at the readings, with
   standard uncertainties; significant where neither chance nor creep explains it. */
struct unsteady {
    struct up_quantity rate_kg_s;
    double lift_kg, u_kg;
    bool significant;
};
struct unsteady find_bubbles(const struct up_measurement *measurement);
struct unsteady find_drips(const struct up_measurement *measurement);

struct up_water tank_water(const struct up_measurement *measurement);
/* Standard uncertainties of any reading in the water: of lack of fit, offset and loop,
   kg; relative to the
   load, of the cell's temperature since the calibration, creep and swing. */
double u_straightness_kg(const struct up_calibration *calibration, double load_kg);
double u_reading_rel(const struct up_measurement *measurement, double load_counts);

struct up_term normal(double value, double u);
struct up_term rectangular(double value, double halfwidth);

/* Terms that the calibration leaves with a load, for calibration_terms.c's reasons. */
bool is_typed(const struct up_calibration *calibration);
bool is_matched(const struct up_calibration *calibration, bool unloads);
double hysteresis_unseen_kg(const struct up_calibration *calibration, double load_kg);
struct up_term hysteresis(const struct up_calibration *calibration, double load_kg);
struct up_term lack_of_fit(const struct up_calibration *calibration, double load_kg);
struct up_term offset(const struct up_calibration *calibration, double load_kg);
double u_slope_counts_per_kg(const struct up_calibration *calibration);
