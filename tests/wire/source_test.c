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
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "upthrust/wire.h"
#include "wire/port.h"

static const struct up_rig pty_rig = {.path = "test.ini", .port_kind = UP_PORT_PTY};

static const struct up_rig serial_rig = {
    .path = "test.ini",
    .port_kind = UP_PORT_SERIAL,
    .port = {.baud = 9600, .data_bits = 8, .stop_bits = 1, .return_s = 60}};

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

static void what_came_before_is_of_another_time(void **state) {
    char name[128], bytes[64];
    size_t length = 0;
    struct up_source *source;
    struct up_failure failure = {0};
    int master = open_master(name, sizeof name), slave = open(name, O_RDWR | O_NOCTTY);
    (void)state;
    assert_int_equal(write(master, "old\n", 4), 4);
    assert_true(up_source_open(&pty_rig, name, &source, &failure));
    assert_int_equal(write(master, "new\n", 4), 4);
    struct pollfd entry = {.fd = up_source_descriptor(source), .events = POLLIN};
    assert_int_equal(poll(&entry, 1, 2000), 1);
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_BYTES);
    assert_int_equal(length, 4);
    assert_memory_equal(bytes, "new\n", 4);
    up_source_close(source);
    close(slave);
    close(master);
}

static void one_program_at_a_time(void **state) {
    char name[128];
    struct up_source *source, *second;
    struct up_failure failure = {0};
    int master = open_master(name, sizeof name);
    (void)state;
    assert_true(up_source_open(&pty_rig, name, &source, &failure));
    assert_false(up_source_open(&pty_rig, name, &second, &failure));
    assert_null(second);
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    assert_non_null(strstr(failure.text, "in use by another program"));
    up_source_close(source);
    assert_true(up_source_open(&pty_rig, name, &second, &failure));
    up_source_close(second);
    close(master);
}

/* A link that leads to another terminal stands for a device that came back under another name. */
static void a_lost_device_is_let_go_and_found_again(void **state) {
    char name[128], other[128], bytes[64], link[] = "/tmp/upthrust-link-XXXXXX";
    size_t length = 0;
    struct up_source *source;
    struct up_failure failure = {0};
    int master = open_master(name, sizeof name);
    (void)state;
    close(mkstemp(link));
    unlink(link);
    assert_int_equal(symlink(name, link), 0);
    assert_true(up_source_open(&pty_rig, link, &source, &failure));
    assert_false(up_source_is_lost(source));
    close(master);
    assert_true(up_source_is_lost(source));
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_LOST);
    up_source_drop(source);
    assert_int_equal(up_source_descriptor(source), -1);
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_LOST);
    unlink(link);
    assert_false(up_source_reopen(source, &failure));
    assert_non_null(strstr(failure.text, "there is no port"));
    master = open_master(other, sizeof other);
    assert_int_equal(symlink(other, link), 0);
    assert_true(up_source_reopen(source, &failure));
    assert_int_equal(write(master, "5\n", 2), 2);
    struct pollfd entry = {.fd = up_source_descriptor(source), .events = POLLIN};
    assert_int_equal(poll(&entry, 1, 2000), 1);
    assert_int_equal(up_source_read(source, bytes, sizeof bytes, &length), UP_READ_BYTES);
    up_source_close(source);
    close(master);
    unlink(link);
}

static void refuse_serial(const char *path, enum up_status status, const char *says) {
    struct up_source *source = NULL;
    struct up_failure failure = {0};
    assert_false(up_source_open(&serial_rig, path, &source, &failure));
    assert_null(source);
    if (failure.status != status || strstr(failure.text, says) == NULL) {
        fail_msg("%s: %s", path, failure.text);
    }
}

static void serial_paths_that_lead_nowhere(void **state) {
    char name[128];
    int master = open_master(name, sizeof name);
    (void)state;
    refuse_serial("/dev/ttyNOWHERE", UP_STATUS_UNABLE, "there is no port /dev/ttyNOWHERE");
    refuse_serial("/dev/null", UP_STATUS_UNABLE, "not a serial port");
    refuse_serial(name, UP_STATUS_UNABLE, "kind = pty");
    for (const char *const *path =
             (const char *const[]){"usb:", "usb:0403", "usb:0403:", "usb:403:6001", "usb:0403-6001",
                                   "usb:0403:6001:", "usb:0403:60011", "usb:0x43:6001", NULL};
         *path != NULL; path++) {
        refuse_serial(*path, UP_STATUS_WRONG_INPUT, "write usb:VENDOR:PRODUCT");
    }
    refuse_serial("usb:fFfF:0000:no such", UP_STATUS_UNABLE, "no port usb:ffff:0000:no such");
    close(master);
}

/* What a node of the group dialout answers to somebody else, tried on a plain file. */
static void who_may_not_use_it_is_told_the_group(void **state) {
    char path[] = "/tmp/upthrust-node-XXXXXX";
    struct up_source *source = NULL;
    struct up_failure failure = {0};
    (void)state;
    if (geteuid() != 0) {
        skip(); /* only root can make a file that it then may not open */
    }
    close(mkstemp(path));
    assert_int_equal(chown(path, 0, 20) | chmod(path, 0660), 0);
    assert_int_equal(seteuid(65534), 0);
    bool opened = up_source_open(&pty_rig, path, &source, &failure);
    assert_int_equal(seteuid(0), 0);
    assert_false(opened);
    assert_non_null(strstr(failure.text, "it belongs to the group dialout"));
    assert_non_null(strstr(failure.text, " dialout`, then log in again"));
    assert_int_equal(chmod(path, 0600), 0);
    assert_int_equal(seteuid(65534), 0);
    opened = up_source_open(&pty_rig, path, &source, &failure);
    assert_int_equal(seteuid(0), 0);
    assert_false(opened);
    assert_non_null(strstr(failure.text, "only root has it"));
    unlink(path);
}

static void the_list_of_ports_can_be_read(void **state) {
    struct up_port *ports = NULL;
    size_t count = 0;
    struct up_failure failure = {0};
    (void)state;
    assert_true(up_ports_list(&ports, &count, &failure));
    for (size_t i = 0; i < count; i++) {
        assert_int_equal(strncmp(ports[i].name, "/dev/", 5), 0);
        assert_true(ports[i].transport == UP_TRANSPORT_USB || ports[i].usb_vendor == -1);
    }
    assert_string_equal(up_transport_name(UP_TRANSPORT_USB), "usb");
    free(ports);
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
    assert_non_null(strstr(failure.text, "not a serial port"));
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
        cmocka_unit_test(what_came_before_is_of_another_time),
        cmocka_unit_test(one_program_at_a_time),
        cmocka_unit_test(a_lost_device_is_let_go_and_found_again),
        cmocka_unit_test(serial_paths_that_lead_nowhere),
        cmocka_unit_test(who_may_not_use_it_is_told_the_group),
        cmocka_unit_test(the_list_of_ports_can_be_read),
        cmocka_unit_test(what_cannot_be_opened_is_named),
        cmocka_unit_test(a_capture_ends),
    };
    return cmocka_run_group_tests_name("source", tests, NULL, NULL);
}
