/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is printed for people: aligned, and harmless whatever a catalogue holds. */
#include "../catalogue/support.h"

#include <math.h>

#include "report/items.h"

static const struct up_choice any;
static const struct up_style plain, imperial = {.imperial = true};
static const struct up_style rich = {.colour = true, .isolate = true};

static void add_result(struct up_catalogue *catalogue, const char *item_id, const char *water,
                       double buoyancy_g, const char *class) {
    struct up_failure failure = {0};
    json_t *content = json_pack("{s:s, s:s, s:s, s:s, s:s, s:f, s:f, s:f, s:f, s:i}", "item_id",
                                item_id, "run_id", "r", "water", water, "class", class, "basis",
                                "measured", "buoyancy_g", buoyancy_g, "expanded_u_g", 2.0,
                                "coverage", 0.95, "water_density_kg_m3", 998.2, "pieces", 1);
    if (!up_catalogue_add(catalogue, "result", NULL, "bench", content, NULL, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
    json_decref(content);
}

/* Freed by the caller. */
static char *print_chosen(struct up_catalogue *catalogue, const struct up_choice *choice,
                          const struct up_style *style) {
    struct up_failure failure = {0};
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_non_null(stream);
    if (!up_items_print(catalogue, choice, style, stream, &failure)) {
        fail_msg("%s", failure.text);
    }
    fclose(stream);
    return text;
}

static char *print_items(struct up_catalogue *catalogue, const struct up_style *style) {
    return print_chosen(catalogue, &any, style);
}

static char *print_sheet(struct up_catalogue *catalogue, const struct up_item *item,
                         const struct up_style *style) {
    struct up_failure failure = {0};
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_non_null(stream);
    assert_true(up_sheet_print(catalogue, item, style, stream, &failure));
    fclose(stream);
    return text;
}

/* The line numbered from 0 as a string that the next call uses again. */
static const char *line_of(const char *text, int number) {
    static char line[2048];
    for (; number > 0; number--) {
        text = strchr(text, '\n');
        assert_non_null(text++);
    }
    snprintf(line, sizeof line, "%.*s", (int)strcspn(text, "\n"), text);
    return line;
}

static void assert_harmless(const char *text, int lines) {
    for (int i = 0; i < lines; i++) {
        const char *line = line_of(text, i);
        char *clean = up_text_clean(line, strlen(line));
        assert_string_equal(line, clean);
        free(clean);
    }
    assert_string_equal(line_of(text, lines), "");
}

/* Where the words stand in the line, in columns of a terminal. */
static int column_of(const char *line, const char *words) {
    const char *found = strstr(line, words);
    assert_non_null(found);
    char *before = up_text_format("%.*s", (int)(found - line), line);
    int columns = up_text_columns(before);
    free(before);
    return columns;
}

static void columns_stand_below_each_other(void **state) {
    (void)state;
    static const char *const names[] = {"Fin",
                                        "H\xC3\xB6he \xF0\x9F\xA4\xBF",             /* emoji */
                                        "\xE6\xBD\x9C\xE6\xB0\xB4",                 /* wide */
                                        "a\xCC\x88o\xCC\x88u\xCC\x88",              /* marks */
                                        "\xD7\xA1\xD7\xA0\xD7\xA4\xD7\x99\xD7\xA8", /* Hebrew */
                                        NAME_300};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(names); i++) {
        struct up_item item = add_item(catalogue, names[i]);
        add_result(catalogue, item.id, "fresh", -12.345, "neutral");
    }
    char *text = print_items(catalogue, &plain);
    assert_non_null(strstr(text,
                           "\nEach number is of the piece or pair that was weighed, not of its "
                           "model.\nA weight check in the water decides.\n"));
    assert_harmless(text, ARRAY(names) + 6);
    int class = column_of(line_of(text, 0), "fresh");
    for (int i = 1; i <= (int)ARRAY(names); i++) {
        assert_int_equal(column_of(line_of(text, i), "neutral"), class);
        assert_non_null(strstr(line_of(text, i), " -12.3 g +- 2.0 g? "));
    }
    free(text);
    up_catalogue_close(catalogue);
}

static void hostile_texts_do_not_reach_the_terminal(void **state) {
    (void)state;
    static const char *const bad[] = {"\x1B[2J",     "\a\b\r",       "\n",
                                      "\xC2\x9B;1m", "\xE2\x80\xA8", "\xEF\xBB\xBF"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(bad); i++) {
        struct up_item item = add_item(catalogue, bad[i]);
        add_result(catalogue, item.id, "fresh", 1, bad[i]);
        add_result(catalogue, item.id, bad[i], 1, "neutral");
        char *sheet = print_sheet(catalogue, &item, &plain);
        for (const char *at = sheet; *at != '\0'; at++) {
            assert_true(*at == '\n' || (unsigned char)*at >= ' ');
        }
        free(sheet);
    }
    char *text = print_items(catalogue, &plain);
    assert_harmless(text, ARRAY(bad) + 7); /* the other waters have no room */
    free(text);
    up_catalogue_close(catalogue);
}

static void what_is_missing_is_said(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    char *text = print_items(catalogue, &plain);
    assert_int_equal(strncmp(text, "item ", 5), 0);
    assert_non_null(strstr(text, "nothing is measured yet"));
    free(text);
    struct up_item item = add_item(catalogue, "x");
    text = print_sheet(catalogue, &item, &plain);
    assert_non_null(strstr(text, "not measured yet"));
    free(text);
    json_t *content =
        json_pack("{s:s, s:s, s:n}", "item_id", item.id, "water", "tank", "buoyancy_g");
    struct up_failure failure = {0};
    assert_true(up_catalogue_add(catalogue, "result", NULL, "b", content, NULL, NULL, &failure));
    json_decref(content);
    text = print_items(catalogue, &plain);
    assert_non_null(strstr(text, "not known +- not known"));
    assert_null(strstr(text, "0.0"));
    free(text);
    up_catalogue_close(catalogue);
}

static void colour_repeats_a_word_and_names_are_isolated(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "\xD7\xA1 fin");
    add_result(catalogue, item.id, "fresh", 120, "positive");
    char *text = print_items(catalogue, &rich);
    assert_non_null(strstr(text, "\x1B[36mpositive \x1B[0m"));
    assert_non_null(strstr(text, "\xE2\x81\xA8\xD7\xA1 fin\xE2\x81\xA9"));
    free(text);
    add_result(catalogue, item.id, "\u05D9\u05DD", 120, "positive"); /* a water has a name too */
    text = print_sheet(catalogue, &item, &rich);
    assert_non_null(strstr(text, "\u2068\u05D9\u05DD\u2069"));
    assert_null(strstr(text, "  \u05D9\u05DD"));
    free(text);
    text = print_items(catalogue, &plain);
    assert_non_null(strstr(text, "positive"));
    assert_null(strchr(text, '\x1B'));
    assert_null(strstr(text, "\xE2\x81\xA8"));
    free(text);
    up_catalogue_close(catalogue);
}

static void a_narrow_terminal_cuts_names_then_waters(void **state) {
    (void)state;
    static const char *const waters[] = {"tank", "fresh", "sea"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, NAME_300);
    for (size_t i = 0; i < ARRAY(waters); i++) {
        add_result(catalogue, item.id, waters[i], 120, "positive");
    }
    for (int columns = 70; columns < 150; columns += 10) {
        const struct up_style narrow = {.columns = columns};
        char *text = print_items(catalogue, &narrow);
        assert_true(up_text_columns(line_of(text, 0)) <= columns);
        assert_true(up_text_columns(line_of(text, 1)) <= columns);
        assert_true((strstr(text, "other waters") == NULL) ==
                    (strstr(line_of(text, 0), "sea") != NULL));
        /* what a water leaves free goes back to the name */
        assert_true(columns != 70 || up_text_columns(line_of(text, 1)) == columns);
        free(text);
    }
    up_catalogue_close(catalogue);
}

/* 453.59237 g are a pound, 28.349523125 g an ounce (1959). */
/* An item that somebody else's catalogue brought is marked, measured or not; one of here is not. */
static void an_item_from_elsewhere_is_marked(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE),
                        *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item their = add_item(theirs, "their fin"), found;
    struct up_item mine = add_item(catalogue, "my fin");
    assert_true(up_catalogue_merge(catalogue, "theirs", false, &intake, NULL));
    char *text = print_items(catalogue, &plain);
    char *marked = up_text_format("%.8s <\n", their.id), *own = up_text_format("%.8s\n", mine.id);
    assert_non_null(strstr(text, marked));
    assert_non_null(strstr(text, own));
    assert_non_null(strstr(text, "\n< came from elsewhere, by import or merge\n"));
    free(text);
    static const struct up_style tall = {.columns = 20};
    text = print_items(catalogue, &tall);
    assert_null(strstr(line_of(text, 0), "item")); /* no table */
    assert_non_null(strstr(text, marked));
    free(text);
    assert_true(up_item_find(catalogue, "their fin", &found, &failure) && found.elsewhere);
    text = print_sheet(catalogue, &found, &plain);
    assert_non_null(strstr(text, "  < came from elsewhere, by import or merge\n"));
    free(text);
    json_t *sheet = up_sheet_to_json(catalogue, &found, NULL);
    assert_true(json_is_true(json_object_get(json_object_get(sheet, "item"), "elsewhere")));
    json_decref(sheet);
    assert_true(up_item_find(catalogue, "my fin", &found, &failure) && !found.elsewhere);
    text = print_sheet(catalogue, &found, &plain);
    assert_null(strstr(text, "<"));
    free(text);
    free(marked);
    free(own);
    up_catalogue_close(theirs);
    up_catalogue_close(catalogue);
}

/* Four columns have room; a guest's waters, though of what floats best, take none from ours. */
static void a_guests_water_takes_no_column(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    static const char *const waters[] = {"aaa", "tank", "fresh", "sea", "zlake"};
    for (size_t i = 0; i < ARRAY(waters); i++) {
        add_result(catalogue, item.id, waters[i], -100, "negative");
        if (i == 0) {
            sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN"
                                     " (SELECT id FROM record WHERE kind <> 'item')");
        }
    }
    char *text = print_items(catalogue, &plain);
    assert_non_null(strstr(text, "zlake"));
    assert_null(strstr(text, "aaa"));
    free(text);
    up_catalogue_close(catalogue);
}

static void imperial_units(void **state) {
    (void)state;
    static const struct {
        double g;
        const char *shown;
    } cases[] = {{453.59237, "+1 lb 0.00 oz"}, {-28.349523125, "-1.00 oz"},
                 {453.59, "+1 lb 0.00 oz"},    {453.4, "+15.99 oz"},
                 {-1000, "-2 lb 3.27 oz"},     {0, "+0.00 oz"},
                 {(double)NAN, "not known"}};
    char text[UP_SHOWN_SIZE];
    for (size_t i = 0; i < ARRAY(cases); i++) {
        up_style_mass(&imperial, cases[i].g, text);
        assert_string_equal(text, cases[i].shown);
    }
    up_style_temp(&imperial, 20, text);
    assert_string_equal(text, "68.0 F");
    up_style_depth(&imperial, 3.048, text);
    assert_string_equal(text, "10.0 ft");
    up_style_density(&imperial, 1000, text);
    assert_string_equal(text, "62.43 lb/ft3");
}

static void older_results_stand_below(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin"), other = add_item(catalogue, "Other");
    add_result(catalogue, item.id, "fresh", 10, "neutral");
    add_result(catalogue, other.id, "fresh", 99, "positive");
    catalogue_clock_step_s = 5;
    add_result(catalogue, item.id, "fresh", -70, "negative");
    catalogue_clock_step_s = 0;
    char *text = print_sheet(catalogue, &item, &plain);
    const char *newest = strstr(text, "-70.0 g"), *older = strstr(text, "older results:");
    assert_non_null(newest);
    assert_non_null(older);
    assert_true(newest < older);
    assert_non_null(strstr(older, "+10.0 g"));
    assert_non_null(strstr(text,
                           "negative: sinks\n    one piece in fresh: weighs as much in water as "
                           "77 g of lead\n    measured at "));
    assert_non_null(strstr(text, "    lead: compare, do not take it off by this alone\n"));
    assert_null(strstr(text, "+99.0 g"));
    free(text);
    struct up_failure failure = {0};
    json_t *document = up_sheet_to_json(catalogue, &item, &failure);
    const json_t *results = json_object_get(document, "results");
    assert_int_equal(json_array_size(results), 2);
    assert_true(json_is_true(json_object_get(json_array_get(results, 0), "newest")));
    assert_true(json_is_false(json_object_get(json_array_get(results, 1), "newest")));
    json_decref(document);
    up_catalogue_close(catalogue);
}

/* What the waters of one measurement have in common stands once, below them. */
static void a_sheet_says_once_what_its_waters_share(void **state) {
    (void)state;
    static const char *const waters[] = {"tank", "fresh", "sea"};
    static const char *const once[] = {"lead: compare", "neutral = within", "this one piece",
                                       "  weighed 20"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin");
    for (size_t i = 0; i < ARRAY(waters); i++) {
        add_result(catalogue, item.id, waters[i], -70, "negative");
    }
    char *text = print_sheet(catalogue, &item, &plain);
    for (size_t i = 0; i < ARRAY(once); i++) {
        const char *first = strstr(text, once[i]);
        assert_non_null(first);
        assert_true(first > strstr(text, "one piece in sea"));
        assert_null(strstr(first + 1, once[i]));
    }
    free(text);
    up_catalogue_close(catalogue);
}

static void the_kind_gives_way_on_a_narrow_terminal(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "A fin of a name longer than the terminal allows");
    add_result(catalogue, item.id, "fresh", 10, "neutral");
    static const struct up_style narrow = {.columns = 56}, wide = {.columns = 70};
    char *text = print_items(catalogue, &narrow);
    assert_null(strstr(line_of(text, 0), "kind"));
    for (int i = 0; i < 2; i++) {
        assert_true(strlen(line_of(text, i)) <= 56);
    }
    free(text);
    text = print_items(catalogue, &wide);
    assert_non_null(strstr(line_of(text, 0), "kind"));
    free(text);
    up_catalogue_close(catalogue);
}

static void a_result_is_told_in_words(void **state) {
    (void)state;
    static const char *const words[] = {[UP_CLASS_UNDECIDED] = "undecided",
                                        [UP_CLASS_POSITIVE] = "positive: floats",
                                        [UP_CLASS_NEUTRAL] = "neutral: hovers",
                                        [UP_CLASS_NEGATIVE] = "negative: sinks"};
    for (size_t i = 0; i < ARRAY(words); i++) {
        struct up_result result = {.water = {.temp_c = 20},
                                   .water_density_kg_m3 = {998.2067, 0.02, 9},
                                   .answer = {.buoyancy_kg = {-0.1234, 0.001, 9},
                                              .expanded_u_kg = 0.0021,
                                              .class = (enum up_class)i},
                                   .question = {.tolerance_kg = 0.05, .coverage = 0.95}};
        snprintf(result.water.name, sizeof result.water.name, "\x1B[2J\nlake");
        char *text = NULL;
        size_t length = 0;
        FILE *stream = open_memstream(&text, &length);
        assert_non_null(stream);
        up_result_terms_print(&result, NULL, up_result_print(&result, NULL, &plain, stream), &plain,
                              stream);
        fclose(stream);
        assert_harmless(text, i == UP_CLASS_NEUTRAL ? 5 : 7);
        assert_non_null(strstr(line_of(text, 0), "-123.4 g +- 2.1 g (95 %)"));
        assert_non_null(strstr(line_of(text, 0), words[i]));
        assert_non_null(strstr(line_of(text, i == UP_CLASS_NEUTRAL ? 3 : 5), "within 50 g"));
        free(text);
    }
}

/* Freed by the caller. */
static char *print_result(const struct up_result *result) {
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_non_null(stream);
    up_result_terms_print(result, NULL, up_result_print(result, NULL, &plain, stream), &plain,
                          stream);
    fclose(stream);
    return text;
}

/* The tank, fresh water and the sea of one measurement: what they have in common is said once. */
static void one_measurement_is_told_once(void **state) {
    (void)state;
    struct up_result result[3] = {0};
    const struct up_item slate = {.name = "slate", .kind = "lead", .pieces = 1};
    static const char *const water[] = {"tank", "fresh", "sea"};
    for (size_t i = 0; i < ARRAY(result); i++) {
        result[i] = (struct up_result){.water = {.temp_c = 20},
                                       .water_density_kg_m3 = {998.2067, 0.02, 9},
                                       .pieces = 1,
                                       .simulated = true,
                                       .answer = {.buoyancy_kg = {i == 2 ? -0.09 : -0.1, 0.001, 9},
                                                  .expanded_u_kg = 0.0021,
                                                  .class = UP_CLASS_NEGATIVE},
                                       .question = {.tolerance_kg = 0.05, .coverage = 0.95}};
        snprintf(result[i].water.name, sizeof result[i].water.name, "%s", water[i]);
    }
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_non_null(stream);
    result[2].answer.class = UP_CLASS_UNDECIDED;
    result[2].has_model = result[2].trials_would_decide = true;
    result[2].more_trials = 3;
    up_results_print(result, 3, &slate, &plain, stream);
    fclose(stream);
    assert_string_equal(
        text, "  tank        -100.0 g +- 2.1 g (95 %)  negative: sinks, at 20.0 C\n"
              "  fresh       -100.0 g +- 2.1 g (95 %)  negative: sinks, at 20.0 C\n"
              "  sea          -90.0 g +- 2.1 g (95 %)  undecided, at 20.0 C\n"
              "    one piece in fresh: weighs as much in water as 110 g of lead\n"
              "    one piece in sea: weighs as much in water as 99 g of lead\n"
              "    lead: compare, do not take it off by this alone\n"
              "    neutral = within 50 g; stated at 0 % confidence\n"
              "    this one piece, not the model; a weight check in the water decides\n"
              "    simulated: no gear was weighed\n"
              "    undecided in sea: 3 more trials would decide it, if the net stays the same\n");
    free(text);
}

/* One sentence, and only where the two differ by what would be seen. */
static void the_trials_and_the_result_are_told_apart(void **state) {
    (void)state;
    static const struct {
        double mean_g, air_g, other_g;
        bool soaked;
        const char *text;
    } cases[] = {{120, -20, 0.04, false,
                  "  the trials' mean is +120.0 g, the result +100.0 g: half the lift of the air\n"
                  "  that may still be in it, up to 40.0 g, is taken off\n"},
                 {100, -0.04, 0.04, false, ""},
                 {101.5, 0, -1.5, false,
                  "  the trials' mean is +101.5 g, the result +100.0 g: -1.5 g for the line and\n"
                  "  the air's lift on the masses\n"},
                 {104, -2, -2, true,
                  "  the trials' mean is +104.0 g, the result +100.0 g: half the lift of the air\n"
                  "  that may still be in it, up to 4.0 g, is taken off; and -2.0 g for the water\n"
                  "  it took up\n"}};
    for (size_t i = 0; i < ARRAY(cases); i++) {
        struct up_result result = {
            .answer = {.buoyancy_kg = {0.1, 0.001, 9}, .expanded_u_kg = 0.002},
            .trials_mean_kg = cases[i].mean_g * 1e-3,
            .air_correction_kg = cases[i].air_g * 1e-3,
            .other_corrections_kg = cases[i].other_g * 1e-3,
            .at_last_soak = cases[i].soaked};
        json_t *content = up_result_to_json(&result);
        char *text = NULL;
        size_t length = 0;
        FILE *stream = open_memstream(&text, &length);
        up_corrections_print(content, &plain, stream);
        fclose(stream);
        assert_string_equal(text, cases[i].text);
        free(text);
        json_decref(content);
    }
}

/* What the calibration found of the zero is not the line's. */
static void the_offset_of_the_zero_is_named(void **state) {
    (void)state;
    json_t *content = json_pack("{s:f, s:f, s:f, s:f, s:f, s:[{s:s, s:f}]}", "trials_mean_g",
                                -372.2, "buoyancy_g", -365.2, "expanded_u_g", 7.4,
                                "air_correction_g", 0.0, "other_corrections_g", 7.0, "budget",
                                "name", "calibration offset", "value", 0.0069);
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    up_corrections_print(content, &plain, stream);
    fclose(stream);
    assert_string_equal(text, "  the trials' mean is -372.2 g, the result -365.2 g: +7.0 g for the "
                              "offset of\n"
                              "  the scale's zero, the line and the air's lift on the masses\n");
    free(text);
    json_decref(content);
}

/* A calm result has six lines, which fit a terminal of 80 columns. */
static void only_what_matters_is_told(void **state) {
    (void)state;
    struct up_result result = {
        .water = {.name = "fresh", .temp_c = 20},
        .water_density_kg_m3 = {998.2067, 0.02, 9},
        .measured = true,
        .pieces = 1,
        .has_model = true,
        .answer = {.buoyancy_kg = {-0.0497, 0.001, 9},
                   .expanded_u_kg = 0.0007,
                   .first_order_expanded_u_kg = 0.0006,
                   .draws = 20000,
                   .stable = true,
                   .probability_neutral = 0.68,
                   .probability_negative = 0.32,
                   .guard_low_kg = 0.0006,
                   .guard_high_kg = 0.0005,
                   .class = UP_CLASS_UNDECIDED},
        .question = {.tolerance_kg = 0.05, .coverage = 0.95, .confidence = 0.95}};
    char *text = print_result(&result);
    assert_string_equal(text,
                        "  fresh        -49.7 g +- 0.7 g (95 %)  undecided\n"
                        "    one piece in fresh: weighs as much in water as 54 g of lead\n"
                        "    measured at 20.0 C, 998.2 kg/m3\n"
                        "    68.0 % likely to be neutral (called so from -49.4 g to +49.5 g)\n"
                        "    32.0 % likely to be negative (called so below -50.5 g)\n"
                        "    undecided in fresh: more trials would not decide it;\n"
                        "    plan with the grams (`upthrust explain` shows why)\n"
                        "    lead: compare, do not take it off by this alone\n"
                        "    neutral = within 50 g; stated at 95 % confidence\n"
                        "    this one piece, not the model; a weight check in the water decides\n");
    free(text);
    result.answer.class = UP_CLASS_NEUTRAL;
    result.answer.first_order_expanded_u_kg = 0.0002; /* ends before the line, as 0.7 g does not */
    text = print_result(&result);
    assert_non_null(strstr(text, "the first order's interval, not used, would not reach the line"));
    free(text);
    result.answer.buoyancy_kg.value = 0.164;
    text = print_result(&result);
    assert_null(strstr(text, "first order"));
    assert_non_null(strstr(text, "neutral: hovers\n"));
    assert_null(strstr(text, "lead")); /* what hovers lifts nothing */
    assert_null(strstr(text, "no shake frees"));
    free(text);
    result.answer.stuck_air_kg = 0.0031;
    text = print_result(&result);
    assert_non_null(strstr(text, " +164.0 g +0.7 -3.8 g (95 %)  neutral: hovers\n"));
    assert_non_null(strstr(text, "\n    the lower end allows for air that no shake frees\n"));
    free(text);
    result.answer.stuck_air_kg = 0;
    result.answer.class = UP_CLASS_POSITIVE;
    result.pieces = 2;
    text = print_result(&result);
    assert_non_null(strstr(text, "positive: floats\n    a pair in fresh: about 180 g of lead would "
                                 "hold it down\n    measured at "));
    assert_non_null(strstr(text, "\n    lead: compare, do not take it off by this alone\n"));
    free(text);
    result.simulated = true;
    text = print_result(&result);
    assert_non_null(strstr(text, "this pair, not the model; a weight check in the water decides\n"
                                 "    simulated: no gear was weighed\n"));
    free(text);
    result.compressible = true;
    text = print_result(&result);
    assert_null(strstr(text, "lead"));
    assert_non_null(strstr(text, "deeper it lifts less"));
    free(text);
}

/* In sessions of their own; `outside` NULL: no body was weighed. */
static void add_checked(struct up_catalogue *catalogue, const struct up_item *item,
                        const char *run_id, const char *water, json_t *outside) {
    struct up_failure failure = {0};
    json_t *content = json_pack("{s:s, s:s, s:s, s:s, s:s, s:f, s:f}", "item_id", item->id,
                                "run_id", run_id, "water", water, "class", "neutral", "basis",
                                "measured", "buoyancy_g", 5.0, "expanded_u_g", 2.0);
    if (outside != NULL) {
        json_object_set_new(content, "checks", json_pack("[{s:o}]", "outside", outside));
    }
    assert_true(up_catalogue_add(catalogue, "result", NULL, "b", content, NULL, NULL, &failure));
    json_decref(content);
}

static void what_no_body_spoke_for_is_marked(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin");
    add_checked(catalogue, &item, "one", "tank", json_false());
    char *text = print_items(catalogue, &plain), *sheet = print_sheet(catalogue, &item, &plain);
    assert_null(strstr(text, "\n?"));
    assert_null(strchr(line_of(text, 1), '?'));
    assert_null(strstr(sheet, "unchecked"));
    assert_null(strstr(sheet, "body before"));
    free(text);
    free(sheet);
    add_checked(catalogue, &item, "two", "fresh", NULL);
    add_checked(catalogue, &item, "three", "sea", json_true());
    text = print_items(catalogue, &plain);
    assert_non_null(strstr(line_of(text, 1), "+5.0 g +- 2.0 g   neutral   +5.0 g +- 2.0 g?  "
                                             "neutral   +5.0 g +- 2.0 g!"));
    assert_non_null(
        strstr(text, "\n? unchecked: no reference body shows that the bench was right\n"));
    assert_non_null(strstr(text, "\n! the last reference body before it read outside its limits"));
    free(text);
    /* Marks of what is not shown are not explained. */
    struct up_item boot = add_item(catalogue, "Boot");
    add_checked(catalogue, &boot, "one", "tank", json_false());
    static const char *const boots[] = {"boot"};
    const struct up_choice choice = {.text = boots, .texts = 1};
    text = print_chosen(catalogue, &choice, &plain);
    assert_non_null(strstr(text, "\n1 of 2 items shown"));
    assert_null(strstr(text, "\n?"));
    assert_null(strstr(text, "\n!"));
    sheet = print_sheet(catalogue, &item, &plain);
    assert_non_null(
        strstr(sheet, "    unchecked: no reference body shows that the bench was right\n"));
    assert_non_null(strstr(sheet, "    the last reference body before it read outside"));
    free(text);
    free(sheet);
    for (int i = 0; i < 3; i++) { /* newer ones: those from above are now the older */
        static const char *const waters[] = {"tank", "fresh", "sea"};
        add_checked(catalogue, &item, "four", waters[i], json_false());
    }
    sheet = print_sheet(catalogue, &item, &plain);
    assert_non_null(strstr(sheet, ", unchecked\n"));
    assert_non_null(strstr(sheet, ", body outside\n"));
    free(sheet);
    json_t *document = up_sheet_to_json(catalogue, &item, NULL);
    const json_t *first = json_array_get(json_object_get(document, "results"), 0);
    assert_string_equal(json_string_value(json_object_get(first, "body_check")), "inside");
    json_decref(document);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(columns_stand_below_each_other),
        TEST(hostile_texts_do_not_reach_the_terminal),
        TEST(what_is_missing_is_said),
        TEST(colour_repeats_a_word_and_names_are_isolated),
        TEST(a_narrow_terminal_cuts_names_then_waters),
        TEST(an_item_from_elsewhere_is_marked),
        TEST(a_guests_water_takes_no_column),
        TEST(imperial_units),
        TEST(older_results_stand_below),
        TEST(what_no_body_spoke_for_is_marked),
        TEST(a_sheet_says_once_what_its_waters_share),
        TEST(the_kind_gives_way_on_a_narrow_terminal),
        TEST(a_result_is_told_in_words),
        TEST(one_measurement_is_told_once),
        TEST(the_trials_and_the_result_are_told_apart),
        TEST(the_offset_of_the_zero_is_named),
        TEST(only_what_matters_is_told),
    };
    return cmocka_run_group_tests_name("report: tables", tests, NULL, NULL);
}
