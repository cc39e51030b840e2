/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Files opened for reading: plain ones of bounded size, and nothing that would keep the reader. */
#include "../catalogue/support.h"

#include <sys/wait.h>

#include "text/json.h"

static void assert_not_read(const char *path, enum up_links links, size_t most_bytes,
                            const char *words) {
    struct up_failure failure = {0};
    size_t length = 99;
    char *text = up_text_read_file(path, links, most_bytes, &length, &failure);
    assert_null(text);
    assert_int_equal(length, 0);
    assert_says(&failure, UP_STATUS_WRONG_INPUT, words);
}

static void a_whole_file_is_read(void **state) {
    (void)state;
    struct up_failure failure = {0};
    size_t length = 0;
    FILE *stream = fopen("bytes", "wb");
    assert_non_null(stream);
    assert_true(fwrite("a\0b\n", 1, 4, stream) == 4 && fclose(stream) == 0);
    char *text = up_text_read_file("bytes", UP_LINKS_REFUSED, 4, &length, &failure);
    assert_non_null(text);
    assert_int_equal(length, 4);
    assert_memory_equal(text, "a\0b\n", 5); /* with the NUL behind it */
    free(text);
    assert_not_read("bytes", UP_LINKS_REFUSED, 3, "cannot read bytes: it is larger than 0 KiB");
    write_all("empty", "");
    text = up_text_read_file("empty", UP_LINKS_REFUSED, 0, &length, &failure);
    assert_string_equal(text, "");
    free(text);
}

static void what_is_no_plain_file_is_refused_at_once(void **state) {
    (void)state;
    assert_int_equal(mkfifo("pipe", 0600), 0);
    assert_int_equal(mkdir("folder", 0700), 0);
    write_all("file", "text");
    assert_int_equal(symlink("file", "link") | symlink("pipe", "to-pipe") | symlink("x", "x"), 0);
    assert_not_read("none", UP_LINKS_FOLLOWED, 99, "cannot read none: No such file");
    assert_not_read("pipe", UP_LINKS_FOLLOWED, 99, "it is a pipe or a device");
    assert_not_read("to-pipe", UP_LINKS_FOLLOWED, 99, "it is a pipe or a device");
    assert_not_read("/dev/zero", UP_LINKS_FOLLOWED, 99, "it is a pipe or a device");
    assert_not_read("folder", UP_LINKS_FOLLOWED, 99, "it is a directory");
    assert_not_read("link", UP_LINKS_REFUSED, 99, "it is a link, which is not followed");
    assert_not_read("x", UP_LINKS_FOLLOWED, 99, "Too many levels");
    size_t length = 0;
    char *text = up_text_read_file("link", UP_LINKS_FOLLOWED, 99, &length, NULL);
    assert_string_equal(text, "text");
    free(text);
}

static void limits_are_told_in_their_unit(void **state) {
    (void)state;
    write_all("file", "");
    assert_int_equal(truncate("file", (3L << 20) + 1), 0);
    assert_not_read("file", UP_LINKS_FOLLOWED, 3 << 20, "it is larger than 3 MiB");
    assert_not_read("file", UP_LINKS_FOLLOWED, 64 << 10, "it is larger than 64 KiB");
}

/* ---- what JSON text becomes ---- */

static void values_are_counted_outside_of_texts(void **state) {
    (void)state;
    static const struct {
        const char *text;
        int holders, members;
    } cases[] = {{"", 0, 0},           {"{}", 1, 0},
                 {"[[],{}]", 3, 1},    {"{\"a\":1,\"b\":[2,3]}", 2, 2},
                 {"\"{[,\"", 0, 0},    {"\"\\\"{,\"", 0, 0},
                 {"\"\\\\\",{", 1, 1}, {"\"\\", 0, 0}};
    const size_t holder = up_json_bytes("{", 1) - 1, member = up_json_bytes(",", 1) - 1;
    assert_true(holder >= 232 && member >= 145); /* as measured with jansson 2.14 */
    for (size_t i = 0; i < ARRAY(cases); i++) {
        size_t length = strlen(cases[i].text);
        assert_int_equal(up_json_bytes(cases[i].text, length),
                         length + (size_t)cases[i].holders * holder +
                             (size_t)cases[i].members * member);
    }
}

/* ---- no memory left ---- */

static void end_with_seven(void) {
    _exit(7);
}

static up_memory_end *before;

static void end_before(void) {
    if (before != NULL) {
        before();
    }
}

/* The status, or less than zero for a signal. */
static int status_of(void (*work)(void)) {
    int status = 0;
    pid_t child = fork();
    if (child == 0) {
        work();
        _exit(0);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
}

static void ask_too_much(void) {
    free(up_allocate(SIZE_MAX / 2, 1));
}

static void ask_for_bytes(void) {
    up_at_out_of_memory(end_with_seven);
    free(up_allocate_bytes(SIZE_MAX / 2));
}

static void ask_for_more_than_there_are_numbers(void) {
    up_at_out_of_memory(end_with_seven);
    before = up_at_out_of_memory(end_before);
    free(up_reallocate(NULL, SIZE_MAX / 2, 3));
}

static void without_memory_the_program_ends_as_it_chose(void **state) {
    (void)state;
    assert_int_equal(status_of(ask_too_much), -SIGABRT);
    assert_int_equal(status_of(ask_for_bytes), 7);
    assert_int_equal(status_of(ask_for_more_than_there_are_numbers), 7);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        TEST(a_whole_file_is_read),
        TEST(what_is_no_plain_file_is_refused_at_once),
        TEST(limits_are_told_in_their_unit),
        TEST(values_are_counted_outside_of_texts),
        TEST(without_memory_the_program_ends_as_it_chose),
    };
    return cmocka_run_group_tests_name("text: reading", tests, NULL, NULL);
}
