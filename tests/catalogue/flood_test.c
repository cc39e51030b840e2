/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A guest's records by the thousand, each of them good: what they cost grows with their number, not
   with its square. Counted by what SQLite holds and by its steps, not by time. */
#include "signed_records.h"
#include "trust/trust.h"

enum { MEMORY_MOST = 24 << 20, STEPS = 1000 };

static int thousand_steps;
static int count_steps(void *context) {
    (void)context;
    thousand_steps++;
    return 0;
}

static struct up_catalogue *begin(void) {
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(catalogue_begin(catalogue, NULL));
    sqlite3_memory_highwater(1);
    thousand_steps = 0;
    sqlite3_progress_handler(catalogue->database, STEPS, count_steps, NULL);
    return catalogue;
}

/* Whatever is said of keys and things is settled when the transaction ends. */
static void assert_cheap(struct up_catalogue *catalogue, int thousand_steps_most) {
    assert_true(catalogue_end(catalogue, true, NULL));
    assert_in_range(thousand_steps, 1, thousand_steps_most);
    assert_in_range(sqlite3_memory_highwater(0), 1, MEMORY_MOST);
    up_catalogue_close(catalogue);
}

static void say(struct up_catalogue *catalogue, struct signer *signer, const char *kind,
                const char *subject, json_t *facts) {
    char *text = up_json_canonical(facts);
    struct up_record record = {.facts = text, .content = facts};
    snprintf(record.kind, sizeof record.kind, "%s", kind);
    snprintf(record.subject, sizeof record.subject, "%s", subject);
    sign_record(signer, &record, NULL, false);
    assert_true(catalogue_insert(catalogue, &record, NULL, NULL));
    free(signer->envelope);
    free(text);
    json_decref(facts);
}

static json_t *an_item(const char *name, int number) {
    char words[64];
    snprintf(words, sizeof words, "%s %d", name, number);
    return json_pack("{s:s, s:s, s:i}", "name", words, "kind", "fin", "pieces", 1);
}

static void each_record_is_recalled_once(void **state) {
    enum { RECORDS = 300, REASON = 1000 };
    (void)state;
    struct signer guest = {.seed = {1}};
    char key[UP_KEY_SIZE], reason[REASON];
    up_key_public(guest.seed, key);
    memset(reason, 'x', sizeof reason);
    reason[REASON - 1] = '\0';
    struct up_catalogue *catalogue = begin();
    for (int i = 0; i < RECORDS; i++) {
        say(catalogue, &guest, "item", "", an_item("guest", i));
        say(catalogue, &guest, "recall", "",
            json_pack("{s:s, s:i, s:i, s:s}", "writer", key, "first_sequence", 1, "last_sequence",
                      100 + i, "reason", reason));
    }
    assert_cheap(catalogue, 3000);
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) || ' ' || min(length(why)) FROM left_out WHERE"
                       " how = 'recalled'",
                       "300 1034");
}

/* Between two spans that were recalled lies one that was not. */
static void spans_are_joined_only_where_they_meet(void **state) {
    static const int spans[][2] = {{10, 20}, {1, 3}, {3, 5}, {12, 13}, {21, 21}};
    (void)state;
    struct signer guest = {.seed = {1}};
    char key[UP_KEY_SIZE];
    up_key_public(guest.seed, key);
    struct up_catalogue *catalogue = begin();
    for (size_t i = 0; i < sizeof spans / sizeof spans[0]; i++) {
        say(catalogue, &guest, "recall", "",
            json_pack("{s:s, s:i, s:i, s:s}", "writer", key, "first_sequence", spans[i][0],
                      "last_sequence", spans[i][1], "reason", ""));
    }
    assert_true(catalogue_run(
        catalogue,
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION SELECT i + 1 FROM n WHERE i < 25)"
        " INSERT INTO signed SELECT 'item' || i, 'hash', (SELECT writer FROM signed LIMIT 1), i,"
        "  '{\"kind\":\"item\"}', '' FROM n",
        NULL));
    assert_true(catalogue_end(catalogue, true, NULL));
    up_catalogue_close(catalogue);
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT group_concat(substr(record_id, 5), ' ') FROM (SELECT record_id FROM"
                       " left_out WHERE how = 'recalled' ORDER BY CAST(substr(record_id, 5) AS"
                       " INTEGER))",
                       "1 2 3 4 5 10 11 12 13 14 15 16 17 18 19 20 21");
}

/* Each key passes its trust to all others: there are more ways than anybody could follow. */
static void keys_that_pass_trust_to_each_other_end(void **state) {
    enum { KEYS = 20 };
    (void)state;
    struct signer guest[KEYS];
    char key[KEYS][UP_KEY_SIZE];
    for (int i = 0; i < KEYS; i++) {
        guest[i] = (struct signer){.seed = {1, (uint8_t)i}};
        up_key_public(guest[i].seed, key[i]);
    }
    struct up_catalogue *catalogue = begin();
    for (int i = 0; i < KEYS * KEYS; i++) {
        if (i / KEYS != i % KEYS) {
            say(catalogue, &guest[i / KEYS], "rotation", "",
                json_pack("{s:s}", "writer", key[i % KEYS]));
        }
    }
    say(catalogue, &guest[0], "recall", "",
        json_pack("{s:s, s:i, s:i, s:s}", "writer", key[1], "first_sequence", 1, "last_sequence", 1,
                  "reason", ""));
    assert_true(up_trust_give(catalogue, key[0], "bench", "a friend", "", NULL));
    assert_cheap(catalogue, 3000);
    assert_file_answer("c/catalogue.sqlite",
                       "SELECT count(*) || ' ' || sum(how = 'rotation') FROM standing", "20 19");
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM recalled", "1");
}

static void versions_of_one_thing_are_not_all_asked_for_each(void **state) {
    enum { VERSIONS = 2000 };
    (void)state;
    struct signer guest = {.seed = {1}}, other = {.seed = {2}};
    char subject[UP_ID_SIZE];
    up_new_id(subject);
    struct up_catalogue *catalogue = begin();
    for (int i = 0; i < VERSIONS; i++) {
        say(catalogue, &guest, "item", subject, an_item("guest", i));
    }
    assert_cheap(catalogue, 3000);
    /* one of somebody else is noticed all the same: both say that they made it */
    catalogue = begin();
    say(catalogue, &guest, "item", subject, an_item("guest", VERSIONS));
    say(catalogue, &other, "item", subject, an_item("other", 0));
    assert_cheap(catalogue, 3000);
    assert_file_answer("c/catalogue.sqlite", "SELECT count(*) FROM left_out WHERE how = 'waiting'",
                       "2002");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(each_record_is_recalled_once),
        TEST(spans_are_joined_only_where_they_meet),
        TEST(keys_that_pass_trust_to_each_other_end),
        TEST(versions_of_one_thing_are_not_all_asked_for_each),
    };
    return cmocka_run_group_tests_name("catalogue: flood", tests, NULL, NULL);
}
