/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages of a list, put together, are the list: each item once, in order, whatever is asked for. */
#include "../catalogue/support.h"

#include "report/items.h"

enum { ITEMS = 48, MOST = 200 };

static const char *const names[] = {
    "Fin",           "fin",        "FIN",
    "100% \"half\"", "O'Neil_fin", "\xC3\x89toile",
    "\xC3\xA9toile", "ab",         "a",
    "x\" OR \"y",    "fin * boot", "NEAR(fin)",
    "Stra\303\237e", "STRASSE",    "\xCE\xA3\xCE\xA3",
    "words: fin",
};
static const char *const kinds[] = {"fin", "Boot", "boot", "hood"};
static const char *const makers[] = {"", "Tern", "TERN", "Gull & \"Co\""};

static void add_items(struct up_catalogue *catalogue) {
    assert_true(catalogue_begin(catalogue, NULL));
    for (int i = 0; i < ITEMS; i++) {
        struct up_item item = plain_item(names[(size_t)i % ARRAY(names)]);
        struct up_result result;
        snprintf(item.kind, sizeof item.kind, "%s", kinds[(size_t)(i / 3) % ARRAY(kinds)]);
        snprintf(item.maker, sizeof item.maker, "%s", makers[(size_t)(i / 5) % ARRAY(makers)]);
        snprintf(item.size, sizeof item.size, "%s", i % 2 ? "L" : "");
        snprintf(item.note, sizeof item.note, "%s", i % 7 ? "" : "strap_new 50%");
        item.retired = i % 11 == 0;
        item.compressible = i % 13 == 0;
        item.holds_gas = item.compressible ? UP_GAS_YES : UP_GAS_NO;
        assert_true(up_item_add(catalogue, &item, NULL));
        for (int k = 0; k < i % 4; k++) {
            result = plain_result(item.id, k % 2 ? "sea" : "tank");
            result.answer.class = (i + k) % 3 ? UP_CLASS_NEGATIVE : UP_CLASS_NEUTRAL;
            assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
        }
    }
    assert_true(catalogue_end(catalogue, true, NULL));
}

/* ---- the whole list, and its pages ---- */

struct listed {
    char id[MOST][UP_ID_SIZE];
    size_t count;
};

static void list_whole(struct up_catalogue *catalogue, const struct up_choice *choice,
                       struct listed *listed) {
    struct up_rows rows = {0};
    struct up_items items;
    struct up_failure failure = {0};
    assert_true(up_catalogue_focus(catalogue, NULL, 0, NULL));
    if (!up_rows_load(catalogue, &rows, &failure) ||
        !up_items_load(catalogue, &rows, choice, &items, &failure)) {
        fail_msg("%s", failure.text);
    }
    for (listed->count = 0; listed->count < items.count; listed->count++) {
        memcpy(listed->id[listed->count], items.item[listed->count].id, UP_ID_SIZE);
    }
    up_items_release(&items);
    up_rows_release(&rows);
}

/* One page at a time, each by what the one before told. */
static void list_pages(struct up_catalogue *catalogue, const struct up_choice *choice, size_t limit,
                       struct listed *listed) {
    char after[UP_ID_SIZE] = "", last[UP_ID_SIZE] = "";
    bool more = true;
    listed->count = 0;
    while (more) {
        struct up_failure failure = {0};
        struct up_choice page = *choice;
        const char *id;
        json_t *value;
        if (!up_items_page(catalogue, limit, after[0] != '\0' ? after : NULL, &page, &more, last,
                           &failure)) {
            fail_msg("%s", failure.text);
        }
        assert_true(json_object_size(page.only) <= limit);
        assert_true(!more || json_object_size(page.only) == limit);
        json_object_foreach(page.only, id, value) {
            assert_true(listed->count < MOST);
            snprintf(listed->id[listed->count++], UP_ID_SIZE, "%s", id);
        }
        assert_true(!more || strcmp(last, listed->id[listed->count - 1]) == 0);
        json_decref(page.only);
        memcpy(after, last, sizeof after);
    }
}

/* By what they are sorted by, their names, their ids. */
static char *place_of(struct up_catalogue *catalogue, const char *sort, const char *id) {
    UP_FREED char *query =
        up_text_format("SELECT folded_%s || char(1) || folded_name || char(1) || subject"
                       " FROM typed_item WHERE subject = '%s'",
                       sort, id);
    return ask(catalogue->database, query);
}

static void assert_in_order(struct up_catalogue *catalogue, const char *sort,
                            const struct listed *listed) {
    char *before = up_text_format("%s", "");
    for (size_t i = 0; i < listed->count; i++) {
        char *place = place_of(catalogue, sort, listed->id[i]);
        assert_true(strcmp(before, place) < 0);
        free(before);
        before = place;
    }
    free(before);
}

static int compare_ids(const void *a, const void *b) {
    return strcmp(a, b);
}

static size_t assert_pages(struct up_catalogue *catalogue, const struct up_choice *choice) {
    static const size_t limits[] = {4, MOST};
    static struct listed whole, pages;
    list_whole(catalogue, choice, &whole);
    qsort(whole.id, whole.count, UP_ID_SIZE, compare_ids);
    for (size_t i = 0; i < ARRAY(limits); i++) {
        list_pages(catalogue, choice, limits[i], &pages);
        assert_in_order(catalogue, choice->sort != NULL ? choice->sort : "name", &pages);
        qsort(pages.id, pages.count, UP_ID_SIZE, compare_ids);
        if (pages.count != whole.count) {
            fail_msg("\"%s\": %zu in pages of %zu, %zu in the list",
                     choice->texts > 0 ? choice->text[0] : "", pages.count, limits[i], whole.count);
        }
        assert_memory_equal(pages.id, whole.id, whole.count * UP_ID_SIZE);
    }
    return whole.count;
}

static struct up_catalogue *open_filled(void) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    sql(catalogue->database, "PRAGMA synchronous = OFF");
    add_items(catalogue);
    return catalogue;
}

/* Fifteen and more items share a name. */
static void pages_are_the_list_in_every_order(void **state) {
    (void)state;
    static const char *const sorts[] = {NULL, "name", "kind", "maker", "model", "size"};
    struct up_catalogue *catalogue = open_filled();
    for (size_t i = 0; i < ARRAY(sorts); i++) {
        struct up_choice all = {.sort = sorts[i], .retired = true};
        struct up_choice shown = {.sort = sorts[i]};
        struct up_choice boots = {.sort = sorts[i], .kind = "BOOT", .maker = "tern"};
        struct up_choice large = {.sort = sorts[i], .size = "l"};
        assert_int_equal(assert_pages(catalogue, &all), ITEMS);
        assert_in_range(assert_pages(catalogue, &shown), 1, ITEMS - 1);
        assert_in_range(assert_pages(catalogue, &boots), 1, ITEMS / 2);
        assert_in_range(assert_pages(catalogue, &large), 1, ITEMS / 2);
    }
    up_catalogue_close(catalogue);
}

static void pages_are_the_list_for_every_text(void **state) {
    (void)state;
    static const struct {
        const char *text;
        bool some;
    } texts[] = {
        {"\xC3\xA9TOILE", true},
        {"%", true},
        {"0% \"h", true},
        {"\"half\"", true},
        {"o'n", true},
        {"_", true},
        {"a", true},
        {"AB", true},
        {"fin", true},
        {"x\" OR \"y", true},
        {"* b", true},
        {"NEAR(fin)", true},
        {"strasse", true},
        {"\xCF\x83", true},
        {"words:", true},
        {"50%", true},
        {"", true},
        {"fin OR boot", false},
        {"f*n", false},
        {"\"", true},
        {"\"\"", false},
        {"zzz", false},
        {"fin\nboot", true},
    };
    struct up_catalogue *catalogue = open_filled();
    UP_FREED char *id = ask(catalogue->database, "SELECT upper(substr(subject, 1, 13)) FROM"
                                                 " typed_item WHERE NOT retired");
    const char *const beginning[] = {id}, *const middle[] = {id + 5};
    struct up_choice by_id = {.text = beginning, .texts = 1};
    assert_int_equal(assert_pages(catalogue, &by_id), 1);
    by_id.text = middle;
    assert_int_equal(assert_pages(catalogue, &by_id), 0);
    for (size_t i = 0; i < ARRAY(texts); i++) {
        const char *const two[] = {texts[i].text, "f"};
        struct up_choice one = {.text = two, .texts = 1};
        struct up_choice both = {.text = two, .texts = 2, .sort = "maker"};
        if ((assert_pages(catalogue, &one) > 0) != texts[i].some) {
            fail_msg("\"%s\"", texts[i].text);
        }
        assert_pages(catalogue, &both);
    }
    up_catalogue_close(catalogue);
}

static void pages_are_the_list_for_what_was_measured(void **state) {
    (void)state;
    static const char *const classes[] = {NULL, "negative", "neutral", "positive"};
    static const char *const waters[] = {"sea", "tank"};
    struct up_catalogue *catalogue = open_filled();
    size_t found = 0;
    for (size_t i = 0; i < ARRAY(classes); i++) {
        for (size_t count = 0; count <= 2; count++) {
            struct up_choice choice = {
                .class = classes[i], .waters = waters, .water_count = count, .kind = "fin"};
            found += assert_pages(catalogue, &choice);
        }
    }
    assert_true(found > 10);
    up_catalogue_close(catalogue);
}

/* Behind one that nobody knows there is nothing; the order is not that of the numbers. */
static void what_was_changed_since_goes_on_by_its_name(void **state) {
    (void)state;
    struct up_item_query query = {.sort = "name", .limit = 5};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item b = add_item(catalogue, "b"), a = add_item(catalogue, "a"),
                   c = add_item(catalogue, "C");
    query.after_id = a.id;
    json_t *page = up_item_page(catalogue, &query, NULL);
    assert_int_equal(json_array_size(page), 2);
    assert_string_equal(json_string_value(json_array_get(page, 0)), b.id);
    assert_string_equal(json_string_value(json_array_get(page, 1)), c.id);
    json_decref(page);
    snprintf(b.name, sizeof b.name, "z");
    assert_true(up_item_add(catalogue, &b, NULL));
    query.after_id = c.id;
    page = up_item_page(catalogue, &query, NULL);
    assert_int_equal(json_array_size(page), 1);
    assert_string_equal(json_string_value(json_array_get(page, 0)), b.id);
    json_decref(page);
    query.after_id = "nobody";
    page = up_item_page(catalogue, &query, NULL);
    assert_int_equal(json_array_size(page), 0);
    json_decref(page);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(pages_are_the_list_in_every_order),
        TEST(pages_are_the_list_for_every_text),
        TEST(pages_are_the_list_for_what_was_measured),
        TEST(what_was_changed_since_goes_on_by_its_name),
    };
    return cmocka_run_group_tests_name("report: pages of a list", tests, NULL, NULL);
}
