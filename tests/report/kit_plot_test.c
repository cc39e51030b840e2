/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The picture of a kit and the page for a diver, through a real gnuplot. */
#include "../catalogue/support.h"

#include "drawing.h"
#include "report/report.h"

/* Seven pressures at each of three depths; a kilogram less at each. */
static json_t *report_in(const char *water) {
    static const char *const where[] = {"surface", "stop", "deepest point"};
    static const double depth_m[] = {0, 5, 18};
    json_t *rows = json_array();
    for (int i = 0; i < 21; i++) {
        double value_kg = 2 - i / 7 + 0.1 * (i % 7);
        json_array_append_new(
            rows, json_pack("{s:s, s:f, s:f, s:{s:f, s:f, s:f}}", "where", where[i / 7], "depth_m",
                            depth_m[i / 7], "pressure_bar", 200.0 - 30 * (i % 7), "lift",
                            "value_kg", value_kg, "low_kg", value_kg - 1, "high_kg", value_kg + 1));
    }
    return json_pack("{s:{s:s}, s:o}", "water", "name", water, "picture", rows);
}

static void write_kit(const char *water, const char *text, const struct up_plots *plots,
                      const struct up_look *look) {
    struct up_failure failure = {0};
    json_auto_t *report = report_in(water);
    const struct up_kit_page page = {report, text,
                                     "SIMULATED gear among the parts.\nCalculated.\n"};
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    if (!up_plot_kit(&page, plots, look, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static char *read_text(const char *name) {
    size_t length;
    char *text = up_text_read_file(name, UP_LINKS_REFUSED, 1 << 22, &length, NULL);
    assert_non_null(text);
    return text;
}

static void assert_looks_right(void) {
    char why[400];
    if (!drawing_looks_right("kit", why, sizeof why)) {
        fail_msg("%s", why);
    }
}

static void three_depths_with_their_bands(void **state) {
    (void)state;
    write_kit("sea", "one\n", PLOTS_IN("."), NULL);
    assert_looks_right();
    char *svg = read_text("kit.svg"), *data = read_text("kit.tsv");
    assert_non_null(strstr(svg, ">net lift in kg   (+ floats, \u2212 sinks)<"));
    assert_non_null(strstr(svg, ">surface, 0 m<"));
    assert_non_null(strstr(svg, ">deepest point, 18 m<"));
    assert_non_null(strstr(svg, ">A weight check in the water decides.<"));
    assert_non_null(strstr(svg, ">SIMULATED gear among the parts.<"));
    assert_non_null(strstr(svg, ">Calculated.<"));
    assert_non_null(strstr(svg, ">\u22121<"));
    assert_non_null(strstr(svg, "water: sea"));
    assert_non_null(strstr(data, "\n1\t200\t1\t3\n"));
    assert_non_null(strstr(data, "\n6\t20\t0.6"));
    /* The middle line and both ends of its band, each known by its dashes. */
    assert_true(drawing_lines(svg, "  0,  96, 160", 100) == 3);
    free(svg);
    free(data);
}

/* 1 lb is 0.45359237 kg: 3 kg are 6.6 lb. 18 m are 59 ft. */
static void pounds_and_feet_where_they_are_asked_for(void **state) {
    (void)state;
    const struct up_plots plots = {".", {.imperial = true}};
    write_kit("sea", "one\n", &plots, NULL);
    assert_looks_right();
    char *svg = read_text("kit.svg"), *data = read_text("kit.tsv");
    assert_non_null(strstr(svg, ">net lift in lb "));
    assert_non_null(strstr(svg, ">deepest point, 59 ft<"));
    assert_non_null(strstr(svg, ">6<"));
    assert_non_null(strstr(data, "\n1\t200\t1\t3\n"));
    free(svg);
    free(data);
}

static unsigned count_of(const char *text, const char *words) {
    unsigned count = 0;
    for (const char *at = text; (at = strstr(at, words)) != NULL; at++) {
        count++;
    }
    return count;
}

/* Long lines go on below, and of too many the last says so; names are text. */
static void the_page_holds_whatever_the_words_are(void **state) {
    (void)state;
    char *text = up_text_format("%s", "");
    for (int i = 0; i < 70; i++) {
        char *more = up_text_format("%sgear %02d %s\n", text, i,
                                    i == 3 ? "\"; system(\"touch MARK\") `touch MARK` {/Bold x} "
                                             "and so it goes on until the line is far too long "
                                             "for a page of A4, as a name may be"
                                           : "");
        free(text);
        text = more;
    }
    write_kit("\u05D9\u05DD \"; system(\"touch MARK\")", text, PLOTS_IN("."), NULL);
    assert_looks_right();
    char *script = read_text("kit.gp");
    assert_int_not_equal(access("MARK", F_OK), 0);
    assert_non_null(strstr(script, "\nlines = 62\n"));
    assert_int_equal(count_of(script, "\"    "), 1);   /* it goes on below, set in */
    assert_int_equal(count_of(script, "\"gear "), 60); /* one on two lines, one for the last */
    assert_non_null(strstr(script, "\"... more: \\`upthrust kit report\\`\"]"));
    assert_non_null(strstr(script, "water: \u2068\u05D9\u05DD"));
    assert_int_equal(system("pdfinfo kit.pdf 2>/dev/null | grep -q '^Pages: *1$' || ! command -v "
                            "pdfinfo >/dev/null"),
                     0);
    assert_int_equal(system("pdfinfo kit.pdf 2>/dev/null | grep -q '595 x 84[12] pts' || ! command "
                            "-v pdfinfo >/dev/null"),
                     0);
    free(script);
    free(text);
}

static void the_ground_is_the_one_asked_for(void **state) {
    (void)state;
    write_kit("sea", "one\n", PLOTS_IN("."), &(struct up_look){.dark = true});
    char *svg = read_text("kit.svg");
    assert_non_null(strstr(svg, "fill=\"#14181c\""));
    assert_int_equal(access("kit.pdf", F_OK), 0);
    free(svg);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(three_depths_with_their_bands),
        TEST(pounds_and_feet_where_they_are_asked_for),
        TEST(the_page_holds_whatever_the_words_are),
        TEST(the_ground_is_the_one_asked_for),
    };
    return cmocka_run_group_tests_name("report: a kit's picture", tests, NULL, NULL);
}
