/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Columns on a terminal, and words that were nearly typed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "text/text.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static void characters_have_their_width(void **state) {
    (void)state;
    static const struct {
        const char *text;
        int columns;
    } cases[] = {{"", 0},
                 {"fin", 3},
                 {"H\xC3\xB6he", 4},
                 {"a\xCC\x88", 1},                /* a mark on its letter */
                 {"\xE6\xBD\x9C\xE6\xB0\xB4", 4}, /* two wide ones */
                 {"\xF0\x9F\xA4\xBF", 2},         /* emoji */
                 {"\xE2\x80\x8D", 0},             /* joiner */
                 {"\xD7\xA1\xD7\xA0", 2},
                 {"\xEF\xBF\xBD", 1}};
    for (size_t i = 0; i < COUNT(cases); i++) {
        if (up_text_columns(cases[i].text) != cases[i].columns) {
            fail_msg("%s: %d columns", cases[i].text, up_text_columns(cases[i].text));
        }
    }
}

static char *put(const char *text, int columns, bool isolate) {
    char *printed = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&printed, &length);
    assert_non_null(stream);
    up_text_put(stream, text, columns, isolate);
    fclose(stream);
    return printed;
}

static void text_is_cut_and_filled(void **state) {
    (void)state;
    static const struct {
        const char *text, *put;
        int columns;
        bool isolate;
    } cases[] = {
        {"fin", "fin", 0, false},
        {"fin", "fin  ", 5, false},
        {"a long name", "a lo...", 7, false},
        {"fins", "fi", 2, false},
        {"\xE6\xBD\x9C\xE6\xB0\xB4\xE6\xBD\x9C", "\xE6\xBD\x9C...", 5, false},
        {"\xE6\xBD\x9C\xE6\xB0\xB4\xE6\xBD\x9C\xE6\xBD\x9C", "\xE6\xBD\x9C... ", 6, false},
        {"\x1B[2J\n", "\xEF\xBF\xBD[2J\xEF\xBF\xBD", 0, false},
        {"\xD7\xA1", "\xE2\x81\xA8\xD7\xA1\xE2\x81\xA9  ", 3, true},
        {"\xD7\xA1", "\xD7\xA1  ", 3, false},
        {"\xD8\xA7 fin", "\xE2\x81\xA8\xD8\xA7 fin\xE2\x81\xA9", 0, true},
        {"fin", "fin", 0, true},
        /* An isolate that a name brings along ends nothing of ours. */
        {"\xD7\xA1\xE2\x81\xA9", "\xE2\x81\xA8\xD7\xA1\xEF\xBF\xBD\xE2\x81\xA9", 0, true},
    };
    for (size_t i = 0; i < COUNT(cases); i++) {
        char *printed = put(cases[i].text, cases[i].columns, cases[i].isolate);
        assert_string_equal(printed, cases[i].put);
        free(printed);
    }
}

/* Hebrew and Arabic before a number would show it behind out of its order. */
static void a_name_is_isolated_from_numbers(void **state) {
    static const struct {
        const char *text, *wanted;
    } cases[] = {
        {"Fin", "Fin"},
        {"\u05E1\u05E0", "\u2068\u05E1\u05E0\u2069"},
        {"a \u0633", "\u2068a \u0633\u2069"},
        {"\u05E1\u202E\u2069", "\u2068\u05E1\uFFFD\uFFFD\u2069"}, /* none of its own gets out */
    };
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char *isolated = up_text_isolated(cases[i].text);
        assert_string_equal(isolated, cases[i].wanted);
        free(isolated);
    }
}

static void slips_of_the_finger_are_near(void **state) {
    (void)state;
    assert_int_equal(up_text_distance("", "item"), 4);
    assert_int_equal(up_text_distance("itme", "item"), 2);
    assert_int_equal(up_text_distance("ITEM", "item"), 0);
    assert_int_equal(up_text_distance("mesure", "measure"), 1);
    assert_true(up_text_is_near("mesure", "measure"));
    assert_true(up_text_is_near("catalouge", "catalogue"));
    assert_false(up_text_is_near("frobnicate", "calibrate"));
    assert_false(up_text_is_near("xyz", "item"));
    char longest[500];
    memset(longest, 'x', sizeof longest);
    longest[499] = '\0';
    assert_int_equal(up_text_distance(longest, ""), 64);
}

/* No line is longer, none could have taken the next word. */
static void a_paragraph_breaks_between_words(void **state) {
    (void)state;
    char *text = NULL;
    size_t size;
    FILE *stream = open_memstream(&text, &size);
    up_text_paragraph(stream, "",
                      "The name of this bench, which no other bench may have: its calibrations "
                      "belong to it.");
    up_text_paragraph(stream, "- ", "short");
    up_text_paragraph(stream, "- ",
                      "- - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - "
                      "- - -");
    fclose(stream);
    assert_string_equal(
        text,
        "The name of this bench, which no other bench may have: its calibrations "
        "belong\nto it.\n- short\n"
        "- - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - - -\n  - - -\n");
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_paragraph_breaks_between_words),
        cmocka_unit_test(characters_have_their_width),
        cmocka_unit_test(text_is_cut_and_filled),
        cmocka_unit_test(a_name_is_isolated_from_numbers),
        cmocka_unit_test(slips_of_the_finger_are_near),
    };
    return cmocka_run_group_tests_name("text: columns", tests, NULL, NULL);
}
