/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Catalogues of many guests, bad ones among them, put together in shuffled orders: the same comes
   out, word by word. */
#include "support.h"

enum { GUESTS = 7, ORDERS = 8, IDS = 12 };

/* What they all write about: ids of records, and the item and run that they name. */
static char id[IDS][UP_ID_SIZE], thing[2][UP_ID_SIZE];

static json_t *item_named(const char *name) {
    struct up_item item = plain_item(name);
    return up_item_to_json(&item);
}

static json_t *content_of(const char *kind, int guest) {
    UP_FREED char *name = up_text_format("of guest %d", guest);
    if (strcmp(kind, "item") == 0) {
        return item_named(name);
    }
    if (strcmp(kind, "run") == 0) {
        return json_pack("{s:s, s:s, s:s, s:s, s:i}", "what", "measure", "version", name,
                         "rig_sha256", "0", "item_id", thing[0], "bench_sequence", 40 + guest);
    }
    struct up_calibration calibration = plain_calibration("bench", 1e5 + guest);
    json_t *content = up_calibration_to_json(&calibration);
    json_object_set_new(content, "bench_sequence", json_integer(100 * (guest + 1)));
    return content;
}

/* A record that is good by itself, under an id that others use too, and of any kind. */
static void put_under(struct up_catalogue *catalogue, int at, const char *kind, int guest,
                      const char *replaces) {
    struct up_record record = {.content = content_of(kind, guest)};
    json_t *old = replaces != NULL ? json_pack("[s]", replaces) : json_array();
    bool alone = strcmp(kind, "calibration") == 0;
    memcpy(record.id, id[at], sizeof record.id);
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.bench, sizeof record.bench, "%s", strcmp(kind, "item") == 0 ? "" : "bench");
    memcpy(record.subject, alone ? record.id : thing[at % 2], sizeof record.subject);
    snprintf(record.made_utc, sizeof record.made_utc, "20%02d-01-01T00:00:00.000Z", 10 + guest);
    assert_true(catalogue_hash(&record, old));
    assert_true(catalogue_insert(catalogue, &record, old, NULL));
    json_decref(record.content);
    json_decref(old);
}

/* Some ids have one content everywhere, some two or three, some of several kinds. */
static void make_guest(int guest) {
    static const char *const kinds[] = {"item", "run", "calibration"};
    char name[16];
    snprintf(name, sizeof name, "guest%d", guest);
    struct up_catalogue *catalogue = open_as(name, UP_CATALOGUE_CREATE);
    for (int at = 0; at < IDS; at++) {
        int content = at % 4 == 0 ? at : rand() % 3;
        if (rand() % 3 > 0) {
            put_under(catalogue, at, kinds[at % 4 == 1 ? (content + at) % 3 : at % 3], content,
                      at % 3 == 0 && content == 1 ? id[(at + 3) % IDS] : NULL);
        }
    }
    if (guest == 0) {
        struct up_item own = add_item(catalogue, "a good guest's fin");
        struct up_result result = plain_result(own.id, "tank");
        assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    }
    up_catalogue_close(catalogue);
}

static void begin_guests(unsigned seed) {
    srand(seed);
    for (int i = 0; i < IDS; i++) {
        up_new_id(id[i]);
    }
    up_new_id(thing[0]);
    up_new_id(thing[1]);
    for (int guest = 0; guest < GUESTS; guest++) {
        make_guest(guest);
    }
}

static void take_from(struct up_catalogue *catalogue, int guest) {
    char name[16];
    struct up_intake intake;
    struct up_failure failure = {0};
    snprintf(name, sizeof name, "guest%d", guest);
    if (rand() % 2) {
        struct up_catalogue *its = open_as(name, UP_CATALOGUE_READ);
        assert_true(up_export_json(its, name, NULL));
        up_catalogue_close(its);
        if (!up_catalogue_import(catalogue, name, false, &intake, &failure)) {
            fail_msg("%s", failure.text);
        }
    } else if (!up_catalogue_merge(catalogue, name, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static bool note_doubt(const struct up_doubtful_record *doubtful, void *context) {
    char *one = up_text_format("%s %d %s %s %s\n", doubtful->id, (int)doubtful->why, doubtful->kind,
                               doubtful->made_utc, doubtful->reason);
    char **all = context, *both = up_text_format("%s%s", *all, one);
    free(one);
    free(*all);
    *all = both;
    return true;
}

/* All that can be seen of it, in one text for the caller. */
static char *told_by(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    char *text = up_text_format("%s", "");
    if (!up_catalogue_check(catalogue, note_doubt, &text, &failure) ||
        !up_export_json(catalogue, "seen", &failure) ||
        !up_export_csv(catalogue, "seen", &failure)) {
        fail_msg("%s", failure.text);
    }
    static const char *const files[] = {"catalogue.json", "items.csv", "calibrations.csv",
                                        "runs.csv"};
    for (size_t i = 0; i < ARRAY(files); i++) {
        char *path = up_text_format("seen/%s", files[i]);
        size_t length = 0;
        char *file = up_text_read_file(path, UP_LINKS_REFUSED, 1 << 24, &length, &failure);
        char *both = up_text_format("%s%s", text, file);
        free(file);
        free(path);
        free(text);
        text = both;
    }
    char *counter =
        ask(catalogue->database, "SELECT group_concat(bench || last_sequence || last_utc"
                                 " || ran_back) FROM bench_counter");
    char *both = up_text_format("%s%s", text, counter);
    free(counter);
    free(text);
    return both;
}

static void copy_begun(const char *to) {
    size_t length = 0;
    char *path = up_text_format("%s/catalogue.sqlite", to);
    char *bytes =
        up_text_read_file("begun/catalogue.sqlite", UP_LINKS_REFUSED, 1 << 24, &length, NULL);
    assert_non_null(bytes);
    assert_int_equal(mkdir(to, 0777), 0);
    FILE *stream = fopen(path, "wb");
    assert_int_equal(fwrite(bytes, 1, length, stream), length);
    assert_int_equal(fclose(stream), 0);
    free(bytes);
    free(path);
}

/* What stood here before the guests came: an own item, and one of a guest's that was weighed. */
static void begin_here(void) {
    struct up_catalogue *catalogue = open_as("begun", UP_CATALOGUE_CREATE);
    add_item(catalogue, "own");
    take_from(catalogue, 1);
    struct up_result result = plain_result(thing[0], "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    up_catalogue_close(catalogue);
}

static void assert_same(const char *a, const char *b, int order) {
    size_t i = 0;
    while (a[i] != '\0' && a[i] == b[i]) {
        i++;
    }
    if (a[i] != b[i]) {
        size_t from = i > 80 ? i - 80 : 0;
        fail_msg("order %d differs:\n%.300s\nand not\n%.300s", order, b + from, a + from);
    }
}

static void put_together(int order, char **first) {
    char name[24];
    int next[GUESTS];
    snprintf(name, sizeof name, "order%d", order);
    copy_begun(name);
    struct up_catalogue *catalogue = open_as(name, UP_CATALOGUE_WRITE);
    for (int i = 0; i < GUESTS; i++) {
        int other = rand() % (i + 1);
        next[i] = next[other];
        next[other] = i;
    }
    for (int i = 0; i < GUESTS; i++) {
        take_from(catalogue, next[i]);
    }
    char *seen = told_by(catalogue);
    if (*first == NULL) {
        *first = up_text_format("%s", seen);
    }
    assert_same(*first, seen, order);
    free(seen);
    up_catalogue_close(catalogue);
}

/* Contested ids of several kinds, numbers and dates that only a guest has: nothing tells in which
   order they came. */
static void every_order_gives_the_same(void **state) {
    (void)state;
    char *first = NULL;
    begin_guests(20);
    begin_here();
    for (int order = 0; order < ORDERS; order++) {
        put_together(order, &first);
    }
    struct up_catalogue *catalogue = open_as("order0", UP_CATALOGUE_READ);
    assert_answer(catalogue->database, "SELECT count(*) > 5 FROM contested", "1");
    assert_answer(catalogue->database,
                  "SELECT count(DISTINCT kind) > 1 FROM (SELECT id, kind FROM record UNION"
                  " SELECT id, kind FROM contested) GROUP BY id ORDER BY 1 DESC LIMIT 1",
                  "1");
    up_catalogue_close(catalogue);
    free(first);
}

/* Of three contents the person takes one, by its hash; whichever had come first. */
static void any_of_the_contents_can_be_taken(void **state) {
    (void)state;
    struct up_failure failure = {0};
    begin_guests(3);
    for (int order = 0; order < 2; order++) {
        struct up_catalogue *catalogue = open_as(order == 0 ? "a" : "b", UP_CATALOGUE_CREATE);
        for (int i = 0; i < 3; i++) {
            struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
            put_under(theirs, 3, "item", order == 0 ? i : 2 - i, NULL);
            assert_true(up_export_json(theirs, "theirs", NULL));
            up_catalogue_close(theirs);
            struct up_intake intake;
            assert_true(up_catalogue_import(catalogue, "theirs", false, &intake, NULL));
            assert_int_equal(intake.undecided, i == 1);
            assert_int_equal(remove("theirs/catalogue.sqlite"), 0);
        }
        assert_int_equal(count_kind(catalogue, "item"), 0);
        char *wanted = ask(catalogue->database,
                           "SELECT id || '/' || sha256 FROM (SELECT id, sha256, body FROM record"
                           " UNION ALL SELECT id, sha256, body FROM contested)"
                           " WHERE body LIKE '%of guest 1%'");
        char *none = up_text_format("%.36s/zzzz", wanted);
        assert_false(up_catalogue_restore(catalogue, none, &failure));
        assert_says(&failure, UP_STATUS_WRONG_INPUT, "no content of the record");
        assert_true(up_catalogue_restore(catalogue, wanted, NULL));
        assert_int_equal(count_kind(catalogue, "item"), 1);
        assert_answer(catalogue->database, "SELECT body LIKE '%of guest 1%' FROM record", "1");
        assert_answer(catalogue->database, "SELECT count(*) FROM contested", "2");
        /* The rules are there again. */
        assert_int_not_equal(
            sqlite3_exec(catalogue->database, "DELETE FROM record", NULL, NULL, NULL), SQLITE_OK);
        free(none);
        free(wanted);
        up_catalogue_close(catalogue);
        catalogue = open_as(order == 0 ? "a" : "b", UP_CATALOGUE_WRITE);
        assert_int_equal(count_kind(catalogue, "item"), 1);
        up_catalogue_close(catalogue);
    }
}

/* What was made here stays, whatever hash is named. */
static void nothing_takes_the_place_of_one_of_here(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "own");
    char *own = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'item'");
    sql(catalogue->database, "INSERT INTO contested SELECT id, 'ffff', kind, subject, bench,"
                             " made_utc, replace(body, 'own', 'forged'), '[]' FROM record"
                             " WHERE kind = 'item'");
    assert_true(up_catalogue_set_aside(catalogue, own, "a slip", NULL));
    char *forged = up_text_format("%s/ff", own);
    assert_false(up_catalogue_restore(catalogue, forged, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "cannot take its place");
    assert_int_equal(count_kind(catalogue, "item"), 0);
    assert_true(up_catalogue_restore(catalogue, own, NULL));
    assert_int_equal(count_kind(catalogue, "item"), 1);
    assert_answer(catalogue->database, "SELECT body LIKE '%own%' FROM record WHERE kind = 'item'",
                  "1");
    free(forged);
    free(own);
    up_catalogue_close(catalogue);
}

/* 1,200 contested ids beside 1,000 own results once held the lock for a minute. */
static void many_contested_ids_are_settled_in_one_pass(void **state) {
    enum { CONTESTED = 1200, OWN = 1000, MOST_S = 10 };
    (void)state;
    struct up_intake intake;
    struct timespec before, after;
    begin_guests(5);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *theirs[2] = {open_as("one", UP_CATALOGUE_CREATE),
                                      open_as("two", UP_CATALOGUE_CREATE)};
    struct up_result result = plain_result(thing[1], "tank");
    assert_true(catalogue_begin(catalogue, NULL));
    for (int i = 0; i < OWN; i++) {
        assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    }
    assert_true(catalogue_end(catalogue, true, NULL));
    assert_true(catalogue_begin(theirs[0], NULL) && catalogue_begin(theirs[1], NULL));
    for (int i = 0; i < CONTESTED; i++) {
        up_new_id(id[0]);
        put_under(theirs[0], 0, "item", 1, NULL);
        put_under(theirs[1], 0, "item", 2, NULL);
    }
    assert_true(catalogue_end(theirs[0], true, NULL) && catalogue_end(theirs[1], true, NULL));
    assert_true(up_catalogue_merge(catalogue, "one", false, &intake, NULL));
    clock_gettime(CLOCK_MONOTONIC, &before);
    assert_true(up_catalogue_merge(catalogue, "two", false, &intake, NULL));
    clock_gettime(CLOCK_MONOTONIC, &after);
    assert_true(intake.contested == CONTESTED && intake.undecided == CONTESTED);
    if (after.tv_sec - before.tv_sec > MOST_S) {
        fail_msg("%ld s", (long)(after.tv_sec - before.tv_sec));
    }
    up_catalogue_close(theirs[0]);
    up_catalogue_close(theirs[1]);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(every_order_gives_the_same),
        TEST(any_of_the_contents_can_be_taken),
        TEST(nothing_takes_the_place_of_one_of_here),
        TEST(many_contested_ids_are_settled_in_one_pass),
    };
    return cmocka_run_group_tests_name("catalogue: every order", tests, NULL, NULL);
}
