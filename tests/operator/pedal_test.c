/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pedal in virtual time: what a foot and a bouncing contact do, and what it is taken for. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "chance.h"
#include "operator/panel.h"

static const struct up_pedal_rule rule = {
    .input = {.debounce_s = 0.02}, .long_s = 0.8, .double_s = 0.4, .stuck_s = 8};

enum { SAID_MAX = 32 };

struct foot {
    struct up_pedal pedal;
    double now_s;
    bool down;
    enum up_pedal_word said[SAID_MAX];
    double said_s[SAID_MAX];
    int says;
};

static void poll_foot(struct foot *foot) {
    enum up_pedal_word word;
    while ((word = up_pedal_push(&foot->pedal, foot->now_s, foot->down)) != UP_PEDAL_NOTHING) {
        assert_true(foot->says < SAID_MAX);
        foot->said_s[foot->says] = foot->now_s;
        foot->said[foot->says++] = word;
    }
}

/* As the session does: looks when something is due, and every 200 ms. */
static void wait(struct foot *foot, double seconds) {
    double end_s = foot->now_s + seconds;
    while (foot->now_s < end_s) {
        double due_s = up_pedal_due_s(&foot->pedal);
        double next_s = fmin(fmin(end_s, foot->now_s + 0.2), fmax(due_s, foot->now_s + 1e-6));
        foot->now_s = next_s;
        poll_foot(foot);
    }
}

static void set(struct foot *foot, bool down) {
    foot->down = down;
    poll_foot(foot);
}

static void step_on(struct foot *foot, double seconds) {
    set(foot, true);
    wait(foot, seconds);
    set(foot, false);
}

static void begin(struct foot *foot, bool down) {
    *foot = (struct foot){.now_s = 100, .down = down};
    up_pedal_begin(&foot->pedal, &rule, foot->now_s, down);
}

static void ask(struct foot *foot) {
    up_pedal_asks(&foot->pedal, foot->now_s);
}

/* Of a question that has stood there for a while. */
static void has_asked(struct foot *foot) {
    up_pedal_asks(&foot->pedal, foot->now_s - 1);
}

#define assert_said(foot, ...)                                                                     \
    do {                                                                                           \
        const enum up_pedal_word wanted[] = {__VA_ARGS__};                                         \
        assert_int_equal((foot)->says, sizeof wanted / sizeof wanted[0]);                          \
        for (int n = 0; n < (foot)->says; n++) {                                                   \
            assert_int_equal((foot)->said[n], wanted[n]);                                          \
        }                                                                                          \
    } while (0)

static void a_short_press_is_told_when_no_second_follows(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    wait(&foot, 3);
    step_on(&foot, 0.25);
    wait(&foot, 0.39);
    assert_int_equal(foot.says, 0);
    wait(&foot, 0.1);
    assert_said(&foot, UP_PEDAL_SHORT);
    wait(&foot, 60);
    assert_said(&foot, UP_PEDAL_SHORT);
}

static void a_long_press_is_told_when_it_is_let_go(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    step_on(&foot, 1.5);
    assert_said(&foot, UP_PEDAL_HELD);
    assert_true(fabs(foot.said_s[0] - 100.8) < 0.001);
    wait(&foot, 5);
    assert_said(&foot, UP_PEDAL_HELD, UP_PEDAL_LONG);
}

static void the_thresholds_are_the_rules(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    step_on(&foot, 0.79);
    wait(&foot, 2);
    step_on(&foot, 0.81);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_SHORT, UP_PEDAL_HELD, UP_PEDAL_LONG);
}

static void two_presses_are_double_and_nothing_else(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    step_on(&foot, 0.2);
    wait(&foot, 0.3);
    step_on(&foot, 2); /* however long the second one lasts */
    wait(&foot, 5);
    assert_said(&foot, UP_PEDAL_DOUBLE);
    step_on(&foot, 0.2);
    wait(&foot, 0.5); /* too far apart: two short ones */
    step_on(&foot, 0.2);
    wait(&foot, 5);
    assert_said(&foot, UP_PEDAL_DOUBLE, UP_PEDAL_SHORT, UP_PEDAL_SHORT);
}

/* Not polled between the two: the first is reported before the second begins to count. */
static void edges_that_are_read_late_say_the_same(void **state) {
    static const double edge_s[] = {101, 101.2, 103, 103.2, 105, 106.5, 108, 108.2, 108.4, 108.6};
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    for (size_t i = 0; i < sizeof edge_s / sizeof edge_s[0]; i++) {
        foot.now_s = edge_s[i];
        set(&foot, i % 2 == 0);
    }
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_SHORT, UP_PEDAL_SHORT, UP_PEDAL_LONG, UP_PEDAL_DOUBLE);
}

static void a_press_from_before_the_question_is_no_answer(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    step_on(&foot, 0.2); /* nothing is asked */
    wait(&foot, 2);
    set(&foot, true); /* down before, up after */
    wait(&foot, 0.2);
    ask(&foot);
    wait(&foot, 0.2);
    set(&foot, false);
    wait(&foot, 2);
    assert_int_equal(foot.says, 0);
    step_on(&foot, 0.2); /* its end was before, its telling after */
    wait(&foot, 0.2);
    ask(&foot);
    wait(&foot, 2);
    assert_int_equal(foot.says, 0);
    ask(&foot); /* nobody has read it by then */
    wait(&foot, 0.3);
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_int_equal(foot.says, 0);
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_SHORT);
}

/* It is no half of two presses either. */
static void a_press_under_way_as_the_question_comes_is_spent(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    set(&foot, true);
    wait(&foot, 0.2);
    ask(&foot);
    wait(&foot, 0.5);
    set(&foot, false);
    wait(&foot, 0.2);
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_SHORT);
}

/* Nobody looked while it was stuck: what comes free then answers nothing. */
static void a_press_too_long_for_a_foot_says_nothing(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    foot.now_s = 101;
    set(&foot, true);
    foot.now_s = 110;
    set(&foot, false);
    wait(&foot, 2);
    assert_int_equal(foot.says, 0);
}

/* Who wanted to stop has not said "done" to a question that came between the two. */
static void a_question_between_two_presses_parts_them_not(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    step_on(&foot, 0.2);
    wait(&foot, 0.1);
    ask(&foot);
    wait(&foot, 0.1);
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_DOUBLE);
}

static void two_presses_are_heard_without_a_question(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    step_on(&foot, 0.2);
    wait(&foot, 0.2);
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_DOUBLE);
}

static void a_pedal_that_stays_down_is_a_fault_and_no_answer(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    set(&foot, true);
    wait(&foot, 60);
    assert_said(&foot, UP_PEDAL_HELD, UP_PEDAL_STUCK);
    assert_true(fabs(foot.said_s[1] - 108) < 0.001);
    set(&foot, false);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_HELD, UP_PEDAL_STUCK, UP_PEDAL_FREED);
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_HELD, UP_PEDAL_STUCK, UP_PEDAL_FREED, UP_PEDAL_SHORT);
}

static void one_that_is_down_from_the_first_is_told_too(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, true);
    has_asked(&foot);
    wait(&foot, 7.9);
    assert_int_equal(foot.says, 0);
    wait(&foot, 1);
    assert_said(&foot, UP_PEDAL_STUCK);
}

/* Contacts bounce at both ends, for a few milliseconds (seed fixed). */
static void bounces_are_one_press(void **state) {
    struct chance *chance = chance_begin(5);
    (void)state;
    for (int round = 0; round < 200; round++) {
        struct foot foot;
        begin(&foot, false);
        has_asked(&foot);
        for (int end = 0; end < 2; end++) {
            for (int i = 0; i < 12; i++) {
                foot.now_s += 0.001 + 1e-6 * (double)chance_below(chance, 4000);
                set(&foot, i % 2 == 0);
            }
            set(&foot, end == 0);
            wait(&foot, 0.3);
        }
        wait(&foot, 1);
        assert_said(&foot, UP_PEDAL_SHORT);
    }
    chance_end(chance);
}

static void a_spark_is_no_press(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    for (int i = 0; i < 50; i++) {
        step_on(&foot, 0.015);
        wait(&foot, 0.05);
    }
    assert_int_equal(foot.says, 0);
}

/* The queue of edges was full: the last one, or any one, never came. A look finds the level. */
static void lost_edges_are_found_by_looking(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    foot.now_s = 101;
    set(&foot, true);
    foot.now_s = 101.1; /* released here, not reported */
    foot.down = false;
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_SHORT);
    foot.down = true; /* pressed, not reported, and released, reported */
    wait(&foot, 0.3);
    set(&foot, false);
    wait(&foot, 2);
    assert_said(&foot, UP_PEDAL_SHORT, UP_PEDAL_SHORT);
}

static void nothing_is_due_while_nothing_moves(void **state) {
    struct foot foot;
    (void)state;
    begin(&foot, false);
    has_asked(&foot);
    assert_true(isinf(up_pedal_due_s(&foot.pedal)));
    step_on(&foot, 0.2);
    wait(&foot, 2);
    assert_true(isinf(up_pedal_due_s(&foot.pedal)));
}

static void a_level_counts_once_it_has_stood(void **state) {
    struct up_contact contact;
    (void)state;
    up_contact_begin(&contact, 2, 0, true);
    assert_false(up_contact_push(&contact, 1, false)); /* a wave */
    assert_false(up_contact_push(&contact, 2, true));
    assert_false(up_contact_push(&contact, 10, false));
    assert_false(up_contact_push(&contact, 11.9, false));
    assert_true(up_contact_push(&contact, 12.1, false));
    assert_false(contact.level);
    assert_true(contact.since_s == 10);
    assert_false(up_contact_push(&contact, 13, false));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_short_press_is_told_when_no_second_follows),
        cmocka_unit_test(a_long_press_is_told_when_it_is_let_go),
        cmocka_unit_test(the_thresholds_are_the_rules),
        cmocka_unit_test(two_presses_are_double_and_nothing_else),
        cmocka_unit_test(edges_that_are_read_late_say_the_same),
        cmocka_unit_test(a_press_from_before_the_question_is_no_answer),
        cmocka_unit_test(a_press_under_way_as_the_question_comes_is_spent),
        cmocka_unit_test(a_press_too_long_for_a_foot_says_nothing),
        cmocka_unit_test(a_question_between_two_presses_parts_them_not),
        cmocka_unit_test(two_presses_are_heard_without_a_question),
        cmocka_unit_test(a_pedal_that_stays_down_is_a_fault_and_no_answer),
        cmocka_unit_test(one_that_is_down_from_the_first_is_told_too),
        cmocka_unit_test(bounces_are_one_press),
        cmocka_unit_test(a_spark_is_no_press),
        cmocka_unit_test(lost_edges_are_found_by_looking),
        cmocka_unit_test(nothing_is_due_while_nothing_moves),
        cmocka_unit_test(a_level_counts_once_it_has_stood),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
