/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <fcntl.h>
#include <poll.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "upthrust/wire.h"

static const struct up_rig pty_rig = {.path = "test.ini", .port_kind = UP_PORT_PTY};

static int open_master(char *name, size_t size) {
    int master = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(master >= 0 && grantpt(master) == 0 && unlockpt(master) == 0);
    snprintf(name, size, "%s", ptsname(master));
    return master;
}

static void pty_carries_bytes_both_ways(void **state) {
    char name[128], bytes[64];
    size_t length = 0;
    struct up_source *source;
    struct up_failure failure = {0};
    int master = open_master(name, sizeof name);
    (void)state;
    assert_true(up_source_open(&pty_rig, name, &source, &failure));
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_NOTHING);
    assert_int_equal(write(master,
                           "\x03"
                           "12\r\n\x04",
                           6),
                     6);
    struct pollfd entry = {.fd = up_source_descriptor(source), .events = POLLIN};
    assert_int_equal(poll(&entry, 1, 2000), 1);
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_BYTES);
    assert_int_equal(length,
                     6); /* raw: neither signals nor line ends are the terminal's business */
    assert_memory_equal(bytes,
                        "\x03"
                        "12\r\n\x04",
                        6);
    assert_true(up_source_write(source, "more 5\n", 7, &failure));
    assert_int_equal(read(master, bytes, sizeof bytes), 7);
    up_source_close(source);
    close(master);
}

static void a_device_that_goes_is_noticed_at_once(void **state) {
    char name[128], bytes[64];
    size_t length = 0;
    struct up_source *source;
    struct up_failure failure = {0};
    int master = open_master(name, sizeof name);
    (void)state;
    assert_true(up_source_open(&pty_rig, name, &source, &failure));
    close(master);
    struct pollfd entry = {.fd = up_source_descriptor(source), .events = POLLIN};
    assert_int_equal(poll(&entry, 1, 2000), 1);
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_LOST);
    assert_false(up_source_write(source, "x", 1, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    up_source_close(source);
}

static void what_cannot_be_opened_is_named(void **state) {
    struct up_source *source = NULL;
    struct up_failure failure = {0};
    (void)state;
    assert_false(up_source_open(&pty_rig, "/nowhere/tty", &source, &failure));
    assert_null(source);
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    assert_non_null(strstr(failure.text, "/nowhere/tty"));
    assert_false(up_source_open(&pty_rig, "/dev/null", &source, &failure));
    assert_non_null(strstr(failure.text, "no terminal"));
    assert_false(up_source_open(&pty_rig, NULL, &source, &failure));
    assert_non_null(strstr(failure.text, "names no port"));
    assert_false(up_source_open_capture("/nowhere/capture", &source, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_false(up_source_open_capture("/tmp", &source, &failure));
    assert_non_null(strstr(failure.text, "directory"));
}

static void a_capture_ends(void **state) {
    char path[] = "/tmp/upthrust-capture-XXXXXX", bytes[8];
    size_t length = 0;
    struct up_source *source;
    struct up_failure failure = {0};
    int file = mkstemp(path);
    (void)state;
    assert_int_equal(write(file, "123\n456\n", 8), 8);
    close(file);
    assert_true(up_source_open_capture(path, &source, &failure));
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_BYTES);
    assert_int_equal(length, 8);
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_END);
    assert_true(up_source_write(source, "ignored", 7, &failure));
    up_source_close(source);
    unlink(path);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pty_carries_bytes_both_ways),
        cmocka_unit_test(a_device_that_goes_is_noticed_at_once),
        cmocka_unit_test(what_cannot_be_opened_is_named),
        cmocka_unit_test(a_capture_ends),
    };
    return cmocka_run_group_tests_name("source", tests, NULL, NULL);
}
