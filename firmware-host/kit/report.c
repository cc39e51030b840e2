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

/* Nearly empty: what a gauge still shows when little comes out (a choice of ours). */
static const double NEAR_EMPTY_BAR = 10;
/* A breath's own moment about the hips: half a kilogram, 0.45 m above them (a choice of ours). */
static const double BREATH_KG = 0.5, LUNGS_M = 0.45, GRAVITY_M_S2 = 9.80665;
/* Fewer predictions than this give no verdict. */
enum { PREDICTIONS_LEAST = 20, SHARES_SHOWN = 6 };

struct answers {
    const struct kit_file *file;
    struct up_kit_draws *draws;
    struct up_failure *failure;
};

static json_t *answer_to_json(const struct up_kit_answer *answer, const char *unit) {
    char value[40], u[40], low[40], high[40], least[40], most[40];
    snprintf(value, sizeof value, "value_%s", unit);
    snprintf(u, sizeof u, "u_%s", unit);
    snprintf(low, sizeof low, "low_%s", unit);
    snprintf(high, sizeof high, "high_%s", unit);
    snprintf(least, sizeof least, "least_%s", unit);
    snprintf(most, sizeof most, "most_%s", unit);
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o}", value, up_json_number(answer->value), u,
                     up_json_number(answer->u), low, up_json_number(answer->low), high,
                     up_json_number(answer->high), least, up_json_number(answer->least), most,
                     up_json_number(answer->most));
}

/* The dive's water, lead as in the kit. */
static struct up_kit_state state_at(const struct kit_file *file, double depth_m, double bar) {
    struct up_kit_state state = file->dive.state;
    state.depth_m = depth_m;
    state.pressure_bar = bar;
    state.u_depth_m = state.u_pressure_bar = state.u_gas_temp_c = 0; /* asked, not read */
    return state;
}

static bool has_kind(const struct kit_file *file, enum up_part_kind kind) {
    for (size_t i = 0; i < file->kit.parts; i++) {
        if (file->kit.part[i].kind == kind) {
            return true;
        }
    }
    return false;
}

/* ---- lead ---- */

static bool add_lead(const struct answers *answers, json_t *list, const char *when, double depth_m,
                     double bar) {
    struct up_kit_state state = state_at(answers->file, depth_m, bar);
    struct up_kit_answer answer;
    if (!up_kit_lead_kg(answers->draws, &state, &answer, answers->failure)) {
        return false;
    }
    json_array_append_new(list, json_pack("{s:s, s:f, s:f, s:o}", "when", when, "depth_m", depth_m,
                                          "pressure_bar", bar, "lead_to_add",
                                          answer_to_json(&answer, "kg")));
    return true;
}

static json_t *lead_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    json_t *list = json_array();
    bool good =
        add_lead(answers, list, "stop, nearly empty", dive->stop_m, NEAR_EMPTY_BAR) &&
        add_lead(answers, list, "stop, with the reserve", dive->stop_m, dive->reserve_bar) &&
        add_lead(answers, list, "surface, full", 0, dive->start_bar);
    if (!good) {
        json_decref(list);
        return NULL;
    }
    return list;
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
    return json_pack("{s:s, s:f, s:s, s:f, s:o}", "from", file->water[from.water].name,
                     "from_kg_m3", from.water_kg_m3, "to", file->water[to.water].name, "to_kg_m3",
                     to.water_kg_m3, "lead_to_add", answer_to_json(&answer, "kg"));
}

/* ---- through the dive ---- */

static bool add_moment(const struct answers *answers, json_t *list, const char *when,
                       double depth_m, double bar) {
    struct up_kit_state state = state_at(answers->file, depth_m, bar);
    struct up_kit_answer answer;
    if (!up_kit_lift_kg(answers->draws, &state, &answer, answers->failure)) {
        return false;
    }
    json_array_append_new(list,
                          json_pack("{s:s, s:f, s:f, s:o}", "when", when, "depth_m", depth_m,
                                    "pressure_bar", bar, "lift", answer_to_json(&answer, "kg")));
    return true;
}

static json_t *dive_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    json_t *list = json_array();
    bool good =
        add_moment(answers, list, "surface, full", 0, dive->start_bar) &&
        add_moment(answers, list, "deepest point, full", dive->deepest_m, dive->start_bar) &&
        add_moment(answers, list, "deepest point, with the reserve", dive->deepest_m,
                   dive->reserve_bar) &&
        add_moment(answers, list, "stop, with the reserve", dive->stop_m, dive->reserve_bar) &&
        add_moment(answers, list, "stop, nearly empty", dive->stop_m, NEAR_EMPTY_BAR) &&
        add_moment(answers, list, "surface, nearly empty", 0, NEAR_EMPTY_BAR);
    if (!good) {
        json_decref(list);
        return NULL;
    }
    return list;
}

/* ---- cylinders ---- */

static bool part_lift(const struct answers *answers, size_t part, double bar,
                      struct up_kit_answer *answer) {
    struct up_kit_state state = state_at(answers->file, answers->file->dive.stop_m, bar);
    return up_kit_part_lift_kg(answers->draws, part, &state, answer, answers->failure);
}

/* The gauge's pressure below which a cylinder floats; NaN where it does not before it is empty. */
static bool find_turning(const struct answers *answers, size_t part, double *bar) {
    struct up_kit_answer answer;
    double low_bar = 0, high_bar = answers->file->dive.start_bar;
    *bar = (double)NAN;
    if (!part_lift(answers, part, low_bar, &answer)) {
        return false;
    }
    if (answer.value <= 0) {
        return true;
    }
    while (high_bar - low_bar > 1) {
        double middle_bar = (low_bar + high_bar) / 2;
        if (!part_lift(answers, part, middle_bar, &answer)) {
            return false;
        }
        *(answer.value > 0 ? &low_bar : &high_bar) = middle_bar;
    }
    *bar = low_bar;
    return true;
}

static json_t *cylinders_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    const double bars[] = {file->dive.start_bar, file->dive.reserve_bar, NEAR_EMPTY_BAR};
    json_t *list = json_array();
    for (size_t i = 0; i < file->kit.parts; i++) {
        double turning_bar;
        if (file->kit.part[i].kind != UP_PART_CYLINDER) {
            continue;
        }
        json_t *lifts = json_array();
        for (size_t k = 0; k < sizeof bars / sizeof *bars; k++) {
            struct up_kit_answer answer;
            if (part_lift(answers, i, bars[k], &answer)) {
                json_array_append_new(lifts, json_pack("{s:f, s:o}", "pressure_bar", bars[k],
                                                       "lift", answer_to_json(&answer, "kg")));
            }
        }
        if (!find_turning(answers, i, &turning_bar)) {
            json_decref(lifts);
            json_decref(list);
            return NULL;
        }
        json_array_append_new(list, json_pack("{s:o, s:o, s:o}", "name",
                                              up_json_text(file->kit.part[i].name), "lifts", lifts,
                                              "floats_below_bar", up_json_number(turning_bar)));
    }
    return list;
}

/* ---- the worst cases, always ---- */

enum loss { LOSE_NOTHING, LOSE_ALL_LEAD, LOSE_ONE_POUCH };

static void lose(const struct kit_file *file, enum loss loss, struct up_kit_state *state) {
    for (size_t i = 0; i < file->kit.parts; i++) {
        if (loss != LOSE_NOTHING && file->kit.part[i].ditchable) {
            state->without[i] = true;
            if (loss == LOSE_ONE_POUCH) {
                return;
            }
        }
    }
}

static double jacket_lift_kg(const struct kit_file *file) {
    double lift_kg = 0;
    for (size_t i = 0; i < file->kit.parts; i++) {
        lift_kg += file->kit.part[i].kind == UP_PART_JACKET ? file->kit.part[i].lift_kg : 0;
    }
    return lift_kg;
}

static bool add_worst(const struct answers *answers, json_t *list, const char *name, double depth_m,
                      double bar, enum loss loss, bool squeezed) {
    struct up_kit_state state = state_at(answers->file, depth_m, bar);
    struct up_kit_answer answer;
    state.suit_gas_gone = squeezed;
    lose(answers->file, loss, &state);
    if (!up_kit_lift_kg(answers->draws, &state, &answer, answers->failure)) {
        return false;
    }
    json_array_append_new(list,
                          json_pack("{s:s, s:f, s:f, s:o}", "case", name, "depth_m", depth_m,
                                    "pressure_bar", bar, "lift", answer_to_json(&answer, "kg")));
    return true;
}

static json_t *worst_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    json_t *list = json_array();
    bool good =
        add_worst(answers, list, "deepest point, full, suit gas gone, jacket empty",
                  dive->deepest_m, dive->start_bar, LOSE_NOTHING, true) &&
        add_worst(answers, list, "surface, full, jacket failed, ditchable lead dropped", 0,
                  dive->start_bar, LOSE_ALL_LEAD, false) &&
        add_worst(answers, list, "surface, full, jacket failed, one ditchable piece lost", 0,
                  dive->start_bar, LOSE_ONE_POUCH, false) &&
        add_worst(answers, list, "stop, nearly empty, ditchable lead lost: uncontrolled ascent",
                  dive->stop_m, NEAR_EMPTY_BAR, LOSE_ALL_LEAD, false);
    if (!good) {
        json_decref(list);
        return NULL;
    }
    return list;
}

/* ---- moments ---- */

static json_t *moments_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    struct up_kit_state state = state_at(file, file->dive.stop_m, file->dive.reserve_bar);
    json_t *list = json_array();
    for (size_t i = 0; i < file->kit.parts; i++) {
        struct up_kit_answer lift, moment;
        if (isnan(file->kit.part[i].place_m.value) ||
            !up_kit_part_lift_kg(answers->draws, i, &state, &lift, answers->failure) ||
            !up_kit_part_moment_nm(answers->draws, i, &state, &moment, answers->failure)) {
            continue;
        }
        json_array_append_new(
            list, json_pack("{s:o, s:f, s:o, s:o}", "name", up_json_text(file->kit.part[i].name),
                            "place_m", file->kit.part[i].place_m.value, "lift",
                            answer_to_json(&lift, "kg"), "moment", answer_to_json(&moment, "nm")));
    }
    return list;
}

/* ---- the record of predictions ---- */

/* Exact bounds of a binomial share, 95 % (Clopper and Pearson, Biometrika 26 (1934) 404). */
static void binomial_bounds(unsigned held, unsigned of, double *low, double *high) {
    *low = held > 0 ? gsl_cdf_beta_Pinv(0.025, held, of - held + 1.0) : 0;
    *high = held < of ? gsl_cdf_beta_Pinv(0.975, held + 1.0, of - held) : 1;
}

static json_t *predictions_of(const struct answers *answers) {
    const struct up_kit *kit = &answers->file->kit;
    json_t *list = json_array();
    unsigned held = 0, of = 0;
    double low, high;
    for (size_t i = 1; i < kit->checks; i++) {
        struct up_kit_prediction prediction;
        if (!up_kit_predict(kit, i, &prediction, answers->failure)) {
            json_decref(list);
            return NULL;
        }
        of++;
        held += prediction.inside;
        json_array_append_new(list, json_pack("{s:o, s:o, s:b}", "check",
                                              up_json_text(kit->check[i].label), "lift_predicted",
                                              answer_to_json(&prediction.lift_kg, "kg"), "inside",
                                              (int)prediction.inside));
    }
    binomial_bounds(held, of > 0 ? of : 1, &low, &high);
    return json_pack("{s:o, s:i, s:i, s:o, s:o, s:b}", "checks", list, "inside", (int)held, "of",
                     (int)of, "share_low", of > 0 ? up_json_number(low) : json_null(), "share_high",
                     of > 0 ? up_json_number(high) : json_null(), "enough",
                     of >= PREDICTIONS_LEAST);
}

static json_t *shares_of(const struct answers *answers) {
    struct up_kit_share share[SHARES_SHOWN];
    const struct kit_dive *dive = &answers->file->dive;
    struct up_kit_state state = state_at(answers->file, dive->stop_m, NEAR_EMPTY_BAR);
    size_t count = up_kit_shares(answers->draws, &state, share, SHARES_SHOWN);
    json_t *list = json_array();
    double rest = 1;
    for (size_t i = 0; i < count; i++) {
        rest -= share[i].share;
        json_array_append_new(list, json_pack("{s:o, s:f}", "input", up_json_text(share[i].name),
                                              "share", share[i].share));
    }
    json_array_append_new(list, json_pack("{s:s, s:f}", "input",
                                          "breath, and what was read at each check", "share",
                                          fmax(rest, 0)));
    return list;
}

/* ---- all together ---- */

static bool set(json_t *document, const char *key, json_t *value) {
    return value != NULL && json_object_set_new(document, key, value) == 0;
}

static bool fill(const struct answers *answers, json_t *document) {
    const struct kit_file *file = answers->file;
    return set(document, "water",
               json_pack("{s:s, s:f, s:f}", "name", file->dive.water.name, "density_kg_m3",
                         file->dive.state.water_kg_m3, "u_density_kg_m3",
                         file->dive.state.u_water_kg_m3)) &&
           set(document, "checks_agree", json_real(up_kit_agreement(answers->draws))) &&
           set(document, "effective_draws", json_real(up_kit_effective_draws(answers->draws))) &&
           set(document, "lead", lead_of(answers)) &&
           set(document, "other_water", other_water_of(answers)) &&
           set(document, "dive", dive_of(answers)) &&
           set(document, "cylinders", cylinders_of(answers)) &&
           set(document, "worst_cases", worst_of(answers)) &&
           set(document, "jacket_lift_kg",
               has_kind(file, UP_PART_JACKET) && jacket_lift_kg(file) > 0
                   ? json_real(jacket_lift_kg(file))
                   : json_null()) &&
           set(document, "moments", moments_of(answers)) &&
           set(document, "breath_moment_nm", json_real(BREATH_KG * LUNGS_M * GRAVITY_M_S2)) &&
           set(document, "rules", shares_of(answers)) &&
           set(document, "predictions", predictions_of(answers));
}

json_t *up_kit_report(const char *path, struct up_catalogue *catalogue,
                      struct up_failure *failure) {
    struct kit_file *file = up_allocate(1, sizeof *file);
    struct answers answers = {.file = file, .failure = failure};
    json_t *document = NULL;
    if (kit_read(path, catalogue, file, failure)) {
        if (up_kit_solve(&file->kit, &answers.draws, failure)) {
            document = json_pack("{s:s}", "schema", "upthrust-kit-report-1");
            if (!fill(&answers, document)) {
                json_decref(document);
                document = NULL;
            }
            up_kit_free(answers.draws);
        }
        kit_release(file);
    }
    free(file);
    return document;
}
