/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the records of results and decisions hold. A record may be older than a member. */
#include <string.h>

#include "catalogue/claim.h"
#include "internal.h"
#include "metrology/sequential.h"

/* ---- the budget: a term that is exactly nothing is left out ---- */

static json_t *distribution_to_json(const void *from) {
    return json_string(up_distribution_name(((const struct up_term *)from)->distribution));
}

static bool distribution_from_json(const json_t *value, void *to) {
    static const enum up_distribution known[] = {UP_NORMAL, UP_STUDENT, UP_RECTANGULAR};
    const char *name = json_string_value(value);
    for (size_t i = 0; name != NULL && i < sizeof known / sizeof known[0]; i++) {
        if (strcmp(up_distribution_name(known[i]), name) == 0) {
            ((struct up_term *)to)->distribution = known[i];
            return true;
        }
    }
    return false;
}

static json_t *evaluation_to_json(const void *from) {
    const char *letter = &((const struct up_term *)from)->evaluation;
    return *letter != '\0' ? json_stringn(letter, 1) : json_string("B");
}

static bool evaluation_from_json(const json_t *value, void *to) {
    const char *text = json_string_value(value);
    ((struct up_term *)to)->evaluation = text != NULL ? text[0] : '\0';
    return true;
}

#define MEMBERS_OF struct up_term
static const struct catalogue_member term_members[] = {
    TEXT_ALONE("name", 0, "of the input"),
    TEXT_ALONE("unit", 0, "of value and u"),
    NUMBER("value", value, UNIT_ONE, 0, "estimate of the input"),
    NUMBER("u", u, UNIT_ONE, NOT_NEGATIVE, "its standard uncertainty"),
    DOF("dof", dof, "degrees of freedom of u"),
    {OWN("distribution", MEMBER_TEXT, 0, distribution_to_json, distribution_from_json,
         "of the input")},
    {OWN("evaluation", MEMBER_TEXT, 0, evaluation_to_json, evaluation_from_json,
         "A by statistics, B by other means (GUM 4.2, 4.3)")},
    NUMBER("sensitivity", sensitivity, UNIT_ONE, 0, "kg per unit of the input"),
    NUMBER("share_of_variance", share, UNIT_ONE, 0, "of the combined variance"),
    TEXT_ALONE("shared_by", 0, "which results have this error in common"),
    END};
#undef MEMBERS_OF

static json_t *budget_to_json(const void *from) {
    const struct up_term *term = ((const struct up_result *)from)->weighing.term;
    json_t *list = json_array();
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        enum up_input input = (enum up_input)i;
        if (term[i].u > 0 || term[i].value != 0) {
            json_t *json = members_to_json(term_members, &term[i]);
            json_object_set_new(json, "name", json_string(up_input_name(input)));
            json_object_set_new(json, "unit", json_string(up_input_unit(input)));
            json_object_set_new(json, "shared_by",
                                json_string(up_sharing_name(up_input_sharing(input))));
            json_array_append_new(list, json);
        }
    }
    return list;
}

static int input_of(const char *name) {
    int i = 0;
    while (i < UP_INPUT_COUNT && strcmp(up_input_name((enum up_input)i), name) != 0) {
        i++;
    }
    return i;
}

/* False where a line is not part of this model: then nothing can be recomputed. */
static bool read_budget(const json_t *budget, struct up_term term[UP_INPUT_COUNT]) {
    const json_t *line;
    size_t place;
    bool all = json_is_array(budget);
    json_array_foreach(budget, place, line) {
        int input = input_of(up_record_text(line, "name"));
        all = all && input < UP_INPUT_COUNT;
        if (input < UP_INPUT_COUNT) {
            members_from_json(term_members, line, &term[input]);
        }
    }
    return all;
}

/* ---- the model: all that a result is computed from beside the budget's values ---- */

enum { DRAWS_MOST = 1000000 }; /* more would take long, and are never asked for */

#define MEMBERS_OF struct up_result
static const struct catalogue_member model_members[] = {
    TEXT("calibration_id", calibration_id, LATER, "the calibration that was used"),
    TRUTH("weighed_in_air", weighing.weighed_in_air, LATER, "so that its volume is known"),
    TRUTH("in_tank", weighing.in_tank, LATER, "the water asked for is the tank's own"),
    NUMBER("stuck_air_kg", weighing.stuck_air_kg, UNIT_KG, LATER | NOT_NEGATIVE,
           "lift in the tank of air that may have stayed through all shakes; null: not looked at"),
    TRUTH("air_share_known", question.air_share_known, LATER,
          "how much trapped air a shake frees is known"),
    INTEGER("looks", question.analyses, 0, LATER, "numbers of trials at which it could stop"),
    INTEGER("draws_asked", question.draws, DRAWS_MOST, LATER,
            "of the Monte Carlo; 0: until the digits stand still"),
    INTEGER("digits", question.digits, 0, LATER, "of u that must stand still"),
    INTEGER("seed", question.seed, 0, LATER, "of the draws"),
    NUMBER("calibration_air_kg_m3", weighing.calibration_air_kg_m3, UNIT_KG_M3, NEEDED,
           "air density while calibrating"),
    NUMBER("tank_density_slope_kg_m3_k", weighing.tank_density_slope_kg_m3_k, UNIT_KG_M3_K, NEEDED,
           "of the tank's water by temperature"),
    NUMBER("tank_density_slope_kg_m3_m", weighing.tank_density_slope_kg_m3_m, UNIT_KG_M3_M, NEEDED,
           "of the tank's water by depth"),
    NUMBER("tank_temp_c", weighing.tank_temp_c, UNIT_C, NEEDED, "of the tank's water"),
    NUMBER("line_area_m2", weighing.cord_area_m2, UNIT_M2, NEEDED, "cross-section of the line"),
    NUMBER("tank_area_m2", weighing.tank_area_m2, UNIT_M2, NEEDED, "of the tank's surface"),
    NUMBER("target_temp_c", weighing.target_temp_c, UNIT_C, NEEDED, "of the water asked for"),
    END};
#undef MEMBERS_OF

static json_t *model_to_json(const void *from) {
    return ((const struct up_result *)from)->has_model ? members_to_json(model_members, from)
                                                       : NULL;
}

/* ---- trials that were left out ---- */

static json_t *left_out_to_json(const void *from) {
    json_t *list = json_array();
    for (int i = 0; i < 64; i++) {
        if ((((const struct up_result *)from)->left_out >> i & 1) != 0) {
            json_array_append_new(list, json_integer(i + 1));
        }
    }
    return list;
}

static bool left_out_from_json(const json_t *value, void *to) {
    const json_t *number;
    size_t i;
    json_array_foreach(value, i, number) {
        json_int_t trial = json_integer_value(number);
        if (trial >= 1 && trial <= 64) {
            ((struct up_result *)to)->left_out |= (uint64_t)1 << (trial - 1);
        }
    }
    return true;
}

/* ---- the session's reference bodies ---- */

#define MEMBERS_OF struct up_reference_check
static const struct catalogue_member check_members[] = {
    TEXT("reference_id", id, 0, "the body"),
    TEXT("name", name, 0, "of the body, as it was then"),
    THOUSANDTHS("deviation_g", deviation_kg.value, UNIT_G, 0, "positive: reads too heavy"),
    THOUSANDTHS("u_deviation_g", deviation_kg.u, UNIT_G, NOT_NEGATIVE, "its standard uncertainty"),
    TRUTH("outside", outside, 0, "the deviation lies outside its limits"),
    TRUTH("confirmed", confirmed, 0, "the operator continued anyway"),
    END};
#undef MEMBERS_OF

/* ---- two points, and a second depth: the tank's own, so never read back ---- */

#define MEMBERS_OF struct up_moment
static const struct catalogue_member moment_members[] = {
    NUMBER("distance_m", distance_m, UNIT_M, 0, "between the two lines"),
    THOUSANDTHS("hook_end_g", hook_kg.value, UNIT_G, 0, "net buoyancy at the hook's end"),
    THOUSANDTHS("u_hook_end_g", hook_kg.u, UNIT_G, NOT_NEGATIVE, "its standard uncertainty"),
    THOUSANDTHS("far_end_g", far_kg.value, UNIT_G, 0, "net buoyancy at the other end"),
    THOUSANDTHS("u_far_end_g", far_kg.u, UNIT_G, NOT_NEGATIVE, "its standard uncertainty"),
    NUMBER("moment_nm", moment_nm.value, UNIT_NM, 0,
           "about the middle; positive: the hook's end sinks"),
    NUMBER("u_moment_nm", moment_nm.u, UNIT_NM, NOT_NEGATIVE, "its standard uncertainty"),
    END};
#undef MEMBERS_OF

static json_t *moment_to_json(const void *from) {
    const struct up_moment *moment = &((const struct up_result *)from)->moment;
    return moment->distance_m > 0 ? members_to_json(moment_members, moment) : NULL;
}

struct predicted_at {
    double depth_m;
    struct up_gas_prediction at;
};

#define MEMBERS_OF struct predicted_at
static const struct catalogue_member predicted_members[] = {
    NUMBER("depth_m", depth_m, UNIT_M, 0, "of the middle of the item"),
    THOUSANDTHS("buoyancy_g", at.buoyancy_kg.value, UNIT_G, 0, "in the tank's water there"),
    THOUSANDTHS("u_buoyancy_g", at.buoyancy_kg.u, UNIT_G, NOT_NEGATIVE, "its standard uncertainty"),
    END};
#undef MEMBERS_OF
static const struct catalogue_nested predicted_list = {.members = predicted_members};

/* Diving depths, in the tank's water and at its temperature; those that the gas law reaches. */
static json_t *predicted_to_json(const void *from) {
    static const double depths_m[] = {5, 10, 15, 20, 30};
    const struct up_gas *gas = &((const struct up_result *)from)->gas;
    json_t *list = json_array();
    for (size_t i = 0; i < sizeof depths_m / sizeof depths_m[0]; i++) {
        struct predicted_at predicted_at = {.depth_m = depths_m[i]};
        struct up_gas_place place = {depths_m[i], gas->session.air_pressure_pa.value, gas->temp_c};
        if (up_gas_buoyancy_at(gas, &place, &predicted_at.at, NULL)) {
            json_array_append_new(list, members_to_json(predicted_members, &predicted_at));
        }
    }
    return list;
}

/* The second of them may lack the gas law's values. */
#define DEPTH                                                                                      \
    NUMBER("depth_m", second_depth_m, UNIT_M, 0, "of the second weighing"),                        \
        THOUSANDTHS("buoyancy_g", second_buoyancy_kg.value, UNIT_G, 0, "net buoyancy there"),      \
        THOUSANDTHS("u_buoyancy_g", second_buoyancy_kg.u, UNIT_G, NOT_NEGATIVE,                    \
                    "its standard uncertainty")
#define MEMBERS_OF struct up_result
static const struct catalogue_member depth_members[] = {DEPTH, END};
static const struct catalogue_member gas_members[] = {
    DEPTH,
    THOUSANDTHS("gas_l", gas.volume_m3.value, UNIT_L, LATER, "gas in the item, at pressure_pa"),
    THOUSANDTHS("u_gas_l", gas.volume_m3.u, UNIT_L, LATER | NOT_NEGATIVE,
                "its standard uncertainty"),
    NUMBER("pressure_pa", gas.pressure_pa, UNIT_PA, LATER, "absolute, of the first weighing"),
    NUMBER("deep_pressure_pa", gas.deep_pressure_pa, UNIT_PA, LATER,
           "absolute, of the second weighing"),
    NUMBER("temp_c", gas.temp_c, UNIT_C, LATER, "of item and water"),
    NUMBER("valid_from_pa", gas.pressure_low_pa, UNIT_PA, LATER, "where the gas law predicts"),
    NUMBER("valid_to_pa", gas.pressure_high_pa, UNIT_PA, LATER, "where the gas law predicts"),
    NUMBER("valid_from_c", gas.temp_low_c, UNIT_C, LATER, "where the gas law predicts"),
    NUMBER("valid_to_c", gas.temp_high_c, UNIT_C, LATER, "where the gas law predicts"),
    {OWN("foretold", MEMBER_LIST, LATER, predicted_to_json, NULL, "at diving depths"),
     .nested = &predicted_list},
    END};
#undef MEMBERS_OF

static json_t *depth_to_json(const void *from) {
    const struct up_result *result = from;
    if (!(result->second_depth_m > 0)) {
        return NULL;
    }
    return members_to_json(result->has_gas ? gas_members : depth_members, result);
}

/* ---- a quick weighing: how it came about ---- */

static json_t *at_most_to_json(const void *from) {
    const struct up_quick *quick = &((const struct up_result *)from)->quick;
    return quick->at_most ? up_json_number(quick->high_kg * 1e3) : json_null();
}

static const char *const asides[] = {[UP_ASIDE_NOT] = "",
                                     [UP_ASIDE_NEAR] = "near the line",
                                     [UP_ASIDE_AIR] = "air",
                                     [UP_ASIDE_SCATTER] = "scatter not known",
                                     [UP_ASIDES] = NULL};

static json_t *aside_to_json(const void *from) {
    return json_string(asides[((const struct up_result *)from)->quick.aside]);
}

static bool aside_from_json(const json_t *value, void *to) {
    const char *text = json_string_value(value);
    enum up_aside aside = UP_ASIDE_NOT;
    while (text != NULL && aside < UP_ASIDES && strcmp(asides[aside], text) != 0) {
        aside++;
    }
    ((struct up_result *)to)->quick.aside = aside < UP_ASIDES ? aside : UP_ASIDE_NOT;
    return true;
}

#define MEMBERS_OF struct up_quick
static const struct catalogue_member quick_members[] = {
    INTEGER("immersions", immersions, 0, 0, "of the item"),
    INTEGER("shakes", shakes, 0, 0, "of all immersions"),
    INTEGER("readings", readings, 0, 0, "of the item and of the hanger after it"),
    INTEGER("readings_ended_early", ended_early, 0, 0, "before the full schedule"),
    INTEGER("look", analysis, UP_SEQUENTIAL_LOOKS_MAX, 0,
            "the last of the looks set before at which a class may be stated"),
    NUMBER("boundary_class", bound_one, UNIT_ONE, 0,
           "of the class, in u_buoyancy_g, for its degrees of freedom and all looks together"),
    NUMBER("boundary_interval", bound_two, UNIT_ONE, 0,
           "of the interval, the same; of one side where it has one end"),
    THOUSANDTHS("early_g", early_kg, UNIT_G, NOT_NEGATIVE,
                "bound, either way: of readings that ended early"),
    THOUSANDTHS("margin_g", margin_kg, UNIT_G, NOT_NEGATIVE,
                "bound, either way: of bubbles, contact and edges that no reading shows"),
    THOUSANDTHS("air_g", air_kg, UNIT_G, NOT_NEGATIVE,
                "bound of the lift of air that may still be in it; null: any, it was not shaken"),
    TRUTH("at_most", at_most, 0, "the interval has no lower end"),
    THOUSANDTHS("low_g", low_kg, UNIT_G, 0, "lower end of the interval; null: there is none"),
    THOUSANDTHS("high_g", high_kg, UNIT_G, 0, "its upper end"),
    THOUSANDTHS("class_low_g", class_low_kg, UNIT_G, 0, "the same by the boundary of the class"),
    THOUSANDTHS("class_high_g", class_high_kg, UNIT_G, 0, "its upper end"),
    NUMBER_AS(IN_ABOVE_ZERO, "dry_mass_kg", mass_kg, UNIT_KG, ABOVE_ZERO,
              "by another scale; null: none was given"),
    NUMBER_AS(IN_ABOVE_ZERO, "u_dry_mass_kg", u_mass_kg, UNIT_KG, ABOVE_ZERO,
              "its standard uncertainty"),
    END};
#undef MEMBERS_OF

static json_t *quick_to_json(const void *from) {
    const struct up_quick *quick = &((const struct up_result *)from)->quick;
    return quick->is ? members_to_json(quick_members, quick) : NULL;
}

/* What is infinite is null, which JSON needs. */
static bool quick_from_json(const json_t *value, void *to) {
    struct up_quick *quick = &((struct up_result *)to)->quick;
    bool is = quick->is;
    enum up_aside aside = quick->aside;
    bool good = members_from_json(quick_members, value, quick);
    quick->is = is;
    quick->aside = aside;
    if (quick->at_most) {
        quick->air_kg = (double)INFINITY;
        quick->low_kg = quick->class_low_kg = -(double)INFINITY;
    }
    return good;
}

/* ---- members in words of their own ---- */

static json_t *basis_to_json(const void *from) {
    return json_string(((const struct up_result *)from)->measured ? "measured" : "calculated");
}

static bool basis_from_json(const json_t *value, void *to) {
    const char *text = json_string_value(value);
    ((struct up_result *)to)->measured = text != NULL && strcmp(text, "measured") == 0;
    return true;
}

static json_t *claim_to_json(const void *from) {
    const struct up_result *result = from;
    char claim[UP_CLAIM_SCOPE_SIZE];
    up_claim_scope(result->pieces, result->simulated, result->quick.is, claim);
    return json_string(claim);
}

static json_t *class_to_json(const void *from) {
    return json_string(up_class_name(((const struct up_result *)from)->answer.class));
}

static bool class_from_json(const json_t *value, void *to) {
    const char *text = json_string_value(value);
    ((struct up_result *)to)->answer.class = up_class_of(text != NULL ? text : "");
    return true;
}

static json_t *confidence_at_analysis_to_json(const void *from) {
    return up_json_number(up_confidence_at_analysis(&((const struct up_result *)from)->question));
}

static json_t *more_trials_to_json(const void *from) {
    const struct up_result *result = from;
    return result->trials_would_decide ? json_integer(result->more_trials) : json_null();
}

static bool more_trials_from_json(const json_t *value, void *to) {
    struct up_result *result = to;
    json_int_t number = json_integer_value(value);
    result->trials_would_decide = json_is_integer(value);
    result->more_trials = number > 0 && number < 1000000000 ? (unsigned)number : 0;
    return true;
}

static json_t *interval_by_to_json(const void *from) {
    return json_string(((const struct up_result *)from)->quick.is
                           ? "repeated confidence interval, bounds added"
                           : "Monte Carlo");
}

enum up_class up_class_of(const char *word) {
    for (int i = UP_CLASS_UNDECIDED; i <= UP_CLASS_NEGATIVE; i++) {
        if (strcmp(up_class_name((enum up_class)i), word) == 0) {
            return (enum up_class)i;
        }
    }
    return UP_CLASS_UNDECIDED;
}

/* ---- the whole ---- */

static const char *const classes[] = {"positive", "neutral", "negative", "undecided", NULL};
static const char *const bases[] = {"measured", "calculated", NULL};
static const struct catalogue_nested numbers = {.unit = UNIT_ONE, .most = 64};
static const struct catalogue_nested terms = {.members = term_members, .most = 256};
static const struct catalogue_nested model = {.members = model_members};
static const struct catalogue_nested moment = {.members = moment_members};
static const struct catalogue_nested depth = {.members = gas_members};
static const struct catalogue_nested quick_object = {.members = quick_members};
static const struct catalogue_nested checks = {.members = check_members,
                                               .most = UP_REFERENCES_MAX,
                                               .stride = sizeof(struct up_reference_check),
                                               .count_at = offsetof(struct up_result, checks)};

/* The members that a decision restates. */
#define TOLERANCE                                                                                  \
    THOUSANDTHS("tolerance_g", question.tolerance_kg, UNIT_G, NOT_NEGATIVE,                        \
                "neutral is a net buoyancy of up to this, either way")
#define CONFIDENCE                                                                                 \
    NUMBER("confidence", question.confidence, UNIT_PROBABILITY, 0,                                 \
           "a class is stated where it is at least this probable")
#define PROBABILITIES                                                                              \
    NUMBER("probability_positive", answer.probability_positive, UNIT_PROBABILITY, 0,               \
           "that it floats by more than the tolerance, whatever air stayed in it"),                \
        NUMBER("probability_neutral", answer.probability_neutral, UNIT_PROBABILITY, 0,             \
               "that it lies within the tolerance"),                                               \
        NUMBER("probability_negative", answer.probability_negative, UNIT_PROBABILITY, 0,           \
               "that it sinks by more than the tolerance")
#define CLASS                                                                                      \
    {                                                                                              \
        OWN("class", MEMBER_TEXT, 0, class_to_json, class_from_json,                               \
            "positive floats, neutral, negative sinks, or undecided"),                             \
            .words = classes                                                                       \
    }
#define GUARDS                                                                                     \
    THOUSANDTHS("guard_low_g", answer.guard_low_kg, UNIT_G, LATER,                                 \
                "guard band: positive is stated from the tolerance plus this on"),                 \
        THOUSANDTHS("guard_high_g", answer.guard_high_kg, UNIT_G, LATER,                           \
                    "guard band: negative is stated below minus the tolerance less this")
#define MORE_TRIALS                                                                                \
    {                                                                                              \
        OWN("more_trials", MEMBER_INTEGER, LATER, more_trials_to_json, more_trials_from_json,      \
            "undecided: this many more trials would decide; null: none would")                     \
    }

#define MEMBERS_OF struct up_result
const struct catalogue_member catalogue_result_members[] = {
    TEXT("item_id", item_id, 0, "what was weighed"),
    TEXT("run_id", run_id, 0, "in which session"),
    TEXT("water", water.name, 0, "its name; the tank itself is \"tank\""),
    {OWN("basis", MEMBER_TEXT, 0, basis_to_json, basis_from_json,
         "measured there, or calculated for it"),
     .words = bases},
    NUMBER("water_density_kg_m3", water_density_kg_m3.value, UNIT_KG_M3, 0, "of that water"),
    NUMBER("u_water_density_kg_m3", water_density_kg_m3.u, UNIT_KG_M3, NOT_NEGATIVE,
           "its standard uncertainty"),
    NUMBER("water_temp_c", water.temp_c, UNIT_C, 0, "of that water"),
    NUMBER("salinity_g_kg", water.salinity_g_kg, UNIT_G_KG, 0, "of that water"),
    NUMBER("depth_m", water.depth_m, UNIT_M, 0, "the net buoyancy is that at this depth"),
    NUMBER("immersion_depth_m", immersion_depth_m, UNIT_M, 0, "of the item in the tank"),
    NUMBER("air_pressure_pa", air_pressure_pa, UNIT_PA, 0, "at the tank"),
    NUMBER("soak_s", soak_s, UNIT_S, 0, "from the first immersion to the last reading"),
    TRUTH("compressible", compressible, 0, "foam or closed air: it holds at this depth only"),
    THOUSANDTHS("buoyancy_g", answer.buoyancy_kg.value, UNIT_G, 0, "net buoyancy; positive floats"),
    THOUSANDTHS("u_buoyancy_g", answer.buoyancy_kg.u, UNIT_G, NOT_NEGATIVE,
                "its standard uncertainty, first order"),
    DOF("dof", answer.buoyancy_kg.dof, "effective degrees of freedom of u_buoyancy_g"),
    THOUSANDTHS("expanded_u_g", answer.expanded_u_kg, UNIT_G, NOT_NEGATIVE,
                "half-width of the interval that has the coverage; below comes stuck_air_g"),
    NUMBER("coverage", question.coverage, UNIT_PROBABILITY, 0, "of the interval"),
    TOLERANCE,
    CONFIDENCE,
    PROBABILITIES,
    CLASS,
    INTEGER("trials", trials, 0, 0, "in the mean"),
    NUMBER("volume_m3", answer.volume_m3, UNIT_M3, 0, "of the item"),
    NUMBER("mass_kg", answer.mass_kg, UNIT_KG, 0, "of the item"),
    TEXT("method", method, 0, "version of the program, calibration, rules"),
    BENCH_ALONE,
    BENCH_SEQUENCE,
    INTEGER("pieces", pieces, 0, LATER, "of the item, all together; 0: not recorded"),
    GUARDS,
    MORE_TRIALS,
    THOUSANDTHS("first_order_expanded_u_g", answer.first_order_expanded_u_kg, UNIT_G,
                LATER | NOT_NEGATIVE, "the same half-width by the first order of the GUM"),
    TRUTH("first_order_agrees", answer.first_order_agrees, LATER,
          "its ends agree with the Monte Carlo's within the numerical tolerance"),
    INTEGER("draws", answer.draws, 0, LATER, "of the Monte Carlo"),
    TRUTH("simulated", simulated, LATER, "on a simulated bench: no gear was weighed"),
    {OWN("claim", MEMBER_TEXT, LATER, claim_to_json, NULL, "of what it is, and what it is for")},
    TEXT("filled_with", filling.gas, LATER,
         "the gas that was in it when it was weighed; none: it was emptied"),
    NUMBER("filling_bar", filling.pressure_bar, UNIT_BAR, LATER | NOT_NEGATIVE,
           "pressure of that gas above the air's; it weighs less as it is breathed"),
    THOUSANDTHS("stuck_air_g", answer.stuck_air_kg, UNIT_G, LATER | NOT_NEGATIVE,
                "the net may be lower by up to this beyond the interval: air that no shake frees; "
                "null: not looked at"),
    TRUTH("is_quick", quick.is, LATER, "a quick weighing, not the full one"),
    {OWN("at_most_g", MEMBER_NUMBER, LATER, at_most_to_json, NULL,
         "all that is known of the net: at most this; buoyancy_g is then as it hung, unshaken"),
     .unit = UNIT_G},
    {OWN("put_aside", MEMBER_TEXT, LATER, aside_to_json, aside_from_json,
         "for the full weighing, and why: near the line, air, or scatter not known; empty: it was "
         "not"),
     .words = asides},
    {OWN("confidence_at_look", MEMBER_NUMBER, LATER | JSON_ONLY, confidence_at_analysis_to_json,
         NULL, "what a class had to reach, so that all looks together keep the confidence"),
     .unit = UNIT_PROBABILITY},
    {OWN("interval_by", MEMBER_TEXT, LATER | JSON_ONLY, interval_by_to_json, NULL,
         "how the interval was found")},
    THOUSANDTHS("numerical_tolerance_g", answer.numerical_tolerance_kg, UNIT_G, LATER | JSON_ONLY,
                "half a unit of the last digit of u"),
    TRUTH("draws_stable", answer.stable, LATER | JSON_ONLY, "the draws stand still within that"),
    THOUSANDTHS("draws_mean_g", answer.draws_mean_kg, UNIT_G, LATER | JSON_ONLY, "of the draws"),
    THOUSANDTHS("draws_u_g", answer.draws_u_kg, UNIT_G, LATER | JSON_ONLY | NOT_NEGATIVE,
                "standard deviation of the draws"),
    {OWN("left_out", MEMBER_LIST, LATER, left_out_to_json, left_out_from_json,
         "numbers of trials that the operator left out of the mean"),
     .nested = &numbers},
    THOUSANDTHS("trials_mean_g", trials_mean_kg, UNIT_G, LATER | JSON_ONLY, "net, in the tank"),
    THOUSANDTHS("air_correction_g", air_correction_kg, UNIT_G, LATER | JSON_ONLY,
                "added to that mean: half the lift of the air it may hold at most"),
    THOUSANDTHS("other_corrections_g", other_corrections_kg, UNIT_G, LATER | JSON_ONLY,
                "added: the zero's offset, water taken up, the line, the air's lift on the masses"),
    TRUTH("takes_up_water", takes_up_water, LATER | JSON_ONLY, "it grew heavier with the soak"),
    TRUTH("stated_at_last_soak", at_last_soak, LATER | JSON_ONLY,
          "the number is that of the last trial's soak, not the mean"),
    NUMBER("uptake_g_min", uptake_g_min, UNIT_G_MIN, LATER | JSON_ONLY, "of water"),
    NUMBER("u_uptake_g_min", u_uptake_g_min, UNIT_G_MIN, LATER | JSON_ONLY | NOT_NEGATIVE,
           "its standard uncertainty"),
    TRUTH("forms_bubbles", forms_bubbles, LATER | JSON_ONLY, "it grew lighter while it was read"),
    NUMBER("bubbles_g_min", bubbles_g_min, UNIT_G_MIN, LATER | JSON_ONLY, "of lift of bubbles"),
    NUMBER("u_bubbles_g_min", u_bubbles_g_min, UNIT_G_MIN, LATER | JSON_ONLY | NOT_NEGATIVE,
           "its standard uncertainty"),
    TRUTH("drips", drips, LATER | JSON_ONLY, "water still dripped off at the tares after it"),
    LIST("checks", check, checks, LATER, "reference bodies weighed in the session"),
    {OWN("two_points", MEMBER_OBJECT, LATER, moment_to_json, NULL, "hung level by two lines"),
     .nested = &moment},
    {OWN("second_depth", MEMBER_OBJECT, LATER, depth_to_json, NULL, "weighed again, deeper"),
     .nested = &depth},
    {OWN("quick", MEMBER_OBJECT, LATER, quick_to_json, quick_from_json,
         "how a quick weighing came about"),
     .nested = &quick_object},
    {OWN("budget", MEMBER_LIST, LATER, budget_to_json, NULL, "the uncertain inputs"),
     .nested = &terms},
    {OWN("model", MEMBER_OBJECT, LATER, model_to_json, NULL, "what it was computed with"),
     .nested = &model},
    END};

/* What a later one puts over its result stands in the struct; all else is copied from there. */
const struct catalogue_member catalogue_decision_members[] = {
    TEXT_ALONE("result_id", 0, "the result that is judged"),
    TEXT_ALONE("item_id", 0, "of the result"),
    TEXT_ALONE("run_id", 0, "of the result"),
    TEXT_ALONE("water", 0, "of the result"),
    TOLERANCE,
    CONFIDENCE,
    NUMBER_ALONE("coverage", UNIT_PROBABILITY, 0, "of the result's interval"),
    PROBABILITIES,
    CLASS,
    TEXT_ALONE("rule", 0, "by which it was judged"),
    BENCH_ALONE,
    BENCH_SEQUENCE,
    TRUTH_ALONE("rejudged", LATER, "later than its result, by other limits"),
    NUMBER_ALONE("confidence_at_look", UNIT_PROBABILITY, LATER, "what a class had to reach"),
    GUARDS,
    MORE_TRIALS,
    END};
#undef MEMBERS_OF

json_t *up_result_to_json(const struct up_result *result) {
    return members_to_json(catalogue_result_members, result);
}

void up_result_from_json(const json_t *content, struct up_result *result) {
    *result = (struct up_result){.measured = false};
    members_from_json(catalogue_result_members, content, result);
    const json_t *from = json_object_get(content, "model");
    members_from_json(model_members, from, result);
    result->has_model = read_budget(json_object_get(content, "budget"), result->weighing.term) &&
                        members_are_known(model_members, result);
}
