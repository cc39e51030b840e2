/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tables made of the records are the same, row for row, however the records came: kept step by
   step or made anew. */
#include "keep/keep.h"
#include "typed_tables.h"

#include <fcntl.h>

enum { GUESTS = 3, SHARED = 4, STEPS = 36, SEEDS = 20, EACH = 9, DAY_S = 86400 };

static char shared_id[SHARED][UP_ID_SIZE], shared_thing[UP_ID_SIZE];

struct history {
    struct up_catalogue *catalogue;
    bool by_itself; /* nobody else writes, and the clock goes on */
    struct up_failure failure;
};

static int below(int most) {
    return rand() % most;
}

static const char *guest_name(int guest) {
    static char name[16];
    snprintf(name, sizeof name, "guest%d", guest);
    return name;
}

/* ---- what guests have ---- */

static void at_time(char utc[UP_TIME_SIZE], long ahead_s) {
    catalogue_clock_step_s += ahead_s;
    catalogue_now(utc);
    catalogue_clock_step_s -= ahead_s;
}

/* A record that nobody signed, under an id that others use, too; some are dated ahead. */
static void put_shared(struct up_catalogue *guest) {
    struct up_item item = plain_item(below(2) ? "one \"half\" of 100%" : "\xC3\x89toile");
    int at = below(SHARED);
    struct up_record record = {.content = NULL, .kind = "item"};
    snprintf(item.note, sizeof item.note, "version %d", below(3));
    record.content = up_item_to_json(&item);
    json_t *old = below(3) == 0 ? json_pack("[s]", shared_id[below(SHARED)]) : json_array();
    memcpy(record.id, shared_id[at], UP_ID_SIZE);
    memcpy(record.subject, below(3) ? shared_thing : shared_id[at], UP_ID_SIZE);
    at_time(record.made_utc, below(4) == 0 ? 2 * DAY_S : -DAY_S * below(9));
    assert_true(catalogue_hash(&record, old));
    json_auto_t *there = catalogue_hashes_of(guest, record.id, NULL);
    if (json_array_size(there) == 0) {
        assert_true(catalogue_insert(guest, &record, old, NULL));
    }
    json_decref(record.content);
    json_decref(old);
}

/* These histories lose no power. */
static struct up_catalogue *open_quickly(const char *directory) {
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    sql(catalogue->database, "PRAGMA synchronous = OFF");
    return catalogue;
}

static void guest_goes_on(int at) {
    struct up_catalogue *guest = open_quickly(guest_name(at));
    struct up_intake intake;
    put_shared(guest);
    if (below(2)) {
        struct up_item item = add_item(guest, "a guest's fin");
        struct up_result result = plain_result(item.id, "sea");
        assert_true(up_results_add(guest, &result, 1, "bench", NULL));
    }
    if (below(3) == 0) {
        up_catalogue_merge(guest, "here", false, &intake, NULL);
        char *thing = ask(guest->database, "SELECT coalesce(max(subject), '') FROM newest"
                                           " WHERE kind = 'item'");
        struct up_item item = plain_item("changed by a guest");
        snprintf(item.id, sizeof item.id, "%.36s", thing);
        assert_true(up_item_add(guest, &item, NULL));
        free(thing);
    }
    up_catalogue_close(guest);
}

/* ---- steps of a history ---- */

/* One of the first column's values, or "". */
static char *any(struct history *history, const char *column, const char *from) {
    UP_FREED char *count = up_text_format("SELECT count(*) FROM %s", from);
    char *rows = ask(history->catalogue->database, count);
    int most = atoi(rows);
    free(rows);
    UP_FREED char *query = up_text_format("SELECT %s FROM %s LIMIT 1 OFFSET %d", column, from,
                                          most > 0 ? below(most) : 0);
    return most > 0 ? ask(history->catalogue->database, query) : up_text_format("%s", "");
}

static void add_thing(struct history *history) {
    static const char *const names[] = {"Fin, long", "\xC3\x89toile", "ab", "O'Neil \"x\"", "fin"};
    struct up_item item = plain_item(names[below(5)]);
    UP_FREED char *id = any(history, "subject", "newest WHERE kind = 'item'");
    if (below(2)) {
        snprintf(item.id, sizeof item.id, "%.36s", id);
    }
    snprintf(item.stock_number, sizeof item.stock_number, "S-%d", below(5));
    item.retired = below(5) == 0;
    up_item_add(history->catalogue, &item, &history->failure);
}

static void add_measured(struct history *history) {
    UP_FREED char *id = any(history, "subject", "newest WHERE kind = 'item'");
    struct up_result result = plain_result(id, below(2) ? "tank" : "sea");
    struct up_calibration calibration = plain_calibration("bench", 1e5 + below(9));
    if (id[0] != '\0') {
        up_results_add(history->catalogue, &result, 1, "bench", &history->failure);
    }
    if (below(3) == 0) {
        up_calibration_add(history->catalogue, &calibration, &history->failure);
    }
    add_number(history->catalogue, below(2) ? "trial" : "unknown", NULL, NULL, below(9));
}

static void leave_out(struct history *history) {
    UP_FREED char *id = any(history, "id", "record WHERE kind <> 'writer'");
    UP_FREED char *aside = any(history, "record_id", "local_mark WHERE mark = 'aside'");
    UP_FREED char *contested =
        any(history, "id || '/' || sha256",
            "contested WHERE id IN (SELECT record_id FROM local_mark WHERE mark = 'aside')");
    if (below(2) && id[0] != '\0') {
        up_catalogue_set_aside(history->catalogue, id, "a slip", &history->failure);
    } else if (below(2) && contested[0] != '\0') {
        up_catalogue_restore(history->catalogue, contested, &history->failure);
    } else if (aside[0] != '\0') {
        up_catalogue_restore(history->catalogue, aside, &history->failure);
    }
}

static void take_in(struct history *history) {
    struct up_intake intake;
    int guest = below(GUESTS);
    guest_goes_on(guest);
    up_catalogue_merge(history->catalogue, guest_name(below(2) ? guest : below(GUESTS)),
                       below(6) == 0, &intake, &history->failure);
}

static void trust(struct history *history) {
    static const char *const roles[] = {"bench", "editor", "federation", "none"};
    UP_FREED char *writer = any(history, "writer", "signed");
    bool counts = false;
    char key[UP_KEY_SIZE];
    struct up_catalogue *catalogue = history->catalogue;
    if (writer[0] == '\0') {
        return;
    }
    switch (below(8)) {
    case 0:
        up_trust_revoke(catalogue, writer, 1 + below(9), "", "stolen", &counts, &history->failure);
        break;
    case 1:
        up_trust_recall(catalogue, writer, 2 + below(3), 5, "wrong", &counts, &history->failure);
        break;
    case 2:
        up_trust_new_key(catalogue, key, &history->failure);
        break;
    case 3:
        up_trust_vouch(catalogue, writer, "a shop", &history->failure);
        break;
    default:
        up_trust_give(catalogue, writer, roles[below(4)], "somebody", "", &history->failure);
        break;
    }
}

static void accept_item(struct history *history) {
    struct up_item item;
    UP_FREED char *id = any(history, "subject", "newest WHERE kind = 'item'");
    if (id[0] != '\0') {
        up_item_accept(history->catalogue, id, &item, &history->failure);
    }
}

static void redact(struct history *history) {
    struct up_redacted redacted;
    struct up_redaction redaction = {.facts = below(3) > 0, .detail = true, .reason = "a name"};
    UP_FREED char *id =
        any(history, "id", "record WHERE kind IN ('item', 'result', 'trial', 'decision')");
    if (id[0] != '\0') {
        up_redact(history->catalogue, id, &redaction, &redacted, &history->failure);
    }
}

static void open_again(struct history *history) {
    up_catalogue_close(history->catalogue);
    history->catalogue = open_quickly("here");
}

static void step_clock(struct history *history) {
    if (!history->by_itself) {
        catalogue_clock_step_s += (below(2) ? 1 : -1) * DAY_S * below(4);
    }
}

/* By the shell: an item that nobody signed. */
static void insert_past_the_program(struct history *history) {
    struct up_item item = plain_item("by the shell");
    struct up_record record = {.content = up_item_to_json(&item), .kind = "item"};
    UP_FREED char *thing = any(history, "subject", "newest WHERE kind = 'item'");
    if (!history->by_itself) {
        up_new_id(record.id);
        snprintf(record.subject, sizeof record.subject, "%.36s",
                 below(2) && thing[0] != '\0' ? thing : record.id);
        at_time(record.made_utc, below(3) * DAY_S);
        assert_true(catalogue_hash(&record, NULL));
        char *body = json_dumps(record.content, JSON_SORT_KEYS | JSON_COMPACT);
        char *insert =
            sqlite3_mprintf("INSERT INTO record VALUES (%Q, %Q, 'item', %Q, '', %Q, %Q)", record.id,
                            record.sha256, record.subject, record.made_utc, body);
        sqlite3 *database = outside("here/catalogue.sqlite");
        sql(database, insert);
        sqlite3_close(database);
        sqlite3_free(insert);
        free(body);
    }
    json_decref(record.content);
}

/* Where a record left for the contested ones its number is free, and VACUUM closes up. */
static void number_anew(struct history *history) {
    if (!history->by_itself) {
        sqlite3 *database = outside("here/catalogue.sqlite");
        sql(database, "VACUUM");
        sqlite3_close(database);
        if (below(2)) {
            insert_past_the_program(history);
        }
    }
}

static void go_one_step(struct history *history) {
    static void (*const steps[])(struct history * history) = {
        add_thing,    add_thing,
        add_measured, leave_out,
        take_in,      take_in,
        take_in,      trust,
        trust,        accept_item,
        redact,       open_again,
        step_clock,   insert_past_the_program,
        number_anew,
    };
    history->failure = (struct up_failure){0};
    steps[below((int)ARRAY(steps))](history);
    if (history->failure.status == UP_STATUS_UNABLE) {
        fail_msg("%s", history->failure.text); /* no history asks for what cannot be done */
    }
}

static void begin_history(struct history *history, unsigned seed) {
    srand(seed);
    catalogue_clock_step_s = 0;
    shell("rm -rf here guest0 guest1 guest2");
    for (int i = 0; i < SHARED; i++) {
        up_new_id(shared_id[i]);
    }
    up_new_id(shared_thing);
    history->catalogue = open_quickly("here");
    for (int i = 0; i < GUESTS; i++) {
        guest_goes_on(i);
    }
}

static void follow(unsigned seed) {
    struct history history = {.catalogue = NULL};
    begin_history(&history, seed);
    for (int step = 1; step <= STEPS; step++) {
        UP_FREED char *when = up_text_format("history %u, step %d", seed, step);
        go_one_step(&history);
        if (step % EACH == 0) {
            assert_true(catalogue_refresh(history.catalogue, NULL));
            assert_equal_rebuild(history.catalogue, when);
        }
    }
    up_catalogue_close(history.catalogue);
}

/* UPTHRUST_HISTORIES=2000: more of them. */
static void tables_equal_their_rebuild(void **state) {
    (void)state;
    const char *more = getenv("UPTHRUST_HISTORIES");
    unsigned seeds = more != NULL ? (unsigned)atoi(more) : SEEDS;
    for (unsigned seed = 1; seed <= seeds; seed++) {
        follow(seed);
    }
}

/* ---- killed ---- */

enum { KILLS = 8 };

static void go_on_for_ever(unsigned seed) {
    struct history history = {.by_itself = true};
    srand(seed);
    history.catalogue = open_as("here", UP_CATALOGUE_WRITE);
    for (;;) {
        go_one_step(&history);
    }
}

static void kill_one(unsigned seed) {
    int status = 0;
    struct timespec pause = {.tv_nsec = (20 + below(150)) * 1000000L};
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        go_on_for_ever(seed);
    }
    nanosleep(&pause, NULL);
    assert_int_equal(kill(child, SIGKILL), 0);
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
}

/* Seen by another program before this one can have mended anything. */
static void killed_anywhere_they_fit(void **state) {
    (void)state;
    struct history history = {.by_itself = true};
    begin_history(&history, 77);
    up_catalogue_close(history.catalogue);
    for (unsigned round = 0; round < KILLS; round++) {
        UP_FREED char *when = up_text_format("kill %u", round);
        kill_one(round);
        sqlite3 *database = outside("here/catalogue.sqlite");
        char *left = typed_rows(database);
        sqlite3_close(database);
        struct up_catalogue *catalogue = open_as("here", UP_CATALOGUE_WRITE);
        char *opened = typed_rows(catalogue->database);
        assert_same_rows(left, opened, when);
        assert_equal_rebuild(catalogue, when);
        up_catalogue_close(catalogue);
        free(left);
        free(opened);
    }
}

/* ---- when they are made anew ---- */

/* What is wrong in a table tells whether it was made anew. */
#define PLANT   "UPDATE typed_item SET note = 'planted'"
#define PLANTED "SELECT count(*) FROM typed_item WHERE note = 'planted'"

static void change_file(const char *text) {
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, text);
    sqlite3_close(database);
}

/* A fin of here and, where `ahead`, a thing of elsewhere that is dated two days ahead. */
static void begin_three(bool ahead, const char *kind) {
    char utc[UP_TIME_SIZE];
    shell("rm -rf c");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    at_time(utc, 2 * DAY_S);
    if (ahead) {
        char thing[UP_ID_SIZE];
        up_new_id(thing);
        insert_foreign_record(catalogue, kind, thing, utc, item_of_tolerance(&item, 20),
                              json_array());
    }
    up_catalogue_close(catalogue);
    up_catalogue_close(open_as("c", UP_CATALOGUE_WRITE));
    change_file(PLANT);
}

#define SHELL_ROW(rowid, id)                                                                       \
    "INSERT INTO record(rowid, id, sha256, kind, subject, bench, made_utc, body) VALUES (" rowid   \
    ", '" id "', 'x', 'item', 'y', '', '2020-01-01T00:00:00.000Z', '{}')"

static void each_reason_alone_makes_them_anew(void **state) {
    (void)state;
    static const struct {
        const char *change; /* by another program */
        long clock_s;
        bool ahead, anew;
        const char *kind;
    } cases[] = {
        {"SELECT 1", 0, false, false, "item"},
        {"SELECT 1", 0, true, false, "item"},
        {"SELECT 1", DAY_S / 2, true, false, "item"},
        {"VACUUM", 0, true, false, "item"},
        {"CREATE TABLE mine(a); CREATE VIEW of_mine AS SELECT * FROM mine", 0, true, false, "item"},
        {SHELL_ROW("NULL", "00000000-0000-4000-8000-000000000001"), 0, false, true, "item"},
        {"SELECT 1", 3 * DAY_S, true, true, "item"}, /* what was ahead is passed */
        {"SELECT 1", 3 * DAY_S, true, true, "unknown"},
        {"SELECT 1", -2 * DAY_S, false, true, "item"}, /* what was passed is ahead */
        {"SELECT 1", -2 * DAY_S, true, true, "item"},
        {"DELETE FROM types_state", 0, false, true, "item"},
        {"INSERT INTO types_state SELECT * FROM types_state", 0, false, true, "item"},
        {"DROP TABLE typed_recall", 0, false, true, "item"},
        {"DROP TABLE newest", 0, false, true, "item"},
        {"DROP TABLE item_words", 0, false, true, "item"},
        {"DROP INDEX typed_item_1", 0, false, true, "item"},
        {"CREATE INDEX more ON typed_item (note)", 0, false, true, "item"},
        {"ALTER TABLE typed_item ADD COLUMN more TEXT", 0, false, true, "item"},
        {"DROP TABLE types_state; CREATE TABLE types_state (last_record INTEGER NOT NULL,"
         " ahead_utc TEXT NOT NULL)",
         0, false, true, "item"},
    };
    for (size_t i = 0; i < ARRAY(cases); i++) {
        begin_three(cases[i].ahead, cases[i].kind);
        change_file(cases[i].change);
        catalogue_clock_step_s += cases[i].clock_s;
        struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
        char *planted = ask(catalogue->database, PLANTED);
        if ((strcmp(planted, "0") == 0) != cases[i].anew) {
            fail_msg("case %zu, %s: %s rows are those of before", i, cases[i].change, planted);
        }
        if (cases[i].anew) {
            assert_equal_rebuild(catalogue, cases[i].change);
        }
        free(planted);
        up_catalogue_close(catalogue);
        catalogue_clock_step_s = 0;
    }
}

/* SQLite may close gaps between the numbers in a VACUUM, and a row of the shell's then gets the
   number that was the last. */
static void numbers_that_were_given_anew_are_seen(void **state) {
    (void)state;
    begin_three(true, "item");
    sqlite3 *database = outside("c/catalogue.sqlite");
    without_triggers(database, "UPDATE record SET rowid = 9 WHERE rowid = 3");
    sqlite3_close(database);
    up_catalogue_close(open_as("c", UP_CATALOGUE_WRITE));
    change_file(PLANT);
    up_catalogue_close(open_as("c", UP_CATALOGUE_WRITE));
    database = outside("c/catalogue.sqlite");
    assert_answer(database, PLANTED, "2");
    without_triggers(database, "UPDATE record SET rowid = 3 WHERE rowid = 9");
    sql(database, SHELL_ROW("9", "00000000-0000-4000-8000-000000000001"));
    sqlite3_close(database);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_answer(catalogue->database, PLANTED, "0");
    assert_equal_rebuild(catalogue, "numbers given anew");
    up_catalogue_close(catalogue);
}

/* Whoever only reads gets them in memory, and the file stays as it is. */
static void who_only_reads_sees_the_right_things(void **state) {
    (void)state;
    static const char *const changes[] = {
        "INSERT INTO record SELECT '00000000-0000-4000-8000-000000000001', 'x', kind,"
        " '00000000-0000-4000-8000-000000000001', bench, made_utc, body FROM record"
        " WHERE kind = 'item'",
        "DROP TABLE typed_item; CREATE TABLE typed_item (record INTEGER PRIMARY KEY, subject TEXT)",
        "DROP TABLE item_words; DROP TABLE types_state; DROP TABLE newest",
        "DELETE FROM types_state; DELETE FROM newest; DELETE FROM typed_item",
    };
    for (size_t i = 0; i < ARRAY(changes); i++) {
        struct up_item_query query = {.sort = "name", .limit = 9};
        struct up_item item;
        begin_three(false, "item");
        change_file(changes[i]);
        struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_READ);
        json_auto_t *page = up_item_page(catalogue, &query, NULL);
        assert_int_equal(json_array_size(page), i == 0 ? 2 : 1);
        assert_answer(catalogue->database, PLANTED, "0");
        assert_true(up_item_find(catalogue, "FIN", &item, NULL) || i == 0);
        up_catalogue_close(catalogue);
        /* The one whose hash does not fit is told of, not left out. */
        catalogue = open_as("c", UP_CATALOGUE_READ);
        int items = 0;
        assert_int_equal(up_catalogue_each(catalogue, "item", count_one, &items, NULL), i > 0);
        assert_int_equal(items, 1);
        up_catalogue_close(catalogue);
    }
}

/* ---- what check-catalogue sees ---- */

static char told[UP_NAME_SIZE];

static bool note_unlike(const struct up_doubtful_record *doubtful, void *context) {
    if (doubtful->why == UP_TABLES_UNLIKE) {
        ++*(int *)context;
        memcpy(told, doubtful->reason, sizeof told);
    }
    return true;
}

static void assert_unlike(const char *change, const char *wanted) {
    int findings = 0;
    begin_three(true, "item");
    change_file("UPDATE typed_item SET note = NULL");
    change_file(change);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_READ);
    told[0] = '\0';
    assert_true(up_catalogue_check(catalogue, note_unlike, &findings, NULL));
    if (strcmp(told, wanted) != 0) {
        fail_msg("%s: \"%s\", not \"%s\"", change, told, wanted);
    }
    assert_int_equal(findings, wanted[0] != '\0');
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(up_catalogue_mend(catalogue, NULL));
    findings = 0;
    assert_true(up_catalogue_check(catalogue, note_unlike, &findings, NULL));
    assert_int_equal(findings, 0);
    up_catalogue_close(catalogue);
}

/* SQLite can neither read nor drop such an index, and every record is whole. */
static void a_damaged_index_of_words_is_made_anew(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "fin");
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "DELETE FROM item_words_data");
    sqlite3_close(database);
    catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_int_equal(count_kind(catalogue, "item"), 1);
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    add_item(catalogue, "boot");
    static const char *const text[] = {"boot"};
    struct up_item_query query = {.text = text, .texts = 1, .limit = 9, .sort = "name"};
    json_auto_t *page = up_item_page(catalogue, &query, &failure);
    assert_int_equal(json_array_size(page), 1);
    assert_answer(catalogue->database, "SELECT count(*) FROM item_words", "2");
    up_catalogue_close(catalogue);
}

static void the_check_compares_each_row(void **state) {
    (void)state;
    assert_unlike("SELECT 1", "");
    assert_unlike("UPDATE typed_item SET name = 'x' WHERE rowid = 2", "1 row");
    assert_unlike("UPDATE typed_item SET tolerance_g = tolerance_g + 1e-9", "2 rows");
    assert_unlike("UPDATE typed_item SET folded_kind = NULL", "2 rows");
    assert_unlike("UPDATE typed_writer SET bench = 'x'", "1 row");
    assert_unlike("DELETE FROM typed_item WHERE rowid = 2", "1 row");
    assert_unlike("INSERT INTO typed_result (record, subject, made_utc, bench)"
                  " VALUES (2, 'x', 'x', 'x')",
                  "1 row");
    assert_unlike("DELETE FROM newest WHERE record = 2", "1 row");
    assert_unlike("UPDATE newest SET record = 1 WHERE record = 2", "1 row");
    assert_unlike("INSERT INTO newest VALUES ('item', 'x', 2)", "1 row");
    assert_unlike("UPDATE item_words SET words = 'x' WHERE rowid = 2", "1 row");
    assert_unlike("DELETE FROM item_words WHERE rowid = 2", "1 row");
    assert_unlike("INSERT INTO item_words (rowid, words) VALUES (99, 'x')", "1 row");
}

/* A version of elsewhere beside one of here that was left out is itself among those that count. */
static void one_that_waits_alone_is_accepted(void **state) {
    (void)state;
    char utc[UP_TIME_SIZE];
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    char *id = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'item'");
    at_time(utc, -DAY_S);
    insert_foreign_record(catalogue, "item", item.id, utc, item_of_tolerance(&item, 480),
                          json_array());
    assert_true(up_catalogue_set_aside(catalogue, id, "a slip", NULL));
    if (!up_item_accept(catalogue, item.id, &item, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_true(tolerance_g(catalogue, "fin") == 480);
    free(id);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_damaged_index_of_words_is_made_anew),
        TEST(the_check_compares_each_row),
        TEST(one_that_waits_alone_is_accepted),
        TEST(each_reason_alone_makes_them_anew),
        TEST(numbers_that_were_given_anew_are_seen),
        TEST(who_only_reads_sees_the_right_things),
        TEST(tables_equal_their_rebuild),
        TEST(killed_anywhere_they_fit),
    };
    return cmocka_run_group_tests_name("catalogue: tables made of the records", tests, NULL, NULL);
}
