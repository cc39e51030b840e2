/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pages: what is written, when, and that no text of a catalogue becomes markup. */
#include <sys/stat.h>

#include "../catalogue/support.h"

#include "page/internal.h"

static char *put(void (*function)(FILE *stream, const char *text), const char *text) {
    char *out = NULL;
    size_t size;
    FILE *stream = open_memstream(&out, &size);
    function(stream, text);
    fclose(stream);
    return out;
}

static void no_text_is_markup(void **state) {
    (void)state;
    UP_FREED char *escaped = put(page_put, "<b a=\"1\" c='2'>&amp;</b>\x1B[2J");
    assert_null(strpbrk(escaped, "<>\"'\x1B"));
    assert_non_null(strstr(escaped, "&lt;b a=&quot;1&quot; c=&#39;2&#39;&gt;&amp;amp;&lt;/b&gt;"));
    UP_FREED char *name = put(page_put_name, "a<b");
    assert_string_equal(name, "<bdi>a&lt;b</bdi>");
}

static struct up_item add_of(struct up_catalogue *catalogue, const char *name, const char *model) {
    struct up_item item = plain_item(name);
    snprintf(item.model, sizeof item.model, "%s", model);
    assert_true(up_item_add(catalogue, &item, NULL));
    catalogue_clock_step_s++;
    return item;
}

static void add_result_of(struct up_catalogue *catalogue, const struct up_item *item,
                          double buoyancy_g) {
    struct up_result result = plain_result(item->id, "sea");
    result.answer.buoyancy_kg.value = buoyancy_g / 1e3;
    assert_true(up_results_add(catalogue, &result, 1, "shed", NULL));
    catalogue_clock_step_s++;
}

static struct up_pages_written write_with(struct up_catalogue *catalogue,
                                          struct up_page_wish wish) {
    const struct up_choice all = {0};
    struct up_rows rows;
    struct up_items items;
    struct up_pages_written written;
    struct up_failure failure = {0};
    assert_true(up_rows_load(catalogue, &rows, NULL));
    assert_true(up_items_load(catalogue, &rows, &all, &items, NULL));
    if (!up_pages_write(catalogue, &rows, &items, &wish, wish.single ? "s" : "p", &written,
                        &failure)) {
        fail_msg("%s", failure.text);
    }
    up_items_release(&items);
    up_rows_release(&rows);
    return written;
}

static struct up_pages_written write_in(struct up_catalogue *catalogue, bool single,
                                        bool imperial) {
    return write_with(catalogue,
                      (struct up_page_wish){.single = single, .style = {.imperial = imperial}});
}

static struct up_pages_written write_pages(struct up_catalogue *catalogue, bool single) {
    return write_in(catalogue, single, false);
}

static char *text_of(const char *path) {
    char *text = up_allocate(1 << 20, 1);
    FILE *stream = fopen(path, "r");
    assert_non_null(stream);
    text[fread(text, 1, (1 << 20) - 1, stream)] = '\0';
    fclose(stream);
    return text;
}

static void only_what_changed_is_written(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item a = add_of(catalogue, "Gull fin", "Gull"),
                   b = add_of(catalogue, "Gull fins", "Gull");
    add_of(catalogue, "Plain", "");
    add_result_of(catalogue, &a, 90.25);
    struct up_pages_written first = write_pages(catalogue, false);
    assert_int_equal(first.items, 3);
    assert_int_equal(first.models, 1);
    assert_int_equal(first.indexes, 1);
    assert_int_equal(first.changed, 5);
    assert_int_equal(write_pages(catalogue, false).changed, 0);
    add_result_of(catalogue, &b, -9);
    assert_int_equal(write_pages(catalogue, false).changed,
                     3); /* its page, its model's, the index */
    UP_FREED char *index = text_of("p/index.html");
    assert_non_null(strstr(index, "+90.2\u00A0g UP"));
    assert_non_null(strstr(index, "−9.0\u00A0g DOWN"));
    assert_non_null(strstr(index, "Plain"));
    assert_non_null(strstr(index, UP_CLAIM_CHECK));
    UP_FREED char *path = up_text_format("p/i/%.8s.html", a.id);
    UP_FREED char *page = text_of(path);
    assert_non_null(strstr(page, "+90.2 g UP"));
    assert_non_null(strstr(page, UP_CLAIM_CHECK));
    assert_non_null(strstr(page, "<dt>Bench</dt><dd>shed</dd>"));
    assert_null(strstr(page, "Gull fins"));
    up_catalogue_close(catalogue);
}

/* As the list says it: "undecided" would let it pass for a full weighing that came to that. */
static void what_was_put_aside_says_so_in_the_index(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of(catalogue, "Gull fin", "Gull");
    struct up_result result = plain_result(item.id, "tank");
    result.answer.class = UP_CLASS_UNDECIDED;
    result.quick.is = true;
    result.quick.aside = UP_ASIDE_NEAR;
    assert_true(up_results_add(catalogue, &result, 1, "shed", NULL));
    write_pages(catalogue, false);
    UP_FREED char *index = text_of("p/index.html");
    assert_non_null(strstr(index, "put aside"));
    assert_null(strstr(index, "undecided "));
    up_catalogue_close(catalogue);
}

/* By hand: 123.5 g are 4.35 oz, 1 g 0.035; 998.2 kg/m3 62.32 lb/ft3; 1.5 L 91.536 in3; 1.62
   kg 57.14 oz, three pounds of them 48. */
static void pounds_and_ounces_where_they_are_asked_for(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_of(catalogue, "Gull fin", "Gull");
    add_result_of(catalogue, &item, -123.5);
    write_in(catalogue, true, true);
    UP_FREED char *text = text_of("s/index.html");
    assert_non_null(strstr(text, "\u22124.36 oz DOWN"));
    assert_non_null(strstr(text, "<dt>Standard uncertainty</dt><dd>0.035 oz</dd>"));
    assert_non_null(strstr(text, "<dt>Density of the water</dt><dd>62.32 lb/ft³</dd>"));
    assert_non_null(strstr(text, "<dt>Volume</dt><dd>91.536 in³</dd>"));
    assert_non_null(strstr(text, "<dt>Mass</dt><dd>3 lb 9.14 oz</dd>"));
    write_in(catalogue, true, false);
    UP_FREED char *metric = text_of("s/index.html");
    assert_non_null(strstr(metric, "<dt>Standard uncertainty</dt><dd>1 g</dd>"));
    assert_non_null(strstr(metric, "<dt>Density of the water</dt><dd>998.2 kg/m³</dd>"));
    assert_non_null(strstr(metric, "<dt>Volume</dt><dd>1.5 L</dd>"));
    assert_non_null(strstr(metric, "<dt>Mass</dt><dd>1.62 kg</dd>"));
    up_catalogue_close(catalogue);
}

/* The picture is within the page, whose policy names it; without one it allows none. */
static void a_model_has_its_picture_where_it_is_asked_for(void **state) {
    (void)state;
    if (system("command -v gnuplot >/dev/null 2>&1") != 0) {
        skip();
    }
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("Gull fin"), other = add_of(catalogue, "Tern fin", "Tern");
    snprintf(item.model, sizeof item.model, "Gull");
    snprintf(item.size, sizeof item.size, "L");
    assert_true(up_item_add(catalogue, &item, NULL));
    add_result_of(catalogue, &item, 90.2);
    UP_FREED char *path = up_text_format("p/m/%.8s.html", item.id);
    write_pages(catalogue, false);
    UP_FREED char *without = text_of(path);
    assert_null(strstr(without, "<img"));
    write_with(catalogue, (struct up_page_wish){.pictures = true});
    UP_FREED char *with = text_of(path);
    assert_non_null(strstr(with, "; img-src data:\""));
    const char *data = strstr(with, "src=\"data:image/svg+xml;base64,PD94bWwg"); /* <?xml */
    assert_non_null(data);
    assert_true(strcspn(data + 5, "\"") > 4000);
    UP_FREED char *bare_path = up_text_format("p/m/%.8s.html", other.id);
    UP_FREED char *bare = text_of(bare_path); /* it was not measured */
    assert_null(strstr(bare, "img-src"));
    UP_FREED char *index = text_of("p/index.html");
    assert_null(strstr(index, "img-src"));
    up_catalogue_close(catalogue);
}

/* Beside the name in the table, and on the item's own page. */
static void an_item_from_elsewhere_is_marked(void **state) {
    (void)state;
    struct up_intake intake;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE),
                        *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(theirs, "their fin");
    add_item(catalogue, "my fin");
    assert_true(up_catalogue_merge(catalogue, "theirs", false, &intake, NULL));
    write_pages(catalogue, true);
    char *text = text_of("s/index.html");
    assert_non_null(strstr(text, "their fin</a> &lt;"));
    assert_null(strstr(text, "my fin</a> &lt;"));
    const char *marks = strstr(text, "what is said of the item came from elsewhere, by import");
    assert_true(marks != NULL && strstr(marks + 1, "what is said of the item") == NULL);
    free(text);
    up_catalogue_close(theirs);
    up_catalogue_close(catalogue);
}

/* Whoever made a link to a page finds it there, whatever a guest's ids and ages are. */
static void a_guest_renames_no_page(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item guests = plain_item("theirs"), mine;
    up_new_id(guests.id);
    snprintf(guests.model, sizeof guests.model, "Gull");
    assert_true(up_item_add(catalogue, &guests, NULL)); /* the older one */
    sql(catalogue->database, "DELETE FROM local_mark");
    catalogue_clock_step_s = 10;
    mine = guests;
    mine.id[35] = guests.id[35] == '0' ? '1' : '0';
    snprintf(mine.name, sizeof mine.name, "mine");
    assert_true(up_item_add(catalogue, &mine, NULL));
    write_pages(catalogue, false);
    UP_FREED char *path = up_text_format("p/i/%.8s.html", mine.id);
    UP_FREED char *of_model = up_text_format("p/m/%.8s.html", mine.id);
    UP_FREED char *of_guest = up_text_format("p/i/%s.html", guests.id);
    UP_FREED char *text = text_of(path);
    assert_non_null(strstr(text, "<bdi>mine</bdi>"));
    assert_int_equal(access(of_model, F_OK), 0);
    assert_int_equal(access(of_guest, F_OK), 0);
    up_catalogue_close(catalogue);
}

static void a_single_file_holds_all(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item a = add_of(catalogue, "Gull fin", "Gull");
    add_result_of(catalogue, &a, 90.25);
    assert_int_equal(write_pages(catalogue, true).changed, 1);
    UP_FREED char *index = text_of("s/index.html");
    UP_FREED char *link = up_text_format("<a href=#%.8s>", a.id);
    UP_FREED char *place = up_text_format("<article id=\"%.8s\">", a.id);
    assert_non_null(strstr(index, link));
    assert_non_null(strstr(index, place));
    assert_non_null(strstr(index, "<dt>Bench</dt><dd>shed</dd>"));
    assert_non_null(strstr(index, "<dt>Signature</dt><dd>signed by the key "));
    assert_true(access("s/i", F_OK) != 0);
    without_triggers(catalogue->database,
                     "UPDATE signed SET signature = substr(signature, 2) || 'a'");
    assert_int_equal(write_pages(catalogue, true).changed, 1);
    UP_FREED char *forged = text_of("s/index.html");
    assert_null(strstr(forged, "signed by"));
    assert_non_null(strstr(forged, "<dt>Signature</dt><dd>its signature is not that of the key "));
    up_catalogue_close(catalogue);
}

/* 'sha256-...' of the style, by a program that is not ours. */
static void the_policy_names_the_style(void **state) {
    (void)state;
    char hash[64] = "";
    char *head = NULL;
    size_t size;
    FILE *stream = open_memstream(&head, &size);
    page_put_head(stream, "t", PAGE_PLAIN, NULL);
    fclose(stream);
    char *from = strstr(head, "<style>") + strlen("<style>"), *to = strstr(head, "</style>");
    FILE *style = fopen("style", "w");
    fwrite(from, 1, (size_t)(to - from), style);
    fclose(style);
    FILE *other = popen(
        "python3 -c 'import base64, hashlib; print(base64.b64encode(hashlib.sha256(open(\"style\", "
        "\"rb\").read()).digest()).decode())'",
        "r");
    assert_non_null(fgets(hash, sizeof hash, other));
    pclose(other);
    hash[strcspn(hash, "\n")] = '\0';
    UP_FREED char *wanted = up_text_format("style-src 'sha256-%s'", hash);
    assert_int_equal(strlen(hash), 44);
    assert_non_null(strstr(head, wanted));
    free(head);
}

/* As many items as one file cannot hold. */
static void a_single_file_has_a_bound(void **state) {
    (void)state;
    enum { MANY = 20000 };
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    const struct up_page_wish wish = {.single = true};
    struct up_rows rows = {0};
    struct up_items items = {.item = up_allocate(MANY, sizeof *items.item), .count = MANY};
    struct up_pages_written written;
    struct up_failure failure = {0};
    for (int i = 0; i < MANY; i++) {
        items.item[i] = plain_item("Gull");
        snprintf(items.item[i].id, sizeof items.item[i].id, "%08x-0000-4000-8000-000000000000", i);
    }
    assert_false(up_pages_write(catalogue, &rows, &items, &wish, "s", &written, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_non_null(strstr(failure.text, "one holds about"));
    assert_true(access("s/index.html", F_OK) != 0);
    up_items_release(&items);
    up_catalogue_close(catalogue);
}

/* Within a shared folder a link leads to files of somebody else. */
static void no_page_is_written_through_a_link(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    const struct up_page_wish wish = {.single = false};
    struct up_rows rows = {0};
    struct up_item item = plain_item("Gull");
    struct up_items items = {.item = &item, .count = 1};
    struct up_pages_written written;
    struct up_failure failure = {0};
    snprintf(item.id, sizeof item.id, "00000000-0000-4000-8000-000000000001");
    assert_true(mkdir("s", 0700) == 0 && mkdir("other", 0700) == 0 &&
                symlink("../other", "s/i") == 0);
    assert_false(up_pages_write(catalogue, &rows, &items, &wish, "s", &written, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "s/i is a link");
    assert_int_equal(rmdir("other"), 0); /* it is empty still */
    assert_int_equal(symlink("s", "given"), 0);
    assert_int_equal(unlink("s/i"), 0);
    assert_int_equal(mkdir("s/i", 0700), 0);
    write_all("s/i/0badcafe.html.part-999999999", "what a program that is gone began to write");
    assert_true(up_pages_write(catalogue, &rows, &items, &wish, "given", &written, &failure));
    assert_int_not_equal(access("s/i/0badcafe.html.part-999999999", F_OK), 0);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_text_is_markup),
        TEST(only_what_changed_is_written),
        TEST(what_was_put_aside_says_so_in_the_index),
        TEST(pounds_and_ounces_where_they_are_asked_for),
        TEST(a_model_has_its_picture_where_it_is_asked_for),
        TEST(an_item_from_elsewhere_is_marked),
        TEST(a_guest_renames_no_page),
        TEST(a_single_file_holds_all),
        TEST(the_policy_names_the_style),
        TEST(a_single_file_has_a_bound),
        TEST(no_page_is_written_through_a_link),
    };
    return cmocka_run_group_tests_name("page", tests, NULL, NULL);
}
