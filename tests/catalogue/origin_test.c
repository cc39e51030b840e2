/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whose record is it: what was made here counts before what came from elsewhere, and nothing
   is taken for what it was not stored as. */
#include "foreign_records.h"

#include "catalogue/run.h"

static const char *const LONG_AGO = "2020-01-01T00:00:00.000Z";
static const char *const FAR_AHEAD = "9999-12-31T23:59:59.000Z";

static void export_to(struct up_catalogue *catalogue, const char *directory) {
    struct up_failure failure = {0};
    if (!up_export_json(catalogue, directory, &failure)) {
        fail_msg("%s", failure.text);
    }
}

/* ---- which version counts ---- */

/* Whether it says that it replaces mine, or is only newer. */
static void mine_stays_until_another_is_accepted(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "my fin");
    insert_foreign_record(catalogue, "item", item.id, FAR_AHEAD, item_of_tolerance(&item, 480),
                          NULL);
    insert_foreign_record(catalogue, "item", item.id, LONG_AGO, item_of_tolerance(&item, 470),
                          up_catalogue_live_ids(catalogue, "item", item.id, NULL));
    assert_true(tolerance_g(catalogue, "my fin") == UP_TOLERANCE_ONE_G);
    up_catalogue_close(catalogue);
    assert_file_answer("c/catalogue.sqlite", "SELECT tolerance_g FROM item", "50.0");
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(up_item_accept(catalogue, item.id, &item, NULL));
    assert_true(item.tolerance_g == 470 && tolerance_g(catalogue, "my fin") == 470);
    /* One that an edit would refuse is not accepted. */
    struct up_failure failure = {0};
    assert_true(up_item_accept(catalogue, item.id, &item, NULL) && item.tolerance_g == 480);
    insert_foreign_record(catalogue, "item", item.id, LONG_AGO, item_of_tolerance(&item, 5000),
                          NULL);
    assert_false(up_item_accept(catalogue, item.id, &item, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "--tolerance-g 5000");
    assert_true(tolerance_g(catalogue, "my fin") == 480);
    up_catalogue_close(catalogue);
}

/* Among those of elsewhere one that is dated ahead of the clock comes last. */
static void what_is_ahead_is_asked_once_an_hour(void **state) {
    (void)state;
    char now[UP_TIME_SIZE], latest[UP_TIME_SIZE];
    catalogue_clock_step_s += 86400;
    catalogue_now(now);
    catalogue_latest(latest);
    catalogue_clock_step_s -= 86400;
    assert_string_equal(latest + 14, "59:59.999Z");
    catalogue_latest(latest);
    assert_int_equal(strlen(latest), strlen(now));
    assert_true(strcmp(latest, now) >= 0);
    assert_memory_equal(latest, now, 13); /* unless the hour ended between the two */
}

static void a_date_ahead_of_the_clock_counts_last(void **state) {
    (void)state;
    char subject[UP_ID_SIZE], ahead_id[UP_ID_SIZE] = "";
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("their fin");
    up_new_id(subject);
    insert_foreign_record(catalogue, "item", subject, FAR_AHEAD, item_of_tolerance(&item, 480),
                          NULL);
    assert_true(tolerance_g(catalogue, "their fin") == 480); /* there is no other */
    char *id = ask(catalogue->database, "SELECT id FROM record");
    snprintf(ahead_id, sizeof ahead_id, "%s", id);
    free(id);
    insert_foreign_record(catalogue, "item", subject, LONG_AGO, item_of_tolerance(&item, 60), NULL);
    assert_true(tolerance_g(catalogue, "their fin") == 60);
    /* Nor does it replace one of the past. */
    id = ask(catalogue->database, "SELECT id FROM record WHERE made_utc < '2021'");
    insert_foreign_record(catalogue, "item", subject, FAR_AHEAD, item_of_tolerance(&item, 70),
                          json_pack("[s]", id));
    free(id);
    assert_true(tolerance_g(catalogue, "their fin") == 60);
    up_catalogue_close(catalogue);
}

/* One of elsewhere with my bench's name does not set its clock for good. */
static void a_date_ahead_of_the_clock_is_no_time_of_mine(void **state) {
    (void)state;
    struct up_intake intake;
    char last_utc[UP_TIME_SIZE];
    struct up_catalogue *mine = open_as("mine", UP_CATALOGUE_CREATE);
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(theirs, "fin");
    struct up_result result = plain_result(item.id, "tank");
    catalogue_clock_step_s = 400L * 365 * 86400;
    assert_true(up_results_add(theirs, &result, 1, "bench", NULL));
    catalogue_clock_step_s = 0;
    assert_true(up_results_add(mine, &result, 1, "bench", NULL));
    assert_true(up_catalogue_merge(mine, "theirs", false, &intake, NULL));
    assert_false(up_catalogue_clock_is_behind(mine, "bench", last_utc));
    assert_true(strcmp(last_utc, "2300") < 0);
    up_catalogue_close(mine);
    up_catalogue_close(theirs);
}

static bool note_origin(const struct up_record *record, void *context) {
    strcat(context, record->elsewhere ? "e" : "h");
    return true;
}

static void a_record_says_where_it_came_from(void **state) {
    (void)state;
    char origins[8] = "";
    struct up_intake intake;
    struct up_catalogue *mine = open_as("mine", UP_CATALOGUE_CREATE);
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    add_item(theirs, "their fin");
    catalogue_clock_step_s = 10;
    add_item(mine, "my fin");
    assert_true(up_catalogue_merge(mine, "theirs", false, &intake, NULL));
    assert_true(up_catalogue_each(mine, "item", note_origin, origins, NULL));
    assert_string_equal(origins, "eh");
    up_catalogue_close(mine);
    up_catalogue_close(theirs);
}

/* ---- at the door ---- */

static void an_intake_says_what_it_touches(void **state) {
    (void)state;
    struct up_intake intake;
    struct up_calibration calibration = plain_calibration("bench", 1e5);
    struct up_catalogue *mine = open_as("mine", UP_CATALOGUE_CREATE);
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(mine, "my fin");
    add_item(theirs, "their fin");
    assert_true(up_catalogue_merge(theirs, "mine", false, &intake, NULL));
    assert_int_equal(intake.versions_of_ours + intake.results_of_ours + intake.calibrations, 0);
    snprintf(item.size, sizeof item.size, "XL");
    assert_true(up_item_add(theirs, &item, NULL));
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(theirs, &result, 1, "bench", NULL));
    assert_true(up_calibration_add(theirs, &calibration, NULL));
    for (int dry = 1; dry >= 0; dry--) {
        assert_true(up_catalogue_merge(mine, "theirs", dry != 0, &intake, NULL));
        /* who wrote, two versions, a result, its decision, a calibration */
        assert_int_equal(intake.fresh, 6);
        assert_int_equal(intake.known, 2);
        assert_int_equal(intake.versions_of_ours, 1);
        assert_int_equal(intake.items_of_ours, 1);
        assert_int_equal(intake.results_of_ours, 1);
        assert_int_equal(intake.calibrations, 1);
        assert_answer(mine->database, "SELECT count(*) FROM record", dry ? "2" : "8");
    }
    assert_true(up_catalogue_merge(mine, "theirs", false, &intake, NULL));
    assert_int_equal(intake.fresh + intake.versions_of_ours + intake.calibrations, 0);
    up_catalogue_close(mine);
    up_catalogue_close(theirs);
}

/* ---- what is no longer what was stored ---- */

struct found {
    unsigned count[UP_RECORD_WAITING + 1];
    char id[UP_ID_SIZE], reason[UP_NAME_SIZE];
};

static bool note_doubtful(const struct up_doubtful_record *doubtful, void *context) {
    struct found *found = context;
    found->count[doubtful->why]++;
    memcpy(found->id, doubtful->id, sizeof found->id);
    memcpy(found->reason, doubtful->reason, sizeof found->reason);
    return true;
}

static struct found check(struct up_catalogue *catalogue) {
    struct found found = {.id = ""};
    struct up_failure failure = {0};
    if (!up_catalogue_check(catalogue, note_doubtful, &found, &failure)) {
        fail_msg("%s", failure.text);
    }
    return found;
}

static void a_changed_digit_is_found_and_can_be_set_aside(void **state) {
    (void)state;
    struct up_failure failure = {0};
    int count = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "sound");
    add_item(catalogue, "changed");
    assert_int_equal(check(catalogue).count[UP_RECORD_DAMAGED], 0);
    sqlite3 *database = outside("c/catalogue.sqlite");
    without_triggers(database, "UPDATE record SET body = replace(body, ':50,', ':51,')"
                               " WHERE body LIKE '%changed%'");
    sqlite3_close(database);
    assert_false(up_catalogue_each(catalogue, "item", count_one, &count, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is damaged: restore a copy");
    assert_int_equal(count, 1);
    struct found found = check(catalogue);
    assert_int_equal(found.count[UP_RECORD_DAMAGED], 1);
    assert_non_null(strstr(failure.text, found.id));
    assert_true(up_catalogue_set_aside(catalogue, found.id, "bad disk\x1b[2J", &failure));
    assert_int_equal(count_kind(catalogue, "item"), 1);
    export_to(catalogue, "out"); /* what cannot be taken in anywhere is left out */
    found = check(catalogue);
    assert_int_equal(found.count[UP_RECORD_DAMAGED], 0);
    assert_int_equal(found.count[UP_RECORD_SET_ASIDE], 1);
    assert_null(strchr(found.reason, '\x1b'));
    assert_non_null(strstr(found.reason, "bad disk"));
    up_catalogue_close(catalogue);
}

/* As where a backup is copied over the file, and the log of the lost one stays. */
static void a_record_that_no_index_leads_to_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct found found = {.id = ""};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "fin");
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "CREATE TABLE empty (a, b, c); CREATE INDEX none ON empty (a, b, c);"
                  "PRAGMA writable_schema = ON;"
                  "UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master"
                  " WHERE name = 'none') WHERE name = 'record_time';"
                  "DELETE FROM sqlite_master WHERE name IN ('none', 'empty')");
    sqlite3_close(database);
    catalogue = open_as("c", UP_CATALOGUE_READ);
    assert_false(up_catalogue_check(catalogue, note_doubtful, &found, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is damaged (");
    up_catalogue_close(catalogue);
}

static void what_is_set_aside_can_be_taken_back(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    char *first = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'item'");
    item.tolerance_g = 70;
    assert_true(up_item_add(catalogue, &item, NULL));
    char *second = ask(catalogue->database, "SELECT id FROM record ORDER BY rowid DESC");
    assert_true(up_catalogue_set_aside(catalogue, second, "a slip", &failure));
    assert_true(tolerance_g(catalogue, "fin") == UP_TOLERANCE_ONE_G); /* the one before it */
    assert_true(up_catalogue_set_aside(catalogue, first, "this too", &failure));
    assert_int_equal(count_kind(catalogue, "item"), 0);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE); /* a merge stays a union */
    assert_true(up_catalogue_merge(other, "c", false, &intake, NULL) && intake.fresh == 3);
    up_catalogue_close(other);
    assert_true(up_catalogue_restore(catalogue, second, &failure));
    assert_true(tolerance_g(catalogue, "fin") == 70);
    assert_false(up_catalogue_restore(catalogue, second, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "is not set aside");
    assert_false(up_catalogue_set_aside(catalogue, "nothing", "x", &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "has no record nothing");
    free(first);
    free(second);
    up_catalogue_close(catalogue);
}

static void a_date_ahead_of_the_clock_is_told(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    assert_int_equal(check(catalogue).count[UP_RECORD_AHEAD_OF_CLOCK], 0);
    insert_foreign_record(catalogue, "item", item.id, FAR_AHEAD, item_of_tolerance(&item, 60),
                          NULL);
    assert_int_equal(check(catalogue).count[UP_RECORD_AHEAD_OF_CLOCK], 1);
    up_catalogue_close(catalogue);
}

/* What could not be read again is not stored. */
static void a_clock_beyond_all_years_is_refused(void **state) {
    (void)state;
    static const long years[] = {-3000, 8000};
    struct up_failure failure = {0};
    struct up_item item = plain_item("fin");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    for (size_t i = 0; i < ARRAY(years); i++) {
        catalogue_clock_step_s = years[i] * 31557600L;
        assert_false(up_item_add(catalogue, &item, &failure));
        assert_says(&failure, UP_STATUS_UNABLE, "the clock of this computer says");
        assert_answer(catalogue->database, "SELECT count(*) FROM record", "0");
    }
    up_catalogue_close(catalogue);
}

/* A file that came from somebody else: what surrounds a body goes into scripts and commands. */
static void a_record_of_no_form_is_damaged(void **state) {
    (void)state;
    struct up_failure failure = {0};
    int count = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    insert_foreign_record(catalogue, "item", item.id, "\n!touch x\n", item_of_tolerance(&item, 60),
                          NULL);
    assert_false(up_catalogue_each(catalogue, "item", count_one, &count, &failure) && count != 1);
    assert_int_equal(check(catalogue).count[UP_RECORD_DAMAGED], 1);
    struct up_record record = {
        .kind = "item", .id = "$(id)", .made_utc = "2026-01-01T00:00:00.000Z"};
    up_new_id(record.subject);
    record.content = item_of_tolerance(&item, 60);
    assert_true(catalogue_hash(&record, NULL) && catalogue_insert(catalogue, &record, NULL, NULL));
    json_decref(record.content);
    assert_false(up_catalogue_each(catalogue, "item", count_one, &count, &failure));
    assert_null(strstr(failure.text, "--set-aside $(id)")); /* a shell would run it */
    up_catalogue_close(catalogue);
}

static bool has_decision(struct up_catalogue *catalogue, const char *result_id) {
    json_t *later = up_decisions_later(catalogue, NULL);
    assert_non_null(later);
    bool has = json_object_get(later, result_id) != NULL;
    json_decref(later);
    return has;
}

static void a_decision_of_elsewhere_judges_nothing_of_here(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    char *id = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'result'");
    json_t *content = json_pack("{s:s, s:b}", "result_id", id, "rejudged", 1);
    assert_true(up_catalogue_add(catalogue, "decision", NULL, "bench", content, NULL, NULL, NULL));
    json_decref(content);
    assert_true(has_decision(catalogue, id));
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN"
                             " (SELECT id FROM record WHERE kind = 'decision')");
    assert_false(has_decision(catalogue, id));
    sql(catalogue->database, "DELETE FROM local_mark");
    assert_true(has_decision(catalogue, id)); /* both of elsewhere */
    free(id);
    up_catalogue_close(catalogue);
}

/* What is made of a result counts as made here. */
static void a_result_of_elsewhere_is_not_judged_here(void **state) {
    (void)state;
    int own = 0;
    json_t *elsewhere = json_object();
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "fin");
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    for (int i = 0; i < 2; i++) {
        char id[UP_ID_SIZE];
        up_new_id(id);
        insert_foreign_record(catalogue, "result", id, LONG_AGO, up_result_to_json(&result), NULL);
    }
    assert_true(up_results_to_judge(catalogue, count_one, &own, elsewhere, NULL));
    assert_int_equal(own, 1);
    assert_int_equal(json_integer_value(json_object_get(elsewhere, item.id)), 2);
    json_decref(elsewhere);
    up_catalogue_close(catalogue);
}

/* No other catalogue takes in a record that replaces more than a thousand. */
static void many_versions_leave_the_next_one_mergeable(void **state) {
    (void)state;
    char subject[UP_ID_SIZE];
    struct up_intake intake;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("fin");
    up_new_id(subject);
    sql(catalogue->database, "BEGIN");
    for (int i = 0; i < 1003; i++) {
        insert_foreign_record(catalogue, "item", subject, LONG_AGO,
                              item_of_tolerance(&item, 50 + i * 0.1), NULL);
    }
    sql(catalogue->database, "COMMIT");
    memcpy(item.id, subject, sizeof item.id);
    assert_true(up_item_add(catalogue, &item, NULL));
    struct found found = check(catalogue);
    assert_int_equal(found.count[UP_RECORD_OF_MANY], 1);
    assert_non_null(strstr(found.reason, "1004 of"));
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_int_equal(check(other).count[UP_RECORD_OF_MANY], 0);
    if (!up_catalogue_merge(other, "c", false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* A number near the door's limit would leave none for what is stored next. */
static void a_number_of_elsewhere_does_not_use_up_the_count(void **state) {
    (void)state;
    struct up_record record = {
        .kind = "trial", .bench = "bench", .made_utc = "2026-01-01T00:00:00.000Z"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    up_new_id(record.id);
    up_new_id(record.subject);
    record.content = json_pack("{s:I}", "bench_sequence", (json_int_t)1 << 52);
    assert_true(catalogue_hash(&record, NULL) && catalogue_insert(catalogue, &record, NULL, NULL));
    json_decref(record.content);
    assert_true(catalogue_run(catalogue, catalogue_count_again, NULL));
    add_number(catalogue, "trial", NULL, NULL, 2);
    assert_answer(catalogue->database,
                  "SELECT json_extract(record.body, '$.bench_sequence') FROM record JOIN detail"
                  " USING (sha256) WHERE json_extract(detail.body, '$.n') = 2",
                  "2");
    up_catalogue_close(catalogue);
}

/* A name has one subject, and tolerances have limits. */
static void a_kind_of_elsewhere_has_its_own_subject(void **state) {
    (void)state;
    struct up_failure failure = {0};
    enum catalogue_admitted how;
    struct up_record record = {.kind = "gear_kind", .made_utc = "2026-01-01T00:00:00.000Z"};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    up_new_id(record.id);
    up_new_id(record.subject);
    record.content = json_pack("{s:s, s:f, s:f}", "name", "fin", "tolerance_one_g", 60.0,
                               "tolerance_pair_g", 100.0);
    json_t *none = json_array();
    assert_true(catalogue_hash(&record, NULL));
    assert_false(catalogue_admit(catalogue, &record, none, "there", false, &how, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "not that of the kind's name");
    json_object_set_new(record.content, "tolerance_one_g", json_real(9e6));
    assert_true(catalogue_hash(&record, NULL));
    assert_false(catalogue_admit(catalogue, &record, none, "there", false, &how, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "tolerances that cannot be");
    json_decref(none);
    json_decref(record.content);
    up_catalogue_close(catalogue);
}

/* ---- many versions ---- */

static long steps;

static int count_steps(void *context) {
    (void)context;
    steps++;
    return 0;
}

static long steps_to_list(int versions) {
    char subject[UP_ID_SIZE];
    char *directory = up_text_format("v%d", versions);
    struct up_catalogue *catalogue = open_as(directory, UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("fin");
    unsigned long waiting = 0;
    up_new_id(subject);
    memcpy(item.id, subject, sizeof item.id);
    assert_true(up_item_add(catalogue, &item, NULL)); /* ours: the others wait */
    sql(catalogue->database, "BEGIN");
    for (int i = 1; i <= versions; i++) {
        insert_foreign_record(catalogue, "item", subject, LONG_AGO,
                              item_of_tolerance(&item, 50 + i), NULL);
    }
    sql(catalogue->database, "COMMIT");
    steps = 0;
    sqlite3_progress_handler(catalogue->database, 100, count_steps, NULL);
    assert_int_equal(count_kind(catalogue, "item"), 1);
    assert_true(up_items_waiting(catalogue, NULL, &waiting, NULL) && waiting == 1);
    up_catalogue_close(catalogue);
    free(directory);
    return steps;
}

/* Eight thousand versions of one thing once took 46 s. Work is counted, not time. */
static void versions_cost_what_they_are(void **state) {
    (void)state;
    long few = steps_to_list(200), many = steps_to_list(800);
    assert_true(few > 10);
    assert_true(many < 6 * few);
}

/* What somebody else writes of it does not keep us from going on with our run. */
static void a_run_of_here_stays_of_here(void **state) {
    (void)state;
    char run_id[UP_ID_SIZE];
    struct up_run *run = NULL;
    bool is = false;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *about = json_object();
    assert_true(up_run_open(catalogue, "bench", about, run_id, &run, NULL));
    json_t *more = json_object();
    assert_true(up_run_end(run, "stopped", more, NULL));
    up_run_close(run);
    assert_true(catalogue_is_of_place(catalogue, run_id, &is, NULL) && is);
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id = (SELECT id FROM record WHERE"
                             " kind = 'run' ORDER BY rowid DESC LIMIT 1)");
    assert_true(catalogue_is_of_place(catalogue, run_id, &is, NULL) && is);
    sql(catalogue->database, "UPDATE local_mark SET place = 'another'");
    assert_true(catalogue_is_of_place(catalogue, run_id, &is, NULL) && !is);
    json_decref(more);
    json_decref(about);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(mine_stays_until_another_is_accepted),
        TEST(what_is_ahead_is_asked_once_an_hour),
        TEST(a_date_ahead_of_the_clock_counts_last),
        TEST(a_date_ahead_of_the_clock_is_no_time_of_mine),
        TEST(a_record_says_where_it_came_from),
        TEST(an_intake_says_what_it_touches),
        TEST(a_changed_digit_is_found_and_can_be_set_aside),
        TEST(a_record_that_no_index_leads_to_is_told),
        TEST(what_is_set_aside_can_be_taken_back),
        TEST(a_date_ahead_of_the_clock_is_told),
        TEST(versions_cost_what_they_are),
        TEST(a_clock_beyond_all_years_is_refused),
        TEST(a_record_of_no_form_is_damaged),
        TEST(a_decision_of_elsewhere_judges_nothing_of_here),
        TEST(a_result_of_elsewhere_is_not_judged_here),
        TEST(many_versions_leave_the_next_one_mergeable),
        TEST(a_number_of_elsewhere_does_not_use_up_the_count),
        TEST(a_kind_of_elsewhere_has_its_own_subject),
        TEST(a_run_of_here_stays_of_here),
    };
    return cmocka_run_group_tests_name("catalogue: origin", tests, NULL, NULL);
}
