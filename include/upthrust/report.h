/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What people look at: the latest results of a catalogue as a table, and as a gnuplot script with
 * its data that draws again wherever its folder is carried.
 */
#ifndef UPTHRUST_REPORT_H
#define UPTHRUST_REPORT_H

#include <stdio.h>

#include "upthrust/catalogue.h"

/* The latest result of one item in one water. */
struct up_row {
    char item_id[UP_ID_SIZE];
    char name[UP_NAME_SIZE]; /* raw: escape it for where it goes */
    char water[48];
    bool measured;
    double buoyancy_g, expanded_u_g, tolerance_g;
    double water_temp_c;
    char class[16];
};

struct up_rows {
    struct up_row *row;
    size_t count;
};

/* Rows by falling net buoyancy in fresh water (the tank's where that is lacking), each item's rows
   together. The caller releases them. */
bool up_rows_load(struct up_catalogue *catalogue, struct up_rows *rows, struct up_failure *failure);
void up_rows_release(struct up_rows *rows);

/* Aligned columns for a terminal. */
void up_rows_print(const struct up_rows *rows, FILE *stream);
/* One result, told in words: class, grams, interval, what it hangs on. */
void up_result_print(const struct up_result *result, FILE *stream);

/* Writes items.gp and items.tsv into `directory`. UP_STATUS_UNABLE where there are no rows. */
bool up_plot_write(const struct up_rows *rows, const char *directory, struct up_failure *failure);

/* Runs `gnuplot -d items.gp` there, which makes items.svg and items.png. */
bool up_plot_draw(const char *directory, struct up_failure *failure);

/* The latest calibration of each bench, in the order in which the benches were first calibrated:
   calibration-1.gp and .tsv and so on. *count: how many; none is no failure. */
bool up_plot_write_calibrations(struct up_catalogue *catalogue, const char *directory,
                                unsigned *count, struct up_failure *failure);
/* Draws them, as calibration-1.svg and .png and so on. */
bool up_plot_draw_calibrations(const char *directory, unsigned count, struct up_failure *failure);

#endif
