/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose records count: what is given here, what passes it on, and every order of merging. */
#include "writers.h"

/* ---- versions of others' things ---- */

/* The item as it counts in a folder gets another name there. */
static void rename_in(const char *directory, const char *from, const char *to) {
    struct up_item item;
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    assert_true(up_item_find(catalogue, from, &item, NULL));
    snprintf(item.name, sizeof item.name, "%s", to);
    assert_true(up_item_add(catalogue, &item, NULL));
    up_catalogue_close(catalogue);
}

/* a makes an item, b changes it, and changes its change. */
static void make_changed_item(void) {
    add_to("a", "fin");
    merge_into("b", "a");
    catalogue_clock_step_s = 10;
    rename_in("b", "fin", "changed");
    catalogue_clock_step_s = 20;
    rename_in("b", "changed", "twice");
    catalogue_clock_step_s = 0;
}

static void a_strangers_version_waits(void **state) {
    (void)state;
    make_changed_item();
    assert_items("b", "twice");
    merge_into("c", "b"); /* both came; neither is known */
    assert_items("c", "fin");
    assert_int_equal(doubts_in("c", UP_RECORD_WAITING), 1);
    give("c", key_of("b"), "bench");
    assert_items("c", "fin");
    give("c", key_of("b"), "editor");
    assert_items("c", "twice");
    assert_int_equal(doubts_in("c", UP_RECORD_WAITING), 0);
    assert_settled("c");
    give("c", key_of("b"), "none");
    assert_items("c", "fin");
    assert_settled("c");
    rename_in("a", "fin", "by who made it");
    merge_into("c", "a");
    assert_items("c", "by who made it");
}

static void a_person_accepts_what_waits(void **state) {
    (void)state;
    struct up_item item;
    unsigned long waiting = 0;
    make_changed_item();
    merge_into("c", "b");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(up_items_waiting(catalogue, NULL, &waiting, NULL) && waiting == 1);
    assert_true(up_item_find(catalogue, "fin", &item, NULL));
    assert_true(up_item_accept(catalogue, item.id, &item, NULL));
    assert_string_equal(item.name, "twice");
    assert_true(up_items_waiting(catalogue, NULL, &waiting, NULL) && waiting == 0);
    up_catalogue_close(catalogue);
    assert_items("c", "twice");
    assert_settled("c");
}

/* Without naming what it takes the place of, dated later: two say that they made it. */
static void forge_root(const char *directory, const struct up_item *of) {
    struct up_record record = {.kind = "item"};
    struct up_item item = *of;
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    snprintf(item.name, sizeof item.name, "forged");
    record.content = up_item_to_json(&item);
    memcpy(record.subject, of->id, sizeof record.subject);
    catalogue_clock_step_s = 30;
    assert_true(catalogue_put(catalogue, &record, NULL, NULL));
    catalogue_clock_step_s = 0;
    json_decref(record.content);
    up_catalogue_close(catalogue);
}

static void nobody_takes_a_thing_over(void **state) {
    (void)state;
    struct up_item item = add_to("a", "fin");
    forge_root("b", &item);
    merge_into("c", "a");
    assert_items("c", "fin");
    merge_into("c", "b");
    assert_items("c", "");
    merge_into("d", "b");
    merge_into("d", "a");
    assert_items("d", "");
    give("d", key_of("a"), "bench");
    assert_items("d", "fin");
    assert_settled("d");
    /* What was signed by nobody is no better. */
    struct up_catalogue *catalogue = open_as("e", UP_CATALOGUE_CREATE);
    merge(catalogue, "a");
    snprintf(item.name, sizeof item.name, "unsigned");
    assert_true(catalogue_begin(catalogue, NULL));
    insert_foreign_record(catalogue, "item", item.id, "2040-01-01T00:00:00.000Z",
                          up_item_to_json(&item), NULL);
    insert_foreign_record(catalogue, "item", item.id, "2020-01-01T00:00:00.000Z",
                          up_item_to_json(&item),
                          up_catalogue_live_ids(catalogue, "item", item.id, NULL));
    assert_true(catalogue_end(catalogue, true, NULL));
    up_catalogue_close(catalogue);
    assert_items("e", "fin");
}

/* ---- rotation and vouching ---- */

static void trust_passes_to_the_next_key(void **state) {
    (void)state;
    make_changed_item();
    const char *old = key_of("b");
    new_key("b");
    catalogue_clock_step_s = 30;
    rename_in("b", "twice", "with another key");
    catalogue_clock_step_s = 0;
    assert_string_not_equal(key_of("b"), old);
    merge_into("c", "b");
    assert_items("c", "fin");
    give("c", old, "editor");
    assert_items("c", "with another key");
    assert_settled("c");
    assert_int_equal(doubts_in("c", UP_RECORD_AFTER_GAP), 0);
    /* Whose key was followed may change what that one made. */
    new_key("a");
    catalogue_clock_step_s = 40;
    rename_in("a", "fin", "mine still");
    catalogue_clock_step_s = 0;
    merge_into("d", "a");
    merge_into("d", "b");
    assert_items("d", "mine still");
    assert_settled("d");
}

/* Who says that its trust passes to another does not get that one's. */
static void no_key_calls_itself_the_one_before(void **state) {
    (void)state;
    struct up_record record = {.kind = "rotation"};
    make_changed_item();
    struct up_catalogue *catalogue = open_as("b", UP_CATALOGUE_WRITE);
    record.content = json_pack("{s:s}", "writer", key_of("a"));
    assert_true(catalogue_put(catalogue, &record, NULL, NULL));
    json_decref(record.content);
    up_catalogue_close(catalogue);
    merge_into("c", "b");
    give("c", key_of("a"), "editor");
    assert_items("c", "fin");
    assert_settled("c");
}

static void vouching_counts_for_one_level(void **state) {
    (void)state;
    add_to("f", "of the federation");
    add_to("x", "of x");
    add_to("y", "of y");
    vouch("f", key_of("x"));
    vouch("x", key_of("y"));
    merge_into("c", "f");
    merge_into("c", "x");
    merge_into("c", "y");
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM standing", "0");
    give("c", key_of("f"), "federation");
    sqlite3 *database = outside("c/catalogue.sqlite");
    char *who = up_text_format("SELECT group_concat(writer || role, ' ') = '%sbench'"
                               " FROM standing WHERE how = 'vouching'",
                               key_of("x"));
    assert_answer(database, who, "1");
    assert_answer(database, "SELECT count(*) FROM standing", "2");
    sqlite3_close(database);
    free(who);
    give("c", key_of("x"), "none"); /* a person knows better */
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM standing", "1");
    give("c", key_of("x"), "bench"); /* whose word is not a federation's */
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM standing WHERE how = 'vouching'",
                       "0");
    give("c", key_of("x"), "federation"); /* and may say more than the federation */
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) FROM standing WHERE how = 'vouching' AND role = 'bench'",
                       "2");
    assert_settled("c");
}

/* ---- contents that share an id ---- */

static void what_somebody_trusted_signed_counts(void **state) {
    (void)state;
    struct up_record record = {.kind = "item", .made_utc = "2026-01-01T00:00:00.000Z"};
    add_to("a", "true");
    struct up_catalogue *catalogue = open_as("f", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("forged");
    sqlite3 *database = outside("a/catalogue.sqlite");
    char *id = ask(database, "SELECT id FROM record WHERE kind = 'item'");
    sqlite3_close(database);
    memcpy(record.id, id, sizeof record.id);
    up_new_id(record.subject);
    record.content = up_item_to_json(&item);
    assert_true(catalogue_hash(&record, NULL) && catalogue_insert(catalogue, &record, NULL, NULL));
    json_decref(record.content);
    up_catalogue_close(catalogue);
    for (int order = 0; order < 2; order++) {
        const char *here = order == 0 ? "c" : "d";
        merge_into(here, order == 0 ? "a" : "f");
        merge_into(here, order == 0 ? "f" : "a");
        assert_items(here, "");
        give(here, key_of("a"), "bench");
        assert_items(here, "true");
        assert_settled(here);
        give(here, key_of("a"), "none");
        assert_items(here, "");
    }
    give("e", key_of("a"), "bench"); /* trust that was there before */
    merge_into("e", "f");
    merge_into("e", "a");
    assert_items("e", "true");
    free(id);
}

/* ---- every order ---- */

enum { SOURCES = 4 };
static const char *const source[SOURCES] = {"a", "b", "f", "n"};

/* f: an item of a's under its own id with other content, one dated ahead, one whose signature is
   another's, one under a new id. n: a newer program's kind. b: what replaces a's. */
static void make_sources(void) {
    make_changed_item();
    shell("cp -r a f");
    catalogue_clock_step_s = 400L * 86400;
    add_to("f", "ahead");
    catalogue_clock_step_s = 0;
    add_to("f", "moved");
    struct up_result result = plain_result("", "tank");
    struct up_catalogue *catalogue = open_as("f", UP_CATALOGUE_WRITE);
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("f/catalogue.sqlite");
    char *taken = ask(
        database, "SELECT id FROM record WHERE body LIKE '%\"name\":\"fin\"%' AND kind = 'item'");
    without_triggers(
        database,
        "UPDATE signed SET signature = (SELECT signature FROM signed WHERE sequence = 1) WHERE id ="
        " (SELECT id FROM record WHERE body LIKE '%moved%');"
        "UPDATE signed SET id = '11111111-2222-3333-4444-555555555555' WHERE id ="
        " (SELECT id FROM record WHERE kind = 'result');"
        "UPDATE record SET id = '11111111-2222-3333-4444-555555555555' WHERE kind = 'result';"
        "DELETE FROM signed WHERE id = (SELECT id FROM record WHERE body LIKE '%\"name\":\"fin\"%' "
        "AND"
        " kind = 'item'); DELETE FROM record WHERE body LIKE '%\"name\":\"fin\"%' AND kind = "
        "'item'");
    sqlite3_close(database);
    catalogue = open_as("f", UP_CATALOGUE_WRITE);
    struct up_item item = plain_item("other content");
    struct up_record record = {.kind = "item", .made_utc = "2026-01-01T00:00:00.000Z"};
    memcpy(record.id, taken, sizeof record.id);
    up_new_id(record.subject);
    record.content = up_item_to_json(&item);
    assert_true(catalogue_hash(&record, NULL) && catalogue_insert(catalogue, &record, NULL, NULL));
    json_decref(record.content);
    free(taken);
    up_catalogue_close(catalogue);
    catalogue = open_as("n", UP_CATALOGUE_CREATE);
    add_number(catalogue, "sealing", NULL, NULL, 7);
    up_catalogue_close(catalogue);
}

static char *text_of(const char *path) {
    size_t length = 0;
    char *text = up_text_read_file(path, UP_LINKS_REFUSED, 1 << 24, &length, NULL);
    assert_non_null(text);
    return text;
}

/* All records by hash, and what is seen of them. */
static char *told_by(struct up_catalogue *catalogue) {
    assert_true(up_export_json(catalogue, "seen", NULL));
    char *hashes = ask(catalogue->database,
                       "SELECT group_concat(id || sha256) FROM (SELECT id, sha256 FROM record UNION"
                       " SELECT id, sha256 FROM contested ORDER BY 1, 2)");
    char *out = ask(catalogue->database,
                    "SELECT coalesce(group_concat(record_id || how || why), '') FROM left_out");
    char *document = text_of("seen/catalogue.json");
    char *text = up_text_format("%s\n%s\n%s", hashes, out, document);
    free(document);
    free(out);
    free(hashes);
    return text;
}

/* By numbers from 0 to 23. */
static void merge_in_order(struct up_catalogue *catalogue, int order) {
    int left[SOURCES] = {0, 1, 2, 3};
    for (int i = 0, size = SOURCES; i < SOURCES; i++, size--) {
        int at = order % size;
        order /= size;
        merge(catalogue, source[left[at]]);
        left[at] = left[size - 1];
    }
}

enum { TRUSTS = 3 };
static const char *const trusts[TRUSTS][2] = {
    {"a", "none"}, {"a", "bench"}, {"b", "editor"}}; /* one after the other */

static void assert_order_gives_the_same(int order, char *first[TRUSTS]) {
    char here[24];
    snprintf(here, sizeof here, "order%d", order);
    struct up_catalogue *catalogue = open_as(here, UP_CATALOGUE_CREATE);
    if (order % 2 == 1) { /* trust before, or afterwards */
        assert_true(up_trust_give(catalogue, key_of("a"), "none", "", "", NULL));
    }
    merge_in_order(catalogue, order);
    for (int i = 0; i < TRUSTS; i++) {
        assert_true(
            up_trust_give(catalogue, key_of(trusts[i][0]), trusts[i][1], "somebody", "", NULL));
        char *seen = told_by(catalogue);
        first[i] = first[i] != NULL ? first[i] : up_text_format("%s", seen);
        if (strcmp(seen, first[i]) != 0) {
            fail_msg("order %d, trust %d: %.3000s\nand not\n%.3000s", order, i, seen, first[i]);
        }
        free(seen);
    }
    up_catalogue_close(catalogue);
}

static void every_permutation_gives_the_same(void **state) {
    (void)state;
    enum { ORDERS = 24 };
    char *first[TRUSTS] = {NULL};
    make_sources();
    for (int order = 0; order < ORDERS; order++) {
        assert_order_gives_the_same(order, first);
    }
    for (int i = 0; i < TRUSTS; i++) {
        assert_true(i == 0 || strcmp(first[i], first[i - 1]) != 0);
    }
    for (int i = 0; i < TRUSTS; i++) {
        free(first[i]);
    }
    assert_settled("order7");
    assert_items("order0", "ahead twice");
    give("order0", key_of("b"), "none");
    assert_items("order0", "ahead fin");
    give("order0", key_of("a"), "none"); /* two contents of unknown writers */
    assert_items("order0", "ahead");
    assert_file_answer("order0/catalogue.sqlite",
                       "SELECT count(*) FROM record WHERE body LIKE '%moved%' OR kind = 'result'",
                       "0");
    assert_file_answer("order0/catalogue.sqlite",
                       "SELECT count(*) FROM record WHERE kind = 'sealing'", "1");
    struct up_catalogue *catalogue = open_as("order0", UP_CATALOGUE_WRITE);
    assert_int_equal(merge(catalogue, "f").refused, 2);
    up_catalogue_close(catalogue);
}

/* A file from before trust, with a version that waits: read as it will be. */
static void an_older_file_is_read_as_it_will_be(void **state) {
    (void)state;
    make_changed_item();
    merge_into("c", "b");
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "DROP TABLE trusted; DROP TABLE standing; DROP TABLE rotated; DROP TABLE revoked;"
                  "DROP TABLE recalled; DROP TABLE left_out; DROP INDEX contested_subject; PRAGMA "
                  "user_version = 9");
    sqlite3_close(database);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_READ);
    struct up_item item;
    assert_true(up_item_find(catalogue, "fin", &item, NULL));
    up_catalogue_close(catalogue);
    up_catalogue_close(open_as("c", UP_CATALOGUE_WRITE));
    assert_items("c", "fin");
    assert_settled("c");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_strangers_version_waits),           TEST(a_person_accepts_what_waits),
        TEST(nobody_takes_a_thing_over),           TEST(trust_passes_to_the_next_key),
        TEST(no_key_calls_itself_the_one_before),  TEST(vouching_counts_for_one_level),
        TEST(what_somebody_trusted_signed_counts), TEST(every_permutation_gives_the_same),
        TEST(an_older_file_is_read_as_it_will_be),
    };
    return cmocka_run_group_tests_name("catalogue: trust", tests, NULL, NULL);
}
