/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "internal.h"

/* All that the model starts from: a term that is exactly nothing is left out. "sensitivity" is in
   kg per unit of the input. */
static json_t *budget_to_json(const struct up_term term[UP_INPUT_COUNT]) {
    json_t *list = json_array();
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        enum up_input input = (enum up_input)i;
        char evaluation[2] = {term[i].evaluation != '\0' ? term[i].evaluation : 'B', '\0'};
        if (term[i].u > 0 || term[i].value != 0) {
            json_array_append_new(
                list, json_pack("{s:s, s:s, s:o, s:o, s:o, s:s, s:s, s:o, s:o, s:s}", "name",
                                up_input_name(input), "unit", up_input_unit(input), "value",
                                number_or_null(term[i].value), "u", number_or_null(term[i].u),
                                "dof", number_or_null(term[i].dof), "distribution",
                                up_distribution_name(term[i].distribution), "evaluation",
                                evaluation, "sensitivity", number_or_null(term[i].sensitivity),
                                "share_of_variance", number_or_null(term[i].share), "shared_by",
                                up_sharing_name(up_input_sharing(input))));
        }
    }
    return list;
}

static void set_number(json_t *json, const char *key, double value) {
    json_object_set_new(json, key, number_or_null(value));
}

static void set_water(json_t *json, const struct up_result *result) {
    json_object_set_new(json, "water", clean_string(result->water.name));
    json_object_set_new(json, "basis", json_string(result->measured ? "measured" : "calculated"));
    set_number(json, "water_density_kg_m3", result->water_density_kg_m3.value);
    set_number(json, "u_water_density_kg_m3", result->water_density_kg_m3.u);
    set_number(json, "water_temp_c", result->water.temp_c);
    set_number(json, "salinity_g_kg", result->water.salinity_g_kg);
    set_number(json, "depth_m", result->water.depth_m);
    set_number(json, "immersion_depth_m", result->immersion_depth_m);
    set_number(json, "air_pressure_pa", result->air_pressure_pa);
    set_number(json, "soak_s", result->soak_s);
}

static void set_answer(json_t *json, const struct up_result *result) {
    const struct up_answer *answer = &result->answer;
    set_number(json, "buoyancy_g", answer->buoyancy_kg.value * 1e3);
    set_number(json, "u_buoyancy_g", answer->buoyancy_kg.u * 1e3);
    set_number(json, "dof", answer->buoyancy_kg.dof);
    set_number(json, "expanded_u_g", answer->expanded_u_kg * 1e3);
    set_number(json, "coverage", result->question.coverage);
    set_number(json, "tolerance_g", result->question.tolerance_kg * 1e3);
    set_number(json, "confidence", result->question.confidence);
    set_number(json, "confidence_at_look", up_confidence_at_look(&result->question));
    set_number(json, "probability_positive", answer->probability_positive);
    set_number(json, "probability_neutral", answer->probability_neutral);
    set_number(json, "probability_negative", answer->probability_negative);
    json_object_set_new(json, "class", json_string(up_class_name(answer->class)));
    set_number(json, "guard_low_g", answer->guard_low_kg * 1e3);
    set_number(json, "guard_high_g", answer->guard_high_kg * 1e3);
    json_object_set_new(json, "more_trials",
                        result->trials_would_decide ? json_integer(result->more_trials)
                                                    : json_null());
    set_number(json, "volume_m3", answer->volume_m3);
    set_number(json, "mass_kg", answer->mass_kg);
}

/* How the interval was come by, and the first order beside it. */
static void set_method(json_t *json, const struct up_answer *answer) {
    json_object_set_new(json, "interval_by", json_string("Monte Carlo"));
    set_number(json, "first_order_expanded_u_g", answer->first_order_expanded_u_kg * 1e3);
    set_number(json, "numerical_tolerance_g", answer->numerical_tolerance_kg * 1e3);
    json_object_set_new(json, "first_order_agrees", json_boolean(answer->first_order_agrees));
    json_object_set_new(json, "draws", json_integer(answer->draws));
    json_object_set_new(json, "draws_stable", json_boolean(answer->stable));
    set_number(json, "draws_mean_g", answer->draws_mean_kg * 1e3);
    set_number(json, "draws_u_g", answer->draws_u_kg * 1e3);
}

/* ---- the model ---- */

/* The constants beside the budget's terms; both ways. */
struct constant {
    const char *name;
    size_t offset;
};

#define CONSTANT(name)                                                                             \
    { #name, offsetof(struct up_weighing, name) }
static const struct constant constants[] = {CONSTANT(calibration_air_kg_m3),
                                            CONSTANT(tank_density_slope_kg_m3_k),
                                            CONSTANT(tank_density_slope_kg_m3_m),
                                            CONSTANT(tank_temp_c),
                                            CONSTANT(line_area_m2),
                                            CONSTANT(tank_area_m2),
                                            CONSTANT(target_temp_c)};
enum { CONSTANTS = sizeof constants / sizeof constants[0] };

static json_t *model_to_json(const struct up_result *result) {
    const struct up_weighing *weighing = &result->weighing;
    const struct up_question *question = &result->question;
    json_t *json =
        json_pack("{s:o, s:b, s:b, s:b, s:i, s:i, s:i, s:I}", "calibration_id",
                  clean_string(result->calibration_id), "weighed_in_air", weighing->weighed_in_air,
                  "in_tank", weighing->in_tank, "air_share_known", question->air_share_known,
                  "looks", (int)question->looks, "draws_asked", (int)question->draws, "digits",
                  (int)question->digits, "seed", (json_int_t)question->seed);
    for (size_t i = 0; i < CONSTANTS; i++) {
        const char *from = (const char *)weighing + constants[i].offset;
        set_number(json, constants[i].name, *(const double *)(const void *)from);
    }
    return json;
}

json_t *up_result_to_json(const struct up_result *result) {
    json_t *json = json_pack("{s:s, s:s, s:b, s:I, s:i, s:o}", "item_id", result->item_id, "run_id",
                             result->run_id, "compressible", result->compressible, "trials",
                             (json_int_t)result->trials, "pieces", result->pieces, "method",
                             clean_string(result->method));
    set_water(json, result);
    set_answer(json, result);
    set_method(json, &result->answer);
    set_sides(json, result);
    json_object_set_new(json, "budget", budget_to_json(result->weighing.term));
    if (result->has_model) {
        json_object_set_new(json, "model", model_to_json(result));
    }
    return json;
}

/* ---- back from a record, which may be older than a member ---- */

static bool truth_of(const json_t *body, const char *key) {
    return json_is_true(json_object_get(body, key));
}

static unsigned count_of(const json_t *body, const char *key) {
    json_int_t number = json_integer_value(json_object_get(body, key));
    return number > 0 && number < 1000000000 ? (unsigned)number : 0;
}

static const char *word_of(const json_t *body, const char *key) {
    const char *text = json_string_value(json_object_get(body, key));
    return text != NULL ? text : "";
}

/* As much of it as there is room for; clean text is cut between characters. */
static void copy_word(const json_t *body, const char *key, char *to, size_t size) {
    const char *text = word_of(body, key);
    size_t length = strlen(text);
    for (length = length < size ? length : size - 1;
         length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80; length--) {
    }
    memcpy(to, text, length);
    to[length] = '\0';
}

enum up_class up_class_of(const char *word) {
    for (int i = UP_CLASS_UNDECIDED; i <= UP_CLASS_NEGATIVE; i++) {
        if (strcmp(up_class_name((enum up_class)i), word) == 0) {
            return (enum up_class)i;
        }
    }
    return UP_CLASS_UNDECIDED;
}

static struct up_term term_of(const json_t *line) {
    static const enum up_distribution known[] = {UP_NORMAL, UP_STUDENT, UP_RECTANGULAR};
    const json_t *dof = json_object_get(line, "dof");
    struct up_term term = {.value = up_record_number(line, "value"),
                           .u = up_record_number(line, "u"),
                           .dof = json_is_number(dof) ? json_number_value(dof) : (double)INFINITY,
                           .evaluation = word_of(line, "evaluation")[0],
                           .sensitivity = up_record_number(line, "sensitivity"),
                           .share = up_record_number(line, "share_of_variance")};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(up_distribution_name(known[i]), word_of(line, "distribution")) == 0) {
            term.distribution = known[i];
        }
    }
    return term;
}

/* False where a line is none of this model's: then nothing can be computed again. */
static bool take_budget(const json_t *budget, struct up_term term[UP_INPUT_COUNT]) {
    const json_t *line;
    size_t place;
    bool all = json_is_array(budget);
    json_array_foreach(budget, place, line) {
        int i = 0;
        while (i < UP_INPUT_COUNT &&
               strcmp(up_input_name((enum up_input)i), word_of(line, "name")) != 0) {
            i++;
        }
        if (i < UP_INPUT_COUNT) {
            term[i] = term_of(line);
        }
        all = all && i < UP_INPUT_COUNT;
    }
    return all;
}

/* More were never asked for; a record that says so would keep somebody waiting. */
enum { DRAWS_MOST = 1000000 };

static bool take_model(const json_t *model, struct up_result *result) {
    struct up_weighing *weighing = &result->weighing;
    bool all = json_is_object(model);
    copy_word(model, "calibration_id", result->calibration_id, sizeof result->calibration_id);
    weighing->weighed_in_air = truth_of(model, "weighed_in_air");
    weighing->in_tank = truth_of(model, "in_tank");
    result->question.air_share_known = truth_of(model, "air_share_known");
    result->question.looks = count_of(model, "looks");
    result->question.draws = count_of(model, "draws_asked");
    if (result->question.draws > DRAWS_MOST) {
        result->question.draws = 0;
    }
    result->question.digits = count_of(model, "digits");
    result->question.seed = count_of(model, "seed");
    for (size_t i = 0; i < CONSTANTS; i++) {
        char *to = (char *)weighing + constants[i].offset;
        all = take_number(model, constants[i].name, (double *)(void *)to) && all;
    }
    return all;
}

static struct up_answer answer_of(const json_t *body) {
    const json_t *dof = json_object_get(body, "dof");
    return (struct up_answer){
        .buoyancy_kg = {up_record_number(body, "buoyancy_g") * 1e-3,
                        up_record_number(body, "u_buoyancy_g") * 1e-3,
                        json_is_number(dof) ? json_number_value(dof) : (double)INFINITY},
        .expanded_u_kg = up_record_number(body, "expanded_u_g") * 1e-3,
        .probability_positive = up_record_number(body, "probability_positive"),
        .probability_neutral = up_record_number(body, "probability_neutral"),
        .probability_negative = up_record_number(body, "probability_negative"),
        .class = up_class_of(word_of(body, "class")),
        .volume_m3 = up_record_number(body, "volume_m3"),
        .mass_kg = up_record_number(body, "mass_kg"),
        .guard_low_kg = up_record_number(body, "guard_low_g") * 1e-3,
        .guard_high_kg = up_record_number(body, "guard_high_g") * 1e-3,
        .first_order_expanded_u_kg = up_record_number(body, "first_order_expanded_u_g") * 1e-3,
        .numerical_tolerance_kg = up_record_number(body, "numerical_tolerance_g") * 1e-3,
        .first_order_agrees = truth_of(body, "first_order_agrees"),
        .stable = truth_of(body, "draws_stable"),
        .draws = count_of(body, "draws"),
        .draws_mean_kg = up_record_number(body, "draws_mean_g") * 1e-3,
        .draws_u_kg = up_record_number(body, "draws_u_g") * 1e-3};
}

void up_result_from_json(const json_t *body, struct up_result *result) {
    *result = (struct up_result){
        .water = {.temp_c = up_record_number(body, "water_temp_c"),
                  .salinity_g_kg = up_record_number(body, "salinity_g_kg"),
                  .depth_m = up_record_number(body, "depth_m")},
        .measured = strcmp(word_of(body, "basis"), "measured") == 0,
        .water_density_kg_m3 = up_known(up_record_number(body, "water_density_kg_m3"),
                                        up_record_number(body, "u_water_density_kg_m3")),
        .immersion_depth_m = up_record_number(body, "immersion_depth_m"),
        .air_pressure_pa = up_record_number(body, "air_pressure_pa"),
        .soak_s = up_record_number(body, "soak_s"),
        .compressible = truth_of(body, "compressible"),
        .answer = answer_of(body),
        .question = {.tolerance_kg = up_record_number(body, "tolerance_g") * 1e-3,
                     .coverage = up_record_number(body, "coverage"),
                     .confidence = up_record_number(body, "confidence")},
        .trials = count_of(body, "trials"),
        .pieces = (int)count_of(body, "pieces"),
        .trials_would_decide = json_is_integer(json_object_get(body, "more_trials")),
        .more_trials = count_of(body, "more_trials")};
    copy_word(body, "item_id", result->item_id, sizeof result->item_id);
    copy_word(body, "run_id", result->run_id, sizeof result->run_id);
    copy_word(body, "water", result->water.name, sizeof result->water.name);
    copy_word(body, "method", result->method, sizeof result->method);
    take_sides(body, result);
    bool terms = take_budget(json_object_get(body, "budget"), result->weighing.term);
    result->has_model = take_model(json_object_get(body, "model"), result) && terms;
}

/* ---- the decisions ---- */

/* A record of its own: who asks another question later adds another decision and keeps this one. */
static json_t *decision_of(const json_t *result, const char *result_id, const char *rule) {
    static const char *const members[] = {"item_id",
                                          "run_id",
                                          "water",
                                          "tolerance_g",
                                          "confidence",
                                          "coverage",
                                          "probability_positive",
                                          "probability_neutral",
                                          "probability_negative",
                                          "class",
                                          "confidence_at_look",
                                          "guard_low_g",
                                          "guard_high_g",
                                          "more_trials"};
    json_t *json = json_pack("{s:s, s:b, s:o}", "result_id", result_id, "rejudged", rule != NULL,
                             "rule", clean_string(rule != NULL ? rule : word_of(result, "method")));
    for (size_t i = 0; i < sizeof members / sizeof members[0]; i++) {
        json_object_set(json, members[i], json_object_get(result, members[i]));
    }
    return json;
}

static bool add_one(struct up_catalogue *catalogue, const struct up_result *result,
                    const char *bench, struct up_failure *failure) {
    char id[UP_ID_SIZE] = "";
    json_t *body = up_result_to_json(result), *decision = NULL;
    bool good = up_catalogue_add(catalogue, "result", NULL, bench, body, NULL, id, failure);
    if (good) {
        decision = decision_of(body, id, NULL);
        good = up_catalogue_add(catalogue, "decision", NULL, bench, decision, NULL, NULL, failure);
    }
    json_decref(decision);
    json_decref(body);
    return good;
}

bool up_results_add(struct up_catalogue *catalogue, const struct up_result *result, size_t results,
                    const char *bench, struct up_failure *failure) {
    bool good = catalogue_begin(catalogue, failure);
    if (!good) {
        return false;
    }
    for (size_t i = 0; i < results && good; i++) {
        good = add_one(catalogue, &result[i], bench, failure);
    }
    return catalogue_end(catalogue, good, failure);
}

static bool decide_one(struct up_catalogue *catalogue, const struct up_decided *decided,
                       struct up_failure *failure) {
    if (decided->result_id[0] == '\0') {
        return add_one(catalogue, &decided->result, decided->bench, failure);
    }
    json_t *body = up_result_to_json(&decided->result);
    json_t *decision = decision_of(body, decided->result_id, decided->rule);
    bool good = up_catalogue_add(catalogue, "decision", NULL, decided->bench, decision, NULL, NULL,
                                 failure);
    json_decref(decision);
    json_decref(body);
    return good;
}

bool up_decisions_add(struct up_catalogue *catalogue, const struct up_decided *decided,
                      size_t count, struct up_failure *failure) {
    bool good = catalogue_begin(catalogue, failure);
    if (!good) {
        return false;
    }
    for (size_t i = 0; i < count && good; i++) {
        good = decide_one(catalogue, &decided[i], failure);
    }
    return catalogue_end(catalogue, good, failure);
}

/* Oldest first: the last stays. */
static bool note_decision(const struct up_record *record, void *context) {
    json_t *by_result = context;
    if (truth_of(record->body, "rejudged")) {
        json_object_set(by_result, word_of(record->body, "result_id"), record->body);
    }
    return true;
}

json_t *up_decisions_later(struct up_catalogue *catalogue, struct up_failure *failure) {
    json_t *by_result = json_object();
    if (!up_catalogue_each(catalogue, "decision", note_decision, by_result, failure)) {
        json_decref(by_result);
        return NULL;
    }
    return by_result;
}

void up_decision_apply(const json_t *decision, struct up_result *result) {
    struct up_answer *answer = &result->answer;
    if (decision == NULL) {
        return;
    }
    result->rejudged = true;
    result->question.tolerance_kg = up_record_number(decision, "tolerance_g") * 1e-3;
    result->question.confidence = up_record_number(decision, "confidence");
    answer->probability_positive = up_record_number(decision, "probability_positive");
    answer->probability_neutral = up_record_number(decision, "probability_neutral");
    answer->probability_negative = up_record_number(decision, "probability_negative");
    answer->class = up_class_of(word_of(decision, "class"));
    answer->guard_low_kg = up_record_number(decision, "guard_low_g") * 1e-3;
    answer->guard_high_kg = up_record_number(decision, "guard_high_g") * 1e-3;
    result->trials_would_decide = json_is_integer(json_object_get(decision, "more_trials"));
    result->more_trials = count_of(decision, "more_trials");
}
