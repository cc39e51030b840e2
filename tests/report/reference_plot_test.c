/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The control chart's picture through a real gnuplot; body and bench may be called anything. */
#include "../catalogue/support.h"

#include "drawing.h"
#include "report/report.h"

#define HOSTILE "\"; system(\"touch MARK\") `touch MARK` @x"

static struct up_reference add_body(struct up_catalogue *catalogue, const char *name) {
    struct up_reference body = {.mass_kg = up_known(1, 1e-5), .volume_m3 = up_known(1.25e-4, 1e-8)};
    snprintf(body.name, sizeof body.name, "%s", name);
    assert_true(up_reference_add(catalogue, &body, NULL));
    return body;
}

static void add_check(struct up_catalogue *catalogue, const struct up_reference *body,
                      const char *bench, double deviation_g, double limit_g) {
    struct up_failure failure = {0};
    char run_id[UP_ID_SIZE];
    struct up_reference_check check = {.water_kg_m3 = 1000,
                                       .expected_kg =
                                           body->mass_kg.value - 1000 * body->volume_m3.value,
                                       .deviation_kg = up_known(deviation_g * 1e-3, 2e-4),
                                       .low_kg = -limit_g * 1e-3,
                                       .high_kg = limit_g * 1e-3};
    check.outside = !(fabs(deviation_g) <= limit_g);
    check.confirmed = check.outside;
    memcpy(check.id, body->id, sizeof check.id);
    up_new_id(run_id);
    catalogue_clock_step_s++; /* checks of one millisecond have no order */
    if (!up_check_add(catalogue, &check, run_id, bench, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static const double off_g[] = {0.12, -0.18, 0.31, 0.05, -0.22, 0.17,
                               1.9,  0.02,  -0.3, 0.21, 0.08,  -0.15};

static void fill(struct up_catalogue *catalogue, const struct up_reference *body,
                 const char *bench) {
    for (size_t i = 0; i < ARRAY(off_g); i++) {
        add_check(catalogue, body, bench, off_g[i], i < 9 ? 0.4 : 0.75);
    }
}

static char *read_drawing(const char *file) {
    size_t room = 1 << 20;
    char *drawing = up_allocate(room, 1);
    FILE *stream = fopen(file, "rb");
    assert_non_null(stream);
    assert_true(fread(drawing, 1, room - 1, stream) > 0);
    fclose(stream);
    return drawing;
}

static void assert_drawn(unsigned number, const char *title) {
    char name[40];
    struct stat about;
    snprintf(name, sizeof name, "reference-%u.png", number);
    assert_true(stat(name, &about) == 0 && about.st_size > 2000);
    snprintf(name, sizeof name, "reference-%u.svg", number);
    char *drawing = read_drawing(name);
    drawing_decode(drawing);
    if (!drawing_has_text(drawing, title)) {
        fail_msg("%s lacks the title %s", name, title);
    }
    free(drawing);
}

static void look_at(const char *name) {
    char why[400];
    if (!drawing_looks_right(name, why, sizeof why)) {
        fail_msg("%s: %s", name, why);
    }
}

static void one_chart_a_body_and_bench_whatever_their_names(void **state) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    unsigned count = 9;
    (void)state;
    struct up_reference plain = add_body(catalogue, "Steel");
    catalogue_clock_step_s = 1;
    struct up_reference hostile = add_body(catalogue, HOSTILE);
    assert_true(up_plot_write_references(catalogue, PLOTS_IN("."), &count, &failure));
    assert_int_equal(count, 0);
    fill(catalogue, &plain, "one");
    add_check(catalogue, &plain, HOSTILE, 0.1, 0.4);
    add_check(catalogue, &hostile, "one", (double)NAN, (double)NAN);
    add_check(catalogue, &hostile, "one", 0.3, 0.4);
    assert_true(up_plot_write_references(catalogue, PLOTS_IN("."), &count, &failure));
    assert_int_equal(count, 3);
    look_at("reference-1");
    look_at("reference-2");
    look_at("reference-3");
    assert_drawn(1, "Steel on one: 12 checks, 1 outside");
    assert_drawn(2, "Steel on " HOSTILE ": 1 check, 0 outside");
    assert_drawn(3, HOSTILE " on one: 2 checks, 1 outside");
    assert_int_not_equal(access("MARK", F_OK), 0);
    up_catalogue_close(catalogue);
}

/* A body and a check that came from elsewhere are marked, and judged by nobody here. */
static void what_is_of_elsewhere_is_drawn_apart(void **state) {
    (void)state;
    unsigned count = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference body = add_body(catalogue, "Steel");
    add_check(catalogue, &body, "one", 0.1, 0.4);
    add_check(catalogue, &body, "one", 900, 0.4); /* outside, they say */
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record"
                             " WHERE body LIKE '%\"deviation_g\":900%') OR record_id IN"
                             " (SELECT id FROM record WHERE kind = 'reference')");
    assert_true(up_plot_write_references(catalogue, PLOTS_IN("."), &count, NULL));
    look_at("reference-1");
    assert_drawn(1, "Steel  < on one: 1 check, 0 outside");
    char *data = read_drawing("reference-1.tsv"), *script = read_drawing("reference-1.gp");
    assert_non_null(strstr(data, "\n6\t2\t900"));
    assert_null(strstr(data, "\n4\t"));
    assert_null(strstr(data, "\n0\t2.5")); /* nor what they held it against */
    assert_non_null(strstr(script, "\"< came from elsewhere, by import or merge\""));
    free(script);
    free(data);
    up_catalogue_close(catalogue);
}

/* A guest's check on a bench of theirs, older than ours: its chart comes after. */
static void a_chart_of_here_keeps_its_file(void **state) {
    (void)state;
    unsigned count = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference body = add_body(catalogue, "Steel");
    add_check(catalogue, &body, "theirs", 900, 0.4);
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN (SELECT id FROM record"
                             " WHERE kind = 'reference_check')");
    add_check(catalogue, &body, "ours", 0.1, 0.4);
    assert_true(up_plot_write_references(catalogue, PLOTS_IN("."), &count, NULL));
    assert_int_equal(count, 2);
    char *script = read_drawing("reference-1.gp");
    assert_non_null(strstr(script, "on ours"));
    free(script);
    up_catalogue_close(catalogue);
}

/* 1.9 g, the farthest, is 0.067 oz; 0.75 g 0.026 oz. */
static void ounces_where_they_are_asked_for(void **state) {
    (void)state;
    unsigned count = 0;
    const struct up_plots plots = {".", {.imperial = true}};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_reference body = add_body(catalogue, "Steel");
    fill(catalogue, &body, "one");
    assert_true(up_plot_write_references(catalogue, &plots, &count, NULL));
    look_at("reference-1");
    char *svg = read_drawing("reference-1.svg"), *data = read_drawing("reference-1.tsv");
    drawing_decode(svg);
    assert_non_null(strstr(svg, ">reads too heavy by, in ounces"));
    assert_non_null(strstr(svg, ">0.06<"));
    assert_null(strstr(svg, ">0.5<"));
    assert_non_null(strstr(data, "\n4\t7\t1.9\t"));
    free(svg);
    free(data);
    up_catalogue_close(catalogue);
}

/* The numbers that are drawn: twelve points, the seventh outside and not in the limits. */
static void the_data_are_those_of_the_checks(void **state) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    unsigned count = 0;
    int kinds[6] = {0};
    char line[200];
    double low_g = (double)NAN, high_g = (double)NAN;
    (void)state;
    struct up_reference body = add_body(catalogue, "Steel");
    struct up_chart chart;
    fill(catalogue, &body, "one");
    assert_true(up_plot_write_references(catalogue, PLOTS_IN("."), &count, &failure));
    assert_true(up_reference_chart(catalogue, body.id, "one", &chart, &failure));
    FILE *data = fopen("reference-1.tsv", "r");
    assert_non_null(data);
    while (fgets(line, sizeof line, data) != NULL) {
        int kind;
        double check, a, b;
        if (sscanf(line, "%d %lf %lf %lf", &kind, &check, &a, &b) != 4) {
            assert_int_equal(line[0], '#');
            continue;
        }
        assert_true(kind >= 0 && kind < 6);
        kinds[kind]++;
        if (kind == 1) {
            low_g = a;
            high_g = b;
        } else if (kind > 2) {
            assert_true(fabs(a - off_g[(size_t)check - 1]) < 1e-9 && fabs(b - 0.4) < 1e-9);
            assert_true((kind == 4) == (check == 7));
        }
    }
    fclose(data);
    assert_int_equal(kinds[0], 24);
    assert_true(kinds[1] == 2 && kinds[2] == 2);
    assert_true(kinds[3] == 11 && kinds[4] == 1 && kinds[5] == 0);
    assert_true(chart.has_limits && chart.count == 11);
    assert_true(fabs(low_g - chart.low * 1e3) < 1e-9 && fabs(high_g - chart.high * 1e3) < 1e-9);
    up_catalogue_close(catalogue);
}

static void a_folder_that_is_not_there(void **state) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("d", UP_CATALOGUE_CREATE);
    unsigned count = 0;
    (void)state;
    struct up_reference body = add_body(catalogue, "Steel");
    add_check(catalogue, &body, "one", 0.1, 0.4);
    assert_false(up_plot_write_references(catalogue, PLOTS_IN("no/such"), &count, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(one_chart_a_body_and_bench_whatever_their_names),
        TEST(what_is_of_elsewhere_is_drawn_apart),
        TEST(a_chart_of_here_keeps_its_file),
        TEST(ounces_where_they_are_asked_for),
        TEST(the_data_are_those_of_the_checks),
        TEST(a_folder_that_is_not_there),
    };
    return cmocka_run_group_tests_name("report: control chart plot", tests, NULL, NULL);
}
