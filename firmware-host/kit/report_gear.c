/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the report says of gear: cylinders, moments, fins, moves of lead, lead that is too much. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "kit/kit_file.h"
#include "text/json.h"

static const double GRAVITY_M_S2 = 9.80665;

/* At the stop, with the reserve. */
static struct up_kit_state stop_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    return state_at(answers->file, dive->stop_m, dive->reserve_bar);
}

/* ---- lead that is too much ---- */

/* What a kilogram of it costs: the lift that the jacket must hold, as litres of gas, and by how
   much that lift moves a metre (Boyle: d lift / d depth = lift rho g / P). */
json_t *surplus_of(const struct answers *answers) {
    const struct kit_dive *dive = &answers->file->dive;
    struct up_kit_state state = state_at(answers->file, dive->stop_m, NEAR_EMPTY_BAR);
    struct up_kit_answer lead;
    if (!up_kit_lead_kg(answers->draws, &state, &lead, answers->failure)) {
        return NULL;
    }
    double rho = state.water_kg_m3, lift_kg = 1 - rho / UP_KIT_LEAD_KG_M3;
    const double depth_m[] = {0, dive->stop_m, dive->deepest_m};
    double g_per_m[3];
    for (int i = 0; i < 3; i++) {
        double weight_pa_m = rho * GRAVITY_M_S2;
        g_per_m[i] =
            lift_kg * 1e3 * weight_pa_m / (state.air_pressure_pa + weight_pa_m * depth_m[i]);
    }
    return json_pack("{s:f, s:f, s:f, s:f, s:f, s:f, s:f}", "low_kg", -lead.high, "high_kg",
                     -lead.low, "gas_per_kg_l", lift_kg / rho * 1e3, "at_surface_g_per_m",
                     g_per_m[0], "at_stop_g_per_m", g_per_m[1], "at_deepest_g_per_m", g_per_m[2],
                     "breath_g", UP_KIT_BREATH_KG * 1e3);
}

/* ---- cylinders ---- */

static bool part_lift(const struct answers *answers, size_t part, double bar,
                      struct up_kit_answer *answer) {
    struct up_kit_state state = state_at(answers->file, answers->file->dive.stop_m, bar);
    return up_kit_part_lift_kg(answers->draws, part, &state, answer, answers->failure);
}

/* Below which pressure on the gauge a number of the answer is above nothing: 0 where at no
   pressure, NaN where the answer fails. */
static double zero_crossing_bar(const struct answers *answers, size_t part, size_t offset) {
    struct up_kit_answer answer;
    const double *of = (const double *)(const void *)((const char *)&answer + offset);
    double low_bar = 0, high_bar = answers->file->dive.start_bar;
    if (!part_lift(answers, part, high_bar, &answer)) {
        return (double)NAN;
    }
    if (*of > 0) {
        return high_bar;
    }
    while (high_bar - low_bar > 0.5) {
        double middle_bar = (low_bar + high_bar) / 2;
        if (!part_lift(answers, part, middle_bar, &answer)) {
            return (double)NAN;
        }
        *(*of > 0 ? &low_bar : &high_bar) = middle_bar;
    }
    return low_bar;
}

static json_t *one_cylinder(const struct answers *answers, size_t part) {
    const struct kit_file *file = answers->file;
    const double full_bar = fmin(file->dive.start_bar, file->kit.part[part].working_pressure_bar);
    const double bars[] = {full_bar, file->dive.reserve_bar, NEAR_EMPTY_BAR, 0};
    json_t *lifts = json_array();
    for (size_t k = 0; k < sizeof bars / sizeof *bars; k++) {
        struct up_kit_answer answer;
        if (!part_lift(answers, part, bars[k], &answer)) {
            return list_or_null(false, lifts);
        }
        json_array_append_new(lifts, json_pack("{s:f, s:o}", "pressure_bar", bars[k], "lift",
                                               kit_answer_to_json(&answer, "kg")));
    }
    return json_pack(
        "{s:o, s:o, s:o, s:o, s:o}", "name", up_json_text(file->kit.part[part].name), "lifts",
        lifts, "floats_below_bar",
        up_json_number(zero_crossing_bar(answers, part, offsetof(struct up_kit_answer, value))),
        "surely_below_bar",
        up_json_number(zero_crossing_bar(answers, part, offsetof(struct up_kit_answer, low))),
        "perhaps_below_bar",
        up_json_number(zero_crossing_bar(answers, part, offsetof(struct up_kit_answer, high))));
}

json_t *cylinders_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    json_t *list = json_array();
    bool good = true;
    for (size_t i = 0; good && i < file->kit.parts; i++) {
        if (file->kit.part[i].kind == UP_PART_CYLINDER && !file->dive.state.without[i]) {
            good = json_array_append_new(list, one_cylinder(answers, i)) == 0;
        }
    }
    return list_or_null(good, list);
}

/* ---- moments ---- */

json_t *moments_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    struct up_kit_state state = stop_of(answers);
    json_t *list = json_array();
    for (size_t i = 0; i < file->kit.parts; i++) {
        const struct up_part *part = &file->kit.part[i];
        struct up_kit_answer lift, moment;
        if (part->spare || state.without[i]) {
            continue;
        }
        bool placed = !isnan(part->place_m.value);
        if (!up_kit_part_lift_kg(answers->draws, i, &state, &lift, answers->failure) ||
            (placed &&
             !up_kit_part_moment_nm(answers->draws, i, &state, &moment, answers->failure))) {
            return list_or_null(false, list);
        }
        json_array_append_new(list,
                              json_pack("{s:o, s:o, s:o, s:o}", "name", up_json_text(part->name),
                                        "place_m", up_json_number(part->place_m.value), "lift",
                                        kit_answer_to_json(&lift, "kg"), "moment",
                                        placed ? kit_answer_to_json(&moment, "nm") : json_null()));
    }
    return list;
}

/* ---- spares ---- */

/* The last check in which the diver hung level; SIZE_MAX for none. */
static size_t level_check(const struct kit_file *file) {
    size_t found = SIZE_MAX;
    for (size_t i = 0; i < file->kit.checks; i++) {
        found = file->kit.check[i].level ? i : found;
    }
    return found;
}

/* NULL (and no failure that counts) where level was not seen or a place is missing. */
static json_t *off_level(const struct answers *answers, size_t part) {
    size_t check = level_check(answers->file);
    struct up_kit_state stop = stop_of(answers);
    struct up_kit_answer answer;
    return check != SIZE_MAX &&
                   up_kit_off_level_nm(answers->draws, check, part, &stop, &answer, NULL)
               ? kit_answer_to_json(&answer, "nm")
               : json_null();
}

static json_t *one_swap(const struct answers *answers, size_t spare) {
    const struct up_part *part = &answers->file->kit.part[spare];
    struct up_kit_state state = state_at(answers->file, answers->file->dive.stop_m, NEAR_EMPTY_BAR);
    struct up_kit_swap swap;
    if (!up_kit_swap(answers->draws, spare, &state, &swap, answers->failure)) {
        return NULL;
    }
    double per_m_nm = (1 - state.water_kg_m3 / UP_KIT_LEAD_KG_M3) * GRAVITY_M_S2;
    bool placed = !isnan(swap.moment_nm.value);
    return json_pack(
        "{s:o, s:o, s:i, s:o, s:o, s:o, s:o, s:o}", "name", up_json_text(part->name), "instead_of",
        up_json_text(answers->file->kit.part[part->instead_of].name), "samples",
        (int)answers->file->samples[spare], "lift", kit_answer_to_json(&swap.lift_kg, "kg"),
        "lead_to_add", kit_answer_to_json(&swap.lead_kg, "kg"), "moment",
        placed ? kit_answer_to_json(&swap.moment_nm, "nm") : json_null(),
        /* A kilogram of lead so far towards the feet turns as much. */
        "one_kg_of_lead_towards_feet_m", up_json_number(swap.moment_nm.value / per_m_nm),
        "off_level", off_level(answers, spare));
}

/* Nearest to level first; where level is not known, what lifts the feet most. */
static int by_level(const void *left, const void *right) {
    const json_t *const *a = left, *const *b = right;
    double off_a = fabs(number_in(*a, "off_level", "value_nm"));
    double off_b = fabs(number_in(*b, "off_level", "value_nm"));
    if (isnan(off_a) || isnan(off_b)) {
        off_a = -number_in(*a, "lift", "value_kg");
        off_b = -number_in(*b, "lift", "value_kg");
    }
    return (off_a > off_b) - (off_a < off_b);
}

/* Of spares that are fins, or that are not. */
static json_t *spares_of(const struct answers *answers, bool fins) {
    const struct kit_file *file = answers->file;
    json_t *row[UP_KIT_PARTS_MAX] = {NULL}, *list = json_array();
    size_t count = 0;
    bool good = true;
    for (size_t i = 0; good && i < file->kit.parts; i++) {
        const struct up_part *part = &file->kit.part[i];
        if (part->spare && (part->instead_of == file->fins) == fins) {
            row[count] = one_swap(answers, i);
            good = row[count] != NULL;
            count += good;
        }
    }
    qsort(row, count, sizeof *row, by_level);
    for (size_t i = 0; i < count; i++) {
        json_array_append_new(list, row[i]);
    }
    return list_or_null(good, list);
}

json_t *swaps_of(const struct answers *answers) {
    return spares_of(answers, false);
}

json_t *fins_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    size_t level = level_check(file);
    if (file->fins == SIZE_MAX) {
        return json_null();
    }
    json_t *others = spares_of(answers, true);
    return others == NULL
               ? NULL
               : json_pack("{s:o, s:o, s:o, s:o, s:i}", "present",
                           up_json_text(file->kit.part[file->fins].name), "level_seen_in",
                           level != SIZE_MAX ? up_json_text(file->kit.check[level].label)
                                             : json_null(),
                           "off_level", off_level(answers, file->fins), "others", others,
                           "left_out", (int)file->fins_omitted);
}

/* Parts that are known by samples of their model. */
json_t *models_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    json_t *list = json_array();
    for (size_t i = 0; i < file->kit.parts; i++) {
        if (file->samples[i] > 0) {
            json_array_append_new(list, json_pack("{s:o, s:i, s:f}", "name",
                                                  up_json_text(file->kit.part[i].name), "samples",
                                                  (int)file->samples[i], "u_kg",
                                                  file->kit.part[i].buoyancy_kg.u));
        }
    }
    return list;
}

/* ---- moves of lead ---- */

static bool add_move(const struct answers *answers, json_t *list, const struct kit_move *move) {
    const struct up_part *part = answers->file->kit.part;
    struct up_kit_state state = stop_of(answers);
    struct up_kit_answer moment;
    if (!up_kit_move_nm(answers->draws, move->from, move->to, move->kg, &state, &moment,
                        answers->failure)) {
        return false;
    }
    return json_array_append_new(list, json_pack("{s:o, s:o, s:f, s:o}", "from",
                                                 up_json_text(part[move->from].name), "to",
                                                 up_json_text(part[move->to].name), "kg", move->kg,
                                                 "moment", kit_answer_to_json(&moment, "nm"))) == 0;
}

static bool is_lead_at(const struct up_part *part) {
    return part->kind == UP_PART_LEAD && !part->spare && !isnan(part->place_m.value);
}

/* The moves that the file lists; else a kilogram (or all there is) between any two places, but for
   ditchable lead to where it cannot be dropped. */
json_t *moves_of(const struct answers *answers) {
    const struct kit_file *file = answers->file;
    const struct up_part *part = file->kit.part;
    json_t *list = json_array();
    bool good = true;
    for (size_t i = 0; good && i < file->moves; i++) {
        good = add_move(answers, list, &file->move[i]);
    }
    for (size_t i = 0; file->moves == 0 && good && i < file->kit.parts * file->kit.parts &&
                       json_array_size(list) < UP_KIT_MOVES_MAX;
         i++) {
        struct kit_move move = {i / file->kit.parts, i % file->kit.parts, 1};
        if (move.from != move.to && is_lead_at(&part[move.from]) && is_lead_at(&part[move.to]) &&
            part[move.from].mass_kg.value > 0 &&
            !(part[move.from].ditchable && !part[move.to].ditchable)) {
            move.kg = fmin(1, part[move.from].mass_kg.value);
            good = add_move(answers, list, &move);
        }
    }
    return list_or_null(good, list);
}
