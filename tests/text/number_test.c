/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <float.h>
#include <locale.h>
#include <math.h>
#include <setjmp.h>
#include <spawn.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>
#include <gsl/gsl_rng.h>

#include "text/text.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

extern char **environ;

static uint64_t bits_of(double value) {
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static uint64_t draw(gsl_rng *rng) {
    return (uint64_t)gsl_rng_get(rng) << 32 | gsl_rng_get(rng);
}

static void test_numbers(void **state) {
    (void)state;
    static const struct {
        const char *text;
        double value;
    } row[] = {
        {"0", 0},
        {"-0", -0.0},
        {"12", 12},
        {"-0.5", -0.5},
        {"1e3", 1e3},
        {"1E+3", 1e3},
        {"2.5e-3", 2.5e-3},
        {"+5", 5},
        {".5", .5},
        {"1.", 1},
        {"-.5e1", -5},
        {"007", 7},
        {"999999999999999", 999999999999999},
        {"9007199254740993", 9007199254740992},
        {"123456789012345678901234567890123456789", 1.2345678901234568e38},
        {"0.1", 0.1},
        {"1.7976931348623157e308", DBL_MAX},
        {"2.2250738585072014e-308", DBL_MIN},
        {"4.9e-324", DBL_TRUE_MIN},
        {"1e-999", 0},
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        double value = -1;
        if (!up_text_number(row[i].text, strlen(row[i].text), &value) ||
            bits_of(value) != bits_of(row[i].value)) {
            fail_msg("\"%s\" gave %.17g", row[i].text, value);
        }
    }
}

static void test_no_numbers(void **state) {
    (void)state;
    static const char *const row[] = {
        "",
        " ",
        " 1",
        "1 ",
        "1\n",
        "\t1",
        "1,5",
        "1.000,5",
        "1'000",
        "1_000",
        "0x10",
        "0X1p3",
        "nan",
        "NaN",
        "-nan",
        "inf",
        "-inf",
        "INF",
        "infinity",
        "1e999",
        "-1e999",
        "--1",
        "+-1",
        "-",
        "+",
        ".",
        "-.",
        "e5",
        ".e5",
        "1e",
        "1e+",
        "1e5.",
        "1.2.3",
        "1e2e3",
        "1f",
        "1l",
        "1d3",
        "12abc",
        "1/2",
        "\xEF\xBC\x91",
        "\xE2\x88\x92\x31",
        "1\xC2\xA0",
        "(1)",
        "$1",
        "12345678901234567890123456789012345678901", /* 41 characters */
    };
    for (size_t i = 0; i < COUNT(row); i++) {
        double value = 0;
        if (up_text_number(row[i], strlen(row[i]), &value)) {
            fail_msg("\"%s\" passed as %.17g", row[i], value);
        }
    }
    double value;
    assert_false(up_text_number("1\0", 2, &value));
    assert_false(up_text_number("1.5\0"
                                "9",
                                5, &value));
}

static size_t make_short(gsl_rng *rng, char text[40]) {
    static const char *const sign[] = {"", "-", "+"};
    uint64_t bits = draw(rng);
    int digits = 1 + (int)(bits % 17), point = (int)(bits / 17 % 20);
    size_t length = (size_t)snprintf(text, 40, "%s", sign[bits / 400 % 3]);
    for (int i = 0; i < digits; i++) {
        if (i == point) {
            text[length++] = '.';
        }
        text[length++] = (char)('0' + draw(rng) % 10);
    }
    if (bits / 1200 % 3 == 0) {
        length += (size_t)snprintf(text + length, 40 - length, "%c%s%d", "eE"[bits / 3600 % 2],
                                   sign[bits / 7200 % 3], (int)(bits / 21600 % 40));
    }
    text[length] = '\0';
    return length;
}

/* The quick way for short numbers rounds as strtod does. */
static void test_short_numbers_as_strtod(void **state) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    char text[40];
    (void)state;
    for (int i = 0; i < 500000; i++) {
        size_t length = make_short(rng, text);
        double value = -1, wanted = strtod(text, NULL);
        if (!up_text_number(text, length, &value) || bits_of(value) != bits_of(wanted)) {
            fail_msg("\"%s\" gave %.17g", text, value);
        }
    }
    gsl_rng_free(rng);
}

static void test_only_the_length_is_read(void **state) {
    (void)state;
    static const char wire[] = {'1', '2', '.', '5', '7'}; /* no NUL at all */
    double value;
    assert_true(up_text_number(wire, 2, &value));
    assert_true(value == 12);
    assert_true(up_text_number(wire, sizeof wire, &value));
    assert_true(value == 12.57);
}

static void assert_prints(double value, const char *wanted) {
    char text[32];
    up_text_from_number(value, text, sizeof text);
    assert_string_equal(text, wanted);
}

static void test_printing(void **state) {
    (void)state;
    assert_prints(0, "0");
    assert_prints(-0.0, "-0");
    assert_prints(0.1, "0.1");
    assert_prints(-12.5, "-12.5");
    assert_prints(0.1 + 0.2, "0.30000000000000004");
    assert_prints(1e22, "1e+22");
    assert_prints(998.20674556, "998.20674556");
    assert_prints(100000, "100000");
    assert_prints(DBL_MAX, "1.7976931348623157e+308");
    assert_prints(DBL_TRUE_MIN, "5e-324");
    assert_prints((double)INFINITY, "INF");
    assert_prints(-(double)INFINITY, "-INF");
    assert_prints((double)NAN, "");
}

static void assert_comes_back(double value) {
    char text[32];
    double back = 0;
    up_text_from_number(value, text, sizeof text);
    if (strchr(text, ',') != NULL || !up_text_number(text, strlen(text), &back) ||
        bits_of(back) != bits_of(value)) {
        fail_msg("%a printed as %s read as %a", value, text, back);
    }
}

/* Half of any bit pattern, half of the sizes that a bench meets. */
static void round_trip(size_t count) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (size_t i = 0; i < count; i++) {
        uint64_t bits = draw(rng);
        double any;
        memcpy(&any, &bits, sizeof any);
        if (i % 2 == 0 && isfinite(any)) {
            assert_comes_back(any);
        } else {
            assert_comes_back(((double)(int64_t)bits) * 0x1p-63 * 50);
        }
    }
    gsl_rng_free(rng);
}

static void test_round_trip(void **state) {
    (void)state;
    round_trip(100000);
}

/* Debian installs no comma locale by default, but the means to make one. */
static bool make_locale(const char *directory) {
    char target[128];
    snprintf(target, sizeof target, "%s/de_DE.UTF-8", directory);
    char name[] = "localedef", input[] = "-i", de[] = "de_DE", map[] = "-f", utf8[] = "UTF-8";
    char *arguments[] = {name, input, de, map, utf8, target, NULL};
    pid_t child;
    int status;
    return posix_spawnp(&child, name, NULL, NULL, arguments, environ) == 0 &&
           waitpid(child, &status, 0) == child && status == 0 &&
           setenv("LOCPATH", directory, 1) == 0 && setlocale(LC_ALL, "de_DE.UTF-8") != NULL;
}

static void remove_locale(const char *directory) {
    char name[] = "rm", flags[] = "-rf", target[128];
    snprintf(target, sizeof target, "%s", directory);
    char *arguments[] = {name, flags, target, NULL};
    pid_t child;
    if (posix_spawnp(&child, name, NULL, NULL, arguments, environ) == 0) {
        waitpid(child, NULL, 0);
    }
    unsetenv("LOCPATH");
}

static bool set_comma_locale(const char *directory) {
    static const char *const name[] = {"de_DE.UTF-8", "fr_FR.UTF-8", "nl_NL.UTF-8", "pt_BR.UTF-8"};
    for (size_t i = 0; i < COUNT(name); i++) {
        if (setlocale(LC_ALL, name[i]) != NULL) {
            return true;
        }
    }
    return make_locale(directory);
}

static void test_comma_locale_changes_nothing(void **state) {
    (void)state;
    char directory[] = "/tmp/upthrust-locale-XXXXXX", comma[16];
    assert_non_null(mkdtemp(directory));
    bool found = set_comma_locale(directory);
    snprintf(comma, sizeof comma, "%.1f", 1.5);
    found = found && strcmp(comma, "1,5") == 0;
    if (found) {
        round_trip(100000);
        test_numbers(NULL);
        test_no_numbers(NULL);
        test_printing(NULL);
        snprintf(comma, sizeof comma, "%.1f", 1.5);
        assert_string_equal(comma, "1,5"); /* and the program's own locale is as before */
    }
    setlocale(LC_ALL, "C");
    remove_locale(directory);
    if (!found) {
        skip();
    }
}

static void test_plurals(void **state) {
    (void)state;
    assert_string_equal(up_text_plural(0), "s");
    assert_string_equal(up_text_plural(1), "");
    assert_string_equal(up_text_plural(2), "s");
}

static void test_rounding_up(void **state) {
    (void)state;
    assert_true(up_text_round_up(-288.9, 1) == -288 && up_text_round_up(-288, 1) == -288);
    assert_true(up_text_round_up(0.11, 10) == 0.2 && up_text_round_up(0.1 + 0.2, 10) == 0.3);
    assert_false(signbit(up_text_round_up(-0.5, 1)));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_numbers),
        cmocka_unit_test(test_no_numbers),
        cmocka_unit_test(test_short_numbers_as_strtod),
        cmocka_unit_test(test_only_the_length_is_read),
        cmocka_unit_test(test_printing),
        cmocka_unit_test(test_round_trip),
        cmocka_unit_test(test_plurals),
        cmocka_unit_test(test_rounding_up),
        cmocka_unit_test(test_comma_locale_changes_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
