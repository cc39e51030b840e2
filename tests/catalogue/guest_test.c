/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a guest's records cannot change: what was measured by, adopted, decided here. */
#include "foreign_records.h"

static const char *const LONG_AGO = "2020-01-01T00:00:00.000Z";
static const char *const AFTERWARDS = "2021-01-01T00:00:00.000Z";

static char *id_at(struct up_catalogue *catalogue, const char *made_utc) {
    char *text = up_text_format("SELECT id FROM record WHERE made_utc = '%s'", made_utc);
    char *id = ask(catalogue->database, text);
    free(text);
    return id;
}

/* ---- what was measured ---- */

/* The first result fixes the version; the rest waits as for an item of here. */
static void an_item_stays_what_it_was_when_it_was_weighed(void **state) {
    (void)state;
    unsigned long waiting = 0;
    char subject[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("their fin");
    up_new_id(subject);
    insert_foreign_record(catalogue, "item", subject, LONG_AGO, item_of_tolerance(&item, 55), NULL);
    insert_foreign_record(catalogue, "item", subject, AFTERWARDS, item_of_tolerance(&item, 60),
                          NULL);
    assert_true(tolerance_g(catalogue, "their fin") == 60); /* the newest, so long */
    struct up_result result = plain_result(subject, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    char *id = id_at(catalogue, AFTERWARDS);
    insert_foreign_record(catalogue, "item", subject, "2022-01-01T00:00:00.000Z",
                          item_of_tolerance(&item, 480), json_pack("[s]", id));
    assert_true(tolerance_g(catalogue, "their fin") == 60);
    assert_true(up_items_waiting(catalogue, subject, &waiting, NULL) && waiting == 1);
    assert_true(up_item_accept(catalogue, subject, &item, NULL) && item.tolerance_g == 480);
    assert_true(tolerance_g(catalogue, "their fin") == 480);
    free(id);
    up_catalogue_close(catalogue);
}

static double mass_kg(struct up_catalogue *catalogue, const char *name, bool *elsewhere) {
    struct up_reference found;
    assert_true(up_reference_find(catalogue, name, &found, NULL));
    *elsewhere = found.elsewhere;
    return found.mass_kg.value;
}

/* It is still marked as one that came from there. */
static void a_body_stays_what_it_was_when_it_was_weighed(void **state) {
    (void)state;
    bool elsewhere = false;
    struct up_reference_check check = {.name = "Steel"};
    struct up_reference body = {
        .name = "Steel", .mass_kg = up_known(1, 1e-5), .volume_m3 = up_known(1.27e-4, 3e-8)};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    up_new_id(check.id);
    insert_foreign_record(catalogue, "reference", check.id, LONG_AGO, up_reference_to_json(&body),
                          NULL);
    body.mass_kg.value = 1.001;
    insert_foreign_record(catalogue, "reference", check.id, AFTERWARDS, up_reference_to_json(&body),
                          NULL);
    assert_true(mass_kg(catalogue, "Steel", &elsewhere) == 1.001 && elsewhere);
    assert_true(up_check_add(catalogue, &check, "", "bench", NULL, NULL));
    body.mass_kg.value = 1.1;
    insert_foreign_record(catalogue, "reference", check.id, "2022-01-01T00:00:00.000Z",
                          up_reference_to_json(&body), NULL);
    assert_true(mass_kg(catalogue, "Steel", &elsewhere) == 1.001 && elsewhere);
    up_catalogue_close(catalogue);
}

/* What an earlier program stored: the version that counts when the marks begin is held, and a
   result that an earlier `decide` made of a run of elsewhere is of there. */
static void an_older_catalogue_gets_the_marks(void **state) {
    (void)state;
    char subject[UP_ID_SIZE], other[UP_ID_SIZE], theirs[UP_ID_SIZE];
    catalogue_signs = false;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("their fin"), unweighed = plain_item("unweighed");
    up_new_id(subject);
    up_new_id(other);
    up_new_id(theirs);
    insert_foreign_record(catalogue, "item", subject, LONG_AGO, item_of_tolerance(&item, 60), NULL);
    insert_foreign_record(catalogue, "item", other, LONG_AGO, item_of_tolerance(&unweighed, 60),
                          NULL);
    struct up_result result = plain_result(subject, "tank");
    snprintf(result.run_id, sizeof result.run_id, "%s", "ours");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    struct up_result laundered = plain_result(other, "tank");
    snprintf(laundered.run_id, sizeof laundered.run_id, "%s", "theirs");
    insert_foreign_record(catalogue, "result", theirs, LONG_AGO, up_result_to_json(&laundered),
                          NULL);
    snprintf(laundered.water.name, sizeof laundered.water.name, "%s", "sea");
    assert_true(up_results_add(catalogue, &laundered, 1, "bench", NULL));
    sql(catalogue->database, "DELETE FROM local_mark WHERE mark = 'used';"
                             "DROP TABLE signed; DROP TABLE detail; DROP TABLE private;"
                             "PRAGMA user_version = 6");
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    for (int i = 0; i < 2; i++) {
        insert_foreign_record(catalogue, "item", i == 0 ? subject : other, AFTERWARDS,
                              item_of_tolerance(i == 0 ? &item : &unweighed, 480), NULL);
    }
    assert_true(tolerance_g(catalogue, "their fin") == 60);
    assert_true(tolerance_g(catalogue, "unweighed") == 480); /* nothing here was measured of it */
    assert_answer(catalogue->database,
                  "SELECT group_concat(json_extract(body, '$.run_id')) FROM record"
                  " WHERE kind = 'result' AND id IN (SELECT record_id FROM local_mark)",
                  "ours");
    up_catalogue_close(catalogue);
}

/* ---- the calibration that was adopted ---- */

static json_t *calibration_of(double slope_counts_per_kg, json_int_t sequence) {
    struct up_calibration calibration = plain_calibration("bench", slope_counts_per_kg);
    json_t *json = up_calibration_to_json(&calibration);
    json_object_set_new(json, "bench_sequence", json_integer(sequence));
    return json;
}

static void slip_calibration(struct up_catalogue *catalogue, const char *subject,
                             const char *made_utc, double slope_counts_per_kg, json_int_t sequence,
                             const char *replaces, char id[UP_ID_SIZE]) {
    struct up_record record = {.kind = "calibration", .bench = "bench"};
    json_t *old = replaces != NULL ? json_pack("[s]", replaces) : json_array();
    up_new_id(record.id);
    snprintf(record.subject, sizeof record.subject, "%s", subject != NULL ? subject : record.id);
    snprintf(record.made_utc, sizeof record.made_utc, "%s", made_utc);
    record.content = calibration_of(slope_counts_per_kg, sequence);
    assert_true(catalogue_hash(&record, old));
    assert_true(catalogue_insert(catalogue, &record, old, NULL));
    memcpy(id, record.id, sizeof record.id);
    json_decref(record.content);
    json_decref(old);
}

static double slope_in_use(struct up_catalogue *catalogue) {
    struct up_calibration used;
    struct up_failure failure = {0};
    if (!up_calibration_to_use(catalogue, "bench", &used, &failure)) {
        fail_msg("%s", failure.text);
    }
    return used.slope_counts_per_kg;
}

/* Whether it is only newer, or says that it replaces it. */
static void nothing_takes_the_place_of_what_was_adopted(void **state) {
    (void)state;
    char first[UP_ID_SIZE], second[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    slip_calibration(catalogue, NULL, LONG_AGO, 1e5, 1, NULL, first);
    assert_true(up_calibration_adopt(catalogue, first, NULL));
    assert_true(slope_in_use(catalogue) == 1e5);
    slip_calibration(catalogue, first, AFTERWARDS, 2e5, 2, NULL, second);
    assert_true(slope_in_use(catalogue) == 1e5);
    slip_calibration(catalogue, first, AFTERWARDS, 3e5, 3, first, second);
    assert_true(slope_in_use(catalogue) == 1e5);
    up_catalogue_close(catalogue);
}

/* Whatever numbers they say they have: the last that was made or adopted here. */
static void who_calibrates_again_uses_that(void **state) {
    (void)state;
    char first[UP_ID_SIZE];
    struct up_calibration mine = plain_calibration("bench", 1.1e5);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    slip_calibration(catalogue, NULL, LONG_AGO, 1e5, (json_int_t)1 << 52, NULL, first);
    assert_true(catalogue_run(catalogue, catalogue_count_again, NULL));
    assert_true(up_calibration_adopt(catalogue, first, NULL));
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    assert_true(slope_in_use(catalogue) == 1.1e5);
    slip_calibration(catalogue, NULL, AFTERWARDS, 2e5, 1, NULL, first);
    assert_true(slope_in_use(catalogue) == 1.1e5);
    assert_true(up_calibration_adopt(catalogue, first, NULL));
    assert_true(slope_in_use(catalogue) == 2e5);
    assert_true(up_calibration_add(catalogue, &mine, NULL) && slope_in_use(catalogue) == 1.1e5);
    up_catalogue_close(catalogue);
}

/* ---- contents and ids ---- */

/* One entry of an export, changed; its hash is made good again. */
static void write_changed(const char *list, const char *id, const char *name, const char *to) {
    json_t *document = json_load_file("out/catalogue.json", 0, NULL);
    json_t *entry = json_array_get(json_object_get(document, list), 0);
    json_object_del(entry, "signed");
    if (id != NULL) {
        json_object_set_new(entry, "id", json_string(id));
    }
    if (name != NULL) {
        static const char *const added[] = {"id",       "subject",  "item_id", "sha256",
                                            "made_utc", "replaces", "bench"};
        struct up_record record = {.kind = "item"};
        json_object_set_new(entry, "name", json_string(name));
        record.content = json_copy(entry);
        for (size_t i = 0; i < ARRAY(added); i++) {
            json_object_del(record.content, added[i]);
        }
        catalogue_read_text(entry, "subject", record.subject, sizeof record.subject);
        catalogue_read_text(entry, "made_utc", record.made_utc, sizeof record.made_utc);
        assert_true(catalogue_hash(&record, json_object_get(entry, "replaces")));
        json_object_set_new(entry, "sha256", json_string(record.sha256));
        json_decref(record.content);
    }
    assert_int_equal(json_dump_file(document, to, JSON_REAL_PRECISION(17)), 0);
    json_decref(document);
}

static struct up_intake import(struct up_catalogue *catalogue, const char *file) {
    struct up_intake intake;
    struct up_failure failure = {0};
    if (!up_catalogue_import(catalogue, file, false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    return intake;
}

/* However many other contents come under its id; and a person's reason for leaving one out stays.
 */
static void what_a_person_took_back_is_not_set_aside_again(void **state) {
    (void)state;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    add_item(theirs, "true");
    assert_true(up_export_json(theirs, "out", NULL));
    up_catalogue_close(theirs);
    write_changed("items", NULL, "forged", "one.json");
    write_changed("items", NULL, "forged too", "two.json");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    import(catalogue, "out");
    char *id = ask(catalogue->database, "SELECT id FROM record");
    assert_int_equal(import(catalogue, "one.json").undecided, 1);
    assert_int_equal(count_kind(catalogue, "item"), 0);
    char *true_one = ask(catalogue->database, "SELECT id || '/' || substr(sha256, 1, 8) FROM"
                                              " (SELECT id, sha256, body FROM record UNION ALL"
                                              "  SELECT id, sha256, body FROM contested)"
                                              " WHERE body LIKE '%true\"%'");
    assert_true(up_catalogue_restore(catalogue, true_one, NULL));
    free(true_one);
    struct up_intake intake = import(catalogue, "two.json");
    assert_true(intake.contested == 1 && intake.undecided == 0);
    assert_int_equal(count_kind(catalogue, "item"), 1);
    import(other, "out");
    assert_true(up_catalogue_set_aside(other, id, "I know better", NULL));
    import(other, "one.json");
    assert_answer(other->database, "SELECT reason FROM local_mark", "I know better");
    free(id);
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* The hash leaves out the id. The others come, and in both orders the same counts. */
static void a_copy_under_another_id_keeps_nothing_out(void **state) {
    (void)state;
    static const char id[] = "11111111-2222-3333-4444-555555555555";
    catalogue_signs = false;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(theirs, "fin");
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(theirs, &result, 1, "bench", NULL));
    assert_true(up_export_json(theirs, "out", NULL));
    up_catalogue_close(theirs);
    write_changed("results", id, NULL, "result.json");
    write_changed("items", id, NULL, "item.json");
    static const char *const orders[2][3] = {{"out", "result.json", "item.json"},
                                             {"item.json", "result.json", "out"}};
    for (size_t order = 0; order < ARRAY(orders); order++) {
        struct up_catalogue *catalogue = open_as(order == 0 ? "a" : "b", UP_CATALOGUE_CREATE);
        struct up_intake sum = {0};
        for (size_t i = 0; i < ARRAY(orders[order]); i++) {
            struct up_intake intake = import(catalogue, orders[order][i]);
            sum.fresh += intake.fresh;
            sum.refused += intake.refused;
            sum.copies += intake.copies;
        }
        assert_true(sum.fresh == 3 && sum.refused == 1 && sum.copies == 1);
        assert_answer(catalogue->database, "SELECT count(*) FROM record", "4");
        assert_int_equal(count_kind(catalogue, "item"), 1);
        assert_int_equal(count_kind(catalogue, "result"), 1);
        up_catalogue_close(catalogue);
    }
}

/* A member that nobody asked for, nested so deep. */
static json_t *deep_item(const char *name, int levels) {
    struct up_item item = plain_item(name);
    json_t *content = up_item_to_json(&item), *inner = json_integer(1);
    for (int i = 0; i < levels; i++) {
        inner = json_pack("[o]", inner);
    }
    json_object_set_new(content, "more", inner);
    return content;
}

/* Stored before the door refused it, it keeps nothing else from being given on or taken. */
static void what_is_nested_too_deep_keeps_nothing_out(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_failure failure = {0};
    struct up_intake intake;
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    add_item(theirs, "fin");
    static const int levels[] = {31, 32, 2046};
    for (size_t i = 0; i < ARRAY(levels); i++) {
        up_new_id(id);
        insert_foreign_record(theirs, "item", id, LONG_AGO, deep_item("deep", levels[i]), NULL);
    }
    assert_true(up_export_json(theirs, "out", NULL));
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_int_equal(import(catalogue, "out").fresh, 3); /* a writer, the fin, one of 31 levels */
    if (!up_catalogue_merge(catalogue, "theirs", false, &intake, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_true(intake.fresh == 0 && intake.known == 3 && intake.refused == 2);
    json_t *content = deep_item("mine", 40);
    assert_false(up_catalogue_add(catalogue, "item", NULL, NULL, content, NULL, NULL, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "nested too deep");
    json_decref(content);
    up_catalogue_close(theirs);
    up_catalogue_close(catalogue);
}

/* A count that is none: refused, whatever the kind; stored before, it moves nothing. */
static void a_count_that_is_no_number_is_refused(void **state) {
    (void)state;
    struct up_failure failure = {0};
    json_t *none[] = {json_string("9"), json_real(7.5), json_integer(-1),
                      json_integer(((json_int_t)1 << 52) + 1)};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    for (size_t i = 0; i < ARRAY(none); i++) {
        struct up_item item = plain_item("fin");
        struct up_record record = {
            .kind = "item", .bench = "bench", .made_utc = "2020-01-01T00:00:00.000Z"};
        enum catalogue_admitted how;
        json_t *old = json_array();
        up_new_id(record.id);
        memcpy(record.subject, record.id, sizeof record.id);
        record.content = up_item_to_json(&item);
        json_object_set(record.content, "bench_sequence", none[i]);
        assert_true(catalogue_hash(&record, old));
        assert_false(catalogue_admit(catalogue, &record, old, "there", false, &how, &failure));
        assert_says(&failure, UP_STATUS_WRONG_INPUT, "\"bench_sequence\" is not a whole number");
        assert_true(catalogue_insert(catalogue, &record, old, NULL));
        json_decref(record.content);
        json_decref(old);
        json_decref(none[i]);
    }
    assert_true(catalogue_run(catalogue, catalogue_count_again, NULL));
    assert_answer(catalogue->database, "SELECT last_sequence FROM bench_counter", "1");
    up_catalogue_close(catalogue);
}

/* However far ahead: our clock is not behind what others say. */
static void a_guests_date_is_no_time_of_here(void **state) {
    (void)state;
    char last_utc[UP_TIME_SIZE];
    struct up_intake intake;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *theirs = open_as("theirs", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(theirs, "fin");
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "bench", NULL));
    catalogue_clock_step_s = 3600;
    assert_true(up_results_add(theirs, &result, 1, "bench", NULL));
    catalogue_clock_step_s = 0;
    assert_true(up_catalogue_merge(catalogue, "theirs", false, &intake, NULL));
    assert_false(up_catalogue_clock_is_behind(catalogue, "bench", last_utc));
    catalogue_clock_step_s = -100; /* but behind what was stored here */
    assert_true(up_catalogue_clock_is_behind(catalogue, "bench", last_utc));
    up_catalogue_close(theirs);
    up_catalogue_close(catalogue);
}

/* A record that was left out moves the count of no bench; it does again when it is taken back. */
static void what_is_left_out_moves_no_count(void **state) {
    (void)state;
    char id[UP_ID_SIZE];
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    slip_calibration(catalogue, NULL, LONG_AGO, 1e5, 7000, NULL, id);
    assert_true(up_catalogue_set_aside(catalogue, id, "forged", NULL));
    assert_answer(catalogue->database, "SELECT last_sequence FROM bench_counter", "1");
    assert_true(up_catalogue_restore(catalogue, id, NULL));
    assert_answer(catalogue->database, "SELECT last_sequence FROM bench_counter", "7000");
    char *own = ask(catalogue->database, "SELECT id FROM record WHERE kind = 'trial'");
    assert_true(up_catalogue_set_aside(catalogue, id, "forged", NULL));
    assert_true(up_catalogue_set_aside(catalogue, own, "a slip", NULL)); /* its number is used */
    assert_answer(catalogue->database, "SELECT last_sequence FROM bench_counter", "1");
    free(own);
    up_catalogue_close(catalogue);
}

/* However it is spelled, and though it begins as an id of here does. */
static void a_guests_name_stands_before_none_of_here(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item ours = plain_item("lead block"), guests = plain_item("Lead block"), found;
    struct up_failure failure = {0};
    assert_true(up_item_add(catalogue, &ours, NULL));
    memcpy(guests.id, ours.id, sizeof guests.id);
    guests.id[9] = ours.id[9] == 'a' ? 'b' : 'a'; /* their first eight digits are alike */
    guests.tolerance_g = 450;
    assert_true(up_item_add(catalogue, &guests, NULL));
    assert_false(up_item_find(
        catalogue, (char[]){ours.id[0], ours.id[1], ours.id[2], ours.id[3], 0}, &found, &failure));
    char *command = up_text_format("DELETE FROM local_mark WHERE record_id IN"
                                   " (SELECT id FROM record WHERE subject = '%s')",
                                   guests.id);
    sql(catalogue->database, command);
    free(command);
    char beginning[9];
    snprintf(beginning, sizeof beginning, "%.8s", ours.id);
    const char *const typed[] = {"lead block", "Lead block", "LEAD BLOCK", beginning};
    for (size_t i = 0; i < ARRAY(typed); i++) {
        assert_true(up_item_find(catalogue, typed[i], &found, &failure));
        assert_string_equal(found.id, ours.id);
    }
    assert_true(up_item_find(catalogue, guests.id, &found, &failure));
    assert_true(found.tolerance_g == 450);
    up_catalogue_close(catalogue);
}

/* A trial that somebody says of our item does not fix its pieces. */
static void a_guests_trial_fixes_no_pieces(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = plain_item("Gull fin");
    assert_true(up_item_add(catalogue, &item, NULL));
    struct up_result result = plain_result(item.id, "tank");
    assert_true(up_results_add(catalogue, &result, 1, "shed", NULL));
    item.pieces = 2;
    item.tolerance_g = 100;
    assert_false(up_item_add(catalogue, &item, NULL));
    sql(catalogue->database, "DELETE FROM local_mark WHERE record_id IN"
                             " (SELECT id FROM record WHERE kind <> 'item')");
    assert_true(up_item_add(catalogue, &item, NULL));
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_guests_name_stands_before_none_of_here),
        TEST(a_guests_trial_fixes_no_pieces),
        TEST(an_item_stays_what_it_was_when_it_was_weighed),
        TEST(a_body_stays_what_it_was_when_it_was_weighed),
        TEST(an_older_catalogue_gets_the_marks),
        TEST(nothing_takes_the_place_of_what_was_adopted),
        TEST(who_calibrates_again_uses_that),
        TEST(what_a_person_took_back_is_not_set_aside_again),
        TEST(a_copy_under_another_id_keeps_nothing_out),
        TEST(what_is_nested_too_deep_keeps_nothing_out),
        TEST(a_count_that_is_no_number_is_refused),
        TEST(a_guests_date_is_no_time_of_here),
        TEST(what_is_left_out_moves_no_count),
    };
    return cmocka_run_group_tests_name("catalogue: guests", tests, NULL, NULL);
}
