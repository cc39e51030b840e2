/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include "catalogue/kind.h"

#include <math.h>

/* ---- adding ---- */

static struct up_item found(struct up_catalogue *catalogue, const char *wanted) {
    struct up_failure failure = {0};
    struct up_item item;
    if (!up_item_find(catalogue, wanted, &item, &failure)) {
        fail_msg("%s", failure.text);
    }
    return item;
}

static void assert_same(const struct up_item *a, const struct up_item *b) {
    json_t *one = up_item_to_json(a), *two = up_item_to_json(b);
    assert_non_null(one);
    assert_string_equal(a->id, b->id);
    assert_true(json_equal(one, two));
    json_decref(one);
    json_decref(two);
}

static void an_item_comes_back_whole(void **state) {
    (void)state;
    struct up_item item = {.name = "Fin",
                           .kind = "fin",
                           .maker = "somebody",
                           .model = "of no note",
                           .size = "44/45",
                           .pieces = 2,
                           .tolerance_g = 1.1 + 2.2,
                           .expansion_per_k = 4.5e-4,
                           .u_expansion_per_k = 0,
                           .compressible = true};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_item_add(catalogue, &item, NULL));
    assert_int_equal(strlen(item.id), 36);
    struct up_item back = found(catalogue, item.id);
    assert_same(&item, &back);
    assert_true(back.tolerance_g == 1.1 + 2.2 && back.compressible && back.pieces == 2);
    up_catalogue_close(catalogue);
}

static void hostile_names_are_stored_and_found(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(hostile_names); i++) {
        struct up_item item = add_item(catalogue, hostile_names[i].given);
        assert_string_equal(item.name, hostile_names[i].stored);
        struct up_item back = found(catalogue, hostile_names[i].given);
        assert_same(&item, &back);
        back = found(catalogue, hostile_names[i].stored);
        assert_same(&item, &back);
    }
    assert_int_equal(count_kind(catalogue, "item"), ARRAY(hostile_names));
    assert_answer(catalogue->database, "PRAGMA integrity_check", "ok");
    up_catalogue_close(catalogue);
}

static void assert_item_refused(struct up_catalogue *catalogue, struct up_item item,
                                const char *words) {
    struct up_failure failure = {0};
    assert_false(up_item_add(catalogue, &item, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

static void texts_are_checked(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("");
    assert_item_refused(catalogue, item, "--name");
    assert_item_refused(catalogue, plain_item("   "), "--name");
    assert_item_refused(catalogue, plain_item(NAME_300 "x"), "300 bytes");
    item = plain_item("controls that become longer");
    memset(item.name, '\n', 101);
    item.name[101] = '\0';
    assert_item_refused(catalogue, item, "300 bytes");
    item = plain_item("no kind");
    item.kind[0] = '\0';
    assert_item_refused(catalogue, item, "--kind");
    item = plain_item("maker too long");
    memset(item.maker, 'x', 301);
    assert_item_refused(catalogue, item, "--maker");
    item = plain_item("no end");
    memset(item.size, 'x', sizeof item.size);
    assert_item_refused(catalogue, item, "--size");
    item = plain_item("id");
    snprintf(item.id, sizeof item.id, "../../etc");
    assert_item_refused(catalogue, item, "ids are UUIDs");
    assert_int_equal(count_kind(catalogue, "item"), 0);
    up_catalogue_close(catalogue);
}

static void numbers_are_checked(void **state) {
    (void)state;
    static const double bad[] = {
        0, -1, 0.99, 500.01, (double)NAN, (double)INFINITY, -(double)INFINITY};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("x");
    for (size_t i = 0; i < ARRAY(bad); i++) {
        item.tolerance_g = bad[i];
        assert_item_refused(catalogue, item, "one piece is neutral within 1 g to 500 g");
    }
    item.tolerance_g = 500;
    assert_true(up_item_add(catalogue, &item, NULL));
    item = plain_item("x");
    item.pieces = 2;
    item.tolerance_g = 1000.01;
    assert_item_refused(catalogue, item, "a pair is neutral within 1 g to 1000 g");
    item.tolerance_g = 1000;
    assert_true(up_item_add(catalogue, &item, NULL));
    for (int pieces = -1; pieces <= 13; pieces++) {
        item = plain_item("x");
        item.pieces = pieces;
        if (pieces < 1 || pieces > 12) {
            assert_item_refused(catalogue, item, "1 to 12 pieces");
        } else {
            assert_true(up_item_add(catalogue, &item, NULL));
        }
    }
    item = plain_item("x");
    item.expansion_per_k = (double)NAN;
    assert_item_refused(catalogue, item, "expansion");
    item = plain_item("x");
    item.u_expansion_per_k = -1e-9;
    assert_item_refused(catalogue, item, "expansion");
    up_catalogue_close(catalogue);
}

static void a_body_of_somebody_else_is_checked(void **state) {
    (void)state;
    static const char *const changes[] = {"{\"name\": 1}",           "{\"name\": null}",
                                          "{\"pieces\": 0}",         "{\"pieces\": 1.5}",
                                          "{\"pieces\": 13}",        "{\"pieces\": \"1\"}",
                                          "{\"pieces\": 1e300}",     "{\"tolerance_g\": -50}",
                                          "{\"tolerance_g\": null}", "{\"kind\": []}"};
    struct up_item item = plain_item("x"), back;
    for (size_t i = 0; i < ARRAY(changes); i++) {
        json_t *content = up_item_to_json(&item), *change = json_loads(changes[i], 0, NULL);
        assert_true(up_item_from_json(content, &back));
        assert_non_null(change);
        json_object_update(content, change);
        assert_false(up_item_from_json(content, &back));
        json_decref(change);
        json_decref(content);
    }
    json_t *list = json_array();
    assert_false(up_item_from_json(list, &back));
    assert_false(up_item_from_json(NULL, &back));
    json_decref(list);
}

/* ---- versions ---- */

static void a_later_version_takes_the_place(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "first"), back;
    catalogue_clock_step_s = -365L * 86400; /* the clock was lost meanwhile */
    snprintf(item.name, sizeof item.name, "second");
    assert_true(up_item_add(catalogue, &item, NULL));
    back = found(catalogue, item.id);
    assert_string_equal(back.name, "second");
    assert_false(up_item_find(catalogue, "first", &back, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "no item \"first\": `upthrust item list`");
    assert_int_equal(count_kind(catalogue, "item"), 1);
    up_catalogue_close(catalogue);
}

static void a_version_replaces_all_that_merging_left(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "first");
    json_t *content = up_item_to_json(&item);
    assert_true(up_catalogue_add(catalogue, "item", item.id, NULL, content, NULL, NULL, NULL));
    json_decref(content);
    assert_answer(catalogue->database, "SELECT count(*) FROM live WHERE kind <> 'writer'", "2");
    assert_true(up_item_add(catalogue, &item, NULL));
    assert_answer(catalogue->database, "SELECT count(*) FROM live WHERE kind <> 'writer'", "1");
    assert_answer(catalogue->database, "SELECT count(*) FROM replaces", "2");
    up_catalogue_close(catalogue);
}

static void an_id_has_one_spelling(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("x");
    snprintf(item.id, sizeof item.id, "ABCDEF01-2345-4789-ABCD-EF0123456789");
    assert_true(up_item_add(catalogue, &item, NULL));
    assert_string_equal(item.id, "abcdef01-2345-4789-abcd-ef0123456789");
    up_catalogue_close(catalogue);
}

/* ---- finding ---- */

static void add_with_id(struct up_catalogue *catalogue, const char *id, const char *name) {
    struct up_item item = plain_item(name);
    snprintf(item.id, sizeof item.id, "%s", id);
    assert_true(up_item_add(catalogue, &item, NULL));
}

static void assert_not_found(struct up_catalogue *catalogue, const char *wanted,
                             const char *words) {
    struct up_failure failure = {0};
    struct up_item item;
    assert_false(up_item_find(catalogue, wanted, &item, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

#define ID_A  "aaaa1111-0000-4000-8000-000000000001"
#define ID_A2 "aaaa1222-0000-4000-8000-000000000002"
#define ID_B  "bbbb0000-0000-4000-8000-000000000003"
#define ID_C  "cccc0000-0000-4000-8000-000000000004"
#define ID_D  "dddd0000-0000-4000-8000-000000000005"

static void an_item_has_several_handles(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_with_id(catalogue, ID_A, "Hood");
    add_with_id(catalogue, ID_A2, "hood");
    add_with_id(catalogue, ID_B, "Boot");
    add_with_id(catalogue, ID_C, "bbbb");
    add_with_id(catalogue, ID_D, ID_B " is not an id");
    assert_string_equal(found(catalogue, ID_A).id, ID_A);
    assert_string_equal(found(catalogue, "AAAA1111-0000-4000-8000-000000000001").id, ID_A);
    assert_string_equal(found(catalogue, "aaaa11").id, ID_A);
    assert_string_equal(found(catalogue, "aaaa12").id, ID_A2);
    assert_string_equal(found(catalogue, "Hood").id, ID_A);
    assert_string_equal(found(catalogue, "hood").id, ID_A2);
    assert_string_equal(found(catalogue, "BOOT").id, ID_B);
    assert_string_equal(found(catalogue, ID_B).id, ID_B);
    assert_string_equal(found(catalogue, ID_B " is not an id").id, ID_D);
    assert_string_equal(found(catalogue, "dddd").id, ID_D);
    up_catalogue_close(catalogue);
}

static void what_is_ambiguous_is_not_guessed(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_with_id(catalogue, ID_A, "Hood");
    add_with_id(catalogue, ID_A2, "hood");
    add_with_id(catalogue, ID_B, "Boot");
    add_with_id(catalogue, ID_C, "bbbb");
    assert_not_found(catalogue, "HOOD", "2 items are called \"HOOD\": give the id, one of");
    assert_not_found(catalogue, "HOOD", ID_A " (Hood)");
    assert_not_found(catalogue, "HOOD", ID_A2 " (hood)");
    assert_not_found(catalogue, "aaaa1", "2 items fit \"aaaa1\": give the id");
    assert_not_found(catalogue, "bbbb", "2 items fit \"bbbb\"");
    assert_not_found(catalogue, "aaa", "no item \"aaa\"");
    up_catalogue_close(catalogue);
}

static void many_of_one_name_fit_one_line(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (int i = 0; i < 7; i++) {
        /* three bytes each: cutting must not leave half of one */
        add_item(catalogue, "\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A"
                            "\x93\xE2\x9A\x93\xE2\x9A\x93 anchors and some more words that go on "
                            "for longer than a line may take");
    }
    struct up_failure failure = {0};
    struct up_item item;
    assert_false(up_item_find(catalogue,
                              "\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A\x93\xE2\x9A\x93\xE2"
                              "\x9A\x93\xE2\x9A\x93\xE2\x9A\x93 anchors and some more words that "
                              "go on for longer than a line may take",
                              &item, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "7 items are called");
    assert_says(&failure, UP_STATUS_WRONG_INPUT, ", ...");
    int shown = 0;
    for (const char *at = failure.text; (at = strstr(at, "-4")) != NULL; at++) {
        shown++;
    }
    assert_true(shown >= 5);
    char *clean = up_text_clean(failure.text, strlen(failure.text));
    assert_string_equal(clean, failure.text);
    free(clean);
    up_catalogue_close(catalogue);
}

static void the_unknown_is_told_with_the_nearest(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_not_found(catalogue, "anything", "`upthrust item add`");
    add_item(catalogue, "Plain fin");
    add_item(catalogue, "Twin fins");
    add_item(catalogue, "Torch");
    assert_not_found(catalogue, "Plain fim", "did you mean \"Plain fin\"");
    assert_not_found(catalogue, "twinfins", "did you mean \"Twin fins\"");
    assert_not_found(catalogue, "Torhc", "did you mean \"Torch\"");
    assert_not_found(catalogue, "Torhc", "`upthrust item list`");
    assert_not_found(catalogue, "", "no item \"\"");
    assert_not_found(catalogue, "' OR 1=1 --", "no item");
    assert_not_found(catalogue, "%", "no item \"%\"");
    assert_not_found(catalogue, NAME_300 NAME_300 NAME_300, "no item \"0123");
    up_catalogue_close(catalogue);
}

static void things_measured_together_keep_their_parts(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item fin = add_item(catalogue, "a fin"), boot = add_item(catalogue, "a boot");
    struct up_item both = fin, found;
    both.id[0] = '\0';
    snprintf(both.name, sizeof both.name, "a boot in a fin");
    memcpy(both.part_id[0], fin.id, sizeof fin.id);
    memcpy(both.part_id[1], boot.id, sizeof boot.id);
    both.parts = 2;
    assert_true(up_item_add(catalogue, &both, NULL));
    assert_true(up_item_find(catalogue, "a boot in a fin", &found, NULL));
    assert_int_equal(found.parts, 2);
    assert_string_equal(found.part_id[0], fin.id);
    assert_string_equal(found.part_id[1], boot.id);
    assert_true(up_item_find(catalogue, "a fin", &found, NULL));
    assert_int_equal(found.parts, 0);
    up_catalogue_close(catalogue);
}

static struct up_item stored_as(const char *text) {
    struct up_item item;
    json_t *content = json_loads(text, 0, NULL);
    assert_non_null(content);
    up_item_from_json(content, &item); /* which lacks the rest */
    json_decref(content);
    return item;
}

static void what_nobody_told_is_no_no(void **state) {
    (void)state;
    static const struct {
        const char *kind;
        enum up_holds_gas stated, wanted;
        bool compressible;
    } cases[] = {
        {"fin", UP_GAS_NOT_STATED, UP_GAS_NO, false},
        {"FIN", UP_GAS_NOT_STATED, UP_GAS_NO, false},
        {"fin", UP_GAS_YES, UP_GAS_YES, false},
        {"fin", UP_GAS_NOT_STATED, UP_GAS_YES, true},
        {"fin", UP_GAS_NO, UP_GAS_YES, true}, /* a boot is part of it */
        {"boot", UP_GAS_NOT_STATED, UP_GAS_UNKNOWN, false},
        {"Hood", UP_GAS_NO, UP_GAS_NO, false},
        {"glove", UP_GAS_UNKNOWN, UP_GAS_UNKNOWN, false},
        {"suit", UP_GAS_NOT_STATED, UP_GAS_UNKNOWN, false},
        {"vest", UP_GAS_NOT_STATED, UP_GAS_UNKNOWN, false},
        {"jacket", UP_GAS_NOT_STATED, UP_GAS_UNKNOWN, false},
        {"zeppelin", UP_GAS_NOT_STATED, UP_GAS_UNKNOWN, false},
        {"cylinder", UP_GAS_NOT_STATED, UP_GAS_NO, false},
    };
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(cases); i++) {
        struct up_item item = plain_item("x");
        snprintf(item.kind, sizeof item.kind, "%s", cases[i].kind);
        item.holds_gas = cases[i].stated;
        item.compressible = cases[i].compressible;
        assert_true(up_item_add(catalogue, &item, NULL));
        struct up_item back = found(catalogue, item.id);
        assert_int_equal(back.holds_gas, cases[i].wanted);
        assert_int_equal(back.compressible, cases[i].wanted != UP_GAS_NO);
    }
    up_catalogue_close(catalogue);
    /* Records of before it was kept. */
    assert_true(!stored_as("{\"kind\": \"fin\", \"compressible\": false}").compressible);
    assert_true(stored_as("{\"kind\": \"boot\", \"compressible\": false}").compressible);
    assert_true(stored_as("{\"kind\": \"fin\", \"compressible\": true}").compressible);
    assert_int_equal(up_holds_gas_of("maybe"), UP_GAS_NOT_STATED);
}

static void kinds_that_are_filled_are_known(void **state) {
    (void)state;
    assert_int_equal(up_kind_facts("Cylinder")->filled, UP_FILLED_TO_PRESSURE);
    assert_int_equal(up_kind_facts("pony")->filled, UP_FILLED_TO_PRESSURE);
    assert_int_equal(up_kind_facts("jacket")->filled, UP_FILLED_EMPTIED);
    assert_int_equal(up_kind_facts("bladder")->filled, UP_FILLED_EMPTIED);
    assert_int_equal(up_kind_facts("fin")->filled, UP_FILLED_NEVER);
    assert_int_equal(up_kind_facts("zeppelin")->filled, UP_FILLED_NEVER);
    assert_int_equal(up_kind_facts("zeppelin")->holds_gas, UP_GAS_NOT_STATED);
}

static void weigh(struct up_catalogue *catalogue, const struct up_item *item) {
    struct up_failure failure = {0};
    struct up_result result = plain_result(item->id, "tank");
    if (!up_results_add(catalogue, &result, 1, "bench", &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void pieces_of_what_was_weighed_stay(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item fin = add_item(catalogue, "a fin"), other = add_item(catalogue, "another");
    struct up_item trial_only = add_item(catalogue, "left after a trial");
    fin.pieces = 2;
    assert_true(up_item_add(catalogue, &fin, NULL));
    fin.pieces = 1;
    assert_true(up_item_add(catalogue, &fin, NULL)); /* nothing was weighed yet */
    weigh(catalogue, &fin);
    json_t *trial = json_pack("{s:s}", "item_id", trial_only.id);
    assert_true(up_catalogue_add(catalogue, "trial", NULL, "bench", trial, NULL, NULL, NULL));
    json_decref(trial);
    fin.pieces = 2;
    assert_item_refused(catalogue, fin, "add the pair as a new item");
    fin.pieces = 3;
    assert_item_refused(catalogue, fin, "was measured with 1 piece");
    trial_only.pieces = 2;
    assert_item_refused(catalogue, trial_only, "add the pair as a new item");
    fin.pieces = 1;
    fin.tolerance_g = 40;
    assert_true(up_item_add(catalogue, &fin, NULL)); /* all else may change */
    other.pieces = 2;
    assert_true(up_item_add(catalogue, &other, NULL));
    up_catalogue_close(catalogue);
}

/* What the owner noted goes both ways; what was stored before there was such a member has none. */
static void what_the_owner_noted_stays(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "Fin"), back;
    assert_true(up_item_find(catalogue, "Fin", &back, NULL));
    assert_string_equal(back.side, "");
    assert_false(back.retired);
    snprintf(item.stock_number, sizeof item.stock_number, "0042");
    snprintf(item.note, sizeof item.note, "new strap");
    snprintf(item.side, sizeof item.side, "left");
    item.retired = true;
    assert_true(up_item_add(catalogue, &item, NULL));
    assert_true(up_item_find(catalogue, "Fin", &back, NULL));
    assert_string_equal(back.stock_number, "0042");
    assert_string_equal(back.note, "new strap");
    assert_string_equal(back.side, "left");
    assert_true(back.retired);
    up_catalogue_close(catalogue);
    json_t *old = up_item_to_json(&item);
    static const char *const later[] = {"stock_number", "note", "side", "retired"};
    for (size_t i = 0; i < ARRAY(later); i++) {
        assert_int_equal(json_object_del(old, later[i]), 0);
    }
    assert_true(up_item_from_json(old, &back));
    assert_false(back.retired);
    json_object_set_new(old, "side", json_string("middle"));
    assert_false(up_item_from_json(old, &back));
    json_decref(old);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(an_item_comes_back_whole),
        TEST(hostile_names_are_stored_and_found),
        TEST(texts_are_checked),
        TEST(numbers_are_checked),
        TEST(a_body_of_somebody_else_is_checked),
        TEST(a_later_version_takes_the_place),
        TEST(a_version_replaces_all_that_merging_left),
        TEST(an_id_has_one_spelling),
        TEST(an_item_has_several_handles),
        TEST(what_is_ambiguous_is_not_guessed),
        TEST(many_of_one_name_fit_one_line),
        TEST(the_unknown_is_told_with_the_nearest),
        TEST(things_measured_together_keep_their_parts),
        TEST(pieces_of_what_was_weighed_stay),
        TEST(what_nobody_told_is_no_no),
        TEST(kinds_that_are_filled_are_known),
        TEST(what_the_owner_noted_stays),
    };
    return cmocka_run_group_tests_name("catalogue: items", tests, NULL, NULL);
}
