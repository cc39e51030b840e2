/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The live screen at the end of a quick weighing. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "operator/live.h"

enum { ROWS = 24, COLUMNS = 80 };

static struct up_cell cells[ROWS * COLUMNS];
static struct up_canvas canvas = {ROWS, COLUMNS, true, cells};
static struct up_result results[2];
static const struct up_water fresh = {.name = "fresh", .temp_c = 20};

static const char *row_text(int row) {
    static char text[COLUMNS * UP_CELL_BYTES + 1];
    size_t length = 0;
    for (int i = 0; i < COLUMNS; i++) {
        const char *cell = cells[row * COLUMNS + i].text;
        memcpy(text + length, cell, strlen(cell));
        length += strlen(cell);
    }
    while (length > 0 && text[length - 1] == ' ') {
        length--;
    }
    text[length] = '\0';
    return text;
}

/* Of a quick weighing the class names the tank, its grams stand large below. */
static void a_quick_result_names_the_tank(void **state) {
    (void)state;
    char words[40], sentence[600];
    struct up_live_view view = {.what = "measure",
                                .bench = "a bench",
                                .item_name = "Heron fin",
                                .mood = UP_LIVE_DO,
                                .load = (double)NAN,
                                .load_unit = "g",
                                .temp_c = 21.34,
                                .g_per_count = 0.01,
                                .result = results,
                                .results = 1,
                                .finished = true,
                                .quick = true,
                                .typed = "",
                                .refused = ""};
    results[0] =
        (struct up_result){.water = {.name = "tank"},
                           .pieces = 1,
                           .answer = {.buoyancy_kg = {.value = -0.3}, .class = UP_CLASS_NEGATIVE},
                           .question = {.tolerance_kg = 0.05},
                           .quick = {.is = true, .at_most = true, .high_kg = -0.28937}};
    results[1] = results[0]; /* of a water that was calculated: no big word */
    results[1].answer.class = UP_CLASS_NEUTRAL;
    up_live_result(results, 2, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_string_equal(words, "TANK NEGATIVE");
    assert_non_null(strstr(sentence, "Quick weighing, not the full one: this one piece"));
    view.words = words;
    view.sentence = sentence;
    view.results = 0; /* told while it hangs, before a sample of the next item came */
    view.finished = false;
    view.told = "negative";
    up_live_draw(&view, &canvas);
    bool told = false;
    for (int row = 0; row < 24; row++) {
        told = told || (strstr(row_text(row), "tank: negative, not final yet") != NULL &&
                        strstr(row_text(row), "nothing weighed yet") != NULL);
    }
    assert_true(told);
    view.told = NULL;
    view.results = 1;
    view.finished = true;
    up_live_draw(&view, &canvas);
    assert_string_equal(row_text(13), " tank: negative, at most -289.3 g");
    for (int row = 0; row < 24; row++) {
        assert_null(strstr(row_text(row), "-300"));
    }
    view.results = 2; /* what was calculated is no more known than that */
    view.water = &fresh;
    view.waters = 1;
    view.finished = false;
    up_live_draw(&view, &canvas);
    bool said = false;
    for (int row = 0; row < 24; row++) {
        said = said || strstr(row_text(row), "fresh: at most -289.3 g, neutral") != NULL;
        assert_null(strstr(row_text(row), "-300"));
    }
    assert_true(said);
    view.finished = true;
    results[0].quick.at_most = false;
    results[0].quick.aside = UP_ASIDE_NEAR;
    results[0].answer.class = UP_CLASS_UNDECIDED;
    up_live_result(results, 1, &view.style, words, sizeof words, sentence, sizeof sentence);
    assert_string_equal(words, "PUT ASIDE");
    assert_string_equal(sentence, "It needs the full weighing: too near the line at -50 g.");
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_quick_result_names_the_tank)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
