/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reference bodies and what was found when they were weighed. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

static const struct catalogue_noun noun = {"reference", "reference body", "reference bodies",
                                           "a reference body", "body"};

/* Foam to more than osmium: beyond these grams were taken for kilograms, or litres for cubic
   centimetres. */
static const double LEAST_KG_M3 = 20, MOST_KG_M3 = 25000;
/* Expected weights that differ by more are those of other numbers of the body. */
static const double SAME_KG = 1e-9;

/* ---- bodies ---- */

json_t *up_reference_to_json(const struct up_reference *reference) {
    return json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "name", clean_string(reference->name),
                     "mass_kg", number_or_null(reference->mass_kg.value), "u_mass_kg",
                     number_or_null(reference->mass_kg.u), "volume_m3",
                     number_or_null(reference->volume_m3.value), "u_volume_m3",
                     number_or_null(reference->volume_m3.u), "expansion_per_k",
                     number_or_null(reference->expansion_per_k), "u_expansion_per_k",
                     number_or_null(reference->u_expansion_per_k));
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

/* A hundredth a kelvin is a gas. */
static bool is_expansion(double per_k) {
    return per_k >= 0 && per_k <= 0.01;
}

bool up_reference_from_json(const json_t *body, struct up_reference *reference) {
    *reference = (struct up_reference){.mass_kg = up_known(0, 0), .volume_m3 = up_known(0, 0)};
    take_number(body, "expansion_per_k", &reference->expansion_per_k); /* younger than bodies */
    take_number(body, "u_expansion_per_k", &reference->u_expansion_per_k);
    return take_text(body, "name", reference->name, sizeof reference->name) &&
           take_number(body, "mass_kg", &reference->mass_kg.value) &&
           take_number(body, "u_mass_kg", &reference->mass_kg.u) &&
           take_number(body, "volume_m3", &reference->volume_m3.value) &&
           take_number(body, "u_volume_m3", &reference->volume_m3.u) &&
           is_known(reference->mass_kg) && is_known(reference->volume_m3) &&
           has_density(reference) && is_expansion(reference->expansion_per_k) &&
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
           check_known(reference, reference->volume_m3, "volume", "volume-cm3",
                       "without one nobody knows what it weighs under water (--volume-cm3 or "
                       "--density-kg-m3)",
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
           catalogue_put_thing(catalogue, &noun, reference->id, up_reference_to_json(reference),
                               failure);
}

bool up_reference_find(struct up_catalogue *catalogue, const char *name_or_id,
                       struct up_reference *reference, struct up_failure *failure) {
    struct catalogue_found found;
    if (!catalogue_find(catalogue, &noun, name_or_id, &found, failure)) {
        return false;
    }
    bool good =
        up_reference_from_json(found.body, reference) || catalogue_fail_found(&found, failure);
    memcpy(reference->id, found.id, sizeof reference->id);
    json_decref(found.body);
    return good;
}

/* ---- checks ---- */

json_t *up_reference_check_to_json(const struct up_reference_check *check) {
    return json_pack(
        "{s:s, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:b, s:b, "
        "s:b}",
        "reference_id", check->id, "name", clean_string(check->name), "load_counts",
        number_or_null(check->load_counts), "reads_g", number_or_null(check->water_kg * 1e3),
        "u_reads_g", number_or_null(check->u_water_kg * 1e3), "expected_g",
        number_or_null(check->expected_kg * 1e3), "water_density_kg_m3",
        number_or_null(check->water_kg_m3), "water_temp_c", number_or_null(check->water_temp_c),
        "deviation_g", number_or_null(check->deviation_kg.value * 1e3), "u_deviation_g",
        number_or_null(check->deviation_kg.u * 1e3), "e_n", number_or_null(check->e_n), "low_g",
        number_or_null(check->low_kg * 1e3), "high_g", number_or_null(check->high_kg * 1e3),
        "by_history", (int)check->by_history, "outside", (int)check->outside, "confirmed",
        (int)check->confirmed);
}

bool up_check_add(struct up_catalogue *catalogue, const struct up_reference_check *check,
                  const char *run_id, const char *bench, struct up_failure *failure) {
    json_t *body = up_reference_check_to_json(check);
    json_object_set_new(body, "run_id", json_string(run_id));
    bool good =
        up_catalogue_add(catalogue, "reference_check", NULL, bench, body, NULL, NULL, failure);
    json_decref(body);
    return good;
}

struct history {
    const struct up_reference *reference;
    const char *bench;
    struct up_past_check *past;
    size_t count;
};

/* Missing is NaN. */
static double number_of(const json_t *body, const char *key, double unit) {
    double value = (double)NAN;
    take_number(body, key, &value);
    return value * unit;
}

static void read_check(const json_t *body, struct up_reference_check *check) {
    check->load_counts = number_of(body, "load_counts", 1);
    check->water_kg = number_of(body, "reads_g", 1e-3);
    check->u_water_kg = number_of(body, "u_reads_g", 1e-3);
    check->expected_kg = number_of(body, "expected_g", 1e-3);
    check->water_kg_m3 = number_of(body, "water_density_kg_m3", 1);
    check->water_temp_c = number_of(body, "water_temp_c", 1);
    check->deviation_kg =
        up_known(number_of(body, "deviation_g", 1e-3), number_of(body, "u_deviation_g", 1e-3));
    check->e_n = number_of(body, "e_n", 1);
    check->low_kg = number_of(body, "low_g", 1e-3);
    check->high_kg = number_of(body, "high_g", 1e-3);
    check->by_history = json_is_true(json_object_get(body, "by_history"));
    check->outside = json_is_true(json_object_get(body, "outside"));
    check->confirmed = json_is_true(json_object_get(body, "confirmed"));
}

/* Whether the body was then taken for what it is now. */
static bool is_same_body(const struct up_reference *reference,
                         const struct up_reference_check *check) {
    double volume_m3 = up_reference_volume_m3(reference, check->water_temp_c).value;
    double expected_kg = reference->mass_kg.value - check->water_kg_m3 * volume_m3;
    return fabs(expected_kg - check->expected_kg) <= SAME_KG;
}

static bool take_check(const struct up_record *record, void *context) {
    struct history *history = context;
    char id[UP_ID_SIZE];
    if (!take_text(record->body, "reference_id", id, sizeof id) ||
        strcmp(id, history->reference->id) != 0 ||
        (history->bench != NULL && strcmp(history->bench, record->bench) != 0)) {
        return true;
    }
    history->past = up_reallocate(history->past, history->count + 1, sizeof *history->past);
    struct up_past_check *past = &history->past[history->count++];
    *past = (struct up_past_check){0};
    read_check(record->body, &past->check);
    memcpy(past->check.id, id, sizeof id);
    take_text(record->body, "name", past->check.name, sizeof past->check.name);
    take_text(record->body, "run_id", past->run_id, sizeof past->run_id);
    memcpy(past->bench, record->bench, sizeof past->bench);
    memcpy(past->made_utc, record->made_utc, sizeof past->made_utc);
    past->in_limits = !past->check.outside && isfinite(past->check.deviation_kg.value) &&
                      is_same_body(history->reference, &past->check);
    return true;
}

bool up_reference_checks(struct up_catalogue *catalogue, const char *reference_id,
                         const char *bench, struct up_past_check **past, size_t *count,
                         struct up_failure *failure) {
    struct up_reference reference;
    struct history history = {.reference = &reference, .bench = bench};
    bool good = up_reference_find(catalogue, reference_id, &reference, failure) &&
                up_catalogue_each(catalogue, "reference_check", take_check, &history, failure);
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
    struct up_quantity *deviation = up_allocate(count + 1, sizeof *deviation);
    for (size_t i = 0; i < count; i++) {
        if (past[i].in_limits) {
            deviation[inside++] = past[i].check.deviation_kg;
        }
    }
    *chart = up_chart_of(deviation, inside);
    free(deviation);
    free(past);
    return good;
}
