/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands in a report, on paper of this test that keeps the words: each line "term|text" or
 * "cell|cell|". */
#include "../catalogue/support.h"

#include "run_report/sections.h"

static char words[65536];

static void add(const char *text, const char *end) {
    size_t length = strlen(words);
    snprintf(words + length, sizeof words - length, "%s%s", text, end);
}
void paper_begin(struct paper *paper) {
    (void)paper;
}
void paper_end(struct paper *paper) {
    (void)paper;
}
void paper_banner(struct paper *paper, const char *text) {
    (void)paper;
    add(text, "\n");
}
void paper_title(struct paper *paper, const char *text) {
    paper_banner(paper, text);
}
void paper_heading(struct paper *paper, const char *text) {
    paper_banner(paper, text);
}
void paper_line(struct paper *paper, const char *text) {
    paper_banner(paper, text);
}
void paper_text(struct paper *paper, const char *text) {
    paper_banner(paper, text);
}
void paper_boxed(struct paper *paper, const char *text) {
    paper_banner(paper, text);
}
void paper_pair(struct paper *paper, const char *term, const char *text) {
    (void)paper;
    add(text[0] != '\0' ? term : "", text[0] != '\0' ? "|" : "");
    add(text, text[0] != '\0' ? "\n" : "");
}
void paper_blank(struct paper *paper, const char *term) {
    paper_pair(paper, term, "____");
}
void paper_table(struct paper_table *table) {
    (void)table;
}
void paper_row(struct paper_table *table, const char *const *cell) {
    for (int i = 0; i < table->columns; i++) {
        add(cell[i], "|");
    }
    add("", "\n");
}

/* ---- by hand ---- */

static json_t *document_of(const char *water, const char *basis, double net_g, double stuck_g) {
    return json_pack(
        "{s:s, s:s, s:f, s:{s:s, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:b}, s:{s:f}, "
        "s:[{s:s, "
        "s:f, s:f, s:f, s:f, s:f}, {s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:b}]}",
        "made_utc", "2026-01-02T03:24:05.678Z", "item_name", "Gull fin", "coverage_factor", 2.0,
        "result", "water", water, "basis", basis, "water_temp_c", 20.0, "water_density_kg_m3",
        998.2, "buoyancy_g", net_g, "expanded_u_g", 2.0, "stuck_air_g", stuck_g, "coverage", 0.95,
        "u_buoyancy_g", 1.0, "pieces", 2, "simulated", 0, "chain", "slope_counts_kg", 1e5,
        "decisions", "class", "neutral", "tolerance_g", 500.0, "confidence", 0.5, "guard_low_g",
        1.0, "guard_high_g", 1.0, "probability_neutral", 1.0, "class", "negative", "tolerance_g",
        50.0, "confidence", 0.9, "guard_low_g", 5.0, "guard_high_g", 2.0, "probability_positive",
        0.0, "probability_neutral", 0.02, "probability_negative", 0.98, "rejudged", 1);
}

static void put_in(const struct facts *facts, bool imperial) {
    const struct up_style style = {.imperial = imperial};
    struct paper paper = {.title = "Report"};
    words[0] = '\0';
    sections_put(&paper, facts, &style);
}

static void put(const struct facts *facts) {
    put_in(facts, false);
}

static void assert_says_words(const char *wanted) {
    if (strstr(words, wanted) == NULL) {
        fail_msg("\"%s\" does not stand in\n%s", wanted, words);
    }
}

static struct facts some(void) {
    struct facts facts = {.run_id = "00000000-0000-4000-8000-00000000000a",
                          .bench = "shed",
                          .begun_utc = "2026-01-02T03:04:05.678Z",
                          .results = 2,
                          .verified = json_object()};
    facts.result[0] = document_of("tank", "measured", -100, 3);
    facts.result[1] = document_of("sea", "calculated", 20, 0);
    return facts;
}

static void the_interval_holds_the_air_that_may_stay(void **state) {
    (void)state;
    struct facts facts = some();
    put(&facts);
    assert_says_words("tank|20.0 °C|998.2 kg/m³|measured|−100.0 g DOWN|−105.0 g|−98.0 g|");
    assert_says_words("sea|20.0 °C|998.2 kg/m³|calculated|+20.0 g UP|+18.0 g|+22.0 g|");
    assert_says_words("it lowers the lower end by 3.000 g");
    assert_says_words("It is of this pair, not the model");
    assert_says_words("Weighed on|2026-01-02, from 03:04 to 03:24 UTC\n");
    facts_release(&facts);
}

static void the_latest_decision_counts(void **state) {
    (void)state;
    struct facts facts = some();
    put(&facts);
    assert_says_words("|−98.0 g|negative: sinks|\n");
    assert_says_words("Neutral is within 50 g of zero.");
    assert_says_words("is at least 90 %;");
    assert_says_words("It was judged again since it was measured.");
    assert_says_words("tank|< 0.01 %|2.00 %|98.00 %||positive above +55.00 g, negative below "
                      "−52.00 g, neutral from −45.00 to +48.00 g|\n");
    facts_release(&facts);
}

/* By hand: 100 g are 3.527 oz, 55 g 1.940, 45 g 1.587; 20 C are 68 F. The load of a trial is 250 g,
   8.818 oz; the line of the budget 1 g, 0.0353 oz. */
static void ounces_and_fahrenheit_where_they_are_asked_for(void **state) {
    (void)state;
    struct facts facts = some();
    json_object_set_new(facts.result[0], "trials",
                        json_pack("[{s:i, s:f, s:i, s:[f], s:f, s:f}]", "number", 1,
                                  "linear_counts", 25000.0, "shakes", 3, "gain_counts", 10000.0,
                                  "soak_s", 60.0, "temp_c", 20.0));
    json_object_set_new(json_object_get(facts.result[0], "result"), "budget",
                        json_pack("[{s:s, s:f, s:f, s:s, s:f, s:f, s:s, s:s}]", "name", "air",
                                  "value", 0.0, "u", 1e-3, "unit", "kg", "sensitivity", -1.0,
                                  "share_of_variance", 1.0, "evaluation", "B", "distribution",
                                  "normal"));
    facts.has_calibration = true;
    facts.calibration.hysteresis_kg = 1e-3;
    facts.calibration.lack_of_fit_kg = 2e-3;
    put_in(&facts, true);
    assert_says_words("tank|68.0 °F|62.32 lb/ft³|measured|−3.53 oz DOWN|−3.70 oz|−3.46 oz|");
    assert_says_words("The equations hold in SI units");
    assert_says_words("1|+8.818|3|+3.527|1.0|68.00||");
    assert_says_words("air|0|0.001|kg|0.0353|100.0|B|normal|∞|");
    assert_says_words("Combined: standard uncertainty 0.0353 oz,");
    assert_says_words("it lowers the lower end by 0.1058 oz");
    assert_says_words("Hysteresis|up to 0.035 oz");
    assert_says_words("Lack of fit|0.071 oz");
    assert_says_words("positive above +1.94 oz, negative below −1.83 oz, neutral from −1.59 to "
                      "+1.69 oz");
    assert_null(strstr(words, " g|"));
    put_in(&facts, false);
    assert_says_words("1|+250.00|3|+100.00|1.0|20.00||");
    assert_says_words("air|0|0.001|kg|1.000|100.0|B|normal|∞|");
    assert_null(strstr(words, "The equations hold"));
    facts_release(&facts);
}

static void it_says_what_it_is_not(void **state) {
    (void)state;
    struct facts facts = some();
    put(&facts);
    assert_null(strstr(words, "SIMULATED"));
    assert_says_words("A weight check in the water decides.");
    assert_says_words("No accreditation is claimed.");
    assert_says_words("Reference body|unchecked");
    assert_null(strstr(words, "Origin|"));
    assert_null(strstr(words, "are left out"));
    json_object_set_new(json_object_get(facts.result[0], "result"), "simulated", json_true());
    facts.elsewhere = true;
    facts.withdrawn = 1;
    put(&facts);
    assert_says_words("SIMULATED: no gear was weighed\n");
    assert_says_words("Origin|this record came from elsewhere");
    assert_says_words("Other waters are left out");
    facts_release(&facts);
}

static void a_quick_weighing_says_so(void **state) {
    (void)state;
    struct facts facts = some();
    json_t *result = json_object_get(facts.result[0], "result");
    json_object_update_new(result, json_pack("{s:b, s:f, s:{s:b, s:f}, s:f}", "is_quick", 1,
                                             "at_most_g", -60.06, "quick", "at_most", 1, "high_g",
                                             -60.0, "tolerance_g", 50.0));
    put(&facts);
    assert_says_words("tank|20.0 °C|998.2 kg/m³|measured|at most −60.0 g|–|−60.0 g|");
    assert_says_words("How long|quick weighing, not the full one\n");
    assert_says_words("whole repeated confidence interval");
    assert_null(strstr(words, "Monte Carlo (JCGM 101)"));
    json_object_set_new(result, "put_aside", json_string("near a line"));
    put(&facts);
    assert_says_words("|put aside: it needs the full weighing|\n");
    facts_release(&facts);
}

/* ---- from a catalogue ---- */

static const char *const RUN = "00000000-0000-4000-8000-00000000000a";

static void add_run(struct up_catalogue *catalogue, const char *what) {
    json_t *run = json_pack("{s:s, s:s}", "what", what, "begun_utc", "2026-01-02T03:04:05.678Z");
    assert_true(up_catalogue_add(catalogue, "run", RUN, "bench", run, NULL, NULL, NULL));
    json_decref(run);
}

static struct facts gather_of(struct up_item item) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_result result[3];
    struct facts facts;
    static const char *const waters[] = {"fresh", "tank", "sea"};
    add_run(catalogue, "measure");
    assert_true(up_item_add(catalogue, &item, NULL));
    for (int i = 0; i < 3; i++) {
        result[i] = plain_result(item.id, waters[i]);
        result[i].has_model = true;
        memcpy(result[i].run_id, RUN, UP_ID_SIZE);
    }
    assert_true(up_results_add(catalogue, result, 3, "bench", NULL));
    assert_true(facts_gather(catalogue, "latest", &facts, NULL));
    up_catalogue_close(catalogue);
    return facts;
}

static void assert_water(const struct facts *facts, int at, const char *water) {
    const json_t *result = json_object_get(facts->result[at], "result");
    assert_string_equal(up_record_text(result, "water"), water);
}

static void the_tank_stands_first(void **state) {
    (void)state;
    struct up_item item = plain_item("fin");
    item.holds_gas = UP_GAS_NO;
    item.compressible = false;
    struct facts facts = gather_of(item);
    assert_string_equal(facts.run_id, RUN);
    assert_int_equal(facts.results, 3);
    assert_int_equal(facts.withdrawn, 0);
    assert_water(&facts, 0, "tank");
    assert_water(&facts, 1, "fresh");
    assert_water(&facts, 2, "sea");
    assert_string_equal(facts.item.name, "fin");
    facts_release(&facts);
}

static void waters_of_what_holds_gas_are_left_out(void **state) {
    (void)state;
    struct up_item item = plain_item("fin");
    item.holds_gas = UP_GAS_YES;
    item.compressible = true;
    struct facts facts = gather_of(item);
    assert_int_equal(facts.results, 1);
    assert_int_equal(facts.withdrawn, 2);
    assert_water(&facts, 0, "tank");
    facts_release(&facts);
}

static void a_run_without_a_result_is_refused(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_failure failure;
    struct facts facts;
    assert_false(facts_gather(catalogue, "latest", &facts, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "there is no result yet");
    facts_release(&facts);
    add_run(catalogue, "measure");
    assert_false(facts_gather(catalogue, RUN, &facts, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "--resume 00000000");
    facts_release(&facts);
    /* nor is it one that somebody else stored for it */
    struct up_item item = plain_item("fin");
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_result result = plain_result(item.id, "tank");
    result.has_model = true;
    memcpy(result.run_id, RUN, UP_ID_SIZE);
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record"
                             " WHERE kind = 'result')");
    assert_false(facts_gather(catalogue, RUN, &facts, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "--resume 00000000");
    facts_release(&facts);
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record"
                             " WHERE kind = 'run')");
    assert_true(
        facts_gather(catalogue, RUN, &facts, &failure)); /* a run of elsewhere, and marked */
    assert_true(facts.elsewhere && facts.results == 1);
    facts_release(&facts);
    up_catalogue_close(catalogue);
}

static void another_kind_of_run_is_refused(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_failure failure;
    struct facts facts;
    add_run(catalogue, "calibrate");
    assert_false(facts_gather(catalogue, RUN, &facts, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is one of `calibrate`");
    facts_release(&facts);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_interval_holds_the_air_that_may_stay),
        cmocka_unit_test(the_latest_decision_counts),
        cmocka_unit_test(it_says_what_it_is_not),
        cmocka_unit_test(ounces_and_fahrenheit_where_they_are_asked_for),
        cmocka_unit_test(a_quick_weighing_says_so),
        cmocka_unit_test_setup_teardown(the_tank_stands_first, enter, leave),
        cmocka_unit_test_setup_teardown(waters_of_what_holds_gas_are_left_out, enter, leave),
        cmocka_unit_test_setup_teardown(a_run_without_a_result_is_refused, enter, leave),
        cmocka_unit_test_setup_teardown(another_kind_of_run_is_refused, enter, leave),
    };
    return cmocka_run_group_tests_name("sections", tests, NULL, NULL);
}
