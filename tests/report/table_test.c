/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is printed for people: aligned, and harmless whatever a catalogue holds. */
#include "../catalogue/support.h"

#include <math.h>

#include "upthrust/report.h"

static struct up_row plain_row(const char *item_id, const char *name, const char *water) {
    struct up_row row = {
        .buoyancy_g = -12.345, .expanded_u_g = 2, .tolerance_g = 50, .water_temp_c = 20};
    snprintf(row.item_id, sizeof row.item_id, "%s", item_id);
    snprintf(row.name, sizeof row.name, "%s", name);
    snprintf(row.water, sizeof row.water, "%s", water);
    snprintf(row.class, sizeof row.class, "neutral");
    return row;
}

/* Freed by the caller. */
static char *print_rows(struct up_row *row, size_t count) {
    struct up_rows rows = {row, count};
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_non_null(stream);
    up_rows_print(&rows, stream);
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

/* In characters, where the words stand in the line. */
static int column_of(const char *line, const char *words) {
    const char *found = strstr(line, words);
    int column = 0;
    assert_non_null(found);
    for (; line < found; line++) {
        column += ((unsigned char)*line & 0xC0) != 0x80;
    }
    return column;
}

static void columns_stand_below_each_other(void **state) {
    (void)state;
    struct up_row row[] = {plain_row("a", "Fin", "tank"), plain_row("a", "Fin", "fresh"),
                           plain_row("b", "H\xC3\xB6he \xF0\x9F\xA4\xBF", "fresh"),
                           plain_row("c", NAME_300, "\xC3\xA4\xC3\xB6\xC3\xBC")};
    row[0].measured = true;
    char *text = print_rows(row, ARRAY(row));
    assert_harmless(text, ARRAY(row) + 1);
    int class = column_of(line_of(text, 0), "class"), basis = column_of(line_of(text, 0), "basis");
    for (int i = 1; i <= (int)ARRAY(row); i++) {
        const char *line = line_of(text, i);
        assert_int_equal(column_of(line, "neutral"), class);
        assert_int_equal(column_of(line, i == 1 ? "measured" : "calculated"), basis);
        assert_non_null(strstr(line, " -12.3 "));
        assert_non_null(strstr(line, " 2.0 "));
    }
    assert_int_equal(strncmp(line_of(text, 1), "Fin ", 4), 0);
    assert_null(strstr(line_of(text, 2), "Fin")); /* its name stands above */
    free(text);
}

static void hostile_texts_do_not_reach_the_terminal(void **state) {
    (void)state;
    static const char *const bad[] = {"\x1B[2J",      "\a\b\r",       "\n",          "\xC2\x9B;1m",
                                      "\xFF\xFE\xC3", "\xE2\x80\xA8", "\xEF\xBB\xBF"};
    for (size_t i = 0; i < ARRAY(bad); i++) {
        struct up_row row = plain_row("a", bad[i], bad[i]);
        snprintf(row.class, sizeof row.class, "%s", bad[i]);
        char *text = print_rows(&row, 1);
        assert_harmless(text, 2);
        assert_int_equal(column_of(line_of(text, 1), "calculated"),
                         column_of(line_of(text, 0), "basis"));
        free(text);
    }
}

static void a_missing_number_is_shown_as_missing(void **state) {
    (void)state;
    struct up_row row = plain_row("a", "x", "tank");
    row.buoyancy_g = row.expanded_u_g = row.water_temp_c = (double)NAN;
    char *text = print_rows(&row, 1);
    const char *line = line_of(text, 1);
    assert_non_null(strstr(line, "nan"));
    assert_null(strstr(line, "0.0"));
    free(text);
}

static void no_rows_give_the_header(void **state) {
    (void)state;
    char *text = print_rows(NULL, 0);
    assert_int_equal(strncmp(text, "item ", 5), 0);
    assert_string_equal(line_of(text, 1), "");
    free(text);
}

static void a_result_is_told_in_words(void **state) {
    (void)state;
    static const char *const words[] = {[UP_CLASS_UNDECIDED] = "reaches over a class line",
                                        [UP_CLASS_POSITIVE] = "positive: floats",
                                        [UP_CLASS_NEUTRAL] = "neutral: hangs",
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
        up_result_print(&result, stream);
        fclose(stream);
        assert_harmless(text, 2);
        assert_non_null(strstr(line_of(text, 0), "-123.4 g +- 2.1 g (95 %)"));
        assert_non_null(strstr(line_of(text, 0), words[i]));
        assert_non_null(strstr(line_of(text, 1), "within 50 g"));
        free(text);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(columns_stand_below_each_other),
        TEST(hostile_texts_do_not_reach_the_terminal),
        TEST(a_missing_number_is_shown_as_missing),
        TEST(no_rows_give_the_header),
        TEST(a_result_is_told_in_words),
    };
    return cmocka_run_group_tests_name("report: tables", tests, NULL, NULL);
}
