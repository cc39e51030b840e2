/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is taken away of a record is gone, down to the bytes; the rest goes on proving itself. */
#include "../catalogue/support.h"
#include "keep/keep.h"

#define FACT    "PLANTED-note-of-Anna"
#define DETAIL  "PLANTED-budget-of-Anna"
#define PRIVATE "PLANTED-cellar-of-Anna"

/* Whether a word stands anywhere in the file or what lies beside it. */
static bool holds(const char *directory, const char *word) {
    static const char *const endings[] = {"", "-wal", "-journal"};
    bool found = false;
    for (size_t i = 0; i < ARRAY(endings); i++) {
        size_t length = 0;
        struct up_failure failure;
        char *path = up_text_format("%s/catalogue.sqlite%s", directory, endings[i]);
        char *bytes = up_text_read_file(path, UP_LINKS_REFUSED, 64 << 20, &length, &failure);
        found = found || (bytes != NULL && memmem(bytes, length, word, strlen(word)) != NULL);
        free(bytes);
        free(path);
    }
    return found;
}

/* An item's version with a word among its facts and one in its detail. */
static void add_planted(struct up_catalogue *catalogue, char id[UP_ID_SIZE]) {
    struct up_item item = plain_item("My fin");
    struct up_failure failure = {0};
    snprintf(item.note, sizeof item.note, FACT);
    json_auto_t *content = up_item_to_json(&item);
    json_object_set_new(content, "more", json_string(DETAIL));
    if (!up_catalogue_add(catalogue, "item", NULL, NULL, content, NULL, id, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static bool redact(struct up_catalogue *catalogue, const char *id, bool facts, bool detail,
                   struct up_failure *failure) {
    struct up_redaction redaction = {facts, detail, "it names Anna"};
    struct up_redacted redacted;
    return up_redact(catalogue, id, &redaction, &redacted, failure);
}

static void take_away(struct up_catalogue *catalogue, const char *id, bool facts, bool detail) {
    struct up_failure failure = {0};
    if (!redact(catalogue, id, facts, detail, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static unsigned doubts[UP_RECORD_UNSIGNED + 1];

static bool count_doubt(const struct up_doubtful_record *doubtful, void *context) {
    (void)context;
    doubts[doubtful->why]++;
    return true;
}

static void check(struct up_catalogue *catalogue) {
    struct up_failure failure = {0};
    memset(doubts, 0, sizeof doubts);
    if (!up_catalogue_check(catalogue, count_doubt, NULL, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static unsigned long merge(struct up_catalogue *catalogue, const char *from) {
    struct up_failure failure = {0};
    struct up_intake intake;
    if (!up_catalogue_merge(catalogue, from, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake.fresh;
}

static void the_envelope_stays(void **state) {
    (void)state;
    for (int i = 1; i < 4; i++) {
        bool facts = (i & 1) != 0, detail = (i & 2) != 0;
        UP_FREED char *folder = up_text_format("c%d", i);
        UP_FREED char *file = up_text_format("%s/catalogue.sqlite", folder);
        char id[UP_ID_SIZE];
        struct up_catalogue *catalogue = open_as(folder, UP_CATALOGUE_CREATE);
        add_item(catalogue, "another");
        add_planted(catalogue, id);
        char *before = ask(catalogue->database, "SELECT group_concat(envelope || signature) FROM"
                                                " (SELECT * FROM signed ORDER BY id)");
        assert_true(catalogue_keep_private(catalogue, id, "file_text", "5a", PRIVATE, NULL));
        assert_true(holds(folder, FACT) && holds(folder, DETAIL) && holds(folder, PRIVATE));
        take_away(catalogue, id, facts, detail);
        assert_false(holds(folder, PRIVATE));
        assert_int_equal(holds(folder, FACT), !facts);
        assert_int_equal(holds(folder, DETAIL), !detail);
        assert_answer(catalogue->database,
                      "SELECT group_concat(envelope || signature) FROM"
                      " (SELECT * FROM signed ORDER BY id)",
                      before);
        check(catalogue);
        assert_int_equal(doubts[UP_RECORD_DAMAGED] + doubts[UP_RECORD_AFTER_GAP], 0);
        assert_int_equal(doubts[UP_RECORD_REDACTED], facts);
        assert_int_equal(doubts[UP_RECORD_UNDETAILED], detail);
        assert_int_equal(count_kind(catalogue, "item"), facts ? 1 : 2);
        assert_file_answer(file, "SELECT count(*) FROM item", facts ? "1" : "2");
        free(before);
        up_catalogue_close(catalogue);
        up_catalogue_close(open_as(folder, UP_CATALOGUE_WRITE)); /* the rules are as they were */
    }
}

/* Only the person who took it away is asked; a bit that turned in its envelope is still found. */
static void what_is_gone_is_still_verified(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_planted(catalogue, id);
    take_away(catalogue, id, true, true);
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    without_triggers(database, "UPDATE signed SET signature = replace(signature,"
                               " substr(signature, 1, 4), '0000') WHERE id IN"
                               " (SELECT record_id FROM local_mark WHERE mark = 'redacted')");
    sqlite3_close(database);
    catalogue = open_as("c", UP_CATALOGUE_READ);
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 1);
    up_catalogue_close(catalogue);
    /* Facts that somebody took away without a word are damage. */
    catalogue = open_as("d", UP_CATALOGUE_CREATE);
    add_planted(catalogue, id);
    up_catalogue_close(catalogue);
    database = outside("d/catalogue.sqlite");
    without_triggers(database, "UPDATE record SET body = '{}' WHERE kind = 'item'");
    sqlite3_close(database);
    catalogue = open_as("d", UP_CATALOGUE_READ);
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_DAMAGED], 1);
    up_catalogue_close(catalogue);
}

static void no_merge_brings_it_back(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_intake intake;
    for (int i = 1; i < 4; i++) {
        UP_FREED char *folder = up_text_format("c%d", i), *theirs = up_text_format("t%d", i);
        UP_FREED char *fresh = up_text_format("f%d", i);
        struct up_catalogue *catalogue = open_as(folder, UP_CATALOGUE_CREATE);
        struct up_catalogue *other = open_as(theirs, UP_CATALOGUE_CREATE);
        add_planted(catalogue, id);
        merge(other, folder);
        assert_true(up_export_json(other, theirs, NULL));
        take_away(catalogue, id, (i & 1) != 0, (i & 2) != 0);
        assert_int_equal(merge(catalogue, theirs), 0);
        assert_true(up_catalogue_import(catalogue, theirs, false, &intake, NULL));
        assert_int_equal(intake.fresh, 0);
        assert_int_equal(holds(folder, FACT), (i & 1) == 0);
        assert_int_equal(holds(folder, DETAIL), (i & 2) == 0);
        /* Theirs stays whole, whatever comes from here. */
        merge(other, folder);
        assert_int_equal(count_kind(other, "item"), 1);
        assert_true(holds(theirs, FACT) && holds(theirs, DETAIL));
        struct up_catalogue *third = open_as(fresh, UP_CATALOGUE_CREATE);
        merge(third, folder);
        assert_int_equal(count_kind(third, "item"), (i & 1) == 0);
        merge(third, theirs);
        assert_int_equal(count_kind(third, "item"), 1);
        assert_true(holds(fresh, FACT) && holds(fresh, DETAIL));
        up_catalogue_close(third);
        up_catalogue_close(other);
        up_catalogue_close(catalogue);
    }
}

/* Other content under its id goes, too, and does not come again. */
static void so_does_no_other_content(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_planted(catalogue, id);
    struct up_record forged = {.kind = "item", .made_utc = "2021-01-01T00:00:00.000Z"};
    struct up_item item = plain_item("PLANTED-forged");
    json_auto_t *replaces = json_array();
    enum catalogue_admitted how;
    memcpy(forged.id, id, sizeof forged.id);
    memcpy(forged.subject, id, sizeof forged.subject);
    forged.content = up_item_to_json(&item);
    assert_true(catalogue_hash(&forged, replaces));
    for (int i = 0; i < 2; i++) {
        assert_true(catalogue_begin(catalogue, NULL));
        assert_true(catalogue_admit(catalogue, &forged, replaces, "test", false, &how, NULL));
        assert_true(catalogue_end(catalogue, true, NULL));
        assert_int_equal(how, i == 0 ? ADMITTED_CONTESTED : ADMITTED_KNOWN);
        assert_int_equal(holds("c", "PLANTED-forged"), i == 0);
        take_away(catalogue, id, true, true);
        assert_false(holds("c", "PLANTED-forged"));
    }
    json_decref(forged.content);
    up_catalogue_close(catalogue);
}

static void what_may_not_go_stays(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    catalogue_signs = false;
    add_item(catalogue, "from before");
    catalogue_signs = true;
    char *old = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'item'");
    add_item(catalogue, "new");
    assert_false(redact(catalogue, old, true, true, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is from before records were signed");
    char *held = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'held'");
    assert_false(redact(catalogue, held, true, true, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "only says who signed others");
    assert_false(redact(catalogue, "3f2a", true, true, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "has no record 3f2a");
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_REDACTED] + doubts[UP_RECORD_UNSIGNED], 0);
    assert_int_equal(count_kind(catalogue, "item"), 2);
    free(held);
    free(old);
    up_catalogue_close(catalogue);
}

/* A reader keeps the log: the person is told, and types the same again. */
static void a_reader_is_waited_for(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_failure failure = {0};
    struct up_redaction redaction = {true, true, "x"};
    struct up_redacted redacted;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_planted(catalogue, id);
    sqlite3 *reader = outside("c/catalogue.sqlite");
    sql(reader, "BEGIN; SELECT count(*) FROM record");
    catalogue_patience_ms = 100;
    sqlite3_busy_timeout(catalogue->database, 100);
    assert_false(up_redact(catalogue, id, &redaction, &redacted, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "type the same command again");
    assert_false(redacted.again);
    assert_int_equal(count_kind(catalogue, "item"), 0);
    sqlite3_close(reader);
    assert_true(up_redact(catalogue, id, &redaction, &redacted, &failure));
    assert_true(redacted.again);
    assert_false(holds("c", FACT) || holds("c", DETAIL));
    up_catalogue_close(catalogue);
}

/* Killed anywhere it leaves a catalogue that can be used; the same again ends it. */
static void killed_anywhere_it_is_usable(void **state) {
    enum { ROUNDS = 8 };
    (void)state;
    srand(5);
    unsigned done = 0;
    for (int i = 0; i < ROUNDS; i++) {
        char id[UP_ID_SIZE];
        struct timespec pause = {.tv_nsec = (rand() % 40) * 1000000L};
        struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
        add_planted(catalogue, id);
        up_catalogue_close(catalogue);
        fflush(NULL);
        pid_t child = fork();
        if (child == 0) {
            catalogue = open_as("c", UP_CATALOGUE_WRITE);
            redact(catalogue, id, true, true, NULL);
            _exit(0);
        }
        nanosleep(&pause, NULL);
        kill(child, SIGKILL);
        waitpid(child, NULL, 0);
        catalogue = open_as("c", UP_CATALOGUE_WRITE);
        check(catalogue);
        assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
        done += doubts[UP_RECORD_REDACTED] > (unsigned)i;
        take_away(catalogue, id, true, true);
        check(catalogue);
        assert_int_equal(doubts[UP_RECORD_REDACTED], i + 1);
        assert_false(holds("c", FACT) || holds("c", DETAIL));
        up_catalogue_close(catalogue);
    }
    print_message("%u of %d were done before the end\n", done, ROUNDS);
}

/* ---- private texts ---- */

static void an_owner_stays_here(void **state) {
    (void)state;
    struct up_private found;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    assert_null(up_item_owner(catalogue, item.id));
    assert_true(up_item_set_owner(catalogue, item.id, "PLANTED-Anna", NULL));
    assert_true(up_item_set_owner(catalogue, item.id, "PLANTED-Bert", NULL));
    assert_false(holds("c", "PLANTED-Anna"));
    assert_true(up_private_find(catalogue, item.id, "owner", &found, NULL));
    assert_string_equal(found.text, "PLANTED-Bert");
    UP_FREED char *both = up_text_format("%sPLANTED-Bert", found.salt);
    char hash[UP_SHA256_SIZE];
    catalogue_hash_text(both, hash);
    assert_string_equal(found.commitment, hash);
    free(found.text);
    struct up_catalogue *other = open_as("t", UP_CATALOGUE_CREATE);
    merge(other, "c");
    assert_true(up_export_json(catalogue, "out", NULL) && up_export_csv(catalogue, "out", NULL));
    assert_int_equal(system("grep -rq PLANTED out t"), 1 << 8);
    assert_true(up_item_set_owner(catalogue, item.id, "", NULL));
    assert_null(up_item_owner(catalogue, item.id));
    assert_false(holds("c", "PLANTED-Bert"));
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* Whose an item was goes with the last of its versions. */
static void an_owner_goes_with_the_item(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    char *first = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'item'");
    item.pieces = 2;
    assert_true(up_item_add(catalogue, &item, NULL));
    char *second = ask(catalogue->database, "SELECT new_id FROM replaces");
    assert_true(up_item_set_owner(catalogue, item.id, "PLANTED-Anna", &failure));
    take_away(catalogue, first, true, true);
    take_away(catalogue, second, false, true);
    assert_true(holds("c", "PLANTED-Anna"));
    take_away(catalogue, second, true, true);
    assert_false(holds("c", "PLANTED-Anna"));
    free(first);
    free(second);
    up_catalogue_close(catalogue);
}

/* A folder of before has none, and is only read. */
static void an_older_folder_has_none(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "DROP TABLE private; PRAGMA user_version = 9");
    sqlite3_close(database);
    catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_null(up_item_owner(catalogue, item.id));
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(up_item_set_owner(catalogue, item.id, "Anna", NULL));
    up_catalogue_close(catalogue);
}

/* ---- no way back to older tables ---- */

/* The number says what the tables are not. */
static void a_number_that_was_set_back_is_noticed(void **state) {
    (void)state;
    for (int version = 1; version < SCHEMA_VERSION; version++) {
        UP_FREED char *folder = up_text_format("c%d", version);
        UP_FREED char *file = up_text_format("%s/catalogue.sqlite", folder);
        UP_FREED char *back = up_text_format("PRAGMA user_version = %d", version);
        struct up_catalogue *other = open_as("t", UP_CATALOGUE_CREATE);
        add_item(other, "theirs");
        up_catalogue_close(other);
        struct up_catalogue *catalogue = open_as(folder, UP_CATALOGUE_CREATE);
        add_item(catalogue, "fin");
        merge(catalogue, "t");
        up_catalogue_close(catalogue);
        assert_int_not_equal(version, SCHEMA_VERSION);
        sqlite3 *database = outside(file);
        char *marks = ask(database, "SELECT group_concat(record_id || mark) FROM local_mark");
        sql(database, back);
        sqlite3_close(database);
        catalogue = open_as(folder, UP_CATALOGUE_READ);
        check(catalogue);
        assert_int_equal(doubts[UP_RECORD_DAMAGED], 0);
        assert_int_equal(catalogue->version, SCHEMA_VERSION);
        up_catalogue_close(catalogue);
        up_catalogue_close(open_as(folder, UP_CATALOGUE_WRITE));
        assert_file_answer(file, "PRAGMA user_version", "10");
        assert_file_answer(file, "SELECT group_concat(record_id || mark) FROM local_mark", marks);
        free(marks);
    }
}

/* What an older program then wrote is told. */
static void what_an_older_program_wrote_is_told(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    catalogue_signs = false;
    add_item(catalogue, "from before");
    catalogue_signs = true;
    add_item(catalogue, "signed");
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_UNSIGNED], 0);
    catalogue_signs = false;
    add_item(catalogue, "by an older one");
    check(catalogue);
    assert_int_equal(doubts[UP_RECORD_UNSIGNED], 1);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(the_envelope_stays),
        TEST(what_is_gone_is_still_verified),
        TEST(no_merge_brings_it_back),
        TEST(so_does_no_other_content),
        TEST(what_may_not_go_stays),
        TEST(a_reader_is_waited_for),
        TEST(killed_anywhere_it_is_usable),
        TEST(an_owner_stays_here),
        TEST(an_owner_goes_with_the_item),
        TEST(an_older_folder_has_none),
        TEST(a_number_that_was_set_back_is_noticed),
        TEST(what_an_older_program_wrote_is_told),
    };
    return cmocka_run_group_tests_name("redact", tests, NULL, NULL);
}
