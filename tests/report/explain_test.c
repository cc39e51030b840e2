/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The budget in words: the largest part first, and what weighs nothing in one line. What a result
   is explained by. */
#include "../catalogue/support.h"

#include "report/report.h"

/* u in g where one unit is 1 kg; the shares are those of these u. */
static json_t *line(const char *name, double u_g, double share) {
    return json_pack("{s:s, s:f, s:f, s:f, s:f, s:s, s:s, s:s, s:s}", "name", name, "value", 0.0,
                     "u", u_g * 1e-3, "sensitivity", 1.0, "share_of_variance", share, "unit", "kg",
                     "distribution", "normal", "evaluation", "B", "shared_by", "session");
}

static char *explain(json_t *budget) {
    const struct up_style style = {0};
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    json_t *document = json_pack("{s:{s:o}}", "result", "budget", budget);
    assert_non_null(stream);
    up_explain_print(document, &style, stream);
    fclose(stream);
    json_decref(document);
    return text;
}

static void the_largest_part_stands_first(void **state) {
    (void)state;
    char *text = explain(json_pack("[o, o, o]", line("small", 1, 0.1), line("large", 2.5, 0.6),
                                   line("middle", 1.7, 0.3)));
    const char *small = strstr(text, "small"), *middle = strstr(text, "middle");
    const char *large = strstr(text, "large ");
    assert_non_null(small);
    assert_true(large < middle && middle < small);
    assert_null(strstr(text, "more, together"));
    free(text);
}

/* 0.03 and 0.04 g make 0.05 g; a term without uncertainty is none of them. */
static void what_weighs_nothing_is_one_line(void **state) {
    (void)state;
    char *text = explain(json_pack("[o, o, o, o, o]", line("heavy", 2, 0.9985),
                                   line("edge", 0.045, 0.0005), line("light", 0.03, 0.0002),
                                   line("lighter", 0.04, 0.0004), line("exact", 0, 0)));
    const char *folded = strstr(text, "2 more, together");
    assert_non_null(strstr(text, "edge"));
    assert_null(strstr(text, "light"));
    assert_null(strstr(text, "exact"));
    assert_non_null(folded);
    assert_non_null(strstr(folded, " 0.050    0.1\n"));
    free(text);
}

static void add_to(struct up_catalogue *catalogue, const char *kind, json_t *content) {
    assert_true(up_catalogue_add(catalogue, kind, NULL, "bench", content, NULL, NULL, NULL));
    json_decref(content);
    catalogue_clock_step_s++;
}

static void assert_explained(struct up_catalogue *catalogue, const char *result_id, size_t trials,
                             size_t decisions) {
    struct up_failure failure = {0};
    json_t *document = up_explain(catalogue, "fin", "tank", &failure);
    if (document == NULL) {
        fail_msg("%s", failure.text);
    }
    assert_string_equal(json_string_value(json_object_get(document, "result_id")), result_id);
    assert_int_equal(json_array_size(json_object_get(document, "trials")), trials);
    assert_int_equal(json_array_size(json_object_get(document, "decisions")), decisions);
    json_decref(document);
}

/* Whatever somebody says of it: neither trials, nor decisions, nor a run that it goes on with. */
static void what_is_of_here_is_explained_by_what_is_of_here(void **state) {
    (void)state;
    static const char unmark[] =
        "DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record WHERE kind != 'item')";
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    struct up_result result = plain_result(item.id, "tank");
    const char *run_id = "00000000-0000-4000-8000-00000000000a";
    result.has_model = true;
    memcpy(result.run_id, run_id, UP_ID_SIZE);
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    char *ours = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'result'");
    catalogue_clock_step_s++;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL)); /* theirs, and newer */
    for (int i = 0; i < 2; i++) {                                      /* theirs, then ours */
        add_to(catalogue, "trial",
               json_pack("{s:s, s:s, s:i}", "run_id", run_id, "item_id", item.id, "number", 1));
        add_to(catalogue, "decision",
               json_pack("{s:s, s:s}", "result_id", ours, "item_id", item.id));
        add_to(catalogue, "trial",
               json_pack("{s:s, s:s, s:i}", "run_id", "x", "item_id", item.id, "number", 1));
        json_t *run = json_pack("{s:s, s:[s]}", "what", "measure", "continues", "x");
        if (i == 0) {
            assert_true(up_catalogue_add(catalogue, "run", run_id, "bench", run, NULL, NULL, NULL));
            sql(catalogue->database, unmark);
        }
        json_decref(run);
    }
    char *mark = up_text_format("INSERT INTO local_mark VALUES ('%s', 'made', '', '', '')", ours);
    sql(catalogue->database, mark);
    assert_explained(catalogue, ours, 1, 1);
    sql(catalogue->database, unmark);
    json_t *document = up_explain(catalogue, ours, NULL, NULL);
    assert_int_equal(json_array_size(json_object_get(document, "trials")), 4);
    assert_int_equal(json_array_size(json_object_get(document, "decisions")), 3);
    json_decref(document);
    free(mark);
    free(ours);
    up_catalogue_close(catalogue);
}

static void assert_explains(struct up_catalogue *catalogue, const char *wanted,
                            const char *result_id) {
    struct up_failure failure = {0};
    json_t *document = up_explain(catalogue, wanted, NULL, &failure);
    if (document == NULL) {
        fail_msg("%s", failure.text);
    }
    assert_string_equal(up_record_text(document, "result_id"), result_id);
    json_decref(document);
}

/* A guest chooses the ids of its results: none stands before one of here, nor before an item. */
static void a_guests_result_hides_none_of_here(void **state) {
    (void)state;
    char alike[UP_ID_SIZE], beginning[9];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "facade");
    struct up_result result = plain_result(item.id, "tank");
    result.has_model = true;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    char *ours = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'result'");
    memcpy(alike, ours, sizeof alike);
    alike[35] = ours[35] == '0' ? '1' : '0';
    const char *const guests[] = {alike, "facade00-0000-4000-8000-000000000001"};
    for (size_t i = 0; i < ARRAY(guests); i++) {
        struct up_record record = {.kind = "result", .bench = "bench"};
        snprintf(record.id, sizeof record.id, "%s", guests[i]);
        memcpy(record.subject, record.id, sizeof record.id);
        snprintf(record.made_utc, sizeof record.made_utc,
                 i == 0 ? "2020-01-01T00:00:00.000Z" : "2099-01-01T00:00:00.000Z");
        record.content = up_result_to_json(&result);
        assert_true(catalogue_hash(&record, NULL));
        assert_true(catalogue_insert(catalogue, &record, NULL, NULL));
        json_decref(record.content);
    }
    snprintf(beginning, sizeof beginning, "%.8s", ours);
    assert_explains(catalogue, beginning, ours);
    assert_explains(catalogue, "facade", ours);
    assert_explains(catalogue, guests[1], guests[1]);
    assert_explains(catalogue, "facade00", guests[1]);
    free(ours);
    up_catalogue_close(catalogue);
}

/* Another one may have the subject of that by which it was measured. */
static void a_result_is_explained_by_its_own_calibration(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    struct up_calibration used = plain_calibration("bench", 1e5), other = used;
    struct up_result result = plain_result(item.id, "tank");
    other.slope_counts_per_kg = 2e5;
    assert_true(up_calibration_add(catalogue, &used, NULL));
    char subject[UP_ID_SIZE];
    up_new_id(subject);
    json_t *content = up_calibration_to_json(&used);
    assert_true(up_catalogue_add(catalogue, "calibration", subject, "bench", content, NULL,
                                 result.calibration_id, NULL));
    json_decref(content);
    content = up_calibration_to_json(&other);
    assert_true(up_catalogue_add(catalogue, "calibration", result.calibration_id, "bench", content,
                                 NULL, NULL, NULL));
    json_decref(content);
    result.has_model = true;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    json_t *document = up_explain(catalogue, "fin", "tank", NULL);
    assert_true(up_record_number(json_object_get(document, "calibration"), "slope_counts_kg") ==
                1e5);
    json_decref(document);
    up_catalogue_close(catalogue);
}

static void assert_signer(struct up_catalogue *catalogue, const char *words) {
    const struct up_style style = {0};
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    json_t *document = up_explain(catalogue, "fin", "tank", NULL);
    assert_true(stream != NULL && document != NULL);
    up_explain_print(document, &style, stream);
    fclose(stream);
    json_decref(document);
    if (strstr(text, words) == NULL) {
        fail_msg("%s", text);
    }
    free(text);
}

/* A folder is opened without looking at signatures: whoever says "signed" verifies first. */
static void nobody_is_named_who_did_not_sign(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    struct up_result result = plain_result(item.id, "tank");
    result.has_model = true;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    assert_signer(catalogue, "\n  signed by the key ");
    without_triggers(catalogue->database,
                     "UPDATE signed SET signature = substr(signature, 2) || 'a'");
    assert_signer(catalogue, "\n  its signature is not that of the key ");
    without_triggers(catalogue->database, "DELETE FROM detail");
    assert_null(up_explain(catalogue, "fin", "tank", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "its detail is missing");
    up_catalogue_close(catalogue);
    catalogue_signs = false;
    catalogue = open_as("old", UP_CATALOGUE_CREATE);
    item = add_item(catalogue, "fin");
    memcpy(result.item_id, item.id, sizeof item.id);
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    assert_signer(catalogue, "\n  not signed: nothing shows who wrote it, or when\n");
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_largest_part_stands_first),
        cmocka_unit_test(what_weighs_nothing_is_one_line),
        TEST(a_result_is_explained_by_its_own_calibration),
        TEST(a_guests_result_hides_none_of_here),
        TEST(nobody_is_named_who_did_not_sign),
        TEST(what_is_of_here_is_explained_by_what_is_of_here),
    };
    return cmocka_run_group_tests_name("report: explain", tests, NULL, NULL);
}
