/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include <nettle/sha2.h>

#define FILE_IN_C "c/catalogue.sqlite"

/* ---- records ---- */

struct seen {
    struct up_record record[8];
    int n[8];
    int count, stop_at;
};

static bool note(const struct up_record *record, void *context) {
    struct seen *seen = context;
    assert_true(seen->count < 8);
    seen->record[seen->count] = *record;
    seen->n[seen->count++] = (int)json_integer_value(json_object_get(record->content, "n"));
    return seen->count != seen->stop_at;
}

static void assert_time_format(const char *utc) {
    static const char form[] = "dddd-dd-ddTdd:dd:dd.dddZ";
    assert_int_equal(strlen(utc), sizeof form - 1);
    for (size_t i = 0; i < sizeof form - 1; i++) {
        assert_true(form[i] == 'd' ? utc[i] >= '0' && utc[i] <= '9' : utc[i] == form[i]);
    }
}

static void what_was_added_comes_back(void **state) {
    (void)state;
    struct seen seen = {.count = 0};
    char first[UP_ID_SIZE];
    char subject[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    memcpy(first, add_number(catalogue, "trial", NULL, NULL, 1), sizeof first);
    up_new_id(subject);
    add_number(catalogue, "trial", subject, NULL, 2);
    add_number(catalogue, "run", NULL, NULL, 9);
    up_catalogue_close(catalogue);

    catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_true(up_catalogue_each(catalogue, "trial", note, &seen, NULL));
    assert_int_equal(seen.count, 2);
    int one = seen.n[0] == 1 ? 0 : 1; /* both may fall into one millisecond */
    assert_string_equal(seen.record[one].id, first);
    assert_string_equal(seen.record[one].subject, first);
    assert_string_equal(seen.record[1 - one].subject, subject);
    assert_string_equal(seen.record[0].kind, "trial");
    assert_string_equal(seen.record[0].bench, "bench");
    assert_int_equal(strlen(seen.record[0].sha256), 64);
    assert_int_equal(strlen(first), 36);
    assert_time_format(seen.record[0].made_utc);
    up_catalogue_close(catalogue);
}

/* What is stored is checked byte for byte, so that it need not be written anew. */
static void the_bytes_that_are_stored_fit_their_hash(void **state) {
    (void)state;
    struct seen seen = {.count = 0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    char first[UP_ID_SIZE], subject[UP_ID_SIZE];
    catalogue_signs = false;
    up_new_id(subject);
    memcpy(first, add_number(catalogue, "trial", subject, NULL, 1), sizeof first);
    add_number(catalogue, "trial", subject, first, 2);
    assert_true(up_catalogue_each(catalogue, "trial", note, &seen, NULL));
    assert_int_equal(seen.count, 1);
    const struct up_record *record = &seen.record[0];
    UP_FREED char *query = up_text_format("SELECT body FROM record WHERE id = '%s'", record->id);
    char *body = ask(catalogue->database, query);
    json_auto_t *replaces = json_pack("[s]", first), *none = json_array();
    assert_true(catalogue_hash_fits_as_stored(record, body, replaces));
    assert_false(catalogue_hash_fits_as_stored(record, body, none));
    body[strlen(body) - 2] ^= 1; /* its last digit */
    assert_false(catalogue_hash_fits_as_stored(record, body, replaces));
    free(body);
    up_catalogue_close(catalogue);
}

static unsigned long told[8];
static int tellings;
static void be_told(const char *doing, unsigned long done) {
    assert_string_equal(doing, "records read");
    assert_true(tellings < 8);
    told[tellings++] = done;
}

static void who_waits_is_told_how_far_reading_is(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(catalogue_begin(catalogue, NULL));
    for (int i = 0; i < 600; i++) {
        add_number(catalogue, "trial", NULL, NULL, i);
    }
    assert_true(catalogue_end(catalogue, true, NULL));
    count_kind(catalogue, "trial"); /* nobody waits */
    up_catalogue_watch(catalogue, be_told);
    assert_int_equal(count_kind(catalogue, "trial"), 600);
    assert_int_equal(tellings, 3);
    assert_true(told[0] == 256 && told[1] == 512 && told[2] == 0);
    up_catalogue_close(catalogue);
}

static void visits_oldest_first_and_stops(void **state) {
    (void)state;
    struct seen seen = {.count = 0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (int i = 0; i < 5; i++) {
        json_t *content = json_pack("{s:i}", "n", i);
        catalogue_clock_step_s = -100 * i;
        assert_true(up_catalogue_add(catalogue, "item", NULL, NULL, content, NULL, NULL, NULL));
        json_decref(content);
    }
    assert_true(up_catalogue_each(catalogue, "item", note, &seen, NULL));
    for (int i = 0; i < 5; i++) {
        assert_int_equal(seen.n[i], 4 - i);
    }
    seen = (struct seen){.stop_at = 2};
    assert_true(up_catalogue_each(catalogue, "item", note, &seen, NULL));
    assert_int_equal(seen.count, 2);
    up_catalogue_close(catalogue);
}

static void add_at(struct up_catalogue *catalogue, const char *bench, long step_s, int number) {
    json_t *content = json_pack("{s:i}", "n", number);
    catalogue_clock_step_s = step_s;
    assert_true(up_catalogue_add(catalogue, "trial", NULL, bench, content, NULL, NULL, NULL));
    json_decref(content);
}

/* The clock of bench A is lost after its second record and set again before its last one. */
static void where_a_clock_ran_back_the_bench_counts(void **state) {
    (void)state;
    struct seen seen = {.count = 0};
    char last_utc[UP_TIME_SIZE], now[UP_TIME_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_false(up_catalogue_clock_is_behind(catalogue, "A", last_utc));
    assert_string_equal(last_utc, "");
    add_at(catalogue, "A", 0, 0);
    add_at(catalogue, "A", 100, 1);
    add_at(catalogue, "B", 150, 4);
    add_at(catalogue, "A", -1000000, 2);
    assert_true(up_catalogue_clock_is_behind(catalogue, "A", last_utc));
    assert_true(up_catalogue_clock_is_behind(catalogue, "B", now));
    assert_true(strcmp(last_utc, now) < 0);
    add_at(catalogue, "A", -999000, 3);
    add_at(catalogue, "A", 200, 5);
    assert_false(up_catalogue_clock_is_behind(catalogue, "A", now));
    assert_true(up_catalogue_each(catalogue, "trial", note, &seen, NULL));
    assert_int_equal(seen.count, 6);
    for (int i = 0; i < 6; i++) {
        assert_int_equal(seen.n[i], i);
    }
    up_catalogue_close(catalogue);
}

static void assert_current(struct up_catalogue *catalogue, int wanted) {
    struct seen seen = {.count = 0};
    assert_true(up_catalogue_each(catalogue, "item", note, &seen, NULL));
    assert_int_equal(seen.count, 1);
    assert_int_equal(seen.n[0], wanted);
}

static void the_replacing_version_is_current(void **state) {
    (void)state;
    char subject[UP_ID_SIZE], old[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    up_new_id(subject);
    memcpy(old, add_number(catalogue, "item", subject, NULL, 1), sizeof old);
    catalogue_clock_step_s = -86400;
    memcpy(old, add_number(catalogue, "item", subject, old, 2), sizeof old);
    assert_current(catalogue, 2);
    /* Without being named, an older stamp does not win. */
    catalogue_clock_step_s = -2 * 86400;
    add_number(catalogue, "item", subject, NULL, 3);
    assert_current(catalogue, 2);
    assert_answer(catalogue->database, "SELECT count(*) FROM live WHERE kind <> 'writer'", "2");
    catalogue_clock_step_s = 86400;
    add_number(catalogue, "item", subject, NULL, 4);
    assert_current(catalogue, 4);
    assert_answer(catalogue->database, "SELECT count(*) FROM live WHERE kind <> 'writer'", "3");
    assert_answer(catalogue->database, "SELECT count(*) FROM record", "5"); /* and who wrote them */
    json_t *ids = up_catalogue_live_ids(catalogue, "item", subject, NULL);
    assert_int_equal(json_array_size(ids), 3);
    json_decref(ids);
    up_catalogue_close(catalogue);
}

static void of_equal_times_the_greater_id_is_current(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (const char *id = "bca"; *id != '\0'; id++) {
        struct up_record record = {.kind = "item",
                                   .id = "00000000-0000-4000-8000-00000000000a",
                                   .subject = "00000000-0000-4000-8000-000000000000",
                                   .made_utc = "2026-01-01T00:00:00.000Z"};
        record.id[UP_ID_SIZE - 2] = *id;
        record.content = json_pack("{s:i}", "n", *id - 'a' + 1);
        assert_true(catalogue_hash(&record, NULL));
        assert_true(catalogue_insert(catalogue, &record, NULL, NULL));
        json_decref(record.content);
    }
    assert_current(catalogue, 3);
    up_catalogue_close(catalogue);
}

static void refuses_bodies_that_cannot_be_stored(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *list = json_array(), *content = json_object();
    char id[UP_ID_SIZE] = "untouched";
    assert_false(up_catalogue_add(catalogue, "trial", NULL, NULL, list, NULL, id, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "not a JSON object");
    assert_false(up_catalogue_add(catalogue, "trial", NULL, NULL, NULL, NULL, id, &failure));
    assert_false(up_catalogue_add(catalogue, "trial", NULL, "\xFF", content, NULL, id, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "not UTF-8");
    assert_false(
        up_catalogue_add(catalogue, "a kind of 16 ch.", NULL, "", content, NULL, id, NULL));
    assert_false(up_catalogue_add(catalogue, "trial", NAME_300, "", content, NULL, id, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "too long");
    assert_string_equal(id, "untouched");
    assert_answer(catalogue->database, "SELECT count(*) FROM record", "0");
    json_decref(list);
    json_decref(content);
    up_catalogue_close(catalogue);
}

/* Parsed, it may take 80 times its room: its hash may be as good as it likes. */
static void a_body_beyond_all_size_is_damaged(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_record record = {.kind = "note", .made_utc = "2026-01-31T12:00:00.000Z"};
    for (size_t over = 0; over < 2; over++) { /* with {"a":""} just a megabyte, then not */
        char *text = up_allocate((1 << 20) - 8 + over + 1, 1);
        memset(text, 'x', (1 << 20) - 8 + over);
        record.content = json_pack("{s:s}", "a", text);
        char *content = json_dumps(record.content, JSON_COMPACT);
        assert_int_equal(
            up_catalogue_add(catalogue, "put", NULL, NULL, record.content, NULL, NULL, &failure),
            over == 0);
        up_new_id(record.id);
        memcpy(record.subject, record.id, sizeof record.id);
        assert_true(catalogue_hash(&record, NULL));
        const char *row[] = {record.id, record.sha256,   record.kind, record.subject,
                             "",        record.made_utc, content};
        assert_true(catalogue_change(catalogue, "INSERT INTO record VALUES (?, ?, ?, ?, ?, ?, ?)",
                                     row, 7, NULL));
        json_decref(record.content);
        free(content);
        free(text);
        assert_int_equal(up_catalogue_each(catalogue, "note", count_one, &(int){0}, NULL),
                         over == 0);
    }
    assert_says(&failure, UP_STATUS_UNABLE, "larger than a megabyte");
    assert_int_equal(count_kind(catalogue, "put"), 1);
    up_catalogue_close(catalogue);
}

static void a_damaged_record_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    int count = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    sqlite3 *database = outside(FILE_IN_C);
    sql(database, "INSERT INTO record VALUES ('broken-id','1','trial','s','','2000','{\"n\":')");
    sqlite3_close(database);
    assert_false(up_catalogue_each(catalogue, "trial", count_one, &count, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "broken-id");
    assert_int_equal(count, 1); /* the others are shown */
    up_catalogue_close(catalogue);
}

/* ---- never changed ---- */

/* The code that SQLite gives; fails where it changed anything. */
static int code_of_no_change(sqlite3 *database, const char *text) {
    static const char whole[] =
        "SELECT (SELECT group_concat(quote(id)||quote(sha256)||quote(kind)||quote(subject)"
        "||quote(bench)||quote(made_utc)||quote(body)) FROM (SELECT * FROM record ORDER BY id))"
        "||(SELECT group_concat(new_id||old_id) FROM (SELECT * FROM replaces ORDER BY 1, 2))";
    char *before = ask(database, whole);
    int code = sqlite3_exec(database, text, NULL, NULL, NULL);
    assert_answer(database, whole, before);
    free(before);
    return code & 0xFF;
}

static void assert_immutable(sqlite3 *database) {
    static const char *const changes[] = {
        "UPDATE record SET body = '{}'",
        "UPDATE record SET id = 'x' WHERE rowid = 1",
        "UPDATE OR IGNORE record SET made_utc = '9'",
        "UPDATE OR REPLACE record SET id = (SELECT max(id) FROM record)",
        "DELETE FROM record",
        "DELETE FROM record WHERE rowid = 1",
        "UPDATE replaces SET old_id = 'x'",
        "DELETE FROM replaces",
        "REPLACE INTO record SELECT id, sha256, kind, subject, bench, made_utc, '{}' FROM record",
        "INSERT OR REPLACE INTO record (rowid, id, sha256, kind, subject, bench, made_utc, body)"
        " VALUES (1, 'new', 'x', 'item', 's', '', '2000', '{}')",
        "INSERT INTO record SELECT id, sha256, kind, subject, bench, '9', body FROM record"
        " WHERE true ON CONFLICT (id, sha256) DO UPDATE SET made_utc = '9'",
    };
    static const char *const harmless[] = {
        "INSERT OR IGNORE INTO record SELECT * FROM record",
        "INSERT OR IGNORE INTO replaces SELECT * FROM replaces",
        "REPLACE INTO record SELECT * FROM record",
    };
    for (size_t i = 0; i < ARRAY(changes); i++) {
        if (code_of_no_change(database, changes[i]) != SQLITE_CONSTRAINT) {
            fail_msg("%s: not refused", changes[i]);
        }
    }
    for (size_t i = 0; i < ARRAY(harmless); i++) {
        assert_int_equal(code_of_no_change(database, harmless[i]), SQLITE_OK);
    }
    /* Refused or not, as the connection has it: there is nothing in it but its key. */
    code_of_no_change(database, "REPLACE INTO replaces SELECT * FROM replaces");
}

static void nothing_is_changed_or_removed(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    memcpy(id, add_number(catalogue, "item", NULL, NULL, 1), sizeof id);
    add_number(catalogue, "item", id, id, 2);
    assert_immutable(catalogue->database);
    up_catalogue_close(catalogue);
    sqlite3 *database = outside(FILE_IN_C);
    assert_immutable(database);
    sql(database, "PRAGMA recursive_triggers = ON");
    assert_immutable(database);
    sqlite3_close(database);
}

/* ---- the hash ---- */

static void hash_of(const char *text, char hex[UP_SHA256_SIZE]) {
    uint8_t digest[SHA256_DIGEST_SIZE];
    struct sha256_ctx context;
    sha256_init(&context);
    sha256_update(&context, strlen(text), (const uint8_t *)text);
    sha256_digest(&context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    }
}

static void assert_hashes(sqlite3 *database, int records) {
    sqlite3_stmt *statement = NULL;
    char hex[UP_SHA256_SIZE];
    int count = 0;
    assert_int_equal(
        sqlite3_prepare_v2(database,
                           "SELECT sha256, '{\"bench\":\"'||bench||'\",\"body\":'||body||"
                           "',\"kind\":\"'||kind||'\",\"made_utc\":\"'||made_utc||"
                           "'\",\"replaces\":['||coalesce((SELECT group_concat('\"'||old_id||'\"')"
                           " FROM (SELECT old_id FROM replaces WHERE new_id = id ORDER BY old_id)),"
                           "'')||'],\"subject\":\"'||subject||'\"}' FROM record",
                           -1, &statement, NULL),
        SQLITE_OK);
    while (sqlite3_step(statement) == SQLITE_ROW) {
        hash_of((const char *)sqlite3_column_text(statement, 1), hex);
        assert_string_equal(hex, (const char *)sqlite3_column_text(statement, 0));
        count++;
    }
    sqlite3_finalize(statement);
    assert_int_equal(count, records);
}

static void hashes_can_be_computed_again(void **state) {
    (void)state;
    char id[UP_ID_SIZE], subject[UP_ID_SIZE];
    catalogue_signs = false;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *content =
        json_pack("{s:f, s:f, s:s, s:n, s:[f,f,f], s:{s:b, s:i}}", "z", 0.1, "a", 1e300, "t",
                  "\xC3\xA4 \" \\ /", "none", "l", 1.0 / 3, -0.0, 5e-324, "o", "yes", 1, "no", -7);
    up_new_id(subject);
    assert_true(up_catalogue_add(catalogue, "item", subject, "tank one", content, NULL, id, NULL));
    assert_true(up_catalogue_add(catalogue, "item", subject, NULL, content, id, NULL, NULL));
    assert_true(up_catalogue_add(catalogue, "item", subject, NULL, content, NULL, NULL, NULL));
    json_t *live = up_catalogue_live_ids(catalogue, "item", subject, NULL);
    struct up_record record = {.kind = "item", .content = content};
    memcpy(record.subject, subject, sizeof subject);
    assert_int_equal(json_array_size(live), 2);
    assert_true(catalogue_put(catalogue, &record, live, NULL));
    json_decref(live);
    json_decref(content);
    assert_hashes(catalogue->database, 4);
    up_catalogue_close(catalogue);
}

/* ---- seen from outside ---- */

static void views_have_the_columns_of_the_exchange(void **state) {
    (void)state;
    up_catalogue_close(open_as("c", UP_CATALOGUE_CREATE));
    sqlite3 *database = outside(FILE_IN_C);
    for (size_t i = 0; i < CATALOGUE_TABLES; i++) {
        const struct catalogue_table *table = &catalogue_tables[i];
        char *text = up_text_format("SELECT count(*) FROM pragma_table_info('%s')", table->kind);
        size_t columns = 3; /* id, record_id, made_utc */
        for (const struct catalogue_member *at = table->members; at->key != NULL; at++) {
            columns += catalogue_is_column(at);
        }
        char *wanted = up_text_format("%zu", columns);
        assert_answer(database, text, wanted);
        free(wanted);
        free(text);
    }
    /* An SQLite from before 3.38 could not open the file. */
    assert_answer(database, "SELECT count(*) FROM sqlite_master WHERE sql LIKE '%->%'", "0");
    sqlite3_close(database);
}

static void views_show_current_versions(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "old name");
    snprintf(item.name, sizeof item.name, "new \"name\"");
    item.compressible = true;
    assert_true(up_item_add(catalogue, &item, NULL));
    up_catalogue_close(catalogue);
    sqlite3 *database = outside(FILE_IN_C);
    assert_answer(database, "SELECT count(*) FROM item", "1");
    assert_answer(database, "SELECT name FROM item", "new \"name\"");
    assert_answer(database, "SELECT pieces FROM item", "1");
    assert_answer(database, "SELECT compressible FROM item", "1");
    assert_answer(database, "SELECT tolerance_g + 1 FROM item", "51.0");
    sqlite3_close(database);
}

/* A list of many results must be neither sorted nor numbered with its bodies. */
static void one_kind_comes_in_the_order_of_an_index(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_failure failure = {0};
    int count = 0;
    char *plan = NULL;
    add_number(catalogue, "trial", NULL, NULL, 1);
    assert_true(up_catalogue_each(catalogue, "trial", count_one, &count, &failure));
    for (sqlite3_stmt *open = NULL;
         (open = sqlite3_next_stmt(catalogue->database, open)) != NULL;) {
        assert_int_equal(sqlite3_stmt_busy(open), 0); /* none is left at work */
    }
    plan = ask(catalogue->database,
               "SELECT group_concat(name) FROM (SELECT name FROM sqlite_master WHERE type = 'index'"
               " AND name LIKE 'record%' ORDER BY name)");
    assert_string_equal(plan, "record_hash,record_subject,record_time");
    free(plan);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(what_was_added_comes_back),
        TEST(the_bytes_that_are_stored_fit_their_hash),
        TEST(who_waits_is_told_how_far_reading_is),
        TEST(visits_oldest_first_and_stops),
        TEST(where_a_clock_ran_back_the_bench_counts),
        TEST(the_replacing_version_is_current),
        TEST(of_equal_times_the_greater_id_is_current),
        TEST(refuses_bodies_that_cannot_be_stored),
        TEST(a_damaged_record_is_told),
        TEST(a_body_beyond_all_size_is_damaged),
        TEST(nothing_is_changed_or_removed),
        TEST(hashes_can_be_computed_again),
        TEST(views_have_the_columns_of_the_exchange),
        TEST(views_show_current_versions),
        TEST(one_kind_comes_in_the_order_of_an_index),
    };
    return cmocka_run_group_tests_name("catalogue: records", tests, NULL, NULL);
}
