/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <locale.h>
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
#include "text/text.h"
#include "virtual_bench.h"

enum { ROWS_MAX = 80, COLUMNS_MAX = 260 };

static struct up_cell cells[ROWS_MAX * COLUMNS_MAX + 1];
static struct up_canvas canvas;
static struct up_trial trials[UP_TRIALS_MAX];
static struct up_result results[3];
static struct up_water waters[2];
static struct up_live_fault faults[3];

/* Invented: a fin of +164.5 g in its third trial. */
static struct up_live_view third_trial(void) {
    struct up_live_view view = {.what = "measure",
                                .bench = "a bench",
                                .item_name = "Heron fin",
                                .elapsed_s = 750,
                                .mood = UP_LIVE_DO,
                                .words = "shake it",
                                .sentence = "Take it off the hook, shake the air out: Heron fin",
                                .load = -164.46,
                                .noise = 0.1,
                                .load_unit = "g",
                                .temp_c = 21.34,
                                .g_per_count = 0.01,
                                .trial = trials,
                                .trials = 2,
                                .trials_planned = 5,
                                .result = results,
                                .results = 3,
                                .water = waters,
                                .waters = 2,
                                .fault = faults,
                                .asks = true,
                                .typed = "",
                                .refused = ""};
    memset(results, 0, sizeof results);
    memset(waters, 0, sizeof waters);
    for (unsigned i = 0; i < UP_TRIALS_MAX; i++) {
        trials[i] = (struct up_trial){.number = i + 1,
                                      .load_counts = -16450 - (double)i * 100,
                                      .shakes = 3,
                                      .last_gain_counts = 20};
    }
    for (unsigned i = 0; i < 3; i++) {
        results[i].answer = (struct up_answer){.buoyancy_kg = {.value = 0.1645 + 0.01 * i},
                                               .expanded_u_kg = 0.0006,
                                               .probability_positive = 0.75,
                                               .probability_neutral = 0.25,
                                               .class = UP_CLASS_UNDECIDED};
    }
    strcpy(results[0].water.name, "tank");
    strcpy(waters[0].name, "fresh");
    strcpy(waters[1].name, "sea");
    waters[0].temp_c = 12;
    waters[1].temp_c = 18;
    results[1].water = waters[0];
    results[2].water = waters[1];
    return view;
}

static void draw(const struct up_live_view *view, int columns, int rows, bool utf8) {
    canvas = (struct up_canvas){.rows = rows, .columns = columns, .utf8 = utf8, .cell = cells};
    strcpy(cells[rows * columns].text, "behind");
    up_live_draw(view, &canvas);
    assert_string_equal(cells[rows * columns].text, "behind");
}

/* A row's text without the blanks at its end. */
static const char *row_text(int row) {
    static char text[COLUMNS_MAX * UP_CELL_BYTES + 1];
    size_t length = 0;
    for (int i = 0; i < canvas.columns; i++) {
        const char *cell = canvas.cell[row * canvas.columns + i].text;
        memcpy(text + length, cell, strlen(cell));
        length += strlen(cell);
    }
    while (length > 0 && text[length - 1] == ' ') {
        length--;
    }
    text[length] = '\0';
    return text;
}

static int row_with(const char *words) {
    for (int row = 0; row < canvas.rows; row++) {
        if (strstr(row_text(row), words) != NULL) {
            return row;
        }
    }
    return -1;
}

/* Ours around names, and one behind which a name was cut. */
static char *without_marks(const char *text) {
    static const char *const marks[] = {"\u200D", "\u2068", "\u2069"};
    char *copy = up_text_format("%s", text), *mark;
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        while ((mark = strstr(copy, marks[i])) != NULL) {
            memmove(mark, mark + 3, strlen(mark + 3) + 1);
        }
    }
    return copy;
}

/* Nothing that moves the cursor, and as many columns as the row has. */
static void assert_harmless(void) {
    for (int row = 0; row < canvas.rows; row++) {
        char *text = without_marks(row_text(row));
        char *clean = up_text_for_terminal(text);
        assert_string_equal(text, clean);
        free(clean);
        free(text);
    }
    for (int i = 0; i < canvas.rows * canvas.columns; i++) {
        const char *text = canvas.cell[i].text;
        int columns = up_text_columns(text);
        if (!canvas.utf8) {
            assert_int_equal(strlen(text), 1);
        } else if (columns == 2) {
            assert_true(i % canvas.columns + 1 < canvas.columns);
            assert_string_equal(canvas.cell[i + 1].text, "");
        } else if (text[0] != '\0') {
            assert_int_equal(columns, 1);
        } else {
            assert_true(i % canvas.columns > 0 && up_text_columns(canvas.cell[i - 1].text) == 2);
        }
    }
}

static void everything_has_its_place_in_80x24(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    draw(&view, 80, 24, false);
    assert_true(strncmp(row_text(0), " measure: Heron fin ", 20) == 0);
    assert_non_null(strstr(row_text(0), "water 21.3 C  12 min"));
    assert_string_equal(row_text(1), "");
    assert_string_equal(row_text(2), "  ### #  #  ##  #  # ####    ### #####");
    assert_string_equal(row_text(3), " #    #  # #  # # #  #        #    #");
    assert_string_equal(row_text(4), "  ##  #### #### ##   ###      #    #");
    assert_string_equal(row_text(5), "    # #  # #  # # #  #        #    #");
    assert_string_equal(row_text(6), " ###  #  # #  # #  # ####    ###   #");
    assert_string_equal(row_text(8), " Take it off the hook, shake the air out: Heron fin");
    assert_string_equal(row_text(10), " YOUR TURN. Press Enter when done.");
    /* A load of -164.5 g lifts: a net buoyancy is + up. In large letters, beside it the result. */
    assert_int_equal(row_with("load now: +164.5 g UP"), 11);
    assert_string_equal(row_text(12),
                        "      #  #### #  #   ####     ###                #  #### #  #  "
                        " ####     ###");
    assert_non_null(strstr(row_text(11), "tank +164.5 g +- 0.6 g: undecided"));
    /* 164.5 and 165.5: mean 165.0, standard deviation 1/sqrt(2) */
    assert_string_equal(row_text(17),
                        " trials: 2 of 5   mean +165.0 g, floats   spread 0.71 g (st. dev.)");
    assert_string_equal(row_text(18), "  1   +164.5 g, gain 0.2 g, 3 shakes     2   +165.5 g, gain "
                                      "0.2 g, 3 shakes");
    assert_string_equal(row_text(19),
                        " fresh 12.0 C: +174.5 g, undecided      sea 18.0 C: +184.5 g, "
                        "undecided");
    assert_string_equal(
        row_text(23),
        " Enter: done   s: skip   a: redo from zero   q: stop   (letter, then Enter)");
    assert_harmless();
}

static void one_sign_for_all_grams(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.load = 371.2;
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("load now: -371.2 g DOWN"), 11);
    assert_true(strncmp(row_text(14), " ###  ###", 9) == 0); /* its minus in large letters, */
    assert_true(strncmp(row_text(13), "     ", 5) == 0);     /* which is no plus */
    assert_true(strncmp(row_text(15), "     ", 5) == 0);
    draw(&view, 40, 12, false);
    assert_int_equal(row_with("load now: -371.2 g DOWN"), 4);
    view.load = 0.2;
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("load now: -0.2 g (nothing)"), 11);
    view.load_unit = "kg"; /* before a calibration: no net buoyancy */
    view.load = 0.52;
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("scale: +0.52 kg, not calibrated yet"), 11);
    assert_true(row_with("DOWN") < 0);
    view.load = 1.3e-15; /* of a mean */
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("scale: +0 kg, not calibrated yet"), 11);
    view.load_unit = "counts"; /* as the device sends them */
    view.load = 52000;
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("load now: +52000 counts DOWN"), 11);
}

static void what_finds_no_place_is_counted(void **state) {
    struct up_live_view view = third_trial();
    struct up_water many[5];
    (void)state;
    for (unsigned i = 0; i < 5; i++) {
        many[i] = waters[0];
    }
    view.water = many;
    view.waters = 5;
    draw(&view, 80, 24, false);
    assert_string_equal(row_text(19), " fresh 12.0 C: +174.5 g, undecided      and 4 waters more");
    view.results = 0;
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("waters more"), -1);
    assert_non_null(strstr(row_text(16), "fresh 12.0 C"));
}

static void letters_grow_with_the_screen(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    draw(&view, 100, 30, false); /* two lines at once, or one twice as large */
    assert_true(strncmp(row_text(2), "   ######  ##    ##", 19) == 0);
    assert_string_equal(row_text(3), row_text(2));
    view.words = "hang the reference body";
    draw(&view, 100, 30, false);
    assert_true(strncmp(row_text(2), " #  #  ##  #   #", 16) == 0);
    assert_true(strncmp(row_text(8), " ###   ##  ###  #   #", 21) == 0); /* BODY */
    view.words = "shake it";
    draw(&view, 200, 60, false);
    assert_true(row_with("floats   [##############----] 0.750") > 0);
    assert_true(row_with("neutral  [#####-------------] 0.250") > 0);
    assert_true(row_with("sinks    [------------------] 0.000") > 0);
    assert_true(strncmp(row_text(2), "     ############", 17) == 0);
    assert_non_null(strstr(row_text(59), "Enter: done"));
    assert_true(row_with("trials: 2 of 5") > 40);
    assert_true(row_with("fresh +174.5 g +- 0.6 g: undecided") > 0); /* with bars of its own */
    assert_harmless();
}

static void a_small_screen_says_so_and_goes_on(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    draw(&view, 79, 24, true);
    assert_string_equal(row_text(0), "This window is too small: it needs 80x24.");
    assert_string_equal(row_text(1), "Take it off the hook, shake the air out: Heron fin");
    assert_string_equal(row_text(2), "load now: +164.5 g UP");
    draw(&view, 80, 23, true);
    assert_string_equal(row_text(0), "This window is too small: it needs 80x24.");
}

static const char *const names[] = {
    "\033[2J\033]0;mine\007\r\n\t\177\233H",
    "\xff\xfe\xc3(\xed\xa0\x80",
    "\u202Eover\u202C \u2066isolated\u2069",
    "潜水フィン 大きい 潜水フィン 大きい 潜水フィン",
    "e\u0301\u0301\u0301\u0301\u0301\u0301\u0301\u0301\u0301\u0301\u0301 \u0301",
    "سنفرة حزام",
    "\u0301",
    "%s%n%d",
    "",
    "👩‍👩‍👧 🤿"};

/* Else a terminal that turns Hebrew or Arabic shows "164+" behind it. */
static void a_name_from_right_to_left_turns_no_number(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.item_name = "סנפיר ימני";
    view.sentence = "סנפיר 12, then Arabic: سنفرة حزام";
    snprintf(results[0].water.name, sizeof results[0].water.name, "ים");
    draw(&view, 80, 24, true);
    assert_non_null(strstr(row_text(0), ": \u2068סנפיר ימני\u2069 "));
    assert_non_null(
        strstr(row_text(8), " \u2068סנפיר\u2069 12, then Arabic: \u2068سنفرة حزام\u2069"));
    assert_non_null(strstr(row_text(11), "\u2068ים\u2069 +164.5 g"));
    assert_harmless();
}

static void no_size_and_no_name_spoils_it(void **state) {
    static const int columns[] = {1, 2, 3, 39, 79, 80, 81, 100, 117, 133, 200, 259};
    static const int rows[] = {1, 2, 7, 23, 24, 25, 29, 30, 36, 47, 60, 79};
    struct up_live_view view = third_trial();
    char long_name[1500] = "";
    (void)state;
    memset(long_name, 'W', sizeof long_name - 1);
    faults[0].text = long_name;
    view.faults = 1;
    view.trials = UP_TRIALS_MAX;
    for (size_t name = 0; name <= sizeof names / sizeof names[0]; name++) {
        view.item_name = view.place = view.words = view.sentence = view.refused =
            name < sizeof names / sizeof names[0] ? names[name] : long_name;
        view.asks = !view.asks;
        snprintf(waters[0].name, sizeof waters[0].name, "%.20s", view.item_name);
        results[1].water = waters[0];
        for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
            int c = columns[(i * 5 + name) % (sizeof columns / sizeof columns[0])];
            draw(&view, c, rows[i], true);
            assert_harmless();
            draw(&view, c, rows[i], false);
            assert_harmless();
        }
        draw(&view, 80, 24, true);
        assert_harmless();
        draw(&view, 80, 24, false);
        assert_harmless();
    }
    view.item_name = names[3];
    view.place = NULL;
    draw(&view, 80, 24, true);
    assert_non_null(strstr(row_text(0), "潜水フィン 大きい"));
    draw(&view, 80, 24, false);
    assert_non_null(strstr(row_text(0), "????? ???"));
}

static void what_is_not_known_is_left_out(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.load = view.temp_c = view.noise = (double)NAN;
    view.results = view.trials = 0;
    draw(&view, 80, 24, false);
    assert_null(strstr(row_text(0), "water"));
    assert_non_null(strstr(row_text(11), "classes appear after two trials"));
    assert_non_null(strstr(row_text(12), "fresh 12.0 C"));
    assert_int_equal(row_with("floats"), -1);
    assert_int_equal(row_with("nan"), -1);
    assert_string_equal(row_text(17), " trials: 0 of 5");
    for (unsigned i = 0; i < 3; i++) { /* a hundredth of a gram pulls nowhere */
        trials[i].load_counts = 1;
    }
    view.trials = 3;
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("-0.0 g, sinks"), -1);
    assert_true(row_with("mean +0.0 g, hovers") > 0);
    view.place = "12 of 20, about 100 min left, next: Reef boots with a long name, pair";
    view.temp_c = 12;
    draw(&view, 80, 24, false); /* what comes next is as whole as what is there */
    assert_non_null(strstr(row_text(0), view.item_name));
    assert_non_null(strstr(row_text(1), view.place));
}

static void a_reading_shows_how_far_it_is(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.asks = false;
    view.mood = UP_LIVE_WAIT;
    view.reading = (struct up_reading_progress){
        .reading = true, .whole_s = 24, .remaining_s = 6, .unrest = 0.8};
    draw(&view, 80, 24, false);
    /* 34 cells, three quarters of them */
    assert_string_equal(row_text(10),
                        " [##########################--------]  reading in 6 s   still");
    assert_string_equal(row_text(23), " q and Enter: stop");
    view.reading.late_s = 8;
    view.reading.unrest = 5;
    draw(&view, 80, 24, false);
    assert_non_null(strstr(row_text(10), "reading in 6 s (8 s late); moving"));
    assert_int_equal(row_with("YOUR TURN"), -1);
}

static void answers_are_seen_before_they_are_given(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.typed = "q";
    draw(&view, 80, 24, false);
    assert_string_equal(row_text(22), " q: Enter stops; what was completed is kept");
    view.typed = "21,5";
    view.unit = "degrees C";
    draw(&view, 80, 24, false);
    assert_string_equal(row_text(22), " > 21,5_  degrees C");
    assert_non_null(strstr(row_text(23), "number and Enter"));
    view.typed = "";
    view.refused = "that is not a number";
    draw(&view, 80, 24, false);
    assert_string_equal(row_text(22), " ?? that is not a number");
    view.how = "pedal: short is done";
    draw(&view, 80, 24, false);
    assert_string_equal(row_text(10), " YOUR TURN");
    assert_string_equal(row_text(23), " pedal: short is done  keys too");
}

static void the_newest_fault_and_trials_are_told(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    faults[0] = (struct up_live_fault){600, false, "the first"};
    faults[1] = (struct up_live_fault){690, false, "the second"};
    faults[2] = (struct up_live_fault){
        691, false,
        "the third is so long that it does not fit into one row of eighty columns at all"};
    view.faults = 2;
    view.trials = UP_TRIALS_MAX;
    draw(&view, 80, 24, false);
    assert_string_equal(row_text(20), " !! 1 min ago: the second");
    assert_string_equal(row_text(21), " !! 2 min ago: the first");
    assert_non_null(strstr(row_text(18), " 39 "));
    assert_non_null(strstr(row_text(18), " 40 "));
    assert_int_equal(row_with(" 38 "), -1);
    view.faults = 3;
    draw(&view, 80, 24, false);
    assert_true(strncmp(row_text(20), " !! now: the third is so long", 29) == 0);
    assert_string_equal(row_text(21), " columns at all");
}

static void a_trial_that_was_left_out_is_named_and_not_counted(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    trials[1].left_out = true;
    view.trials = 3;
    view.at_most = true;
    faults[0] = (struct up_live_fault){740, true, "trial 2 stays out of the mean"};
    view.faults = 1;
    draw(&view, 80, 24, false);
    /* 164.5 and 166.5: mean 165.5, standard deviation the square root of 2 */
    assert_string_equal(row_text(17), " trials: 3 of at most 5   mean +165.5 g, floats   spread "
                                      "1.41 g (st. dev.)");
    assert_non_null(strstr(row_text(18), "  2   +165.5 g, LEFT OUT"));
    trials[1].left_out = false;
    trials[1].still_gaining = true;
    draw(&view, 80, 24, false);
    assert_non_null(strstr(row_text(18), "  2   +165.5 g, GAINING 0.2 g, 3 shakes"));
    assert_string_equal(row_text(20), " -- now: trial 2 stays out of the mean");
}

static void a_long_question_is_shown_whole(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.sentence = "Trial 12 is 12.3 g heavier than the others (Grubbs, 1 %). Done keeps it; skip "
                    "leaves it out: only if you know what went wrong";
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("Trial 12 is"), 8);
    assert_int_equal(row_with("what went wrong"), 9);
    view.sentence = "The body lies far outside of what it should read, by more than one gram of "
                    "all that it weighs in this water, which is far too much for any good bench. "
                    "Done goes on all the same; skip ends here";
    draw(&view, 80, 24, false);
    assert_int_equal(row_with("The body lies"), 7);
    assert_int_equal(row_with("skip ends here"), 9);
}

static void loadings_are_listed_while_calibrating(void **state) {
    struct up_live_view view = third_trial();
    struct up_calibration_point point[2] = {{.mass_kg = 0.5, .load_counts = 300123.4},
                                            {.mass_kg = -2, .load_counts = -1200456.2}};
    (void)state;
    view.item_name = NULL;
    view.g_per_count = 0;
    view.load = 300120;
    view.load_unit = "counts";
    view.point = point;
    view.points = 2;
    view.points_planned = 6;
    draw(&view, 80, 24, false);
    assert_true(strncmp(row_text(0), " measure on a bench ", 20) == 0);
    assert_string_equal(row_text(17), " loadings: 2 of 6");
    assert_string_equal(row_text(18),
                        "  1      +0.5 kg: +300123                2        -2 kg: -1200456");
    assert_int_equal(row_with("probabilities"), -1);
}

static void large_words_say_what_is_asked(void **state) {
    struct up_ask ask = {.action = UP_ACTION_HANG_MASS, .mass_kg = 0.5};
    char words[200];
    (void)state;
    assert_string_equal(up_live_words(&ask, words, sizeof words), "hook: 0.5 kg");
    ask.action = UP_ACTION_LIFT_OUT;
    assert_string_equal(up_live_words(&ask, words, sizeof words), "lift it out");
    ask.action = UP_ACTION_CONFIRM; /* too long for large letters: they call the reader near */
    assert_string_equal(up_live_words(&ask, words, sizeof words), "question");
    ask.action = UP_ACTION_HANG_REFERENCE; /* has no words of its own */
    assert_string_equal(up_live_words(&ask, words, sizeof words), "hang reference");
    for (int action = 0; action < UP_ACTIONS; action++) {
        ask.action = (enum up_action)action;
        assert_true(strlen(up_live_words(&ask, words, sizeof words)) > 3);
        assert_null(strchr(words, '-'));
    }
}

/* ---- the state it needs ---- */

static struct {
    unsigned readings, backwards, unrestful;
    double remaining_s, least_remaining_s, unrest;
} seen;

static void watch(struct virtual_bench *bench, struct up_procedure *procedure,
                  struct up_sample *sample) {
    struct up_reading_progress progress = up_procedure_reading(procedure);
    (void)bench;
    (void)sample;
    if (!progress.reading) {
        seen.remaining_s = (double)NAN;
        return;
    }
    seen.readings++;
    assert_true(progress.remaining_s >= 0 && progress.remaining_s <= progress.whole_s);
    seen.backwards += progress.remaining_s > seen.remaining_s + 1;
    seen.remaining_s = progress.remaining_s;
    seen.least_remaining_s = fmin(seen.least_remaining_s, progress.remaining_s);
    seen.unrest = progress.unrest;
    seen.unrestful += progress.remaining_s < 0.5 && progress.unrest > 1;
}

static void progress_runs_to_the_reading(void **state) {
    static const double masses_kg[] = {0.5, 1, 2};
    static struct virtual_bench bench;
    struct up_failure failure = {0};
    (void)state;
    virtual_bench_begin(&bench, 5);
    bench.spoil = watch;
    seen.least_remaining_s = seen.remaining_s = (double)INFINITY;
    assert_true(virtual_bench_calibrate(&bench, masses_kg, 3, 1, &failure));
    /* 24 s at 10 Hz for each of 7 loads and tares and the preload at least */
    assert_true(seen.readings > 8 * 200);
    assert_true(seen.least_remaining_s < 0.3);
    assert_true(seen.unrest < 1);
    /* Where the step is found late, the time left may grow once a reading. */
    assert_true(seen.backwards <= bench.plateaus);
    assert_int_equal(seen.unrestful, 0);
    virtual_bench_end(&bench);
}

/* What to do stands at the end of such a line. */
static void what_was_refused_is_not_cut(void **state) {
    (void)state;
    struct up_live_view view = third_trial();
    view.refused = "1 kg were hung and the reading rose by 0.5 kg: type it in kg, as the scale "
                   "shows it, or hang the mass again, then press Enter";
    draw(&view, 80, 24, true);
    bool begins = false;
    for (int row = 0; row < 24; row++) {
        begins = begins || strstr(row_text(row), "?? 1 kg were hung");
    }
    assert_true(begins);
    assert_non_null(strstr(row_text(22), "press Enter"));
}

/* All of a long text, in order, whatever rows it stands in. */
static bool is_shown(const char *text) {
    static char all[ROWS_MAX * COLUMNS_MAX * 4];
    all[0] = '\0';
    for (int row = 0; row < canvas.rows; row++) {
        const char *words = row_text(row);
        strcat(all, words + strspn(words, " "));
        strcat(all, " ");
    }
    return strstr(all, text) != NULL;
}

static const char long_fault[] =
    "nothing has come over the wire for 300 s: check power, cable and the [port] of the rig file, "
    "then whether the device sends by itself or only when it is asked; a device that answers only "
    "when asked needs the key poll in [line]";

/* What to do stands at the end: it is never cut, nor a word broken, at 80 and at 40 columns. */
static void nothing_to_do_is_lost_at_the_edge(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.trials = UP_TRIALS_MAX;
    faults[0] = (struct up_live_fault){0, false, "an older one"};
    faults[1] = (struct up_live_fault){750, false, long_fault};
    view.faults = 2;
    view.sentence =
        "Empty, the hanger is off its last tare by 12.3 g (usual: 0.4 g). Does something "
        "hang, did the ballast slip? Put it right, then press Enter: it is weighed again. To "
        "keep the reading, type accept";
    draw(&view, 80, 24, true);
    assert_true(is_shown(long_fault));
    assert_true(is_shown(view.sentence));
    assert_non_null(strstr(row_text(17), "trials: 40 of 5")); /* as many as have room */
    view.question = true;
    draw(&view, 40, 24, true);
    assert_true(is_shown(long_fault));
    assert_true(is_shown(view.sentence));
    assert_true(is_shown("Enter: done   s: skip   a: again   q: stop   (letter, then Enter)"));
    view.accepts = true;
    draw(&view, 80, 24, true);
    assert_true(is_shown("Enter: weigh again   accept and Enter: keep it   a: redo from zero"));
    view.typed = "q";
    draw(&view, 40, 12, true); /* the load and the fault give way */
    assert_true(is_shown(view.sentence));
    assert_true(is_shown("q: Enter stops; what was completed is kept"));
    view.typed = "";
    view.how = "Pedal: short is done, long redoes it, two short stop after this step";
    draw(&view, 80, 24, true);
    assert_string_equal(row_text(23), " Pedal: short is done, long redoes it, two short stop "
                                      "after this step  keys too");
    draw(&view, 40, 24, true);
    assert_true(is_shown("two short stop after this step  keys too"));
}

/* Half an ounce and more of everything; --units imperial. */
static void ounces_and_fahrenheit_have_their_place_too(void **state) {
    struct up_live_view view = third_trial();
    (void)state;
    view.style.imperial = true;
    view.load = 5871.1862461; /* 207.1 oz, 12 lb 15.1 oz */
    view.temp_c = 20;
    view.trials = UP_TRIALS_MAX;
    view.trials_planned = UP_TRIALS_MAX;
    view.at_most = true;
    for (unsigned i = 0; i < UP_TRIALS_MAX; i++) {
        trials[i].load_counts = 587118.62461 + (i % 2 == 0 ? 1 : -1) * 2834.9523125;
    }
    results[0].answer.buoyancy_kg.value = -5.8711862461;
    results[0].answer.expanded_u_kg = 0.00056699;
    draw(&view, 80, 24, true);
    assert_non_null(strstr(row_text(0), "water 68.0 F"));
    assert_int_equal(row_with("load now: -12 lb 15.10 oz DOWN"), 11);
    assert_non_null(strstr(row_text(11), "tank -207.10 +- 0.02 oz: undecided"));
    assert_non_null(strstr(row_text(17), "40 of at most 40   mean -207.10 oz, sinks   spread 1.0"));
    assert_non_null(strstr(row_text(18), "39 -208.10 oz, gain 0.01 oz, 3 shakes  40 -206.10 oz, "
                                         "gain 0.01 oz, 3 shakes"));
    assert_non_null(strstr(row_text(19), " fresh 53.6 F: +6.16 oz, undecided"));
    for (int row = 0; row < 24; row++) {
        assert_null(strstr(row_text(row), " g "));
        assert_null(strstr(row_text(row), "..."));
    }
    char words[40], sentence[600];
    up_live_result(results, 1, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_string_equal(words, "UNDECIDED -207.1 oz");
    assert_non_null(strstr(sentence, "Undecided: measure more trials, or plan with the ounces. "));
}

/* It stays in large letters, with what it is of and what to do. */
static void the_result_is_large_and_says_what_to_do(void **state) {
    (void)state;
    char words[40], sentence[600];
    struct up_live_view view = third_trial();
    view.asks = false;
    view.finished = view.by_pedal = true;
    results[1] = (struct up_result){.water = {.name = "fresh"},
                                    .pieces = 1,
                                    .answer = {.buoyancy_kg = {.value = 0.1642},
                                               .expanded_u_kg = 0.0005,
                                               .class = UP_CLASS_POSITIVE}};
    results[2] = results[1];
    snprintf(results[2].water.name, sizeof results[2].water.name, "sea");
    results[2].answer.buoyancy_kg.value = 0.1903;
    up_live_result(results, 3, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_string_equal(words, "POSITIVE +164 g");
    assert_string_equal(sentence,
                        "This one piece, not the model; a weight check in the water decides.");
    view.words = words;
    view.sentence = sentence;
    draw(&view, 80, 24, true);
    assert_string_equal(row_text(8), " fresh +164.2 g +- 0.5 g: positive");
    assert_string_equal(row_text(9), " sea +190.3 g +- 0.5 g: positive");
    assert_non_null(strstr(row_text(10), " tank "));
    assert_string_equal(row_text(13), " Stored. Press any key or the pedal to continue.");
    unsigned said = 0;
    for (int row = 0; row < 24; row++) {
        said += strstr(row_text(row), "164.2 g") != NULL;
        assert_null(strstr(row_text(row), "load now"));
    }
    assert_int_equal(said, 1);
    draw(&view, 60, 15, true);
    assert_string_equal(row_text(1), words);
    results[2].answer.class = UP_CLASS_UNDECIDED;
    up_live_result(results, 3, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_non_null(strstr(sentence, "Undecided: measure more trials, or plan with the grams. "));
    results[2].has_model = true;
    up_live_result(results, 3, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_non_null(strstr(sentence, "more trials would not decide it: plan with the grams. "));
    results[0].answer.class = UP_CLASS_NEGATIVE;
    results[0].answer.buoyancy_kg.value = -0.371;
    up_live_result(results, 1, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_string_equal(words, "NEGATIVE -371 g"); /* no other water: the tank's own */
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything_has_its_place_in_80x24),
        cmocka_unit_test(one_sign_for_all_grams),
        cmocka_unit_test(what_finds_no_place_is_counted),
        cmocka_unit_test(letters_grow_with_the_screen),
        cmocka_unit_test(a_name_from_right_to_left_turns_no_number),
        cmocka_unit_test(a_small_screen_says_so_and_goes_on),
        cmocka_unit_test(no_size_and_no_name_spoils_it),
        cmocka_unit_test(what_is_not_known_is_left_out),
        cmocka_unit_test(a_reading_shows_how_far_it_is),
        cmocka_unit_test(answers_are_seen_before_they_are_given),
        cmocka_unit_test(the_newest_fault_and_trials_are_told),
        cmocka_unit_test(a_trial_that_was_left_out_is_named_and_not_counted),
        cmocka_unit_test(a_long_question_is_shown_whole),
        cmocka_unit_test(loadings_are_listed_while_calibrating),
        cmocka_unit_test(large_words_say_what_is_asked),
        cmocka_unit_test(the_result_is_large_and_says_what_to_do),
        cmocka_unit_test(what_was_refused_is_not_cut),
        cmocka_unit_test(nothing_to_do_is_lost_at_the_edge),
        cmocka_unit_test(ounces_and_fahrenheit_have_their_place_too),
        cmocka_unit_test(progress_runs_to_the_reading),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
