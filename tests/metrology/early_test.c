/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "agree.h"
#include "metrology/early.h"

enum { TRACES_MAX = 400 };

static const double ALPHA = 0.01;

/* All times alike. */
static struct up_early_trace flat(unsigned item, double step_kg, double off_kg) {
    struct up_early_trace trace = {.item = item, .step_kg = step_kg};
    for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
        trace.off_kg[i] = off_kg;
    }
    return trace;
}

static void test_too_few(void **state) {
    (void)state;
    struct up_early_trace trace[20];
    for (unsigned i = 0; i < 20; i++) {
        trace[i] = flat(i % 5, 1, i % 2 ? 1e-3 : -1e-3);
    }
    assert_int_equal(up_early_learn(trace, 0, ALPHA).basis, UP_EARLY_NONE);
    assert_int_equal(up_early_learn(trace, 14, ALPHA).basis, UP_EARLY_NONE); /* 9 dof */
    assert_int_equal(up_early_learn(trace, 15, ALPHA).basis, UP_EARLY_FEW);
    assert_int_equal(up_early_learn(trace, 15, 0).basis, UP_EARLY_NONE);
    for (unsigned i = 0; i < 20; i++) {
        trace[i].item = i; /* one of each */
    }
    assert_int_equal(up_early_learn(trace, 10, ALPHA).basis, UP_EARLY_NONE); /* 9 dof */
    assert_int_equal(up_early_learn(trace, 11, ALPHA).basis, UP_EARLY_FEW);
    for (unsigned i = 0; i < 20; i++) {
        trace[i].item = i % 4;
    }
    assert_int_equal(up_early_learn(trace, 20, ALPHA).basis, UP_EARLY_NONE); /* four items */
    struct up_early_envelope none = {0};
    assert_true(isinf(up_early_limit(&none, 0, 1).bound_kg));
}

/* 20 traces of one step, off by 3 g and 1 g in turn: the mean is 2 g, the scatter about it
   sqrt(20 / 19) g, and Student's t for 1 % over nine times, twice, both sides, 15 degrees of
   freedom. */
static void test_few_by_hand(void **state) {
    (void)state;
    struct up_early_trace trace[20];
    for (unsigned i = 0; i < 20; i++) {
        trace[i] = flat(i % 5, 1, i % 2 ? 1e-3 : 3e-3);
    }
    struct up_early_envelope envelope = up_early_learn(trace, 20, ALPHA);
    struct up_early_limit limit = up_early_limit(&envelope, 3, 1);
    double t = gsl_cdf_tdist_Qinv(0.01 / 36, 15);
    assert_int_equal(envelope.items, 5);
    assert_close(limit.off_kg, 2e-3, 1e-9);
    assert_close(limit.bound_kg, t * sqrt(20.0 / 19 * (1 + 1.0 / 20)) * 1e-3, 1e-9);
}

/* 132 traces, every fourth of which shapes: those are off by 1 g either way, so that the scale is
   1 g and the mean nothing. The other 99 are off by 0.1, 0.2, ... 9.9 g, and the 99th bounds. */
static void test_many_by_hand(void **state) {
    (void)state;
    struct up_early_trace trace[132];
    unsigned scored = 0, shaping = 0;
    for (unsigned i = 0; i < 132; i++) {
        bool shapes = i % 4 == 0;
        trace[i] = flat(i % 6, 1, shapes ? (shaping++ % 2 ? 1e-3 : -1e-3) : ++scored * 1e-4);
    }
    struct up_early_envelope envelope = up_early_learn(trace, 132, ALPHA);
    struct up_early_limit limit = up_early_limit(&envelope, 0, 1);
    if (shaping % 2 == 0) {
        fail_msg("the shaping traces have no mean of nothing");
    }
    assert_int_equal(envelope.basis, UP_EARLY_MANY);
    /* 33 shape it: one more is low than high, so the mean is -1/33 g. */
    assert_close(limit.off_kg, -1e-3 / 33, 1e-9);
    assert_close(limit.bound_kg, 9.9e-3 + 1e-3 / 33, 1e-9);
    assert_int_equal(up_early_learn(trace, 131, ALPHA).basis, UP_EARLY_FEW);
}

/* Offs of 1 g without a step and of hypot(1, 2) g with one of a kilogram: A is 1 g, B 2 g. */
static void test_scale_by_hand(void **state) {
    (void)state;
    struct up_early_trace trace[20];
    for (unsigned i = 0; i < 20; i++) {
        double sign = i / 2 % 2 ? 1 : -1;
        trace[i] = flat(i % 5, i % 2, sign * 1e-3 * (i % 2 ? sqrt(5) : 1));
    }
    struct up_early_envelope envelope = up_early_learn(trace, 20, ALPHA);
    assert_close(envelope.a_kg[0], 1e-3, 1e-9);
    assert_close(envelope.b[0], 2e-3, 1e-9);
    assert_close(up_early_limit(&envelope, 0, 2).bound_kg /
                     up_early_limit(&envelope, 0, 0).bound_kg,
                 sqrt(17), 1e-6);
}

/* ---- coverage ---- */

/* Something that rings with its mass whatever its step, in a manner of its own, and creeps with the
   step: nothing normal about it. */
static struct up_early_trace ringing(gsl_rng *rng, unsigned item, bool heavy_tail) {
    struct up_early_trace trace = {.item = item, .step_kg = gsl_ran_gaussian(rng, 0.5)};
    double amplitude = heavy_tail ? gsl_ran_lognormal(rng, -6, 0.8) : gsl_ran_gaussian(rng, 3e-3);
    double period_s = gsl_ran_flat(rng, 0.8, 3), phase = gsl_ran_flat(rng, 0, 6.28);
    for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
        double t = up_early_time_s[i % UP_EARLY_TIMES];
        double wave = heavy_tail ? sin(6.28 * t / period_s + phase) : 1;
        trace.off_kg[i] = amplitude * exp(-t / 5) * wave + trace.step_kg * 1e-3 * log10(20 / t) +
                          gsl_ran_gaussian(rng, 2e-4);
    }
    return trace;
}

/* How often the next trace leaves the envelope at one time at least. */
static double share_outside(size_t traces, bool heavy_tail, int benches) {
    static struct up_early_trace trace[TRACES_MAX];
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    int outside = 0, next = 50;
    gsl_rng_set(rng, 5);
    for (int bench = 0; bench < benches; bench++) {
        for (size_t i = 0; i < traces; i++) {
            trace[i] = ringing(rng, (unsigned)i / 3, heavy_tail);
        }
        struct up_early_envelope envelope = up_early_learn(trace, traces, ALPHA);
        for (int i = 0; i < next; i++) {
            struct up_early_trace one = ringing(rng, 0, heavy_tail);
            outside += up_early_contradicts(&envelope, one.step_kg, one.off_kg, UP_EARLY_TIMES, 0);
        }
    }
    gsl_rng_free(rng);
    return (double)outside / (benches * next);
}

/* Exactly alpha for 99 scores in the long run; within a bench the share is spread as Beta(99, 1),
   sd 0.0099, so that the mean of 400 benches has sd 0.0005 and 50 traces each add 0.0007. */
static void test_many_cover(void **state) {
    (void)state;
    double outside = share_outside(132, true, 400);
    print_message("# outside: %.4f of the next traces, 0.0100 meant\n", outside);
    assert_close(outside, 0.01, 5 * 0.0009);
}

/* Normal traces; the times share the risk, though they are much alike. */
static void test_few_cover(void **state) {
    (void)state;
    double outside = share_outside(21, false, 400);
    print_message("# outside: %.4f of the next traces, 0.0100 allowed\n", outside);
    assert_true(outside < 0.01 && outside > 0);
}

/* ---- contradiction ---- */

static struct up_early_envelope within_grams(double grams) {
    struct up_early_envelope envelope = {.basis = UP_EARLY_MANY};
    for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
        envelope.a_kg[i] = 1e-3;
        envelope.bound[i] = grams;
    }
    return envelope;
}

static void test_contradiction(void **state) {
    (void)state;
    struct up_early_envelope envelope = within_grams(2);
    double near[UP_EARLY_VALUES] = {1, 1.0039, 1}, far[UP_EARLY_VALUES] = {1, 1.0041, 1};
    double plain[UP_EARLY_VALUES] = {1, 1, 1};
    for (size_t i = 0; i < 3; i++) {
        near[UP_EARLY_TIMES + i] = far[UP_EARLY_TIMES + i] = 1.002;
        plain[UP_EARLY_TIMES + i] = i == 1 ? 1.0041 : 1;
    }
    double none = (double)NAN;
    assert_false(up_early_contradicts(&envelope, 1, near, 3, none));
    assert_true(up_early_contradicts(&envelope, 1, far, 3, none));
    assert_false(up_early_contradicts(&envelope, 1, far, 1, none)); /* not seen yet */
    assert_true(up_early_contradicts(&envelope, 1, near, 3, 1));    /* the second is 3.9 g off */
    assert_false(up_early_contradicts(&envelope, 1, near, 3, 1.0019));
    assert_true(up_early_contradicts(&envelope, 1, plain, 2, none)); /* a swing, which tapers off */
    assert_false(up_early_contradicts(&envelope, 1, plain, 1, none));
}

static void test_rejection(void **state) {
    (void)state;
    struct up_early_watch watch = {0};
    up_early_note(&watch, true);
    assert_false(up_early_is_rejected(&watch, ALPHA)); /* one may be chance */
    up_early_note(&watch, true);
    assert_true(up_early_is_rejected(&watch, ALPHA));
    for (int i = 0; i < 18; i++) { /* two of 20: one bench of sixty */
        up_early_note(&watch, false);
    }
    assert_false(up_early_is_rejected(&watch, ALPHA));
    up_early_note(&watch, true); /* one of the first two is forgotten */
    assert_false(up_early_is_rejected(&watch, ALPHA));
    up_early_note(&watch, true);
    up_early_note(&watch, true);
    assert_true(up_early_is_rejected(&watch, ALPHA));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_too_few),       cmocka_unit_test(test_few_by_hand),
        cmocka_unit_test(test_many_by_hand),  cmocka_unit_test(test_scale_by_hand),
        cmocka_unit_test(test_many_cover),    cmocka_unit_test(test_few_cover),
        cmocka_unit_test(test_contradiction), cmocka_unit_test(test_rejection),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
