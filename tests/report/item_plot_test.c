/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pictures of one item: the numbers drawn are those that its record gives, by hand. */
#include "../catalogue/support.h"

#include "drawing.h"
#include "report/report.h"

/* 1.6 L and 1.6 kg: 2.9 g down in water of 998.2 kg/m3, 1.6 g up for each kg/m3 more. */
static const double VOLUME_M3 = 1.6e-3, MASS_KG = 1.6, AIR_KG_M3 = 1.2, WATER_KG_M3 = 998.2,
                    COUNTS_PER_KG = 1e6;

static double net_kg(double density_kg_m3) {
    return density_kg_m3 * VOLUME_M3 - MASS_KG;
}

static struct up_term term(double value, double u) {
    return (struct up_term){value, u, (double)INFINITY, UP_NORMAL, 'B', 0, 0};
}

/* Rigid, weighed with u of 1 g. */
static struct up_result result_of(const char *item_id, bool in_air) {
    struct up_result result = plain_result(item_id, "tank");
    struct up_weighing *weighing = &result.weighing;
    double k = 1 - AIR_KG_M3 / UP_MASS_DENSITY_KG_M3;
    for (int i = 0; i < UP_INPUT_COUNT; i++) {
        weighing->term[i] = term(0, 0);
    }
    weighing->term[UP_INPUT_WATER_LOAD] = (struct up_term){
        -net_kg(WATER_KG_M3) / k * COUNTS_PER_KG, 1000, (double)INFINITY, UP_NORMAL, 'A', 0, 0};
    weighing->term[UP_INPUT_AIR_LOAD] =
        term((MASS_KG - AIR_KG_M3 * VOLUME_M3) / k * COUNTS_PER_KG, in_air ? 10 : 0);
    weighing->term[UP_INPUT_SLOPE] = term(COUNTS_PER_KG, 0);
    weighing->term[UP_INPUT_AIR_DENSITY] = term(AIR_KG_M3, 0);
    weighing->term[UP_INPUT_WATER_DENSITY] = term(WATER_KG_M3, 0);
    weighing->weighed_in_air = in_air;
    weighing->calibration_air_kg_m3 = AIR_KG_M3;
    weighing->tank_temp_c = weighing->target_temp_c = 15;
    weighing->in_tank = true;
    result.question.air_share_known = true;
    result.question.confidence = 0.95;
    result.question.tolerance_kg = 0.02;
    result.has_model = true;
    result.compressible = false;
    result.water_density_kg_m3.value = WATER_KG_M3;
    assert_true(up_weigh(weighing, &result.question, &result.answer));
    return result;
}

static struct up_item keep(struct up_catalogue *catalogue, const char *name, enum up_holds_gas gas,
                           bool in_air, const char *bench) {
    struct up_item item = plain_item(name);
    item.holds_gas = gas;
    item.tolerance_g = 20;
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_result result = result_of(item.id, in_air);
    assert_true(up_results_add(catalogue, &result, 1, bench, NULL));
    for (int i = 0; i < 4; i++) {
        json_t *trial = json_pack("{s:s, s:s, s:i, s:f, s:f}", "run_id", result.run_id, "item_id",
                                  item.id, "number", i + 1, "load_counts",
                                  result.weighing.term[UP_INPUT_WATER_LOAD].value + 1000.0 * i,
                                  "u_plateau_counts", 250.0);
        assert_true(up_catalogue_add(catalogue, "trial", NULL, bench, trial, NULL, NULL, NULL));
        catalogue_clock_step_s++;
        json_decref(trial);
    }
    return item;
}

static char *read_made(const char *kind, const struct up_item *item, const char *ending) {
    size_t length;
    char *name = up_text_format("%s-%.8s.%s", kind, item->id, ending);
    char *text = up_text_read_file(name, UP_LINKS_REFUSED, 1 << 22, &length, NULL);
    assert_non_null(text);
    free(name);
    return text;
}

static void write_of(struct up_catalogue *catalogue, const struct up_item *item) {
    struct up_failure failure = {0};
    struct up_rows rows;
    assert_true(up_rows_load(catalogue, &rows, &failure));
    if (!up_plot_write_item(catalogue, &rows, item, NULL, PLOTS_IN("."), &failure)) {
        fail_msg("%s", failure.text);
    }
    up_rows_release(&rows);
}

/* Draws one, light and for the screen, and looks at it. */
static char *draw(const char *kind, const struct up_item *item, const struct up_look *look) {
    struct up_failure failure = {0};
    char why[400];
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    char *name = up_text_format("%s-%.8s", kind, item->id);
    if (!up_plot_draw(".", name, look, &failure)) {
        fail_msg("%s", failure.text);
    }
    char *svg = read_made(kind, item, "svg");
    if (!drawing_is_laid_out(svg, why, sizeof why)) {
        fail_msg("%s: %s", name, why);
    }
    free(name);
    return svg;
}

static void look_at_all(const struct up_item *item) {
    static const struct up_look looks[] = {{false, false}, {true, false}, {false, true}};
    static const char *const kinds[] = {"waters", "trials", "shares"};
    for (size_t i = 0; i < ARRAY(kinds); i++) {
        for (size_t j = 0; j < ARRAY(looks); j++) {
            char *svg = draw(kinds[i], item, &looks[j]);
            assert_non_null(strstr(svg, ">A weight check in the water decides.<"));
            free(svg);
        }
    }
}

/* The n-th row of a kind. */
static void find_row(const char *data, int kind, int n, double number[4]) {
    for (const char *at = data; (at = strchr(at, '\n')) != NULL; at++) {
        if (at[1] == '0' + kind && at[2] == '\t' && n-- == 0) {
            assert_true(sscanf(at + 3, "%lf\t%lf\t%lf\t%lf", &number[0], &number[1], &number[2],
                               &number[3]) >= 3);
            return;
        }
    }
    fail_msg("no such row of kind %d", kind);
}

static void the_line_is_that_of_the_volume(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = keep(catalogue, "Fin", UP_GAS_NO, true, "bench");
    double at[4], band[4], tank[4], change[4];
    write_of(catalogue, &item);
    char *data = read_made("waters", &item, "tsv"), *script = read_made("waters", &item, "gp");
    for (int i = 0; i < 33; i += 16) {
        find_row(data, 1, i, at);
        find_row(data, 0, i, band);
        /* the expansion, 0.00045 a kelvin, is that of 0 K */
        assert_true(fabs(at[1] - net_kg(at[0]) * 1e3) < 0.01);
        assert_true(fabs(band[2] - at[1] - 1.96) < 0.1 && fabs(at[1] - band[1] - 1.96) < 0.1);
    }
    assert_true(at[0] > 1030 && at[0] < 1031); /* the saltiest sea */
    find_row(data, 2, 0, tank);
    assert_true(tank[0] == WATER_KG_M3 && fabs(tank[1] - net_kg(WATER_KG_M3) * 1e3) < 0.01);
    /* 20 g less and more 1.645 u: stated with 95 % to one side. */
    find_row(data, 3, 0, change);
    assert_true(fabs(net_kg(change[0]) * 1e3 - 20 + 1.645) < 0.1);
    find_row(data, 3, 1, change);
    assert_true(fabs(net_kg(change[0]) * 1e3 - 20 - 1.645) < 0.1);
    assert_non_null(strstr(script, "note_words = \"neutral, undecided from 1011.5 kg/m³, positive "
                                   "from 1013.5 kg/m³\""));
    assert_non_null(strstr(script, "tank: measured; other waters: calculated from it"));
    assert_non_null(strstr(script, "this one piece, not the model"));
    assert_non_null(strstr(script, "unchecked: no reference body"));
    free(data);
    free(script);
    look_at_all(&item);
    char *svg = draw("waters", &item, NULL);
    assert_int_equal(drawing_lines(svg, "176,  72,   0", 100), 2); /* another class from here */
    assert_true(drawing_lines(svg, " 32,  32,  32", 2) > 10);
    free(svg);
    up_catalogue_close(catalogue);
}

/* By hand: 20 g are 0.71 oz, 15 C 59 F, 1000 kg/m3 62.43 lb/ft3. */
static void ounces_and_pounds_where_they_are_asked_for(void **state) {
    (void)state;
    const struct up_plots plots = {".", {.imperial = true}};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = keep(catalogue, "Fin", UP_GAS_NO, true, "bench");
    struct up_rows rows;
    assert_true(up_rows_load(catalogue, &rows, NULL));
    assert_true(up_plot_write_item(catalogue, &rows, &item, NULL, &plots, NULL));
    up_rows_release(&rows);
    look_at_all(&item);
    char *waters = draw("waters", &item, NULL), *trials = draw("trials", &item, NULL),
         *shares = draw("shares", &item, NULL), *data = read_made("waters", &item, "tsv");
    assert_non_null(strstr(waters, ">density of the water in lb/ft³, all at 59.0 °F<"));
    assert_non_null(strstr(waters, ">62.5<"));
    assert_non_null(strstr(waters, ">neutral within 0.71 oz<"));
    assert_non_null(strstr(waters, ">neutral, undecided from 63.15 lb/ft³, positive from 63.27 "));
    assert_int_equal(drawing_lines(waters, "176,  72,   0", 100), 2);
    assert_non_null(strstr(trials, ">net buoyancy in ounces   (+ floats)<"));
    assert_non_null(strstr(trials, "they scatter by 0.08 oz"));      /* 2.2 g */
    assert_non_null(strstr(shares, "standard uncertainty 0.04 oz")); /* 1 g */
    assert_non_null(strstr(shares, ",  0.035 oz<"));
    assert_non_null(strstr(data, "\n2\t998.2\t"));
    free(waters);
    free(trials);
    free(shares);
    free(data);
    up_catalogue_close(catalogue);
}

static void without_a_volume_the_tank_is_drawn_alone(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item dry = keep(catalogue, "Never dry", UP_GAS_NO, false, "bench"),
                   foam = keep(catalogue, "Foam", UP_GAS_YES, true, "bench");
    write_of(catalogue, &dry);
    write_of(catalogue, &foam);
    const struct {
        const struct up_item *item;
        const char *note;
    } cases[] = {
        {&dry, "the tank's water only: it was not weighed in air, so its volume is unknown"},
        {&foam, "the tank's water only: it holds gas, which the water squeezes"}};
    for (size_t i = 0; i < ARRAY(cases); i++) {
        char *data = read_made("waters", cases[i].item, "tsv");
        char *script = read_made("waters", cases[i].item, "gp");
        assert_null(strstr(data, "\n1\t"));
        assert_non_null(strstr(data, "\n2\t998.2"));
        assert_non_null(strstr(script, cases[i].note));
        assert_non_null(strstr(script, "\"measured in the tank"));
        assert_null(strstr(script, "calculated from it"));
        free(data);
        free(script);
        look_at_all(cases[i].item);
    }
    up_catalogue_close(catalogue);
}

/* Each trial has the corrections of the result: three grams lower from the first to the last. */
/* What the line is drawn from has none of a quick weighing's bounds: it would be too sure. */
static void a_quick_one_is_drawn_in_the_tank_alone(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("Quick");
    item.holds_gas = UP_GAS_NO;
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_result result = result_of(item.id, true);
    result.quick.is = true;
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    write_of(catalogue, &item);
    char *data = read_made("waters", &item, "tsv"), *script = read_made("waters", &item, "gp");
    assert_null(strstr(data, "\n1\t"));
    assert_non_null(strstr(data, "\n2\t998.2"));
    assert_non_null(strstr(script, "the tank's water only: it was weighed quickly"));
    free(data);
    free(script);
    up_catalogue_close(catalogue);
}

static void trials_lie_about_their_result(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item =
        keep(catalogue, "\"; system(\"touch MARK\") # {/Bold x}", UP_GAS_NO, true, "`touch MARK`");
    double number[4], result_g = net_kg(WATER_KG_M3) * 1e3;
    write_of(catalogue, &item);
    char *data = read_made("trials", &item, "tsv"), *script = read_made("trials", &item, "gp");
    for (int i = 0; i < 4; i++) {
        find_row(data, 2, i, number);
        assert_true(fabs(number[1] - (result_g - i)) < 0.001 && fabs(number[2] - 0.5) < 0.001);
    }
    find_row(data, 0, 0, number);
    assert_true(fabs(number[2] - result_g - 1.96) < 0.1);
    assert_null(strstr(data, "\n4\t")); /* no limit is near */
    assert_non_null(strstr(script, "4 trials; they scatter by 2.2 g"));
    free(data);
    free(script);
    look_at_all(&item);
    char *svg = draw("trials", &item, NULL);
    assert_true(drawing_lines(svg, " 32,  32,  32", 20) >= 4); /* bars of a gram */
    free(svg);
    assert_int_not_equal(access("MARK", F_OK), 0);
    up_catalogue_close(catalogue);
}

static void shares_stand_by_their_size(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = keep(catalogue, "Fin", UP_GAS_NO, true, "bench");
    write_of(catalogue, &item);
    char *data = read_made("shares", &item, "tsv"), *script = read_made("shares", &item, "gp");
    double number[4];
    find_row(data, 1, 0, number);
    assert_true(number[0] == 0 && fabs(number[1] - 100) < 0.1 && fabs(number[2] - 1) < 0.001);
    assert_non_null(strstr(script, "\"repeatability in water\" 1"));
    assert_non_null(strstr(script, "standard uncertainty 1 g"));
    free(data);
    free(script);
    up_catalogue_close(catalogue);
}

static void an_item_without_result_is_told(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Bare");
    struct up_failure failure = {0};
    struct up_rows rows;
    assert_true(up_rows_load(catalogue, &rows, &failure));
    assert_false(up_plot_write_item(catalogue, &rows, &item, NULL, PLOTS_IN("."), &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "\"Bare\" has no result to draw in the water");
    item = keep(catalogue, "Fin", UP_GAS_NO, true, "bench");
    up_rows_release(&rows);
    assert_true(up_rows_load(catalogue, &rows, &failure));
    assert_false(up_plot_write_item(catalogue, &rows, &item, "lake", PLOTS_IN("."), &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "\"lake\"");
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(the_line_is_that_of_the_volume),
        TEST(without_a_volume_the_tank_is_drawn_alone),
        TEST(trials_lie_about_their_result),
        TEST(shares_stand_by_their_size),
        TEST(an_item_without_result_is_told),
        TEST(a_quick_one_is_drawn_in_the_tank_alone),
        TEST(ounces_and_pounds_where_they_are_asked_for),
    };
    return cmocka_run_group_tests_name("report: pictures of an item", tests, NULL, NULL);
}
