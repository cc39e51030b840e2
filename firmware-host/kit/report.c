/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a kit file and its weight checks answer, as one JSON document. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "kit/kit_file.h"
#include "kit/report.h"
#include "text/json.h"
#include "text/text.h"

/* Fewer predictions than this give no verdict. */
enum { PREDICTIONS_LEAST = 20, SHARES_SHOWN = 6, PICTURE_POINTS = 7 };

json_t *list_or_null(bool good, json_t *list) {
    if (!good) {
        json_decref(list);
    }
    return good ? list : NULL;
}

double number_in(const json_t *row, const char *object, const char *key) {
    const json_t *of = json_object_get(json_object_get(row, object), key);
    return json_is_number(of) ? json_number_value(of) : (double)NAN;
}

json_t *kit_answer_to_json(const struct up_kit_answer *answer, const char *unit) {
    const struct {
        const char *name;
        double value;
    } member[] = {{"value", answer->value}, {"u", answer->u},         {"low", answer->low},
                  {"high", answer->high},   {"least", answer->least}, {"most", answer->most}};
    json_t *object = json_object();
    for (size_t i = 0; i < sizeof member / sizeof *member; i++) {
        char key[40];
        snprintf(key, sizeof key, "%s_%s", member[i].name, unit);
        json_object_set_new(object, key, up_json_number(member[i].value));
    }
    return object;
}

/* The dive's water, lead as in the kit. */
struct up_kit_state state_at(const struct kit_file *file, double depth_m, double bar) {
    struct up_kit_state state = file->dive.state;
    state.depth_m = depth_m;
    state.pressure_bar = bar;
    state.u_depth_m = state.u_pressure_bar = state.u_gas_temp_c = 0; /* asked, not read */
    return state;
}

/* ---- one question in several states of the dive ---- */

enum drop { NOTHING, SUIT_GAS, ALL, LIGHTEST, HEAVIEST };

struct asked {
    const char *when;
    double depth_m, bar;
    enum drop drop; /* of the suit's gas, or of ditchable lead: all, the lightest piece ... */
};

typedef bool question(const struct up_kit_draws *draws, const struct up_kit_state *state,
                      struct up_kit_answer *answer, struct up_failure *failure);

/* What a piece of lead weighs on the dive; 0 where it is not worn, and for all other parts. */
static double worn_kg(const struct kit_file *file, size_t i) {
    const struct up_part *part = &file->kit.part[i];
    const struct up_kit_state *state = &file->dive.state;
    bool worn = part->kind == UP_PART_LEAD && !part->spare && !state->without[i];
    return !worn ? 0 : isnan(state->lead_kg[i]) ? part->mass_kg.value : state->lead_kg[i];
}

/* Of lead that is worn, or of what can be dropped of it: kilograms, and pieces. */
static double lead_worn_kg(const struct kit_file *file, bool ditchable, size_t *pieces) {
    double kg = 0;
    *pieces = 0;
    for (size_t i = 0; i < file->kit.parts; i++) {
        double piece_kg = !ditchable || file->kit.part[i].ditchable ? worn_kg(file, i) : 0;
        kg += piece_kg;
        *pieces += piece_kg > 0;
    }
    return kg;
}

/* Ditchable lead that is dropped: all, or the one piece that matters least or most. */
static void drop_lead(const struct kit_file *file, enum drop drop, struct up_kit_state *state) {
    size_t one = UP_KIT_PARTS_MAX;
    state->suit_gas_gone = drop == SUIT_GAS;
    for (size_t i = 0; drop >= ALL && i < file->kit.parts; i++) {
        double kg = worn_kg(file, i), other = one < UP_KIT_PARTS_MAX ? worn_kg(file, one) : kg;
        if (file->kit.part[i].ditchable && kg > 0) {
            state->without[i] = drop == ALL;
            one = (drop == HEAVIEST ? kg >= other : kg <= other) ? i : one;
        }
    }
    if (one < UP_KIT_PARTS_MAX) {
        state->without[one] = true;
    }
}

static json_t *ask_all(const struct answers *answers, const char *label, const char *name,
                       question *ask, const struct asked *asked, size_t count) {
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        struct up_kit_state state = state_at(answers->file, asked[i].depth_m, asked[i].bar);
        struct up_kit_answer answer;
        drop_lead(answers->file, asked[i].drop, &state);
        if (!ask(answers->draws, &state, &answer, answers->failure)) {
            return list_or_null(false, list);
        }
        json_array_append_new(list,
                              json_pack("{s:s, s:f, s:f, s:o}", label, asked[i].when, "depth_m",
                                        asked[i].depth_m, "pressure_bar", asked[i].bar, name,
                                        kit_answer_to_json(&answer, "kg")));
    }
    return list;
}

static json_t *lead_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    const struct asked asked[] = {
        {"stop, nearly empty", dive->stop_m, NEAR_EMPTY_BAR, NOTHING},
        {"stop, with the reserve", dive->stop_m, dive->reserve_bar, NOTHING},
        {"surface, full", 0, dive->start_bar, NOTHING}};
    return ask_all(answers, "when", "lead_to_add", up_kit_lead_kg, asked,
                   sizeof asked / sizeof *asked);
}

static json_t *dive_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    const struct asked asked[] = {
        {"surface, full", 0, dive->start_bar, NOTHING},
        {"deepest point, full", dive->deepest_m, dive->start_bar, NOTHING},
        {"deepest point, with the reserve", dive->deepest_m, dive->reserve_bar, NOTHING},
        {"stop, with the reserve", dive->stop_m, dive->reserve_bar, NOTHING},
        {"stop, nearly empty", dive->stop_m, NEAR_EMPTY_BAR, NOTHING},
        {"surface, nearly empty", 0, NEAR_EMPTY_BAR, NOTHING}};
    return ask_all(answers, "when", "lift", up_kit_lift_kg, asked, sizeof asked / sizeof *asked);
}

/* Always shown, whatever is asked; one piece of several only where there are such. */
static json_t *worst_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    size_t pieces;
    const struct asked asked[] = {
        {"deepest point, full, suit gas gone, jacket empty", dive->deepest_m, dive->start_bar,
         SUIT_GAS},
        {"surface, full, jacket failed, ditchable lead dropped", 0, dive->start_bar, ALL},
        {"stop, nearly empty, ditchable lead lost: uncontrolled ascent", dive->stop_m,
         NEAR_EMPTY_BAR, ALL},
        {"surface, full, jacket failed, only the lightest ditchable piece dropped", 0,
         dive->start_bar, LIGHTEST},
        {"stop, nearly empty, the heaviest ditchable piece lost", dive->stop_m, NEAR_EMPTY_BAR,
         HEAVIEST}};
    lead_worn_kg(answers->file, true, &pieces);
    return ask_all(answers, "case", "lift", up_kit_lift_kg, asked, pieces > 1 ? 5 : 3);
}

/* Net lift by the gauge's pressure at three depths, for a picture. */
static json_t *picture_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    const struct asked line[] = {{"surface", 0, 0, NOTHING},
                                 {"stop", dive->stop_m, 0, NOTHING},
                                 {"deepest point", dive->deepest_m, 0, NOTHING}};
    struct asked asked[3 * PICTURE_POINTS];
    for (size_t i = 0; i < 3 * PICTURE_POINTS; i++) {
        double used = (double)(i % PICTURE_POINTS) / (PICTURE_POINTS - 1);
        asked[i] = line[i / PICTURE_POINTS];
        asked[i].bar = dive->start_bar + used * (NEAR_EMPTY_BAR - dive->start_bar);
    }
    return ask_all(answers, "where", "lift", up_kit_lift_kg, asked, sizeof asked / sizeof *asked);
}

/* What the jacket must hold at the most: the deepest point's bound, and the most lead to add. */
static double jacket_needs_kg(const json_t *document, double water_kg_m3) {
    const json_t *lead = json_array_get(json_object_get(document, "lead"), 0);
    const json_t *deep = json_array_get(json_object_get(document, "worst_cases"), 0);
    double high_kg = number_in(lead, "lead_to_add", "high_kg");
    return fmax(high_kg, 0) * (1 - water_kg_m3 / UP_KIT_LEAD_KG_M3) -
           number_in(deep, "lift", "least_kg");
}

static double jacket_lift_kg(const struct kit_file *file) {
    double lift_kg = 0;
    for (size_t i = 0; i < file->kit.parts; i++) {
        lift_kg += file->kit.part[i].spare ? 0 : file->kit.part[i].lift_kg;
    }
    return lift_kg > 0 ? lift_kg : (double)NAN;
}

/* How the last check's lead changes to the dive's water, all else alike: the breath cancels. */
static json_t *other_water_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    struct up_kit_state from = file->kit.check[file->kit.checks - 1].state, to = from;
    struct up_kit_answer answer;
    to.water_kg_m3 = file->dive.state.water_kg_m3;
    to.u_water_kg_m3 = file->dive.state.u_water_kg_m3;
    to.water = file->dive.state.water;
    from.u_depth_m = to.u_depth_m = from.u_pressure_bar = to.u_pressure_bar = 0;
    from.u_gas_temp_c = to.u_gas_temp_c = 0;
    if (!up_kit_lead_change_kg(answers->draws, &from, &to, &answer, answers->failure)) {
        return NULL;
    }
    return json_pack("{s:o, s:f, s:o, s:f, s:o}", "from",
                     up_json_text(file->water[from.water].name), "from_kg_m3", from.water_kg_m3,
                     "to", up_json_text(file->water[to.water].name), "to_kg_m3", to.water_kg_m3,
                     "lead_to_add", kit_answer_to_json(&answer, "kg"));
}

/* ---- the record of predictions ---- */

static const double COVERAGE = 0.95;

/* Exact bounds of a binomial share, 95 % (Clopper and Pearson, Biometrika 26 (1934) 404). */
static void binomial_bounds(unsigned held, unsigned of, double *low, double *high) {
    *low = held > 0 ? gsl_cdf_beta_Pinv(0.025, held, of - held + 1.0) : 0;
    *high = held < of ? gsl_cdf_beta_Pinv(0.975, held + 1.0, of - held) : 1;
}

static json_t *predictions_of(const struct answers *answers) {
    const struct up_kit *kit = &answers->file->kit;
    struct up_kit_prediction prediction[UP_KIT_CHECKS_MAX];
    unsigned held = 0, of = 0;
    double low, high;
    if (!up_kit_predict(kit, prediction, answers->failure)) {
        return NULL;
    }
    json_t *list = json_array();
    for (size_t i = 1; i < kit->checks; i++) {
        of++;
        held += prediction[i].inside;
        json_array_append_new(list, json_pack("{s:o, s:o, s:b}", "check",
                                              up_json_text(kit->check[i].label), "lift_predicted",
                                              kit_answer_to_json(&prediction[i].lift_kg, "kg"),
                                              "inside", (int)prediction[i].inside));
    }
    binomial_bounds(held, of > 0 ? of : 1, &low, &high);
    return json_pack("{s:o, s:i, s:i, s:o, s:o, s:o}", "checks", list, "inside", (int)held, "of",
                     (int)of, "share_low", of > 0 ? up_json_number(low) : json_null(), "share_high",
                     of > 0 ? up_json_number(high) : json_null(), "verdict",
                     of < PREDICTIONS_LEAST ? json_null()
                     : low > COVERAGE       ? json_string("wider than need be")
                     : high < COVERAGE      ? json_string("too narrow")
                                            : json_string("as claimed"));
}

/* What to measure where an input, by the beginning of its name, rules the answer. */
static const char *advice_on(const char *input) {
    static const char *const advice[][2] = {
        {"breath", "do another weight check, at the stop with little gas, over several breaths"},
        {"suit gas", "do weight checks at two depths, 3 m apart or more"},
        {"error of the gauge", "compare the gauge with another one"},
        {"mass of the body", "weigh the diver"},
        {"density of", "nothing that is easily measured"},
        {"mass of", "weigh this lead on a scale"},
        {"gas of", "weigh it on the bench at the depth of the check"},
        {"volume of", "dip it, or weigh it on the bench"},
        {"buoyancy of", "weigh it on the bench"}};
    size_t i = 0, last = sizeof advice / sizeof *advice - 1;
    while (i < last && strncmp(input, advice[i][0], strlen(advice[i][0])) != 0) {
        i++;
    }
    return advice[i][1];
}

/* What rules the lead at the nearly empty stop, the most first. */
static json_t *shares_of(const struct answers *answers) {
    struct up_kit_share share[SHARES_SHOWN];
    struct up_kit_state state = state_at(answers->file, answers->file->dive.stop_m, NEAR_EMPTY_BAR);
    size_t count = up_kit_shares(answers->draws, &state, share, SHARES_SHOWN);
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        json_array_append_new(list, json_pack("{s:o, s:f, s:s}", "input",
                                              up_json_text(share[i].name), "share", share[i].share,
                                              "measure", advice_on(share[i].name)));
    }
    return list;
}

/* Gear of the catalogue, and what of it is doubtful but accepted. */
static json_t *gear_of_kit(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    json_t *list = json_array();
    for (size_t i = 0; i < file->kit.parts; i++) {
        if (file->source[i] == NULL && file->samples[i] == 0) {
            continue;
        }
        json_t *accepted = json_array();
        for (unsigned doubt = 0; doubt < KIT_DOUBTS; doubt++) {
            if ((file->accepted[i] >> doubt & 1) != 0) {
                json_array_append_new(accepted, json_string(kit_doubts[doubt].word));
            }
        }
        json_array_append_new(list, json_pack("{s:o, s:b, s:i, s:o}", "name",
                                              up_json_text(file->kit.part[i].name), "spare",
                                              (int)file->kit.part[i].spare, "samples",
                                              (int)file->samples[i], "accepted", accepted));
    }
    return list;
}

/* ---- all together ---- */

static bool set(json_t *document, const char *key, json_t *value) {
    return value != NULL && json_object_set_new(document, key, value) == 0;
}

static bool fill(const struct answers *answers, json_t *document) {
    const struct kit_file *file = answers->file;
    double effective_draws;
    size_t pieces;
    static const struct {
        const char *key;
        json_t *(*of)(const struct answers *answers);
    } member[] = {{"lead", lead_of},           {"other_water", other_water_of},
                  {"dive", dive_of},           {"worst_cases", worst_of},
                  {"picture", picture_of},     {"surplus", surplus_of},
                  {"cylinders", cylinders_of}, {"moments", moments_of},
                  {"fins", fins_of},           {"swaps", swaps_of},
                  {"moves", moves_of},         {"models", models_of},
                  {"rules", shares_of},        {"predictions", predictions_of},
                  {"gear", gear_of_kit}};
    bool good =
        set(document, "water",
            json_pack("{s:o, s:f, s:f}", "name", up_json_text(file->dive.water.name),
                      "density_kg_m3", file->dive.state.water_kg_m3, "u_density_kg_m3",
                      file->dive.state.u_water_kg_m3)) &&
        set(document, "lead_entered_kg", json_real(lead_worn_kg(file, false, &pieces))) &&
        set(document, "ditchable_kg", json_real(lead_worn_kg(file, true, &pieces))) &&
        set(document, "air_pressure_hpa", json_real(file->dive.state.air_pressure_pa / 100)) &&
        set(document, "checks_agree",
            json_real(up_kit_agreement(answers->draws, &effective_draws))) &&
        set(document, "effective_draws", json_real(effective_draws)) &&
        set(document, "jacket_lift_kg", up_json_number(jacket_lift_kg(file))) &&
        set(document, "breath_moment_nm", json_real(UP_KIT_BREATH_NM));
    for (size_t i = 0; good && i < sizeof member / sizeof *member; i++) {
        good = set(document, member[i].key, member[i].of(answers));
    }
    return good && set(document, "jacket_needs_kg",
                       up_json_number(jacket_needs_kg(document, file->dive.state.water_kg_m3)));
}

json_t *up_kit_report(const char *path, struct up_catalogue *catalogue,
                      struct up_failure *failure) {
    struct kit_file *file = up_allocate(1, sizeof *file);
    struct answers answers = {.file = file, .failure = failure};
    json_t *document = NULL;
    if (kit_read(path, catalogue, file, failure)) {
        if (up_kit_solve(&file->kit, &answers.draws, failure)) {
            document = json_pack("{s:s}", "schema", "upthrust-kit-report-1");
            document = list_or_null(fill(&answers, document), document);
            up_kit_free(answers.draws);
        }
        kit_release(file);
    }
    free(file);
    return document;
}
