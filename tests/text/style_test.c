/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "text/memory.h"
#include "text/style.h"

static const struct up_style metric, imperial = {.imperial = true};

/* By the international yard and pound of 1959: 453.59237 g are a pound, 0.3048 m a foot. */
static const struct {
    const char *si, *shown;
} sentences[] = {
    {"0.5 kg hang, not 453.59237 g", "1 lb 1.64 oz hang, not 1 lb 0.00 oz"},
    {"its limits: -28.35 to +56.7 g.", "its limits: -1.00 oz to +2.00 oz."},
    {"water at -5 C: give 0 to 40 C", "water at 23.0 F: give 32.0 F to 104.0 F"},
    {"Read it, in degrees C", "Read it, in degrees F"},
    {"3.048 m deep in 1000 kg/m3", "10.0 ft deep in 62.43 lb/ft3"},
    /* commands and names */
    {"0.5 kg: `upthrust measure --rig 'cell 2 kg.ini'`",
     "1 lb 1.64 oz: `upthrust measure --rig 'cell 2 kg.ini'`"},
    {"\"cell 2 kg.ini\" is not of 0.5 kg", "\"cell 2 kg.ini\" is not of 1 lb 1.64 oz"},
    {"one \" of 0.5 kg", "one \" of 1 lb 1.64 oz"},
    /* no such unit, no such number, or none at all */
    {"0x1F g, 0x2 to 0x3 kg, 1 to 2 to 3 g", "0x1F g, 0x2 to 0x3 kg, 1 to 0.07 oz to 0.11 oz"},
    {"in 8 s, 3 gains, 5 %, 12 mm, 35 g/kg, trial 2",
     "in 8 s, 3 gains, 5 %, 12 mm, 35 g/kg, trial 2"},
    {"", ""}};

static void a_sentence_is_told_in_the_persons_units(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof sentences / sizeof sentences[0]; i++) {
        char *same = up_style_text(&metric, sentences[i].si);
        char *shown = up_style_text(&imperial, sentences[i].si);
        assert_string_equal(same, sentences[i].si);
        assert_string_equal(shown, sentences[i].shown);
        free(same);
        free(shown);
    }
}

static void a_brief_mass_has_one_unit_and_no_minus_nothing(void **state) {
    char text[UP_SHOWN_SIZE];
    (void)state;
    up_style_brief(&metric, -371.23, text);
    assert_string_equal(text, "-371.2 g");
    up_style_brief(&imperial, -5871.1862461, text); /* 207.1 oz */
    assert_string_equal(text, "-207.10 oz");
    up_style_brief(&metric, -0.04, text);
    assert_string_equal(text, "+0.0 g");
}

/* 0.1 g is 0.0035 oz: shown as nothing it would read as none. */
static void small_masses_are_seen(void **state) {
    char text[UP_SHOWN_SIZE];
    (void)state;
    up_style_mass(&imperial, 0.1, text);
    assert_string_equal(text, "+0.004 oz");
    up_style_mass(&imperial, -0.15, text); /* 0.0053 oz */
    assert_string_equal(text, "-0.01 oz");
    up_style_mass(&imperial, 0.01, text); /* 0.0004 oz */
    assert_string_equal(text, "+0.00 oz");
    up_style_fine(&metric, -0.004, text);
    assert_string_equal(text, "+0.00");
    up_style_fine(&metric, -0.98, text);
    assert_string_equal(text, "-0.98");
    up_style_fine(&imperial, 0.28349523125, text);
    assert_string_equal(text, "+0.0100");
    assert_string_equal(up_style_unit(&imperial), "oz");
    assert_string_equal(up_style_unit(&metric), "g");
}

/* All that is known of it. */
static void at_most_has_no_interval(void **state) {
    (void)state;
    const struct up_style grams = {.imperial = false}, ounces = {.imperial = true};
    struct up_net net = {-300, 4, 1, -288.26};
    char text[UP_SHOWN_SIZE], interval[UP_SHOWN_SIZE];
    up_style_net(&grams, &net, text, interval);
    assert_string_equal(text, "at most -288.2 g"); /* rounded up: it is a bound */
    assert_string_equal(interval, "");
    up_style_net(&ounces, &net, text, interval);
    assert_string_equal(text, "at most -10.16 oz");
    assert_true(up_style_bound(&grams, -288.3) == -288.3 && up_style_bound(&grams, 0.01) == 0.1);
    assert_false(signbit(up_style_bound(&grams, -0.04)));
    UP_FREED char *said = up_style_text(&ounces, "at most -288 g, least -288 g"); /* 10.159 oz */
    assert_string_equal(said, "at most -10.15 oz, least -10.16 oz");
    net.at_most_g = (double)NAN;
    up_style_net(&grams, &net, text, interval);
    assert_string_equal(text, "-300.0 g");
    assert_string_equal(interval, "+4.0 -5.0 g");
}

/* By the definitions of 1959; what stands behind must be a unit of the same kind. */
static void what_is_typed_may_have_a_unit(void **state) {
    static const struct {
        const char *typed, *unit;
        double value; /* NaN: refused */
    } cases[] = {{"0.45", "m", 0.45},
                 {"18 in", "m", 0.4572},
                 {"2 ft", "m", 0.6096},
                 {"0.5in", "mm", 12.7},
                 {"45 cm", "m", 0.45},
                 {"2 lb", "kg", 0.90718474},
                 {"16oz", "g", 453.59237},
                 {"10 g", "kg", 0.01},
                 {"4 ft2", "m2", 0.37161216},
                 {"0.3 m", "m", 0.3},
                 {"3", "", 3},
                 {"2 lb", "m", (double)NAN},
                 {"18 in", "kg", (double)NAN},
                 {"2 stone", "kg", (double)NAN},
                 {"lb", "kg", (double)NAN},
                 {"", "kg", (double)NAN},
                 {"2 lb 3", "kg", (double)NAN},
                 {"1 lb", "g/kg", (double)NAN}};
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double value;
        bool taken = up_style_typed(cases[i].typed, cases[i].unit, &value);
        assert_int_equal(taken, !isnan(cases[i].value));
        assert_true(!taken || fabs(value - cases[i].value) < 1e-9);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sentence_is_told_in_the_persons_units),
        cmocka_unit_test(a_brief_mass_has_one_unit_and_no_minus_nothing),
        cmocka_unit_test(small_masses_are_seen),
        cmocka_unit_test(at_most_has_no_interval),
        cmocka_unit_test(what_is_typed_may_have_a_unit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
