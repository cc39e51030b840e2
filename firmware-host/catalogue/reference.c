/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reference bodies and what was found when they were weighed. */
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

static const struct catalogue_noun noun = {"reference", "reference body", "reference bodies",
                                           "a reference body", "body"};

/* Foam to more than osmium: beyond these grams were taken for kilograms, or litres for cubic
   centimetres. */
static const double LEAST_KG_M3 = 20, MOST_KG_M3 = 25000;
/* Expected weights that differ by more come from other values of the body. */
static const double SAME_KG = 1e-9;

/* ---- bodies ---- */

#define MEMBERS_OF struct up_reference
const struct catalogue_member catalogue_reference_members[] = {
    TEXT("name", name, 0, "what the body is called here"),
    NUMBER("mass_kg", mass_kg.value, UNIT_KG, NEEDED | ABOVE_ZERO, "true mass"),
    NUMBER("u_mass_kg", mass_kg.u, UNIT_KG, NEEDED | ABOVE_ZERO, "its standard uncertainty"),
    NUMBER("volume_m3", volume_m3.value, UNIT_M3, NEEDED | ABOVE_ZERO, "at 20 degrees C"),
    NUMBER("u_volume_m3", volume_m3.u, UNIT_M3, NEEDED | ABOVE_ZERO, "its standard uncertainty"),
    NUMBER("expansion_per_k", expansion_per_k, UNIT_PER_K, LATER | NOT_NEGATIVE,
           "volume expansion; 0: none is taken into account"),
    NUMBER("u_expansion_per_k", u_expansion_per_k, UNIT_PER_K, LATER | NOT_NEGATIVE,
           "its standard uncertainty"),
    END};
#undef MEMBERS_OF

json_t *up_reference_to_json(const struct up_reference *reference) {
    return members_to_json(catalogue_reference_members, reference);
}

static bool is_known(struct up_quantity quantity) {
    return isfinite(quantity.value) && quantity.value > 0 && isfinite(quantity.u) && quantity.u > 0;
}

static double density(const struct up_reference *reference) {
    return reference->mass_kg.value / reference->volume_m3.value;
}

static bool has_density(const struct up_reference *reference) {
    return density(reference) >= LEAST_KG_M3 && density(reference) <= MOST_KG_M3;
}

/* Only a gas expands by a hundredth per kelvin. */
static bool is_expansion(double per_k) {
    return per_k >= 0 && per_k <= 0.01;
}

bool up_reference_from_json(const json_t *content, struct up_reference *reference) {
    *reference = (struct up_reference){.mass_kg = up_known(0, 0), .volume_m3 = up_known(0, 0)};
    bool good = members_from_json(catalogue_reference_members, content, reference);
    double *const expansion[] = {&reference->expansion_per_k, &reference->u_expansion_per_k};
    for (size_t i = 0; i < sizeof expansion / sizeof expansion[0]; i++) {
        *expansion[i] = isnan(*expansion[i]) ? 0 : *expansion[i]; /* younger than bodies */
    }
    return good && has_density(reference) && is_expansion(reference->expansion_per_k) &&
           is_expansion(reference->u_expansion_per_k);
}

static bool check_known(const struct up_reference *reference, struct up_quantity quantity,
                        const char *what, const char *unit, const char *how,
                        struct up_failure *failure) {
    if (!(isfinite(quantity.value) && quantity.value > 0)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the reference body \"%.80s\" has no %s above zero: %s", reference->name,
                       what, how);
    }
    return is_known(quantity) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the %s of the reference body \"%.80s\" needs a standard uncertainty above "
                   "zero (--u-%s): nothing is known exactly",
                   what, reference->name, unit);
}

static bool check_expansion(const struct up_reference *reference, struct up_failure *failure) {
    return (is_expansion(reference->expansion_per_k) &&
            is_expansion(reference->u_expansion_per_k)) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the reference body \"%.80s\" expands by %g 1/K (u %g): give 0 to 0.01",
                   reference->name, reference->expansion_per_k, reference->u_expansion_per_k);
}

static bool check_numbers(const struct up_reference *reference, struct up_failure *failure) {
    return check_expansion(reference, failure) &&
           check_known(reference, reference->mass_kg, "mass", "mass-g",
                       "weigh it in air first (--mass-g)", failure) &&
           check_known(
               reference, reference->volume_m3, "volume", "volume-cm3",
               "without one its weight under water is not known (--volume-cm3 or --density-kg-m3)",
               failure) &&
           (has_density(reference) ||
            up_fail(failure, UP_STATUS_WRONG_INPUT,
                    "the reference body \"%.80s\" would have a density of %.3g kg/m3: is the mass "
                    "in grams and the volume in cubic centimetres?",
                    reference->name, density(reference)));
}

bool up_reference_add(struct up_catalogue *catalogue, struct up_reference *reference,
                      struct up_failure *failure) {
    return catalogue_clean_name(reference->name, &noun, "name", true, failure) &&
           check_numbers(reference, failure) &&
           catalogue_settle_id(reference->id, &noun, failure) &&
           catalogue_put_version(catalogue, &noun, reference->id, up_reference_to_json(reference),
                                 failure);
}

bool up_reference_find(struct up_catalogue *catalogue, const char *name_or_id,
                       struct up_reference *reference, struct up_failure *failure) {
    struct catalogue_found found;
    if (!catalogue_find(catalogue, &noun, name_or_id, &found, failure)) {
        return false;
    }
    bool good =
        up_reference_from_json(found.content, reference) || catalogue_fail_found(&found, failure);
    memcpy(reference->id, found.id, sizeof reference->id);
    reference->elsewhere = found.elsewhere;
    json_decref(found.content);
    return good;
}

/* ---- checks ---- */

#define MEMBERS_OF struct up_reference_check
const struct catalogue_member catalogue_check_members[] = {
    TEXT("reference_id", id, 0, "the body that was weighed"),
    TEXT_ALONE("run_id", 0, "in which session"),
    TEXT("name", name, 0, "of the body, as it was then"),
    NUMBER("load_counts", load_counts, UNIT_COUNTS, 0, "difference to the tares, made linear"),
    THOUSANDTHS("reads_g", water_kg, UNIT_G, 0, "that load: mass less displaced water"),
    THOUSANDTHS("u_reads_g", u_water_kg, UNIT_G, NOT_NEGATIVE,
                "its standard uncertainty, without slope and masses"),
    THOUSANDTHS("expected_g", expected_kg, UNIT_G, 0, "by mass, volume and the water's density"),
    NUMBER("water_density_kg_m3", water_kg_m3, UNIT_KG_M3, 0, "of the tank's water"),
    THOUSANDTHS("deviation_g", deviation_kg.value, UNIT_G, 0, "positive: reads too heavy"),
    THOUSANDTHS("u_deviation_g", deviation_kg.u, UNIT_G, NOT_NEGATIVE, "its standard uncertainty"),
    NUMBER("e_n", e_n, UNIT_ONE, 0, "deviation over twice its uncertainty"),
    THOUSANDTHS("low_g", low_kg, UNIT_G, 0, "lower limit of the deviation"),
    THOUSANDTHS("high_g", high_kg, UNIT_G, 0, "upper limit of the deviation"),
    TRUTH("by_history", by_history, 0, "the limits come from the control chart"),
    TRUTH("outside", outside, 0, "the deviation lies outside its limits"),
    TRUTH("confirmed", confirmed, 0, "the operator continued anyway"),
    BENCH_ALONE,
    BENCH_SEQUENCE,
    NUMBER("water_temp_c", water_temp_c, UNIT_C, LATER, "of the tank's water"),
    END};
#undef MEMBERS_OF

json_t *up_reference_check_to_json(const struct up_reference_check *check) {
    return members_to_json(catalogue_check_members, check);
}

bool up_check_add(struct up_catalogue *catalogue, const struct up_reference_check *check,
                  const char *run_id, const char *bench, char open_id[UP_ID_SIZE],
                  struct up_failure *failure) {
    char id[UP_ID_SIZE] = "";
    const char *old_id = open_id != NULL && open_id[0] != '\0' && check->confirmed ? open_id : NULL;
    json_auto_t *content = up_reference_check_to_json(check);
    json_object_set_new(content, "run_id", json_string(run_id));
    bool good =
        catalogue_check_content("reference_check", content, failure) &&
        up_catalogue_add(catalogue, "reference_check", old_id, bench, content, old_id, id, failure);
    if (open_id != NULL) {
        snprintf(open_id, UP_ID_SIZE, "%s", check->outside && !check->confirmed ? id : "");
    }
    return good;
}

struct history {
    const struct up_reference *reference;
    const char *bench;
    struct up_past_check *past;
    size_t count;
};

/* Whether the body was then taken for what it is now. */
static bool is_same_body(const struct up_reference *reference,
                         const struct up_reference_check *check) {
    double volume_m3 = up_reference_volume_m3(reference, check->water_temp_c).value;
    double expected_kg = reference->mass_kg.value - check->water_kg_m3 * volume_m3;
    return fabs(expected_kg - check->expected_kg) <= SAME_KG;
}

static bool read_check(const struct up_record *record, void *context) {
    struct history *history = context;
    char id[UP_ID_SIZE];
    if (!catalogue_read_text(record->content, "reference_id", id, sizeof id) ||
        strcmp(id, history->reference->id) != 0 ||
        (history->bench != NULL && strcmp(history->bench, record->bench) != 0)) {
        return true;
    }
    history->past = up_reallocate(history->past, history->count + 1, sizeof *history->past);
    struct up_past_check *past = &history->past[history->count++];
    *past = (struct up_past_check){0};
    members_from_json(catalogue_check_members, record->content, &past->check);
    catalogue_read_text(record->content, "run_id", past->run_id, sizeof past->run_id);
    memcpy(past->bench, record->bench, sizeof past->bench);
    memcpy(past->made_utc, record->made_utc, sizeof past->made_utc);
    past->elsewhere = record->elsewhere;
    past->in_limits = !past->elsewhere && !past->check.outside &&
                      isfinite(past->check.deviation_kg.value) &&
                      is_same_body(history->reference, &past->check);
    return true;
}

bool up_reference_checks(struct up_catalogue *catalogue, const char *reference_id,
                         const char *bench, struct up_past_check **past, size_t *count,
                         struct up_failure *failure) {
    struct up_reference reference;
    struct history history = {.reference = &reference, .bench = bench};
    bool good = up_reference_find(catalogue, reference_id, &reference, failure) &&
                catalogue_each_in(catalogue, "reference_check",
                                  "SELECT record FROM typed_reference_check WHERE reference_id ="
                                  " ?2",
                                  reference.id, read_check, &history, failure);
    if (!good) {
        free(history.past);
        history = (struct history){0};
    }
    *past = history.past;
    *count = history.count;
    return good;
}

bool up_reference_chart(struct up_catalogue *catalogue, const char *reference_id, const char *bench,
                        struct up_chart *chart, struct up_failure *failure) {
    struct up_past_check *past;
    size_t count, inside = 0;
    bool good = up_reference_checks(catalogue, reference_id, bench, &past, &count, failure);
    UP_FREED struct up_quantity *deviation = up_allocate(count + 1, sizeof *deviation);
    for (size_t i = 0; i < count; i++) {
        if (past[i].in_limits) {
            deviation[inside++] = past[i].check.deviation_kg;
        }
    }
    *chart = up_chart_of(deviation, inside);
    free(past);
    return good;
}
