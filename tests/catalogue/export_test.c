/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include <dirent.h>
#include <fcntl.h>

#include "catalogue/run.h"

/* ---- a catalogue to export ---- */

static void add_result(struct up_catalogue *catalogue, const struct up_result *result) {
    struct up_failure failure = {0};
    if (!up_results_add(catalogue, result, 1, "bench", &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void add_calibration(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    struct up_calibration calibration = {
        .bench = "bench, one", .slope_counts_per_kg = 1e5 / 3, .dof = (double)INFINITY};
    if (!up_calibration_add(catalogue, &calibration, &failure)) {
        fail_msg("%s", failure.text);
    }
}

/* A rig, a run with its trial and its end. */
static void add_run(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    struct up_run *run = NULL;
    char run_id[UP_ID_SIZE], rig_id[UP_ID_SIZE];
    char hash[UP_SHA256_SIZE];
    memset(hash, 'a', sizeof hash - 1);
    hash[sizeof hash - 1] = '\0';
    struct up_rig_version rig = {"bench, one", "=name", hash, "[rig]\n; \"two\" lines\n", false};
    assert_true(up_rig_store(catalogue, &rig, rig_id, &failure));
    json_t *about = json_pack("{s:s, s:s, s:s, s:s, s:s}", "what", "measure", "version", "0",
                              "bench", "bench, one", "rig_sha256", hash, "rig_record_id", rig_id);
    assert_true(up_run_open(catalogue, "bench, one", about, run_id, &run, &failure));
    json_t *trial =
        json_pack("{s:s, s:s, s:i, s:f, s:n, s:i, s:b, s:f, s:f, s:[{s:s, s:f, s:i}]}", "run_id",
                  run_id, "item_id", "00000000-0000-4000-8000-000000000000", "number", 1,
                  "load_counts", 1.5, "u_plateau_counts", "shakes", 2, "still_gaining", 0, "soak_s",
                  60.0, "temp_c", 20.25, "plateaus", "of", "water", "start_s", 0.5, "readings", 80);
    assert_true(
        up_catalogue_add(catalogue, "trial", NULL, "bench, one", trial, NULL, NULL, &failure));
    json_t *more = json_pack("{s:i, s:i}", "trials", 1, "results", 0);
    assert_true(up_run_end(run, "completed", more, &failure));
    up_run_close(run);
    json_decref(more);
    json_decref(trial);
    json_decref(about);
}

/* A reference body and a kind of each hostile name, and a check of the body without limits. */
static void add_bodies_and_kinds(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        struct up_reference content = {.mass_kg = up_known(1, 1e-5),
                                       .volume_m3 = up_known(1e-4, 1e-8)};
        struct up_kind kind = {.tolerance_one_g = i % 2 == 0 ? 0 : 12.5, .tolerance_pair_g = 30};
        struct up_reference_check check = {.low_kg = (double)NAN, .high_kg = (double)NAN};
        snprintf(content.name, sizeof content.name, "%s", hostile_names[i].given);
        snprintf(kind.name, sizeof kind.name, "%s", hostile_names[i].given);
        assert_true(up_reference_add(catalogue, &content, &failure));
        assert_true(up_kind_set(catalogue, &kind, &failure));
        memcpy(check.id, content.id, sizeof check.id);
        memcpy(check.name, content.name, sizeof check.name);
        assert_true(up_check_add(catalogue, &check, content.id, "bench, one", NULL, &failure));
    }
}

/* One item of each hostile name with a result, in the order of the names. */
static struct up_catalogue *make_hostile(void) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        catalogue_clock_step_s = (long)i;
        struct up_item item = add_item(catalogue, hostile_names[i].given);
        struct up_result result = plain_result(item.id, hostile_names[i].given);
        result.answer.buoyancy_kg.value = (double)i / 7 - 1;
        result.answer.buoyancy_kg.dof = i % 2 == 0 ? (double)INFINITY : 3.7;
        result.answer.volume_m3 = i % 3 == 0 ? (double)NAN : 0.002;
        add_result(catalogue, &result);
    }
    struct up_result orphan = plain_result("00000000-0000-4000-8000-000000000000", "tank");
    add_result(catalogue, &orphan);
    add_run(catalogue);
    add_calibration(catalogue);
    add_bodies_and_kinds(catalogue);
    return catalogue;
}

static char *read_all(const char *path) {
    static char text[1 << 20];
    FILE *stream = fopen(path, "rb");
    assert_non_null(stream);
    size_t length = fread(text, 1, sizeof text - 1, stream);
    fclose(stream);
    text[length] = '\0';
    return text;
}

static void export_both(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    if (!up_export_csv(catalogue, directory, &failure) ||
        !up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static int count_files(const char *directory) {
    int count = 0;
    DIR *stream = opendir(directory);
    assert_non_null(stream);
    for (const struct dirent *entry; (entry = readdir(stream)) != NULL;) {
        count += entry->d_name[0] != '.';
    }
    closedir(stream);
    return count;
}

/* ---- one result ---- */

/* Key and kind of value: s text, n number, i whole number, b truth, ? number or null. */
static const char *const pinned[] = {"sitem_id",
                                     "srun_id",
                                     "swater",
                                     "sbasis",
                                     "nwater_density_kg_m3",
                                     "nu_water_density_kg_m3",
                                     "nwater_temp_c",
                                     "nsalinity_g_kg",
                                     "ndepth_m",
                                     "nimmersion_depth_m",
                                     "nair_pressure_pa",
                                     "nsoak_s",
                                     "bcompressible",
                                     "nbuoyancy_g",
                                     "nu_buoyancy_g",
                                     "?dof",
                                     "nexpanded_u_g",
                                     "ncoverage",
                                     "ntolerance_g",
                                     "nconfidence",
                                     "nprobability_positive",
                                     "nprobability_neutral",
                                     "nprobability_negative",
                                     "sclass",
                                     "itrials",
                                     "?volume_m3",
                                     "?mass_kg",
                                     "smethod"};

static void assert_kind(const json_t *value, char kind, const char *key) {
    bool good = kind == 's'   ? json_is_string(value)
                : kind == 'i' ? json_is_integer(value)
                : kind == 'b' ? json_is_boolean(value)
                : kind == 'n' ? json_is_number(value)
                              : json_is_number(value) || json_is_null(value);
    if (!good) {
        fail_msg("%s", key);
    }
}

static void a_result_has_every_pinned_key(void **state) {
    (void)state;
    static const struct {
        const char *key;
        double value;
    } values[] = {
        {"water_density_kg_m3", 998.2067},
        {"u_water_density_kg_m3", 0.02},
        {"water_temp_c", 20},
        {"salinity_g_kg", 0.3},
        {"depth_m", 0.5},
        {"immersion_depth_m", 0.45},
        {"air_pressure_pa", 101325},
        {"soak_s", 600},
        {"buoyancy_g", -123.4567890123},
        {"u_buoyancy_g", 1},
        {"expanded_u_g", 1.96},
        {"coverage", 0.95},
        {"tolerance_g", 50},
        {"confidence", 0.9},
        {"probability_positive", 0},
        {"probability_neutral", 1.0 / 3},
        {"probability_negative", 2.0 / 3},
        {"trials", 3},
        {"volume_m3", 1.5e-3},
        {"mass_kg", 1.62},
    };
    struct up_result result = plain_result("some-item", "tank");
    json_t *json = up_result_to_json(&result);
    for (size_t i = 0; i < ARRAY(pinned); i++) {
        assert_kind(json_object_get(json, pinned[i] + 1), pinned[i][0], pinned[i]);
    }
    assert_true(json_is_null(json_object_get(json, "dof")));
    assert_string_equal(json_string_value(json_object_get(json, "basis")), "measured");
    assert_string_equal(json_string_value(json_object_get(json, "class")), "negative");
    for (size_t i = 0; i < ARRAY(values); i++) {
        double value = json_number_value(json_object_get(json, values[i].key));
        if (fabs(value - values[i].value) > 1e-12 * fabs(value)) {
            fail_msg("%s: %.17g", values[i].key, value);
        }
    }
    json_decref(json);
    result.measured = false;
    result.answer.volume_m3 = (double)NAN;
    result.answer.buoyancy_kg.dof = 2.5;
    json = up_result_to_json(&result);
    assert_string_equal(json_string_value(json_object_get(json, "basis")), "calculated");
    assert_true(json_is_null(json_object_get(json, "volume_m3")));
    assert_true(json_number_value(json_object_get(json, "dof")) == 2.5);
    json_decref(json);
}

static void a_result_lists_its_budget(void **state) {
    (void)state;
    static const char *const keys[] = {"sname",       "sunit",        "nvalue",
                                       "nu",          "?dof",         "sdistribution",
                                       "sevaluation", "nsensitivity", "nshare_of_variance",
                                       "sshared_by"};
    struct up_result result = plain_result("some-item", "tank");
    json_t *json = up_result_to_json(&result);
    const json_t *budget = json_object_get(json, "budget");
    assert_int_equal(json_array_size(budget), 2);
    for (size_t i = 0; i < 2; i++) {
        for (size_t k = 0; k < ARRAY(keys); k++) {
            assert_kind(json_object_get(json_array_get(budget, i), keys[k] + 1), keys[k][0],
                        keys[k]);
        }
    }
    const json_t *first = json_array_get(budget, 0), *last = json_array_get(budget, 1);
    assert_string_equal(json_string_value(json_object_get(first, "name")),
                        up_input_name(UP_INPUT_WATER_LOAD));
    assert_string_equal(json_string_value(json_object_get(first, "evaluation")), "A");
    assert_true(json_number_value(json_object_get(first, "dof")) == 2);
    assert_true(json_is_null(json_object_get(last, "dof")));
    json_decref(json);
}

/* What was read back says the same, and computes the same. */
static void a_result_comes_back_with_its_model(void **state) {
    (void)state;
    struct up_result result = plain_result("some-item", "tank"), back;
    struct up_weighing *weighing = &result.weighing;
    struct up_answer again;
    result.has_model = true;
    result.pieces = 2;
    result.left_out = 5;
    result.takes_up_water = result.at_last_soak = true;
    result.uptake_g_min = 0.25;
    result.question.seed = 7;
    result.question.analyses = 3;
    result.question.air_share_known = true;
    snprintf(result.calibration_id, sizeof result.calibration_id, "%s", result.run_id);
    weighing->in_tank = weighing->weighed_in_air = true;
    weighing->calibration_air_kg_m3 = 1.2;
    weighing->tank_temp_c = 21.25;
    weighing->cord_area_m2 = 1e-6;
    weighing->tank_area_m2 = 0.7;
    weighing->term[UP_INPUT_SLOPE] = (struct up_term){600000, 25, 7, UP_STUDENT, 'A', 0, 0};
    weighing->term[UP_INPUT_AIR_LOAD].value = 1e6;
    weighing->term[UP_INPUT_AIR_DENSITY].value = 1.19;
    weighing->term[UP_INPUT_WATER_DENSITY].value = 998.1;
    assert_true(up_weigh(weighing, &result.question, &result.answer));
    json_t *json = up_result_to_json(&result);
    up_result_from_json(json, &back);
    assert_true(back.has_model);
    assert_int_equal(back.pieces, 2);
    assert_true(back.left_out == 5 && back.takes_up_water && back.uptake_g_min == 0.25);
    assert_true(back.at_last_soak);
    assert_int_equal(back.question.analyses, 3);
    assert_string_equal(back.calibration_id, result.calibration_id);
    assert_true(up_weigh(&back.weighing, &back.question, &again));
    assert_true(again.buoyancy_kg.value == result.answer.buoyancy_kg.value);
    assert_true(again.expanded_u_kg == result.answer.expanded_u_kg);
    assert_true(again.guard_low_kg == result.answer.guard_low_kg);
    assert_true(again.class == result.answer.class);
    /* A record that asks for two billion draws would keep somebody waiting. */
    json_object_set_new(json_object_get(json, "model"), "draws_asked", json_integer(2000000000));
    up_result_from_json(json, &back);
    assert_int_equal(back.question.draws, 0);
    /* One with a term that this model has not cannot be computed again. */
    json_t *budget = json_object_get(json, "budget");
    json_array_append_new(budget, json_deep_copy(json_array_get(budget, 0)));
    json_object_set_new(json_array_get(budget, json_array_size(budget) - 1), "name",
                        json_string("the moon"));
    up_result_from_json(json, &back);
    assert_false(back.has_model);
    json_array_remove(budget, json_array_size(budget) - 1);
    up_result_from_json(json, &back);
    assert_true(back.has_model);
    json_object_del(json, "model"); /* as records of before */
    up_result_from_json(json, &back);
    assert_false(back.has_model);
    assert_true(fabs(back.answer.buoyancy_kg.value - result.answer.buoyancy_kg.value) < 1e-15);
    json_decref(json);
}

static bool note_subject(const struct up_record *record, void *context) {
    memcpy(context, record->subject, sizeof record->subject);
    return true;
}

/* The first decision comes with the result; a later one stands over it and keeps it. */
static void a_later_decision_is_current_and_keeps_the_old(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_result result = plain_result("some-item", "tank");
    static struct up_decided decided;
    char id[UP_ID_SIZE] = "";
    add_result(catalogue, &result);
    assert_true(up_catalogue_each(catalogue, "result", note_subject, id, NULL));
    json_t *current = up_decisions_later(catalogue, NULL);
    assert_int_equal(json_object_size(current), 0);
    decided.result = result;
    decided.result.answer.class = UP_CLASS_NEUTRAL;
    decided.result.question.tolerance_kg = 0.2;
    decided.result.answer.guard_low_kg = 0.012;
    decided.result.answer.guard_high_kg = 0.034;
    snprintf(decided.result_id, sizeof decided.result_id, "%s", id);
    snprintf(decided.bench, sizeof decided.bench, "bench");
    snprintf(decided.rule, sizeof decided.rule, "judged again");
    json_decref(current);
    assert_true(up_decisions_add(catalogue, &decided, 1, NULL));
    current = up_decisions_later(catalogue, NULL);
    up_decision_apply(json_object_get(current, decided.result_id), &result);
    assert_true(result.rejudged);
    assert_int_equal(result.answer.class, UP_CLASS_NEUTRAL);
    assert_true(result.question.tolerance_kg == 0.2);
    assert_true(fabs(result.answer.guard_low_kg - 0.012) < 1e-15);
    assert_true(fabs(result.answer.guard_high_kg - 0.034) < 1e-15);
    json_decref(current);
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM decision", "2");
    assert_file_answer("c/catalogue.sqlite", "SELECT class FROM decision WHERE NOT rejudged",
                       "negative");
    assert_file_answer("c/catalogue.sqlite", "SELECT class, rule FROM decision WHERE rejudged",
                       "neutral");
    up_catalogue_close(catalogue);
}

static void a_result_with_foreign_text_is_stored_whole(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_result result = plain_result("some-item", "lake \xFF\n");
    snprintf(result.method, sizeof result.method, "\xC3");
    add_result(catalogue, &result);
    assert_file_answer("c/catalogue.sqlite", "SELECT water FROM result",
                       "lake \xEF\xBF\xBD\xEF\xBF\xBD");
    assert_file_answer("c/catalogue.sqlite", "SELECT method FROM result", "\xEF\xBF\xBD");
    assert_file_answer("c/catalogue.sqlite", "SELECT dof IS NULL FROM result", "1");
    assert_file_answer("c/catalogue.sqlite", "SELECT result_id = record_id FROM result", "1");
    up_catalogue_close(catalogue);
}

/* ---- files ---- */

static bool has_column(const char *header, const char *name) {
    char *copy = up_text_format("%.*s", (int)strcspn(header, "\r"), header);
    bool found = false;
    for (char *at = strtok(copy, ","); at != NULL; at = strtok(NULL, ",")) {
        found = found || strcmp(at, name) == 0;
    }
    free(copy);
    return found;
}

static void csv_has_every_pinned_column(void **state) {
    (void)state;
    static const char *const more[] = {"result_id", "record_id", "made_utc",
                                       "item_name", "bench",     "body_check"};
    struct up_catalogue *catalogue = make_hostile();
    export_both(catalogue, "out");
    const char *header = read_all("out/results.csv");
    for (size_t i = 0; i < ARRAY(pinned); i++) {
        assert_true(has_column(header, pinned[i] + 1));
    }
    for (size_t i = 0; i < ARRAY(more); i++) {
        assert_true(has_column(header, more[i]));
    }
    assert_non_null(strstr(header, ",INF,"));
    assert_non_null(strstr(header, ",3.7,"));
    up_catalogue_close(catalogue);
}

static void formulas_are_guarded(void **state) {
    (void)state;
    struct up_catalogue *catalogue = make_hostile();
    export_both(catalogue, "out");
    const char *items = read_all("out/items.csv");
    assert_non_null(strstr(items, ",\"'=cmd()\","));
    assert_non_null(strstr(items, ",\"'@SUM(A1)\","));
    assert_non_null(strstr(items, ",-2,"));
    assert_non_null(strstr(items, ",<script>alert(1)</script>,"));
    assert_non_null(strstr(items, ",\"Long \"\"blade\"\", 'red'\","));
    up_catalogue_close(catalogue);
}

static void an_empty_catalogue_gives_headers(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    export_both(catalogue, "out");
    assert_string_equal(read_all("out/items.csv"),
                        "item_id,record_id,made_utc,name,kind,maker,model,size,pieces,tolerance_g,"
                        "expansion_per_k,u_expansion_per_k,compressible,part_ids,holds_gas,"
                        "stock_number,note,side,retired,elsewhere\r\n");
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    assert_string_equal(json_string_value(json_object_get(document, "schema")),
                        "upthrust-catalogue-2");
    assert_true(json_is_array(json_object_get(document, "items")));
    assert_true(json_is_array(json_object_get(document, "calibrations")));
    assert_true(json_is_array(json_object_get(document, "results")));
    json_decref(document);
    up_catalogue_close(catalogue);
}

static void only_current_versions_go_out(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "old");
    struct up_result result = plain_result(item.id, "tank");
    add_result(catalogue, &result);
    snprintf(item.name, sizeof item.name, "new");
    assert_true(up_item_add(catalogue, &item, NULL));
    export_both(catalogue, "out");
    assert_null(strstr(read_all("out/items.csv"), ",old,"));
    assert_non_null(strstr(read_all("out/results.csv"), ",new,unchecked,false\r\n"));
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *items = json_object_get(document, "items"), *first = json_array_get(items, 0);
    assert_int_equal(json_array_size(items), 1);
    assert_string_equal(json_string_value(json_object_get(first, "subject")), item.id);
    assert_string_equal(json_string_value(json_object_get(first, "item_id")), item.id);
    assert_int_equal(strlen(json_string_value(json_object_get(first, "id"))), 36);
    assert_int_equal(strlen(json_string_value(json_object_get(first, "made_utc"))), 24);
    json_decref(document);
    up_catalogue_close(catalogue);
}

/* Of one, of a pair, of an older record: that no number may be taken for the model's. */
static void each_result_says_of_what_it_is(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin");
    struct up_result result = plain_result(item.id, "tank");
    add_result(catalogue, &result);
    result.pieces = 2;
    result.simulated = true;
    add_result(catalogue, &result);
    json_t *older = up_result_to_json(&result);
    json_object_del(older, "claim");
    json_object_del(older, "simulated");
    json_object_set_new(older, "pieces", json_integer(4));
    assert_true(
        up_catalogue_add(catalogue, "result", NULL, "simulated-tank", older, NULL, NULL, NULL));
    json_decref(older);
    export_both(catalogue, "out");
    const char *csv = read_all("out/results.csv");
    assert_non_null(strstr(csv,
                           ",false,\"this one piece, not the model; a weight check in the water "
                           "decides\","));
    assert_non_null(strstr(csv,
                           ",true,\"simulated, no gear was weighed: this pair, not the model; a "
                           "weight check in the water decides\","));
    assert_non_null(strstr(csv, ",true,\"simulated, no gear was weighed: these 4 pieces, not the "
                                "model; a weight check in the water decides\","));
    assert_non_null(
        strstr(read_all("out/csv-metadata.json"), "A weight check in the water decides."));
    up_catalogue_close(catalogue);
}

/* Calculated before it was known that it holds gas: that number is not shown. */
static void what_is_withdrawn_does_not_go_out(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE), *other;
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_item item = add_item(catalogue, "Fin");
    struct up_result result = plain_result(item.id, "tank");
    add_result(catalogue, &result);
    result = plain_result(item.id, "fresh");
    result.measured = false;
    add_result(catalogue, &result);
    export_both(catalogue, "out");
    assert_non_null(strstr(read_all("out/results.csv"), ",fresh,calculated,"));
    item.holds_gas = UP_GAS_UNKNOWN;
    assert_true(up_item_add(catalogue, &item, NULL));
    export_both(catalogue, "out");
    assert_null(strstr(read_all("out/results.csv"), ",fresh,"));
    assert_non_null(strstr(read_all("out/results.csv"), ",tank,"));
    assert_null(strstr(read_all("out/decisions.csv"), ",fresh,"));
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    const json_t *results = json_object_get(document, "results"), *one;
    size_t i;
    json_array_foreach(results, i, one) {
        bool fresh = strcmp(json_string_value(json_object_get(one, "water")), "fresh") == 0;
        assert_int_equal(json_is_true(json_object_get(one, "withdrawn")), fresh);
    }
    json_decref(document);
    assert_int_equal(i, 2);
    /* The records themselves stay, and go from one catalogue to another. */
    other = open_as("other", UP_CATALOGUE_CREATE);
    if (!up_catalogue_import(other, "out", false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    export_both(other, "again");
    assert_null(strstr(read_all("again/results.csv"), ",fresh,"));
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM result WHERE water = 'fresh'",
                       "0");
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM decision WHERE water = 'fresh'",
                       "0");
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM result", "1");
    assert_file_answer("c/catalogue.sqlite", "SELECT holds_gas FROM item", "unknown");
}

/* A program that watches the directory sees what changed, and nothing else. */
static void what_did_not_change_is_left_alone(void **state) {
    (void)state;
    static const char *const files[] = {"out/items.csv",         "out/results.csv",
                                        "out/runs.csv",          "out/catalogue.json",
                                        "out/csv-metadata.json", "out/catalogue.schema.json"};
    static const struct timespec old[2] = {{.tv_sec = 1000}, {.tv_sec = 1000}};
    struct stat about;
    struct up_catalogue *catalogue = make_hostile();
    export_both(catalogue, "out");
    for (size_t i = 0; i < ARRAY(files); i++) {
        assert_int_equal(utimensat(AT_FDCWD, files[i], old, 0), 0);
    }
    export_both(catalogue, "out");
    for (size_t i = 0; i < ARRAY(files); i++) {
        assert_true(stat(files[i], &about) == 0 && about.st_mtime == 1000);
    }
    add_item(catalogue, "one more");
    export_both(catalogue, "out");
    for (size_t i = 0; i < ARRAY(files); i++) {
        assert_int_equal(stat(files[i], &about), 0);
        assert_int_equal(about.st_mtime == 1000, i != 0 && i != 3);
    }
    assert_int_equal(count_files("out"), 19); /* nothing temporary is left */
    fclose(fopen("out/items.csv.part-77", "w"));
    export_both(catalogue, "out");
    assert_int_equal(count_files("out"), 19);
    up_catalogue_close(catalogue);
}

static void refuses_where_it_cannot_write(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    fclose(fopen("file", "w"));
    assert_false(up_export_csv(catalogue, "file", &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "file");
    assert_false(up_export_json(catalogue, "file", &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "file");
    assert_false(up_export_csv(catalogue, "no/such", &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "no/such");
    assert_false(up_export_json(catalogue, "/dev/null/x", &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "/dev/null/x");
    add_number(catalogue, "trial", NULL, NULL, 1); /* no transaction was left open */
    up_catalogue_close(catalogue);
}

static void a_damaged_record_leaves_the_old_file(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "whole");
    export_both(catalogue, "out");
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "INSERT INTO record VALUES ('broken-id','1','result','s','','2000','[1]')");
    sqlite3_close(database);
    assert_false(up_export_csv(catalogue, "out", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "broken-id");
    failure = (struct up_failure){0};
    assert_false(up_export_json(catalogue, "out", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "broken-id");
    assert_non_null(strstr(read_all("out/catalogue.json"), "whole"));
    assert_non_null(strstr(read_all("out/results.csv"), "item_name,body_check,elsewhere\r\n"));
    up_catalogue_close(catalogue);
}

/* ---- other people's readers ---- */

/* CSV and JSON beside one another and beside their descriptions, the sqlite3 shell, gnuplot. */
static void other_readers_see_the_same(void **state) {
    (void)state;
    const char *arguments[ARRAY(hostile_names) + 1] = {"out"};
    struct up_catalogue *catalogue = make_hostile();
    export_both(catalogue, "out");
    up_catalogue_close(catalogue);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        arguments[i + 1] = hostile_names[i].stored;
    }
    int status = run_script(__FILE__, "read_exchange.py", arguments, ARRAY(arguments));
    if (status == NO_PYTHON) {
        skip();
    }
    assert_int_equal(status, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_result_has_every_pinned_key),
        TEST(a_result_lists_its_budget),
        TEST(a_result_comes_back_with_its_model),
        TEST(a_later_decision_is_current_and_keeps_the_old),
        TEST(a_result_with_foreign_text_is_stored_whole),
        TEST(csv_has_every_pinned_column),
        TEST(formulas_are_guarded),
        TEST(an_empty_catalogue_gives_headers),
        TEST(only_current_versions_go_out),
        TEST(what_is_withdrawn_does_not_go_out),
        TEST(each_result_says_of_what_it_is),
        TEST(what_did_not_change_is_left_alone),
        TEST(refuses_where_it_cannot_write),
        TEST(a_damaged_record_leaves_the_old_file),
        TEST(other_readers_see_the_same),
    };
    return cmocka_run_group_tests_name("catalogue: exchange", tests, NULL, NULL);
}
