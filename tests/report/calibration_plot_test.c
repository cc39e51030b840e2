/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The calibration's picture through a real gnuplot; a bench may be called anything. */
#include "../catalogue/support.h"

#include <math.h>

#include "catalogue/run.h"
#include "drawing.h"
#include "report/report.h"

#define HOSTILE "\"; system(\"touch MARK\") `touch MARK` @x %s {/Bold x}"

static void add(struct up_catalogue *catalogue, const char *bench, bool stairs) {
    struct up_failure failure = {0};
    struct up_calibration calibration = {
        .slope_counts_per_kg = 6e5,
        .u_slope_counts_per_kg = 3,
        .dof = 5,
        .mass_tolerance_rel = 5e-5,
        .hysteresis_kg = stairs ? 4e-4 : (double)NAN,
        .span_kg = 2,
        .points = 3,
        .point = {{1, 6e5, 20, 0.05, 0}, {2, 12e5, 25, -0.02, 0}, {-1, -6e5, 20, 0.1, 0}},
        .stairs = stairs ? 3 : 0,
        .stair = {{1, false, 6e5, 20, 0.2, (double)NAN},
                  {2, false, 12e5, 20, 0, (double)NAN},
                  {1, true, 6e5, 20, -0.2, -0.4}}};
    snprintf(calibration.bench, sizeof calibration.bench, "%s", bench);
    if (!up_calibration_add(catalogue, &calibration, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void assert_drawn(unsigned number) {
    char name[40];
    static const char *const endings[] = {"png", "svg"};
    for (size_t i = 0; i < 2; i++) {
        struct stat about;
        snprintf(name, sizeof name, "calibration-%u.%s", number, endings[i]);
        assert_int_equal(stat(name, &about), 0);
        assert_true(about.st_size > 2000);
    }
}

static bool is_drawn_in(const char *file, const char *words) {
    size_t room = 1 << 20;
    char *drawing = up_allocate(room, 1);
    FILE *stream = fopen(file, "rb");
    bool found;
    assert_non_null(stream);
    assert_true(fread(drawing, 1, room - 1, stream) > 0);
    fclose(stream);
    drawing_decode(drawing);
    found = strstr(drawing, words) != NULL;
    free(drawing);
    return found;
}

static void look_at(const char *name) {
    char why[400];
    if (!drawing_looks_right(name, why, sizeof why)) {
        fail_msg("%s: %s", name, why);
    }
}

/* Whatever the bench is called, its name is drawn as it is. Two calibrations of one millisecond
   stand in the order of their random ids. */
static void assert_title(const char *words) {
    assert_true(is_drawn_in("calibration-1.svg", words) || is_drawn_in("calibration-2.svg", words));
}

static void one_picture_a_bench_whatever_its_name(void **state) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    unsigned count = 9;
    (void)state;
    assert_true(up_plot_write_calibrations(catalogue, PLOTS_IN("."), &count, &failure));
    assert_int_equal(count, 0);
    add(catalogue, "plain", true);
    add(catalogue, HOSTILE, false);
    add(catalogue, "plain", false);
    assert_true(up_plot_write_calibrations(catalogue, PLOTS_IN("."), &count, &failure));
    assert_int_equal(count, 2);
    look_at("calibration-1");
    look_at("calibration-2");
    assert_drawn(1);
    assert_drawn(2);
    assert_title(">Calibration of " HOSTILE ", 2");
    assert_int_not_equal(access("MARK", F_OK), 0);
    up_catalogue_close(catalogue);
}

static char *title_in(const char *directory) {
    char *path = up_text_format("%s/calibration-1.gp", directory), *text, *title;
    size_t length;
    text = up_text_read_file(path, UP_LINKS_REFUSED, 1 << 20, &length, NULL);
    assert_non_null(text);
    title = up_text_format("%.*s", (int)strcspn(strstr(text, "title_words"), "\n"),
                           strstr(text, "title_words"));
    free(text);
    free(path);
    return title;
}

/* Nor does it take the place of ours. */
static void one_from_elsewhere_is_marked(void **state) {
    struct up_intake intake;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE),
                        *mine = open_as("mine", UP_CATALOGUE_CREATE);
    unsigned count = 0;
    (void)state;
    add(theirs, "plain", false);
    assert_true(up_catalogue_merge(mine, "theirs", false, &intake, NULL));
    assert_true(up_plot_write_calibrations(mine, PLOTS_IN("."), &count, NULL));
    char *marked = title_in(".");
    add(mine, "plain", true);
    add(theirs, "plain", false);
    assert_true(up_catalogue_merge(mine, "theirs", false, &intake, NULL));
    assert_true(up_plot_write_calibrations(mine, PLOTS_IN("."), &count, NULL));
    char *own = title_in(".");
    assert_non_null(strstr(marked, ", not adopted here: Good"));
    assert_non_null(strstr(own, ": Good"));
    assert_null(strstr(own, "adopted"));
    assert_null(strstr(own, "simulated"));
    free(marked);
    free(own);
    up_catalogue_close(theirs);
    up_catalogue_close(mine);
}

/* A guest's bench that was calibrated long ago comes after ours all the same. */
static void a_bench_of_here_keeps_its_file(void **state) {
    struct up_intake intake;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE),
                        *mine = open_as("mine", UP_CATALOGUE_CREATE);
    unsigned count = 0;
    (void)state;
    catalogue_clock_step_s = -86400;
    add(theirs, "guest", false);
    catalogue_clock_step_s = 0;
    add(mine, "plain", true);
    assert_true(up_catalogue_merge(mine, "theirs", false, &intake, NULL));
    assert_true(up_plot_write_calibrations(mine, PLOTS_IN("."), &count, NULL));
    assert_int_equal(count, 2);
    char *first = title_in(".");
    assert_non_null(strstr(first, "Calibration of plain"));
    free(first);
    up_catalogue_close(theirs);
    up_catalogue_close(mine);
}

/* By the bench's latest rig record, for a calibration has no mark of its own; one from before its
   text was private says it in the text. */
static void a_simulated_bench_is_marked(void **state) {
    static const char text[] = "[rig]\nid = plain\nsimulated = yes\n[port]\nkind = typed\n"
                               "[line]\nlayout = bare\nload_unit = kg\n"
                               "[sensor]\ncapacity_kg = 20\ndivision_counts = 0.01\n"
                               "[tank]\nballast_kg = 2\ndepth_m = 0.4\nwater = fresh\n";
    (void)state;
    for (int i = 0; i < 3; i++) {
        UP_FREED char *folder = up_text_format("s%d", i);
        struct up_catalogue *catalogue = open_as(folder, UP_CATALOGUE_CREATE);
        struct up_rig_version rig = {"plain", "a bench", "00", text, i == 0};
        char rig_id[UP_ID_SIZE];
        unsigned count = 0;
        json_auto_t *before = json_pack("{s:s, s:s, s:s, s:s}", "name", "a bench", "file_sha256",
                                        "00", "rig_sha256", "00", "file_text", text);
        add(catalogue, "plain", true);
        assert_true(
            i == 2 ? up_catalogue_add(catalogue, "rig", NULL, "plain", before, NULL, rig_id, NULL)
                   : up_rig_store(catalogue, &rig, rig_id, NULL));
        assert_true(up_plot_write_calibrations(catalogue, PLOTS_IN("."), &count, NULL));
        char *title = title_in(".");
        assert_int_equal(strstr(title, "simulated: Calibration of plain") != NULL, i != 1);
        free(title);
        up_catalogue_close(catalogue);
    }
}

/* A tenth and half of the neutral band, at the largest mass. */
static void the_title_holds_the_verdict(void **state) {
    static const struct {
        double lack_g;
        const char *verdict;
    } cases[] = {
        {0.5, ": Good"}, {5, ": Rough"}, {50, ": Not good enough to decide what is neutral"}};
    (void)state;
    for (size_t i = 0; i < ARRAY(cases); i++) {
        char *place = up_text_format("v%zu", i);
        struct up_catalogue *catalogue = open_as(place, UP_CATALOGUE_CREATE);
        struct up_calibration calibration = plain_calibration("plain", 6e5);
        unsigned count = 0;
        calibration.offset_counts = 0;
        calibration.lack_of_fit_kg = cases[i].lack_g * 1e-3;
        assert_true(up_calibration_add(catalogue, &calibration, NULL));
        assert_true(up_plot_write_calibrations(catalogue, PLOTS_IN("."), &count, NULL));
        char *title = title_in(".");
        if (strstr(title, cases[i].verdict) == NULL) {
            fail_msg("%s, not %s", title, cases[i].verdict);
        }
        free(title);
        free(place);
        up_catalogue_close(catalogue);
    }
}

/* 1 oz is 28.349523125 g: 2 kg are 70.5 oz, 0.4 g of hysteresis 0.014 oz. The data stay SI. */
static void pounds_and_ounces_where_they_are_asked_for(void **state) {
    struct up_catalogue *catalogue = open_as("i", UP_CATALOGUE_CREATE);
    const struct up_plots plots = {".", {.imperial = true}};
    unsigned count = 0;
    size_t length;
    (void)state;
    add(catalogue, "plain", true);
    assert_true(up_plot_write_calibrations(catalogue, &plots, &count, NULL));
    look_at("calibration-1");
    char *data = up_text_read_file("calibration-1.tsv", UP_LINKS_REFUSED, 1 << 20, &length, NULL);
    assert_non_null(strstr(data, "\n1\t2000\t-0.02\t"));
    assert_true(is_drawn_in("calibration-1.svg", ">mass in ounces   (negative"));
    assert_true(is_drawn_in("calibration-1.svg", ">reading less mass, in ounces"));
    assert_true(is_drawn_in("calibration-1.svg", "hysteresis 0.01 oz<"));
    assert_true(is_drawn_in("calibration-1.svg", "oz at 4 lb 6.55 oz (95 %)"));
    assert_true(is_drawn_in("calibration-1.svg", ">60<") &&
                !is_drawn_in("calibration-1.svg", ">100<"));
    free(data);
    up_catalogue_close(catalogue);
}

static void a_folder_that_is_not_there(void **state) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("d", UP_CATALOGUE_CREATE);
    unsigned count = 0;
    (void)state;
    add(catalogue, "plain", true);
    assert_false(up_plot_write_calibrations(catalogue, PLOTS_IN("no/such"), &count, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    up_catalogue_close(catalogue);
}

/* Readings that are all alike are known no better than steps of 10 g round them and their tare:
   2 * 10 g / sqrt(6) = 8.165 g; the first has 2 * 20 g of its own. */
static void a_coarse_scale_has_bars(void **state) {
    struct up_catalogue *catalogue = open_as("b", UP_CATALOGUE_CREATE);
    struct up_calibration calibration = {.bench = "coarse",
                                         .slope_counts_per_kg = 1,
                                         .u_slope_counts_per_kg = 1e-3,
                                         .dof = 5,
                                         .division_counts = 0.01,
                                         .hysteresis_kg = (double)NAN,
                                         .span_kg = 2,
                                         .points = 2,
                                         .point = {{1, 1, 0.02, 2, 0}, {2, 2, 0, -2, 0}}};
    unsigned count = 0;
    size_t length;
    (void)state;
    assert_true(up_calibration_add(catalogue, &calibration, NULL));
    assert_true(up_plot_write_calibrations(catalogue, PLOTS_IN("."), &count, NULL));
    char *data = up_text_read_file("calibration-1.tsv", UP_LINKS_REFUSED, 1 << 20, &length, NULL);
    assert_non_null(data);
    assert_non_null(strstr(data, "\n1\t1000\t2\t40\n1\t2000\t-2\t8.16496"));
    free(data);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(one_picture_a_bench_whatever_its_name),
        TEST(the_title_holds_the_verdict),
        TEST(a_folder_that_is_not_there),
        TEST(pounds_and_ounces_where_they_are_asked_for),
        TEST(one_from_elsewhere_is_marked),
        TEST(a_bench_of_here_keeps_its_file),
        TEST(a_simulated_bench_is_marked),
        TEST(a_coarse_scale_has_bars),
    };
    return cmocka_run_group_tests_name("report: calibration plot", tests, NULL, NULL);
}
