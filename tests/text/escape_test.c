/* SPDX-License-Identifier: GPL-3.0-or-later */
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
#define BAD          "\xEF\xBF\xBD" /* U+FFFD */

typedef char *(*escaping)(const char *text);

static void assert_escaped(escaping escape, const char *text, const char *wanted) {
    char *escaped = escape(text);
    assert_string_equal(escaped, wanted);
    free(escaped);
}

static void assert_cleaned(const char *bytes, size_t length, const char *wanted) {
    char *clean = up_text_clean(bytes, length);
    assert_string_equal(clean, wanted);
    free(clean);
}

/* UTF-8 of a code point, surrogates and all. */
static void encode(uint32_t point, char text[5]) {
    size_t more = point < 0x80 ? 0 : point < 0x800 ? 1 : point < 0x10000 ? 2 : 3;
    static const unsigned char lead[] = {0, 0xC0, 0xE0, 0xF0};
    text[0] = (char)(lead[more] | point >> (6 * more));
    for (size_t i = 1; i <= more; i++) {
        text[i] = (char)(0x80 | (point >> (6 * (more - i)) & 0x3F));
    }
    text[more + 1] = '\0';
}

static void assert_all_replace(uint32_t point) {
    char text[5];
    encode(point, text);
    assert_escaped(up_text_for_terminal, text, BAD);
    assert_escaped(up_text_for_gnuplot, text, "\"" BAD "\"");
    assert_cleaned(text, strlen(text), BAD);
    char *csv = up_text_for_csv(text);
    assert_non_null(strstr(csv, BAD));
    assert_null(strstr(csv, text));
    free(csv);
}

static void test_each_control_character_is_replaced(void **state) {
    (void)state;
    for (uint32_t point = 1; point < 0x20; point++) {
        assert_all_replace(point);
    }
    for (uint32_t point = 0x7F; point < 0xA0; point++) {
        assert_all_replace(point);
    }
    assert_all_replace(0xFEFF);
    assert_all_replace(0x2028);
    assert_all_replace(0x2029);
}

static void test_nul_and_length_of_clean(void **state) {
    (void)state;
    assert_cleaned("a\0b", 3, "a" BAD "b");
    assert_cleaned("\0", 1, BAD);
    assert_cleaned("abc", 2, "ab");
    assert_cleaned("abc", 0, "");
    assert_cleaned("\xC3\xA9", 1, BAD); /* the byte behind the length is not looked at */
}

/* Each byte of what is no character becomes one U+FFFD. */
static void test_what_is_not_utf8(void **state) {
    (void)state;
    static const struct {
        const char *bytes, *clean;
    } row[] = {
        {"\x80", BAD},                         /* continuation alone */
        {"\xBF", BAD},                         /* */
        {"\xC0\xAF", BAD BAD},                 /* overlong slash, 2, 3 and 4 bytes */
        {"\xE0\x80\xAF", BAD BAD BAD},         /* */
        {"\xF0\x80\x80\xAF", BAD BAD BAD BAD}, /* */
        {"\xC1\xBF", BAD BAD},                 /* overlong U+007F */
        {"\xE0\x9F\xBF", BAD BAD BAD},         /* overlong U+07FF */
        {"\xF0\x8F\xBF\xBF", BAD BAD BAD BAD}, /* overlong U+FFFF */
        {"\xC0\x80", BAD BAD},                 /* overlong NUL */
        {"\xED\xA0\x80", BAD BAD BAD},         /* U+D800 */
        {"\xED\xBF\xBF", BAD BAD BAD},         /* U+DFFF */
        {"\xF4\x90\x80\x80", BAD BAD BAD BAD}, /* U+110000 */
        {"\xF5\x80\x80\x80", BAD BAD BAD BAD}, /* */
        {"\xF8\x88\x80\x80\x80", BAD BAD BAD BAD BAD},
        {"\xFE\xFF", BAD BAD},
        {"\xC3", BAD},                 /* cut off */
        {"\xE2\x82", BAD BAD},         /* */
        {"\xF0\x9F\x98", BAD BAD BAD}, /* */
        {"\xC3(", BAD "("},            /* what follows survives */
        {"\xE2\x82\"", BAD BAD "\""},  /* */
        {"a\xFFz", "a" BAD "z"},
        {"caf\xE9", "caf" BAD}, /* Latin-1 */
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_cleaned(row[i].bytes, strlen(row[i].bytes), row[i].clean);
        assert_escaped(up_text_for_terminal, row[i].bytes, row[i].clean);
    }
}

static void test_characters_stay(void **state) {
    (void)state;
    static const uint32_t kept[] = {0x20,   0x7E,   0xA0,   0xE9,    0x7FF,   0x800,   0xD7FF,
                                    0xE000, 0xFEFE, 0xFFFD, 0x10000, 0x1F600, 0x10FFFD};
    for (size_t i = 0; i < COUNT(kept); i++) {
        char text[5];
        encode(kept[i], text);
        assert_cleaned(text, strlen(text), text);
        assert_escaped(up_text_for_terminal, text, text);
    }
    const char *plain = "D-ring 50 mm, \xE2\x82\xAC 3; it's \"fine\" \\ `really`";
    assert_escaped(up_text_for_terminal, plain, plain);
    assert_escaped(up_text_for_terminal, "", "");
}

/* Default_Ignorable_Code_Point of the Unicode Character Database 15.0, DerivedCoreProperties.txt
   (from memory), and two more that are drawn as nothing. */
static bool is_hidden(uint32_t point) {
    static const uint32_t ranges[][2] = {
        {0x00AD, 0x00AD},   {0x034F, 0x034F},   {0x061C, 0x061C}, {0x115F, 0x1160},
        {0x17B4, 0x17B5},   {0x180B, 0x180F},   {0x200B, 0x200F}, {0x202A, 0x202E},
        {0x2060, 0x206F},   {0x2800, 0x2800},   {0x3164, 0x3164}, {0xFE00, 0xFE0F},
        {0xFEFF, 0xFEFF},   {0xFFA0, 0xFFA0},   {0xFFF0, 0xFFFB}, {0x1BCA0, 0x1BCA3},
        {0x1D173, 0x1D17A}, {0xE0000, 0xE0FFF},
    };
    for (size_t i = 0; i < COUNT(ranges); i++) {
        if (point >= ranges[i][0] && point <= ranges[i][1]) {
            return true;
        }
    }
    return false;
}

/* The whole of Unicode against the rule of the header, as the decoder has edges everywhere. */
static void test_every_code_point(void **state) {
    (void)state;
    for (uint32_t point = 1; point <= 0x110000; point++) {
        char text[5];
        encode(point, text);
        bool control = point < 0x20 || (point >= 0x7F && point <= 0x9F) || point == 0x2028 ||
                       point == 0x2029 || is_hidden(point) || (point & 0xFFFE) == 0xFFFE ||
                       (point >= 0xFDD0 && point <= 0xFDEF); /* no characters, nor of XML */
        bool none = (point >= 0xD800 && point <= 0xDFFF) || point > 0x10FFFF;
        char *clean = up_text_clean(text, strlen(text));
        if (strcmp(clean, control ? BAD
                          : none  ? clean
                                  : text) != 0 ||
            (none && strspn(clean, BAD) != 3 * strlen(text))) {
            fail_msg("U+%04X became %s", (unsigned)point, clean);
        }
        free(clean);
    }
}

/* Between two letters of a script that needs them; anywhere else one name would pass for another.
 */
static void test_joiners(void **state) {
    (void)state;
    static const char *const kept[] = {"\u0645\u06CC\u200C\u062E\u0648", /* Persian */
                                       "\u0915\u094D\u200D\u0937"};      /* Devanagari */
    for (size_t i = 0; i < COUNT(kept); i++) {
        assert_cleaned(kept[i], strlen(kept[i]), kept[i]);
    }
    assert_escaped(up_text_for_terminal, "fi\u200Dn", "fi" BAD "n");
    assert_escaped(up_text_for_terminal, "\u0645\u200C", "\u0645" BAD);
    assert_escaped(up_text_for_terminal, "\u200C\u0645", BAD "\u0645");
    assert_escaped(up_text_for_terminal, "\u0645\u200Cn", "\u0645" BAD "n");
    assert_escaped(up_text_for_terminal, "\u0645\u200C\u200C\u0645", "\u0645" BAD BAD "\u0645");
    assert_true(up_text_is_clean("fin") && !up_text_is_clean("fi\u200Bn"));
}

static void test_look_alikes(void **state) {
    (void)state;
    static const char *const alike[][2] = {{"coco", "\u0441\u043E\u0441\u043E"}, /* Cyrillic */
                                           {"fin 1", "fin l"},
                                           {"Fin", "\uFF26in"},
                                           {"\u6F22\u5B57", "\u6F22\u200D\u5B57"},
                                           {"Heron fin", " Heron  fin "}};
    for (size_t i = 0; i < COUNT(alike); i++) {
        char *one = up_text_skeleton(alike[i][0]), *other = up_text_skeleton(alike[i][1]);
        assert_string_equal(one, other);
        free(one);
        free(other);
    }
    char *one = up_text_skeleton("fin S"), *other = up_text_skeleton("fin M");
    assert_string_not_equal(one, other);
    free(one);
    free(other);
}

static void case_and_width_are_folded(void **state) {
    (void)state;
    static const char *const same[][2] = {{"Fin", "FIN"},
                                          {"\u00C9cole", "\u00E9COLE"},
                                          {"stra\u00DFe", "STRASSE"},
                                          {"\uFF26in", "fin"}};
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        char *one = up_text_folded(same[i][0]), *other = up_text_folded(same[i][1]);
        assert_string_equal(one, other);
        free(one);
        free(other);
    }
    char *one = up_text_folded("fin l"), *other = up_text_folded("fin 1");
    assert_string_not_equal(one, other);
    free(one);
    free(other);
}

static void test_terminal(void **state) {
    (void)state;
    assert_escaped(up_text_for_terminal, "\x1B[2J\x1B]0;title\a", BAD "[2J" BAD "]0;title" BAD);
    assert_escaped(up_text_for_terminal, "one\ttwo\r\nthree", "one" BAD "two" BAD BAD "three");
}

static void test_gnuplot(void **state) {
    (void)state;
    static const struct {
        const char *text, *escaped;
    } row[] = {
        {"", "\"\""},
        {"wing 18 l", "\"wing 18 l\""},
        {"\"", "\"\\\"\""},
        {"\\", "\"\\\\\""},
        {"`touch x`", "\"\\`touch x\\`\""},
        {"\\\"", "\"\\\\\\\"\""},
        {"\"; system(\"touch x\")", "\"\\\"; system(\\\"touch x\\\")\""},
        {"24''", "\"24''\""},
        {"a\n!touch x", "\"a" BAD "!touch x\""},
        {"\xC3\"", "\"" BAD "\\\"\""}, /* a lead byte must not swallow the quote */
        {"\\n\\042$@x#{/Bold y}", "\"\\\\n\\\\042$@x#{/Bold y}\""},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_escaped(up_text_for_gnuplot, row[i].text, row[i].escaped);
    }
}

static void test_csv(void **state) {
    (void)state;
    static const struct {
        const char *text, *field;
    } row[] = {
        {"", ""},
        {"wing", "wing"},
        {"a,b", "\"a,b\""},
        {"a;b", "\"a;b\""},
        {"a;=1+1", "\"a;'=1+1\""}, /* where cells end at semicolons */
        {"a; \uFF0B1;@x", "\"a; '\uFF0B1;'@x\""},
        {"a;\"=1+1;b", "\"a;\"\"'=1+1;b\""},
        {"\uFF1D1+1", "\"'\uFF1D1+1\""},
        {"a=1;b", "\"a=1;b\""},
        {"2\" pipe", "\"2\"\" pipe\""},
        {"\"", "\"\"\"\""},
        {" lead", "\" lead\""},
        {"-0.5", "-0.5"},
        {"+5", "+5"},
        {"-1e3", "-1e3"},
        {"=cmd()", "\"'=cmd()\""},
        {"=1+1", "\"'=1+1\""},
        {"+cmd|' /C calc'!A0", "\"'+cmd|' /C calc'!A0\""},
        {"-2+3", "\"'-2+3\""},
        {"@SUM(A1)", "\"'@SUM(A1)\""},
        {"-", "\"'-\""},
        {"--1", "\"'--1\""},
        {"-1,5", "\"'-1,5\""},
        {"=\"x\",1", "\"'=\"\"x\"\",1\""},
        {"\t=1", "\"'" BAD "=1\""},
        {"\r=1", "\"'" BAD "=1\""},
        {"line\nbreak", "line" BAD "break"},
        {"a=b", "a=b"},
        {"it's", "it's"},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        assert_escaped(up_text_for_csv, row[i].text, row[i].field);
    }
}

/* The buffers are counted for the worst case; the sanitizers watch. */
static void test_worst_growth(void **state) {
    (void)state;
    static const char worst[] = {'\xFF', '"', '\\', '`', '='};
    for (size_t i = 0; i < sizeof worst; i++) {
        char text[301];
        memset(text, worst[i], sizeof text - 1);
        text[sizeof text - 1] = '\0';
        free(up_text_for_gnuplot(text));
        free(up_text_for_csv(text));
        free(up_text_for_terminal(text));
        char *csv = up_text_for_csv(text + sizeof text - 2);
        assert_non_null(csv);
        free(csv);
    }
}

static void test_failure_holds_its_text(void **state) {
    (void)state;
    struct up_failure failure;
    char text[2000];
    memset(text, 'x', sizeof text - 1);
    text[sizeof text - 1] = '\0';
    assert_false(up_fail(&failure, UP_STATUS_UNABLE, "no %s", "water"));
    assert_string_equal(failure.text, "no water");
    assert_false(up_fail(&failure, UP_STATUS_WRONG_INPUT, "line 3: %s", failure.text));
    assert_string_equal(failure.text, "line 3: no water");
    assert_int_equal(failure.status, UP_STATUS_WRONG_INPUT);
    assert_false(up_fail(&failure, UP_STATUS_UNABLE, "%s", text));
    assert_int_equal(strlen(failure.text), sizeof failure.text - 1);
    assert_string_equal(failure.text + strlen(failure.text) - 4, "x..."); /* the cut is seen */
    assert_false(up_fail(NULL, UP_STATUS_UNABLE, "%s", text));
}

static void test_printing_is_harmless_but_for_its_own_line_feed(void **state) {
    (void)state;
    char *text = NULL;
    size_t size = 0;
    FILE *stream = open_memstream(&text, &size);
    assert_non_null(stream);
    up_text_print(stream, "%s: %d\n", "a\x1B[2J\nb", 7);
    up_text_print(stream, "%s", "c\n");
    up_text_print(stream, "%s\n", "");
    assert_int_equal(fclose(stream), 0);
    assert_string_equal(text, "a" BAD "[2J" BAD "b: 7\nc" BAD "\n");
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_each_control_character_is_replaced),
        cmocka_unit_test(test_nul_and_length_of_clean),
        cmocka_unit_test(test_what_is_not_utf8),
        cmocka_unit_test(test_characters_stay),
        cmocka_unit_test(test_every_code_point),
        cmocka_unit_test(test_terminal),
        cmocka_unit_test(test_joiners),
        cmocka_unit_test(test_look_alikes),
        cmocka_unit_test(test_gnuplot),
        cmocka_unit_test(test_csv),
        cmocka_unit_test(test_worst_growth),
        cmocka_unit_test(test_failure_holds_its_text),
        cmocka_unit_test(test_printing_is_harmless_but_for_its_own_line_feed),
        cmocka_unit_test(case_and_width_are_folded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
