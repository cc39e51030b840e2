/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a quick weighing begins from, as the run's journal holds it: how early readings lie off the
   full ones as it was learned by then, and what the session had seen of that. With it a replay ends
   each reading where the run did. */
#include <limits.h>
#include <string.h>

#include "internal.h"

static const char *const basis_names[] = {
    [UP_EARLY_NONE] = "none", [UP_EARLY_FEW] = "few", [UP_EARLY_MANY] = "many"};

static json_t *values_to_json(const double value[UP_EARLY_VALUES]) {
    json_t *list = json_array();
    for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
        json_array_append_new(list, json_real(value[i]));
    }
    return list;
}

static bool values_from_json(const json_t *list, double value[UP_EARLY_VALUES]) {
    bool good = json_array_size(list) == UP_EARLY_VALUES;
    for (size_t i = 0; good && i < UP_EARLY_VALUES; i++) {
        const json_t *entry = json_array_get(list, i);
        value[i] = json_number_value(entry);
        good = json_is_number(entry) && isfinite(value[i]);
    }
    return good;
}

static bool count_from_json(const json_t *json, const char *key, unsigned *count) {
    const json_t *value = json_object_get(json, key);
    json_int_t whole = json_integer_value(value);
    *count = (unsigned)whole;
    return json_is_integer(value) && whole >= 0 && whole <= INT_MAX;
}

/* ---- one step: the envelope, and what the session saw of it ---- */

static json_t *step_to_json(const struct up_early_envelope *envelope,
                            const struct up_early_watch *watch) {
    return json_pack("{s:s, s:i, s:i, s:o, s:o, s:o, s:o, s:i, s:I}", "basis",
                     basis_names[envelope->basis], "traces", (int)envelope->traces, "items",
                     (int)envelope->items, "a_kg", values_to_json(envelope->a_kg), "b",
                     values_to_json(envelope->b), "mean", values_to_json(envelope->mean), "bound",
                     values_to_json(envelope->bound), "seen", (int)watch->seen, "against",
                     (json_int_t)watch->against);
}

static bool basis_from_json(const json_t *json, enum up_early_basis *basis) {
    const char *name = up_record_text(json, "basis");
    for (size_t i = 0; i < sizeof basis_names / sizeof basis_names[0]; i++) {
        if (strcmp(name, basis_names[i]) == 0) {
            *basis = (enum up_early_basis)i;
            return true;
        }
    }
    return false;
}

static bool step_from_json(const json_t *json, struct up_early_envelope *envelope,
                           struct up_early_watch *watch) {
    const json_t *against = json_object_get(json, "against");
    watch->against = (unsigned)json_integer_value(against);
    return basis_from_json(json, &envelope->basis) && json_is_integer(against) &&
           count_from_json(json, "traces", &envelope->traces) &&
           count_from_json(json, "items", &envelope->items) &&
           count_from_json(json, "seen", &watch->seen) && watch->seen <= UP_EARLY_WATCHED &&
           values_from_json(json_object_get(json, "a_kg"), envelope->a_kg) &&
           values_from_json(json_object_get(json, "b"), envelope->b) &&
           values_from_json(json_object_get(json, "mean"), envelope->mean) &&
           values_from_json(json_object_get(json, "bound"), envelope->bound);
}

struct up_taught_bench taught_bench(const struct up_rig *rig) {
    return (struct up_taught_bench){.id = rig->id,
                                    .rig_sha256 = rig->sha256,
                                    .read_after_s = rig->read_after_s,
                                    .window_s = rig->window_s,
                                    .simulated = rig->simulated};
}

void quick_plan_watch(struct up_quick_plan *plan, const struct up_early_watch *seen) {
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        bool goes_on = seen != NULL && !up_early_is_rejected(&seen[step], UP_QUICK_EARLY_RISK);
        plan->watch[step] = goes_on ? seen[step] : (struct up_early_watch){0};
    }
}

/* ---- the whole ---- */

json_t *quick_plan_to_json(const struct up_quick_plan *plan) {
    json_t *json =
        json_pack("{s:f, s:f, s:I, s:b}", "mass_kg", plan->mass_kg, "u_mass_kg", plan->u_mass_kg,
                  "lot", (json_int_t)plan->lot, "asks_aside", plan->asks_aside);
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        json_object_set_new(json, up_taught_step_name((enum up_quick_step)step),
                            step_to_json(&plan->envelope[step], &plan->watch[step]));
    }
    return json;
}

bool quick_plan_from_json(const json_t *json, struct up_quick_plan *plan) {
    const json_t *lot = json_object_get(json, "lot");
    *plan = (struct up_quick_plan){.on = true,
                                   .mass_kg = up_record_number(json, "mass_kg"),
                                   .u_mass_kg = up_record_number(json, "u_mass_kg"),
                                   .lot = (unsigned long)json_integer_value(lot),
                                   .asks_aside = json_is_true(json_object_get(json, "asks_aside"))};
    bool good = json_is_integer(lot) && isfinite(plan->mass_kg) && isfinite(plan->u_mass_kg);
    for (int step = 0; good && step < UP_QUICK_STEPS; step++) {
        good = step_from_json(json_object_get(json, up_taught_step_name((enum up_quick_step)step)),
                              &plan->envelope[step], &plan->watch[step]);
    }
    return good;
}
