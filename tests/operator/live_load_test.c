/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the live screen says of a load that is no net buoyancy, and of what a coarse scale hides. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "operator/live.h"

enum { ROWS = 24, COLUMNS = 80 };

static struct up_cell cells[ROWS * COLUMNS];

/* Invented: 164.5 g and 165.5 g of lift in two trials of five. */
static struct up_live_view two_trials(void) {
    static struct up_trial trials[2] = {{.number = 1, .load_counts = -16450},
                                        {.number = 2, .load_counts = -16550}};
    return (struct up_live_view){.what = "measure",
                                 .bench = "a bench",
                                 .item_name = "Heron fin",
                                 .mood = UP_LIVE_WAIT,
                                 .words = "wait",
                                 .sentence = "Hands off",
                                 .load = 1978.04,
                                 .noise = 0.1,
                                 .load_unit = "g",
                                 .temp_c = (double)NAN,
                                 .g_per_count = 0.01,
                                 .trial = trials,
                                 .trials = 2,
                                 .trials_planned = 5,
                                 .typed = "",
                                 .refused = ""};
}

/* Of these rows, as text. */
static const char *drawn(const struct up_live_view *view, int from, int to) {
    static char text[ROWS * COLUMNS * UP_CELL_BYTES];
    struct up_canvas canvas = {.rows = ROWS, .columns = COLUMNS, .cell = cells};
    char *at = text;
    up_live_draw(view, &canvas);
    for (int i = from * COLUMNS; i < to * COLUMNS; i++) {
        at += sprintf(at, "%s%s", cells[i].text, i % COLUMNS == COLUMNS - 1 ? "\n" : "");
    }
    return text;
}

/* A dry weight is no net buoyancy: without sign and direction, and so called. */
static void a_dry_weight_says_that_it_is_in_air(void **state) {
    struct up_live_view view = two_trials();
    (void)state;
    view.in_air = true;
    assert_non_null(strstr(drawn(&view, 0, ROWS), "dry weight, in air: 1978.0 g"));
    assert_null(strstr(drawn(&view, 0, ROWS), "DOWN"));
    assert_int_not_equal(strncmp(drawn(&view, 14, 15), " ###  ", 6), 0); /* no large minus */
    view.in_air = false;
    assert_non_null(strstr(drawn(&view, 0, ROWS), "load now: -1978.0 g DOWN"));
    assert_int_equal(strncmp(drawn(&view, 14, 15), " ###  ", 6), 0);
    view.in_air = true;
    view.load_unit = "kg"; /* not calibrated */
    view.load = 1.978;
    assert_non_null(strstr(drawn(&view, 0, ROWS), "scale: +1.978 kg, not calibrated yet"));
}

/* Steps of 10 g round a load and its tare: 10 / sqrt(6) = 4.08 g, whatever scatter shows. */
static void steps_hide_what_is_smaller(void **state) {
    struct up_live_view view = two_trials();
    (void)state;
    view.step_g = 10;
    assert_non_null(strstr(drawn(&view, 0, ROWS), "floats   spread hidden by its steps (4.08 g)"));
    view.step_g = 1.7; /* 0.69 g: less than the 0.71 g that shows */
    assert_non_null(strstr(drawn(&view, 0, ROWS), "floats   spread 0.71 g (st. dev.)"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_dry_weight_says_that_it_is_in_air),
        cmocka_unit_test(steps_hide_what_is_smaller),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
