/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose records count: what is given here, what writers say of keys, and every order of merging. */
#include "catalogue/trust.h"
#include "foreign_records.h"

static void shell(const char *command) {
    if (system(command) != 0) {
        fail_msg("%s", command);
    }
}

static struct up_intake merge(struct up_catalogue *catalogue, const char *from) {
    struct up_intake intake;
    struct up_failure failure = {0};
    if (!up_catalogue_merge(catalogue, from, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake;
}

static void merge_into(const char *directory, const char *from) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    merge(catalogue, from);
    up_catalogue_close(catalogue);
}

static struct up_item add_to(const char *directory, const char *name) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, name);
    up_catalogue_close(catalogue);
    return item;
}

/* The key that signed last in a folder; in one of four buffers, used in turn. */
static const char *key_of(const char *directory) {
    static char key[4][UP_KEY_SIZE];
    static int next = 0;
    next = (next + 1) % 4;
    char *path = up_text_format("%s/catalogue.sqlite", directory);
    sqlite3 *database = outside(path);
    char *found = ask(database, "SELECT s.writer FROM signed AS s JOIN local_mark AS m ON"
                                " m.record_id = s.id AND m.mark = 'made' JOIN record AS r ON"
                                " r.id = s.id ORDER BY r.rowid DESC");
    memcpy(key[next], found, UP_KEY_SIZE);
    free(found);
    free(path);
    sqlite3_close(database);
    return key[next];
}

static void give(const char *directory, const char *writer, const char *role) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    if (!up_trust_give(catalogue, writer, role, "somebody", &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
}

static void vouch(const char *directory, const char *writer) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    assert_true(up_trust_vouch(catalogue, writer, "a shop", NULL));
    up_catalogue_close(catalogue);
}

/* Whether it counts there. */
static bool revoke_key(const char *directory, const char *writer, long long last) {
    struct up_failure failure = {0};
    bool counts = false;
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    if (!up_trust_revoke(catalogue, writer, last, "", "stolen", &counts, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return counts;
}

static bool recall(const char *directory, const char *writer, long long first, long long last) {
    bool counts = false;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    if (!up_trust_recall(catalogue, writer, first, last, "wrong masses", &counts, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
    return counts;
}

/* ---- what is seen ---- */

static bool note_name(const struct up_record *record, void *context) {
    json_array_append_new(context, json_string(up_record_text(record->content, "name")));
    return true;
}

static int compare_names(const void *a, const void *b) {
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* The names of the items that count, in order, by blanks. */
static void assert_items(const char *directory, const char *wanted) {
    const char *name[64];
    char seen[1024] = "";
    struct up_failure failure = {0};
    json_auto_t *names = json_array();
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_READ);
    if (!up_catalogue_each(catalogue, "item", note_name, names, &failure)) {
        fail_msg("%s", failure.text);
    }
    for (size_t i = 0; i < json_array_size(names); i++) {
        name[i] = json_string_value(json_array_get(names, i));
    }
    qsort(name, json_array_size(names), sizeof name[0], compare_names);
    for (size_t i = 0; i < json_array_size(names); i++) {
        snprintf(seen + strlen(seen), sizeof seen - strlen(seen), "%s%s", i > 0 ? " " : "",
                 name[i]);
    }
    assert_string_equal(seen, wanted);
    char *path = up_text_format("%s/catalogue.sqlite", directory);
    assert_file_answer(path,
                       "SELECT coalesce(group_concat(name, ' '), '') FROM"
                       " (SELECT name FROM item ORDER BY name)",
                       wanted);
    free(path);
    up_catalogue_close(catalogue);
}

static unsigned doubts[UP_RECORD_WAITING + 1];
static bool count_doubt(const struct up_doubtful_record *doubtful, void *context) {
    (void)context;
    doubts[doubtful->why]++;
    return true;
}

static unsigned doubts_in(const char *directory, enum up_record_doubt why) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_READ);
    memset(doubts, 0, sizeof doubts);
    assert_true(up_catalogue_check(catalogue, count_doubt, NULL, NULL));
    up_catalogue_close(catalogue);
    return doubts[why];
}

/* The derived tables are what they are when all is made anew. */
static void assert_settled(const char *directory) {
    static const char all[] =
        "SELECT group_concat(t, '|') FROM (SELECT record_id || sha256 || how || why AS t FROM"
        " left_out UNION SELECT writer || role || how || through || name FROM standing"
        " UNION SELECT old || new FROM rotated UNION SELECT writer || last_sequence || by_writer"
        " FROM revoked UNION SELECT sha256 FROM recalled ORDER BY 1)";
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    char *before = ask(catalogue->database, all);
    assert_true(catalogue_begin(catalogue, NULL));
    sql(catalogue->database, "DELETE FROM left_out; DELETE FROM standing; DELETE FROM revoked;"
                             "DELETE FROM rotated; DELETE FROM recalled");
    assert_true(catalogue_touch_all(catalogue, NULL));
    if (!catalogue_end(catalogue, true, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_answer(catalogue->database, all, before);
    free(before);
    up_catalogue_close(catalogue);
}

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

static void new_key(const char *directory) {
    char writer[UP_KEY_SIZE];
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_WRITE);
    if (!up_trust_new_key(catalogue, writer, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(catalogue);
}

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
    give("c", key_of("x"), "federation"); /* and may say more than the federation */
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) FROM standing WHERE how = 'vouching' AND role = 'bench'",
                       "2");
    assert_settled("c");
}

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
    assert_false(up_trust_give(catalogue, "abc", "bench", "x", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is not a key");
    assert_false(up_trust_give(catalogue, key_of("a"), "king", "x", &failure));
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
    char here[16];
    snprintf(here, sizeof here, "order%d", order);
    struct up_catalogue *catalogue = open_as(here, UP_CATALOGUE_CREATE);
    if (order % 2 == 1) { /* trust before, or afterwards */
        assert_true(up_trust_give(catalogue, key_of("a"), "none", "", NULL));
    }
    merge_in_order(catalogue, order);
    for (int i = 0; i < TRUSTS; i++) {
        assert_true(up_trust_give(catalogue, key_of(trusts[i][0]), trusts[i][1], "somebody", NULL));
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
        TEST(a_strangers_version_waits),
        TEST(a_person_accepts_what_waits),
        TEST(nobody_takes_a_thing_over),
        TEST(trust_passes_to_the_next_key),
        TEST(no_key_calls_itself_the_one_before),
        TEST(vouching_counts_for_one_level),
        TEST(a_thief_who_dates_back_is_left_out),
        TEST(another_branch_is_left_out),
        TEST(a_cloned_catalogue_is_told_and_loses_nothing),
        TEST(only_some_may_revoke),
        TEST(a_recall_is_applied_and_never_undone),
        TEST(results_that_were_recalled_are_in_no_figure),
        TEST(words_about_keys_have_a_form),
        TEST(what_somebody_trusted_signed_counts),
        TEST(every_permutation_gives_the_same),
        TEST(an_older_file_is_read_as_it_will_be),
    };
    return cmocka_run_group_tests_name("catalogue: trust", tests, NULL, NULL);
}
