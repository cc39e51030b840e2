/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which items a list shows, in which order, and how those of one name are distinguished. */
#include "../catalogue/support.h"

#include "report/items.h"

static struct up_item add_as(struct up_catalogue *catalogue, const char *name, const char *size,
                             const char *maker) {
    struct up_item item = plain_item(name);
    snprintf(item.size, sizeof item.size, "%s", size);
    snprintf(item.maker, sizeof item.maker, "%s", maker);
    snprintf(item.model, sizeof item.model, "%s", "");
    assert_true(up_item_add(catalogue, &item, NULL));
    catalogue_clock_step_s++;
    return item;
}

static void add_result_of(struct up_catalogue *catalogue, const struct up_item *item,
                          const char *water, double buoyancy_g, enum up_class class,
                          const char *bench) {
    struct up_result result = plain_result(item->id, water);
    result.answer.buoyancy_kg.value = buoyancy_g / 1e3;
    result.answer.class = class;
    assert_true(up_results_add(catalogue, &result, 1, bench, NULL));
    catalogue_clock_step_s++;
}

/* The sizes of those listed, in their order. */
static void assert_listed(struct up_catalogue *catalogue, const struct up_choice *choice,
                          const char *wanted) {
    struct up_rows rows;
    struct up_items items;
    char sizes[40] = "";
    assert_true(up_rows_load(catalogue, &rows, NULL));
    assert_true(up_items_load(catalogue, &rows, choice, &items, NULL));
    for (size_t i = 0; i < items.count; i++) {
        size_t length = strlen(sizes);
        snprintf(sizes + length, sizeof sizes - length, "%.1s", items.item[i].size);
    }
    up_items_release(&items);
    up_rows_release(&rows);
    assert_string_equal(sizes, wanted);
}

/* Three items, known by their sizes A, B and C. */
static struct up_catalogue *three(void) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item a = add_as(catalogue, "Zebra fin", "A", "Tern"),
                   b = add_as(catalogue, "\u00C9cole FIN", "B", "Auk"),
                   c = add_as(catalogue, "hood", "C", "tern");
    snprintf(c.kind, sizeof c.kind, "hood");
    snprintf(c.note, sizeof c.note, "new strap");
    assert_true(up_item_add(catalogue, &c, NULL));
    add_result_of(catalogue, &b, "sea", -80, UP_CLASS_NEGATIVE, "bench two");
    add_result_of(catalogue, &a, "tank", 10, UP_CLASS_NEUTRAL, "bench one");
    add_result_of(catalogue, &a, "sea", 90, UP_CLASS_POSITIVE, "bench one");
    return catalogue;
}

static void a_choice_leaves_out_what_does_not_fit(void **state) {
    (void)state;
    static const char *const sea[] = {"sea"}, *const tank[] = {"tank"}, *const fin[] = {"fin"},
                             *const both[] = {"STRAP", "hoo"}, *const accent[] = {"\u00E9COLE"};
    static const struct {
        struct up_choice choice;
        const char *wanted;
    } cases[] = {
        {{.kind = NULL}, "ABC"},
        {{.kind = "Hood"}, "C"},
        {{.maker = "TERN"}, "AC"},
        {{.maker = "ter"}, ""}, /* whole */
        {{.size = "b"}, "B"},
        {{.model = "x"}, ""},
        {{.class = "positive"}, "A"},
        {{.class = "positive", .waters = tank, .water_count = 1}, ""}, /* it is so in the sea */
        {{.waters = sea, .water_count = 1}, "AB"},
        {{.waters = tank, .water_count = 1}, "A"},
        {{.bench = "bench two"}, "B"},
        {{.bench = "bench two", .class = "positive"}, ""},
        {{.text = fin, .texts = 1}, "AB"},
        {{.text = both, .texts = 2}, "C"},
        {{.text = accent, .texts = 1}, "B"},
        {{.sort = "name"}, "CAB"},
        {{.sort = "maker"}, "BAC"},
        {{.sort = "size"}, "ABC"},
        {{.sort = "up"}, "ABC"},
        {{.sort = "newest"}, "ABC"},
    };
    struct up_catalogue *catalogue = three();
    for (size_t i = 0; i < ARRAY(cases); i++) {
        assert_listed(catalogue, &cases[i].choice, cases[i].wanted);
    }
    up_catalogue_close(catalogue);
}

static void orders_follow_results(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item a = add_as(catalogue, "a", "A", ""), b = add_as(catalogue, "b", "B", "");
    add_as(catalogue, "c", "C", "");
    add_result_of(catalogue, &a, "tank", -5, UP_CLASS_NEUTRAL, "bench");
    add_result_of(catalogue, &b, "tank", 5, UP_CLASS_NEUTRAL, "bench");
    assert_listed(catalogue, &(struct up_choice){.sort = "up"}, "BAC");
    assert_listed(catalogue, &(struct up_choice){.sort = "newest"}, "BAC");
    add_result_of(catalogue, &a, "sea", -5, UP_CLASS_NEUTRAL, "bench");
    assert_listed(catalogue, &(struct up_choice){.sort = "newest"}, "ABC");
    up_catalogue_close(catalogue);
}

static void what_is_retired_is_shown_when_asked_for(void **state) {
    (void)state;
    struct up_rows rows;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item a = add_as(catalogue, "a", "A", ""), b = add_as(catalogue, "b", "B", "");
    add_result_of(catalogue, &a, "tank", -5, UP_CLASS_NEUTRAL, "bench");
    add_result_of(catalogue, &b, "tank", 5, UP_CLASS_NEUTRAL, "bench");
    a.retired = true;
    assert_true(up_item_add(catalogue, &a, NULL));
    assert_listed(catalogue, &(struct up_choice){.kind = NULL}, "B");
    assert_listed(catalogue, &(struct up_choice){.retired = true}, "BA"); /* its newest version */
    assert_true(up_rows_load(catalogue, &rows, NULL));
    assert_int_equal(rows.count, 2);
    up_rows_drop_retired(&rows); /* no picture of it */
    assert_int_equal(rows.count, 1);
    assert_string_equal(rows.row[0].name, "b");
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static void assert_apart(const json_t *distinction, const struct up_item *item,
                         const char *wanted) {
    const char *is = json_string_value(json_object_get(distinction, item->id));
    char id[9];
    snprintf(id, sizeof id, "%.8s", item->id);
    if (wanted == NULL) {
        assert_null(is);
    } else {
        assert_non_null(is);
        assert_string_equal(is, strcmp(wanted, "id") == 0 ? id : wanted);
    }
}

static void one_name_is_told_apart(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item alone = add_as(catalogue, "Mask", "L", "Tern"),
                   l = add_as(catalogue, "Fin", "L", "Tern"),
                   m = add_as(catalogue, "Fin", "M", "Tern"),
                   l_auk = add_as(catalogue, "F\u0456n", "L", "Auk"), /* of another alphabet */
        bare = add_as(catalogue, "Fin", "", ""), one = add_as(catalogue, "Boot", "S", "Auk"),
                   same = add_as(catalogue, "Boot", "S", "Auk"),
                   longer = add_as(catalogue, "Boot", "size of quite a number of words", "Auk");
    json_t *distinction = up_items_distinctions(catalogue, NULL);
    assert_non_null(distinction);
    assert_apart(distinction, &alone, NULL);
    assert_apart(distinction, &l, "size L, maker Tern");
    assert_apart(distinction, &m, "size M");
    assert_apart(distinction, &l_auk, "maker Auk");
    assert_apart(distinction, &bare, "id");
    assert_apart(distinction, &one, "id");
    assert_apart(distinction, &same, "id");
    assert_apart(distinction, &longer, "id");
    json_decref(distinction);
    snprintf(same.side, sizeof same.side, "left");
    assert_true(up_item_add(catalogue, &same, NULL));
    distinction = up_items_distinctions(catalogue, NULL);
    assert_apart(distinction, &same, "left");
    assert_apart(distinction, &one, "id");
    json_decref(distinction);
    up_catalogue_close(catalogue);
}

/* The row of a picture has it too. */
static void a_row_is_told_apart(void **state) {
    (void)state;
    struct up_rows rows;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item l = add_as(catalogue, "Fin", "L", "");
    add_as(catalogue, "Fin", "M", "");
    add_result_of(catalogue, &l, "tank", 5, UP_CLASS_NEUTRAL, "bench");
    assert_true(up_rows_load(catalogue, &rows, NULL));
    assert_string_equal(rows.row[0].distinction, "size L");
    assert_string_equal(rows.row[0].bench, "bench");
    up_rows_release(&rows);
    up_catalogue_close(catalogue);
}

static char *print_items(struct up_catalogue *catalogue, const struct up_choice *choice) {
    static const struct up_style plain;
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    assert_true(up_items_print(catalogue, choice, &plain, stream, NULL));
    fclose(stream);
    return text;
}

static void the_list_says_what_it_left_out(void **state) {
    (void)state;
    struct up_catalogue *catalogue = three();
    char *text = print_items(catalogue, &(struct up_choice){.kind = "hood"});
    assert_non_null(strstr(text, "1 of 3 items shown; `upthrust item list` shows all\n"));
    assert_null(strstr(text, "which"));
    assert_null(strstr(text, "Zebra"));
    free(text);
    text = print_items(catalogue, &(struct up_choice){.kind = "boat"});
    assert_non_null(strstr(text, "\n0 of 3 items shown"));
    assert_null(strstr(text, "+ floats"));
    free(text);
    struct up_item twin = add_as(catalogue, "hood", "D", "tern");
    text = print_items(catalogue, &(struct up_choice){.kind = NULL});
    assert_non_null(strstr(text, "item       which   kind"));
    assert_non_null(strstr(text, "hood       size C  hood"));
    assert_null(strstr(text, "shown"));
    free(text);
    twin.retired = true;
    assert_true(up_item_add(catalogue, &twin, NULL));
    text = print_items(catalogue, &(struct up_choice){.kind = NULL});
    assert_non_null(strstr(text, "1 retired item not shown: add --retired\n"));
    free(text);
    text = print_items(catalogue, &(struct up_choice){.retired = true});
    assert_non_null(strstr(text, "\nretired: hood"));
    free(text);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_choice_leaves_out_what_does_not_fit),
        TEST(orders_follow_results),
        TEST(what_is_retired_is_shown_when_asked_for),
        TEST(one_name_is_told_apart),
        TEST(a_row_is_told_apart),
        TEST(the_list_says_what_it_left_out),
    };
    return cmocka_run_group_tests_name("report: items of a list", tests, NULL, NULL);
}
