/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The budget of some measurements made up by hand, term by term, beside the same budget computed
   from the published equations by tests/golden/budget.py, whose table is read here. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "upthrust/measurement.h"

static const char TABLE[] = "tests/golden/budget.tsv";
enum { WORDS_MAX = 20, LINE_MAX_BYTES = 400, RESULTS_MAX = 8 };

/* Budgets are solved again and again while they are drawn from; ten thousand draws are quick. */
enum { DRAWS = 10000 };

static struct up_measurement measurement;
static struct up_reference_plan body;
static struct up_quantity body_load;
static struct up_result result[RESULTS_MAX], *current;
static unsigned results, next_result, compared;
static bool computed;
static char case_name[32];

struct line {
    const char *word[WORDS_MAX];
    unsigned words, number;
};

static double number_at(const struct line *line, unsigned i) {
    char *end = NULL;
    double number = i < line->words ? strtod(line->word[i], &end) : 0;
    if (i >= line->words || *end != '\0') {
        fail_msg("%s, line %u: word %u is not a number", TABLE, line->number, i);
    }
    return number;
}

static bool is(const struct line *line, unsigned i, const char *word) {
    return i < line->words && strcmp(line->word[i], word) == 0;
}

/* ---- the record ---- */

#define AT(member) offsetof(struct up_measurement, member)
static const struct {
    const char *name;
    size_t offset;
} settings[] = {
    {"division", AT(rig.division_counts)},
    {"u_thermometer_k", AT(rig.u_thermometer_k)},
    {"line_diameter_m", AT(rig.cord_diameter_m)},
    {"tank_area_m2", AT(rig.tank_area_m2)},
    {"depth_m", AT(rig.depth_m)},
    {"meniscus_kg", AT(rig.meniscus_kg)},
    {"item_temp_k", AT(rig.item_temp_halfwidth_k)},
    {"shake_share", AT(rig.shake_share)},
    {"gravity_m_s2", AT(rig.gravity_m_s2.value)},
    {"u_gravity_m_s2", AT(rig.gravity_m_s2.u)},
    {"read_after_s", AT(rig.read_after_s)},
    {"window_s", AT(calibration.window_s)},
    {"air_temp_c", AT(rig.air.temp_c.value)},
    {"u_air_temp_k", AT(rig.air.temp_c.u)},
    {"air_pressure_pa", AT(rig.air.pressure_pa.value)},
    {"u_air_pressure_pa", AT(rig.air.pressure_pa.u)},
    {"air_humidity", AT(rig.air.humidity.value)},
    {"u_air_humidity", AT(rig.air.humidity.u)},
    {"slope", AT(calibration.slope_counts_per_kg)},
    {"u_slope", AT(calibration.u_slope_counts_per_kg)},
    {"slope_dof", AT(calibration.dof)},
    {"unloading", AT(calibration.unloading_slope_counts_per_kg)},
    {"u_unloading", AT(calibration.u_unloading_slope_counts_per_kg)},
    {"mass_tolerance", AT(calibration.mass_tolerance_rel)},
    {"lack_of_fit_kg", AT(calibration.lack_of_fit_kg)},
    {"hysteresis_kg", AT(calibration.hysteresis_kg)},
    {"scatter_kg", AT(calibration.scatter_kg)},
    {"scatter_rel", AT(calibration.scatter_rel)},
    {"offset_taken", AT(calibration.offset_taken)},
    {"offset_counts", AT(calibration.offset_counts)},
    {"u_offset_counts", AT(calibration.u_offset_counts)},
    {"creep_at_reading", AT(calibration.creep_at_reading)},
    {"u_creep", AT(calibration.u_creep_rel_decade)},
    {"creep_is_told", AT(calibration.creep_is_known)},
    {"creep", AT(calibration.creep_rel_decade)},
    {"calibration_air", AT(calibration.air_density_kg_m3)},
    {"calibration_temp_c", AT(calibration.temp_c)},
    {"span_kg", AT(calibration.span_kg)},
    {"expansion", AT(item.expansion_per_k)},
    {"u_expansion", AT(item.u_expansion_per_k)},
    {"kind_sd_kg", AT(kind_repeatability_kg.u)},
    {"kind_dof", AT(kind_repeatability_kg.dof)},
    {"kind_share", AT(kind_shake_share)},
    {"stuck_share", AT(rig.stuck_share)},
    {"kind_stuck_share", AT(kind_stuck_share)},
    {"kind_stuck_kg", AT(kind_stuck_kg)},
    {"air_counts", AT(air_counts.value)},
    {"u_air_counts", AT(air_counts.u)},
    {"level_counts", AT(level_counts.value)},
    {"u_level_counts", AT(level_counts.u)},
    {"two_point_m", AT(two_point_m)},
    {"deep_counts", AT(deep_counts.value)},
    {"u_deep_counts", AT(deep_counts.u)},
    {"second_depth_m", AT(second_depth_m)},
};

static void begin_case(const struct line *line) {
    const double known = (double)INFINITY;
    measurement =
        (struct up_measurement){.item = {.tolerance_g = UP_TOLERANCE_ONE_G, .pieces = 1},
                                .confidence = 0.95,
                                .coverage = 0.95,
                                .draws = DRAWS,
                                .rig = {.gravity_m_s2.dof = known,
                                        .air = {{.dof = known}, {.dof = known}, {.dof = known}}}};
    measurement.air_counts.dof = measurement.level_counts.dof = measurement.deep_counts.dof = known;
    snprintf(case_name, sizeof case_name, "%s", line->word[1]);
    computed = false;
    next_result = 0;
}

static void set(const struct line *line) {
    for (size_t i = 0; i < sizeof settings / sizeof settings[0]; i++) {
        if (is(line, 1, settings[i].name)) {
            char *at = (char *)&measurement + settings[i].offset;
            *(double *)(void *)at = number_at(line, 2);
            return;
        }
    }
    fail_msg("%s, line %u: nothing is called %s", TABLE, line->number, line->word[1]);
}

static void set_water(const struct line *line, struct up_water *water) {
    *water = (struct up_water){.model = is(line, 2, "sea")    ? UP_WATER_SEA
                                        : is(line, 2, "pool") ? UP_WATER_POOL
                                                              : UP_WATER_FRESH,
                               .temp_c = number_at(line, 3),
                               .u_temp_c = number_at(line, 4),
                               .salinity_g_kg = number_at(line, 5),
                               .u_salinity_g_kg = number_at(line, 6),
                               .salinity_range = number_at(line, 7) != 0,
                               .depth_m = number_at(line, 8),
                               .gravity_m_s2 = number_at(line, 9)};
    snprintf(water->name, sizeof water->name, "%s", line->word[1]);
}

static void add_trial(const struct line *line) {
    struct up_trial *trial = &measurement.trial[measurement.trials++];
    *trial = (struct up_trial){.number = measurement.trials,
                               .load_counts = number_at(line, 1),
                               .u_plateau_counts = number_at(line, 2),
                               .shakes = (unsigned)number_at(line, 3),
                               .last_gain_counts = number_at(line, 4),
                               .last_gain_s = number_at(line, 5),
                               .soak_s = number_at(line, 6),
                               .temp_c = number_at(line, 7),
                               .late_s = number_at(line, 8),
                               .left_out = number_at(line, 9) != 0,
                               .shakes_set = number_at(line, 11) != 0,
                               .water_slope_counts_s = number_at(line, 12),
                               .water_age_s = number_at(line, 13),
                               .tare_slope_counts_s = number_at(line, 14),
                               .tare_age_s = number_at(line, 15),
                               .tare_change_counts = number_at(line, 16)};
    if (trial->shakes > 0) {
        trial->gain_counts[trial->shakes - 1] = trial->last_gain_counts;
        trial->gain_counts[0] += number_at(line, 10) - trial->last_gain_counts;
    }
}

/* At the end of a session the check is computed anew for each of its numbers. */
static void set_body(const struct line *line) {
    body = (struct up_reference_plan){
        .reference = {.mass_kg = up_known(number_at(line, 1), number_at(line, 2)),
                      .volume_m3 = up_known(number_at(line, 3), number_at(line, 4)),
                      .expansion_per_k = number_at(line, 5),
                      .u_expansion_per_k = number_at(line, 6)}};
    body_load = (struct up_quantity){number_at(line, 7), number_at(line, 8), number_at(line, 9)};
}

static void take_measured(const struct line *line) {
    struct up_calibration *calibration = &measurement.calibration;
    if (is(line, 0, "case")) {
        begin_case(line);
    } else if (is(line, 0, "set")) {
        set(line);
    } else if (is(line, 0, "tank")) {
        set_water(line, &measurement.rig.tank_water);
    } else if (is(line, 0, "water")) {
        set_water(line, &measurement.water[measurement.waters++]);
    } else if (is(line, 0, "body")) {
        set_body(line);
    } else if (is(line, 0, "point")) {
        calibration->point[calibration->points++].mass_kg = number_at(line, 1);
    } else if (is(line, 0, "trial")) {
        add_trial(line);
    } else {
        fail_msg("%s, line %u: %s?", TABLE, line->number, line->word[0]);
    }
}

/* ---- what comes of it ---- */

static void begin_result(const struct line *line) {
    struct up_failure failure = {0};
    if (!computed) {
        measurement.rig.window_s = measurement.calibration.window_s;
        measurement.calibration.read_after_s = measurement.rig.read_after_s;
        if (!up_measurement_results(&measurement, result, &results, &failure)) {
            fail_msg("%s: %s", case_name, failure.text);
        }
        assert_int_equal(results, measurement.waters + 1);
        computed = true;
    }
    assert_true(next_result < results);
    current = &result[next_result++];
    assert_string_equal(current->water.name[0] == '\0' ? "tank" : current->water.name,
                        line->word[1]);
}

/* The table is written in twelve digits; a difference that cancels keeps what the doubles behind it
   allow. */
static void compare(const struct line *line, const char *what, double value, double wanted,
                    double relative, double rounding) {
    bool same = isnan(wanted)   ? isnan(value) != 0
                : isinf(wanted) ? isinf(value) != 0
                                : fabs(value - wanted) <= relative * fabs(wanted) + rounding;
    compared++;
    if (!same) {
        fail_msg("%s in %s, %s: %s is %.12g, by the equations %.12g (line %u)", case_name,
                 current->water.name, line->word[1], what, value, wanted, line->number);
    }
}

static void compare_term(const struct line *line) {
    int i = 0;
    while (i < UP_INPUT_COUNT && !is(line, 1, up_input_name((enum up_input)i))) {
        i++;
    }
    if (i == UP_INPUT_COUNT) {
        fail_msg("%s: no term is called %s", TABLE, line->word[1]);
    }
    const struct up_term *term = &current->weighing.term[i];
    double within = number_at(line, 9), u = number_at(line, 3);
    /* half the difference of two buoyancies, each exact to a few last places */
    double last_places = 8 * 2.2e-16 * fmax(fabs(current->answer.buoyancy_kg.value), 0.1);
    compare(line, "value", term->value, number_at(line, 2), within, 0);
    compare(line, "u", term->u, u, within, 1e-15 * fabs(term->value));
    compare(line, "dof", term->dof, number_at(line, 4), 0, 0);
    assert_string_equal(up_distribution_name(term->distribution), line->word[5]);
    assert_int_equal(term->evaluation, line->word[6][0]);
    compare(line, "sensitivity", term->sensitivity, number_at(line, 7), within,
            u > 0 ? last_places / u : 0);
    /* of the whole, which holds the terms that are compared less closely */
    compare(line, "share", term->share, number_at(line, 8), 4e-5, 1e-12);
}

static double named_number(const char *name) {
    struct up_reference_check check;
    up_measurement_check(&measurement, &body, body_load, &check);
    const struct {
        const char *name;
        double value;
    } numbers[] = {
        {"reads_kg", check.water_kg},
        {"u_reads_kg", check.u_water_kg},
        {"expected_kg", check.expected_kg},
        {"deviation_kg", check.deviation_kg.value},
        {"u_deviation_kg", check.deviation_kg.u},
        {"e_n", check.e_n},
        {"low_kg", check.low_kg},
        {"high_kg", check.high_kg},
        {"buoyancy_kg", current->answer.buoyancy_kg.value},
        {"u_buoyancy_kg", current->answer.buoyancy_kg.u},
        {"dof", current->answer.buoyancy_kg.dof},
        {"stuck_air_kg", current->answer.stuck_air_kg},
        {"volume_m3", current->answer.volume_m3},
        {"mass_kg", current->answer.mass_kg},
        {"hook_kg", current->moment.hook_kg.value},
        {"u_hook_kg", current->moment.hook_kg.u},
        {"far_kg", current->moment.far_kg.value},
        {"u_far_kg", current->moment.far_kg.u},
        {"moment_nm", current->moment.moment_nm.value},
        {"u_moment_nm", current->moment.moment_nm.u},
        {"second_buoyancy_kg", current->second_buoyancy_kg.value},
        {"u_second_buoyancy_kg", current->second_buoyancy_kg.u},
        {"gas_m3", current->gas.volume_m3.value},
        {"u_gas_m3", current->gas.volume_m3.u},
        {"bubbles_g_min", current->bubbles_g_min},
        {"u_bubbles_g_min", current->u_bubbles_g_min},
        {"forms_bubbles", current->forms_bubbles},
        {"drips", current->drips},
        {"uptake_g_min", current->uptake_g_min},
        {"u_uptake_g_min", current->u_uptake_g_min},
        {"takes_up_water", current->takes_up_water},
        {"at_last_soak", current->at_last_soak},
        {"trials", current->trials},
        {"soak_s", current->soak_s},
    };
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
        if (strcmp(numbers[i].name, name) == 0) {
            return numbers[i].value;
        }
    }
    fail_msg("%s: no number is called %s", TABLE, name);
    return 0;
}

static void take_line(const struct line *line) {
    if (is(line, 0, "result")) {
        begin_result(line);
    } else if (is(line, 0, "term")) {
        compare_term(line);
    } else if (is(line, 0, "number") || is(line, 0, "check")) {
        compare(line, "it", named_number(line->word[1]), number_at(line, 2), number_at(line, 3), 0);
    } else {
        take_measured(line);
    }
}

static void each_term_is_what_the_equations_give(void **state) {
    char text[LINE_MAX_BYTES];
    FILE *stream = fopen(TABLE, "r");
    struct line line = {.number = 0};
    (void)state;
    assert_non_null(stream);
    while (fgets(text, sizeof text, stream) != NULL) {
        line.number++;
        line.words = 0;
        text[strcspn(text, "\n")] = '\0';
        for (char *word = text; word != NULL && line.words < WORDS_MAX;) {
            line.word[line.words++] = strsep(&word, "\t");
        }
        if (text[0] != '#') {
            take_line(&line);
        }
    }
    fclose(stream);
    /* five sessions, ten results of 24 terms, five figures each */
    assert_true(compared > 10 * UP_INPUT_COUNT * 5);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_term_is_what_the_equations_give)};
    return cmocka_run_group_tests_name("budget", tests, NULL, NULL);
}
