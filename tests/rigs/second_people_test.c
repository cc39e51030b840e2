/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The people at the second tank, and that a seed gives the same session again. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "second_session.h"

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

static void assert_same(const struct second_outcome *a, const struct second_outcome *b) {
    assert_int_equal(a->results, b->results);
    assert_int_equal(a->questions, b->questions);
    assert_true(a->measuring_s == b->measuring_s);
    for (unsigned i = 0; i < a->results; i++)
        assert_true(a->value_kg[i] == b->value_kg[i] && a->width_kg[i] == b->width_kg[i]);
}

static void test_seeds_repeat(void **state) {
    (void)state;
    struct second_plan plan = {.law = SECOND_CREEP, .seed = 5};
    struct second_outcome once, again, other;
    second_session_play(&plan, &once);
    second_session_play(&plan, &again);
    plan.seed = 6;
    second_session_play(&plan, &other);
    assert_true(once.results > 0 && !once.made);
    assert_same(&once, &again);
    assert_true(once.truth_kg[0] != other.truth_kg[0]);
}

/* Each mistake is made in most sessions, and in none is it made unasked. */
static void test_mistakes_are_made(void **state) {
    (void)state;
    for (int m = SECOND_NO_MISTAKE; m < SECOND_MISTAKES; m++) {
        unsigned made = 0;
        for (unsigned long seed = 11; seed <= 14; seed++) {
            struct second_plan plan = {.mistake = (enum second_mistake)m, .seed = seed};
            struct second_outcome outcome;
            second_session_play(&plan, &outcome);
            made += outcome.made;
        }
        assert_true(m == SECOND_NO_MISTAKE ? made == 0 : made >= 2);
    }
}

static enum up_answer_word word_to(struct second_operator *person, const char *text) {
    struct up_ask ask = {.id = 9, .action = UP_ACTION_CONFIRM, .time_s = 100};
    struct second_answer answer = {0};
    strncpy(ask.text, text, sizeof ask.text - 1);
    second_operator_asked(person, &ask);
    assert_false(second_operator_acts(person, 100.4, &answer));
    assert_true(second_operator_acts(person, 105, &answer));
    assert_int_equal(answer.id, 9);
    return answer.word;
}

static struct second_tank still_tank(void) {
    struct second_tank tank;
    second_tank_begin(&tank, &(struct second_tank_law){.water_c = 20, .water_kg_m3 = 998.2},
                      &(struct second_cell_law){.counts_g = 500}, chance);
    return tank;
}

static void test_people_answer_truthfully(void **state) {
    (void)state;
    struct second_truth truth = {.item = {.mass_kg = 3, .volume_m3 = 1e-3}};
    struct second_tank tank = still_tank();
    struct second_operator person;
    const char *outlier = "Trial 2 is light. Done: keep it. Skip: leave it out";
    second_operator_begin(&person, &tank, &truth, SECOND_NOT_LIFTED_ONCE, chance);
    assert_int_equal(word_to(&person, outlier), UP_ANSWER_DONE);
    person.begun = person.spoiling = true;
    second_operator_trial_ended(&person, 2);
    assert_int_equal(word_to(&person, "Trial 1 is light. Done: keep it. Skip: leave it out"),
                     UP_ANSWER_DONE);
    assert_false(person.noticed);
    assert_int_equal(word_to(&person, outlier), UP_ANSWER_SKIP);
    assert_true(person.noticed);
    assert_int_equal(word_to(&person, "It did not change. Again: weigh it once more"),
                     UP_ANSWER_AGAIN);
    assert_true(person.mended);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_seeds_repeat),
        cmocka_unit_test(test_mistakes_are_made),
        cmocka_unit_test(test_people_answer_truthfully),
    };
    return cmocka_run_group_tests(tests, make_chance, drop_chance);
}
