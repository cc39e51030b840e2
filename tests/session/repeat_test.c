/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A run once more from its bytes and its journal: each thing that was recorded does again what it
   did. The stream is written by hand: a level with a little noise, ten lines a second. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "hand_bench.h"
#include "session/internal.h"
#include "text/memory.h"
#include "upthrust/wire.h"

/* Without a clock of its own: only the times of arrival show a stall. */
static const char clockless_rig[] =
    "[rig]\nid = simulated-tank\n[line]\nlayout = bare\nword_bits = 24\n"
    "rate_hz = 10\n[tank]\nwater = fresh\ntemp_c = 20\n";

enum { LINES_MAX = 2000, RECORDED_MAX = 2000, LEVEL = 100000 };

static struct hand_bench bench;
static struct up_procedure *procedure;
static char bytes[LINES_MAX * 32];
static size_t length, line_end[LINES_MAX + 1]; /* so many bytes are so many lines */
static struct recorded recorded[RECORDED_MAX];
static size_t count;
static int level = LEVEL;
static double waited_s; /* the latest plateau was read so long after its step */
static unsigned faults;
static char fault[240], remark[240];

static int begin(void **state) {
    (void)state;
    hand_bench_begin(&bench);
    length = count = 0;
    faults = 0;
    waited_s = 0;
    return 0;
}

static int end(void **state) {
    (void)state;
    up_procedure_destroy(procedure);
    procedure = NULL;
    return 0;
}

/* "milliseconds,counts,degrees", or the counts alone. */
static void write_lines(int lines, bool clock) {
    static const int noise[] = {24, -12, 6, -30, 30, -6, 12, -24};
    for (int i = 0; i < lines; i++) {
        int counts = level + noise[i % 8];
        length += (size_t)(clock ? sprintf(bytes + length, "%d,%d,20.00\r\n", 100 * i, counts)
                                 : sprintf(bytes + length, "%d\r\n", counts));
        line_end[i + 1] = length;
    }
}

static void record(struct recorded entry) {
    assert_true(count < RECORDED_MAX);
    recorded[count++] = entry;
}

static void answered(unsigned id, int lines) {
    record((struct recorded){.kind = RECORDED_ANSWER,
                             .offset = line_end[lines],
                             .answer = {.id = id, .word = UP_ANSWER_DONE}});
}

static void noted(enum note note, int lines) {
    struct recorded entry = {.kind = RECORDED_NOTE, .offset = line_end[lines], .note = note};
    snprintf(entry.text, sizeof entry.text, "as it was");
    record(entry);
}

static void hear(void *context, const struct up_event *event) {
    (void)context;
    if (event->kind == UP_EVENT_PLATEAU) {
        waited_s = event->plateau.start_s - event->plateau.step_s;
    } else if (event->kind == UP_EVENT_FAULT) {
        faults++;
        snprintf(fault, sizeof fault, "%s", event->text);
    } else if (event->kind == UP_EVENT_NOTE) {
        snprintf(remark, sizeof remark, "%s", event->text);
    }
}

static bool repeat(struct up_failure *failure) {
    struct up_reader reader;
    const struct recording recording = {.rig = &bench.rig,
                                        .bytes = bytes,
                                        .length = length,
                                        .recorded = recorded,
                                        .count = count,
                                        .event = hear};
    up_procedure_destroy(procedure);
    *failure = (struct up_failure){0};
    if (!up_procedure_measure(&bench.plan, &procedure, failure)) {
        fail_msg("%s", failure->text);
    }
    return repeat_run(procedure, &recording, &reader, failure);
}

/* The ballast hangs, the empty hook is to be read; after five seconds something happened, and the
   answer came once more to the question that was repeated. */
static double waited_after(enum note note) {
    struct up_failure failure;
    length = count = 0;
    write_lines(1200, true);
    answered(1, 0);
    noted(note, 50);
    answered(3, 50);
    if (!repeat(&failure)) {
        fail_msg("%s", failure.text);
    }
    assert_string_equal(fault, "as it was");
    return waited_s;
}

/* The cell rests after an absence, a lost cable leaves it as it was. */
static void an_absence_is_not_a_lost_cable(void **state) {
    double usual_s = bench.rig.read_after_s - bench.rig.window_s / 2;
    (void)state;
    assert_close(waited_after(NOTE_ABSENT), usual_s + 3 * bench.rig.read_after_s, 0.3);
    assert_close(waited_after(NOTE_LOST), usual_s, 0.3);
    assert_close(waited_after(NOTE_INTERRUPTED), usual_s, 0.3);
}

static void a_stop_ends_it(void **state) {
    struct up_failure failure;
    (void)state;
    write_lines(100, true);
    answered(1, 0);
    noted(NOTE_STOPPED, 50);
    assert_true(repeat(&failure));
    assert_true(up_procedure_is_finished(procedure));
    assert_false(up_procedure_progress(procedure).complete);
}

/* A chunk a second; the twelfth came five seconds late. */
static void stalls_are_found_by_when_the_bytes_came(void **state) {
    struct up_failure failure = {0};
    (void)state;
    if (!up_rig_parse("clockless", clockless_rig, &bench.rig, &failure)) {
        fail_msg("%s", failure.text);
    }
    memcpy(bench.calibration.rig_sha256, bench.rig.sha256, sizeof bench.rig.sha256);
    bench.calibration.read_after_s = bench.rig.read_after_s;
    bench.calibration.window_s = bench.rig.window_s;
    write_lines(160, false);
    answered(1, 0);
    answered(2, 0);
    for (int i = 0; i < 160; i++) {
        double arrival_s = 1000 + 0.1 * i + (i >= 120 ? 5 : 0);
        record((struct recorded){
            .kind = RECORDED_BYTES, .offset = line_end[i + 1], .arrival_s = arrival_s});
    }
    assert_true(repeat(&failure));
    assert_int_equal(faults, 1);
    assert_non_null(strstr(fault, "no line came for 5.1 s"));
    for (size_t i = 2; i < count; i++) {
        recorded[i].arrival_s = (double)NAN; /* as runs of before it was kept */
    }
    assert_true(repeat(&failure));
    assert_int_equal(faults, 1);
}

/* What the run told of its readings, as its journal has it. */
static void keep(void *context, const struct up_event *event) {
    json_t *journal = context;
    if (event->kind == UP_EVENT_PLATEAU) {
        json_array_append_new(journal, up_event_to_json(event, 0));
    }
}

static bool try_again(const struct resumed_run *from, struct up_failure *failure) {
    const struct recorder recorder = {.from = from, .item = &bench.plan.item};
    *failure = (struct up_failure){0};
    up_procedure_destroy(procedure);
    assert_true(up_procedure_measure(&bench.plan, &procedure, NULL));
    return recorder_try(&recorder, procedure, failure);
}

/* A stream of other readings than the journal tells, though as many: the run is not gone
   on with. What was begun with it is tried before anything is stored. */
static void a_stream_of_other_readings_is_not_gone_on_with(void **state) {
    struct up_failure failure;
    struct resumed_run *from = up_allocate(1, sizeof *from);
    (void)state;
    write_lines(1200, true);
    answered(1, 0);
    answered(2, 0);
    from->run.rig = bench.rig;
    from->run.recorded = recorded;
    from->run.files.stream = bytes;
    from->run.files.length = length;
    from->run.files.journal = json_array();
    from->run.count = count;
    assert_true(up_procedure_measure(&bench.plan, &procedure, NULL));
    struct up_reader reader;
    const struct recording first = {.rig = &bench.rig,
                                    .bytes = bytes,
                                    .length = length,
                                    .recorded = recorded,
                                    .count = count,
                                    .context = from->run.files.journal,
                                    .event = keep};
    assert_true(repeat_run(procedure, &first, &reader, &failure));
    assert_true(json_array_size(from->run.files.journal) > 0);
    if (!try_again(from, &failure)) {
        fail_msg("%s", failure.text);
    }
    length = 0;
    level = 100100;
    write_lines(1200, true);
    level = LEVEL;
    from->run.files.length = length;
    assert_false(try_again(from, &failure));
    assert_non_null(strstr(failure.text, "does not give the readings of its journal"));
    json_decref(from->run.files.journal);
    free(from);
}

static void a_journal_of_other_bytes_is_refused(void **state) {
    struct up_failure failure;
    (void)state;
    write_lines(100, true);
    answered(1, 0);
    noted(NOTE_LOST, 60);
    noted(NOTE_BACK, 100);
    assert_true(repeat(&failure));
    length = line_end[99]; /* cut */
    assert_false(repeat(&failure));
    assert_non_null(strstr(failure.text, "do not belong together"));
    length = line_end[100];
    recorded[2].offset = line_end[59]; /* before what was fed already */
    assert_false(repeat(&failure));
    assert_non_null(strstr(failure.text, "do not belong together"));
}

/* As the journal has it. */
static void answered_in_words(unsigned id, enum up_answer_word word, int lines) {
    const struct up_reply reply = {.kind = UP_REPLY_ANSWER, .id = id, .word = word};
    struct recorded entry;
    json_t *json = answer_to_json(&reply, 1);
    assert_true(answer_from_json(json, &entry));
    json_decref(json);
    entry.offset = line_end[lines];
    record(entry);
}

static const char *noted_after(enum up_answer_word word) {
    struct up_failure failure;
    length = count = 0;
    memset(remark, 0, sizeof remark);
    write_lines(1200, true);
    answered_in_words(1, UP_ANSWER_DONE, 0); /* the ballast */
    answered_in_words(2, UP_ANSWER_DONE,
                      0); /* the empty hook, then the item: the load stands still */
    answered_in_words(3, UP_ANSWER_DONE, 400);
    answered_in_words(4, word, 800);
    if (!repeat(&failure)) {
        fail_msg("%s", failure.text);
    }
    return remark;
}

/* A run that goes on, or is replayed, takes what somebody accepted in it. */
static void what_was_accepted_is_accepted_again(void **state) {
    (void)state;
    assert_non_null(strstr(noted_after(UP_ANSWER_ACCEPT), "accepted by the operator"));
    assert_string_equal(noted_after(UP_ANSWER_DONE), "");
    json_t *json = json_pack("{s:s, s:i, s:s}", "event", "answer", "id", 4, "answer", "Accept");
    struct recorded entry;
    assert_false(answer_from_json(json, &entry));
    json_decref(json);
}

static void an_answer_that_is_not_taken_again_is_refused(void **state) {
    struct up_failure failure;
    (void)state;
    write_lines(10, true);
    answered(7, 5);
    assert_false(repeat(&failure));
    assert_non_null(strstr(failure.text, "does not repeat"));
}

#define RUN(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void) {
    const struct CMUnitTest tests[] = {
        RUN(an_absence_is_not_a_lost_cable),
        RUN(a_stop_ends_it),
        RUN(stalls_are_found_by_when_the_bytes_came),
        RUN(a_stream_of_other_readings_is_not_gone_on_with),
        RUN(a_journal_of_other_bytes_is_refused),
        RUN(what_was_accepted_is_accepted_again),
        RUN(an_answer_that_is_not_taken_again_is_refused),
    };
    return cmocka_run_group_tests_name("repeat", tests, NULL, NULL);
}
