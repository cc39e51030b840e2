/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The keys of an account, in a home of the test's own. */
#include <fcntl.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "signing/signing.h"
#include "text/clock.h"
#include "text/text.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))
#define PLACE        "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
#define OTHER_PLACE  "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb"
#define HASH         "cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc"
#define OTHER_HASH   "dddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddddd"
#define KEY_FILE     "upthrust/writers/" PLACE ".key"

static struct up_failure failure;

/* Each test stands in an empty home. */
static int enter(void **state) {
    static char home[40];
    snprintf(home, sizeof home, "/tmp/upthrust-writers-XXXXXX");
    *state = home;
    failure = (struct up_failure){UP_STATUS_DONE, ""};
    return mkdtemp(home) == NULL || chdir(home) != 0 || setenv("XDG_STATE_HOME", home, 1) != 0;
}

static int leave(void **state) {
    UP_FREED char *command = up_text_format("rm -rf '%s'", (const char *)*state);
    return chdir("/") != 0 || system(command) != 0;
}

static struct up_writer open_writer(const char *place, bool wanted_new) {
    struct up_writer writer;
    bool is_new = !wanted_new;
    if (!up_writer_open(place, &writer, &is_new, &failure)) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(is_new, wanted_new);
    return writer;
}

static void note(struct up_writer *writer, long long sequence, const char *hash) {
    if (!up_writer_note(PLACE, writer, sequence, hash, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void assert_same_writer(const struct up_writer *a, const struct up_writer *b) {
    assert_string_equal(a->public_key, b->public_key);
    assert_memory_equal(a->seed, b->seed, sizeof a->seed);
    assert_true(a->sequence == b->sequence);
    assert_string_equal(a->hash, b->hash);
    assert_string_equal(a->succeeds, b->succeeds);
}

/* ... with a line that holds both words, and nothing in the writer. */
static void assert_not_opened(enum up_status status, const char *word, const char *other) {
    struct up_writer writer, empty = {.sequence = 0};
    bool is_new = true;
    memset(&writer, 'x', sizeof writer);
    assert_false(up_writer_open(PLACE, &writer, &is_new, &failure));
    assert_false(is_new);
    assert_memory_equal(&writer, &empty, sizeof writer);
    assert_int_equal(failure.status, status);
    if (strstr(failure.text, word) == NULL || strstr(failure.text, other) == NULL ||
        strchr(failure.text, '\n') != NULL) {
        fail_msg("%s", failure.text);
    }
}

static char *read_file(void) {
    size_t length;
    char *text = up_text_read_file(KEY_FILE, UP_LINKS_REFUSED, 4096, &length, &failure);
    assert_non_null(text);
    return text;
}

static void write_file(const char *text) {
    int descriptor = open(KEY_FILE, O_WRONLY | O_TRUNC);
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, text, strlen(text)), strlen(text));
    close(descriptor);
}

static void test_made_once(void **state) {
    (void)state;
    char key[UP_KEY_SIZE];
    struct up_writer writer = open_writer(PLACE, true), again = open_writer(PLACE, false),
                     other = open_writer(OTHER_PLACE, true);
    up_key_public(writer.seed, key);
    assert_string_equal(writer.public_key, key);
    assert_true(writer.sequence == 0);
    assert_string_equal(writer.hash, "");
    assert_string_equal(writer.succeeds, "");
    assert_same_writer(&writer, &again);
    assert_string_not_equal(writer.public_key, other.public_key);
}

static mode_t mode_of(const char *path) {
    struct stat about;
    assert_int_equal(lstat(path, &about), 0);
    return about.st_mode & 07777;
}

static void test_for_this_account_alone(void **state) {
    (void)state;
    mode_t before = umask(0);
    struct up_writer writer = open_writer(PLACE, true);
    note(&writer, 1, HASH);
    umask(0277); /* the next file would be read-only */
    note(&writer, 2, HASH);
    umask(before);
    assert_int_equal(mode_of(KEY_FILE), 0600);
    assert_int_equal(mode_of("upthrust"), 0700);
    assert_int_equal(mode_of("upthrust/writers"), 0700);
    assert_int_equal(mode_of(KEY_FILE), 0600);
    assert_int_equal(mode_of("upthrust/writers/lock"), 0600);
    assert_int_not_equal(access("upthrust/writers/new", F_OK), 0);
}

static void test_open_to_others(void **state) {
    (void)state;
    static const mode_t mode[] = {0640, 0604, 0620, 0601};
    struct up_writer writer = open_writer(PLACE, true), copy = writer;
    for (size_t i = 0; i < COUNT(mode); i++) {
        assert_int_equal(chmod(KEY_FILE, mode[i]), 0);
        assert_not_opened(UP_STATUS_WRONG_INPUT, "open to others", "chmod 600 /");
        assert_false(up_writer_note(PLACE, &writer, 1, HASH, &failure));
        assert_false(up_writer_renew(PLACE, &writer, &failure));
        assert_same_writer(&writer, &copy);
    }
    assert_int_equal(chmod(KEY_FILE, 0600), 0);
    writer = open_writer(PLACE, false);
    assert_same_writer(&writer, &copy);
}

static void test_no_file(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true);
    assert_int_equal(rename(KEY_FILE, "elsewhere"), 0);
    assert_int_equal(symlink("../../elsewhere", KEY_FILE), 0);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "it is a link", PLACE ".key");
    assert_int_equal(unlink(KEY_FILE), 0);
    assert_int_equal(symlink("nowhere", KEY_FILE), 0);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "it is a link", PLACE ".key");
    assert_int_equal(unlink(KEY_FILE), 0);
    assert_int_equal(mkfifo(KEY_FILE, 0600), 0);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "it is a pipe", PLACE ".key");
    assert_int_equal(unlink(KEY_FILE), 0);
    assert_int_equal(mkdir(KEY_FILE, 0700), 0);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "it is a directory", PLACE ".key");
    assert_false(up_writer_note(PLACE, &writer, 1, HASH, &failure));
    assert_int_equal(rmdir(KEY_FILE), 0);
}

/* Each letter of the file, but for the count, whose last digit is as good as another. */
static void test_damaged(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true), copy;
    bool is_new;
    note(&writer, 12, HASH);
    UP_FREED char *text = read_file();
    const char *digit = strstr(text, ":12,") + 2;
    for (char *at = text; *at != '\0'; at++) {
        char was = *at;
        *at = was == '0' ? '1' : was == 'c' ? 'z' : '0';
        write_file(text);
        assert_int_equal(up_writer_open(PLACE, &copy, &is_new, &failure), at == digit);
        *at = was;
    }
    const char *const whole[] = {"", "{}\n", "x"};
    for (size_t i = 0; i < COUNT(whole); i++) {
        write_file(whole[i]);
        assert_not_opened(UP_STATUS_WRONG_INPUT, "is damaged", PLACE ".key");
    }
    UP_FREED char *longer = up_text_format("%s ", text), *large = up_text_format("%1100s", text);
    write_file(longer);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "is damaged", "backup");
    write_file(large);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "larger than 1 KiB", PLACE ".key");
    assert_false(up_writer_note(PLACE, &writer, 13, HASH, &failure));
    assert_int_equal(truncate(KEY_FILE, 100), 0);
    assert_not_opened(UP_STATUS_WRONG_INPUT, "is damaged", "backup");
    write_file(text);
    copy = open_writer(PLACE, false);
    assert_same_writer(&copy, &writer);
}

/* A sequence without a hash, or the other way round; one beyond 2^52; another format. */
static void test_what_no_program_writes(void **state) {
    (void)state;
    static const struct {
        const char *from, *to;
    } row[] = {{"\"sequence\":12", "\"sequence\":0"},
               {HASH, ""},
               {"\"sequence\":12", "\"sequence\":4503599627370497"},
               {"\"sequence\":12", "\"sequence\":-12"},
               {"\"sequence\":12", "\"sequence\":012"},
               {HASH, "c" HASH},
               {"\"format\":1", "\"format\":2"}};
    struct up_writer writer = open_writer(PLACE, true);
    note(&writer, 12, HASH);
    UP_FREED char *text = read_file();
    for (size_t i = 0; i < COUNT(row); i++) {
        char *at = strstr(text, row[i].from);
        assert_non_null(at);
        UP_FREED char *changed =
            up_text_format("%.*s%s%s", (int)(at - text), text, row[i].to, at + strlen(row[i].from));
        write_file(changed);
        assert_not_opened(UP_STATUS_WRONG_INPUT, "is damaged", PLACE ".key");
    }
}

/* As somebody whom modes bind, also where root runs the tests. */
static void as_another(const char *home, void (*test)(void)) {
    if (geteuid() == 0) {
        assert_int_equal(chown(home, 65534, 65534), 0);
        assert_int_equal(setegid(65534) | seteuid(65534), 0);
    }
    test();
    if (getuid() == 0) {
        assert_int_equal(seteuid(0) | setegid(0), 0);
    }
}

static void in_read_only_home(void) {
    assert_int_equal(chmod(".", 0500), 0);
    assert_not_opened(UP_STATUS_UNABLE, "Permission denied", "XDG_STATE_HOME");
    assert_false(up_writer_note(PLACE, &(struct up_writer){.sequence = 0}, 1, HASH, &failure));
    assert_int_equal(chmod(".", 0700), 0);
    struct up_writer writer = open_writer(PLACE, true), copy = writer, again;
    assert_int_equal(chmod("upthrust/writers", 0500), 0);
    assert_int_equal(chmod("upthrust/writers/lock", 0400), 0);
    again = open_writer(PLACE, false); /* what is there can be read */
    assert_same_writer(&writer, &again);
    assert_false(up_writer_note(PLACE, &writer, 1, HASH, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    assert_non_null(strstr(failure.text, "XDG_STATE_HOME"));
    assert_false(up_writer_renew(PLACE, &writer, &failure));
    assert_int_equal(chmod("upthrust/writers/lock", 0600), 0); /* the file cannot be made */
    assert_false(up_writer_note(PLACE, &writer, 1, HASH, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    assert_false(up_writer_renew(PLACE, &writer, &failure));
    assert_same_writer(&writer, &copy);
    assert_int_equal(chmod("upthrust/writers", 0), 0);
    assert_not_opened(UP_STATUS_UNABLE, "Permission denied", "read and write");
    assert_int_equal(chmod("upthrust/writers", 0700), 0);
    assert_int_equal(chmod(KEY_FILE, 0), 0);
    assert_not_opened(UP_STATUS_UNABLE, "Permission denied", "read and write");
}

static void test_read_only_home(void **state) {
    as_another(*state, in_read_only_home);
}

/* As FAT has it, or a mount that gives all files one mode: each can be set, and none is kept. */
static bool without_modes;
int fchmod(int descriptor, mode_t mode) {
    return (int)syscall(SYS_fchmod, descriptor, without_modes ? 0755 : mode);
}

static void test_no_modes(void **state) {
    (void)state;
    without_modes = true;
    assert_not_opened(UP_STATUS_UNABLE, "every file to others", "XDG_STATE_HOME");
    assert_int_not_equal(access(KEY_FILE, F_OK), 0);
    assert_int_not_equal(access("upthrust/writers/new", F_OK), 0);
    without_modes = false;
    struct up_writer writer = open_writer(PLACE, true);
    without_modes = true; /* the home was moved there */
    assert_int_equal(chmod(KEY_FILE, 0755), 0);
    assert_not_opened(UP_STATUS_UNABLE, "every file to others", "XDG_STATE_HOME");
    assert_false(up_writer_note(PLACE, &writer, 1, HASH, &failure));
    without_modes = false;
    assert_not_opened(UP_STATUS_WRONG_INPUT, "open to others", "chmod 600 /");
    assert_int_equal(mode_of(KEY_FILE), 0755); /* whoever owns it does that */
}

static void test_no_home(void **state) {
    UP_FREED char *home = up_text_format("%s", getenv("HOME") != NULL ? getenv("HOME") : "/");
    assert_int_equal(setenv("XDG_STATE_HOME", "/proc/none", 1), 0);
    assert_not_opened(UP_STATUS_UNABLE, "/proc/none/upthrust/writers", "XDG_STATE_HOME");
    assert_int_equal(setenv("XDG_STATE_HOME", "/dev/null", 1), 0);
    assert_not_opened(UP_STATUS_UNABLE, "/dev/null/upthrust/writers", "XDG_STATE_HOME");
    assert_int_equal(setenv("XDG_STATE_HOME", "relative", 1) | unsetenv("HOME"), 0);
    assert_not_opened(UP_STATUS_UNABLE, "set HOME", "XDG_STATE_HOME");
    assert_int_equal(setenv("HOME", "relative", 1), 0);
    assert_not_opened(UP_STATUS_UNABLE, "set HOME", "XDG_STATE_HOME");
    assert_int_equal(setenv("HOME", *state, 1), 0);
    open_writer(PLACE, true);
    assert_int_equal(access(".local/state/" KEY_FILE, F_OK), 0);
    assert_int_equal(setenv("HOME", home, 1), 0);
}

static void test_never_lowered(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true), late = writer, again;
    note(&writer, 5, HASH);
    assert_true(writer.sequence == 5);
    assert_string_equal(writer.hash, HASH);
    note(&late, 4, OTHER_HASH); /* a program that was slower learns of it */
    assert_same_writer(&late, &writer);
    note(&late, 5, OTHER_HASH);
    assert_same_writer(&late, &writer);
    note(&late, 1LL << 52, OTHER_HASH);
    assert_true(late.sequence == 1LL << 52);
    again = open_writer(PLACE, false);
    assert_same_writer(&again, &late);
}

static void test_another_takes_its_place(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true), before, retired, again;
    note(&writer, 7, HASH);
    before = writer;
    struct up_writer beside = writer; /* of another program */
    assert_true(up_writer_renew(PLACE, &writer, &failure));
    assert_string_not_equal(writer.public_key, before.public_key);
    assert_memory_not_equal(writer.seed, before.seed, sizeof before.seed);
    assert_string_equal(writer.succeeds, before.public_key);
    assert_true(writer.sequence == 0);
    assert_string_equal(writer.hash, "");
    again = open_writer(PLACE, false);
    assert_same_writer(&again, &writer);
    assert_true(up_writer_retired(before.public_key, &retired, &failure));
    assert_same_writer(&retired, &before);
    /* The other program, which began before, goes on with the old one, and notes it there. */
    note(&beside, 8, OTHER_HASH);
    assert_string_equal(beside.public_key, before.public_key);
    assert_true(beside.sequence == 8);
    again = open_writer(PLACE, false);
    assert_same_writer(&again, &writer);
    assert_true(up_writer_retired(before.public_key, &retired, &failure));
    assert_same_writer(&retired, &beside);
    /* It notices, too: there is one successor. */
    assert_true(up_writer_renew(PLACE, &beside, &failure));
    assert_same_writer(&beside, &writer);
    assert_true(up_writer_renew(PLACE, &beside, &failure));
    assert_string_equal(beside.succeeds, writer.public_key);
    assert_int_equal(mode_of("upthrust/writers"), 0700);
}

static void test_what_is_not_there(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true), old = writer, retired;
    assert_false(up_writer_retired(HASH, &retired, &failure));
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_string_equal(retired.public_key, "");
    assert_int_equal(unlink(KEY_FILE), 0);
    assert_false(up_writer_note(PLACE, &writer, 1, HASH, &failure));
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    /* Somebody took the file away while this program runs: the old one is kept all the same. */
    assert_true(up_writer_renew(PLACE, &writer, &failure));
    assert_string_equal(writer.succeeds, old.public_key);
    assert_true(up_writer_retired(old.public_key, &retired, &failure));
    assert_same_writer(&retired, &old);
}

/* ---- several programs ---- */

enum { PROGRAMS = 8 };

static void test_one_key_for_all(void **state) {
    (void)state;
    struct {
        char key[UP_KEY_SIZE];
        bool is_new;
    } got[PROGRAMS];
    int start[2], answer[2];
    assert_int_equal(pipe(start) | pipe(answer), 0);
    for (size_t i = 0; i < PROGRAMS; i++) {
        if (fork() == 0) {
            struct up_writer writer;
            char go;
            close(start[1]);
            memset(&got[0], 0, sizeof got[0]);
            bool good = read(start[0], &go, 1) == 0 && /* all at once */
                        up_writer_open(PLACE, &writer, &got[0].is_new, NULL);
            memcpy(got[0].key, writer.public_key, sizeof got[0].key);
            _exit(!good || write(answer[1], &got[0], sizeof got[0]) != sizeof got[0]);
        }
    }
    close(start[0]);
    close(start[1]);
    int made = 0, status;
    for (size_t i = 0; i < PROGRAMS; i++) {
        assert_true(wait(&status) > 0);
        assert_int_equal(status, 0);
        assert_int_equal(read(answer[0], &got[i], sizeof got[i]), sizeof got[i]);
        assert_string_equal(got[i].key, got[0].key);
        made += got[i].is_new;
    }
    assert_int_equal(made, 1);
    close(answer[0]);
    close(answer[1]);
    assert_string_equal(open_writer(PLACE, false).public_key, got[0].key);
}

static void test_all_note(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true);
    int status;
    for (long long i = 0; i < PROGRAMS; i++) {
        if (fork() == 0) {
            bool good = true;
            for (long long round = 0; round < 4; round++) { /* up and down */
                long long sequence = 1 + (i * 13 + round * 21) % 32;
                good = good && up_writer_note(PLACE, &writer, sequence,
                                              sequence == 32 ? OTHER_HASH : HASH, NULL);
            }
            _exit(!good);
        }
    }
    for (int i = 0; i < PROGRAMS; i++) {
        assert_true(wait(&status) > 0);
        assert_int_equal(status, 0);
    }
    note(&writer, 1, HASH);
    long long highest = 0;
    for (long long i = 0; i < PROGRAMS * 4; i++) {
        long long sequence = 1 + (i / 4 * 13 + i % 4 * 21) % 32;
        highest = sequence > highest ? sequence : highest;
    }
    assert_true(writer.sequence == highest);
    assert_string_equal(writer.hash, highest == 32 ? OTHER_HASH : HASH);
}

static void test_waits_for_the_other(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true);
    int ready[2], status;
    char go;
    assert_int_equal(pipe(ready), 0);
    if (fork() == 0) {
        int lock = open("upthrust/writers/lock", O_RDWR);
        bool good = flock(lock, LOCK_EX) == 0 && write(ready[1], "x", 1) == 1;
        nanosleep(&(struct timespec){0, 60000000}, NULL);
        _exit(!good); /* which ends the lock */
    }
    assert_int_equal(read(ready[0], &go, 1), 1);
    double begin = up_monotonic_s();
    note(&writer, 1, HASH);
    assert_true(up_monotonic_s() - begin > 0.03);
    assert_true(wait(&status) > 0);
    assert_int_equal(status, 0);
    close(ready[0]);
    close(ready[1]);
}

/* Ended by the system in the middle of the first file that it writes. */
static void end_in_the_middle(bool (*act)(struct up_writer *writer), struct up_writer *writer) {
    int status;
    if (fork() == 0) {
        setrlimit(RLIMIT_CORE, &(struct rlimit){0, 0});
        setrlimit(RLIMIT_FSIZE, &(struct rlimit){100, 100});
        signal(SIGXFSZ, SIG_DFL);
        act(writer);
        _exit(0);
    }
    assert_true(wait(&status) > 0);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGXFSZ);
    assert_int_equal(access("upthrust/writers/new", F_OK), 0);
}

static bool act_open(struct up_writer *writer) {
    bool is_new;
    return up_writer_open(PLACE, writer, &is_new, NULL);
}

static bool act_note(struct up_writer *writer) {
    return up_writer_note(PLACE, writer, 9, OTHER_HASH, NULL);
}

static bool act_renew(struct up_writer *writer) {
    return up_writer_renew(PLACE, writer, NULL);
}

static void test_ended_in_the_middle(void **state) {
    (void)state;
    struct up_writer writer, again;
    end_in_the_middle(act_open, &writer);
    writer = open_writer(PLACE, true);
    note(&writer, 8, HASH);
    end_in_the_middle(act_note, &writer);
    again = open_writer(PLACE, false);
    assert_same_writer(&again, &writer);
    end_in_the_middle(act_renew, &writer);
    again = open_writer(PLACE, false);
    assert_same_writer(&again, &writer);
    assert_true(act_note(&writer));
    assert_true(writer.sequence == 9);
}

/* Between the two files of a renewal: the old one is kept twice, and signs on. */
static void test_renewal_cut_short(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true), before, retired;
    note(&writer, 3, HASH);
    before = writer;
    UP_FREED char *old = up_text_format("upthrust/writers/%s.old", writer.public_key);
    assert_int_equal(link(KEY_FILE, old), 0);
    note(&writer, 4, HASH);
    assert_true(up_writer_retired(before.public_key, &retired, &failure));
    assert_true(retired.sequence == 3);
    before = writer;
    assert_true(up_writer_renew(PLACE, &writer, &failure));
    assert_true(up_writer_retired(before.public_key, &retired, &failure));
    assert_same_writer(&retired, &before);
}

/* Killed wherever it is: what it said it had noted stands there. */
static void test_killed(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true);
    for (long round = 0; round < 8; round++) {
        int said[2];
        assert_int_equal(pipe(said), 0);
        pid_t child = fork();
        if (child == 0) {
            for (long long i = writer.sequence + 1; up_writer_note(PLACE, &writer, i, HASH, NULL) &&
                                                    write(said[1], &i, sizeof i) == sizeof i;
                 i++) {
            }
            _exit(1);
        }
        close(said[1]);
        long long last = 0;
        assert_int_equal(read(said[0], &last, sizeof last), sizeof last);
        nanosleep(&(struct timespec){0, round * 317000}, NULL);
        kill(child, SIGKILL);
        while (read(said[0], &last, sizeof last) == sizeof last) {
        }
        close(said[0]);
        assert_int_equal(waitpid(child, NULL, 0), child);
        struct up_writer again = open_writer(PLACE, false);
        assert_true(again.sequence == last || again.sequence == last + 1);
        assert_string_equal(again.public_key, writer.public_key);
        writer = again;
    }
}

static void test_forgotten(void **state) {
    (void)state;
    struct up_writer writer = open_writer(PLACE, true), empty = {.sequence = 0};
    up_writer_forget(&writer);
    assert_memory_equal(&writer, &empty, sizeof writer);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_made_once, enter, leave),
        cmocka_unit_test_setup_teardown(test_for_this_account_alone, enter, leave),
        cmocka_unit_test_setup_teardown(test_open_to_others, enter, leave),
        cmocka_unit_test_setup_teardown(test_no_file, enter, leave),
        cmocka_unit_test_setup_teardown(test_damaged, enter, leave),
        cmocka_unit_test_setup_teardown(test_what_no_program_writes, enter, leave),
        cmocka_unit_test_setup_teardown(test_read_only_home, enter, leave),
        cmocka_unit_test_setup_teardown(test_no_modes, enter, leave),
        cmocka_unit_test_setup_teardown(test_no_home, enter, leave),
        cmocka_unit_test_setup_teardown(test_never_lowered, enter, leave),
        cmocka_unit_test_setup_teardown(test_another_takes_its_place, enter, leave),
        cmocka_unit_test_setup_teardown(test_what_is_not_there, enter, leave),
        cmocka_unit_test_setup_teardown(test_one_key_for_all, enter, leave),
        cmocka_unit_test_setup_teardown(test_all_note, enter, leave),
        cmocka_unit_test_setup_teardown(test_waits_for_the_other, enter, leave),
        cmocka_unit_test_setup_teardown(test_ended_in_the_middle, enter, leave),
        cmocka_unit_test_setup_teardown(test_renewal_cut_short, enter, leave),
        cmocka_unit_test_setup_teardown(test_killed, enter, leave),
        cmocka_unit_test_setup_teardown(test_forgotten, enter, leave),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
