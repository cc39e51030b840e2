/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The derivation of one result in words, with enough numbers to redo it with a calculator. */
#include <stdlib.h>
#include <string.h>

#include "report/explain_quick.h"
#include "report/report.h"
#include "text/text.h"

static bool has(const json_t *content, const char *key) {
    return json_is_number(json_object_get(content, key));
}

enum { STEP_COLUMNS = 64 }; /* of what stands behind the symbol */

/* "  w   = 123.456 counts ...": one line of the chain. */
static void put_step(FILE *stream, const char *symbol, double value, const char *unit,
                     const char *how) {
    UP_FREED char *step =
        up_text_format("%s%.10g%s%s", "= ", value, unit[0] != '\0' ? " " : "", unit);
    bool fits = strlen(step) + strlen(how) <= STEP_COLUMNS;
    fprintf(stream, "  %-9s %s%s%s\n", symbol, step, how[0] != '\0' && fits ? "   " : "",
            fits ? how : "");
    if (!fits) {
        up_text_paragraph(stream, "                 ", how);
    }
}

/* A scale that prints a unit shows about 1 for a kilogram; no converter has so few counts. */
static bool is_in_kg(const json_t *document) {
    return fabs(up_record_number(json_object_get(document, "chain"), "slope_counts_kg")) < 10;
}

/* ---- plateaus ---- */

/* A tare that the item before it in a queue left stands with that one. */
static void put_counts(FILE *stream, double counts, bool kg) {
    if (isfinite(counts)) {
        fprintf(stream, kg ? " %12.5f" : " %12.2f", counts);
    } else {
        fprintf(stream, " %12s", "-");
    }
}

/* A difference that the line of the calibration leaves as it is. */
static const double SAME = 5e-6;

static void put_bracket(FILE *stream, const json_t *json, const char *what, bool kg) {
    const json_t *before = json_object_get(json, "tare_before");
    const json_t *load = json_object_get(json, "load");
    const json_t *after = json_object_get(json, "tare_after");
    double linear = up_record_number(json, "linear_counts"),
           stored = up_record_number(json, "load_counts");
    fprintf(stream, "  %-8s", what);
    put_counts(stream, up_record_number(before, "load_counts"), kg);
    put_counts(stream, up_record_number(load, "load_counts"), kg);
    put_counts(stream, up_record_number(after, "load_counts"), kg);
    fprintf(stream, " %7.5f", up_record_number(json, "weight_after"));
    put_counts(stream, up_record_number(json, "difference_counts"), kg);
    if (has(json, "soak_s")) {
        fprintf(stream, " %5.1f", up_record_number(json, "soak_s") / 60);
    }
    fputc('\n', stream);
    if (fabs(linear - up_record_number(json, "difference_counts")) > SAME) {
        fprintf(stream, "  %-8s", "");
        fprintf(stream, kg ? " made linear: %.5f\n" : " made linear: %.2f\n", linear);
    }
    if (fabs(linear - stored) > 0.01) { /* plateaus that this does not understand */
        fprintf(stream, "  %-8s stored: %.2f\n", "", stored);
    }
    double shortened = up_record_number(json, "readings_ended_early");
    if (shortened > 0) {
        fprintf(stream,
                kg ? "  %-8s %.0f of its first readings ended early: the air it freed lies within "
                     "%.6f kg\n"
                   : "  %-8s %.0f of its first readings ended early: the air it freed lies within "
                     "%.2f counts\n",
                "", shortened, up_record_number(json, "early_freed_counts"));
    }
    if (json_is_true(json_object_get(json, "left_out"))) {
        fprintf(stream, "  %-8s left out by the operator\n", "");
    }
}

static void put_plateaus(FILE *stream, const json_t *document) {
    const json_t *trial, *air = json_object_get(document, "air");
    bool kg = is_in_kg(document);
    size_t i;
    fprintf(stream,
            "plateaus, %s (weight: share of the tare after;\n"
            "difference = load - [(1 - weight) before + weight after]; soak: in minutes):\n"
            "  %-8s %12s %12s %12s %7s %12s %5s\n",
            kg ? "kg" : "counts", "", "tare before", "load", "tare after", "weight", "difference",
            "soak");
    if (air != NULL) {
        put_bracket(stream, air, "in air", kg);
    }
    json_array_foreach(json_object_get(document, "trials"), i, trial) {
        char what[24];
        snprintf(what, sizeof what, "trial %.0f", up_record_number(trial, "number"));
        put_bracket(stream, trial, what, kg);
    }
}

static void put_linear(FILE *stream, const json_t *calibration, bool kg) {
    const char *per_kg = kg ? "kg/kg" : "counts/kg";
    if (calibration == NULL) {
        fputs("  the calibration is not in this catalogue: nothing can be made linear again\n",
              stream);
        return;
    }
    put_step(stream, "S", up_record_number(calibration, "slope_counts_kg"), per_kg,
             "slope of the calibration");
    if (has(calibration, "unloading_slope_counts_kg")) {
        put_step(stream, "S down", up_record_number(calibration, "unloading_slope_counts_kg"),
                 per_kg, "differences below nothing are first multiplied by S / S down");
    }
    if (up_record_number(calibration, "quadratic_counts_kg2") != 0) {
        put_step(stream, "q", up_record_number(calibration, "quadratic_counts_kg2"),
                 kg ? "1/kg" : "counts/kg2", "linear = S m, where q m m + S m = difference");
    }
}

/* ---- the chain ---- */

static bool has_offset(const json_t *chain) {
    return has(chain, "offset_kg") && up_record_number(chain, "offset_kg") != 0;
}

static void put_volume(FILE *stream, const json_t *chain, double air_kg, bool other_scale) {
    put_step(stream, "L", up_record_number(chain, "air_kg"), "kg",
             other_scale         ? "as it would read in air, by the mass of another scale"
             : has_offset(chain) ? "(reading in air) / S - offset"
                                 : "(reading in air) / S");
    put_step(stream, "rho_a", up_record_number(chain, "air_density_kg_m3"), "kg/m3",
             "air at the dry weighing");
    put_step(stream, "V with", up_record_number(chain, "wetted_volume_m3"), "m3",
             "(L - w) k / (rho_w - rho_a), the air in it included");
    put_step(stream, "V", up_record_number(chain, "volume_m3"), "m3",
             air_kg > 0 ? "V with - air / rho_w" : "");
    put_step(stream, "m", up_record_number(chain, "mass_kg"), "kg", "L k + rho_a V");
    put_step(stream, "line", up_record_number(chain, "line_kg"), "kg",
             "rho_w (line's cross-section / tank's area) V with: the level rose");
}

/* The offset has one sign for what hangs and the other for what lifts. */
static void put_load(FILE *stream, const json_t *chain) {
    double drips = up_record_number(chain, "drips_kg"),
           swing = up_record_number(chain, "swing_rel");
    bool lifts =
        up_record_number(chain, "water_counts") * up_record_number(chain, "slope_counts_kg") < 0;
    UP_FREED char *how = up_text_format("C / S%s%s%s", swing != 0 ? " (1 - swing)" : "",
                                        !has_offset(chain) ? ""
                                        : lifts            ? " + offset"
                                                           : " - offset",
                                        drips != 0 ? " + drips" : "");
    if (has_offset(chain)) {
        put_step(stream, "offset", up_record_number(chain, "offset_kg"), "kg",
                 "of the zero, as the calibration found it");
    }
    put_step(stream, "w", up_record_number(chain, "water_kg"), "kg", how);
    if (drips != 0) {
        put_step(stream, "drips", drips, "kg", "water that dripped off while the tares were read");
    }
}

static void put_chain(FILE *stream, const json_t *document) {
    const json_t *chain = json_object_get(document, "chain");
    const json_t *result = json_object_get(document, "result");
    double air_kg =
        up_record_number(chain, "trapped_air_kg") + up_record_number(chain, "bubbles_kg");
    double swing = up_record_number(chain, "swing_rel");
    bool kg = is_in_kg(document);
    fputs("from readings to grams, at the estimates:\n", stream);
    put_step(stream, "C", up_record_number(chain, "water_counts"), kg ? "kg" : "counts",
             json_is_true(json_object_get(result, "stated_at_last_soak"))
                 ? "the line through the trials that count, over their soak, at the last"
                 : "mean of the trials that count");
    put_linear(stream, json_object_get(document, "calibration"), kg);
    if (swing != 0) { /* results of before the masses were thought to swing as the items do */
        put_step(stream, "swing", swing, "", "half of what a swinging load may read high");
    }
    put_step(stream, "k", up_record_number(chain, "k"), "", "1 - rho_a(calibration) / 8000 kg/m3");
    put_step(stream, "rho_a cal", up_record_number(chain, "calibration_air_kg_m3"), "kg/m3", "");
    put_load(stream, chain);
    put_step(stream, "rho_w", up_record_number(chain, "tank_density_kg_m3"), "kg/m3",
             "the tank's water");
    put_step(stream, "air", air_kg, "kg",
             up_claim_is_quick(result) ? "none is taken off: what may be in it is a bound, below"
             : up_record_number(chain, "bubbles_kg") > 0
                 ? "half of the lift of air that may still be in it, and of the bubbles on it"
                 : "half of the lift of air that may still be in it");
    if (has(chain, "volume_m3")) {
        put_volume(stream, chain, air_kg,
                   up_record_number(json_object_get(result, "quick"), "dry_mass_kg") > 0);
    }
    put_step(stream, "b tank", up_record_number(chain, "tank_kg"), "kg",
             has(chain, "line_kg") ? "-w k - air - line" : "-w k - air");
    if (!json_is_true(json_object_get(json_object_get(result, "model"), "in_tank"))) {
        put_step(stream, "rho_x", up_record_number(chain, "target_density_kg_m3"), "kg/m3",
                 "the water asked for");
        put_step(stream, "beta", up_record_number(chain, "expansion_per_k"), "1/K",
                 "volume expansion of the item");
        put_step(stream, "t_w", up_record_number(chain, "tank_temp_c"), "C", "of the tank");
        put_step(stream, "t_x", up_record_number(chain, "target_temp_c"), "C",
                 "of the water asked for");
        put_step(stream, "b", up_record_number(chain, "buoyancy_kg"), "kg",
                 "b tank + [rho_x (1 + beta (t_x - t_w)) - rho_w] V");
    }
}

/* ---- the budget ---- */

enum { BUDGET_MOST = 64, NAME_COLUMNS = 42 };

/* A line whose part would print as 0.0 % is summed up with its like: all are in the JSON. */
static const double WEIGHTLESS = 0.0005;

static double part_of(const json_t *line) {
    double part = up_record_number(line, "share_of_variance");
    return isfinite(part) ? part : 0;
}

static double grams_of(const json_t *line) {
    return fabs(up_record_number(line, "sensitivity") * up_record_number(line, "u")) * 1e3;
}

static int by_part(const void *a, const void *b) {
    double first = part_of(*(const json_t *const *)a), second = part_of(*(const json_t *const *)b);
    return first < second ? 1 : first > second ? -1 : 0;
}

static void put_budget_line(FILE *stream, const json_t *line, const struct up_style *style,
                            bool kg) {
    char dof[32] = "", unit[32];
    UP_FREED char *spread = up_text_for_terminal(up_record_text(line, "distribution"));
    UP_FREED char *type = up_text_for_terminal(up_record_text(line, "evaluation"));
    if (has(line, "dof")) {
        snprintf(dof, sizeof dof, " (%.3g)", up_record_number(line, "dof"));
    }
    snprintf(unit, sizeof unit, "%s", up_record_text(line, "unit"));
    if (kg && strncmp(unit, "counts", 6) == 0) {
        snprintf(unit, sizeof unit, "kg%s", up_record_text(line, "unit") + 6);
    }
    UP_FREED char *of = up_text_for_terminal(unit);
    fputs("  ", stream);
    up_text_put(stream, up_record_text(line, "name"), NAME_COLUMNS, false);
    fprintf(stream, " %8.*f %6.1f  ", style->imperial ? 4 : 3,
            up_style_in_unit(style, grams_of(line)), part_of(line) * 100);
    up_text_put(stream, up_record_text(line, "shared_by"), 0, false);
    fprintf(stream, "\n    %.8g give or take %.3g %s; %.4g g per unit; %s%s, %s\n",
            up_record_number(line, "value"), up_record_number(line, "u"),
            strcmp(of, "1") == 0 ? "(a share)" : of, up_record_number(line, "sensitivity") * 1e3,
            spread, dof, type);
}

static void put_weightless(FILE *stream, const json_t *const *line, size_t count,
                           const struct up_style *style) {
    double grams = 0, part = 0;
    char name[60];
    for (size_t i = 0; i < count; i++) {
        grams = hypot(grams, grams_of(line[i]));
        part += part_of(line[i]);
    }
    snprintf(name, sizeof name, "%zu more, together (all with --json)", count);
    fprintf(stream, "  %-*s %8.*f %6.1f\n", NAME_COLUMNS, name, style->imperial ? 4 : 3,
            up_style_in_unit(style, grams), part * 100);
}

/* The largest first. */
static void put_budget(FILE *stream, const json_t *result, const struct up_style *style, bool kg) {
    const json_t *line, *lines[BUDGET_MOST] = {NULL};
    size_t i, count = 0, weighty = 0;
    json_array_foreach(json_object_get(result, "budget"), i, line) {
        if (count < BUDGET_MOST && up_record_number(line, "u") > 0) {
            lines[count++] = line;
        }
    }
    qsort(lines, count, sizeof *lines, by_part);
    while (weighty < count && part_of(lines[weighty]) >= WEIGHTLESS) {
        weighty++;
    }
    fprintf(stream,
            "budget, the largest part first (give or take: one standard uncertainty;\n"
            "  type A from scatter, B from other knowledge):\n"
            "  %-*s %8s %6s  same error in\n"
            "    value give or take; g per unit; spread (degrees of freedom), type\n",
            NAME_COLUMNS, "what is uncertain", up_style_unit(style), "part %");
    for (i = 0; i < weighty; i++) {
        put_budget_line(stream, lines[i], style, kg);
    }
    if (weighty < count) {
        put_weightless(stream, lines + weighty, count - weighty, style);
    }
}

/* ---- the decision ---- */

/* A member in g, in the unit of the style. */
static double in_unit(const json_t *json, const char *key, const struct up_style *style) {
    return up_style_in_unit(style, up_record_number(json, key));
}

static void put_stuck(FILE *stream, const json_t *result, const struct up_style *style) {
    double stuck = in_unit(result, "stuck_air_g", style);
    if (stuck > 0) {
        UP_FREED char *text = up_text_format(
            "air that may stay through all shakes: up to %.4f %s less, from %.4f %s on (a bound, "
            "so it is added below and not drawn)",
            stuck, up_style_unit(style),
            in_unit(result, "buoyancy_g", style) - in_unit(result, "expanded_u_g", style) - stuck,
            up_style_unit(style));
        up_text_paragraph(stream, "  ", text);
    } else if (!has(result, "stuck_air_g")) {
        fputs("  air that may stay through all shakes: measured before it was looked at\n", stream);
    }
}

static void put_combined(FILE *stream, const json_t *document, const json_t *result,
                         const struct up_style *style) {
    const char *unit = up_style_unit(style);
    char dof[24] = "infinite";
    if (has(result, "dof")) {
        snprintf(dof, sizeof dof, "%.3g", up_record_number(result, "dof"));
    }
    fprintf(stream,
            "combined:\n  b = %+.4f %s, u = %.4f %s, effective degrees of freedom %s\n"
            "  first order: k = %.4f, +- %.4f %s\n"
            "  Monte Carlo: +- %.4f %s (%.0f %%), %.0f draws%s\n",
            in_unit(result, "buoyancy_g", style), unit, in_unit(result, "u_buoyancy_g", style),
            unit, dof, up_record_number(document, "coverage_factor"),
            in_unit(result, "first_order_expanded_u_g", style), unit,
            in_unit(result, "expanded_u_g", style), unit,
            up_record_number(result, "coverage") * 100, up_record_number(result, "draws"),
            json_is_true(json_object_get(result, "draws_stable")) ? "" : ", not yet at rest");
    if (has(result, "draws_u_g")) {
        fprintf(stream, "    the draws: mean %+.4f %s, standard deviation %.4f %s\n",
                in_unit(result, "draws_mean_g", style), unit, in_unit(result, "draws_u_g", style),
                unit);
    }
    put_stuck(stream, result, style);
    UP_FREED char *text = up_text_format(
        "%s within %.2g %s (JCGM 101 clause 8); the Monte Carlo's interval is used",
        json_is_true(json_object_get(result, "first_order_agrees")) ? "they agree"
                                                                    : "they do not agree",
        in_unit(result, "numerical_tolerance_g", style), unit);
    up_text_paragraph(stream, "  ", text);
}

static const char *likeliest(const json_t *decision, double *probability) {
    static const char *const classes[] = {"positive", "neutral", "negative"};
    const char *best = "";
    *probability = -1;
    for (size_t i = 0; i < 3; i++) {
        char key[32];
        snprintf(key, sizeof key, "probability_%s", classes[i]);
        if (up_record_number(decision, key) > *probability) {
            *probability = up_record_number(decision, key);
            best = classes[i];
        }
    }
    return best;
}

static void put_undecided_reason(FILE *stream, const json_t *document, const json_t *decision) {
    const json_t *model = json_object_get(json_object_get(document, "result"), "model");
    double best = 0, needed = up_record_number(decision, "confidence_at_look");
    const char *class = likeliest(decision, &best);
    bool undecided = strcmp(up_record_text(decision, "class"), "undecided") == 0;
    if (!undecided) {
        fprintf(stream, "  why: the probability of %s, %.4f, reaches %.4g\n", class, best, needed);
    } else if (best >= needed && !json_is_true(json_object_get(model, "air_share_known"))) {
        UP_FREED char *text = up_text_format(
            "why: %s has %.4f, but how much air a shake frees is not known, and with all of it or "
            "none the class changes: set shake_share in the rig file",
            class, best);
        up_text_paragraph(stream, "  ", text);
    } else {
        fprintf(stream, "  why: the likeliest class, %s, has %.4f and %.4g is asked for\n", class,
                best, needed);
    }
    if (undecided && has(decision, "more_trials")) {
        fprintf(stream, "  %.0f more trials would decide it, if the net stays the same\n",
                up_record_number(decision, "more_trials"));
    } else if (undecided) {
        fputs("  no number of trials would decide it\n", stream);
    }
}

static void put_guard(FILE *stream, const json_t *decision, const struct up_style *style) {
    const char *unit = up_style_unit(style);
    double tolerance = in_unit(decision, "tolerance_g", style);
    double low = in_unit(decision, "guard_low_g", style);
    double high = in_unit(decision, "guard_high_g", style);
    fprintf(stream,
            "  guard band: positive from %+.2f %s on (%.4g + %.2f),\n"
            "    negative from %+.2f %s down (-%.4g - %.2f),\n    ",
            tolerance + low, unit, tolerance, low, -tolerance - high, unit, tolerance, high);
    if (low - tolerance <= tolerance - high) {
        fprintf(stream, "neutral from %+.2f %s to %+.2f %s\n", low - tolerance, unit,
                tolerance - high, unit);
    } else {
        fputs("neutral nowhere\n", stream);
    }
}

static void put_decision(FILE *stream, const json_t *document, const json_t *decision,
                         const struct up_style *style) {
    fputs("decision (", stream);
    up_text_put(stream, up_record_text(decision, "made_utc"), 0, false);
    fprintf(stream,
            "%s): ", json_is_true(json_object_get(decision, "rejudged")) ? ", judged again" : "");
    up_text_put(stream, up_record_text(decision, "class"), 0, false);
    fprintf(stream,
            "\n  probabilities: positive %.4f, neutral %.4f, negative %.4f\n"
            "  neutral is within %.4g %s; confidence %.4g, at each look %.4g\n",
            up_record_number(decision, "probability_positive"),
            up_record_number(decision, "probability_neutral"),
            up_record_number(decision, "probability_negative"),
            in_unit(decision, "tolerance_g", style), up_style_unit(style),
            up_record_number(decision, "confidence"),
            up_record_number(decision, "confidence_at_look"));
    put_guard(stream, decision, style);
    put_undecided_reason(stream, document, decision);
}

static void put_head(FILE *stream, const json_t *document, const struct up_style *style) {
    const json_t *result = json_object_get(document, "result");
    UP_FREED char *title =
        up_item_title(up_record_text(document, "item_name"),
                      (int)json_integer_value(json_object_get(result, "pieces")));
    up_text_put(stream, title, 0, style->isolate);
    fputs(", in the water \"", stream);
    up_text_put(stream, up_record_text(result, "water"), 0, style->isolate);
    fprintf(stream, "\", %s\n",
            strcmp(up_record_text(result, "basis"), "measured") == 0 ? "measured" : "calculated");
    if (json_is_true(json_object_get(document, "withdrawn"))) {
        fputs("  " UP_CLAIM_WITHDRAWN "\n", stream);
    }
    if (json_is_true(json_object_get(document, "elsewhere"))) {
        fputs("  " UP_ELSEWHERE_MEANING "\n", stream);
    }
    fputs("  result ", stream);
    up_text_put(stream, up_record_text(document, "result_id"), 0, false);
    fputs(" of ", stream);
    up_text_put(stream, up_record_text(document, "made_utc"), 0, false);
    fputs(",\n  run ", stream);
    up_text_put(stream, up_record_text(result, "run_id"), 0, false);
    char signer[UP_CLAIM_SIZE];
    up_claim_signer(up_record_text(document, "writer"),
                    json_integer_value(json_object_get(document, "writer_sequence")),
                    json_is_true(json_object_get(document, "signature_holds")), signer);
    fprintf(stream, ",\n  %s\n", signer);
}

/* The equations hold in SI units; what they end in is shown as the style says. */
void up_explain_print(const json_t *document, const struct up_style *style, FILE *stream) {
    const json_t *result = json_object_get(document, "result");
    const json_t *decisions = json_object_get(document, "decisions");
    char scope[UP_CLAIM_SCOPE_SIZE];
    bool quick = up_claim_is_quick(result) && json_is_object(json_object_get(result, "quick"));
    put_head(stream, document, style);
    if (style->imperial) {
        fputs(quick ? "  (the equations of a quick weighing hold in SI units)\n"
                    : "  (the equations hold in SI units; what they end in follows in ounces)\n",
              stream);
    }
    put_plateaus(stream, document);
    put_chain(stream, document);
    up_corrections_print(result, style, stream);
    put_budget(stream, result, style, is_in_kg(document));
    if (quick) {
        explain_quick_print(stream, result);
    } else {
        put_combined(stream, document, result, style);
    }
    for (size_t i = quick ? 0 : json_array_size(decisions); i-- > 0;) {
        put_decision(stream, document, json_array_get(decisions, i), style);
    }
    up_claim_scope(up_claim_pieces_of(result),
                   up_claim_is_simulated(result, up_record_text(document, "bench")),
                   up_claim_is_quick(result), scope);
    up_text_paragraph(stream, "  ", scope);
}
