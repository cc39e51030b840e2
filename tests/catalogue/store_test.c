/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <sys/resource.h>

#define FILE_IN_C "c/catalogue.sqlite"

static double seconds(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static void write_bytes(const char *path, const void *bytes, size_t length) {
    FILE *stream = fopen(path, "wb");
    assert_non_null(stream);
    assert_int_equal(fwrite(bytes, 1, length, stream), length);
    assert_int_equal(fclose(stream), 0);
}

static void copy_file(const char *from, const char *to) {
    static char bytes[4 << 20];
    FILE *stream = fopen(from, "rb");
    assert_non_null(stream);
    size_t length = fread(bytes, 1, sizeof bytes, stream);
    fclose(stream);
    write_bytes(to, bytes, length);
}

/* ---- making and opening ---- */

static void makes_a_whole_directory(void **state) {
    (void)state;
    static const char *const parts[] = {"c/runs", "c/plots", "c/exchange"};
    struct stat about;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    assert_string_equal(up_catalogue_directory(catalogue), "c");
    for (size_t i = 0; i < ARRAY(parts); i++) {
        assert_true(stat(parts[i], &about) == 0 && S_ISDIR(about.st_mode));
    }
    assert_answer(catalogue->database, "PRAGMA journal_mode", "wal");
    assert_answer(catalogue->database, "PRAGMA synchronous", "2");
    assert_answer(catalogue->database, "PRAGMA recursive_triggers", "1");
    assert_answer(catalogue->database, "PRAGMA application_id", "1970295874");
    assert_answer(catalogue->database, "PRAGMA user_version", "6");
    assert_answer(catalogue->database, "PRAGMA busy_timeout", "10000");
    up_catalogue_close(catalogue);
    up_catalogue_close(NULL);
    up_catalogue_close(open_as("c", UP_CATALOGUE_CREATE));
    up_catalogue_close(open_as("c", UP_CATALOGUE_WRITE));
    up_catalogue_close(open_as("c", UP_CATALOGUE_READ));
}

static void an_empty_file_is_begun(void **state) {
    (void)state;
    assert_int_equal(mkdir("c", 0777), 0);
    write_bytes(FILE_IN_C, "", 0);
    assert_refused("c", UP_CATALOGUE_READ, UP_STATUS_UNABLE, "there is no catalogue in c");
    assert_refused("c", UP_CATALOGUE_WRITE, UP_STATUS_UNABLE, "`upthrust item add` begins one");
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    up_catalogue_close(catalogue);
}

static void odd_directories_work(void **state) {
    (void)state;
    static const char *const names[] = {"a b",  "50%25", "what?mode=memory", "#1",          "",
                                        "'\"`", "./c/",  "file:x",           "\xC3\xA4\xFF"};
    char here[200];
    for (size_t i = 0; i < ARRAY(names); i++) {
        struct up_catalogue *catalogue = open_as(names[i], UP_CATALOGUE_CREATE);
        add_number(catalogue, "trial", NULL, NULL, 1);
        up_catalogue_close(catalogue);
        catalogue = open_as(names[i], UP_CATALOGUE_READ);
        assert_int_equal(count_kind(catalogue, "trial"), 1);
        up_catalogue_close(catalogue);
    }
    assert_non_null(getcwd(here, sizeof here));
    char *slashes = up_text_format("/%s/a b", here);
    up_catalogue_close(open_as(slashes, UP_CATALOGUE_READ));
    free(slashes);
}

static void refuses_what_is_no_catalogue(void **state) {
    (void)state;
    static char noise[100000];
    srand(1);
    for (size_t i = 0; i < sizeof noise; i++) {
        noise[i] = (char)rand();
    }
    assert_int_equal(mkdir("c", 0777), 0);
    for (int mode = UP_CATALOGUE_READ; mode <= UP_CATALOGUE_CREATE; mode++) {
        enum up_catalogue_mode as = (enum up_catalogue_mode)mode;
        write_bytes(FILE_IN_C, "name,kind\n", 10);
        assert_refused("c", as, UP_STATUS_WRONG_INPUT, "is not a catalogue");
        write_bytes(FILE_IN_C, noise, sizeof noise);
        assert_refused("c", as, UP_STATUS_WRONG_INPUT, "is not a catalogue");
        assert_int_equal(remove(FILE_IN_C), 0);
        assert_int_equal(mkdir(FILE_IN_C, 0777), 0);
        assert_refused("c", as, UP_STATUS_WRONG_INPUT, "is not a file");
        assert_int_equal(rmdir(FILE_IN_C), 0);
        assert_int_equal(mkfifo(FILE_IN_C, 0600), 0);
        assert_refused("c", as, UP_STATUS_WRONG_INPUT, "is not a file");
        assert_int_equal(remove(FILE_IN_C), 0);
    }
    write_bytes(FILE_IN_C, noise, sizeof noise);
    assert_refused("c", UP_CATALOGUE_CREATE, UP_STATUS_WRONG_INPUT, "is not a catalogue");
    struct stat about;
    assert_int_equal(stat(FILE_IN_C, &about), 0);
    assert_int_equal(about.st_size, sizeof noise);
}

static void assert_marks_refused(const char *pragmas, const char *words) {
    assert_int_equal(mkdir("c", 0777) == 0 || errno == EEXIST, 1);
    sqlite3 *database = outside(FILE_IN_C);
    sql(database, pragmas);
    sqlite3_close(database);
    for (int mode = UP_CATALOGUE_READ; mode <= UP_CATALOGUE_CREATE; mode++) {
        assert_refused("c", (enum up_catalogue_mode)mode, UP_STATUS_WRONG_INPUT, words);
    }
    database = outside(FILE_IN_C);
    assert_answer(database, "SELECT count(*) FROM sqlite_master WHERE name = 'record'", "0");
    sqlite3_close(database);
    remove(FILE_IN_C "-wal");
    assert_int_equal(remove(FILE_IN_C), 0);
}

static void refuses_other_programs_and_newer_versions(void **state) {
    (void)state;
    assert_marks_refused("CREATE TABLE t(x)", "is not a catalogue of upthrust");
    assert_marks_refused("PRAGMA application_id = 7", "is not a catalogue of upthrust");
    assert_marks_refused("PRAGMA application_id = 7; PRAGMA user_version = 1; CREATE TABLE t(x)",
                         "is not a catalogue of upthrust");
    assert_marks_refused("PRAGMA user_version = 1", "is not a catalogue of upthrust");
    assert_marks_refused("PRAGMA application_id = 1970295874; CREATE TABLE t(x)",
                         "is not a catalogue of upthrust");
    assert_marks_refused("PRAGMA application_id = 1970295874; PRAGMA user_version = 7",
                         "made by a newer upthrust");
    assert_marks_refused("PRAGMA application_id = 1970295874; PRAGMA user_version = 2147483647",
                         "made by a newer upthrust");
}

static void refuses_places_that_cannot_be(void **state) {
    (void)state;
    write_bytes("file", "x", 1);
    assert_refused("/dev/null/x", UP_CATALOGUE_CREATE, UP_STATUS_UNABLE, "/dev/null/x");
    assert_refused("file", UP_CATALOGUE_CREATE, UP_STATUS_UNABLE, "cannot make the catalogue file");
    assert_refused("no/such", UP_CATALOGUE_CREATE, UP_STATUS_UNABLE, "no/such");
    for (int mode = UP_CATALOGUE_READ; mode <= UP_CATALOGUE_WRITE; mode++) {
        enum up_catalogue_mode as = (enum up_catalogue_mode)mode;
        assert_refused("none", as, UP_STATUS_UNABLE, "`upthrust item add` begins one");
        assert_refused("/dev/null/x", as, UP_STATUS_UNABLE, "there is no catalogue");
        assert_refused("file", as, UP_STATUS_UNABLE, "there is no catalogue");
    }
    assert_int_equal(access("none", F_OK), -1);
    up_catalogue_close(open_as("mine", UP_CATALOGUE_CREATE)); /* a guest's folder leads to mine */
    assert_int_equal(
        mkdir("guest", 0777) + symlink("../mine/catalogue.sqlite", "guest/catalogue.sqlite"), 0);
    assert_refused("guest", UP_CATALOGUE_READ, UP_STATUS_WRONG_INPUT, "is a link");
    assert_refused("guest", UP_CATALOGUE_CREATE, UP_STATUS_WRONG_INPUT, "is a link");
}

static void network_drives_are_known(void **state) {
    (void)state;
    assert_true(catalogue_is_network(0x6969));
    assert_true(catalogue_is_network(0x517B));
    assert_true(catalogue_is_network(0xFF534D42));
    assert_true(catalogue_is_network(0xFE534D42));
    assert_true(catalogue_is_network(0x65735546));  /* FUSE */
    assert_true(catalogue_is_network(0x01021997));  /* 9p */
    assert_false(catalogue_is_network(0xEF53));     /* ext4 */
    assert_false(catalogue_is_network(0x01021994)); /* tmpfs */
}

static unsigned long faked_type;

static bool fake_type(const char *directory, unsigned long *type) {
    (void)directory;
    *type = faked_type;
    return true;
}

/* Reading there is let: the file is not changed by it. */
static void on_a_network_drive_nothing_is_written(void **state) {
    (void)state;
    static const unsigned long drives[] = {0x6969, 0xFF534D42, 0xFE534D42,
                                           0x517B, 0x01021997, 0x65735546};
    bool (*real)(const char *directory, unsigned long *type) = catalogue_type_of;
    up_catalogue_close(open_as("c", UP_CATALOGUE_CREATE));
    catalogue_type_of = fake_type;
    for (size_t i = 0; i < ARRAY(drives); i++) {
        faked_type = drives[i];
        assert_refused("c", UP_CATALOGUE_WRITE, UP_STATUS_UNABLE, "c lies on a network drive");
        assert_refused("c", UP_CATALOGUE_CREATE, UP_STATUS_UNABLE, "keep it on this machine");
        assert_refused("new", UP_CATALOGUE_CREATE, UP_STATUS_UNABLE, "network drive");
        up_catalogue_close(open_as("c", UP_CATALOGUE_READ));
    }
    assert_int_equal(access("new/catalogue.sqlite", F_OK), -1);
    faked_type = 0x01021994; /* tmpfs */
    up_catalogue_close(open_as("c", UP_CATALOGUE_WRITE));
    catalogue_type_of = real;
    unsigned long type = 0;
    assert_true(real(".", &type) && type != 0 && !real("no/such", &type));
}

/* ---- without the right to write ---- */

static bool opens(enum up_catalogue_mode mode, int trials) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    int count = 0;
    bool good = up_catalogue_open("c", mode, &catalogue, &failure) &&
                up_catalogue_each(catalogue, "trial", count_one, &count, &failure) &&
                count == trials;
    up_catalogue_close(catalogue);
    return good;
}

static bool is_unable(enum up_catalogue_mode mode) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    return !up_catalogue_open("c", mode, &catalogue, &failure) &&
           failure.status == UP_STATUS_UNABLE && strstr(failure.text, "catalogue c") != NULL;
}

static bool reads_only(void) {
    return opens(UP_CATALOGUE_READ, 1) && is_unable(UP_CATALOGUE_WRITE) &&
           is_unable(UP_CATALOGUE_CREATE);
}

static bool cannot_begin(void) {
    return is_unable(UP_CATALOGUE_CREATE);
}

static void a_directory_for_reading_is_read(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    up_catalogue_close(catalogue);
    assert_int_equal(chmod(FILE_IN_C, 0444), 0);
    assert_int_equal(chmod("c", 0555), 0);
    assert_true(as_nobody(reads_only));
    assert_int_equal(chmod("c", 0777), 0);
    assert_true(as_nobody(reads_only));
    remove(FILE_IN_C "-shm");
    write_bytes(FILE_IN_C "-wal", "", 0);
    assert_int_equal(chmod("c", 0555), 0);
    assert_true(as_nobody(reads_only));
    assert_int_equal(chmod(".", 0555), 0);
    assert_int_equal(chmod("c", 0), 0);
    assert_true(as_nobody(cannot_begin));
}

/* What stands in a log that cannot be read must not silently be missing. */
static bool sees_all_or_refuses(void) {
    return opens(UP_CATALOGUE_READ, 1) || is_unable(UP_CATALOGUE_READ);
}

static void a_log_left_behind_is_heeded(void **state) {
    (void)state;
    struct up_catalogue *catalogue = open_as("from", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    assert_int_equal(mkdir("c", 0777), 0);
    copy_file("from/catalogue.sqlite", FILE_IN_C);
    copy_file("from/catalogue.sqlite-wal", FILE_IN_C "-wal");
    up_catalogue_close(catalogue);
    assert_int_equal(chmod("c", 0555), 0);
    assert_true(as_nobody(sees_all_or_refuses));
    assert_int_equal(chmod("c", 0777), 0);
    assert_true(opens(UP_CATALOGUE_WRITE, 1));
}

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
    assert_answer(catalogue->database, "SELECT count(*) FROM live", "2");
    catalogue_clock_step_s = 86400;
    add_number(catalogue, "item", subject, NULL, 4);
    assert_current(catalogue, 4);
    assert_answer(catalogue->database, "SELECT count(*) FROM live", "3");
    assert_answer(catalogue->database, "SELECT count(*) FROM record", "4");
    json_t *ids = catalogue_live_ids(catalogue, "item", subject, NULL);
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
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    json_t *content =
        json_pack("{s:f, s:f, s:s, s:n, s:[f,f,f], s:{s:b, s:i}}", "z", 0.1, "a", 1e300, "t",
                  "\xC3\xA4 \" \\ /", "none", "l", 1.0 / 3, -0.0, 5e-324, "o", "yes", 1, "no", -7);
    up_new_id(subject);
    assert_true(up_catalogue_add(catalogue, "item", subject, "tank one", content, NULL, id, NULL));
    assert_true(up_catalogue_add(catalogue, "item", subject, NULL, content, id, NULL, NULL));
    assert_true(up_catalogue_add(catalogue, "item", subject, NULL, content, NULL, NULL, NULL));
    json_t *live = catalogue_live_ids(catalogue, "item", subject, NULL);
    struct up_record record = {.kind = "item", .content = content};
    memcpy(record.subject, subject, sizeof subject);
    assert_int_equal(json_array_size(live), 2);
    assert_true(catalogue_put(catalogue, &record, live, NULL));
    json_decref(live);
    json_decref(content);
    assert_hashes(catalogue->database, 4);
    up_catalogue_close(catalogue);
}

/* ---- locks and several programs ---- */

static void a_lock_is_waited_for_and_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    json_t *content = json_object();
    catalogue_patience_ms = 150;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    add_number(catalogue, "trial", NULL, NULL, 1);
    sqlite3 *other = outside(FILE_IN_C);
    sql(other, "BEGIN EXCLUSIVE");
    double begin = seconds();
    assert_false(up_catalogue_add(catalogue, "trial", NULL, NULL, content, NULL, NULL, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "the catalogue c is locked by another program");
    assert_true(seconds() - begin > 0.1 && seconds() - begin < 5);
    assert_int_equal(count_kind(catalogue, "trial"), 1);
    up_catalogue_close(open_as("c", UP_CATALOGUE_CREATE));
    sql(other, "ROLLBACK");
    add_number(catalogue, "trial", NULL, NULL, 2);
    assert_int_equal(count_kind(catalogue, "trial"), 2);
    sqlite3_close(other);
    json_decref(content);
    up_catalogue_close(catalogue);
}

static void a_locked_beginning_is_told(void **state) {
    (void)state;
    catalogue_patience_ms = 100;
    assert_int_equal(mkdir("c", 0777), 0);
    sqlite3 *other = outside(FILE_IN_C);
    sql(other, "BEGIN EXCLUSIVE");
    assert_refused("c", UP_CATALOGUE_CREATE, UP_STATUS_UNABLE, "locked by another program");
    sql(other, "ROLLBACK");
    sqlite3_close(other);
    up_catalogue_close(open_as("c", UP_CATALOGUE_CREATE));
}

static int begin_and_add(int starting_shot) {
    struct up_failure failure = {0};
    struct up_catalogue *catalogue = NULL;
    char none;
    bool good = read(starting_shot, &none, 1) == 0 &&
                up_catalogue_open("c", UP_CATALOGUE_CREATE, &catalogue, &failure);
    json_t *content = json_object();
    for (int i = 0; i < 5 && good; i++) {
        good = up_catalogue_add(catalogue, "trial", NULL, NULL, content, NULL, NULL, &failure);
    }
    if (!good) {
        fprintf(stderr, "%s\n", failure.text);
    }
    json_decref(content);
    up_catalogue_close(catalogue);
    return good ? 0 : 1;
}

static void many_begin_it_at_once(void **state) {
    (void)state;
    enum { ROUNDS = 20, CHILDREN = 8 };
    for (int round = 1; round <= ROUNDS; round++) {
        int ends[2], failed = 0;
        assert_int_equal(pipe(ends), 0);
        fflush(NULL);
        for (int i = 0; i < CHILDREN; i++) {
            pid_t child = fork();
            assert_true(child >= 0);
            if (child == 0) {
                close(ends[1]);
                _exit(begin_and_add(ends[0]));
            }
        }
        close(ends[0]);
        close(ends[1]); /* all read its end now */
        for (int i = 0; i < CHILDREN; i++) {
            int status = -1;
            assert_true(wait(&status) > 0);
            failed += status != 0;
        }
        assert_int_equal(failed, 0);
        assert_file_answer(FILE_IN_C, "SELECT count(*) FROM record", "40");
        assert_int_equal(nftw("c", remove_one, 16, FTW_DEPTH | FTW_PHYS), 0);
    }
}

/* ---- a disk without space ---- */

static bool add_until_it_fails(struct up_catalogue *catalogue, int *added,
                               struct up_failure *failure) {
    json_t *content = json_pack("{s:s}", "filling", NAME_300);
    bool good = true;
    for (*added = 0; good && *added < 5000; *added += good) {
        good = up_catalogue_add(catalogue, "trial", NULL, NULL, content, NULL, NULL, failure);
    }
    json_decref(content);
    return good;
}

static void a_full_disk_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    int added = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    sql(catalogue->database, "PRAGMA max_page_count = 40");
    assert_false(add_until_it_fails(catalogue, &added, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "the disk under the catalogue c is full: free space");
    assert_true(added > 10);
    assert_int_equal(count_kind(catalogue, "trial"), added);
    sql(catalogue->database, "PRAGMA max_page_count = 4000");
    add_number(catalogue, "trial", NULL, NULL, 1);
    assert_int_equal(count_kind(catalogue, "trial"), added + 1);
    up_catalogue_close(catalogue);
}

static void a_write_that_fails_is_told(void **state) {
    (void)state;
    struct up_failure failure = {0};
    struct rlimit before, small;
    int added = 0;
    struct up_catalogue *catalogue = open_as("c", UP_CATALOGUE_CREATE);
    signal(SIGXFSZ, SIG_IGN);
    getrlimit(RLIMIT_FSIZE, &before);
    small = before;
    small.rlim_cur = 600000;
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
    bool good = add_until_it_fails(catalogue, &added, &failure);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, SIG_DFL);
    assert_false(good);
    assert_says(&failure, UP_STATUS_UNABLE, "the disk under the catalogue c");
    assert_true(added > 10);
    assert_int_equal(count_kind(catalogue, "trial"), added);
    up_catalogue_close(catalogue);
    catalogue = open_as("c", UP_CATALOGUE_WRITE);
    assert_int_equal(count_kind(catalogue, "trial"), added);
    assert_answer(catalogue->database, "PRAGMA integrity_check", "ok");
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
    sqlite3_stmt *statement = sqlite3_next_stmt(catalogue->database, NULL);
    assert_null(statement); /* none is left open */
    plan = ask(catalogue->database,
               "SELECT group_concat(name) FROM (SELECT name FROM sqlite_master WHERE type = 'index'"
               " AND name LIKE 'record%' ORDER BY name)");
    assert_string_equal(plan, "record_hash,record_subject,record_time");
    free(plan);
    up_catalogue_close(catalogue);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(makes_a_whole_directory),
        TEST(an_empty_file_is_begun),
        TEST(odd_directories_work),
        TEST(refuses_what_is_no_catalogue),
        TEST(refuses_other_programs_and_newer_versions),
        TEST(refuses_places_that_cannot_be),
        TEST(network_drives_are_known),
        TEST(on_a_network_drive_nothing_is_written),
        TEST(a_directory_for_reading_is_read),
        TEST(a_log_left_behind_is_heeded),
        TEST(what_was_added_comes_back),
        TEST(visits_oldest_first_and_stops),
        TEST(where_a_clock_ran_back_the_bench_counts),
        TEST(the_replacing_version_is_current),
        TEST(of_equal_times_the_greater_id_is_current),
        TEST(refuses_bodies_that_cannot_be_stored),
        TEST(a_damaged_record_is_told),
        TEST(nothing_is_changed_or_removed),
        TEST(hashes_can_be_computed_again),
        TEST(a_lock_is_waited_for_and_told),
        TEST(a_locked_beginning_is_told),
        TEST(many_begin_it_at_once),
        TEST(a_full_disk_is_told),
        TEST(a_write_that_fails_is_told),
        TEST(views_have_the_columns_of_the_exchange),
        TEST(views_show_current_versions),
        TEST(one_kind_comes_in_the_order_of_an_index),
    };
    return cmocka_run_group_tests_name("catalogue: store", tests, NULL, NULL);
}
