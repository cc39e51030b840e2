/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The poll loop with a device and an operator that behave badly, in real time. */
#ifndef _GNU_SOURCE
#define _GNU_SOURCE /* ptsname_r */
#endif
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "session/internal.h"
#include "session/probe.h"
#include "text/clock.h"

static const char *const RIG =
    "[rig]\nid = x\n[port]\nkind = pty\npath = %s\nreturn_s = 0\n"
    "[line]\nlayout = fields\nseparator = comma\ntime_field = 1\ntime_unit = ms\nload_field = 2\n"
    "poll = R\\n\npoll_while = %s\nnotes = hash\n";

/* ---- a bench: a device that answers polls, an operator on two pipes ---- */

static struct {
    struct up_rig rig;
    struct up_procedure *procedure;
    struct session session;
    int wire, answers[2], asks[2];
    FILE *output;
    volatile sig_atomic_t signalled;
    unsigned lost, answered, said;
} bench;

static void sleep_s(double time_s) {
    struct timespec span = {(time_t)time_s, (long)((time_s - (double)(time_t)time_s) * 1e9)};
    nanosleep(&span, NULL);
}

static void hear_bytes(void *context, const char *bytes, size_t length, double arrival_s) {
    (void)context, (void)bytes, (void)length, (void)arrival_s;
}

static bool hear_event(void *context, const struct up_event *event, struct up_failure *failure) {
    (void)context, (void)failure;
    bench.said += event->kind == UP_EVENT_NOTE && strstr(event->text, "the device says") != NULL;
    return true;
}

static void hear_answer(void *context, const struct up_reply *answer, double time_s) {
    (void)context, (void)answer, (void)time_s;
    bench.answered++;
}

static void hear_note(void *context, enum note note, const char *text) {
    (void)context, (void)text;
    bench.lost += note == NOTE_LOST;
}

static void open_wire(char *path, size_t size) {
    struct termios settings;
    bench.wire = posix_openpt(O_RDWR | O_NOCTTY);
    assert_true(bench.wire >= 0 && grantpt(bench.wire) == 0 && unlockpt(bench.wire) == 0);
    assert_int_equal(ptsname_r(bench.wire, path, size), 0);
    assert_int_equal(tcgetattr(bench.wire, &settings), 0);
    cfmakeraw(&settings);
    assert_int_equal(tcsetattr(bench.wire, TCSANOW, &settings), 0);
}

static void begin_polled(const char *output, const char *poll_while) {
    char path[64], text[512];
    struct up_failure failure = {0};
    memset(&bench, 0, sizeof bench);
    open_wire(path, sizeof path);
    snprintf(text, sizeof text, RIG, path, poll_while);
    if (!up_rig_parse("x.ini", text, &bench.rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    struct up_calibrate_plan plan = {.rig = &bench.rig, .mass_kg = {0.5, 1, 2}, .masses = 3};
    assert_true(up_procedure_calibrate(&plan, &bench.procedure, &failure));
    assert_int_equal(pipe(bench.answers), 0);
    assert_int_equal(pipe(bench.asks), 0);
    bench.output = output != NULL ? fopen(output, "w") : fdopen(bench.asks[1], "w");
    assert_non_null(bench.output);
    bench.session =
        (struct session){.rig = &bench.rig,
                         .procedure = bench.procedure,
                         .op = up_operator_create(UP_OPERATOR_JSON, bench.answers[0], bench.output),
                         .listener = {NULL, hear_bytes, hear_event, hear_answer, hear_note},
                         .signalled = &bench.signalled,
                         .silence_s = 0.3};
    if (!up_source_open(&bench.rig, NULL, &bench.session.source, &failure)) {
        fail_msg("%s", failure.text);
    }
}

static void begin(const char *output) {
    begin_polled(output, "reading");
}

/* With somebody at the other end; what the session took, in seconds. */
static double run(void *(*other_end)(void *), bool good, struct up_failure *failure) {
    pthread_t thread;
    double begun_s = up_monotonic_s();
    assert_int_equal(pthread_create(&thread, NULL, other_end, NULL), 0);
    up_operator_begin(bench.session.op, bench.procedure, NULL, NULL);
    bool went_well = session_run(&bench.session, failure);
    double took_s = up_monotonic_s() - begun_s;
    up_operator_end(bench.session.op);
    up_source_close(bench.session.source);
    fclose(bench.output); /* the other end leaves */
    close(bench.answers[0]);
    pthread_join(thread, NULL);
    up_operator_destroy(bench.session.op);
    up_procedure_destroy(bench.procedure);
    close(bench.wire);
    close(bench.answers[1]);
    close(bench.asks[0]);
    assert_int_equal(went_well, good);
    return took_s;
}

/* ---- a polled device and a slow hand ---- */

static void answer(const char *line) {
    char text[64];
    unsigned id = 0;
    const char *at = strstr(line, "\"id\":");
    if (at != NULL && sscanf(at, "\"id\":%u", &id) == 1) {
        int length = snprintf(text, sizeof text, "{\"id\":%u,\"answer\":\"done\"}\n", id);
        sleep_s(3 * bench.session.silence_s); /* no poll goes out meanwhile */
        if (write(bench.answers[1], text, (size_t)length) != length) {
            abort();
        }
    }
}

/* Answers each poll at once and each ask late; after two answers it is enough. */
static void *slow_hand(void *context) {
    static char line[4096];
    static int samples;
    (void)context;
    for (;;) {
        struct pollfd entry[] = {{.fd = bench.asks[0], .events = POLLIN},
                                 {.fd = bench.wire, .events = POLLIN}};
        poll(entry, 2, -1);
        if ((entry[1].revents & POLLIN) != 0 && read(bench.wire, line, sizeof line) > 0) {
            int length = snprintf(line, sizeof line, "%d,1000\n", 100 * samples++);
            bench.signalled = samples > 3;
            if (write(bench.wire, line, (size_t)length) != length) {
                abort();
            }
        }
        if (entry[0].revents != 0) {
            ssize_t got = read(bench.asks[0], line, sizeof line - 1);
            if (got <= 0) {
                return NULL;
            }
            line[got] = '\0';
            answer(line);
        }
    }
}

static void a_polled_device_is_not_silent_while_a_person_is_asked(void **state) {
    struct up_failure failure = {0};
    (void)state;
    begin(NULL);
    run(slow_hand, true, &failure);
    assert_true(bench.answered >= 1);
    assert_int_equal(bench.lost, 0);
}

/* A device whose time goes on: it is polled while a question is open. Counts the polls that come
   before the question is answered, a second late; the third one gets no answer. */
static unsigned polls_while_asked;

static void *slow_hand_beside_a_clock(void *context) {
    static char line[4096];
    unsigned polls = 0, id = 0;
    double asked_s = 0;
    (void)context;
    for (;;) {
        struct pollfd entry[] = {{.fd = bench.asks[0], .events = POLLIN},
                                 {.fd = bench.wire, .events = POLLIN}};
        poll(entry, 2, 10);
        if ((entry[1].revents & POLLIN) != 0 && read(bench.wire, line, sizeof line) > 0) {
            int length =
                snprintf(line, sizeof line, "%.0f,%u\n", 1e3 * up_monotonic_s(), 1000 + polls % 3);
            polls_while_asked += asked_s > 0;
            sleep_s(0.02);
            if (++polls != 3 && write(bench.wire, line, (size_t)length) != length) {
                abort();
            }
        }
        if (asked_s > 0 && up_monotonic_s() - asked_s > 1) {
            int length = snprintf(line, sizeof line, "{\"id\":%u,\"answer\":\"stop\"}\n", id);
            asked_s = 0;
            if (write(bench.answers[1], line, (size_t)length) != length) {
                abort();
            }
        }
        if (entry[0].revents != 0) {
            ssize_t got = read(bench.asks[0], line, sizeof line - 1);
            if (got <= 0) {
                return NULL;
            }
            line[got] = '\0';
            const char *at = strstr(line, "\"id\":");
            asked_s = at != NULL && sscanf(at, "\"id\":%u", &id) == 1 ? up_monotonic_s() : asked_s;
        }
    }
}

static void a_device_with_a_time_of_its_own_is_polled_all_along(void **state) {
    struct up_failure failure = {0};
    (void)state;
    begin_polled(NULL, "always");
    run(slow_hand_beside_a_clock, true, &failure);
    assert_int_equal(bench.lost, 0);
    assert_in_range(polls_while_asked, 10, 100); /* 1 s, 0.3 s of it without an answer */
}

/* ---- a device that speaks of itself ---- */

static void write_wire(const char *lines) {
    if (write(bench.wire, lines, strlen(lines)) != (ssize_t)strlen(lines)) {
        abort();
    }
    sleep_s(0.1);
}

static void *speaks(void *context) {
    write_wire("#start first\n");
    write_wire("100,1000\n#thermometer absent\n200,1000\n#thermometer absent\n");
    write_wire("#start again\n#start again\n300,1000\n");
    bench.signalled = 1;
    return context;
}

static void a_device_that_began_anew_spoils_the_step(void **state) {
    struct up_failure failure = {0};
    (void)state;
    begin(NULL);
    run(speaks, true, &failure);
    assert_int_equal(bench.lost, 2); /* not by its words before the first reading */
    assert_int_equal(bench.said, 2); /* those, and the thermometer once */
}

/* ---- an operator that sends without end ---- */

static void *flood(void *context) {
    static char junk[4096];
    double begun_s = up_monotonic_s();
    (void)context;
    for (size_t i = 0; i < sizeof junk; i++) {
        junk[i] = i % 2 == 0 ? '\n' : 'x';
    }
    signal(SIGPIPE, SIG_IGN);
    while (write(bench.answers[1], junk, sizeof junk) > 0) {
        bench.signalled = up_monotonic_s() - begun_s > 0.3;
    }
    return NULL;
}

static void a_signal_is_heeded_under_a_flood(void **state) {
    struct up_failure failure = {0};
    (void)state;
    begin("/dev/null");
    assert_true(run(flood, true, &failure) < 3);
}

/* ---- a question that nobody can read ---- */

static void *nobody(void *context) {
    return context;
}

static void a_question_that_cannot_be_written_ends_the_session(void **state) {
    struct up_failure failure = {0};
    (void)state;
    begin("/dev/full");
    run(nobody, false, &failure);
    assert_int_equal(failure.status, UP_STATUS_UNABLE);
    assert_non_null(strstr(failure.text, "cannot write the question"));
    assert_non_null(strstr(failure.text, "No space left"));
}

/* ---- a scale that prints once or twice a second ---- */

static void a_slow_scale_gets_a_longer_window(void **state) {
    static const struct {
        double rate_hz;
        const char *says;
    } rows[] = {{2, "window_s = 10\nread_after_s = 20\n"},
                {1, "window_s = 20\nread_after_s = 20\n"},
                {0.5, "window_s = 40\nread_after_s = 30\n"},
                {3, ""},
                {0, ""}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char *text = up_probe_bench_section(rows[i].rate_hz);
        assert_non_null(strstr(text, rows[i].says));
        assert_true((text[0] == '\0') == (rows[i].says[0] == '\0'));
        free(text);
    }
}

static void keep_note(void *context, const char *text) {
    snprintf(context, 100, "%s", text);
}

/* A name may look like a quantity, and a command is typed as it stands. */
static void names_in_notes_stay_in_all_units(void **state) {
    (void)state;
    char noted[100];
    struct up_session_settings settings = {.imperial = true,
                                           .caller = {.context = noted, .note = keep_note}};
    send_note(&settings, "interrupted (%s); continue with `%s`", "Steel 1 kg", "--rig '2 kg.ini'");
    assert_string_equal(noted, "interrupted (Steel 1 kg); continue with `--rig '2 kg.ini'`");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_in_notes_stay_in_all_units),
        cmocka_unit_test(a_slow_scale_gets_a_longer_window),
        cmocka_unit_test(a_polled_device_is_not_silent_while_a_person_is_asked),
        cmocka_unit_test(a_device_with_a_time_of_its_own_is_polled_all_along),
        cmocka_unit_test(a_device_that_began_anew_spoils_the_step),
        cmocka_unit_test(a_signal_is_heeded_under_a_flood),
        cmocka_unit_test(a_question_that_cannot_be_written_ends_the_session),
    };
    return cmocka_run_group_tests_name("the loop of a session", tests, NULL, NULL);
}
