/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rhythms in virtual time: each says what it is without its colour. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "operator/panel.h"

enum { ANALYSES = 1200, SIGNALS = UP_LAMP_ALL + UP_TURNS - 1 };

/* All states, and behind them the other turns. */
static enum up_lamp lamp_at(int signal) {
    return signal < UP_LAMP_ALL ? (enum up_lamp)signal : UP_LAMP_YOUR_TURN;
}

static enum up_turn turn_at(int signal) {
    return signal < UP_LAMP_ALL ? UP_TURN_HANG : (enum up_turn)(signal - UP_LAMP_ALL + 1);
}

/* A minute as somebody sees them, a character each twentieth of a second. */
static void watch_turn(enum up_lamp lamp, enum up_turn turn, char *seen) {
    for (int i = 0; i < ANALYSES; i++) {
        seen[i] = up_lamp_is_lit(lamp, turn, 0.05 * i + 0.001) ? '#' : '.';
    }
    seen[ANALYSES] = '\0';
}

static void watch(enum up_lamp lamp, char *seen) {
    watch_turn(lamp, UP_TURN_HANG, seen);
}

static double share(const char *seen) {
    int lit = 0;
    for (int i = 0; i < ANALYSES; i++) {
        lit += seen[i] == '#';
    }
    return (double)lit / ANALYSES;
}

/* Wherever one begins to look, no two are the same for more than four seconds. */
static void no_two_look_alike_on_one_lamp(void **state) {
    static char seen[SIGNALS][ANALYSES + 1];
    (void)state;
    for (int i = 0; i < SIGNALS; i++) {
        watch_turn(lamp_at(i), turn_at(i), seen[i]);
    }
    for (int i = 0; i < SIGNALS; i++) {
        for (int j = 0; j < i; j++) {
            for (int shift = 0; shift < 80; shift++) {
                assert_int_not_equal(strncmp(seen[i], seen[j] + shift, 80), 0);
            }
        }
    }
}

static void your_turn_is_steady_and_settling_even(void **state) {
    char seen[ANALYSES + 1];
    (void)state;
    watch(UP_LAMP_YOUR_TURN, seen);
    assert_true(share(seen) == 1);
    assert_true(isinf(up_lamp_changes_s(UP_LAMP_YOUR_TURN, UP_TURN_HANG, 5)));
    watch(UP_LAMP_SETTLING, seen);
    assert_true(fabs(share(seen) - 0.5) < 0.01);
    assert_int_equal(strncmp(seen, "####################....................####", 44), 0);
}

/* Whoever has no screen must know whether to shake it or to take it off. */
static void your_turn_winks_for_what_is_to_be_done(void **state) {
    char seen[ANALYSES + 1];
    (void)state;
    watch_turn(UP_LAMP_YOUR_TURN, UP_TURN_TAKE_OFF, seen);
    assert_int_equal(strncmp(seen, "##########################....##", 32), 0);
    watch_turn(UP_LAMP_YOUR_TURN, UP_TURN_SHAKE, seen);
    assert_int_equal(strncmp(seen, "##########################....####....##", 40), 0);
    watch_turn(UP_LAMP_YOUR_TURN, UP_TURN_ANSWER, seen);
    assert_int_equal(strncmp(seen, "##########################....####....####....##", 48), 0);
    watch_turn(UP_LAMP_YOUR_TURN, UP_TURN_BARE, seen);
    assert_int_equal(strncmp(seen, "##########################....####....####....####....##", 56),
                     0);
}

static void each_action_has_its_turn(void **state) {
    static const enum up_action off[] = {UP_ACTION_EMPTY_IN_AIR, UP_ACTION_EMPTY_IN_WATER,
                                         UP_ACTION_LIFT_OUT};
    static const enum up_action on[] = {UP_ACTION_ADD_BALLAST, UP_ACTION_HANG_MASS,
                                        UP_ACTION_HANG_IN_AIR, UP_ACTION_IMMERSE,
                                        UP_ACTION_HANG_REFERENCE};
    (void)state;
    for (size_t i = 0; i < sizeof off / sizeof off[0]; i++) {
        assert_int_equal(up_turn_of(off[i]), UP_TURN_TAKE_OFF);
    }
    for (size_t i = 0; i < sizeof on / sizeof on[0]; i++) {
        assert_int_equal(up_turn_of(on[i]), UP_TURN_HANG);
    }
    assert_int_equal(up_turn_of(UP_ACTION_BARE_HOOK), UP_TURN_BARE);
    assert_int_equal(up_turn_of(UP_ACTION_SHAKE), UP_TURN_SHAKE);
    assert_int_equal(up_turn_of(UP_ACTION_CONFIRM), UP_TURN_ANSWER);
}

static void a_rising_item_is_short_long_and_a_sinking_one_long_short(void **state) {
    char seen[ANALYSES + 1];
    (void)state;
    watch(UP_LAMP_POSITIVE, seen);
    assert_int_equal(strncmp(seen, "####......##################....", 32), 0);
    watch(UP_LAMP_NEGATIVE, seen);
    assert_int_equal(strncmp(seen, "##################......####....", 32), 0);
    watch(UP_LAMP_NEUTRAL, seen);
    assert_int_equal(strncmp(seen, "##################......##################....", 46), 0);
    watch(UP_LAMP_UNDECIDED, seen);
    assert_int_equal(strncmp(seen, "####......####......####......", 30), 0);
}

static void a_fault_is_fast_and_waiting_a_spark(void **state) {
    char seen[ANALYSES + 1];
    (void)state;
    watch(UP_LAMP_FAULT, seen);
    assert_int_equal(strncmp(seen, "##..##..##..##..", 16), 0);
    watch(UP_LAMP_WAITING, seen);
    assert_true(share(seen) > 0.02 && share(seen) < 0.06);
}

/* The session sleeps until then, so it must be neither late nor busy. */
static void the_next_change_is_foretold(void **state) {
    (void)state;
    for (int i = 0; i < SIGNALS; i++) {
        enum up_lamp lamp = lamp_at(i);
        enum up_turn turn = turn_at(i);
        double time_s = 0;
        if (i == UP_LAMP_YOUR_TURN) {
            continue;
        }
        for (int n = 0; n < 100; n++) {
            double remaining_s = up_lamp_changes_s(lamp, turn, time_s);
            bool lit = up_lamp_is_lit(lamp, turn, time_s);
            assert_true(remaining_s > 0.0 && remaining_s < 3);
            assert_int_equal(up_lamp_is_lit(lamp, turn, time_s + remaining_s - 1e-6), lit);
            assert_int_equal(up_lamp_is_lit(lamp, turn, time_s + remaining_s + 1e-6), !lit);
            time_s += remaining_s + 1e-6;
        }
    }
}

static void a_sound_ends_by_itself(void **state) {
    static const int bursts[] = {
        [UP_SOUND_NONE] = 0,  [UP_SOUND_YOUR_TURN] = 1, [UP_SOUND_TAKEN] = 1,
        [UP_SOUND_HELD] = 2,  [UP_SOUND_STOPPING] = 3,  [UP_SOUND_FAULT] = 3,
        [UP_SOUND_RESULT] = 1};
    (void)state;
    for (int i = 0; i <= UP_SOUND_RESULT; i++) {
        enum up_sound sound = (enum up_sound)i;
        int begun = 0;
        bool before = false;
        for (double time_s = 0; time_s < 3; time_s += 0.01) {
            bool on = up_sound_is_on(sound, time_s);
            begun += on && !before;
            before = on;
        }
        assert_int_equal(begun, bursts[i]);
        assert_false(before);
        assert_true(isinf(up_sound_changes_s(sound, 3)));
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_two_look_alike_on_one_lamp),
        cmocka_unit_test(your_turn_is_steady_and_settling_even),
        cmocka_unit_test(your_turn_winks_for_what_is_to_be_done),
        cmocka_unit_test(each_action_has_its_turn),
        cmocka_unit_test(a_rising_item_is_short_long_and_a_sinking_one_long_short),
        cmocka_unit_test(a_fault_is_fast_and_waiting_a_spark),
        cmocka_unit_test(the_next_change_is_foretold),
        cmocka_unit_test(a_sound_ends_by_itself),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
