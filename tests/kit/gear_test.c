/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Gear of the catalogue in a kit: items, samples of a model, other fins, what counts by name only.
 */
#include "../catalogue/support.h"

#include "agree.h"
#include "kit/kit_file.h"
#include "kit/report.h"

/* A pair of fins, or one, of a model; b0 at 998.2067 kg/m3, 1.5 l. */
static struct up_item add_fin(struct up_catalogue *catalogue, const char *name, const char *model,
                              int pieces, double buoyancy_g) {
    struct up_item item = plain_item(name);
    item.pieces = pieces;
    item.holds_gas = UP_GAS_NO;
    snprintf(item.model, sizeof item.model, "%s", model);
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_result result = plain_result(item.id, "tank");
    result.answer.buoyancy_kg.value = buoyancy_g * 1e-3;
    result.pieces = pieces;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    catalogue_clock_step_s++;
    return item;
}

/* A body with 4 kg of lead that hung still in fresh water, and fins as `part` says. */
static void write_kit(const char *part, const char *more, const char *check) {
    char *text = up_text_format(
        "{\"schema\": \"upthrust-kit-1\", %s \"diver\": {\"mass_kg\": 80}, \"parts\": ["
        "{\"name\": \"belt\", \"kind\": \"lead\", \"mass_kg\": 4, \"ditchable\": true, "
        "\"place_m\": 0},"
        "{\"name\": \"ankles\", \"kind\": \"lead\", \"mass_kg\": 0, \"place_m\": -0.8, "
        "\"u_place_m\": 0}, {\"name\": \"fins\", \"u_place_m\": 0, %s}],"
        "\"checks\": [{\"water\": \"fresh\", \"depth_m\": 0, \"pressure_bar\": 0%s}],"
        "\"dive\": {\"water\": \"sea\", \"deepest_m\": 10, \"start_bar\": 200, \"reserve_bar\": "
        "50}}",
        more, part, check);
    write_all("kit.json", text);
    free(text);
}

static json_t *report(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    json_t *document = up_kit_report("kit.json", catalogue, &failure);
    if (document == NULL) {
        fail_msg("%s", failure.text);
    }
    return document;
}

static void assert_kit_refused(struct up_catalogue *catalogue, const char *words) {
    struct up_failure failure = {0};
    assert_null(up_kit_report("kit.json", catalogue, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

static double at(const json_t *row, const char *object, const char *key) {
    return json_number_value(json_object_get(json_object_get(row, object), key));
}

/* The old pair sinks by 400 g, one light fin floats by 50: two of them 100 g, at the same feet. In
   water of rho: (0.1 + (rho - 998.2067) 3e-3) - (-0.4 + (rho - 998.2067) 1.5e-3) kg, and 0.9 m
   towards the feet of it that, times 9.80665, N m the other way. Where they sit is as uncertain for
   both, so exact here. */
static void other_fins_are_compared(void **state) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    add_fin(catalogue, "old", "", 2, -400);
    add_fin(catalogue, "light", "", 1, 50);
    add_fin(catalogue, "heavy", "", 2, -900);
    write_kit("\"item\": \"old\", \"fins\": true, \"place_m\": -0.9",
              "\"accept\": [\"unchecked\"],", "");
    json_t *document = report(catalogue), *fins = json_object_get(document, "fins");
    const json_t *others = json_object_get(fins, "others"), *light = json_array_get(others, 0);
    double rho = at(document, "water", "density_kg_m3");
    double lift_kg = 0.5 + (rho - 998.2067) * 1.5e-3;
    assert_int_equal(json_array_size(others), 2);
    assert_string_equal(json_string_value(json_object_get(light, "name")), "light, 2 of it");
    assert_close(at(light, "lift", "value_kg"), lift_kg, 2e-4);
    assert_close(at(light, "lead_to_add", "value_kg"), lift_kg / (1 - rho / 11190), 5e-4);
    assert_close(at(light, "moment", "value_nm"), -0.9 * 9.80665 * lift_kg, 2e-3);
    assert_close(json_number_value(json_object_get(light, "one_kg_of_lead_towards_feet_m")),
                 -0.9 * lift_kg / (1 - rho / 11190), 1e-3);
    assert_true(json_is_null(json_object_get(light, "off_level"))); /* a check shows force */
    json_decref(document);
    up_catalogue_close(catalogue);
}

/* Level was seen in fresh water of f with 1 kg at the ankles in place of the belt's fourth. Without
   it, in the sea of s, the head sinks by 0.8 x 9.80665 x (1 - f / 11190) N m; the fins' 1.5 l lift
   the feet by (s - f) 1.5e-3 x 0.9 x 9.80665; and the body, 80 + 0.4 kg and 4 kg of lead in water
   over f, lifts (s - f) times its volume 0.05 m from the hips, anywhere within 0.1 m of that; the
   breath's 2.207 N m are uncertain. The fins that sink most bring the feet nearest. */
static void fins_are_ranked_by_level(void **state) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    add_fin(catalogue, "old", "", 2, -400);
    add_fin(catalogue, "light", "", 2, 50);
    add_fin(catalogue, "heavy", "", 2, -900);
    write_kit("\"item\": \"old\", \"fins\": true, \"place_m\": -0.9",
              "\"accept\": [\"unchecked\"],",
              ", \"level\": true, \"lead_kg\": {\"belt\": 3, \"ankles\": 1}");
    json_t *document = report(catalogue), *fins = json_object_get(document, "fins");
    const json_t *heavy = json_array_get(json_object_get(fins, "others"), 0);
    double f = at(document, "other_water", "from_kg_m3");
    double s = at(document, "water", "density_kg_m3");
    double lead = 1 - f / 11190, body_kg = (s - f) * (80.4 + 4 * lead) / f;
    double off_nm = 9.80665 * (-0.8 * lead - 0.9 * (s - f) * 1.5e-3 + 0.05 * body_kg);
    assert_close(at(fins, "off_level", "value_nm"), off_nm, 0.1);
    assert_close(at(fins, "off_level", "u_nm"), hypot(2.207, 9.80665 * body_kg * 0.1 / sqrt(3)),
                 0.05);
    assert_string_equal(json_string_value(json_object_get(heavy, "name")), "heavy");
    assert_close(at(heavy, "off_level", "value_nm"), off_nm + 0.5 * 0.9 * 9.80665, 0.1);
    json_decref(document);
    write_kit("\"item\": \"old\", \"fins\": true", "\"accept\": [\"unchecked\"],",
              ", \"level\": true");
    document = report(catalogue);
    assert_true(json_is_null(json_object_get(json_object_get(document, "fins"), "off_level")));
    json_decref(document);
    /* 100 g more in the sea and no place: nobody knows where they lift; of 20 g a breath hides it.
     */
    static const char *const litres[] = {"3.6", "0.7"};
    for (size_t i = 0; i < ARRAY(litres); i++) {
        char *part = up_text_format("\"item\": \"old\", \"fins\": true, \"place_m\": -0.9}, "
                                    "{\"name\": \"bag\", \"mass_kg\": 1, \"volume_l\": %s",
                                    litres[i]);
        write_kit(part, "\"accept\": [\"unchecked\"],", ", \"level\": true");
        document = report(catalogue);
        fins = json_object_get(document, "fins");
        assert_true(json_is_null(json_object_get(fins, "off_level")) == (i == 0));
        json_decref(document);
        free(part);
    }
    up_catalogue_close(catalogue);
}

/* One light fin of +50 g, and a model whose sample is one, in place of a pair: 100 g; by a count of
   1 half of it. In water of 998.2067 where b0 holds, so far as 3 or 1.5 l are no matter. */
static void a_spare_fin_is_worn_as_often_as_the_present_ones(void **state) {
    static const struct {
        const char *spare;
        double worn;
    } row[] = {{"\"item\": \"light\"", 2},
               {"\"model\": \"Wave\"", 2},
               {"\"item\": \"light\", \"count\": 1", 1}};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    add_fin(catalogue, "old", "", 2, -400);
    add_fin(catalogue, "light", "Wave", 1, 50);
    for (size_t i = 0; i < ARRAY(row); i++) {
        char *part = up_text_format("\"item\": \"old\", \"fins\": true, \"place_m\": -0.9}, "
                                    "{\"name\": \"new\", \"instead_of\": \"fins\", %s",
                                    row[i].spare);
        write_kit(part, "\"accept\": [\"unchecked\"],", "");
        free(part);
        json_t *document = report(catalogue);
        double rho = at(document, "water", "density_kg_m3"), more = (rho - 998.2067) * 1.5e-3;
        const json_t *others = json_object_get(json_object_get(document, "fins"), "others");
        const json_t *other = json_array_get(others, json_array_size(others) - 1);
        other = strcmp(json_string_value(json_object_get(other, "name")), "new") == 0
                    ? other
                    : json_array_get(others, 0);
        assert_close(at(other, "lift", "value_kg"), row[i].worn * (0.05 + more) + 0.4 - more, 0.01);
        json_decref(document);
    }
    up_catalogue_close(catalogue);
}

/* Samples of -400, -420 and -380 g: s = 20 g; another one lies within t(0.975, 2) = 4.303 times
   20 sqrt(4/3) g (Student's t, any table): as a normal's u 4.303 / 1.960 x 23.09 = 50.70 g, with
   the weighing's 1 g 50.71. Two: t = 12.706 and s = 14.14 sqrt(3/2) = 17.32: 112.28 g. One: 100
   sqrt(2), our choice. */
static void a_model_is_as_wide_as_its_samples(void **state) {
    static const struct {
        double buoyancy_g, u_g;
    } sample[] = {{-400, 141.42}, {-420, 112.28}, {-380, 50.71}};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    write_kit("\"model\": \"Wave\"", "\"accept\": [\"unchecked\"],", "");
    assert_kit_refused(catalogue, "parts[2].model: no sample of it counts");
    for (size_t i = 0; i < ARRAY(sample); i++) {
        char *name = up_text_format("wave %zu", i);
        add_fin(catalogue, name, "Wave", 1, sample[i].buoyancy_g);
        add_fin(catalogue, "other", "Swell", 1, 900);
        json_t *document = report(catalogue);
        const json_t *model = json_array_get(json_object_get(document, "models"), 0);
        assert_int_equal(json_integer_value(json_object_get(model, "samples")), i + 1);
        assert_close(json_number_value(json_object_get(model, "u_kg")), sample[i].u_g * 1e-3, 2e-5);
        json_decref(document);
        free(name);
    }
    up_catalogue_close(catalogue);
}

/* The report says of each part of the catalogue why it counts by name only. */
static void assert_accepted(const json_t *document, const char *word) {
    const json_t *gear = json_object_get(document, "gear"), *doubt;
    bool said = false, unchecked = false;
    size_t i;
    assert_int_equal(json_array_size(gear), 1);
    const json_t *part = json_array_get(gear, 0), *accepted = json_object_get(part, "accepted");
    assert_true(json_is_false(json_object_get(part, "spare")));
    json_array_foreach(accepted, i, doubt) {
        said = said || strcmp(json_string_value(doubt), word) == 0;
        unchecked = unchecked || strcmp(json_string_value(doubt), "unchecked") == 0;
    }
    assert_true(said && unchecked);
    assert_int_equal(json_array_size(accepted), strcmp(word, "unchecked") == 0 ? 1 : 2);
}

/* Each reason is named, and counts where it was accepted by name. */
static void doubtful_results_count_by_name_only(void **state) {
    static const char *const words[] = {"unchecked", "undecided", "simulated", "calculated",
                                        "compressible"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    for (size_t i = 0; i < ARRAY(words); i++) {
        struct up_item item = plain_item(words[i]);
        struct up_failure failure = {0};
        item.holds_gas = i == 4 ? UP_GAS_YES : UP_GAS_NO;
        assert_true(up_item_add(catalogue, &item, &failure));
        struct up_result result = plain_result(item.id, i == 3 ? "fresh" : "tank");
        result.answer.class = i == 1 ? UP_CLASS_UNDECIDED : UP_CLASS_NEGATIVE;
        result.simulated = i == 2;
        result.measured = i != 3;
        assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
        char *part = up_text_format("\"item\": \"%s\"", words[i]);
        char *accept = up_text_format("\"accept\": [\"%s\"]", words[i]);
        write_kit(part, i == 0 ? "" : "\"accept\": [\"unchecked\"],", "");
        assert_kit_refused(catalogue, accept);
        char *accepted = up_text_format("%s, \"accept\": [\"%s\", \"unchecked\"]", part, words[i]);
        write_kit(accepted, "", "");
        json_auto_t *document = report(catalogue);
        assert_accepted(document, words[i]);
        free(accepted);
        free(accept);
        free(part);
    }
    write_kit("\"item\": \"unchecked\", \"accept\": [\"anything\"]", "", "");
    assert_kit_refused(catalogue, "parts[2].accept[0]: give one of: contested");
    up_catalogue_close(catalogue);
}

static void add_quick(struct up_catalogue *catalogue, const char *name, const char *model,
                      bool at_most) {
    struct up_item item = plain_item(name);
    struct up_failure ignored;
    if (!up_item_find(catalogue, name, &item, &ignored)) {
        item.holds_gas = UP_GAS_NO;
        snprintf(item.model, sizeof item.model, "%s", model);
        assert_true(up_item_add(catalogue, &item, NULL));
    }
    struct up_result result = plain_result(item.id, "tank");
    result.compressible = false;
    result.answer.buoyancy_kg = (struct up_quantity){0.3, 1e-4, (double)INFINITY};
    result.answer.expanded_u_kg = at_most ? (double)NAN : 0.0392;
    result.pieces = 1;
    result.quick = (struct up_quick){.is = true, .at_most = at_most, .high_kg = 0.34};
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    catalogue_clock_step_s++;
}

/* By name only, as wide as its interval; at most, never; and a full one counts before it. */
static void a_quick_result_counts_by_name_only(void **state) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    add_quick(catalogue, "quick", "Gull", false);
    write_kit("\"item\": \"quick\"", "\"accept\": [\"unchecked\"],", "");
    assert_kit_refused(catalogue, "\"accept\": [\"quick\"]");
    write_kit("\"item\": \"quick\"", "\"accept\": [\"unchecked\", \"quick\"],", "");
    json_decref(report(catalogue));
    write_kit("\"model\": \"Gull\"", "\"accept\": [\"unchecked\", \"quick\"],", "");
    assert_kit_refused(catalogue, "leans away from the lines");
    add_quick(catalogue, "most", "", true);
    write_kit("\"item\": \"most\"", "\"accept\": [\"unchecked\", \"quick\"],", "");
    assert_kit_refused(catalogue, "known from above only");
    add_fin(catalogue, "full", "", 1, -400);
    add_quick(catalogue, "full", "", true);
    write_kit("\"item\": \"full\"", "\"accept\": [\"unchecked\"],", "");
    json_decref(report(catalogue));
    up_catalogue_close(catalogue);
}

static void a_result_from_elsewhere_counts_by_name_only(void **state) {
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE),
                        *ours = open_as("ours", UP_CATALOGUE_CREATE);
    struct up_intake intake;
    (void)state;
    add_fin(theirs, "old", "", 2, -400);
    assert_true(up_export_json(theirs, ".", NULL));
    assert_true(up_catalogue_import(ours, "catalogue.json", false, &intake, NULL));
    write_kit("\"item\": \"old\", \"accept\": [\"unchecked\"]", "", "");
    assert_kit_refused(ours, "\"accept\": [\"elsewhere\"]");
    write_kit("\"item\": \"old\", \"accept\": [\"unchecked\", \"elsewhere\"]", "", "");
    json_decref(report(ours));
    up_catalogue_close(ours);
    up_catalogue_close(theirs);
}

/* Somebody else's content under the id of our item, or of our result, takes nothing from ours; of
   what came from elsewhere and a person took back, it counts by name only. */
static void a_contested_record_counts_by_name_only(void **state) {
    static const char *const kind[] = {"item", "result"};
    (void)state;
    for (size_t i = 0; i < ARRAY(kind); i++) {
        struct up_catalogue *catalogue = open_as(kind[i], UP_CATALOGUE_CREATE);
        add_fin(catalogue, "old", "", 2, -400);
        write_kit("\"item\": \"old\", \"accept\": [\"unchecked\"]", "", "");
        json_decref(report(catalogue));
        char *forge =
            up_text_format("INSERT INTO contested SELECT id, 'other', kind, subject, bench, "
                           "made_utc, body, '[]' FROM record WHERE kind = '%s'",
                           kind[i]);
        sql(catalogue->database, forge);
        free(forge);
        json_decref(report(catalogue));
        char *give_away = up_text_format("DELETE FROM local_mark WHERE record_id IN"
                                         " (SELECT id FROM record WHERE kind = '%s')",
                                         kind[i]);
        sql(catalogue->database, give_away);
        free(give_away);
        assert_kit_refused(catalogue, "\"accept\": [\"contested\"]");
        write_kit("\"item\": \"old\", \"accept\": [\"unchecked\", \"elsewhere\", "
                  "\"contested\"]",
                  "", "");
        json_decref(report(catalogue));
        up_catalogue_close(catalogue);
    }
}

/* What a later decision says counts: undecided within 50 g, neutral within 80. */
static void a_result_counts_as_it_was_judged_last(void **state) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("old");
    struct up_decided again = {.rule = "tolerance"};
    (void)state;
    item.holds_gas = UP_GAS_NO;
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_result result = plain_result(item.id, "tank");
    result.answer.class = UP_CLASS_UNDECIDED;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    write_kit("\"item\": \"old\", \"accept\": [\"unchecked\"]", "", "");
    assert_kit_refused(catalogue, "\"accept\": [\"undecided\"]");
    again.result = result;
    again.result.answer.class = UP_CLASS_NEUTRAL;
    char *id = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'result'");
    snprintf(again.result_id, sizeof again.result_id, "%s", id);
    snprintf(again.bench, sizeof again.bench, "bench");
    free(id);
    assert_true(up_decisions_add(catalogue, &again, 1, NULL));
    json_decref(report(catalogue));
    up_catalogue_close(catalogue);
}

/* Two items by one calibration share its error: 10 g each of slope, the covariance 1e-4 kg^2 times
   how often they are worn; what each reading added stays its own. */
static void errors_that_items_share_are_kept(void **state) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    (void)state;
    for (int i = 0; i < 2; i++) {
        struct up_item item = plain_item(i == 0 ? "one" : "two");
        item.holds_gas = UP_GAS_NO;
        assert_true(up_item_add(catalogue, &item, NULL));
        struct up_result result = plain_result(item.id, "tank");
        snprintf(result.calibration_id, sizeof result.calibration_id, "%s", "calibration");
        result.has_model = true;
        for (int k = 0; k < UP_INPUT_COUNT; k++) {
            result.weighing.term[k] =
                (struct up_term){1, 0, (double)INFINITY, UP_NORMAL, 'B', 0, 0};
        }
        result.weighing.term[UP_INPUT_SLOPE].u = 2;
        result.weighing.term[UP_INPUT_SLOPE].sensitivity = 0.005;
        result.weighing.term[UP_INPUT_WATER_LOAD].u = 0.01;
        result.weighing.term[UP_INPUT_WATER_LOAD].sensitivity = 1;
        result.answer.buoyancy_kg.u = hypot(0.01, 0.01);
        assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    }
    write_kit("\"item\": \"one\", \"count\": 2}, {\"name\": \"two\", \"item\": \"two\"",
              "\"accept\": [\"unchecked\"],", "");
    struct kit_file *file = up_allocate(1, sizeof *file);
    struct up_failure failure = {0};
    if (!kit_read("kit.json", catalogue, file, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_non_null(file->covariance_kg2);
    assert_close(file->covariance_kg2[2 * 4 + 3], 2e-4, 1e-9);
    assert_close(file->covariance_kg2[2 * 4 + 2], 8e-4, 1e-9);
    kit_release(file);
    free(file);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(other_fins_are_compared),
        TEST(fins_are_ranked_by_level),
        TEST(a_model_is_as_wide_as_its_samples),
        TEST(doubtful_results_count_by_name_only),
        TEST(a_quick_result_counts_by_name_only),
        TEST(a_result_from_elsewhere_counts_by_name_only),
        TEST(a_contested_record_counts_by_name_only),
        TEST(a_result_counts_as_it_was_judged_last),
        TEST(a_spare_fin_is_worn_as_often_as_the_present_ones),
        TEST(errors_that_items_share_are_kept),
    };
    return cmocka_run_group_tests_name("kit: gear of the catalogue", tests, NULL, NULL);
}
