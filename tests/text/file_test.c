/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dirent.h>
#include <errno.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "text/text.h"

/* Each test has an empty directory of its own and stands in it. */
static int enter(void **state) {
    static char directory[32];
    snprintf(directory, sizeof directory, "/tmp/upthrust-file-XXXXXX");
    *state = directory;
    return mkdtemp(directory) == NULL || chdir(directory) != 0;
}

static int leave(void **state) {
    DIR *here = opendir(".");
    for (struct dirent *entry; here != NULL && (entry = readdir(here)) != NULL;) {
        if (remove(entry->d_name) != 0 && entry->d_name[0] != '.') {
            closedir(here);
            return 1;
        }
    }
    closedir(here);
    return chdir("/") != 0 || rmdir(*state) != 0;
}

static size_t files_here(void) {
    size_t count = 0;
    DIR *here = opendir(".");
    assert_non_null(here);
    for (struct dirent *entry; (entry = readdir(here)) != NULL;) {
        count += entry->d_name[0] != '.';
    }
    closedir(here);
    return count;
}

static void assert_holds(const char *path, const char *wanted) {
    char text[256];
    FILE *stream = fopen(path, "r");
    assert_non_null(stream);
    size_t length = fread(text, 1, sizeof text - 1, stream);
    fclose(stream);
    text[length] = '\0';
    assert_string_equal(text, wanted);
}

static bool put_text(FILE *stream, void *context) {
    return fputs(context, stream) != EOF;
}

static bool fail_halfway(FILE *stream, void *context) {
    fputs("half of the new", stream);
    fflush(stream);
    errno = *(int *)context;
    return false;
}

static void test_writes_and_replaces(void **state) {
    (void)state;
    char first[] = "first\n", second[] = "2\n";
    struct up_failure failure;
    assert_true(up_text_write_file("table.csv", put_text, first, &failure));
    assert_holds("table.csv", "first\n");
    assert_true(up_text_write_file("table.csv", put_text, second, &failure));
    assert_holds("table.csv", "2\n");
    assert_int_equal(files_here(), 1);
}

static void test_mode_follows_the_umask(void **state) {
    (void)state;
    char text[] = "x";
    struct stat made;
    mode_t before = umask(027);
    bool written = up_text_write_file("x", put_text, text, NULL);
    umask(before);
    assert_true(written && stat("x", &made) == 0);
    assert_int_equal(made.st_mode & 0777, 0640);
}

static void test_failing_halfway_leaves_the_old_file(void **state) {
    (void)state;
    char old[] = "old";
    int code = ENOSPC;
    struct up_failure failure = {0};
    assert_true(up_text_write_file("x", put_text, old, &failure));
    assert_false(up_text_write_file("x", fail_halfway, &code, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    assert_string_equal(failure.text, "cannot write x: No space left on device; "
                                      "free some space on that disk");
    assert_holds("x", "old");
    assert_int_equal(files_here(), 1);
    assert_false(up_text_write_file("new", fail_halfway, &code, NULL));
    assert_int_equal(files_here(), 1);
}

/* The disk is full for a while only, and the callback says that all is well. */
static bool lose_the_middle(FILE *stream, void *context) {
    const struct rlimit *before = context;
    struct rlimit small = *before;
    small.rlim_cur = 8192;
    setrlimit(RLIMIT_FSIZE, &small);
    for (int i = 0; i < 100000; i++) {
        fputs("0123456789", stream);
    }
    setrlimit(RLIMIT_FSIZE, before);
    return true;
}

static void test_lost_write_is_seen_though_the_callback_is_content(void **state) {
    (void)state;
    char old[] = "old";
    struct rlimit before;
    struct up_failure failure = {0};
    assert_true(up_text_write_file("x", put_text, old, &failure));
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    assert_false(up_text_write_file("x", lose_the_middle, &before, &failure));
    assert_non_null(strstr(failure.text, "cannot write x: File too large; "));
    assert_holds("x", "old");
    assert_int_equal(files_here(), 1);
}

static void test_missing_directory(void **state) {
    (void)state;
    char text[] = "x";
    struct up_failure failure = {0};
    assert_false(up_text_write_file("none/x", put_text, text, &failure));
    assert_string_equal(failure.text, "cannot write none/x: No such file or directory; "
                                      "create the directory first");
}

static void test_unwritable_directory(void **state) {
    (void)state;
    char text[] = "x";
    struct up_failure failure = {0};
    uid_t before = geteuid();
    assert_int_equal(mkdir("shut", 0755), 0);
    assert_int_equal(chmod("shut", 0555), 0);
    assert_int_equal(chmod(".", 0755), 0);
    if (before == 0 && seteuid(65534) != 0) { /* root may write anywhere */
        skip();
    }
    bool written = up_text_write_file("shut/x", put_text, text, &failure);
    if (before == 0) {
        assert_int_equal(seteuid(before), 0);
    }
    assert_false(written);
    assert_string_equal(failure.text, "cannot write shut/x: Permission denied; choose a directory "
                                      "where you have permission to write");
}

static void test_directory_and_device_are_not_replaced(void **state) {
    (void)state;
    char text[] = "x";
    struct up_failure failure = {0};
    struct stat found;
    assert_int_equal(mkdir("made", 0755), 0);
    assert_false(up_text_write_file("made", put_text, text, &failure));
    assert_string_equal(failure.text, "cannot write made: Is a directory; name a file");
    assert_int_equal(mkfifo("pipe", 0600), 0);
    assert_false(up_text_write_file("pipe", put_text, text, &failure));
    assert_true(stat("pipe", &found) == 0 && S_ISFIFO(found.st_mode));
    assert_int_equal(files_here(), 2);
}

/* A link planted where the temporary file goes would lead us to write elsewhere. */
static void test_planted_link_is_not_followed(void **state) {
    (void)state;
    char text[] = "new", victim[] = "victim", name[64];
    assert_true(up_text_write_file("other", put_text, victim, NULL));
    snprintf(name, sizeof name, "x.part-%ld", (long)getpid());
    assert_int_equal(symlink("other", name), 0);
    assert_true(up_text_write_file("x", put_text, text, NULL));
    assert_holds("x", "new");
    assert_holds("other", "victim");
    assert_int_equal(files_here(), 2);
}

/* Only what nobody writes any more, has our form, and is a file. */
static void test_left_over_temporaries_are_removed(void **state) {
    (void)state;
    char text[] = "x", alive[64];
    snprintf(alive, sizeof alive, "e.svg.part-%ld", (long)getpid());
    const char *const kept[] = {alive,
                                "a.svg.part-0",
                                "a.svg.part-999999999x",
                                "my.part-999999999",
                                "a.svg.part-",
                                ".svg.part-999999999",
                                "a.svg"};
    for (size_t i = 0; i < sizeof kept / sizeof kept[0]; i++) {
        assert_true(up_text_write_file(kept[i], put_text, text, NULL));
    }
    assert_true(up_text_write_file("a.svg.part-999999999", put_text, text, NULL));
    assert_true(up_text_write_file("run-1.tsv.part-999999998", put_text, text, NULL));
    assert_int_equal(symlink("a.svg", "b.svg.part-999999999"), 0);
    assert_int_equal(mkfifo("c.gp.part-999999999", 0600), 0);
    assert_int_equal(mkdir("d.gp.part-999999999", 0700), 0);
    up_text_remove_left_over("."); /* hidden files are not counted */
    up_text_remove_left_over("nowhere");
    assert_int_equal(files_here(), (int)(sizeof kept / sizeof kept[0]) + 2);
    assert_int_not_equal(access("a.svg.part-999999999", F_OK), 0);
    assert_int_not_equal(access("run-1.tsv.part-999999998", F_OK), 0);
}

static void test_format_and_allocation(void **state) {
    (void)state;
    char *text = up_text_format("%s is %d", "six", 6);
    assert_string_equal(text, "six is 6");
    free(text);
    int *number = up_allocate(3, sizeof *number);
    assert_int_equal(number[2], 0);
    number[2] = 7;
    number = up_reallocate(number, 300, sizeof *number);
    assert_int_equal(number[2], 7);
    free(number);
    void *nothing = up_reallocate(up_allocate(0, 8), 0, 8);
    assert_non_null(nothing);
    free(nothing);
}

static void test_a_folder_is_made_and_no_link_taken_for_one(void **state) {
    (void)state;
    struct up_failure failure;
    struct stat about;
    for (int i = 0; i < 2; i++) { /* there already */
        assert_true(up_text_make_folder("folder", UP_LINKS_REFUSED, &failure));
    }
    assert_true(stat("folder", &about) == 0 && S_ISDIR(about.st_mode));
    assert_int_equal(symlink("folder", "link"), 0);
    assert_true(up_text_make_folder("link", UP_LINKS_FOLLOWED, &failure));
    assert_false(up_text_make_folder("link", UP_LINKS_REFUSED, &failure));
    assert_string_equal(failure.text,
                        "link is a link, which is not followed: put a folder in its place");
    assert_false(up_text_make_folder("none/folder", UP_LINKS_REFUSED, &failure));
    assert_string_equal(failure.text,
                        "cannot make the folder none/folder: No such file or directory");
    unlink("link");
    rmdir("folder");
}

int main(void) {
    signal(SIGXFSZ, SIG_IGN);
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_writes_and_replaces, enter, leave),
        cmocka_unit_test_setup_teardown(test_mode_follows_the_umask, enter, leave),
        cmocka_unit_test_setup_teardown(test_failing_halfway_leaves_the_old_file, enter, leave),
        cmocka_unit_test_setup_teardown(test_lost_write_is_seen_though_the_callback_is_content,
                                        enter, leave),
        cmocka_unit_test_setup_teardown(test_missing_directory, enter, leave),
        cmocka_unit_test_setup_teardown(test_unwritable_directory, enter, leave),
        cmocka_unit_test_setup_teardown(test_directory_and_device_are_not_replaced, enter, leave),
        cmocka_unit_test_setup_teardown(test_left_over_temporaries_are_removed, enter, leave),
        cmocka_unit_test_setup_teardown(test_planted_link_is_not_followed, enter, leave),
        cmocka_unit_test_setup_teardown(test_a_folder_is_made_and_no_link_taken_for_one, enter,
                                        leave),
        cmocka_unit_test(test_format_and_allocation),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
