/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reference bodies, their checks and the chart of them. */
#include "support.h"

static struct up_reference steel(const char *name) {
    struct up_reference content = {.mass_kg = up_known(1.00012, 2e-5),
                                   .volume_m3 = up_known(1.2743e-4, 3e-8)};
    snprintf(content.name, sizeof content.name, "%s", name);
    return content;
}

static struct up_reference add_body(struct up_catalogue *catalogue, const char *name) {
    struct up_failure failure = {0};
    struct up_reference content = steel(name);
    if (!up_reference_add(catalogue, &content, &failure)) {
        fail_msg("%s", failure.text);
    }
    return content;
}

static struct up_reference found(struct up_catalogue *catalogue, const char *wanted) {
    struct up_failure failure = {0};
    struct up_reference content;
    if (!up_reference_find(catalogue, wanted, &content, &failure)) {
        fail_msg("%s", failure.text);
    }
    return content;
}

/* ---- bodies ---- */

static void a_body_comes_back_whole(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        struct up_reference content = add_body(catalogue, hostile_names[i].given);
        assert_string_equal(content.name, hostile_names[i].stored);
        struct up_reference back = found(catalogue, hostile_names[i].given);
        assert_string_equal(back.id, content.id);
        assert_string_equal(back.name, content.name);
        assert_true(back.mass_kg.value == 1.00012 && back.mass_kg.u == 2e-5);
        assert_true(back.volume_m3.value == 1.2743e-4 && back.volume_m3.u == 3e-8);
        assert_true(isinf(back.mass_kg.dof) && isinf(back.volume_m3.dof));
        char beginning[9];
        snprintf(beginning, sizeof beginning, "%.8s", content.id);
        assert_string_equal(found(catalogue, beginning).id, content.id);
    }
    assert_int_equal(count_kind(catalogue, "reference"), ARRAY(hostile_names));
    up_catalogue_close(catalogue);
}

static void a_changed_body_is_one_body(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference content = add_body(catalogue, "Stel");
    catalogue_clock_step_s = -100;
    snprintf(content.name, sizeof content.name, "Steel");
    content.mass_kg.value = 1.0002;
    assert_true(up_reference_add(catalogue, &content, NULL));
    assert_int_equal(count_kind(catalogue, "reference"), 1);
    assert_true(found(catalogue, "steel").mass_kg.value == 1.0002);
    up_catalogue_close(catalogue);
}

static void assert_not_found(struct up_catalogue *catalogue, const char *wanted,
                             const char *words) {
    struct up_failure failure = {0};
    struct up_reference content;
    assert_false(up_reference_find(catalogue, wanted, &content, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

static void who_is_not_found_is_told(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_not_found(catalogue, "Steel", "`upthrust body add`");
    add_item(catalogue, "Steel"); /* an item is no body */
    assert_not_found(catalogue, "Steel", "no reference body \"Steel\"");
    struct up_reference first = add_body(catalogue, "Steel one");
    add_body(catalogue, "Steel two");
    assert_not_found(catalogue, "Stel one", "did you mean \"Steel one\"? `upthrust body list`");
    add_body(catalogue, "Steel one");
    assert_not_found(catalogue, "Steel one", "2 reference bodies are called");
    assert_not_found(catalogue, "Steel one", first.id);
    up_catalogue_close(catalogue);
}

static void assert_body_refused(struct up_catalogue *catalogue, struct up_reference content,
                                const char *words) {
    struct up_failure failure = {0};
    assert_false(up_reference_add(catalogue, &content, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

static void numbers_are_checked(void **state) {
    (void)state;
    static const double bad[] = {0, -1, (double)NAN, (double)INFINITY, -(double)INFINITY};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(bad); i++) {
        struct up_reference content = steel("x");
        content.mass_kg.value = bad[i];
        assert_body_refused(catalogue, content, "no mass above zero: weigh it in air first");
        content = steel("x");
        content.volume_m3.value = bad[i];
        assert_body_refused(catalogue, content, "no volume above zero");
        content = steel("x");
        content.mass_kg.u = bad[i];
        assert_body_refused(catalogue, content, "the mass of the reference body \"x\" needs");
        content = steel("x");
        content.volume_m3.u = bad[i];
        assert_body_refused(catalogue, content, "the volume of the reference body \"x\" needs");
    }
    struct up_reference content = steel("grams for kilograms");
    content.mass_kg.value = 1000;
    assert_body_refused(catalogue, content, "a density of 7.85e+06 kg/m3: is the mass in grams");
    assert_body_refused(catalogue, steel("  "), "a reference body's --name");
    content = steel("id");
    snprintf(content.id, sizeof content.id, "../../etc");
    assert_body_refused(catalogue, content, "ids are UUIDs");
    assert_int_equal(count_kind(catalogue, "reference"), 0);
    up_catalogue_close(catalogue);
}

/* ---- checks ---- */

static const double WATER_KG_M3 = 998.2;

static struct up_reference_check check_of(const struct up_reference *content, double deviation_g) {
    double expected_kg = content->mass_kg.value - WATER_KG_M3 * content->volume_m3.value;
    struct up_reference_check check = {.load_counts = 500000,
                                       .water_kg = expected_kg + deviation_g * 1e-3,
                                       .u_water_kg = 2e-4,
                                       .expected_kg = expected_kg,
                                       .water_kg_m3 = WATER_KG_M3,
                                       .deviation_kg = up_known(deviation_g * 1e-3, 3e-4),
                                       .e_n = deviation_g / 0.6,
                                       .low_kg = -6e-4,
                                       .high_kg = 6e-4};
    check.outside = fabs(deviation_g) > 0.6;
    check.confirmed = check.outside;
    memcpy(check.id, content->id, sizeof check.id);
    memcpy(check.name, content->name, sizeof check.name);
    return check;
}

static void add_check(struct up_catalogue *catalogue, const struct up_reference *content,
                      const char *bench, double deviation_g) {
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    struct up_reference_check check = check_of(content, deviation_g);
    up_new_id(run_id);
    if (!up_check_add(catalogue, &check, run_id, bench, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static struct up_chart chart_of(struct up_catalogue *catalogue, const struct up_reference *content,
                                const char *bench) {
    struct up_failure failure = {0};
    struct up_chart chart;
    if (!up_reference_chart(catalogue, content->id, bench, &chart, &failure)) {
        fail_msg("%s", failure.text);
    }
    return chart;
}

/* NIST/SEMATECH e-Handbook 6.3.2.2, flow rates of ten batches: mean 50.81, limits 45.8159 and
   55.8041 (as in tests/reference/), taken as hundredths of a gram about 50. */
static void the_chart_is_that_of_the_past_checks(void **state) {
    (void)state;
    static const double batches[] = {49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference content = add_body(catalogue, "Steel"),
                        other = add_body(catalogue, "Other");
    for (size_t i = 0; i < ARRAY(batches); i++) {
        catalogue_clock_step_s = (long)i;
        assert_int_equal(chart_of(catalogue, &content, "one").count, i);
        assert_true(chart_of(catalogue, &content, "one").has_limits == (i >= UP_CHART_LEAST));
        add_check(catalogue, &content, "one", (batches[i] - 50) / 100);
        add_check(catalogue, &content, "two", 0.3);
        add_check(catalogue, &other, "one", -0.3);
    }
    struct up_chart chart = chart_of(catalogue, &content, "one");
    assert_int_equal(chart.count, 10);
    double unit_kg = 1e-5;
    assert_true(fabs(chart.centre / unit_kg + 50 - 50.81) < 1e-9);
    assert_true(fabs(chart.low / unit_kg + 50 - 45.8159) < 1e-4);
    assert_true(fabs(chart.high / unit_kg + 50 - 55.8041) < 1e-4);
    assert_true(fabs(chart.typical_u - 3e-4) < 1e-12);
    up_catalogue_close(catalogue);
}

static void points_outside_are_shown_but_make_no_limits(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference content = add_body(catalogue, "Steel");
    struct up_past_check *past;
    size_t count;
    for (int i = 0; i < 9; i++) {
        catalogue_clock_step_s = i;
        add_check(catalogue, &content, "one", i == 4 ? 5 : i % 2 == 0 ? 0.1 : -0.1);
    }
    struct up_chart chart = chart_of(catalogue, &content, "one");
    assert_int_equal(chart.count, 8);
    assert_true(chart.high < 6.5e-4); /* ranges of 0.2 g; with the point outside far more */
    assert_true(up_reference_checks(catalogue, content.id, NULL, &past, &count, NULL));
    assert_int_equal(count, 9);
    for (size_t i = 0; i < count; i++) {
        assert_true(past[i].in_limits == (i != 4));
        assert_true(past[i].check.outside == (i == 4) && past[i].check.confirmed == (i == 4));
        assert_true(i == 0 || strcmp(past[i - 1].made_utc, past[i].made_utc) < 0);
        assert_string_equal(past[i].bench, "one");
        assert_string_equal(past[i].check.name, "Steel");
        assert_int_equal(strlen(past[i].run_id), 36);
    }
    assert_true(fabs(past[4].check.deviation_kg.value - 5e-3) < 1e-12);
    assert_true(fabs(past[4].check.high_kg - 6e-4) < 1e-12);
    assert_true(fabs(past[4].check.u_water_kg - 2e-4) < 1e-12);
    free(past);
    up_catalogue_close(catalogue);
}

/* Filed down or weighed anew, it is another body to the chart. */
static void the_chart_begins_anew_with_the_bodys_numbers(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference content = add_body(catalogue, "Steel");
    add_check(catalogue, &content, "one", 0.1);
    add_check(catalogue, &content, "one", 0.2);
    snprintf(content.name, sizeof content.name, "Steel, painted");
    assert_true(up_reference_add(catalogue, &content, NULL));
    assert_int_equal(chart_of(catalogue, &content, "one").count, 2);
    content.mass_kg.value += 1e-4;
    assert_true(up_reference_add(catalogue, &content, NULL));
    assert_int_equal(chart_of(catalogue, &content, "one").count, 0);
    add_check(catalogue, &content, "one", 0.1);
    assert_int_equal(chart_of(catalogue, &content, "one").count, 1);
    up_catalogue_close(catalogue);
}

/* In water of another warmth it is expected to weigh otherwise, and is the same body. */
static void a_body_that_expands_is_the_same_body(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference content = steel("Plastic"), back;
    content.expansion_per_k = 4e-4;
    content.u_expansion_per_k = 3e-5;
    assert_true(up_reference_add(catalogue, &content, NULL));
    back = found(catalogue, "Plastic");
    assert_true(back.expansion_per_k == 4e-4 && back.u_expansion_per_k == 3e-5);
    for (int i = 0; i < 3; i++) {
        struct up_reference_check check = check_of(&content, 0.1 * i);
        check.water_temp_c = 10 + 10 * i;
        check.expected_kg = content.mass_kg.value - WATER_KG_M3 * content.volume_m3.value *
                                                        (1 + 4e-4 * (check.water_temp_c - 20));
        assert_true(up_check_add(catalogue, &check, content.id, "one", NULL, NULL));
    }
    assert_int_equal(chart_of(catalogue, &content, "one").count, 3);
    content.expansion_per_k = -1e-4;
    struct up_failure failure = {0};
    assert_false(up_reference_add(catalogue, &content, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "expands");
    up_catalogue_close(catalogue);
}

static void a_check_without_numbers_makes_no_limits(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference content = add_body(catalogue, "Steel");
    struct up_reference_check check = check_of(&content, 0);
    struct up_past_check *past;
    size_t count;
    check.deviation_kg = (struct up_quantity){(double)NAN, (double)NAN, 0};
    check.low_kg = check.high_kg = (double)NAN;
    assert_true(up_check_add(catalogue, &check, content.id, "one", NULL, NULL));
    assert_true(up_reference_checks(catalogue, content.id, "one", &past, &count, NULL));
    assert_int_equal(count, 1);
    assert_true(isnan(past[0].check.deviation_kg.value) && isnan(past[0].check.low_kg));
    assert_false(past[0].in_limits);
    free(past);
    struct up_failure failure = {0};
    struct up_chart chart;
    assert_false(up_reference_chart(catalogue, "nobody", "one", &chart, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "no reference body \"nobody\"");
    assert_int_equal(chart.count, 0);
    up_catalogue_close(catalogue);
}

/* ---- elsewhere ---- */

static void bodies_and_checks_go_from_one_catalogue_to_another(void **state) {
    (void)state;
    struct up_intake taken;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("d", UP_CATALOGUE_CREATE);
    struct up_reference content = add_body(catalogue, "Steel");
    add_check(catalogue, &content, "one", 0.1);
    add_check(catalogue, &content, "one", 7);
    assert_true(up_export_json(catalogue, "out", &failure));
    up_catalogue_close(catalogue);
    assert_true(up_catalogue_import(other, "out", false, &taken, &failure));
    assert_int_equal(taken.fresh, 4); /* and who wrote them */
    struct up_past_check *past;
    size_t count;
    assert_true(up_reference_checks(other, content.id, "one", &past, &count, NULL));
    assert_true(count == 2 && past[0].elsewhere);
    assert_int_equal(chart_of(other, &content, "one").count, 0); /* makes no limits here */
    free(past);
    assert_true(found(other, "Steel").elsewhere);
    assert_true(found(other, "Steel").volume_m3.value == 1.2743e-4);
    up_catalogue_close(other);
}

/* What could not have been added is not taken from elsewhere. */
static void a_forged_body_is_not_taken(void **state) {
    (void)state;
    static const char *const changes[] = {"{\"mass_kg\": null}", "{\"mass_kg\": -1}",
                                          "{\"u_volume_m3\": 0}", "{\"volume_m3\": 1e9}",
                                          "{\"name\": 7}"};
    struct up_reference content = steel("x"), back;
    for (size_t i = 0; i < ARRAY(changes); i++) {
        struct up_failure failure = {0};
        struct up_intake taken;
        json_t *json = up_reference_to_json(&content), *change = json_loads(changes[i], 0, NULL);
        assert_true(up_reference_from_json(json, &back));
        json_object_update(json, change);
        assert_false(up_reference_from_json(json, &back));
        struct up_catalogue *catalogue = open_as("bad", UP_CATALOGUE_CREATE);
        assert_true(
            up_catalogue_add(catalogue, "reference", NULL, NULL, json, NULL, NULL, &failure));
        up_catalogue_close(catalogue);
        catalogue = open_as("good", UP_CATALOGUE_CREATE);
        assert_true(up_catalogue_merge(catalogue, "bad", false, &taken, &failure));
        assert_true(taken.refused == 1 + i && taken.fresh == (i == 0)); /* who wrote it comes */
        assert_int_equal(count_kind(catalogue, "reference"), 0);
        up_catalogue_close(catalogue);
        json_decref(change);
        json_decref(json);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_body_comes_back_whole),
        TEST(a_changed_body_is_one_body),
        TEST(who_is_not_found_is_told),
        TEST(numbers_are_checked),
        TEST(the_chart_is_that_of_the_past_checks),
        TEST(points_outside_are_shown_but_make_no_limits),
        TEST(the_chart_begins_anew_with_the_bodys_numbers),
        TEST(a_body_that_expands_is_the_same_body),
        TEST(a_check_without_numbers_makes_no_limits),
        TEST(bodies_and_checks_go_from_one_catalogue_to_another),
        TEST(a_forged_body_is_not_taken),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
