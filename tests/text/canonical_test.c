/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The published examples are in tests/reference/. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "text/json.h"
#include "text/text.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static void test_what_is_canonical(void **state) {
    (void)state;
    static const char *const good[] = {
        "{}",
        "[]",
        "null",
        "true",
        "-1",
        "0.5",
        "{\"a\":[1,2.5,\"x\"],\"b\":{\"c\":null}}",
        "9007199254740992",
        "100000000000000000000", /* 1e20: no integer of jansson */
        "1e+21",
        "0.000001",
        "1e-7",
        "7.120236347223045e-307", /* 2^-1017, whose nearest number of 16 digits is not its own */
        "\"\x7f/\xe2\x80\xa8\"",
    };
    for (size_t i = 0; i < COUNT(good); i++) {
        json_t *json = NULL;
        assert_true(up_json_is_canonical(good[i], &json));
        assert_non_null(json);
        json_decref(json);
    }
}

static void test_what_is_not(void **state) {
    (void)state;
    static const char *const bad[] = {
        " {}",
        "{} ",
        "{}\n",
        "[1, 2]",
        "1.0",
        "-0",
        "-0.0",
        "1E+21",
        "1e21",
        "1e2",
        "01e0",
        "0.50",
        "\"\\u0061\"",
        "\"\\/\"",
        "",
        "\"\\u2028\"",
        "\"\\u001F\"",
        "1e-7\t",
        "{\"b\":1,\"a\":2}",
        "9007199254740993",
        "\xef\xbb\xbf{}",
    };
    for (size_t i = 0; i < COUNT(bad); i++) {
        json_t *json = NULL;
        assert_false(up_json_is_canonical(bad[i], &json));
        json_decref(json);
    }
}

static void test_what_is_no_json(void **state) {
    (void)state;
    static const char *const bad[] = {
        "", "{", "{\"a\":1,\"a\":1}", "nul", "[1]]", "\"\\ud800\"", "\"\xff\"", "NaN", "1e999"};
    for (size_t i = 0; i < COUNT(bad); i++) {
        json_t *json = json_null();
        assert_false(up_json_is_canonical(bad[i], &json));
        assert_null(json);
    }
}

/* What is read is what jansson's user expects, integers as integers. */
static void test_what_is_read(void **state) {
    (void)state;
    json_t *json = NULL;
    json_auto_t *wanted =
        json_pack("{s:i, s:[f, i, s], s:n, s:f}", "a", -3, "b", 0.25, 0, "x", "c", "d", 1e17);
    assert_true(up_json_is_canonical(
        "{\"a\":-3,\"b\":[0.25,0,\"x\"],\"c\":null,\"d\":100000000000000000}", &json));
    assert_true(json_equal(json, wanted));
    json_decref(json);
}

static void assert_canonical(json_t *json, const char *wanted) {
    UP_FREED char *text = up_json_canonical(json);
    if (wanted == NULL) {
        assert_null(text);
    } else {
        assert_string_equal(text, wanted);
    }
    json_decref(json);
}

static void test_integers(void **state) {
    (void)state;
    assert_canonical(json_integer(0), "0");
    assert_canonical(json_integer(-17), "-17");
    assert_canonical(json_integer(9007199254740992), "9007199254740992");
    assert_canonical(json_integer(-9007199254740992), "-9007199254740992");
    assert_canonical(json_integer(9007199254740993), NULL);
    assert_canonical(json_integer(-9007199254740993), NULL);
    assert_canonical(json_pack("{s:[I]}", "deep", (json_int_t)INT64_MAX), NULL);
    assert_canonical(json_pack("[I,i]", (json_int_t)INT64_MIN, 1), NULL);
}

static void test_strings(void **state) {
    (void)state;
    assert_canonical(json_stringn("a\0b", 3), "\"a\\u0000b\"");
    assert_canonical(json_string("\b\t\n\f\r\"\\"), "\"\\b\\t\\n\\f\\r\\\"\\\\\"");
    assert_canonical(json_string("\x01\x1f \x7f/"), "\"\\u0001\\u001f \x7f/\"");
}

/* UTF-16 writes U+10000 and above with D800 to DFFF, below U+E000 to U+FFFF. */
static void test_order_of_keys(void **state) {
    (void)state;
    assert_canonical(json_pack("{s:i,s:i,s:i,s:i,s:i,s:i}", "\xef\xbf\xbd", 6, "\xf0\x90\x80\x80",
                               4, "\xf0\x90\x80\x81", 5, "\xed\x9f\xbf", 3, "a", 1, "aa", 2),
                     "{\"a\":1,\"aa\":2,\"\xed\x9f\xbf\":3,\"\xf0\x90\x80\x80\":4,"
                     "\"\xf0\x90\x80\x81\":5,\"\xef\xbf\xbd\":6}");
    assert_canonical(json_pack("{s:i,s:i}", "x\xf0\x90\x80\x80", 1, "x", 0),
                     "{\"x\":0,\"x\xf0\x90\x80\x80\":1}");
    /* U+E000 to U+EFFF too, and within them by the code. */
    assert_canonical(
        json_pack("{s:i,s:i,s:i}", "\xef\x80\x80", 2, "\xee\x80\x80", 1, "\xf4\x8f\xbf\xbf", 0),
        "{\"\xf4\x8f\xbf\xbf\":0,\"\xee\x80\x80\":1,\"\xef\x80\x80\":2}");
}

static void test_forms(void **state) {
    (void)state;
    assert_true(up_text_has_form("2026-01f", "0000-00x"));
    assert_false(up_text_has_form("2026-01F", "0000-00x"));
    assert_false(up_text_has_form("202a-01f", "0000-00x"));
    assert_false(up_text_has_form("2026-01", "0000-00x"));
    assert_false(up_text_has_form("2026-01ff", "0000-00x"));
    assert_false(up_text_has_form("2026:01f", "0000-00x"));
    assert_true(up_text_has_form("", ""));
    assert_true(up_text_is_hex("09af", 4));
    assert_false(up_text_is_hex("09af", 3));
    assert_false(up_text_is_hex("09af", 5));
    assert_false(up_text_is_hex("09aF", 4));
    assert_false(up_text_is_hex("09ag", 3));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_is_canonical), cmocka_unit_test(test_what_is_not),
        cmocka_unit_test(test_what_is_no_json),   cmocka_unit_test(test_what_is_read),
        cmocka_unit_test(test_integers),          cmocka_unit_test(test_strings),
        cmocka_unit_test(test_order_of_keys),     cmocka_unit_test(test_forms),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
