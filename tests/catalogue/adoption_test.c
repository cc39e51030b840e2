/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A calibration is used only where it was made or adopted. */
#include "foreign_records.h"

static bool is_trusted(struct up_catalogue *catalogue, const char *id) {
    bool trusted = false;
    assert_true(up_calibration_is_trusted(catalogue, id, &trusted, NULL));
    return trusted;
}

static void copy_file(const char *from, const char *to) {
    char *command = up_text_format("cp '%s' '%s'", from, to);
    assert_int_equal(system(command), 0);
    free(command);
}

static void a_calibration_is_used_where_it_was_made(void **state) {
    (void)state;
    struct up_intake intake;
    struct up_failure failure = {0};
    struct up_calibration made = plain_calibration("bench", 1e5), used;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &made, NULL));
    assert_true(is_trusted(catalogue, made.id));
    assert_true(up_calibration_to_use(catalogue, made.bench, &used, NULL));
    assert_string_equal(used.id, made.id);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_true(up_catalogue_merge(other, "c", false, &intake, NULL));
    assert_false(is_trusted(other, made.id));
    assert_false(up_calibration_to_use(other, made.bench, &used, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "calibration adopt");
    assert_true(up_calibration_adopt(other, made.id, NULL));
    assert_true(up_calibration_to_use(other, made.bench, &used, NULL));
    assert_string_equal(used.id, made.id);
    assert_false(up_calibration_to_use(other, "no bench", &used, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "has no calibration yet");
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* Nor can somebody take it away with other content under its id. */
static void an_adopted_calibration_stays(void **state) {
    (void)state;
    struct up_intake intake;
    unsigned long undecided = 1;
    enum catalogue_admitted how;
    struct up_calibration made = plain_calibration("bench", 1e5), used;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &made, NULL));
    assert_true(up_catalogue_merge(other, "c", false, &intake, NULL));
    assert_true(up_calibration_adopt(other, made.id, NULL));
    struct up_record forged = {.kind = "calibration", .bench = "bench", .sha256 = "other"};
    memcpy(forged.id, made.id, sizeof forged.id);
    forged.content = json_object();
    json_t *none = json_array();
    assert_true(catalogue_contest(other, &forged, none, &how, NULL));
    assert_int_equal(how, ADMITTED_CONTESTED);
    assert_true(catalogue_settle_contested(other, &undecided, NULL) && undecided == 0);
    assert_true(up_calibration_to_use(other, "bench", &used, NULL));
    assert_string_equal(used.id, made.id);
    json_decref(none);
    json_decref(forged.content);
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* A newer one from elsewhere does not take the place of that of here. */
static void a_newer_calibration_from_elsewhere_is_passed_over(void **state) {
    (void)state;
    struct up_intake intake;
    struct up_calibration mine = plain_calibration("bench", 1e5),
                          theirs = plain_calibration("bench", 1e5), used;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_catalogue *other = open_as("other", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    catalogue_clock_step_s = 1000;
    assert_true(up_calibration_add(other, &theirs, NULL));
    assert_true(up_calibration_add(other, &theirs, NULL)); /* a higher number, too */
    assert_true(up_catalogue_merge(catalogue, "other", false, &intake, NULL));
    assert_true(up_calibration_to_use(catalogue, mine.bench, &used, NULL));
    assert_string_equal(used.id, mine.id);
    assert_true(up_calibration_latest(catalogue, mine.bench, &used, NULL));
    assert_string_equal(used.id, mine.id); /* nor for those who only look */
    bool trusted = false;
    assert_true(up_calibration_to_show(catalogue, mine.bench, &used, &trusted, NULL) && trusted);
    assert_string_equal(used.id, mine.id);
    up_catalogue_close(other);
    up_catalogue_close(catalogue);
}

/* A guest's calibration with the number and the time that it chose for itself. */
static void slip(struct up_catalogue *catalogue, const char *id, const char *made_utc,
                 json_int_t sequence) {
    struct up_calibration forged = plain_calibration("bench", 2e5);
    struct up_record record = {.kind = "calibration", .bench = "bench"};
    json_t *none = json_array();
    snprintf(record.id, sizeof record.id, "%s", id);
    memcpy(record.subject, record.id, sizeof record.id);
    snprintf(record.made_utc, sizeof record.made_utc, "%s", made_utc);
    record.content = up_calibration_to_json(&forged);
    json_object_set_new(record.content, "bench_sequence", json_integer(sequence));
    assert_true(catalogue_hash(&record, none));
    assert_true(catalogue_insert(catalogue, &record, none, NULL));
    json_decref(record.content);
    json_decref(none);
}

static const char GUEST[] = "11111111-0000-4000-8000-000000000001";
static const char OTHER_GUEST[] = "11111112-0000-4000-8000-000000000002";

static void assert_to_adopt(struct up_catalogue *catalogue, const char *wanted, const char *id) {
    struct up_failure failure = {0};
    struct up_calibration found;
    if (!up_calibration_to_adopt(catalogue, "bench", wanted, &found, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_string_equal(found.id, id);
}

/* A moved folder asks for a mass on one's own calibration, whatever number a guest's has. */
static void one_of_here_is_adopted_before_a_guests(void **state) {
    (void)state;
    struct up_calibration mine = plain_calibration("bench", 1e5), found;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    slip(catalogue, GUEST, "2099-01-01T00:00:00.000Z", (json_int_t)1 << 50);
    slip(catalogue, OTHER_GUEST, mine.made_utc, (json_int_t)1 << 50);
    sql(catalogue->database, "UPDATE local_mark SET place = 'before the move'");
    assert_to_adopt(catalogue, "", mine.id);
    assert_true(up_calibration_latest(catalogue, "bench", &found, NULL));
    assert_string_equal(found.id, mine.id);
    /* Another one by its id. */
    assert_to_adopt(catalogue, GUEST, GUEST);
    assert_to_adopt(catalogue, "11111112", OTHER_GUEST);
    /* What was adopted stands where it was adopted, and goes before a guest's. */
    assert_true(up_calibration_adopt(catalogue, OTHER_GUEST, NULL));
    sql(catalogue->database, "UPDATE local_mark SET place = 'before the move'");
    assert_to_adopt(catalogue, "", OTHER_GUEST);
    up_catalogue_close(catalogue);
}

/* Two laptops at one bench: what the other one made since is adopted; what is older, or dated ahead
   of the clock, is not even tried. */
static void a_guests_newer_one_is_adopted_beside_ones_own(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_calibration mine = plain_calibration("bench", 1e5), found;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    slip(catalogue, GUEST, "2020-01-01T00:00:00.000Z", (json_int_t)1 << 50);
    slip(catalogue, OTHER_GUEST, "2099-01-01T00:00:00.000Z", 7);
    assert_false(up_calibration_to_adopt(catalogue, "bench", "", &found, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "was made on this machine: measure");
    char later[UP_TIME_SIZE];
    catalogue_clock_step_s = 60;
    catalogue_now(later);
    slip(catalogue, "11111113-0000-4000-8000-000000000003", later, 1);
    assert_to_adopt(catalogue, "", "11111113-0000-4000-8000-000000000003");
    assert_false(up_calibration_to_adopt(catalogue, "bench", "1111", &found, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "more than one calibration of the bench bench");
    assert_false(up_calibration_to_adopt(catalogue, "bench", "zzzz", &found, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "no calibration of the bench bench begins");
    /* One of here is found by its beginning, though a guest's begins so, too. */
    char alike[UP_ID_SIZE], beginning[9];
    memcpy(alike, mine.id, sizeof alike);
    alike[35] = mine.id[35] == '0' ? '1' : '0';
    slip(catalogue, alike, "2020-01-01T00:00:00.000Z", 1);
    snprintf(beginning, sizeof beginning, "%.8s", mine.id);
    assert_to_adopt(catalogue, beginning, mine.id);
    assert_to_adopt(catalogue, alike, alike);
    up_catalogue_close(catalogue);
}

/* A known mass that hung before the bench was calibrated again bears out nothing. */
static void a_calibration_since_a_run_is_noticed(void **state) {
    (void)state;
    bool made = true;
    struct up_calibration mine = plain_calibration("bench", 1e5);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    json_t *content = json_pack("{s:s}", "what", "calibrate");
    assert_true(up_catalogue_add(catalogue, "run", GUEST, "bench", content, NULL, NULL, NULL));
    json_decref(content);
    assert_true(up_calibration_made_since(catalogue, "bench", GUEST, &made, NULL) && !made);
    slip(catalogue, OTHER_GUEST, "2020-01-01T00:00:00.000Z", 1); /* taken in meanwhile */
    assert_true(up_calibration_made_since(catalogue, "bench", GUEST, &made, NULL) && !made);
    assert_true(up_calibration_add(catalogue, &mine, NULL));
    assert_true(up_calibration_made_since(catalogue, "other", GUEST, &made, NULL) && !made);
    assert_true(up_calibration_made_since(catalogue, "bench", GUEST, &made, NULL) && made);
    up_catalogue_close(catalogue);
}

/* A backup that is put back, and a folder that goes to another laptop, are copies: it is unknown
   what was done to the bench since. */
static void a_copy_of_the_folder_asks_for_a_known_mass(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_calibration made = plain_calibration("bench", 1e5), used;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &made, NULL));
    up_catalogue_close(catalogue);
    copy_file("c/catalogue.sqlite", "backup");
    assert_int_equal(rename("c", "moved"), 0); /* the same folder under another name */
    catalogue = open_as("moved", UP_CATALOGUE_WRITE);
    assert_true(is_trusted(catalogue, made.id));
    up_catalogue_close(catalogue);
    assert_int_equal(remove("moved/catalogue.sqlite"), 0);
    struct up_catalogue *elsewhere = open_as("elsewhere", UP_CATALOGUE_CREATE);
    add_item(elsewhere, "takes the number on the disk");
    up_catalogue_close(elsewhere);
    copy_file("backup", "moved/catalogue.sqlite");
    catalogue = open_as("moved", UP_CATALOGUE_WRITE);
    assert_false(is_trusted(catalogue, made.id));
    assert_false(up_calibration_to_use(catalogue, made.bench, &used, &failure));
    assert_true(up_calibration_adopt(catalogue, made.id, NULL));
    assert_true(up_calibration_to_use(catalogue, made.bench, &used, NULL));
    up_catalogue_close(catalogue);
}

/* The file keeps its number and its birth: only what lies outside the folder shows it. */
static void a_backup_copied_over_the_file_asks_for_a_known_mass(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_calibration first = plain_calibration("bench", 1e5), second = first, used,
                          other = plain_calibration("other", 1e5);
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &other, NULL));
    assert_true(up_calibration_add(catalogue, &first, NULL));
    up_catalogue_close(catalogue);
    copy_file("c/catalogue.sqlite", "backup");
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_true(up_calibration_add(catalogue, &second, NULL));
    up_catalogue_close(catalogue);
    copy_file("c/catalogue.sqlite", "newer");
    copy_file("backup", "c/catalogue.sqlite");
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_false(is_trusted(catalogue, first.id));
    assert_false(up_calibration_to_use(catalogue, "bench", &used, &failure));
    assert_says(&failure, UP_STATUS_WRONG_INPUT, "a backup may have been copied over it");
    assert_non_null(strstr(failure.text, "`upthrust calibration adopt --rig FILE --masses-g"));
    assert_true(up_calibration_to_use(catalogue, "other", &used, NULL)); /* nothing was lost */
    assert_true(up_calibration_adopt(catalogue, first.id, NULL));
    assert_true(up_calibration_to_use(catalogue, "bench", &used, NULL));
    assert_string_equal(used.id, first.id);
    up_catalogue_close(catalogue);
    copy_file("newer", "c/catalogue.sqlite"); /* nor does the adoption count in another copy */
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_false(is_trusted(catalogue, second.id));
    /* Another user or a new home knows nothing of it, and is not locked out. */
    assert_int_equal(setenv("XDG_STATE_HOME", "/proc/none", 1), 0);
    assert_true(is_trusted(catalogue, second.id));
    assert_true(up_calibration_add(catalogue, &first, NULL) && is_trusted(catalogue, first.id));
    assert_int_equal(setenv("XDG_STATE_HOME", "relative", 1), 0); /* counts as not set */
    assert_int_equal(setenv("HOME", "/proc/none", 1), 0);
    assert_true(is_trusted(catalogue, first.id));
    up_catalogue_close(catalogue);
}

/* What one user's session saw is known to it, whoever calibrated. */
static void a_calibration_that_was_used_is_missed_too(void **state) {
    (void)state;
    struct up_calibration first = plain_calibration("bench", 1e5), second = first, used;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &first, NULL));
    up_catalogue_close(catalogue);
    copy_file("c/catalogue.sqlite", "backup");
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    char *mine = up_text_format("%s", getenv("XDG_STATE_HOME"));
    assert_int_equal(setenv("XDG_STATE_HOME", "/proc/none", 1), 0);
    assert_true(up_calibration_add(catalogue, &second, NULL));
    assert_int_equal(setenv("XDG_STATE_HOME", mine, 1), 0);
    free(mine);
    assert_true(up_calibration_to_use(catalogue, "bench", &used, NULL));
    assert_string_equal(used.id, second.id);
    up_catalogue_close(catalogue);
    copy_file("backup", "c/catalogue.sqlite");
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_false(is_trusted(catalogue, first.id));
    up_catalogue_close(catalogue);
}

static void make_pipe(const char *path) {
    assert_int_equal(mkfifo(path, 0600), 0);
}

static void make_link(const char *path) {
    assert_int_equal(symlink("kept", path), 0);
}

static void make_directory(const char *path) {
    assert_int_equal(mkdir(path, 0700), 0);
}

/* It is told, and nothing waits for a pipe; who has checked the bench is rid of it. */
static void what_stands_for_the_note_vouches_for_nothing(void **state) {
    (void)state;
    static void (*const make[])(const char *path) = {make_pipe, make_link, make_directory};
    struct up_failure failure = {0};
    struct up_calibration made = plain_calibration("bench", 1e5), used;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_true(up_calibration_add(catalogue, &made, NULL));
    assert_null(catalogue_witness_obstacle(catalogue, "bench"));
    char *find =
        up_text_format("find '%s/upthrust' -maxdepth 1 -type f >found", getenv("XDG_STATE_HOME"));
    char path[300] = "";
    assert_int_equal(system(find), 0);
    FILE *found = fopen("found", "r");
    assert_true(found != NULL && fgets(path, sizeof path, found) != NULL);
    fclose(found);
    path[strcspn(path, "\n")] = '\0';
    copy_file(path, "kept");
    for (size_t i = 0; i < ARRAY(make); i++) {
        assert_int_equal(remove(path), 0);
        assert_true(is_trusted(catalogue, made.id)); /* none at all forbids nothing */
        make[i](path);
        assert_false(is_trusted(catalogue, made.id));
        assert_false(up_calibration_to_use(catalogue, "bench", &used, &failure));
        assert_says(&failure, UP_STATUS_WRONG_INPUT, "is not the small file that notes");
        assert_true(up_calibration_adopt(catalogue, made.id, NULL));
        assert_true(up_calibration_to_use(catalogue, "bench", &used, NULL));
    }
    /* The folder of it may be none, either. */
    make_pipe("pipe");
    char *here = getcwd(NULL, 0), *home = up_text_format("%s/pipe", here);
    assert_int_equal(setenv("XDG_STATE_HOME", home, 1), 0);
    assert_false(is_trusted(catalogue, made.id));
    free(home);
    free(here);
    free(find);
    up_catalogue_close(catalogue);
}

static void one_from_before_the_marks_must_be_adopted(void **state) {
    (void)state;
    struct up_calibration made = plain_calibration("bench", 1e5);
    catalogue_signs = false;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    struct up_item item = add_item(catalogue, "old fin");
    assert_true(up_calibration_add(catalogue, &made, NULL));
    up_catalogue_close(catalogue);
    sqlite3 *database = outside("c/catalogue.sqlite");
    sql(database, "DROP INDEX record_hash; DROP TABLE local_mark; PRAGMA user_version = 3");
    sqlite3_close(database);
    catalogue = open_as("c", UP_CATALOGUE_READ); /* is read as it is */
    assert_false(is_trusted(catalogue, made.id));
    assert_true(tolerance_g(catalogue, item.id) == UP_TOLERANCE_ONE_G);
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_false(is_trusted(catalogue, made.id));
    insert_foreign_record(catalogue, "item", item.id, "2099-01-01T00:00:00.000Z",
                          item_of_tolerance(&item, 60), NULL);
    assert_true(tolerance_g(catalogue, item.id) == UP_TOLERANCE_ONE_G); /* that of here */
    up_catalogue_close(catalogue);
}

/* Whatever of the newer tables is there already: opened for writing it is whole. */
static void one_of_any_version_can_be_marked(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_item(catalogue, "fin");
    char *id = ask(catalogue->database, "SELECT id FROM record");
    up_catalogue_close(catalogue);
    for (int version = 1; version < SCHEMA_VERSION; version++) {
        char *back = up_text_format("PRAGMA user_version = %d", version);
        sqlite3 *database = outside("c/catalogue.sqlite");
        sql(database, back);
        sqlite3_close(database);
        free(back);
        catalogue = open_as("c", UP_CATALOGUE_WRITE);
        if (!up_catalogue_set_aside(catalogue, id, "x", &failure) ||
            !up_catalogue_restore(catalogue, id, &failure)) {
            fail_msg("version %d: %s", version, failure.text);
        }
        up_catalogue_close(catalogue);
    }
    free(id);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_calibration_is_used_where_it_was_made),
        TEST(an_adopted_calibration_stays),
        TEST(a_newer_calibration_from_elsewhere_is_passed_over),
        TEST(one_of_here_is_adopted_before_a_guests),
        TEST(a_guests_newer_one_is_adopted_beside_ones_own),
        TEST(a_calibration_since_a_run_is_noticed),
        TEST(a_copy_of_the_folder_asks_for_a_known_mass),
        TEST(a_backup_copied_over_the_file_asks_for_a_known_mass),
        TEST(a_calibration_that_was_used_is_missed_too),
        TEST(what_stands_for_the_note_vouches_for_nothing),
        TEST(one_from_before_the_marks_must_be_adopted),
        TEST(one_of_any_version_can_be_marked),
    };
    return cmocka_run_group_tests_name("catalogue: adoption", tests, NULL, NULL);
}
