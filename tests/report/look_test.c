/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One look for all pictures: what is read has contrast on either ground, what cannot be drawn whole
   is not left half. */
#include "../catalogue/support.h"

#include <sys/resource.h>

#include <cairo.h>

#include "drawing.h"
#include "report/glyphs.h"
#include "report/report.h"

static void write_one(double net_g, const char *name) {
    struct up_row row = {.pieces = 1,
                         .buoyancy_g = net_g,
                         .expanded_u_g = 3,
                         .tolerance_g = 50,
                         .water_temp_c = 20,
                         .item_id = "x",
                         .water = "fresh",
                         .class = "positive"};
    struct up_rows rows = {.row = &row, .count = 1};
    unsigned pages;
    snprintf(row.name, sizeof row.name, "%s", name);
    assert_true(up_plot_write(&rows, NULL, PLOTS_IN("."), &pages, NULL));
}

static char *read_text(const char *name) {
    size_t length;
    char *text = up_text_read_file(name, UP_LINKS_REFUSED, 1 << 22, &length, NULL);
    assert_non_null(text);
    return text;
}

static void draw_if_there_is_gnuplot(const struct up_look *look) {
    struct up_failure failure = {0};
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    if (!up_plot_draw(".", "items", look, &failure)) {
        fail_msg("%s", failure.text);
    }
}

/* ---- contrast: WCAG 2.1, relative luminance ---- */

static double luminance(const char *hash) {
    static const double weight[] = {0.2126, 0.7152, 0.0722};
    double sum = 0;
    for (int i = 0; i < 3; i++) {
        char part[3] = {hash[1 + 2 * i], hash[2 + 2 * i], '\0'};
        double value = (double)strtol(part, NULL, 16) / 255;
        sum += weight[i] * (value <= 0.04045 ? value / 12.92 : pow((value + 0.055) / 1.055, 2.4));
    }
    return sum;
}

/* As the script says: name = dark ? "#......" : "#......". */
static double luminance_of(const char *script, const char *name, bool dark) {
    char *line = up_text_format("\n%s = dark ? \"", name);
    const char *at = strstr(script, line);
    assert_non_null(at);
    at += strlen(line);
    assert_true(at[0] == '#' && at[11 + 1] == '#');
    free(line);
    return luminance(dark ? at : at + 12);
}

static void assert_contrast(const char *script, const char *words, const char *on, bool dark) {
    double a = luminance_of(script, words, dark), b = luminance_of(script, on, dark);
    double contrast = (fmax(a, b) + 0.05) / (fmin(a, b) + 0.05);
    if (contrast < 4.5) {
        fail_msg("%s on %s: %.2f", words, on, contrast);
    }
}

static void words_have_contrast(void **state) {
    (void)state;
    static const char *const of_words[] = {"ink", "grey", "blue", "rust", "plum"};
    write_one(100, "Fin");
    char *script = read_text("items.gp");
    for (int dark = 0; dark < 2; dark++) {
        for (size_t i = 0; i < ARRAY(of_words); i++) {
            assert_contrast(script, of_words[i], "paper", dark);
        }
        assert_contrast(script, "ink", "band", dark);
        assert_contrast(script, "grey", "band", dark);
        /* In grey print two colours of lines are not told apart; the ground and a band are. */
        assert_true(luminance_of(script, "band", dark) != luminance_of(script, "paper", dark));
    }
    free(script);
}

static void ground_and_sheet_are_those_asked_for(void **state) {
    (void)state;
    write_one(100, "Fin");
    draw_if_there_is_gnuplot(&(struct up_look){.dark = true});
    char *dark = read_text("items.svg");
    assert_non_null(strstr(dark, "fill=\"#14181c\""));
    assert_int_not_equal(access("items.pdf", F_OK), 0);
    draw_if_there_is_gnuplot(&(struct up_look){.a4 = true});
    char *light = read_text("items.svg"), *script = read_text("items.gp");
    assert_non_null(strstr(light, "fill=\"#ffffff\""));
    assert_non_null(strstr(light, "viewBox=\"0 0 1760 1244\"")); /* lies: 29.7 to 21 */
    assert_int_equal(system("pdfinfo items.pdf 2>/dev/null | grep -q A4 || ! command -v pdfinfo "
                            ">/dev/null"),
                     0);
    assert_non_null(strstr(script, "{ ground = \"light\" }")); /* by hand it is as it always was */
    draw_if_there_is_gnuplot(NULL);
    assert_int_not_equal(access("items.pdf", F_OK), 0); /* it would show an earlier catalogue */
    free(dark);
    free(light);
    free(script);
}

/* "0" and "500" stand on their ticks, with a minus that is one. */
static void numbers_stand_on_their_ticks(void **state) {
    (void)state;
    write_one(-300, "Fin");
    draw_if_there_is_gnuplot(NULL);
    char *svg = read_text("items.svg");
    assert_non_null(strstr(svg, ">\u2212100<"));
    assert_non_null(strstr(svg, ">0<"));
    assert_null(strstr(svg, "> 0<"));
    assert_null(strstr(svg, ">-100<"));
    free(svg);
}

static void write_in(const struct up_style *style, const struct up_view *view, struct up_row *row) {
    const struct up_plots plots = {".", *style};
    struct up_rows rows = {.row = row, .count = 1};
    unsigned pages;
    assert_true(up_plot_write(&rows, view, &plots, &pages, NULL));
}

/* By hand, of 28.349523125 g: 100 g are 3.527 oz, 3 g 0.106, 50 g 1.764; 0.4 m are 1.31 ft. */
static void ounces_feet_and_fahrenheit_where_they_are_asked_for(void **state) {
    (void)state;
    const struct up_style imperial = {.imperial = true};
    struct up_row row = {.pieces = 1,
                         .buoyancy_g = -100,
                         .expanded_u_g = 3,
                         .stuck_air_g = 2,
                         .tolerance_g = 50,
                         .unusual = true,
                         .foam_depth_m = 0.4,
                         .water_temp_c = 20,
                         .item_id = "x",
                         .name = "Fin",
                         .water = "fresh",
                         .class = "negative"};
    char why[400];
    write_in(&imperial, NULL, &row);
    draw_if_there_is_gnuplot(NULL);
    if (!drawing_looks_right("items", why, sizeof why)) {
        fail_msg("%s", why);
    }
    char *svg = read_text("items.svg"), *data = read_text("items.tsv");
    assert_non_null(strstr(svg, ">net buoyancy in ounces:"));
    assert_non_null(strstr(svg, ">\u22123.53 +0.11 \u22120.18 oz<"));
    assert_non_null(strstr(svg, "neutral within 1.76 oz"));
    assert_non_null(strstr(svg, ", at 1.3 ft only<"));
    assert_non_null(strstr(svg, "fresh at 68.0 °F"));
    assert_null(strstr(svg, " g<"));
    assert_non_null(strstr(data, "\n1\t1\t-100\t3\t50\t"));
    free(svg);
    free(data);
    /* What shows in no hundredth of an ounce is not nothing. */
    row.buoyancy_g = 0.01;
    row.expanded_u_g = 0.1;
    row.stuck_air_g = 0;
    write_in(&imperial, NULL, &row);
    draw_if_there_is_gnuplot(NULL);
    svg = read_text("items.svg");
    assert_non_null(strstr(svg, ">+0.00 ± 0.004 oz<"));
    free(svg);
}

/* ---- characters that no font here has ---- */

/* The share of an image that is darker than half. */
static double dark_share(const char *png) {
    cairo_surface_t *image = cairo_image_surface_create_from_png(png);
    assert_int_equal(cairo_surface_status(image), CAIRO_STATUS_SUCCESS);
    int width = cairo_image_surface_get_width(image),
        height = cairo_image_surface_get_height(image);
    const unsigned char *data = cairo_image_surface_get_data(image);
    double dark = 0;
    for (int y = 0; y < height; y++) {
        const unsigned char *row = data + (ptrdiff_t)y * cairo_image_surface_get_stride(image);
        for (int x = 0; x < width; x++) {
            dark += row[4 * x + 1] < 128;
        }
    }
    cairo_surface_destroy(image);
    return dark / width / height;
}

/* gnuplot would draw it as a box over everything. */
static void what_no_font_has_covers_nothing(void **state) {
    (void)state;
    write_one(100, "Fin");
    draw_if_there_is_gnuplot(NULL);
    double usual = dark_share("items.png");
    write_one(100, "Fin \U0010FFF0");
    draw_if_there_is_gnuplot(NULL);
    assert_true(usual > 0.001 && dark_share("items.png") < 1.2 * usual);
    char *svg = read_text("items.svg"), *script = read_text("items.gp");
    assert_non_null(strstr(svg, "Fin \U0010FFF0")); /* who opens it may have the font */
    assert_non_null(strstr(script, "Fin \U0010FFF0"));
    free(svg);
    free(script);
    char *replaced = glyphs_replace_missing("a\u00E9 \U0010FFF0b");
    assert_non_null(replaced);
    assert_true(strcmp(replaced, "a\u00E9 \uFFFDb") == 0 || strcmp(replaced, "a\u00E9 ?b") == 0);
    assert_null(glyphs_replace_missing("a\u00E9b"));
    free(replaced);
}

/* A number beside a name from right to left stays where it is. */
static void a_name_from_right_to_left_is_isolated(void **state) {
    (void)state;
    const struct up_view view = {{"\u05D9\u05DD", NULL}, "items", false};
    struct up_row row = {.pieces = 1,
                         .buoyancy_g = 1,
                         .item_id = "x",
                         .name = "Fin",
                         .water = "\u05D9\u05DD",
                         .water_temp_c = 20,
                         .class = "neutral"};
    write_in(&(struct up_style){.imperial = false}, &view, &row);
    char *script = read_text("items.gp");
    assert_non_null(strstr(script, "\u2068\u05D9\u05DD\u2069 at 20.0 °C"));
    assert_null(strstr(script, "\uFFFD"));
    free(script);
    snprintf(row.water, sizeof row.water, "%s", "\u2069\u05D9\u2068"); /* none of its own */
    const struct up_view other = {{row.water, NULL}, "items", false};
    write_in(&(struct up_style){.imperial = false}, &other, &row);
    script = read_text("items.gp");
    assert_non_null(strstr(script, "\u2068\uFFFD\u05D9\uFFFD\u2069 at"));
    free(script);
}

/* ---- what the results are ---- */

static char *foot_of(const struct up_row *row, size_t count) {
    struct up_row copy[4];
    unsigned pages;
    memcpy(copy, row, count * sizeof *row);
    struct up_rows rows = {.row = copy, .count = count};
    assert_true(up_plot_write(&rows, NULL, PLOTS_IN("."), &pages, NULL));
    return read_text("items.gp");
}

static void what_a_result_is_stands_below(void **state) {
    (void)state;
    struct up_row row[2] = {{.item_id = "x", .pieces = 2, .water = "fresh", .class = "neutral"}};
    row[1] = row[0];
    snprintf(row[1].water, sizeof row[1].water, "sea");
    char *script = foot_of(row, 2);
    assert_non_null(strstr(script, "this pair, not the model"));
    assert_non_null(strstr(script, "calculated from what was measured in the tank"));
    assert_null(strstr(script, "SIMULATED"));
    assert_null(strstr(script, "quick weighings"));
    free(script);
    snprintf(row[1].item_id, sizeof row[1].item_id, "y");
    snprintf(row[1].water, sizeof row[1].water, "tank");
    row[1].measured = row[1].simulated = row[1].quick = true;
    script = foot_of(row, 2);
    assert_non_null(strstr(script, "SIMULATED: no gear was weighed"));
    assert_non_null(strstr(script, "Each number is of the piece or pair that was weighed"));
    assert_non_null(strstr(script, "tank: measured; other waters: calculated from it"));
    assert_non_null(strstr(script, "quick weighings among them"));
    free(script);
}

static void a_quick_weighing_is_known_by_its_record(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin");
    struct up_rows rows;
    for (int quick = 1; quick >= 0; quick--) {
        json_t *content =
            json_pack("{s:s, s:s, s:b}", "item_id", item.id, "water", "tank", "is_quick", quick);
        assert_true(
            up_catalogue_add(catalogue, "result", NULL, "bench", content, NULL, NULL, NULL));
        json_decref(content);
        catalogue_clock_step_s++;
        assert_true(up_rows_load(catalogue, &rows, NULL));
        assert_true(rows.count == 1 && rows.row[0].quick == (quick == 1));
        up_rows_release(&rows);
    }
    up_catalogue_close(catalogue);
}

/* ---- what goes wrong ---- */

static void a_machine_without_fonts_says_so(void **state) {
    (void)state;
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    write_one(100, "Fin");
    write_all("fonts.conf",
              "<?xml version=\"1.0\"?><fontconfig><dir>/nowhere</dir></fontconfig>\n");
    char here[200];
    assert_non_null(getcwd(here, sizeof here));
    char *file = up_text_format("%s/fonts.conf", here);
    int status = -1;
    pid_t child = fork(); /* pango has looked for its fonts here by now */
    if (child == 0) {
        setenv("FONTCONFIG_FILE", file, 1);
        execl("/proc/self/exe", "look_test", "without fonts", (char *)NULL);
        _exit(2);
    }
    free(file);
    assert_true(child > 0 && waitpid(child, &status, 0) == child);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    assert_int_not_equal(access("items.png", F_OK), 0);
}

static char *usual_path;

/* A gnuplot that ends well and has written only so much. */
static void make_gnuplot(const char *svg, const char *png) {
    char here[200];
    assert_non_null(getcwd(here, sizeof here));
    usual_path = up_text_format("%s", getenv("PATH"));
    char *bin = up_text_format("%s/bin", here);
    char *script =
        up_text_format("#!/bin/sh\ninto=$(echo \"$3\" | /bin/sed 's/^into = \"//; s/\".*$//')\n"
                       "printf '%s' >${into}items.svg; printf '%s' >${into}items.png\n",
                       svg, png);
    assert_int_equal(mkdir(bin, 0777), 0);
    write_all("bin/gnuplot", script);
    assert_int_equal(chmod("bin/gnuplot", 0755), 0);
    setenv("PATH", bin, 1);
    free(bin);
    free(script);
}

static void a_picture_that_was_cut_off_does_not_take_the_place(void **state) {
    (void)state;
    struct up_failure failure = {0};
    write_one(100, "Fin");
    write_all("items.svg", "of before");
    write_all("items.png", "of before");
    make_gnuplot("<svg>half of", "PNG IEND");
    bool good = up_plot_draw(".", "items", NULL, &failure);
    setenv("PATH", usual_path, 1);
    free(usual_path);
    assert_false(good);
    assert_says(&failure, UP_STATUS_UNABLE, "wrote only the beginning of items.svg");
    assert_says(&failure, UP_STATUS_UNABLE, "TMPDIR");
    char *svg = read_text("items.svg"), *png = read_text("items.png");
    assert_string_equal(svg, "of before");
    assert_string_equal(png, "of before"); /* nor one without the other */
    free(svg);
    free(png);
}

/* As on a full disk, which a limit on files is like. */
static bool draw_with_little_room(void) {
    struct up_failure failure = {0};
    struct rlimit little = {8192, 8192};
    signal(SIGXFSZ, SIG_IGN);
    return setrlimit(RLIMIT_FSIZE, &little) == 0 && !up_plot_draw(".", "items", NULL, &failure) &&
           failure.status == UP_STATUS_UNABLE;
}

static void without_room_nothing_is_left_half(void **state) {
    (void)state;
    int status = -1;
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    write_one(100, "Fin");
    pid_t child = fork();
    if (child == 0) {
        _exit(draw_with_little_room() ? 0 : 1);
    }
    assert_true(child > 0 && waitpid(child, &status, 0) == child);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    assert_int_not_equal(access("items.svg", F_OK), 0);
    assert_int_not_equal(access("items.png", F_OK), 0);
}

/* The process that has no font: it must say so, else each letter would be a box. */
static int draw_without_fonts(void) {
    struct up_failure failure = {0};
    return !up_plot_draw(".", "items", NULL, &failure) &&
                   strstr(failure.text, "this machine has no font") != NULL
               ? 0
               : 1;
}

int main(int count, char **words) {
    (void)words;
    if (count > 1) {
        return draw_without_fonts();
    }
    const struct CMUnitTest tests[] = {
        TEST(words_have_contrast),
        TEST(ground_and_sheet_are_those_asked_for),
        TEST(numbers_stand_on_their_ticks),
        TEST(ounces_feet_and_fahrenheit_where_they_are_asked_for),
        TEST(what_no_font_has_covers_nothing),
        TEST(a_name_from_right_to_left_is_isolated),
        TEST(what_a_result_is_stands_below),
        TEST(a_quick_weighing_is_known_by_its_record),
        TEST(a_machine_without_fonts_says_so),
        TEST(a_picture_that_was_cut_off_does_not_take_the_place),
        TEST(without_room_nothing_is_left_half),
    };
    return cmocka_run_group_tests_name("report: the look of pictures", tests, NULL, NULL);
}
