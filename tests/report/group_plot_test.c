/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Many items as few rows, the sizes of a model, and benches compared. */
#include "../catalogue/support.h"

#include "drawing.h"
#include "report/items.h"

#define HOSTILE "\"; system(\"touch MARK\") `touch MARK` @x %s {/Bold x}^2"

struct shelf {
    struct up_item *item;
    struct up_row *row;
    struct up_items items;
    struct up_rows rows;
};

/* Room for so many items with fresh and sea each; rows stand together. */
static struct shelf make_shelf(size_t room) {
    return (struct shelf){.item = up_allocate(room, sizeof(struct up_item)),
                          .row = up_allocate(2 * room, sizeof(struct up_row))};
}

static void add(struct shelf *shelf, const char *model, const char *size, int pieces,
                double fresh_g, const char *class) {
    size_t n = shelf->items.count++;
    struct up_item *item = &shelf->item[n];
    *item = plain_item(model);
    snprintf(item->id, sizeof item->id, "%08zu-item", n);
    snprintf(item->model, sizeof item->model, "%s", model);
    snprintf(item->size, sizeof item->size, "%s", size);
    item->pieces = pieces;
    for (int i = 0; i < 2; i++) {
        struct up_row *row = &shelf->row[shelf->rows.count++];
        *row = (struct up_row){.pieces = pieces,
                               .buoyancy_g = fresh_g + 30 * i,
                               .expanded_u_g = 2,
                               .stuck_air_g = 1,
                               .tolerance_g = 50,
                               .water_temp_c = 20,
                               .checked = UP_CHECKED_NOT};
        memcpy(row->item_id, item->id, sizeof row->item_id);
        snprintf(row->name, sizeof row->name, "%s", model);
        snprintf(row->water, sizeof row->water, "%s", i == 0 ? "fresh" : "sea");
        snprintf(row->class, sizeof row->class, "%s", class);
        snprintf(row->made_utc, sizeof row->made_utc, "2026-01-0%dT00:00:00.000Z", 1 + i);
    }
    shelf->items.item = shelf->item;
    shelf->rows.row = shelf->row;
}

static void clear(struct shelf *shelf) {
    free(shelf->item);
    free(shelf->row);
}

static const struct up_view view = {{"fresh", "sea"}, "models", true};

static char *read_text(const char *name) {
    size_t length;
    char *text = up_text_read_file(name, UP_LINKS_REFUSED, 1 << 22, &length, NULL);
    assert_non_null(text);
    return text;
}

static char *draw(const char *name, const struct up_look *look) {
    struct up_failure failure = {0};
    char why[400];
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    if (!up_plot_draw(".", name, look, &failure)) {
        fail_msg("%s", failure.text);
    }
    char *path = up_text_format("%s.svg", name), *svg = read_text(path);
    free(path);
    if (!drawing_is_laid_out(svg, why, sizeof why)) {
        fail_msg("%s: %s", name, why);
    }
    return svg;
}

static void draw_in_all_looks(const char *name) {
    char why[400];
    if (!drawing_looks_right(name, why, sizeof why)) {
        fail_msg("%s: %s", name, why);
    }
}

/* ---- groups ---- */

static void a_row_reaches_over_all_of_its_group(void **state) {
    (void)state;
    struct shelf shelf = make_shelf(8);
    struct up_rows groups;
    add(&shelf, "Tern", "L", 1, 100, "positive");
    add(&shelf, "Tern", "M", 1, 90, "positive");
    add(&shelf, "Tern", "S", 1, 10, "neutral");
    add(&shelf, "Tern", "S", 2, 400, "positive"); /* a pair is another thing */
    add(&shelf, "", "S", 1, -70, "negative");
    shelf.row[2].elsewhere = true;
    up_rows_group(&shelf.rows, &shelf.items, UP_GROUP_MODEL, &view, &groups);
    assert_int_equal(groups.count, 6);
    assert_string_equal(groups.row[0].name, "Tern, pair");
    assert_string_equal(groups.row[0].distinction, "1 item");
    const struct up_row *tern = &groups.row[2];
    assert_string_equal(tern->name, "Tern");
    assert_string_equal(tern->distinction, "3 items");
    assert_string_equal(tern->water, "fresh");
    assert_string_equal(tern->class, "undecided"); /* they differ */
    assert_true(tern->buoyancy_g == 90 && tern->elsewhere && tern->checked == UP_CHECKED_NOT);
    assert_true(tern->buoyancy_g + tern->expanded_u_g == 102);
    assert_true(tern->buoyancy_g - tern->expanded_u_g - tern->stuck_air_g == 7);
    assert_string_equal(groups.row[3].water, "sea");
    assert_string_equal(groups.row[4].name, "fin, no model named");
    assert_string_equal(groups.row[4].class, "negative");
    up_rows_release(&groups);
    /* What has no first water stands apart. */
    snprintf(shelf.row[0].water, sizeof shelf.row[0].water, "tank");
    up_rows_group(&shelf.rows, &shelf.items, UP_GROUP_KIND, &view, &groups);
    bool apart = false;
    for (size_t i = 0; i < groups.count; i++) {
        apart = apart || strcmp(groups.row[i].name, "fin, in the tank") == 0;
    }
    assert_true(apart);
    up_rows_release(&groups);
    clear(&shelf);
}

static void ten_thousand_items_are_a_few_rows(void **state) {
    (void)state;
    enum { ITEMS = 10000, MODELS = 50 };
    struct shelf shelf = make_shelf(ITEMS);
    struct up_rows groups;
    unsigned pages = 0;
    for (int i = 0; i < ITEMS; i++) {
        char *model = up_text_format("%s%d", i % MODELS == 7 ? HOSTILE : "Model ", i % MODELS);
        add(&shelf, model, "", 1, i % MODELS * 20 - 500 + i % 7, "positive");
        free(model);
    }
    up_rows_group(&shelf.rows, &shelf.items, UP_GROUP_MODEL, &view, &groups);
    assert_int_equal(groups.count, 2 * MODELS);
    assert_true(up_plot_write(&groups, &view, PLOTS_IN("."), &pages, NULL));
    assert_int_equal(pages, 2);
    char *script = read_text("items-2.gp");
    assert_non_null(strstr(script, "note_words = \"50 models · page 2 of 2"));
    assert_non_null(strstr(script, "items = 14\n"));
    free(script);
    draw_in_all_looks("items");
    char *svg = draw("items-2", NULL);
    assert_non_null(strstr(svg, "Model 0, 200 items<"));
    assert_non_null(strstr(svg, "from the lowest 95 % interval to the highest"));
    free(svg);
    assert_int_not_equal(access("MARK", F_OK), 0);
    up_rows_release(&groups);
    /* The next list is shorter: its pages alone stay. */
    shelf.rows.count = 6;
    write_all("items-notes.gp", "mine");
    assert_true(up_plot_write(&shelf.rows, NULL, PLOTS_IN("."), &pages, NULL));
    assert_int_equal(pages, 1);
    assert_true(access("items-2.gp", F_OK) != 0 && access("items-2.svg", F_OK) != 0);
    assert_int_equal(access("items-notes.gp", F_OK), 0);
    clear(&shelf);
}

/* ---- pages ---- */

static void a_page_holds_thirty_six_items(void **state) {
    (void)state;
    struct shelf shelf = make_shelf(40);
    unsigned pages = 0;
    static const double widths_g[] = {0.1, 40};
    for (int i = 0; i < 37; i++) {
        add(&shelf, i == 3 ? "\u6F5C\u6C34\u7528\u306E\u8DB3\u3072\u308C\u6F5C\u6C34\u7528" : "Fin",
            "L", 1, 90 - 5 * i, "undecided");
    }
    for (size_t i = 0; i < ARRAY(widths_g); i++) {
        for (size_t j = 0; j < shelf.rows.count; j++) {
            shelf.row[j].expanded_u_g = widths_g[i];
        }
        assert_true(up_plot_write(&shelf.rows, NULL, PLOTS_IN("."), &pages, NULL));
        assert_int_equal(pages, 2);
        draw_in_all_looks("items");
        char *svg = draw("items", NULL);
        assert_int_equal(drawing_lines(svg, "  0,  96, 160", 100), i == 0 ? 0 : 36); /* its bars */
        free(svg);
        free(draw("items-2", NULL));
    }
    clear(&shelf);
}

/* By name, one water or two; the other is not drawn. */
static void the_waters_are_those_asked_for(void **state) {
    (void)state;
    static const struct up_view sea = {{"sea", NULL}, "items", false};
    struct shelf shelf = make_shelf(2);
    unsigned pages = 0;
    add(&shelf, "Fin", "L", 1, 12, "neutral");
    assert_true(up_plot_write(&shelf.rows, &sea, PLOTS_IN("."), &pages, NULL));
    char *data = read_text("items.tsv"), *script = read_text("items.gp");
    assert_non_null(strstr(data, "\n1\t1\t42\t"));
    assert_null(strstr(data, "\t12\t"));
    assert_non_null(strstr(script, "water_word[1] = \"sea\"\n"));
    assert_non_null(strstr(script, "open_marks = \"\"\n"));
    free(data);
    free(script);
    char *svg = draw("items", NULL);
    assert_null(strstr(svg, "open marks"));
    free(svg);
    clear(&shelf);
}

/* ---- sizes ---- */

static void sizes_stand_in_their_order(void **state) {
    (void)state;
    struct shelf shelf = make_shelf(100);
    bool drawn = false;
    static const struct {
        const char *size;
        int pieces;
    } given[] = {{"XL", 1},  {"42-43", 1}, {"S", 1},     {"", 1},
                 {"9.5", 1}, {"S", 2},     {HOSTILE, 1}, {"l", 1}};
    for (size_t i = 0; i < ARRAY(given); i++) {
        add(&shelf, HOSTILE, given[i].size, given[i].pieces, 10 * (double)i, "neutral");
    }
    assert_true(up_plot_write_sizes(&shelf.rows, &shelf.items, &view, PLOTS_IN("."), &drawn, NULL));
    assert_true(drawn);
    char *script = read_text("sizes-00000000.gp"), *data = read_text("sizes-00000000.tsv");
    const char *at = strstr(script, "set xtics (");
    static const char *const order[] = {"\"S, 1 item\" 1",
                                        "\"S, pair, 1 item\" 2",
                                        "\"l, 1 item\" 3",
                                        "\"XL, 1 item\" 4",
                                        "\"9.5, 1 item\" 5",
                                        "\"42-43, 1 item\" 6",
                                        "\" 7",
                                        "\"not recorded, 1 item\" 8"};
    for (size_t i = 0; i < ARRAY(order); i++) {
        at = strstr(at, order[i]);
        if (at == NULL) {
            fail_msg("%s is not in its place", order[i]);
        }
    }
    assert_non_null(strstr(data, "\n1\t1\t20\t17\t22\t50\t2\n2\t1\t50\t47\t52\t50\t2\n"));
    free(script);
    free(data);
    draw_in_all_looks("sizes-00000000");
    assert_int_not_equal(access("MARK", F_OK), 0);
    clear(&shelf);
}

static void many_pieces_of_a_size_are_one_mark(void **state) {
    (void)state;
    struct shelf shelf = make_shelf(100);
    bool drawn = false;
    for (int i = 0; i < 99; i++) {
        add(&shelf, "Tern", i % 2 == 0 ? "S" : "L", 1, i, "neutral");
    }
    assert_true(up_plot_write_sizes(&shelf.rows, &shelf.items, &view, PLOTS_IN("."), &drawn, NULL));
    char *data = read_text("sizes-00000000.tsv"), *script = read_text("sizes-00000000.gp");
    assert_non_null(strstr(data, "\n1\t1\t48\t-3\t100\t50\t2\n")); /* 0 to 98 */
    assert_non_null(strstr(script, "\"S, 50 items\" 1"));
    free(data);
    free(script);
    shelf.items.count = 3;
    for (int i = 0; i < 3; i++) {
        shelf.item[i].size[0] = '\0';
    }
    assert_true(up_plot_write_sizes(&shelf.rows, &shelf.items, &view, PLOTS_IN("."), &drawn, NULL));
    assert_false(drawn);
    clear(&shelf);
}

/* ---- benches ---- */

static void weigh_on(struct up_catalogue *catalogue, const struct up_item *item, const char *bench,
                     double net_g) {
    struct up_result result = plain_result(item->id, "tank");
    result.answer.buoyancy_kg.value = net_g / 1e3;
    assert_true(up_results_add(catalogue, &result, 1, bench, NULL));
    catalogue_clock_step_s++;
}

static bool compare(struct up_catalogue *catalogue, struct up_item *item, size_t count) {
    struct up_failure failure = {0};
    struct up_items items = {.item = item, .count = count};
    bool drawn = false;
    if (!up_plot_write_benches(catalogue, &items, PLOTS_IN("."), &drawn, &failure)) {
        fail_msg("%s", failure.text);
    }
    return drawn;
}

static void benches_that_weighed_one_item_are_compared(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item[2] = {add_item(catalogue, HOSTILE), add_item(catalogue, "Other")};
    weigh_on(catalogue, &item[0], "club", 100);
    weigh_on(catalogue, &item[0], "club", 120); /* the newest */
    assert_false(compare(catalogue, item, 1));
    weigh_on(catalogue, &item[1], "shop", 300);
    assert_true(compare(catalogue, item, 2)); /* two pieces, a bench each */
    char *name = up_text_format("benches-%.8s", item[0].id), *gp = up_text_format("%s.gp", name),
         *tsv = up_text_format("%s.tsv", name);
    char *script = read_text(gp);
    assert_non_null(strstr(script, "no piece was weighed on two: pieces differ themselves"));
    free(script);
    weigh_on(catalogue, &item[0], HOSTILE, 111.5);
    assert_true(compare(catalogue, item, 2));
    script = read_text(gp);
    char *data = read_text(tsv);
    assert_non_null(strstr(script, "one item at most 8.5 g apart"));
    assert_non_null(strstr(data, "\n1\t120\t1.96\t0\t3\t0\n2\t111.5\t1.96\t0\t3\t0\n"));
    assert_null(strstr(data, "\n3\t")); /* nor the piece of one bench */
    free(script);
    free(data);
    draw_in_all_looks(name);
    char *svg = draw(name, NULL);
    assert_true(drawing_lines(svg, "  0,  96, 160", 50) >= 2);
    free(svg);
    assert_int_not_equal(access("MARK", F_OK), 0);
    free(name);
    free(gp);
    free(tsv);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_row_reaches_over_all_of_its_group),
        TEST(ten_thousand_items_are_a_few_rows),
        TEST(a_page_holds_thirty_six_items),
        TEST(the_waters_are_those_asked_for),
        TEST(sizes_stand_in_their_order),
        TEST(many_pieces_of_a_size_are_one_mark),
        TEST(benches_that_weighed_one_item_are_compared),
    };
    return cmocka_run_group_tests_name("report: pictures of many", tests, NULL, NULL);
}
