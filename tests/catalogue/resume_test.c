/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which run can be gone on with, and what was stored of it. */
#include "support.h"

#include "catalogue/run.h"

static const char FIRST[] = "aaaa1111-0000-4000-8000-000000000001";
static const char SECOND[] = "aabb2222-0000-4000-8000-000000000002";
static const char ITEM[] = "00000000-0000-4000-8000-00000000000a";
static const char OTHER[] = "00000000-0000-4000-8000-00000000000b";

static void add(struct up_catalogue *catalogue, const char *kind, const char *subject,
                const char *bench, json_t *content) {
    struct up_failure failure = {0};
    if (!up_catalogue_add(catalogue, kind, subject, bench, content, NULL, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
    json_decref(content);
    catalogue_clock_step_s++;
}

/* As a session leaves it; how_ended NULL: somebody is at work on it. */
static void add_run(struct up_catalogue *catalogue, const char *id, const char *how_ended,
                    const char *continues) {
    json_t *content =
        json_pack("{s:s, s:s, s:s?}", "what", "measure", "item_id", ITEM, "how_ended", how_ended);
    if (continues != NULL) {
        json_object_set_new(content, "continues", json_pack("[s]", continues));
    }
    add(catalogue, "run", id, "one", content);
}

static void add_trial(struct up_catalogue *catalogue, const char *run_id, int number) {
    add(catalogue, "trial", NULL, "one",
        json_pack("{s:s, s:s, s:i}", "run_id", run_id, "item_id", ITEM, "number", number));
}

static bool find(struct up_catalogue *catalogue, const char *bench, const char *item_id,
                 const char *id, struct up_unfinished *found, struct up_failure *failure) {
    *failure = (struct up_failure){0};
    return up_run_find_unfinished(catalogue, "measure", bench, item_id, id, found, failure);
}

static void assert_not_found(struct up_catalogue *catalogue, const char *bench, const char *item_id,
                             const char *id, const char *says) {
    struct up_unfinished found;
    struct up_failure failure;
    assert_false(find(catalogue, bench, item_id, id, &found, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, says);
    assert_null(found.continues);
}

static void a_run_is_gone_on_with_by_its_own_item_at_its_own_bench(void **state) {
    (void)state;
    struct up_unfinished found;
    struct up_failure failure;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_run(catalogue, FIRST, "stopped", NULL);
    assert_true(find(catalogue, "one", ITEM, NULL, &found, &failure));
    assert_string_equal(found.run_id, FIRST);
    json_decref(found.continues);
    assert_true(find(catalogue, "one", ITEM, "aaaa", &found, &failure));
    json_decref(found.continues);
    assert_not_found(catalogue, "one", ITEM, "aaa", "at least four characters");
    assert_not_found(catalogue, "one", OTHER, "aaaa", "is of another item");
    assert_not_found(catalogue, "two", ITEM, "aaaa", "is of another bench");
    assert_not_found(catalogue, "one", OTHER, NULL, "there is no run of measure");
    assert_not_found(catalogue, "two", ITEM, NULL, "there is no run of measure");
    assert_not_found(catalogue, "one", ITEM, "bbbb", "there is no run bbbb");
    up_catalogue_close(catalogue);
}

static void a_run_at_its_end_has_nothing_left(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_run(catalogue, FIRST, "stopped", NULL);
    add_run(catalogue, SECOND, "completed", NULL);
    assert_not_found(catalogue, "one", ITEM, NULL, "is complete");
    assert_not_found(catalogue, "one", ITEM, SECOND, "is complete");
    up_catalogue_close(catalogue);
}

static void a_run_at_work_is_let_alone(void **state) {
    (void)state;
    struct up_unfinished found;
    struct up_failure failure;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_run(catalogue, FIRST, NULL, NULL);
    assert_false(find(catalogue, "one", ITEM, NULL, &found, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "still running");
    up_catalogue_close(catalogue);
}

/* The second went on with the first: only it can be gone on with, and it has what both stored, each
   trial once. */
static void runs_that_go_on_with_each_other_are_one(void **state) {
    (void)state;
    struct up_unfinished found;
    struct up_failure failure;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_run(catalogue, FIRST, "failed", NULL);
    add_trial(catalogue, FIRST, 1);
    add_trial(catalogue, FIRST, 2);
    add_run(catalogue, SECOND, "stopped", FIRST);
    add_trial(catalogue, SECOND, 2);
    add_trial(catalogue, SECOND, 3);
    add_trial(catalogue, "cccc3333-0000-4000-8000-000000000003", 4); /* of another run */
    assert_not_found(catalogue, "one", ITEM, FIRST, "was continued already");
    assert_true(find(catalogue, "one", ITEM, NULL, &found, &failure));
    assert_string_equal(found.run_id, SECOND);
    assert_int_equal(json_array_size(found.continues), 2);
    assert_int_equal(found.trials, 3);
    assert_true(found.stored[1] && found.stored[2] && found.stored[3] && !found.stored[4]);
    json_decref(found.continues);
    up_catalogue_close(catalogue);
}

/* By its directory: four characters at least, and no way out of it. */
static void files_are_named_by_four_characters(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_run *run = NULL;
    struct up_run_files files;
    char run_id[UP_ID_SIZE], beginning[5];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    assert_true(up_run_open(catalogue, "one", about, run_id, &run, &failure));
    up_run_close(run);
    for (int length = 1; length <= 4; length++) {
        snprintf(beginning, sizeof beginning, "%.*s", length, run_id);
        assert_true(up_run_read(catalogue, beginning, &files, &failure) == (length == 4));
    }
    assert_string_equal(files.id, run_id);
    up_run_files_free(&files);
    assert_false(up_run_read(catalogue, "../exchange", &files, &failure));
    json_decref(about);
    up_catalogue_close(catalogue);
}

static void make_run(struct up_catalogue *catalogue, const char *item_id, char run_id[UP_ID_SIZE]) {
    struct up_run *run = NULL;
    json_t *about = json_pack("{s:s, s:s}", "what", "measure", "item_id", item_id);
    assert_true(up_run_open(catalogue, "one", about, run_id, &run, NULL));
    up_run_close(run);
    json_decref(about);
}

static bool has_its_files(struct up_catalogue *catalogue, const char *run_id, bool of_here,
                          const char *says) {
    struct up_run_files files;
    struct up_failure failure = {0};
    assert_true(up_run_read(catalogue, run_id, &files, NULL));
    bool good = up_run_check_files(catalogue, &files, of_here, &failure);
    if (!good) {
        assert_says(&failure, UP_STATUS_WRONG_INPUT, says);
    }
    up_run_files_free(&files);
    return good;
}

static void edit_journal(const char *run_id, const char *from, const char *to) {
    char *command = up_text_format("sed -i 's/%s/%s/' c/runs/%s/journal.jsonl", from, to, run_id);
    assert_int_equal(system(command), 0);
    free(command);
}

/* Folders that were exchanged, with or without their ids, and a run that was made elsewhere. */
static void the_files_are_those_of_the_run(void **state) {
    (void)state;
    static const char *const other = "are not those of that run";
    char one[UP_ID_SIZE], two[UP_ID_SIZE], three[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    make_run(catalogue, ITEM, one);
    make_run(catalogue, OTHER, two);
    assert_true(has_its_files(catalogue, one, true, ""));
    char *path_one = up_text_format("c/runs/%s", one), *path_two = up_text_format("c/runs/%s", two);
    assert_int_equal(rename(path_one, "kept"), 0);
    assert_int_equal(rename(path_two, path_one), 0);
    assert_int_equal(rename("kept", path_two), 0);
    assert_false(has_its_files(catalogue, one, true, other));
    edit_journal(one, two, one);
    assert_false(has_its_files(catalogue, one, true, other)); /* it is of another item */
    edit_journal(one, OTHER, ITEM);
    assert_true(has_its_files(catalogue, one, true, ""));
    make_run(catalogue, ITEM, three); /* of the same item: the id alone tells them apart */
    char *path_three = up_text_format("c/runs/%s", three);
    assert_int_equal(rename(path_one, "kept"), 0);
    assert_int_equal(rename(path_three, path_one), 0);
    assert_false(has_its_files(catalogue, one, true, other));
    assert_int_equal(rename(path_one, path_three), 0);
    assert_int_equal(rename("kept", path_one), 0);
    assert_true(has_its_files(catalogue, one, true, ""));
    free(path_three);
    sql(catalogue->database, "DELETE FROM local_mark");
    assert_true(has_its_files(catalogue, one, false, ""));
    assert_false(has_its_files(catalogue, one, true, "was not made here"));
    free(path_one);
    free(path_two);
    up_catalogue_close(catalogue);
}

/* Its cell may be another one: a copied folder, another laptop. The end of a killed run is stored
   by whoever finds it. */
static void a_run_that_was_begun_elsewhere_is_let_alone(void **state) {
    (void)state;
    struct up_unfinished found;
    struct up_failure failure;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_run(catalogue, FIRST, NULL, NULL);
    sql(catalogue->database, "UPDATE local_mark SET place = 'another'");
    add_run(catalogue, FIRST, "crashed", NULL);
    assert_not_found(catalogue, "one", ITEM, NULL, "there is no run of measure");
    assert_not_found(catalogue, "one", ITEM, FIRST, "was begun in another folder");
    add_run(catalogue, SECOND, "stopped", NULL);
    add_trial(catalogue, SECOND, 1);
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN"
                             " (SELECT id FROM record WHERE kind = 'trial')");
    add_trial(catalogue, SECOND, 2);
    /* Any JSON may stand in a record. */
    add(catalogue, "run", SECOND, "one",
        json_pack("{s:s, s:s, s:s, s:[i, n]}", "what", "measure", "item_id", ITEM, "how_ended",
                  "stopped", "continues", 5));
    assert_true(find(catalogue, "one", ITEM, NULL, &found, &failure));
    assert_string_equal(found.run_id, SECOND);
    assert_int_equal(found.trials, 1); /* one of elsewhere is none of it */
    json_decref(found.continues);
    up_catalogue_close(catalogue);
}

/* Whatever somebody says of our run. */
static void one_of_elsewhere_goes_on_with_none_of_here(void **state) {
    (void)state;
    struct up_unfinished found;
    struct up_failure failure;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_run(catalogue, FIRST, "stopped", NULL);
    add_run(catalogue, SECOND, "stopped", FIRST);
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN"
                             " (SELECT id FROM record WHERE subject LIKE 'aabb%')");
    for (int i = 0; i < 2; i++) {
        assert_true(find(catalogue, "one", ITEM, i == 0 ? NULL : FIRST, &found, &failure));
        assert_string_equal(found.run_id, FIRST);
        json_decref(found.continues);
    }
    up_catalogue_close(catalogue);
}

/* Whatever id a guest's run has, the beginning that ours was called by finds ours. */
static void a_guests_id_blocks_no_short_form(void **state) {
    (void)state;
    struct up_unfinished found;
    struct up_failure failure;
    struct up_run_files files;
    char run_id[UP_ID_SIZE], alike[UP_ID_SIZE], beginning[9];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    make_run(catalogue, ITEM, run_id);
    catalogue_clock_step_s++; /* within one millisecond the ids would say which is the newer */
    add_run(catalogue, run_id, "stopped", NULL);
    memcpy(alike, run_id, sizeof alike);
    alike[35] = run_id[35] == '0' ? '1' : '0';
    add_run(catalogue, alike, "stopped", NULL);
    snprintf(beginning, sizeof beginning, "%.8s", run_id);
    assert_not_found(catalogue, "one", ITEM, beginning, "that begin only one");
    char *give_away = up_text_format("DELETE FROM local_mark WHERE record_id IN"
                                     " (SELECT id FROM record WHERE subject = '%s')",
                                     alike);
    sql(catalogue->database, give_away);
    assert_true(find(catalogue, "one", ITEM, beginning, &found, &failure));
    assert_string_equal(found.run_id, run_id);
    json_decref(found.continues);
    assert_not_found(catalogue, "one", ITEM, alike, "was begun in another folder");
    char *folder = up_text_format("cp -r c/runs/%s c/runs/%s", run_id, alike);
    assert_int_equal(system(folder), 0);
    assert_true(up_run_read(catalogue, beginning, &files, &failure));
    assert_string_equal(files.id, run_id);
    up_run_files_free(&files);
    free(folder);
    free(give_away);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(the_files_are_those_of_the_run),
        TEST(a_run_that_was_begun_elsewhere_is_let_alone),
        TEST(one_of_elsewhere_goes_on_with_none_of_here),
        TEST(a_guests_id_blocks_no_short_form),
        TEST(a_run_is_gone_on_with_by_its_own_item_at_its_own_bench),
        TEST(a_run_at_its_end_has_nothing_left),
        TEST(a_run_at_work_is_let_alone),
        TEST(runs_that_go_on_with_each_other_are_one),
        TEST(files_are_named_by_four_characters),
    };
    return cmocka_run_group_tests_name("catalogue: runs to go on with", tests, NULL, NULL);
}
