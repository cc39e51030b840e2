/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The second tank's load cell and what swings, against equations in closed form. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "second_cell.h"
#include "second_motion.h"

static const double tenth_mg = 1e-7; /* kg: the 1e-4 g of the truth test */

#define assert_near(value, expected, within) assert_true(fabs((value) - (expected)) <= (within))

static gsl_rng *chance;

static int make_chance(void **state) {
    (void)state;
    chance = gsl_rng_alloc(gsl_rng_mt19937);
    return chance ? 0 : -1;
}

static int drop_chance(void **state) {
    (void)state;
    gsl_rng_free(chance);
    return 0;
}

static const struct second_cell_law ideal = {.counts_g = 500};

/* ---- the cell ---- */

static double shows_kg(const struct second_cell *cell, double time_s) {
    return second_cell_shows_kg(cell, time_s, 0);
}

static void test_creep(void **state) {
    (void)state;
    struct second_cell_law law = ideal;
    struct second_cell cell;
    law.creep[0] = 0.002, law.creep_s[0] = 20, law.creep_unloading[0] = -0.001;
    law.creep[1] = 0.001, law.creep_s[1] = 300, law.creep_unloading[1] = 0.0005;
    second_cell_begin(&cell, &law, chance);
    second_cell_load(&cell, 0, 2);
    assert_near(shows_kg(&cell, 0), 2, tenth_mg);
    /* 2 (1 + 0.002 (1 - exp(-1)) + 0.001 (1 - exp(-1/15))) = 2.002657466... */
    assert_near(shows_kg(&cell, 20), 2 + 0.004 * 0.6321205588 + 0.002 * 0.0644930150, tenth_mg);
    assert_near(shows_kg(&cell, 1e5), 2.006, tenth_mg);
    second_cell_load(&cell, 1e5, 0);
    /* off it comes with what creeps the other way: -0.002 and +0.001 kg, and goes to nothing */
    assert_near(shows_kg(&cell, 1e5), -0.002 + 0.001, tenth_mg);
    assert_near(shows_kg(&cell, 1e5 + 20), -0.002 * 0.3678794412 + 0.001 * 0.9355069850, tenth_mg);
    assert_near(shows_kg(&cell, 2e5), 0, tenth_mg);
}

/* A play operator lags by its slack: loaded to 1 kg and back it stands at +r, and the pull to the
   other side brings it to -r. */
static void test_loop(void **state) {
    (void)state;
    struct second_cell_law law = ideal;
    struct second_cell cell;
    law.play_kg[0] = 0.1, law.play_share[0] = 0.01;
    second_cell_begin(&cell, &law, chance);
    second_cell_load(&cell, 0, 0.5);
    assert_near(shows_kg(&cell, 1), 0.5 + 0.01 * 0.4, tenth_mg);
    second_cell_load(&cell, 2, 1);
    assert_near(shows_kg(&cell, 3), 1 + 0.01 * 0.9, tenth_mg);
    second_cell_load(&cell, 4, 0.5);
    assert_near(shows_kg(&cell, 5), 0.5 + 0.01 * 0.6, tenth_mg);
    second_cell_load(&cell, 6, 0);
    assert_near(shows_kg(&cell, 7), 0.01 * 0.1, tenth_mg);
}

static void test_bend_and_span(void **state) {
    (void)state;
    struct second_cell_law law = ideal;
    struct second_cell cell;
    law.bend_per_kg = 1e-4, law.span_share = 2e-4;
    second_cell_begin(&cell, &law, chance);
    second_cell_load(&cell, 0, 3);
    assert_near(shows_kg(&cell, 1), 3 * (1 + 2e-4 + 3e-4), tenth_mg);
    law.zero_counts = 1000;
    second_cell_begin(&cell, &law, chance);
    second_cell_load(&cell, 0, 3);
    assert_true(second_cell_word(&cell, 1, 0) == 1000 + 1500750); /* 500 counts a gram, 3001.5 g */
}

/* Standard deviation of so many loadings, or of the readings after unloading. */
static double scatter_kg(double load_kg, double rest_kg, bool at_rest) {
    struct second_cell_law law = ideal;
    struct second_cell cell;
    enum { MANY = 20000 };
    double squares = 0;
    law.scatter_kg = 0.0003, law.scatter_share = 0.002, law.return_share = 0.004;
    gsl_rng_set(chance, 7);
    second_cell_begin(&cell, &law, chance);
    for (int i = 0; i < MANY; i++) {
        second_cell_load(&cell, 2 * i, load_kg);
        double off_kg = shows_kg(&cell, 2 * i) - load_kg;
        second_cell_load(&cell, 2 * i + 1, rest_kg);
        double rest_off_kg = shows_kg(&cell, 2 * i + 1) - rest_kg;
        squares += at_rest ? rest_off_kg * rest_off_kg : off_kg * off_kg;
    }
    return sqrt(squares / MANY);
}

/* u(s)/s of 20000 draws is 0.5 %; 3 % is six of it. */
static void test_scatter_grows_with_load(void **state) {
    (void)state;
    assert_near(scatter_kg(0.1, 0, false), hypot(0.0003, 0.0002), 0.03 * hypot(0.0003, 0.0002));
    assert_near(scatter_kg(2, 0, false), hypot(0.0003, 0.004), 0.03 * hypot(0.0003, 0.004));
    assert_near(scatter_kg(2, 0, true), hypot(0.0003, 0.008), 0.03 * hypot(0.0003, 0.008));
}

static void test_held_words_and_noise(void **state) {
    (void)state;
    struct second_cell_law law = ideal;
    struct second_cell cell;
    enum { MANY = 30000 };
    double last = 0, squares = 0, products = 0;
    law.noise_kg = 0.001, law.noise_lag1 = 0.4, law.held = 3;
    gsl_rng_set(chance, 3);
    second_cell_begin(&cell, &law, chance);
    for (int i = 0; i < MANY; i++) {
        double word = second_cell_word(&cell, i, 0);
        assert_true(second_cell_word(&cell, i, 0) == word && second_cell_word(&cell, i, 0) == word);
        squares += word * word;
        products += word * last;
        last = word;
    }
    /* 0.001 kg at 500 counts a gram; their u is 0.5 and 0.6 % */
    assert_near(sqrt(squares / MANY), 500, 0.03 * 500);
    assert_near(products / squares, 0.4, 0.03);
}

/* ---- movements ---- */

/* x'' = -w^2 x - a x' - c |x'| x' by Runge and Kutta; the amplitude is that of the energy. */
static double integrated_amplitude(double w, double a, double c, double x, double for_s) {
    double v = 0, h = 1e-3;
    for (long i = 0; i < lround(for_s / h); i++) {
        double kx[4], kv[4], at_x = x, at_v = v;
        for (int k = 0; k < 4; k++) {
            kx[k] = at_v;
            kv[k] = -w * w * at_x - a * at_v - c * fabs(at_v) * at_v;
            double part = k < 2 ? h / 2 : h;
            at_x = x + part * kx[k];
            at_v = v + part * kv[k];
        }
        x += h / 6 * (kx[0] + 2 * kx[1] + 2 * kx[2] + kx[3]);
        v += h / 6 * (kv[0] + 2 * kv[1] + 2 * kv[2] + kv[3]);
    }
    return hypot(x, v / w);
}

static void test_quadratic_drag(void **state) {
    (void)state;
    static const double drag[][2] = {{0, 0.4}, {0.1, 0.2}, {0.2, 0}};
    double w = 2 * M_PI * 0.93;
    for (int i = 0; i < 3; i++) {
        double a = drag[i][0], c = drag[i][1];
        struct second_swing swing = {.start_s = 5,
                                     .amplitude_kg = 0.06,
                                     .rate_hz = 0.93,
                                     .linear_per_s = a / 2,
                                     .square_per_kg_s = 4 * c * w / (3 * M_PI)};
        for (double t = 4; t <= 28; t += 8) {
            double expected = integrated_amplitude(w, a, c, 0.06, t);
            assert_near(second_swing_amplitude_kg(&swing, 5 + t), expected, 0.02 * expected);
        }
    }
}

static void test_swing(void **state) {
    (void)state;
    struct second_motion motion = {0};
    struct second_swing swing = {.start_s = 1, .amplitude_kg = 0.01, .rate_hz = 0.5};
    second_motion_start(&motion, &swing);
    assert_near(second_motion_kg(&motion, 3), 0.01, tenth_mg);
    assert_near(second_motion_kg(&motion, 4), -0.01, tenth_mg);
    swing.linear_per_s = 0.1, swing.start_s = 2;
    second_motion_start(&motion, &swing); /* 0.01 exp(-0.2) cos(2 pi) */
    assert_near(second_motion_kg(&motion, 4), -0.01 + 0.00818730753, tenth_mg);
    assert_true(second_motion_kg(&motion, 0.5) == 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_creep),
        cmocka_unit_test(test_loop),
        cmocka_unit_test(test_bend_and_span),
        cmocka_unit_test(test_scatter_grows_with_load),
        cmocka_unit_test(test_held_words_and_noise),
        cmocka_unit_test(test_quadratic_drag),
        cmocka_unit_test(test_swing),
    };
    return cmocka_run_group_tests(tests, make_chance, drop_chance);
}
