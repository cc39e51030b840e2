/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Keys that were stolen, records that were wrong: who may say so, and what then counts. */
#include "writers.h"

/* ---- revocation and recall ---- */

/* c's key and file go to a thief, who writes on with them, dated back; c's owner has revoked it.
   Then there are the folders "owner" and "thief". */
static void steal(bool by_itself) {
    add_to("c", "good");
    add_to("c", "too");
    shell("cp c/catalogue.sqlite backup && cp -r upthrust home");
    if (by_itself) {
        assert_true(revoke_key("c", key_of("c"), 3));
    }
    catalogue_clock_step_s = 40;
    add_to("c", "afterwards");
    shell("cp -r c owner && mv upthrust later && mv home upthrust"
          " && cat backup >c/catalogue.sqlite && rm -f c/catalogue.sqlite-*");
    catalogue_clock_step_s = -100000;
    add_to("c", "forged");
    catalogue_clock_step_s = 0;
    shell("cp -r c thief && rm -r c");
}

static void a_thief_who_dates_back_is_left_out(void **state) {
    (void)state;
    steal(true);
    merge_into("d", "thief");
    assert_items("d", "forged good too");
    merge_into("d", "owner");
    assert_items("d", "afterwards good too"); /* the owner has another key since */
    assert_int_equal(doubts_in("d", UP_RECORD_REVOKED), 1);
    merge_into("e", "owner");
    merge_into("e", "thief");
    assert_items("e", "afterwards good too");
    assert_settled("d");
    assert_settled("e");
    /* Kept all the same, and passed on. */
    assert_file_answer("e/catalogue.sqlite",
                       "SELECT count(*) FROM record WHERE body LIKE '%forged%'", "1");
    merge_into("f", "e");
    assert_items("f", "afterwards good too");
}

/* A branch with numbers up to the last good one is not the chain that ends there. */
static void another_branch_is_left_out(void **state) {
    (void)state;
    add_to("c", "good");
    shell("cp c/catalogue.sqlite backup && cp -r upthrust home");
    add_to("c", "too");
    assert_true(revoke_key("c", key_of("c"), 3));
    shell("cp -r c owner && rm -rf upthrust && mv home upthrust"
          " && cat backup >c/catalogue.sqlite && rm -f c/catalogue.sqlite-*");
    add_to("c", "forged"); /* number 3 again */
    merge_into("d", "c");
    merge_into("d", "owner");
    assert_items("d", "good too");
    assert_settled("d");
    assert_int_equal(doubts_in("d", UP_RECORD_FORKED), 2); /* told, and nothing is lost */
    assert_file_answer("d/catalogue.sqlite", "SELECT count(*) FROM record WHERE kind = 'item'",
                       "3");
}

/* What a copied folder writes with the same key is told as such, and both sides are kept. */
static bool note_forked(const struct up_trust_row *row, void *context) {
    *(long long *)context += row->forked;
    return true;
}

static void a_cloned_catalogue_is_told_and_loses_nothing(void **state) {
    (void)state;
    long long forked = 0;
    add_to("c", "before");
    shell("cp c/catalogue.sqlite backup && cp -r upthrust home");
    add_to("c", "left");
    shell("cp -r c left && cat backup >c/catalogue.sqlite && rm -rf c/catalogue.sqlite-* upthrust"
          " && mv home upthrust");
    add_to("c", "right");
    merge_into("c", "left");
    assert_items("c", "before left right");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_true(up_trust_each(catalogue, note_forked, &forked, NULL) && forked == 1);
    up_catalogue_close(catalogue);
    assert_int_equal(doubts_in("c", UP_RECORD_FORKED), 2);
}

static void only_some_may_revoke(void **state) {
    (void)state;
    add_to("a", "one");
    add_to("a", "two");
    merge_into("b", "a");
    const char *a = key_of("a");
    assert_false(revoke_key("b", a, 2)); /* b is nobody to a */
    merge_into("c", "b");
    assert_items("c", "one two");
    give("c", key_of("b"), "editor");
    assert_items("c", "one two");
    give("c", key_of("b"), "federation");
    assert_items("c", "one two"); /* it did not vouch for it */
    vouch("b", a);
    merge_into("c", "b");
    assert_items("c", "one");
    assert_settled("c");
    give("c", key_of("b"), "none");
    assert_items("c", "one two");
    /* The key that followed it may, up to where it followed. */
    new_key("a");
    add_to("a", "three");
    assert_false(revoke_key("a", a, 2));
    assert_items("a", "one three two");
    assert_true(revoke_key("a", a, 4));
    merge_into("c", "a");
    assert_items("c", "one three two");
    assert_settled("c");
    give("c", key_of("b"), "federation"); /* the strictest word counts */
    assert_items("c", "one three");
    assert_settled("c");
}

static void a_recall_is_applied_and_never_undone(void **state) {
    (void)state;
    add_to("a", "one");
    add_to("a", "two");
    add_to("a", "three");
    const char *a = key_of("a");
    merge_into("b", "a");
    assert_false(recall("b", a, 2, 2)); /* nobody to a */
    assert_items("b", "one three two");
    assert_true(recall("a", "", 3, 3));
    assert_items("a", "one three");
    merge_into("b", "a");
    assert_items("b", "one three");
    assert_int_equal(doubts_in("b", UP_RECORD_RECALLED), 1);
    merge_into("c", "b");
    assert_items("c", "one three");
    give("c", key_of("b"), "editor");
    assert_items("c", "three");
    /* The recall itself cannot be recalled. */
    assert_true(recall("a", "", 1, 100));
    assert_items("a", "");
    add_to("a", "four"); /* below a hundred, too */
    assert_items("a", "");
    merge_into("c", "a");
    assert_items("c", "");
    assert_settled("c");
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM recall", "3");
}

/* Whoever merged it before the recall sees the same as whoever merged it after. */
static void what_waits_can_be_recalled(void **state) {
    (void)state;
    struct up_item item = add_to("a", "one");
    merge_into("b", "a");
    struct up_catalogue *catalogue = open_as("b", UP_CATALOGUE_WRITE);
    snprintf(item.name, sizeof item.name, "other");
    assert_true(up_item_add(catalogue, &item, NULL));
    up_catalogue_close(catalogue);
    merge_into("c", "a");
    merge_into("c", "b");
    assert_int_equal(doubts_in("c", UP_RECORD_WAITING), 1);
    assert_true(recall("b", "", 2, 2));
    merge_into("c", "b");
    assert_int_equal(doubts_in("c", UP_RECORD_WAITING), 0);
    assert_int_equal(doubts_in("c", UP_RECORD_RECALLED), 1);
    assert_items("c", "one");
    assert_settled("c");
}

static bool note_left_out(const struct up_trust_row *row, void *context) {
    *(long long *)context += row->left_out + row->recalled;
    return true;
}

static void results_that_were_recalled_are_in_no_figure(void **state) {
    (void)state;
    const char *how;
    char *why;
    unsigned long results = 0;
    long long left_out = 0;
    struct up_item item = add_to("a", "fin");
    struct up_catalogue *catalogue = open_as("a", UP_CATALOGUE_WRITE);
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    assert_int_equal(count_kind(catalogue, "result"), 1);
    up_catalogue_close(catalogue);
    assert_file_answer("a/catalogue.sqlite", "SELECT count(*) FROM result", "1");
    assert_true(recall("a", "", 3, 4));
    catalogue = open_as("a", UP_CATALOGUE_READ);
    assert_int_equal(count_kind(catalogue, "result") + count_kind(catalogue, "decision"), 0);
    assert_file_answer("a/catalogue.sqlite", "SELECT count(*) FROM result", "0");
    assert_true(up_left_out_of_item(catalogue, item.id, &results, &why, NULL) && results == 1);
    assert_non_null(strstr(why, "wrong masses"));
    free(why);
    char *id = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'result'");
    assert_true(up_left_out_why(catalogue, id, &how, &why, NULL));
    assert_string_equal(how, "recalled");
    free(why);
    free(id);
    assert_true(up_trust_each(catalogue, note_left_out, &left_out, NULL) && left_out == 4);
    up_catalogue_close(catalogue);
}

/* What cannot be is refused, before it is signed or taken in. */
static void words_about_keys_have_a_form(void **state) {
    (void)state;
    struct up_failure failure = {0};
    char writer[UP_KEY_SIZE];
    bool counts;
    add_to("a", "fin");
    struct up_catalogue *catalogue = open_as("a", UP_CATALOGUE_WRITE);
    assert_false(up_trust_give(catalogue, "abc", "bench", "x", "", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is not a key");
    assert_false(up_trust_give(catalogue, key_of("a"), "king", "x", "", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is not a role");
    assert_false(up_trust_vouch(catalogue, key_of("a"), "  ", &failure));
    assert_false(up_trust_revoke(catalogue, key_of("a"), 77, "", "x", &counts, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "there is no record number 77");
    assert_false(up_trust_recall(catalogue, "", 7, 6, "x", &counts, &failure));
    assert_false(up_trust_find(catalogue, "ffffffff00", writer, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "no key that was met here");
    char beginning[9];
    snprintf(beginning, sizeof beginning, "%.8s", key_of("a"));
    assert_true(up_trust_find(catalogue, beginning, writer, &failure));
    assert_string_equal(writer, key_of("a"));
    up_catalogue_close(catalogue);
    json_auto_t *none = json_pack("{s:s, s:i, s:n, s:s}", "writer", key_of("a"), "last_sequence", 2,
                                  "last_sha256", "reason", "");
    assert_non_null(catalogue_fault_of_revocation(none));
    json_object_set_new(none, "last_sequence", json_integer(0));
    assert_null(catalogue_fault_of_revocation(none));
    json_object_set_new(none, "writer", json_string("me"));
    assert_non_null(catalogue_fault_of_revocation(none));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_thief_who_dates_back_is_left_out),           TEST(another_branch_is_left_out),
        TEST(a_cloned_catalogue_is_told_and_loses_nothing), TEST(only_some_may_revoke),
        TEST(a_recall_is_applied_and_never_undone),         TEST(what_waits_can_be_recalled),
        TEST(results_that_were_recalled_are_in_no_figure),  TEST(words_about_keys_have_a_form),
    };
    return cmocka_run_group_tests_name("catalogue: revocation", tests, NULL, NULL);
}
