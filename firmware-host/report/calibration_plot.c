/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The latest calibration of each bench: residuals by mass, as a gnuplot script with its data. */
#include <stdlib.h>
#include <string.h>

#include "data_row.h"
#include "embedded.h"
#include "report/report.h"
#include "text/text.h"

/* The kinds of rows that the template distinguishes. */
enum { BAND, HUNG, TAKEN_OFF, RISING, FALLING, WAY_DOWN };

/* The bars hold this many standard uncertainties of the reading, which is known no better than the
   scale's steps round it and its tare. */
static double bar_g(const struct up_calibration *calibration, double u_counts) {
    static const double BARS = 2;
    double u = fmax(u_counts, calibration->division_counts / sqrt(6));
    return BARS * 1e3 * u / fabs(calibration->slope_counts_per_kg);
}

/* ---- which benches ---- */

struct benches {
    char (*id)[UP_NAME_SIZE];
    unsigned count;
    bool elsewhere; /* those of guests are taken now */
};

static bool take_bench(const struct up_record *record, void *context) {
    struct benches *benches = context;
    if (record->elsewhere != benches->elsewhere) {
        return true;
    }
    for (unsigned i = 0; i < benches->count; i++) {
        if (strcmp(benches->id[i], record->bench) == 0) {
            return true;
        }
    }
    benches->id = up_reallocate(benches->id, benches->count + 1, sizeof *benches->id);
    memcpy(benches->id[benches->count++], record->bench, sizeof *benches->id);
    return true;
}

/* ---- data: numbers only ---- */

static double least_kg(const struct up_calibration *calibration) {
    double least = 0;
    for (unsigned i = 0; i < calibration->points; i++) {
        least = fmin(least, calibration->point[i].mass_kg);
    }
    return least;
}

static void put_band(FILE *stream, const struct up_calibration *calibration) {
    double masses_kg[] = {least_kg(calibration), 0, calibration->span_kg};
    for (size_t i = 0; i < sizeof masses_kg / sizeof masses_kg[0]; i++) {
        double mass_g = masses_kg[i] * 1e3;
        put_data_row(stream, BAND, mass_g, fabs(mass_g) * calibration->mass_tolerance_rel, 0);
    }
}

static bool write_data(FILE *stream, void *context) {
    const struct up_calibration *calibration = context;
    fputs("# kind: 0 tolerance of the masses, 1 hung, 2 taken off, 3 staircase rising, 4 falling, "
          "5 the "
          "line of those\n"
          "# kind\tmass_g\tresidual_g\ttwice_u_g\n",
          stream);
    put_band(stream, calibration);
    for (unsigned i = 0; i < calibration->points; i++) {
        const struct up_calibration_point *point = &calibration->point[i];
        put_data_row(stream, point->mass_kg < 0 ? TAKEN_OFF : HUNG, point->mass_kg * 1e3,
                     point->residual_g, bar_g(calibration, point->u_plateau_counts));
    }
    for (unsigned i = 0; i < calibration->stairs; i++) {
        const struct up_stair *stair = &calibration->stair[i];
        put_data_row(stream, stair->falling ? FALLING : RISING, stair->mass_kg * 1e3,
                     stair->residual_g, bar_g(calibration, stair->u_plateau_counts));
    }
    for (unsigned i = calibration->stairs / 2; i < calibration->stairs; i++) {
        const struct up_stair *stair = &calibration->stair[i]; /* from the top, which is rising */
        put_data_row(stream, WAY_DOWN, stair->mass_kg * 1e3, stair->residual_g, 0);
    }
    return ferror(stream) == 0;
}

/* ---- script: our template behind the few lines that differ ---- */

struct drawing {
    const struct up_calibration *calibration;
    unsigned number;
    bool trusted, simulated;
};

static char *title_of(const struct drawing *drawing) {
    const struct up_calibration *calibration = drawing->calibration;
    UP_FREED char *clean = name_in_title(calibration->bench, 60);
    UP_FREED char *hysteresis = isnan(calibration->hysteresis_kg)
                                    ? up_text_format("not looked for")
                                    : up_text_format("%.2f g", calibration->hysteresis_kg * 1e3);
    return up_text_format("%sCalibration of %s, %.10s%s: hysteresis %s",
                          drawing->simulated ? UP_SIMULATED : "", clean, calibration->made_utc,
                          drawing->trusted ? "" : ", not adopted here", hysteresis);
}

static bool write_script(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    UP_FREED char *title = title_of(drawing);
    UP_FREED char *escaped = up_text_for_gnuplot(title);
    fprintf(
        stream,
        "# Calibration of a bench, by upthrust. Draws again with: gnuplot -d calibration-%u.gp\n"
        "set encoding utf8\ndata = 'calibration-%u.tsv'\npicture = 'calibration-%u'\n"
        "set title %s noenhanced\nunloads = %d\nstairs = %u\n",
        drawing->number, drawing->number, drawing->number, escaped,
        least_kg(drawing->calibration) < 0, drawing->calibration->stairs);
    fputs(embedded_calibration_gp, stream);
    return ferror(stream) == 0;
}

static bool write_one(struct up_calibration *calibration, unsigned number, bool trusted,
                      bool simulated, const char *directory, struct up_failure *failure) {
    struct drawing drawing = {calibration, number, trusted, simulated};
    UP_FREED char *script = up_text_format("%s/calibration-%u.gp", directory, number);
    UP_FREED char *data = up_text_format("%s/calibration-%u.tsv", directory, number);
    return up_text_write_file(data, write_data, calibration, failure) &&
           up_text_write_file(script, write_script, &drawing, failure);
}

bool up_plot_write_calibrations(struct up_catalogue *catalogue, const char *directory,
                                unsigned *count, struct up_failure *failure) {
    struct benches benches = {0};
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good = up_catalogue_each(catalogue, "calibration", take_bench, &benches, failure);
    benches.elsewhere = true; /* a bench of here keeps the name of its file */
    good = good && up_catalogue_each(catalogue, "calibration", take_bench, &benches, failure);
    *count = 0;
    for (unsigned i = 0; good && i < benches.count; i++) {
        bool trusted = false;
        good = up_calibration_to_show(catalogue, benches.id[i], calibration, &trusted, failure) &&
               write_one(calibration, i + 1, trusted,
                         up_bench_is_simulated(catalogue, benches.id[i]), directory, failure);
        *count += good;
    }
    free(benches.id);
    return good;
}
