/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench/fitness.h"

#include <stdarg.h>
#include <string.h>

#include "ballast.h"
#include "text/text.h"

/* All limits here are choices of ours. A fifth of the neutral band of one piece leaves room for
   everything besides noise. */
static const double GOOD_G = 0.2 * UP_TOLERANCE_ONE_G;
static const double GLITCHES_MOST = 0.02, REFUSED_MOST = 0.02, RATE_OFF_MOST = 0.05;
enum { LEAST_READINGS = 16, LEAST_PAIRS = 8 };

/* sqrt(1 + 1/4 + 1/4): an item less the mean of the tares around it, all equally uncertain. */
static const double WEIGHING = 1.2247448713915890;

static const double WATER_KG_M3 = 1000;

static const double CAPACITY_SHARE = 0.9, WALL_M = 0.05, RISE_M = 0.02;

static void find(struct up_findings *findings, bool good, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void find(struct up_findings *findings, bool good, const char *format, ...) {
    struct up_finding *finding;
    va_list arguments;
    if (findings->count == UP_FINDINGS_MAX) {
        return;
    }
    finding = &findings->list[findings->count++];
    finding->good = good;
    va_start(arguments, format);
    vsnprintf(finding->text, sizeof finding->text, format, arguments);
    va_end(arguments);
}

bool up_findings_are_good(const struct up_findings *findings) {
    bool good = true;
    for (unsigned i = 0; i < findings->count; i++) {
        good = good && findings->list[i].good;
    }
    return good;
}

/* ---- the stream ---- */

/* The scatter of means of so many readings: from that of the longest groups of which there are
   enough, which holds what resembles its neighbours, drifts and sloshes; longer means than those
   are taken to gain as independent ones do. */
static double mean_scatter(const struct up_heard_column *column, double noise, double readings) {
    const struct up_allan *allan = &column->quiet.allan;
    double scatter = noise / sqrt(readings);
    for (int i = 0; i < UP_ALLAN_FACTORS && up_allan_factor(i) <= readings; i++) {
        if (allan->group[i].pairs >= LEAST_PAIRS) {
            scatter = up_allan_deviation(allan, i) * sqrt(up_allan_factor(i) / readings);
        }
    }
    return scatter;
}

/* Where the noise is below the division no mean is better than the division. */
static double plateau_u(const struct up_heard_column *column, double division, double noise,
                        double readings) {
    double step = division / sqrt(12);
    double u = mean_scatter(column, fmax(noise, step), readings);
    return noise < division / 2 ? fmax(u, step) : u;
}

static double stream_rate_hz(const struct up_listening *listening, double heard_s) {
    const struct up_line_rule *line = &listening->rig->line;
    if (line->time_unit_s > 0) {
        return up_listening_rate_hz(listening);
    }
    return line->poll[0] != '\0' || isnan(heard_s) ? line->rate_hz
                                                   : (double)listening->samples / heard_s;
}

static void find_refused_lines(const struct up_listening *listening,
                               const struct up_fitness *fitness, struct up_findings *findings) {
    const struct up_line_rule *line = &listening->rig->line;
    uint64_t stalls = listening->pace.count[UP_PACE_STALL] + listening->pace.count[UP_PACE_RATE];
    find(findings, fitness->refused_share <= REFUSED_MOST, "%.1f %% of %llu lines do not fit",
         100 * fitness->refused_share, (unsigned long long)listening->reader.lines);
    find(findings, fitness->readings >= LEAST_READINGS,
         "%.3g readings a second: %u in a window of %g s, which needs at least %d",
         fitness->rate_hz, fitness->readings, listening->rig->window_s, LEAST_READINGS);
    if (line->time_unit_s == 0 && line->rate_hz > 0) {
        find(findings, fabs(fitness->rate_hz / line->rate_hz - 1) <= RATE_OFF_MOST,
             "rate_hz = %g is the clock; lines came at %.3g Hz", line->rate_hz, fitness->rate_hz);
    }
    if (stalls > 0) {
        find(findings, false, "the lines stalled or changed their rate %llu time%s",
             (unsigned long long)stalls, up_text_plural(stalls));
    }
}

/* A board's name, and the test that it made of itself. */
static void find_words(const struct up_reader *reader, struct up_findings *findings) {
    for (unsigned i = 0; i < UP_NOTES; i++) {
        const char *note = reader->note[i];
        bool well =
            strstr(note, " converter=ok ") != NULL && strstr(note, " thermometer=ok ") != NULL;
        if (strncmp(note, "test ", 5) == 0 || strncmp(note, "board ", 6) == 0) {
            find(findings, note[0] == 'b' || well, "the device says: %s", note);
        }
    }
}

static void find_grams(const struct up_fitness *fitness, struct up_findings *findings) {
    double grams = 2 * fitness->u_weighing_g; /* two digits, but never as a power of ten */
    int decimals = grams >= 9.95 ? 0 : grams >= 0.995 ? 1 : grams >= 0.0995 ? 2 : 3;
    find(findings, 2 * fitness->u_weighing_g <= GOOD_G,
         "fit to weigh with to %.*f g: twice the standard uncertainty of an item less its tares, "
         "from the readings alone; up to %g g will do",
         decimals, 2 * fitness->u_weighing_g, GOOD_G);
}

static void find_noise(const struct up_heard_column *column, const struct up_fitness *fitness,
                       const char *unit, struct up_findings *findings) {
    find(findings, fitness->glitch_share <= GLITCHES_MOST, "%.1f %% of the readings are glitches",
         100 * fitness->glitch_share);
    if (isnan(fitness->noise)) {
        find(findings, false, "too few readings to show their noise");
        return;
    }
    bool repeats = column->filter.count[UP_READING_STUCK] > 0;
    if (fitness->noise < column->filter.noise.floor_least) {
        find(findings, !repeats, "noise of one reading below its smallest step%s",
             repeats ? "; the converter repeats itself" : "");
    } else {
        find(findings, !repeats, "noise of one reading %.3g %s%s", fitness->noise, unit,
             repeats ? "; the converter repeats itself" : "");
    }
    if (isnan(fitness->u_weighing_g)) {
        find(findings, true,
             "standard uncertainty of a plateau %.3g %s; calibrate to know it in grams",
             fitness->u_plateau, unit);
    } else {
        find_grams(fitness, findings);
    }
}

void up_fitness_of_stream(const struct up_listening *listening, double counts_per_kg,
                          double heard_s, struct up_fitness *fitness,
                          struct up_findings *findings) {
    const struct up_rig *rig = listening->rig;
    const struct up_heard_column *column = &listening->column[0];
    bool in_kg = rig->line.load_unit != UP_LOAD_COUNTS;
    double slope = counts_per_kg != 0 ? fabs(counts_per_kg) : in_kg ? 1 : (double)NAN;
    double lines = (double)listening->reader.lines, samples = (double)listening->samples;
    /* a line cut at the beginning or end of listening is not a fault */
    double refused = (double)up_reader_refused(&listening->reader);
    double cut = (double)listening->reader.count[UP_REFUSED_CUT];
    double readings;
    *fitness = (struct up_fitness){.rate_hz = stream_rate_hz(listening, heard_s),
                                   .noise = up_listening_noise(column),
                                   .u_plateau = (double)NAN,
                                   .u_weighing_g = (double)NAN};
    readings = fitness->rate_hz * rig->window_s;
    fitness->readings = isfinite(readings) ? (unsigned)readings : 0;
    fitness->refused_share = lines > 0 ? (refused - cut) / lines : 0;
    fitness->glitch_share = samples > 0 ? (double)column->glitches / samples : 0;
    if (isfinite(fitness->noise) && readings >= 1) {
        fitness->u_plateau = plateau_u(column, rig->division_counts, fitness->noise, readings);
        fitness->u_weighing_g = WEIGHING * fitness->u_plateau / slope * 1e3;
    }
    find_words(&listening->reader, findings);
    find_refused_lines(listening, fitness, findings);
    find_noise(column, fitness, in_kg ? "kg" : "counts", findings);
}

void up_fitness_of_typed(const struct up_rig *rig, struct up_fitness *fitness,
                         struct up_findings *findings) {
    double u_kg = rig->division_counts / sqrt(12);
    *fitness = (struct up_fitness){.rate_hz = (double)NAN,
                                   .noise = (double)NAN,
                                   .u_plateau = u_kg,
                                   .u_weighing_g = WEIGHING * u_kg * 1e3,
                                   .readings = 1};
    find_grams(fitness, findings);
}

void up_fitness_of_keys(const struct up_rig *rig, struct up_findings *findings) {
    unsigned before = findings->count;
    if (rig->capacity_kg == 0) {
        find(findings, true,
             "[sensor] capacity_kg is not set: the most that the scale or cell may carry; an "
             "overload is not noticed");
    }
    if (rig->ballast_kg == 0) {
        find(findings, true,
             "[tank] ballast_kg is not set: the lead under water, weighed dry; whether it hangs is "
             "not checked");
    }
    for (unsigned i = before; i < findings->count; i++) {
        findings->list[i].open = true;
    }
}

/* ---- the gear ---- */

static void find_capacity(const struct up_rig *rig, double mass_kg, struct up_findings *findings) {
    double total_kg = mass_kg + rig->ballast_kg;
    if (rig->capacity_kg == 0) {
        find(findings, false, "set [sensor] capacity_kg, so that an overload is noticed");
        return;
    }
    find(findings, total_kg <= CAPACITY_SHARE * rig->capacity_kg,
         "%.3g kg of gear in air and %.3g kg of ballast on a cell of %g kg: at most %.0f %% of it",
         mass_kg, rig->ballast_kg, rig->capacity_kg, 100 * CAPACITY_SHARE);
}

static void find_ballast(const struct up_rig *rig, double lift_kg, struct up_findings *findings) {
    double needed_kg = ballast_wanted_kg(lift_kg); /* as the procedure judges */
    find(findings, rig->ballast_kg >= needed_kg,
         "a lift of %.3g kg needs %.3g kg of lead as ballast; [tank] ballast_kg is %.3g kg",
         lift_kg, needed_kg, rig->ballast_kg);
}

/* Gear neither floats nor sinks strongly: a kilogram of it takes about a litre. */
static void find_tank(const struct up_rig *rig, const struct up_gear *gear,
                      struct up_findings *findings) {
    double volume_m3 = (gear->mass_kg + gear->lift_kg) / WATER_KG_M3;
    double side_m = sqrt(rig->tank_area_m2);
    if (rig->tank_area_m2 == 0) {
        find(findings, false, "set [tank] area_m2, so that the fit of the gear can be checked");
        return;
    }
    find(findings, volume_m3 / rig->tank_area_m2 <= RISE_M,
         "the gear raises the water by about %.0f mm: at most %.0f mm, so that the line stays as "
         "wet as it was",
         1e3 * volume_m3 / rig->tank_area_m2, 1e3 * RISE_M);
    if (gear->length_m > 0) {
        find(findings, gear->length_m + 2 * WALL_M <= side_m,
             "%.2f m of gear and a hand's breadth at either end in a tank of %.2f m (the side of a "
             "square of its surface): keep it clear of walls, floor and surface",
             gear->length_m, side_m);
    }
}

void up_fitness_for_gear(const struct up_rig *rig, const struct up_gear *gear,
                         struct up_findings *findings) {
    find_capacity(rig, gear->mass_kg, findings);
    find_ballast(rig, gear->lift_kg, findings);
    find_tank(rig, gear, findings);
}
