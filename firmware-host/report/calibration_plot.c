/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The latest calibration of each bench: residuals by mass, as a gnuplot script with its data. */
#include <stdlib.h>
#include <string.h>

#include "embedded.h"
#include "picture.h"
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

struct drawing {
    const struct up_calibration *calibration;
    unsigned number;
    bool trusted, simulated;
};

/* ---- how good it is ---- */

/* A tenth of the usual neutral band and half of it: choices of ours. */
static const double GOOD_G = UP_TOLERANCE_ONE_G / 10, ROUGH_G = UP_TOLERANCE_ONE_G / 2;

static double u_at_span_g(const struct up_calibration *calibration) {
    return up_calibration_expanded_u_kg(calibration, calibration->span_kg) * 1e3;
}

bool up_calibration_is_good(const struct up_calibration *calibration) {
    return u_at_span_g(calibration) <= GOOD_G && !up_calibration_offset_matters(calibration);
}

const char *up_calibration_verdict(const struct up_calibration *calibration) {
    return up_calibration_is_good(calibration)   ? "Good"
           : u_at_span_g(calibration) <= ROUGH_G ? "Rough"
                                                 : "Not good enough to decide what is neutral";
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

static bool put_data(FILE *stream, void *context) {
    const struct drawing *drawing = context;
    const struct up_calibration *calibration = drawing->calibration;
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

/* ---- script ---- */

static char *title_of(const struct drawing *drawing) {
    const struct up_calibration *calibration = drawing->calibration;
    UP_FREED char *clean = name_in_title(calibration->bench, 60);
    return up_text_format("%sCalibration of %s, %.10s%s: %s",
                          drawing->simulated ? UP_SIMULATED : "", clean, calibration->made_utc,
                          drawing->trusted ? "" : ", not adopted here",
                          up_calibration_verdict(calibration));
}

static char *note_of(const struct up_calibration *calibration) {
    UP_FREED char *hysteresis = isnan(calibration->hysteresis_kg)
                                    ? up_text_format("not looked for")
                                    : up_text_format("%.2f g", calibration->hysteresis_kg * 1e3);
    return up_text_format("known to %.1f g at 100 g and %.1f g at %g kg (95 %%)   hysteresis %s",
                          up_calibration_expanded_u_kg(calibration, 0.1) * 1e3,
                          up_calibration_expanded_u_kg(calibration, calibration->span_kg) * 1e3,
                          calibration->span_kg, hysteresis);
}

static void put_variables(FILE *stream, const void *context) {
    const struct drawing *drawing = context;
    fprintf(stream, "unloads = %d\nstairs = %u\n", least_kg(drawing->calibration) < 0,
            drawing->calibration->stairs);
}

static bool write_one(struct drawing *drawing, const struct up_plots *to,
                      struct up_failure *failure) {
    UP_FREED char *name = up_text_format("calibration-%u", drawing->number);
    UP_FREED char *title = title_of(drawing);
    UP_FREED char *note = in_units(&to->style, note_of(drawing->calibration));
    const struct picture picture = {
        .name = name,
        .words = {"Calibration of a bench", title, note,
                  drawing->simulated ? STANDING_SIMULATED "\n" : ""},
        .script = {embedded_calibration_gp, put_data, put_variables, drawing}};
    return picture_write(&picture, to, failure);
}

bool up_plot_write_calibrations(struct up_catalogue *catalogue, const struct up_plots *to,
                                unsigned *count, struct up_failure *failure) {
    struct benches benches = {0};
    UP_FREED struct up_calibration *calibration = up_allocate(1, sizeof *calibration);
    bool good = up_catalogue_each(catalogue, "calibration", take_bench, &benches, failure);
    benches.elsewhere = true; /* a bench of here keeps the name of its file */
    good = good && up_catalogue_each(catalogue, "calibration", take_bench, &benches, failure);
    *count = 0;
    for (unsigned i = 0; good && i < benches.count; i++) {
        struct drawing drawing = {.calibration = calibration, .number = i + 1};
        drawing.simulated = up_bench_is_simulated(catalogue, benches.id[i]);
        good = up_calibration_to_show(catalogue, benches.id[i], calibration, &drawing.trusted,
                                      failure) &&
               write_one(&drawing, to, failure);
        *count += good;
    }
    free(benches.id);
    return good;
}
