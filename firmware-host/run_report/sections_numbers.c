/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The numbers that a result rests on: trials, calibration, budget. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/claim.h"
#include "report/card.h"
#include "report/explain_quick.h"
#include "run_report/sections.h"
#include "text/text.h"

/* ---- cells ---- */

static char *known(double value, char *text) {
    char *set = isfinite(value) ? up_typeset(up_text_format("%s", text)) : up_text_format("–");
    free(text);
    return set;
}

/* With so many decimals, or so many digits; a dash where it is not known. */
static char *fixed(double value, int decimals) {
    return known(value, up_text_format("%.*f", decimals, value));
}
static char *with_sign(double value, int decimals) {
    return known(value, up_text_format("%+.*f", decimals, value));
}
static char *digits(double value, int count) {
    return known(value, up_text_format("%.*g", count, value));
}
static char *words(const char *text) {
    return up_text_format("%s", text);
}

static void put_row(struct paper_table *table, char **cell) {
    paper_row(table, (const char *const *)cell);
    for (int i = 0; i < table->columns; i++) {
        free(cell[i]);
    }
}

/* Grams in the unit of the style; a digit more where it is larger. */
static char *mass(const struct up_style *style, double mass_g, int decimals) {
    return fixed(up_style_in_unit(style, mass_g), decimals + style->imperial);
}
static char *signed_mass(const struct up_style *style, double mass_g, int decimals) {
    return with_sign(up_style_in_unit(style, mass_g), decimals + style->imperial);
}

/* "Weight in water, g" */
static char *headed(const char *words, const struct up_style *style) {
    return up_text_format("%s, %s", words, up_style_unit(style));
}

static double number(const json_t *json, const char *key) {
    return up_record_number(json, key);
}

/* ---- trials ---- */

/* Pages of what each shake freed would help nobody: the last one says whether it was done. */
static double last_gain_g(const json_t *trial, double counts_per_g) {
    const json_t *gains = json_object_get(trial, "gain_counts");
    const json_t *last = json_array_get(gains, json_array_size(gains) - 1);
    return json_is_number(last) ? json_number_value(last) / counts_per_g : (double)NAN;
}

void sections_put_trials(struct paper *paper, const struct facts *facts,
                         const struct up_style *style) {
    UP_FREED char *weight = headed("Weight in water", style),
                  *freed = headed("The last freed", style);
    const struct paper_column column[] = {{"Trial", 0.1, true},
                                          {weight, 0.2, true},
                                          {"Shakes", 0.1, true},
                                          {freed, 0.18, true},
                                          {"Min under water", 0.18, true},
                                          {style->imperial ? "Water, °F" : "Water, °C", 0.13, true},
                                          {"", 0.11, false}};
    const json_t *trial, *chain = json_object_get(facts->result[0], "chain");
    double counts_per_g = number(chain, "slope_counts_kg") / 1000;
    struct paper_table table = {paper, column, sizeof column / sizeof column[0]};
    size_t i;
    paper_heading(paper, "Trials");
    paper_table(&table);
    json_array_foreach(json_object_get(facts->result[0], "trials"), i, trial) {
        bool left_out = json_is_true(json_object_get(trial, "left_out"));
        double temp_c = number(trial, "temp_c");
        char *cell[] = {fixed(number(trial, "number"), 0),
                        signed_mass(style, number(trial, "linear_counts") / counts_per_g, 2),
                        fixed(number(trial, "shakes"), 0),
                        signed_mass(style, last_gain_g(trial, counts_per_g), 2),
                        fixed(number(trial, "soak_s") / 60, 1),
                        fixed(style->imperial ? temp_c * 1.8 + 32 : temp_c, 2),
                        words(left_out ? "left out" : "")};
        put_row(&table, cell);
    }
    paper_text(paper, "Weight in water: the reading less that of the empty hanger before and after "
                      "it, divided by the slope of the calibration; what floats has a minus.");
}

/* ---- calibration ---- */

/* "0.5, 1, 2, 4 kg": each once, in the order in which they were hung. */
static char *masses_of(const struct up_calibration *calibration) {
    char *text = words("");
    for (unsigned i = 0; i < calibration->points; i++) {
        double mass_kg = fabs(calibration->point[i].mass_kg);
        unsigned before = 0;
        while (before < i && fabs(calibration->point[before].mass_kg) != mass_kg) {
            before++;
        }
        if (before == i) {
            char *longer = up_text_format("%s%s%.6g", text, i > 0 ? ", " : "", mass_kg);
            free(text);
            text = longer;
        }
    }
    char *whole = up_text_format("%s kg, in %u loadings%s%s", text, calibration->points,
                                 calibration->mass_class[0] != '\0' ? ", class " : "",
                                 calibration->mass_class);
    free(text);
    return whole;
}

static void put_pair(struct paper *paper, const char *term, char *text) {
    UP_FREED char *set = up_typeset(text);
    paper_pair(paper, term, set);
}

/* A scale that prints a unit shows about 1 for a kilogram; no converter has so few counts. */
static bool reads_kg(double slope_counts_kg) {
    return fabs(slope_counts_kg) < 10;
}

/* "0.42 g", with two digits. */
static char *rough_mass(const struct up_style *style, const char *before, double mass_g) {
    return up_text_format("%s%.2g %s", before, up_style_in_unit(style, mass_g),
                          up_style_unit(style));
}

static void put_slope(struct paper *paper, const struct up_calibration *calibration,
                      const struct up_style *style) {
    const char *unit = reads_kg(calibration->slope_counts_per_kg) ? "kg" : "counts";
    put_pair(paper, "Slope",
             up_text_format("%.8g %s/kg, standard uncertainty %.2g, %.0f degrees of freedom",
                            calibration->slope_counts_per_kg, unit,
                            calibration->u_slope_counts_per_kg, calibration->dof));
    if (isfinite(calibration->unloading_slope_counts_per_kg)) {
        put_pair(paper, "Slope unloading",
                 up_text_format("%.8g %s/kg, standard uncertainty %.2g",
                                calibration->unloading_slope_counts_per_kg, unit,
                                calibration->u_unloading_slope_counts_per_kg));
    }
    if (calibration->quadratic_counts_per_kg2 != 0) {
        put_pair(paper, "Bend",
                 up_text_format("%.6g %s/kg²", calibration->quadratic_counts_per_kg2, unit));
    }
    if (calibration->offset_taken == 1) {
        put_pair(paper, "Offset of the zero",
                 up_text_format("%+.*f %s", 2 + style->imperial,
                                up_style_in_unit(style, 1e3 * calibration->offset_counts /
                                                            calibration->slope_counts_per_kg),
                                up_style_unit(style)));
    }
    put_pair(paper, "Lack of fit",
             calibration->lack_of_fit_kg > 0
                 ? rough_mass(style, "", 1e3 * calibration->lack_of_fit_kg)
                 : up_text_format("none that the scatter does not explain"));
    put_pair(paper, "Hysteresis",
             isfinite(calibration->hysteresis_kg)
                 ? rough_mass(style, "up to ", 1e3 * calibration->hysteresis_kg)
                 : up_text_format("not looked for"));
}

void sections_put_calibration(struct paper *paper, const struct facts *facts,
                              const struct up_style *style) {
    const struct up_calibration *calibration = &facts->calibration;
    paper_heading(paper, "Calibration and its masses");
    if (!facts->has_calibration) {
        paper_text(paper, "The calibration of this run is not in this catalogue.");
        return;
    }
    put_pair(paper, "Calibration",
             up_text_format("%s, made %.19s UTC", calibration->id, calibration->made_utc));
    put_pair(paper, "Known masses", masses_of(calibration));
    put_pair(paper, "Their tolerance",
             up_text_format("%.3g %% each way, taken as one error of the whole set",
                            100 * calibration->mass_tolerance_rel));
    put_slope(paper, calibration, style);
    put_pair(paper, "Read",
             up_text_format("%.3g s after each step, over %.3g s; the items alike",
                            calibration->read_after_s, calibration->window_s));
    paper_blank(paper, "Their certificate");
    paper_text(paper, "Traceable to the kilogram as far as the certificate of the masses shows it. "
                      "Conventional mass, OIML R 111-1: density 8000 kg/m³.");
}

/* ---- budget ---- */

enum { LINES_MOST = 64 };
static const double WEIGHTLESS = 0.0005; /* would print as 0.0 % */

static double share_of(const json_t *line) {
    double share = number(line, "share_of_variance");
    return isfinite(share) ? share : 0;
}

static int by_share(const void *a, const void *b) {
    double first = share_of(*(const json_t *const *)a),
           second = share_of(*(const json_t *const *)b);
    return first < second ? 1 : first > second ? -1 : 0;
}

static double grams_of(const json_t *line) {
    return fabs(number(line, "sensitivity") * number(line, "u")) * 1e3;
}

static char *unit_of(const json_t *line, bool kg) {
    const char *unit = up_record_text(line, "unit");
    bool counts = strncmp(unit, "counts", 6) == 0;
    return kg && counts ? up_text_format("kg%s", unit + 6) : words(unit);
}

static void put_line(struct paper_table *table, const json_t *line, bool kg,
                     const struct up_style *style) {
    char *cell[] = {words(up_record_text(line, "name")),
                    digits(number(line, "value"), 6),
                    digits(number(line, "u"), 2),
                    unit_of(line, kg),
                    mass(style, grams_of(line), 3),
                    fixed(100 * share_of(line), 1),
                    words(up_record_text(line, "evaluation")),
                    words(up_record_text(line, "distribution")),
                    json_is_number(json_object_get(line, "dof")) ? digits(number(line, "dof"), 3)
                                                                 : words("∞")};
    put_row(table, cell);
}

static void put_rest(struct paper_table *table, const json_t *const *line, size_t count,
                     const struct up_style *style) {
    double grams = 0, share = 0;
    for (size_t i = 0; i < count; i++) {
        grams = hypot(grams, grams_of(line[i]));
        share += share_of(line[i]);
    }
    char *cell[] = {up_text_format("%zu more, together", count),
                    words(""),
                    words(""),
                    words(""),
                    mass(style, grams, 3),
                    fixed(100 * share, 1),
                    words(""),
                    words(""),
                    words("")};
    put_row(table, cell);
}

static void put_combined(struct paper *paper, const json_t *document,
                         const struct up_style *style) {
    const json_t *result = json_object_get(document, "result");
    char dof[24] = "infinite";
    if (json_is_number(json_object_get(result, "dof"))) {
        snprintf(dof, sizeof dof, "%.3g", number(result, "dof"));
    }
    const char *unit = up_style_unit(style);
    UP_FREED char *u = mass(style, number(result, "u_buoyancy_g"), 3),
                  *first = mass(style, number(result, "first_order_expanded_u_g"), 3),
                  *expanded = mass(style, number(result, "expanded_u_g"), 3);
    UP_FREED char *combined = up_typeset(up_text_format(
        "Combined: standard uncertainty %s %s, effective degrees of freedom %s. First order "
        "(JCGM 100): coverage factor %.3f, expanded uncertainty %s %s. Monte Carlo (JCGM 101), "
        "%.0f draws: %s %s; that is what is stated.",
        u, unit, dof, number(document, "coverage_factor"), first, unit, number(result, "draws"),
        expanded, unit));
    paper_text(paper, combined);
    if (number(result, "stuck_air_g") > 0) {
        UP_FREED char *stuck = mass(style, number(result, "stuck_air_g"), 3);
        UP_FREED char *air = up_text_format("Air that may stay through all shakes is a bound, not "
                                            "drawn: it lowers the lower end by %s %s.",
                                            stuck, unit);
        paper_text(paper, air);
    }
}

static void put_quick(struct paper *paper, const json_t *result, const struct up_style *style) {
    UP_FREED char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    if (stream != NULL) {
        explain_quick_print(stream, result);
    }
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    UP_FREED char *shown = up_style_text(style, text);
    sections_put_lines(paper, shown);
}

void sections_put_budget(struct paper *paper, const struct facts *facts,
                         const struct up_style *style) {
    const struct paper_column column[] = {{"What is uncertain", 0.25, false},
                                          {"Taken as", 0.11, true},
                                          {"u", 0.09, true},
                                          {"Unit", 0.1, false},
                                          {up_style_unit(style), 0.08, true},
                                          {"Part, %", 0.1, true},
                                          {"Type", 0.06, false},
                                          {"Distribution", 0.15, false},
                                          {"DoF", 0.06, true}};
    const json_t *result = json_object_get(facts->result[0], "result");
    const json_t *line, *lines[LINES_MOST] = {NULL};
    bool kg = reads_kg(number(json_object_get(facts->result[0], "chain"), "slope_counts_kg"));
    struct paper_table table = {paper, column, sizeof column / sizeof column[0]};
    size_t i, count = 0, weighty = 0;
    json_array_foreach(json_object_get(result, "budget"), i, line) {
        if (count < LINES_MOST && number(line, "u") > 0) {
            lines[count++] = line;
        }
    }
    qsort(lines, count, sizeof *lines, by_share);
    while (weighty < count && share_of(lines[weighty]) >= WEIGHTLESS) {
        weighty++;
    }
    paper_heading(paper, "Uncertainty budget of the measured result");
    paper_table(&table);
    for (i = 0; i < weighty; i++) {
        put_line(&table, lines[i], kg, style);
    }
    if (weighty < count) {
        put_rest(&table, lines + weighty, count - weighty, style);
    }
    if (up_claim_is_quick(result)) {
        put_quick(paper, result, style);
    } else {
        put_combined(paper, facts->result[0], style);
    }
}
