/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lines at the bench on a chip that is a piece of shared memory: what the kernel would be asked is
   seen, processes that die included. tests/kernel/ has real ones. */
#include <errno.h>
#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../firmware-host/operator/panel_internal.h"
#include "operator/operator.h"
#include "text/clock.h"

/* ---- the chip: this test's instead of libgpiod's ---- */

enum { LINES = 16 };

static struct fake {
    bool level[LINES]; /* logical: of an input what is seen, of an output what is driven */
    bool held[LINES], output[LINES], foreign[LINES], gone[LINES], denied[LINES];
    int writes[LINES];
    bool no_access;
} * fake;
static int edges[LINES][2];

struct gpio_chip {
    int unused;
};
struct gpio_line {
    unsigned at;
    struct gpio_chip *chip;
};

struct gpio_chip *gpio_open(const char *path) {
    if (strcmp(path, "/dev/gpiochip0") != 0) {
        errno = ENOENT;
        return NULL;
    }
    if (fake->no_access) {
        errno = EACCES;
        return NULL;
    }
    return calloc(1, sizeof(struct gpio_chip));
}

void gpio_close(struct gpio_chip *chip) {
    free(chip);
}

bool gpio_find(struct gpio_chip *chip, const char *name, unsigned *offset) {
    (void)chip;
    return sscanf(name, "LINE%u", offset) == 1 && *offset < LINES;
}

bool gpio_inspect(struct gpio_chip *chip, unsigned offset, struct gpio_facts *facts) {
    (void)chip;
    if (offset >= LINES) {
        return false;
    }
    *facts = (struct gpio_facts){.is_used = fake->held[offset] || fake->foreign[offset],
                                 .is_output = fake->output[offset]};
    snprintf(facts->consumer, sizeof facts->consumer, "%s", fake->foreign[offset] ? "kettle" : "");
    return true;
}

const char *gpio_label(struct gpio_chip *chip) {
    (void)chip;
    return "pretended";
}

struct gpio_line *gpio_request(struct gpio_chip *chip, unsigned offset, bool is_output,
                               enum up_bias bias, bool active_low) {
    struct gpio_line *line = calloc(1, sizeof *line);
    (void)bias;
    (void)active_low;
    if (fake->denied[offset]) {
        free(line);
        errno = EINVAL;
        return NULL;
    }
    fake->held[offset] = true;
    fake->output[offset] = is_output;
    if (is_output) {
        fake->level[offset] = false;
    }
    *line = (struct gpio_line){offset, chip};
    return line;
}

void gpio_release(struct gpio_line *line) {
    if (line != NULL) {
        fake->held[line->at] = false; /* the level stays: a chip that keeps it */
        gpio_close(line->chip);
        free(line);
    }
}

int gpio_get(struct gpio_line *line) {
    return fake->gone[line->at] ? -1 : fake->level[line->at];
}

bool gpio_set(struct gpio_line *line, bool active) {
    fake->level[line->at] = active;
    fake->writes[line->at]++;
    return true;
}

int gpio_descriptor(struct gpio_line *line) {
    return edges[line->at][0];
}

int gpio_next_edge(struct gpio_line *line, struct gpio_edge *edge) {
    struct pollfd entry = {.fd = edges[line->at][0], .events = POLLIN};
    return poll(&entry, 1, 0) > 0 ? read(entry.fd, edge, sizeof *edge) == (ssize_t)sizeof *edge : 0;
}

/* ---- a bench ---- */

enum { PEDAL = 1, FLOAT, SHAKER, BUZZER, GO, FAULT, ALL };

static const char *const RIG =
    "[rig]\nid = x\n[line]\nlayout = bare\nrate_hz = 10\n"
    "[pedal]\nline = gpiochip0 LINE1\nbias = pull-up\nactive = low\n"
    "[float]\nline = pretended 2\nbias = none\nactive = high\ndebounce_ms = 50\n"
    "[shaker]\nline = gpiochip0 3\nactive = high\nlimit_s = 0.3\n"
    "[buzzer]\nline = gpiochip0 4\nactive = high\n"
    "[lamps]\nactive = high\nyour_turn = gpiochip0 5\nfault = gpiochip0 6\nall = gpiochip0 7\n";

static struct up_rig rig;

static int begin(void **state) {
    (void)state;
    fake = mmap(NULL, sizeof *fake, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    assert_true(fake != MAP_FAILED);
    for (int i = 0; i < LINES; i++) {
        assert_int_equal(pipe(edges[i]), 0);
    }
    fake->level[FLOAT] = true;
    assert_true(up_rig_parse("x.ini", RIG, &rig, NULL));
    return 0;
}

static int end(void **state) {
    (void)state;
    for (int i = 0; i < LINES; i++) {
        close(edges[i][0]);
        close(edges[i][1]);
    }
    return munmap(fake, sizeof *fake);
}

static void sleep_s(double seconds) {
    struct timespec time = {(time_t)seconds, (long)(1e9 * (seconds - floor(seconds)))};
    nanosleep(&time, NULL);
}

static bool becomes(const bool *level, bool wanted, double patience_s) {
    double until_s = up_monotonic_s() + patience_s;
    while (*(const volatile bool *)level != wanted && up_monotonic_s() < until_s) {
        sleep_s(0.005);
    }
    return *(const volatile bool *)level == wanted;
}

static unsigned held(void) {
    unsigned count = 0;
    for (int i = 0; i < LINES; i++) {
        count += fake->held[i];
    }
    return count;
}

static struct up_panel *open_lines(void) {
    struct up_panel *lines = NULL;
    struct up_failure failure = {0};
    if (!up_panel_open(&rig, &lines, &failure)) {
        fail_msg("%s", failure.text);
    }
    return lines;
}

static void lines_are_taken_and_given_back_dark(void **state) {
    struct up_panel *lines = open_lines();
    (void)state;
    assert_int_equal(held(), 7);
    assert_true(fake->output[SHAKER] && fake->output[ALL] && !fake->output[PEDAL]);
    gpio_set(lines->lamp[UP_LAMP_ALL], true);
    gpio_set(lines->buzzer, true);
    up_panel_close(lines);
    assert_true(becomes(&fake->held[SHAKER], false, 1));
    assert_int_equal(held(), 0);
    assert_false(fake->level[ALL] || fake->level[BUZZER] || fake->level[SHAKER]);
}

static void a_rig_without_lines_has_none(void **state) {
    struct up_rig bare;
    struct up_panel *lines = NULL;
    (void)state;
    assert_true(
        up_rig_parse("x.ini", "[rig]\nid = x\n[line]\nlayout = bare\nrate_hz = 10\n", &bare, NULL));
    assert_true(up_panel_open(&bare, &lines, NULL));
    assert_null(lines);
    up_panel_close(lines);
}

static void refuses(enum up_status status, const char *words) {
    struct up_panel *lines = NULL;
    struct up_failure failure = {0};
    assert_false(up_panel_open(&rig, &lines, &failure));
    assert_null(lines);
    assert_int_equal(failure.status, status);
    if (strstr(failure.text, words) == NULL) {
        fail_msg("%s", failure.text);
    }
    assert_int_equal(held(), 0); /* what was taken before is given back */
}

static void what_cannot_be_had_is_told(void **state) {
    (void)state;
    snprintf(rig.pedal.input.at.chip, UP_GPIO_SIZE, "gpiochip3");
    refuses(UP_STATUS_UNABLE, "[pedal] line = gpiochip3 LINE1: there is no GPIO chip");
    snprintf(rig.pedal.input.at.chip, UP_GPIO_SIZE, "gpiochip0");
    snprintf(rig.pedal.input.at.line, UP_GPIO_SIZE, "LINE77");
    refuses(UP_STATUS_WRONG_INPUT, "the chip (pretended) has no such line");
    snprintf(rig.pedal.input.at.line, UP_GPIO_SIZE, "99999999999");
    refuses(UP_STATUS_WRONG_INPUT, "the chip (pretended) has no such line");
    snprintf(rig.pedal.input.at.line, UP_GPIO_SIZE, "7");
    refuses(UP_STATUS_WRONG_INPUT, "an output cannot be an input too");
    snprintf(rig.pedal.input.at.line, UP_GPIO_SIZE, "1");
    fake->foreign[FAULT] = true;
    refuses(UP_STATUS_UNABLE, "in use, as an input, by kettle");
    fake->foreign[FAULT] = false;
    fake->denied[ALL] = true;
    refuses(UP_STATUS_UNABLE, "the kernel does not give it as an output: Invalid argument");
    fake->denied[ALL] = false;
    fake->denied[SHAKER] = true; /* asked for by its guard */
    refuses(UP_STATUS_UNABLE, "[shaker] line = gpiochip0 3: the kernel does not give it");
    fake->denied[SHAKER] = false;
    fake->no_access = true;
    refuses(UP_STATUS_UNABLE, "no permission for that chip");
    fake->no_access = false;
    up_panel_close(open_lines());
}

/* ---- the pedal ---- */

static void tell_edge(bool down) {
    struct gpio_edge edge = {down, up_monotonic_s()};
    fake->level[PEDAL] = down;
    assert_int_equal(write(edges[PEDAL][1], &edge, sizeof edge), sizeof edge);
}

static enum up_pedal_word next_word(struct up_panel *lines, double patience_s) {
    double until_s = up_monotonic_s() + patience_s;
    enum up_pedal_word word;
    while ((word = panel_pedal_word(lines)) == UP_PEDAL_NOTHING && up_monotonic_s() < until_s) {
        sleep_s(0.005);
    }
    return word;
}

static void a_press_is_heard_even_where_its_last_edge_was_lost(void **state) {
    struct up_panel *lines = open_lines();
    (void)state;
    panel_listen(lines);
    up_pedal_asks(&lines->press, up_monotonic_s() - 1);
    tell_edge(true);
    sleep_s(0.1);
    tell_edge(false);
    assert_int_equal(next_word(lines, 2), UP_PEDAL_SHORT);
    tell_edge(true);
    assert_int_equal(next_word(lines, 0.1), UP_PEDAL_NOTHING);
    fake->level[PEDAL] = false; /* released, and no edge reported */
    assert_int_equal(next_word(lines, 2), UP_PEDAL_SHORT);
    up_panel_close(lines);
}

static void what_the_pedal_did_before_is_forgotten(void **state) {
    struct up_panel *lines = open_lines();
    struct pollfd entry[PANEL_POLLED];
    (void)state;
    tell_edge(true);
    tell_edge(false);
    panel_entries(lines, entry);
    assert_int_equal(entry[0].fd, -1); /* nobody listens: it must not wake us */
    panel_listen(lines);
    panel_entries(lines, entry);
    assert_int_equal(entry[0].fd, edges[PEDAL][0]);
    assert_int_equal(poll(entry, 1, 0), 0);
    up_pedal_asks(&lines->press, up_monotonic_s());
    assert_int_equal(next_word(lines, 0.6), UP_PEDAL_NOTHING);
    up_panel_close(lines);
}

static void a_pedal_that_is_pulled_out_is_told_once(void **state) {
    struct up_panel *lines = open_lines();
    struct pollfd entry[PANEL_POLLED];
    (void)state;
    panel_listen(lines);
    fake->gone[PEDAL] = true;
    assert_int_equal(panel_pedal_word(lines), UP_PEDAL_NOTHING);
    assert_non_null(strstr(lines->lost, "the pedal's line is gone"));
    lines->lost = NULL;
    assert_int_equal(panel_pedal_word(lines), UP_PEDAL_NOTHING);
    assert_null(lines->lost);
    panel_entries(lines, entry);
    assert_int_equal(entry[0].fd, -1);
    up_panel_close(lines);
}

/* ---- the water ---- */

static bool changes(struct up_panel *lines, double patience_s) {
    double until_s = up_monotonic_s() + patience_s;
    bool changed;
    while (!(changed = panel_water_changed(lines)) && up_monotonic_s() < until_s) {
        sleep_s(0.005);
    }
    return changed;
}

static void the_water_is_too_low_once_it_has_been_for_a_while(void **state) {
    struct up_panel *lines = open_lines();
    (void)state;
    assert_false(changes(lines, 0.1));
    fake->level[FLOAT] = false; /* a wave */
    assert_false(changes(lines, 0.02));
    fake->level[FLOAT] = true;
    assert_false(changes(lines, 0.1));
    fake->level[FLOAT] = false;
    assert_true(changes(lines, 1) && lines->water_is_low);
    fake->level[FLOAT] = true;
    assert_true(changes(lines, 1) && !lines->water_is_low);
    up_panel_close(lines);
    fake->level[FLOAT] = false; /* too low from the first */
    lines = open_lines();
    assert_true(changes(lines, 1) && lines->water_is_low);
    up_panel_close(lines);
}

/* ---- the shaker ---- */

static void tell(struct up_panel *lines, enum up_event_kind kind, enum up_action action) {
    struct up_event event = {.kind = kind, .ask = {.action = action}};
    indicator_event(lines, &event, UP_CLASS_UNDECIDED);
}

static void the_shaker_runs_in_its_step_and_no_longer_than_its_limit(void **state) {
    struct up_panel *lines = open_lines();
    double begun_s, took_s;
    (void)state;
    tell(lines, UP_EVENT_ASK, UP_ACTION_IMMERSE);
    assert_false(becomes(&fake->level[SHAKER], true, 0.1));
    begun_s = up_monotonic_s();
    tell(lines, UP_EVENT_ASK, UP_ACTION_SHAKE);
    assert_true(becomes(&fake->level[SHAKER], true, 1));
    assert_true(becomes(&fake->level[SHAKER], false, 2));
    took_s = up_monotonic_s() - begun_s;
    assert_true(took_s > 0.29 && took_s < 1);
    tell(lines, UP_EVENT_ASK, UP_ACTION_SHAKE);
    assert_true(becomes(&fake->level[SHAKER], true, 1));
    indicator_answered(lines);
    assert_true(becomes(&fake->level[SHAKER], false, 0.2));
    tell(lines, UP_EVENT_ASK, UP_ACTION_SHAKE);
    assert_true(becomes(&fake->level[SHAKER], true, 1));
    tell(lines, UP_EVENT_FAULT, UP_ACTION_SHAKE);
    assert_true(becomes(&fake->level[SHAKER], false, 0.2));
    up_panel_close(lines);
}

/* In a process of its own, which then ends as it must. */
static void the_shaker_is_off_after(void (*ending)(void), double limit_s) {
    pid_t child = fork();
    int status = 0;
    assert_true(child >= 0);
    if (child == 0) {
        signal(SIGINT, SIG_DFL); /* ignored in the background and under nohup */
        rig.shaker_limit_s = limit_s;
        tell(open_lines(), UP_EVENT_ASK, UP_ACTION_SHAKE);
        while (!*(volatile bool *)&fake->level[SHAKER]) {
            sleep_s(0.001);
        }
        ending();
        _exit(3);
    }
    assert_true(becomes(&fake->level[SHAKER], true, 2));
    assert_true(becomes(&fake->level[SHAKER], false, 2));
    kill(child, SIGKILL);
    waitpid(child, &status, 0);
    assert_true(becomes(&fake->held[SHAKER], false, 2));
    memset(fake->held, 0, sizeof fake->held); /* of one that died as it was */
}

static void wait_a_little(void) {
    sleep_s(0.1);
}

static void kill_outright(void) {
    wait_a_little();
    raise(SIGKILL);
}

static void interrupt(void) {
    wait_a_little();
    raise(SIGINT);
}

static void crash(void) {
    wait_a_little();
    signal(SIGSEGV, SIG_DFL); /* cmocka has a handler */
    raise(SIGSEGV);
}

static void stop_still(void) {
    raise(SIGSTOP);
}

static void the_shaker_is_off_whatever_ends_the_program(void **state) {
    (void)state;
    the_shaker_is_off_after(kill_outright, 60);
    the_shaker_is_off_after(interrupt, 60);
    the_shaker_is_off_after(crash, 60);
    the_shaker_is_off_after(stop_still, 0.3);
}

/* ---- lamps ---- */

static void one_lamp_says_what_has_none_of_its_own(void **state) {
    struct up_panel *lines = open_lines();
    double now_s;
    (void)state;
    tell(lines, UP_EVENT_ASK, UP_ACTION_IMMERSE);
    indicator_tick(lines, up_monotonic_s());
    assert_true(fake->level[GO] && !fake->level[ALL] && fake->level[BUZZER]);
    indicator_answered(lines);
    now_s = up_monotonic_s();
    indicator_tick(lines, now_s); /* settling: a second on, a second off */
    assert_true(!fake->level[GO] && fake->level[ALL]);
    indicator_tick(lines, now_s + 1.2);
    assert_false(fake->level[ALL]);
    tell(lines, UP_EVENT_FAULT, UP_ACTION_IMMERSE);
    now_s = up_monotonic_s();
    indicator_tick(lines, now_s);
    assert_true(fake->level[FAULT] && !fake->level[ALL]);
    indicator_tick(lines, now_s + 0.15);
    assert_false(fake->level[FAULT]);
    indicator_tick(lines, now_s + 3.5); /* over, for one that is reported once */
    assert_false(fake->level[FAULT]);
    indicator_fault(lines, true);
    now_s = up_monotonic_s();
    indicator_tick(lines, now_s + 60.05); /* for one that stands it is not */
    assert_true(fake->level[FAULT]);
    indicator_tick(lines, now_s + 60.15);
    assert_false(fake->level[FAULT]);
    indicator_fault(lines, false);
    up_panel_close(lines);
}

static void your_turn_winks_on_its_lamp(void **state) {
    struct up_panel *lines = open_lines();
    double now_s;
    (void)state;
    tell(lines, UP_EVENT_ASK, UP_ACTION_LIFT_OUT);
    now_s = up_monotonic_s();
    indicator_tick(lines, now_s + 1.2);
    assert_true(fake->level[GO]);
    assert_true(fabs(indicator_due_s(lines, now_s + 1.2) - now_s - 1.3) < 0.05);
    indicator_tick(lines, now_s + 1.4);
    assert_false(fake->level[GO]);
    indicator_tick(lines, now_s + 1.75);
    assert_true(fake->level[GO]);
    tell(lines, UP_EVENT_ASK, UP_ACTION_SHAKE); /* another one begins its rhythm anew */
    now_s = up_monotonic_s();
    indicator_tick(lines, now_s + 1.4);
    assert_false(fake->level[GO]);
    indicator_tick(lines, now_s + 1.75);
    assert_false(fake->level[GO]);
    up_panel_close(lines);
}

/* Short, long: it floats, and is taken off. */
static void a_class_that_stands_is_shown_while_it_hangs(void **state) {
    struct up_event event = {.kind = UP_EVENT_ASK, .ask = {.action = UP_ACTION_LIFT_OUT}};
    struct up_panel *lines = open_lines();
    double now_s;
    (void)state;
    indicator_event(lines, &event, UP_CLASS_POSITIVE);
    now_s = up_monotonic_s();
    indicator_tick(lines, now_s + 0.1);
    assert_true(fake->level[ALL] && !fake->level[GO] && fake->level[BUZZER]);
    indicator_tick(lines, now_s + 0.3);
    assert_false(fake->level[ALL]);
    indicator_tick(lines, now_s + 1.3);
    assert_true(fake->level[ALL]);
    event.ask.action = UP_ACTION_IMMERSE; /* the next one: hang it */
    indicator_event(lines, &event, UP_CLASS_POSITIVE);
    indicator_tick(lines, up_monotonic_s() + 0.3);
    assert_true(fake->level[GO] && !fake->level[ALL]);
    up_panel_close(lines);
}

static void a_class_is_shown_for_as_long_as_the_rig_says(void **state) {
    static const volatile sig_atomic_t signalled = 0;
    struct up_panel *lines = open_lines();
    double begun_s = up_monotonic_s(), took_s;
    (void)state;
    rig.result_s = 0.4;
    up_panel_show_class(lines, UP_CLASS_POSITIVE, &signalled);
    took_s = up_monotonic_s() - begun_s;
    assert_true(took_s > 0.39 && took_s < 1);
    assert_true(fake->writes[ALL] >= 2); /* lit, and out again */
    assert_false(fake->level[ALL]);
    up_panel_close(lines);
}

/* rig-check with a foot, a stone or a wrong `active` on the pedal: said at once, and found. */
static void a_walk_with_the_pedal_down_says_so_at_once(void **state) {
    static const volatile sig_atomic_t signalled;
    struct up_findings findings = {0};
    struct up_panel *lines;
    struct up_operator *op;
    FILE *output = tmpfile();
    int input[2];
    char said[4096] = "";
    (void)state;
    assert_int_equal(pipe(input), 0);
    close(input[1]); /* nobody answers */
    fake->level[PEDAL] = true;
    lines = open_lines();
    op = up_operator_create(UP_OPERATOR_JSON, input[0], output);
    assert_false(up_panel_check(lines, op, &signalled, &findings));
    rewind(output);
    assert_true(fread(said, 1, sizeof said - 1, output) > 0);
    assert_true(strstr(said, "down from the start") < strstr(said, "pedal short"));
    assert_non_null(strstr(said, "down from the start"));
    assert_int_equal(findings.count, 1);
    assert_false(findings.list[0].good);
    up_operator_destroy(op);
    up_panel_close(lines);
    fclose(output);
    close(input[0]);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(lines_are_taken_and_given_back_dark, begin, end),
        cmocka_unit_test_setup_teardown(a_rig_without_lines_has_none, begin, end),
        cmocka_unit_test_setup_teardown(what_cannot_be_had_is_told, begin, end),
        cmocka_unit_test_setup_teardown(a_press_is_heard_even_where_its_last_edge_was_lost, begin,
                                        end),
        cmocka_unit_test_setup_teardown(what_the_pedal_did_before_is_forgotten, begin, end),
        cmocka_unit_test_setup_teardown(a_pedal_that_is_pulled_out_is_told_once, begin, end),
        cmocka_unit_test_setup_teardown(the_water_is_too_low_once_it_has_been_for_a_while, begin,
                                        end),
        cmocka_unit_test_setup_teardown(the_shaker_runs_in_its_step_and_no_longer_than_its_limit,
                                        begin, end),
        cmocka_unit_test_setup_teardown(the_shaker_is_off_whatever_ends_the_program, begin, end),
        cmocka_unit_test_setup_teardown(your_turn_winks_on_its_lamp, begin, end),
        cmocka_unit_test_setup_teardown(a_class_that_stands_is_shown_while_it_hangs, begin, end),
        cmocka_unit_test_setup_teardown(one_lamp_says_what_has_none_of_its_own, begin, end),
        cmocka_unit_test_setup_teardown(a_class_is_shown_for_as_long_as_the_rig_says, begin, end),
        cmocka_unit_test_setup_teardown(a_walk_with_the_pedal_down_says_so_at_once, begin, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
