/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support.h"

#include <errno.h>
#include <fcntl.h>
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
    assert_answer(catalogue->database, "PRAGMA user_version", "10");
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
    assert_marks_refused("PRAGMA application_id = 1970295874; PRAGMA user_version = 11",
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
        assert_file_answer(FILE_IN_C, "SELECT count(*) FROM record WHERE kind = 'trial'", "40");
        assert_file_answer(FILE_IN_C, "SELECT count(*) FROM record WHERE kind = 'writer'", "1");
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
    sql(catalogue->database, "PRAGMA max_page_count = 60");
    assert_false(add_until_it_fails(catalogue, &added, &failure));
    assert_says(&failure, UP_STATUS_UNABLE, "the disk under the catalogue c is full: free space");
    assert_true(added > 10);
    assert_int_equal(count_kind(catalogue, "trial"), added);
    sql(catalogue->database, "PRAGMA max_page_count = 6000");
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
    small.rlim_cur = 900000;
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
        TEST(a_lock_is_waited_for_and_told),
        TEST(a_locked_beginning_is_told),
        TEST(many_begin_it_at_once),
        TEST(a_full_disk_is_told),
        TEST(a_write_that_fails_is_told),
    };
    return cmocka_run_group_tests_name("catalogue: store", tests, NULL, NULL);
}
