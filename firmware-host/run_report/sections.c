/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The report from the top down. What only people know (place, customer, certificate, signature) is
 * left for a hand to fill in: nothing stands there that nobody stated.
 */
#include "run_report/sections.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue/claim.h"
#include "report/card.h"
#include "report/report.h"
#include "text/text.h"

static const json_t *result_of(const json_t *document) {
    return json_object_get(document, "result");
}

static double number(const json_t *document, const char *key) {
    return up_record_number(result_of(document), key);
}

static void put_pair(struct paper *paper, const char *term, char *text) {
    UP_FREED char *set = up_typeset(text);
    paper_pair(paper, term, set);
}

/* ---- 7.8.2.1 a to i: what, whose, where, when ---- */

static bool is_simulated(const struct facts *facts) {
    return up_claim_is_simulated(result_of(facts->result[0]), facts->bench);
}

static void put_item(struct paper *paper, const struct facts *facts) {
    const struct up_item *item = &facts->item;
    const char *id = up_record_text(result_of(facts->result[0]), "item_id");
    UP_FREED char *title = up_item_title(up_record_text(facts->result[0], "item_name"),
                                         up_claim_pieces_of(result_of(facts->result[0])));
    char pieces[UP_CLAIM_SIZE], filling[UP_CLAIM_FILLING_SIZE];
    struct up_result *result = up_allocate(1, sizeof *result);
    up_result_from_json(result_of(facts->result[0]), result);
    up_claim_pieces(result->pieces, pieces);
    up_claim_filling(&result->filling, item->kind, filling);
    paper_pair(paper, "Item", title);
    paper_pair(paper, "Its id", id);
    paper_pair(paper, "Kind", item->kind);
    paper_pair(paper, "Maker", item->maker);
    paper_pair(paper, "Model", item->model);
    paper_pair(paper, "Size", item->size);
    paper_pair(paper, "Stock number", item->stock_number);
    paper_pair(paper, "Pieces", pieces);
    paper_pair(paper, "Filling", filling);
    paper_pair(paper, "Holds gas",
               result->compressible ? "yes, or not known: the result holds at its depth only"
                                    : "no, as stated for it");
    paper_pair(paper, "Note", item->note);
    free(result);
}

static void put_head(struct paper *paper, const struct facts *facts) {
    const char *made = up_record_text(facts->result[0], "made_utc");
    paper_title(paper, "Report of a buoyancy measurement");
    if (is_simulated(facts)) {
        paper_banner(paper, "SIMULATED: no gear was weighed");
    }
    paper_pair(paper, "Report", facts->run_id);
    put_pair(paper, "Bench",
             up_text_format("%s%s%s", facts->bench, facts->rig_name[0] != '\0' ? ": " : "",
                            facts->rig_name));
    paper_blank(paper, "Owner, address");
    paper_blank(paper, "Place of weighing");
    paper_blank(paper, "For (customer)");
    paper_blank(paper, "Received on");
    put_item(paper, facts);
    put_pair(paper, "Weighed on",
             up_text_format("%.10s, from %.5s to %.5s UTC%s%.8s", facts->begun_utc,
                            facts->begun_utc + 11, made + 11,
                            facts->earlier[0] != '\0' ? ", continues run " : "", facts->earlier));
    if (facts->elsewhere) {
        paper_pair(paper, "Origin", "this record " UP_ELSEWHERE_MEANING);
    }
}

/* ---- 7.8.2.1 l, m: the results, and of what they are ---- */

/* Of what is shown: nothing at all goes neither way. */
static const char *direction_of(const char *net) {
    double shown = strtod(net, NULL);
    return shown > 0 ? " UP" : shown < 0 ? " DOWN" : "";
}

static const char *meaning_of(const char *class) {
    return strcmp(class, "positive") == 0   ? "positive: floats"
           : strcmp(class, "negative") == 0 ? "negative: sinks"
           : strcmp(class, "neutral") == 0  ? "neutral: hovers"
                                            : "undecided: too near a line";
}

/* A later decision states the class that counts. */
static const json_t *decision_of(const json_t *document) {
    const json_t *list = json_object_get(document, "decisions");
    const json_t *last = json_array_get(list, json_array_size(list) - 1);
    return last != NULL ? last : result_of(document);
}

static char *shown(void (*show)(const struct up_style *, double, char[UP_SHOWN_SIZE]),
                   const struct up_style *style, double value) {
    char text[UP_SHOWN_SIZE];
    show(style, value, text);
    return up_typeset(up_text_format("%s", text));
}

static bool is_quick(const json_t *document) {
    return up_claim_is_quick(result_of(document));
}

/* Nothing was shaken: there is no lower end. */
static bool is_at_most(const json_t *document) {
    return is_quick(document) && isfinite(number(document, "at_most_g"));
}

static char *words_of_class(const json_t *document) {
    bool aside = up_record_text(result_of(document), "put_aside")[0] != '\0';
    return up_text_format("%s", aside ? UP_CLAIM_PUT_ASIDE
                                      : meaning_of(up_record_text(decision_of(document), "class")));
}

static void put_result(struct paper_table *table, const json_t *document,
                       const struct up_style *style) {
    bool at_most = is_at_most(document);
    double net_g = at_most ? up_style_bound(style, number(document, "at_most_g"))
                           : number(document, "buoyancy_g"),
           u_g = at_most ? 0 : number(document, "expanded_u_g"),
           stuck_g = number(document, "stuck_air_g");
    UP_FREED char *net = shown(up_style_mass, style, net_g);
    char brief[UP_SHOWN_SIZE];
    up_style_mass(style, net_g, brief);
    char *cell[] = {up_text_format("%s", up_record_text(result_of(document), "water")),
                    shown(up_style_temp, style, number(document, "water_temp_c")),
                    shown(up_style_density, style, number(document, "water_density_kg_m3")),
                    up_text_format("%s", up_record_text(result_of(document), "basis")),
                    up_text_format("%s%s%s", at_most ? "at most " : "", net,
                                   at_most ? "" : direction_of(brief)),
                    at_most
                        ? up_text_format("–")
                        : shown(up_style_mass, style, net_g - u_g - (stuck_g > 0 ? stuck_g : 0)),
                    shown(up_style_mass, style, net_g + u_g),
                    words_of_class(document)};
    paper_row(table, (const char *const *)cell);
    for (int i = 0; i < table->columns; i++) {
        free(cell[i]);
    }
}

/* "unchecked" and its like, once though all waters have it. */
static void put_checked(struct paper *paper, const struct facts *facts) {
    const json_t *word =
        json_object_get(facts->verified, up_record_text(facts->result[0], "result_id"));
    enum up_checked checked =
        up_checked_of(json_is_string(word) ? json_string_value(word) : "unchecked");
    const char *meaning = up_checked_meaning(checked);
    paper_pair(paper, "Reference body",
               checked == UP_CHECKED_INSIDE ? "a body of known mass and volume was weighed on this "
                                              "bench, inside its limits"
                                            : meaning);
}

static void put_results(struct paper *paper, const struct facts *facts,
                        const struct up_style *style) {
    static const struct paper_column column[] = {
        {"Water", 0.1, false},  {"Temperature", 0.13, false}, {"Density", 0.15, false},
        {"How", 0.11, false},   {"Net buoyancy", 0.16, true}, {"At least", 0.1, true},
        {"At most", 0.1, true}, {"Class", 0.15, false}};
    struct paper_table table = {paper, column, sizeof column / sizeof column[0]};
    char scope[UP_CLAIM_SIZE];
    up_claim_whose(up_claim_pieces_of(result_of(facts->result[0])), scope);
    paper_heading(paper, "Results");
    paper_table(&table);
    for (int i = 0; i < facts->results; i++) {
        put_result(&table, facts->result[i], style);
    }
    UP_FREED char *text = up_text_format(
        "Net buoyancy: what the water lifts less what it weighs; UP lifts a diver, DOWN pulls. It "
        "lies from \"at least\" to \"at most\" with %.4g %% coverage. It is of %s.",
        100 * number(facts->result[0], "coverage"), scope);
    paper_text(paper, text);
    if (is_quick(facts->result[0])) {
        paper_pair(paper, "How long", UP_CLAIM_QUICK);
    }
    if (facts->withdrawn > 0) {
        paper_text(paper, "Other waters are left out: it holds gas, which the water squeezes.");
    }
    put_checked(paper, facts);
}

/* What it is for (7.8.1.2: all that is needed to interpret it). */
static void put_purpose(struct paper *paper) {
    paper->y_pt += 4;
    paper_boxed(paper, "These numbers prepare a weight check in the water with a qualified "
                       "instructor. " UP_CLAIM_CHECK
                       " They plan no dive, and say nothing of body, suit and gas. " UP_CAUTION_USE
                       " No accreditation is claimed.");
}

/* ---- 7.8.2.1 f, n: the method, and how this run departed from it ---- */

static void put_method(struct paper *paper, const struct facts *facts,
                       const struct up_style *style) {
    bool calculated = facts->results > 1;
    paper_heading(paper, "Method");
    paper_text(
        paper,
        "Hydrostatic weighing: the item hangs under water from a load cell and is shaken "
        "until no more air comes off; the empty hanger is read before and after. The load w, "
        "in conventional mass, gives the net buoyancy in the tank's water: b = −w k − air − "
        "line; k takes the air's lift on the masses into account, \"line\" the water that "
        "the item lifted along the line.");
    if (calculated) {
        paper_text(paper,
                   "Other waters are calculated: a weighing in air gives the volume V, and b "
                   "there = b + [ρₓ (1 + β (tₓ − t)) − ρ] V, with the density ρₓ and "
                   "temperature tₓ of that water and the expansion β of the item.");
    }
    if (style->imperial) {
        paper_text(paper, "The equations hold in SI units, and what goes into them is in those; "
                          "what they end in is in ounces.");
    }
    paper_pair(paper, "Program, rule", up_record_text(result_of(facts->result[0]), "method"));
    paper_pair(paper, "Rig file", facts->rig_sha256);
}

void sections_put_lines(struct paper *paper, char *text) {
    char *rest = text;
    for (char *line = strsep(&rest, "\n"); line != NULL; line = strsep(&rest, "\n")) {
        UP_FREED char *set = up_typeset(up_text_format("%s", line));
        if (set[0] != '\0') {
            paper_line(paper, set);
        }
    }
}

static void put_departures(struct paper *paper, const struct facts *facts,
                           const struct up_style *style) {
    UP_FREED char *text = NULL;
    size_t size = 0;
    struct up_style plain = *style;
    plain.colour = plain.isolate = false;
    FILE *stream = open_memstream(&text, &size);
    if (stream != NULL) {
        up_result_remarks_print(result_of(facts->result[0]), &plain, stream);
    }
    if (stream == NULL || fclose(stream) != 0) {
        up_out_of_memory();
    }
    paper_heading(paper, "Remarks and departures from the method");
    if (text[0] == '\0') {
        paper_text(paper, "None.");
    }
    sections_put_lines(paper, text);
}

/* ---- 7.8.3.1 a: the conditions ---- */

static void put_conditions(struct paper *paper, const struct facts *facts,
                           const struct up_style *style) {
    const json_t *document = facts->result[0];
    const json_t *chain = json_object_get(document, "chain");
    UP_FREED char *temp = shown(up_style_temp, style, number(document, "water_temp_c"));
    char depth[UP_SHOWN_SIZE];
    up_style_depth(style, number(document, "immersion_depth_m"), depth);
    paper_heading(paper, "Conditions");
    put_pair(paper, "Tank's water",
             up_text_format("%s; salinity %.3g g/kg; density %.2f kg/m³, standard uncertainty "
                            "%.2f kg/m³",
                            temp, number(document, "salinity_g_kg"),
                            number(document, "water_density_kg_m3"),
                            number(document, "u_water_density_kg_m3")));
    put_pair(paper, "Depth", up_text_format("%s below the surface", depth));
    put_pair(paper, "Air",
             up_text_format("%.0f hPa; density %.4f kg/m³ at the weighing, %.4f kg/m³ at the "
                            "calibration",
                            number(document, "air_pressure_pa") / 100,
                            up_record_number(chain, "air_density_kg_m3"),
                            up_record_number(chain, "calibration_air_kg_m3")));
    if (isfinite(up_record_number(chain, "volume_m3"))) {
        put_pair(paper, "Mass and volume",
                 up_text_format("%.4f kg; %.4f L, by the weighing in air",
                                up_record_number(chain, "mass_kg"),
                                1e3 * up_record_number(chain, "volume_m3")));
    }
}

/* ---- 7.8.6: the decision rule ---- */

static char *limits_of(const json_t *decision, const struct up_style *style) {
    double tolerance_g = up_record_number(decision, "tolerance_g"),
           low_g = up_record_number(decision, "guard_low_g"),
           high_g = up_record_number(decision, "guard_high_g"), unit = up_style_in_unit(style, 1);
    const char *unit_name = up_style_unit(style);
    if (!isfinite(low_g) || !isfinite(high_g)) {
        return up_text_format("–");
    }
    bool never = low_g - tolerance_g > tolerance_g - high_g;
    UP_FREED char *neutral =
        never ? up_text_format("neutral never")
              : up_text_format("neutral from %+.2f to %+.2f %s", (low_g - tolerance_g) * unit,
                               (tolerance_g - high_g) * unit, unit_name);
    return up_typeset(up_text_format("positive above %+.2f %s, negative below %+.2f %s, %s",
                                     (tolerance_g + low_g) * unit, unit_name,
                                     (-tolerance_g - high_g) * unit, unit_name, neutral));
}

static char *chance_of(const json_t *decision, const char *class) {
    UP_FREED char *key = up_text_format("probability_%s", class);
    double probability = up_record_number(decision, key);
    return !isfinite(probability) ? up_text_format("–")
           : probability > 0.9999 ? up_text_format("> 99.99 %%")
           : probability < 0.0001 ? up_text_format("< 0.01 %%")
                                  : up_text_format("%.2f %%", 100 * probability);
}

/* A quick weighing looks early, at preset analyses: metrology/sequential.h. */
static void put_quick_decision(struct paper *paper, const struct facts *facts,
                               const struct up_style *style) {
    char tolerance[UP_SHOWN_SIZE];
    up_style_lead(style, number(facts->result[0], "tolerance_g"), tolerance);
    UP_FREED char *rule = up_text_format(
        "Neutral is within %s of zero. A class is stated as soon as the whole repeated confidence "
        "interval has it, at one of a few preset looks; what stays near a line is put aside.",
        tolerance);
    paper_heading(paper, "Decision rule");
    paper_text(paper, rule);
}

static void put_decision(struct paper *paper, const struct facts *facts,
                         const struct up_style *style) {
    static const struct paper_column column[] = {
        {"Water", 0.12, false},   {"Positive", 0.11, true}, {"Neutral", 0.11, true},
        {"Negative", 0.11, true}, {"", 0.02, false},        {"Stated so where b is", 0.53, false}};
    struct paper_table table = {paper, column, sizeof column / sizeof column[0]};
    const json_t *first = decision_of(facts->result[0]);
    char tolerance[UP_SHOWN_SIZE];
    up_style_lead(style, up_record_number(first, "tolerance_g"), tolerance);
    UP_FREED char *rule = up_typeset(up_text_format(
        "Neutral is within %s of zero. A class is stated where its probability, by the draws of "
        "the Monte Carlo and with all air that may still be in the item or none, is at least "
        "%.4g %%; otherwise the item is undecided.%s",
        tolerance, 100 * up_record_number(first, "confidence"),
        json_is_true(json_object_get(first, "rejudged"))
            ? " It was judged again since it was measured."
            : ""));
    paper_heading(paper, "Decision rule");
    paper_text(paper, rule);
    paper_table(&table);
    for (int i = 0; i < facts->results; i++) {
        const json_t *decision = decision_of(facts->result[i]);
        UP_FREED char *positive = chance_of(decision, "positive"),
                      *neutral = chance_of(decision, "neutral"),
                      *negative = chance_of(decision, "negative"),
                      *limits = limits_of(decision, style);
        const char *cell[] = {up_record_text(result_of(facts->result[i]), "water"),
                              positive,
                              neutral,
                              negative,
                              "",
                              limits};
        paper_row(&table, cell);
    }
}

/* ---- 7.8.2.1 d, j, o: who answers for it, and where it ends ---- */

static void put_end(struct paper *paper, const struct facts *facts) {
    paper_heading(paper, "Issued");
    paper_blank(paper, "Date");
    paper_blank(paper, "Weighed by");
    paper_blank(paper, "Authorised by");
    UP_FREED char *end = up_text_format("End of report %s.", facts->run_id);
    paper_text(paper, end);
}

void sections_put(struct paper *paper, const struct facts *facts, const struct up_style *style) {
    put_head(paper, facts);
    put_results(paper, facts, style);
    put_purpose(paper);
    put_method(paper, facts, style);
    put_departures(paper, facts, style);
    put_conditions(paper, facts, style);
    sections_put_calibration(paper, facts, style);
    sections_put_trials(paper, facts, style);
    sections_put_budget(paper, facts, style);
    (is_quick(facts->result[0]) ? put_quick_decision : put_decision)(paper, facts, style);
    put_end(paper, facts);
}
