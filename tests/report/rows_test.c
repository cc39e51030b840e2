/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which results are shown, and in which order. */
#include "../catalogue/support.h"

#include <math.h>

#include "catalogue/kind.h"
#include "report/card.h"
#include "report/items.h"

static void add_result_of(struct up_catalogue *catalogue, const char *bench, const char *item_id,
                          const char *water, double buoyancy_g) {
    struct up_failure failure = {0};
    struct up_result result = {.measured = strcmp(water, "tank") == 0,
                               .water = {.temp_c = 21.5},
                               .answer = {.buoyancy_kg = {buoyancy_g / 1e3, 0.001, 9},
                                          .expanded_u_kg = 0.002,
                                          .class = UP_CLASS_NEUTRAL},
                               .question = {.tolerance_kg = 0.05},
                               .pieces = 1};
    snprintf(result.item_id, sizeof result.item_id, "%s", item_id);
    snprintf(result.water.name, sizeof result.water.name, "%s", water);
    if (!up_results_add(catalogue, &result, 1, bench, &failure)) {
        fail_msg("%s", failure.text);
    }
    catalogue_clock_step_s++; /* no two of one moment */
}

static void add_result(struct up_catalogue *catalogue, const char *item_id, const char *water,
                       double buoyancy_g) {
    add_result_of(catalogue, "bench", item_id, water, buoyancy_g);
}

static void add_body(struct up_catalogue *catalogue, const char *text) {
    json_t *content = json_loads(text, 0, NULL);
    assert_non_null(content);
    assert_true(up_catalogue_add(catalogue, "result", NULL, "", content, NULL, NULL, NULL));
    json_decref(content);
    catalogue_clock_step_s++;
}

static struct up_rows load(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    struct up_rows rows;
    if (!up_rows_load(catalogue, &rows, &failure)) {
        fail_msg("%s", failure.text);
    }
    return rows;
}

static void assert_row(const struct up_rows *rows, size_t i, const char *name, const char *water,
                       double buoyancy_g) {
    assert_true(i < rows->count);
    assert_string_equal(rows->row[i].name, name);
    assert_string_equal(rows->row[i].water, water);
    assert_true(fabs(rows->row[i].buoyancy_g - buoyancy_g) < 1e-9);
}

/* ---- order ---- */

static void the_lightest_in_fresh_water_stands_first(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item sinks = add_item(catalogue, "sinks"), floats = add_item(catalogue, "floats"),
                   tank = add_item(catalogue, "tank only"), lake = add_item(catalogue, "lake only");
    add_result(catalogue, sinks.id, "tank", 1000); /* does not decide */
    add_result(catalogue, tank.id, "tank", 50);
    add_result(catalogue, floats.id, "sea", -500); /* nor does this */
    add_result(catalogue, lake.id, "lake", 20);
    add_result(catalogue, floats.id, "fresh", 300);
    add_result(catalogue, sinks.id, "sea", -80);
    add_result(catalogue, sinks.id, "fresh", -100);
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 7);
    assert_row(&rows, 0, "floats", "sea", -500);
    assert_row(&rows, 1, "floats", "fresh", 300);
    assert_row(&rows, 2, "tank only", "tank", 50);
    assert_row(&rows, 3, "lake only", "lake", 20);
    assert_row(&rows, 4, "sinks", "tank", 1000);
    assert_row(&rows, 5, "sinks", "sea", -80);
    assert_row(&rows, 6, "sinks", "fresh", -100);
    up_rows_release(&rows);
    assert_int_equal(rows.count, 0);
    up_catalogue_close(catalogue);
}

static void rows_of_one_item_stand_together(void **state) {
    (void)state;
    enum { ITEMS = 70 };
    static const char *const waters[] = {"tank", "fresh", "sea"};
    struct up_item item[ITEMS];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (int i = 0; i < ITEMS; i++) {
        item[i] = add_item(catalogue, "same name");
    }
    for (size_t w = 0; w < ARRAY(waters); w++) {
        for (int i = 0; i < ITEMS; i++) {
            add_result(catalogue, item[i].id, waters[w], i % 2); /* half of them equal */
        }
    }
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, ITEMS * ARRAY(waters));
    for (size_t i = 0; i < rows.count; i++) {
        assert_string_equal(rows.row[i].item_id, rows.row[i - i % 3].item_id);
        assert_string_equal(rows.row[i].water, waters[i % 3]);
        assert_true(i == 0 || rows.row[i].buoyancy_g <= rows.row[i - 1].buoyancy_g);
    }
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void the_latest_result_wins(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "one"), other = add_item(catalogue, "other");
    catalogue_clock_step_s = 1000;
    add_result(catalogue, item.id, "fresh", 3);
    add_result(catalogue, other.id, "fresh", 2);
    catalogue_clock_step_s = 500;
    add_result_of(catalogue, "elsewhere", item.id, "fresh", 1); /* stored later, but older */
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 2);
    assert_row(&rows, 0, "one", "fresh", 3);
    up_rows_release(&rows);
    catalogue_clock_step_s = 2000;
    add_result(catalogue, item.id, "fresh", -3);
    rows = load(catalogue);
    assert_int_equal(rows.count, 2);
    assert_row(&rows, 0, "other", "fresh", 2);
    assert_row(&rows, 1, "one", "fresh", -3);
    up_rows_release(&rows);
    catalogue_clock_step_s = 100; /* within one bench its count goes before its clock */
    add_result(catalogue, item.id, "fresh", -4);
    rows = load(catalogue);
    assert_row(&rows, 1, "one", "fresh", -4);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

/* One of elsewhere shows only where there is none of here. */
static void ours_stays(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "one");
    add_result(catalogue, item.id, "fresh", 3);
    catalogue_clock_step_s = 1000;
    add_result(catalogue, item.id, "fresh", 1);
    add_result(catalogue, item.id, "sea", 2);
    sql(catalogue->database,
        "DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record WHERE"
        " kind = 'result' ORDER BY rowid DESC LIMIT 2)");
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 2);
    assert_row(&rows, 0, "one", "fresh", 3);
    assert_row(&rows, 1, "one", "sea", 2);
    assert_false(rows.row[0].elsewhere);
    assert_true(rows.row[1].elsewhere);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static bool note_subject(const struct up_record *record, void *context) {
    memcpy(context, record->subject, sizeof record->subject);
    return true;
}

/* Another tolerance, another class: the row says what holds now, and that it was judged again. */
static void a_later_decision_stands_in_its_place(void **state) {
    (void)state;
    static struct up_decided decided;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "one");
    add_result(catalogue, item.id, "fresh", 30);
    struct up_rows rows = load(catalogue);
    assert_false(rows.row[0].rejudged);
    up_rows_release(&rows);
    assert_true(up_catalogue_each(catalogue, "result", note_subject, decided.result_id, NULL));
    decided.result.answer.class = UP_CLASS_POSITIVE;
    decided.result.question.tolerance_kg = 0.02;
    assert_true(up_decisions_add(catalogue, &decided, 1, NULL));
    rows = load(catalogue);
    assert_true(rows.row[0].rejudged);
    assert_string_equal(rows.row[0].class, "positive");
    assert_true(fabs(rows.row[0].tolerance_g - 20) < 1e-9);
    assert_true(fabs(rows.row[0].buoyancy_g - 30) < 1e-9);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

/* ---- what a row holds ---- */

static void names_are_joined(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        struct up_item item = add_item(catalogue, hostile_names[i].given);
        add_result(catalogue, item.id, "fresh", -(double)i);
    }
    add_result(catalogue, "00000000-0000-4000-8000-000000000000", "fresh", -1000);
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, ARRAY(hostile_names) + 1);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        assert_row(&rows, i, hostile_names[i].stored, "fresh", -(double)i);
    }
    assert_row(&rows, ARRAY(hostile_names), "", "fresh", -1000);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void the_newest_name_is_shown(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "old");
    add_result(catalogue, item.id, "fresh", 1);
    snprintf(item.name, sizeof item.name, "new");
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_rows rows = load(catalogue);
    assert_row(&rows, 0, "new", "fresh", 1);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void all_members_are_taken(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "one");
    add_result(catalogue, item.id, "tank", 1);
    add_result(catalogue, item.id, "fresh", 2);
    struct up_rows rows = load(catalogue);
    assert_true(rows.row[0].measured && !rows.row[1].measured);
    for (size_t i = 0; i < 2; i++) {
        assert_string_equal(rows.row[i].item_id, item.id);
        assert_string_equal(rows.row[i].class, "neutral");
        assert_true(fabs(rows.row[i].expanded_u_g - 2) < 1e-9);
        assert_true(fabs(rows.row[i].tolerance_g - 50) < 1e-9);
        assert_true(rows.row[i].water_temp_c == 21.5);
    }
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

/* Missing is NaN, never zero; and it spoils the order of no other. */
static void a_missing_number_is_no_zero(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (int i = 0; i < 20; i++) {
        char *content = up_text_format("{\"item_id\": \"%d\", \"water\": \"fresh\"%s%s}", i,
                                       i % 4 == 1 ? "" : ", \"buoyancy_g\": ",
                                       i % 4 == 0   ? "null"
                                       : i % 4 == 1 ? ""
                                       : i % 4 == 2 ? "-3"
                                                    : "5");
        add_body(catalogue, content);
        free(content);
    }
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 20);
    for (size_t i = 0; i < 20; i++) {
        if (i < 10) {
            assert_true(fabs(rows.row[i].buoyancy_g - (i < 5 ? 5 : -3)) < 1e-12);
        } else {
            assert_true(isnan(rows.row[i].buoyancy_g));
        }
        assert_true(isnan(rows.row[i].expanded_u_g) && isnan(rows.row[i].tolerance_g) &&
                    isnan(rows.row[i].water_temp_c));
    }
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void bodies_of_somebody_else_do_no_harm(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_body(catalogue, "{}");
    add_body(catalogue, "{\"item_id\": 1, \"water\": [], \"class\": {}, \"basis\": 2,"
                        " \"buoyancy_g\": \"9\"}");
    add_body(catalogue, "{\"item_id\": \"" NAME_300 "\", \"water\": \"" NAME_300
                        "\", \"class\": \"" NAME_300 "\", \"buoyancy_g\": 1}");
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 2);
    assert_int_equal(strlen(rows.row[0].item_id), UP_ID_SIZE - 1);
    assert_int_equal(strlen(rows.row[0].water), sizeof rows.row[0].water - 1);
    assert_int_equal(strlen(rows.row[0].class), sizeof rows.row[0].class - 1);
    assert_string_equal(rows.row[1].item_id, "");
    assert_false(rows.row[1].measured);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void an_empty_catalogue_has_no_rows(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "not yet measured");
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 0);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void a_damaged_record_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "one");
    add_result(catalogue, item.id, "fresh", 1);
    sql(catalogue->database,
        "INSERT INTO record VALUES ('broken-id','1','item','s','','2000','[1]')");
    struct up_rows rows = {.count = 7};
    assert_false(up_rows_load(catalogue, &rows, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "broken-id");
    assert_int_equal(rows.count, 0);
    assert_null(rows.row);
    up_catalogue_close(catalogue);
}

static void assert_title(const char *name, int pieces, const char *wanted) {
    char *title = up_item_title(name, pieces);
    assert_string_equal(title, wanted);
    free(title);
}

static void a_title_says_how_many_pieces_once(void **state) {
    (void)state;
    assert_title("Fin", 1, "Fin");
    assert_title("Fin", 2, "pair: Fin");
    assert_title("Fin, a pair", 2, "Fin, a pair");
    assert_title("Pair of fins", 2, "Pair of fins");
    assert_title("Repair kit", 2, "pair: Repair kit");
    assert_title("Pairing fin", 2, "pair: Pairing fin");
    assert_title("Weights, a pair each", 4, "four pieces: Weights, a pair each");
    assert_title("Fin", 12, "twelve pieces: Fin");
    assert_title("Fin", 13, "many pieces: Fin");
    assert_title("Fin", 0, "pieces unknown: Fin");
}

static void add_pieces(struct up_catalogue *catalogue, const char *item_id, const char *water,
                       double buoyancy_g, int pieces) {
    struct up_failure failure = {0};
    struct up_result result = plain_result(item_id, water);
    result.answer.buoyancy_kg.value = buoyancy_g / 1e3;
    result.pieces = pieces;
    if (!up_results_add(catalogue, &result, 1, "bench", &failure)) {
        fail_msg("%s", failure.text);
    }
    catalogue_clock_step_s++;
}

/* What a catalogue of before the rule, or somebody else's, made of an item. */
static void a_result_keeps_the_pieces_it_was_measured_with(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("Fin");
    item.pieces = 2;
    assert_true(up_item_add(catalogue, &item, NULL));
    add_pieces(catalogue, item.id, "fresh", 100, 1);
    struct up_rows rows = load(catalogue);
    assert_row(&rows, 0, "Fin", "fresh", 100);
    assert_int_equal(rows.row[0].pieces, 1);
    up_rows_release(&rows);
    add_pieces(catalogue, item.id, "tank", 210, 2);
    rows = load(catalogue);
    assert_int_equal(rows.count, 1);
    assert_int_equal(rows.other_pieces, 1);
    assert_row(&rows, 0, "pair: Fin", "tank", 210);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

/* 50 g and 100 g, or what is set for the kind. */
static void an_unusual_tolerance_is_marked(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("Fin");
    static const struct {
        int pieces;
        double tolerance_g;
        bool unusual, for_lamps;
    } cases[] = {{1, 50, false, true},   {1, 40, true, false}, {1, 100, true, true},
                 {2, 100, false, false}, {2, 50, true, true},  {2, 120, true, true}};
    for (int lamps = 0; lamps < 2; lamps++) {
        struct up_kind set = {.name = "lamp", .tolerance_one_g = 40};
        assert_true(up_kind_set(catalogue, &set, &failure));
        for (size_t i = 0; i < ARRAY(cases); i++) {
            struct up_result result;
            item = plain_item("x");
            snprintf(item.kind, sizeof item.kind, lamps ? "Lamp" : "fin");
            assert_true(up_item_add(catalogue, &item, NULL));
            result = plain_result(item.id, "tank");
            result.pieces = cases[i].pieces;
            result.question.tolerance_kg = cases[i].tolerance_g / 1e3;
            assert_true(up_results_add(catalogue, &result, 1, "bench", &failure));
            struct up_rows rows = load(catalogue);
            for (size_t r = 0; r < rows.count; r++) {
                if (strcmp(rows.row[r].item_id, item.id) == 0) {
                    bool wanted =
                        lamps && cases[i].pieces == 1 ? cases[i].for_lamps : cases[i].unusual;
                    assert_int_equal(rows.row[r].unusual, wanted);
                }
            }
            up_rows_release(&rows);
        }
    }
    up_catalogue_close(catalogue);
}

static void calculated_waters_of_what_holds_gas_are_withdrawn(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin");
    add_result(catalogue, item.id, "tank", 10);
    add_result(catalogue, item.id, "fresh", 11);
    add_result(catalogue, item.id, "sea", 12);
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 3);
    assert_int_equal(rows.withdrawn, 0);
    up_rows_release(&rows);
    item.holds_gas = UP_GAS_YES;
    assert_true(up_item_add(catalogue, &item, NULL));
    rows = load(catalogue);
    assert_int_equal(rows.count, 1);
    assert_int_equal(rows.withdrawn, 2);
    assert_row(&rows, 0, "Fin", "tank", 10);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

/* ---- quick weighings ---- */

static void add_quick(struct up_catalogue *catalogue, const char *item_id, double buoyancy_g,
                      bool at_most, enum up_aside aside) {
    struct up_result result = {
        .measured = true,
        .water = {.temp_c = 21.5, .name = "tank"},
        .answer = {.buoyancy_kg = {buoyancy_g / 1e3, 0.001, 9},
                   .expanded_u_kg = at_most ? (double)NAN : 0.004,
                   .class = aside != UP_ASIDE_NOT ? UP_CLASS_UNDECIDED : UP_CLASS_NEGATIVE},
        .question = {.tolerance_kg = 0.05},
        .pieces = 1,
        .quick = {
            .is = true, .at_most = at_most, .high_kg = buoyancy_g / 1e3 + 0.01, .aside = aside}};
    snprintf(result.item_id, sizeof result.item_id, "%s", item_id);
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    catalogue_clock_step_s++;
}

static char *listed(struct up_catalogue *catalogue) {
    char *text = NULL;
    size_t size = 0;
    const struct up_choice choice = {.sort = "name"};
    const struct up_style style = {.columns = 0};
    FILE *stream = open_memstream(&text, &size);
    assert_true(up_items_print(catalogue, &choice, &style, stream, NULL));
    assert_int_equal(fclose(stream), 0);
    return text;
}

static void a_quick_one_is_shown_as_one(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item most = add_item(catalogue, "most"), aside = add_item(catalogue, "aside"),
                   full = add_item(catalogue, "full");
    add_quick(catalogue, most.id, -300.06, true, UP_ASIDE_NOT);
    add_quick(catalogue, aside.id, -51, false, UP_ASIDE_NEAR);
    add_result(catalogue, full.id, "tank", 10);
    char *text = listed(catalogue);
    assert_non_null(strstr(text, "negative  at most -290.0 g"));
    assert_null(strstr(text, "-300.0 g"));
    assert_non_null(strstr(text, "put aside"));
    assert_non_null(strstr(text, UP_CLAIM_AT_MOST));
    assert_non_null(strstr(text, "quick: a quick weighing"));
    assert_null(strstr(text, UP_CLAIM_FULL_COUNTS));
    free(text);
    struct up_rows rows = load(catalogue);
    assert_int_equal(rows.count, 3);
    for (size_t i = 0; i < rows.count; i++) {
        bool quick = strcmp(rows.row[i].item_id, full.id) != 0;
        assert_true(rows.row[i].quick == quick);
        assert_true((strstr(rows.row[i].name, "quick: ") != NULL ||
                     strstr(rows.row[i].name, "put aside: ") != NULL) == quick);
    }
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

/* Though it is newer; and the list says so. */
static void a_full_one_stays_in_view(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    add_quick(catalogue, item.id, -200, true, UP_ASIDE_NOT);
    add_result(catalogue, item.id, "tank", -100);
    struct up_rows rows = load(catalogue);
    assert_row(&rows, 0, "fin", "tank", -100);
    assert_false(rows.row[0].quick_beside); /* it came before */
    up_rows_release(&rows);
    add_quick(catalogue, item.id, -300, true, UP_ASIDE_NOT);
    rows = load(catalogue);
    assert_int_equal(rows.count, 1);
    assert_row(&rows, 0, "fin", "tank", -100);
    assert_true(rows.row[0].quick_beside && !rows.row[0].quick && !rows.row[0].at_most);
    up_rows_release(&rows);
    char *text = listed(catalogue);
    assert_non_null(strstr(text, UP_CLAIM_FULL_COUNTS));
    free(text);
    add_result(catalogue, item.id, "tank", -101); /* weighed in full again */
    rows = load(catalogue);
    assert_row(&rows, 0, "fin", "tank", -101);
    assert_false(rows.row[0].quick_beside);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void a_card_says_at_most(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    const struct up_style style = {.columns = 0};
    struct up_card card;
    add_quick(catalogue, item.id, -300.06, true, UP_ASIDE_NOT);
    struct up_rows rows = load(catalogue);
    up_card_fill(&card, &item, rows.row, rows.count, NULL, &style);
    assert_string_equal(card.water[0].net, "at most \u2212290.0 g");
    assert_non_null(strstr(card.water[0].interval, "no lower end"));
    assert_non_null(strstr(card.marks, UP_CLAIM_QUICK));
    assert_non_null(strstr(card.marks, UP_CLAIM_AT_MOST));
    up_card_release(&card);
    up_rows_release(&rows);
    add_quick(catalogue, item.id, -51, false, UP_ASIDE_NEAR);
    rows = load(catalogue);
    up_card_fill(&card, &item, rows.row, rows.count, NULL, &style);
    assert_string_equal(card.water[0].meaning, "put aside");
    assert_non_null(strstr(card.marks, UP_CLAIM_PUT_ASIDE));
    up_card_release(&card);
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void what_was_in_it_stands_beside_it(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    static const struct {
        const char *kind;
        struct up_filling filling;
        const char *wanted;
    } cases[] = {
        {"cylinder",
         {"air", 210},
         "as weighed, at 210 bar of air; changes by kilograms over a dive"},
        {"cylinder",
         {"", (double)NAN},
         "as weighed, its pressure not recorded; changes by kilograms over a dive"},
        {"jacket", {"none", 0}, "as weighed, emptied of gas"},
        {"jacket", {"", (double)NAN}, "as weighed; whether it was emptied of gas is not recorded"},
        {"fin", {"", (double)NAN}, ""}};
    for (size_t i = 0; i < ARRAY(cases); i++) {
        struct up_item item = plain_item("x");
        snprintf(item.kind, sizeof item.kind, "%s", cases[i].kind);
        assert_true(up_item_add(catalogue, &item, &failure));
        struct up_result result = plain_result(item.id, "tank");
        result.filling = cases[i].filling;
        assert_true(up_results_add(catalogue, &result, 1, "bench", &failure));
        struct up_rows rows = load(catalogue);
        for (size_t r = 0; r < rows.count; r++) {
            if (strcmp(rows.row[r].item_id, item.id) == 0) {
                assert_string_equal(rows.row[r].filling, cases[i].wanted);
            }
        }
        assert_int_equal(rows.count, i + 1);
        up_rows_release(&rows);
    }
    up_catalogue_close(catalogue);
}

static void what_was_never_weighed_says_so(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE), *other;
    struct up_item real = add_item(catalogue, "real"), told = add_item(catalogue, "told"),
                   old = add_item(catalogue, "old");
    struct up_result result = plain_result(told.id, "fresh");
    result.simulated = true;
    result.answer.buoyancy_kg.value = 0.2;
    assert_true(up_results_add(catalogue, &result, 1, "bench", &failure));
    add_result(catalogue, real.id, "fresh", 100);
    add_result_of(catalogue, "simulated-tank", old.id, "fresh", 50); /* before it was recorded */
    other = open_as("other", UP_CATALOGUE_CREATE);
    up_catalogue_close(catalogue);
    assert_true(up_catalogue_merge(other, "c", false, &intake, &failure));
    struct up_rows rows = load(other);
    assert_row(&rows, 0, "simulated: told", "fresh", 200);
    assert_row(&rows, 1, "real", "fresh", 100);
    assert_row(&rows, 2, "simulated: old", "fresh", 50);
    up_rows_release(&rows);
    up_catalogue_close(other);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(the_lightest_in_fresh_water_stands_first),
        TEST(rows_of_one_item_stand_together),
        TEST(the_latest_result_wins),
        TEST(ours_stays),
        TEST(a_later_decision_stands_in_its_place),
        TEST(names_are_joined),
        TEST(the_newest_name_is_shown),
        TEST(all_members_are_taken),
        TEST(a_missing_number_is_no_zero),
        TEST(bodies_of_somebody_else_do_no_harm),
        TEST(an_empty_catalogue_has_no_rows),
        TEST(a_damaged_record_is_told),
        TEST(a_title_says_how_many_pieces_once),
        TEST(an_unusual_tolerance_is_marked),
        TEST(what_was_never_weighed_says_so),
        TEST(a_quick_one_is_shown_as_one),
        TEST(a_full_one_stays_in_view),
        TEST(a_card_says_at_most),
        TEST(calculated_waters_of_what_holds_gas_are_withdrawn),
        TEST(what_was_in_it_stands_beside_it),
        TEST(a_result_keeps_the_pieces_it_was_measured_with),
    };
    return cmocka_run_group_tests_name("report: rows", tests, NULL, NULL);
}
