/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a person types and a program writes, as answers. To accept takes the whole word. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "operator/internal.h"
#include "text/text.h"

static const struct up_event question = {
    .kind = UP_EVENT_ASK,
    .ask = {.id = 7, .action = UP_ACTION_CONFIRM, .text = "Was it lifted out?"}};

/* What one line is taken for; false where it is no answer. */
static bool answer_to(enum up_operator_kind kind, const char *line, struct up_reply *reply) {
    struct up_failure failure;
    FILE *output = tmpfile();
    int input[2];
    assert_non_null(output);
    assert_int_equal(pipe(input), 0);
    struct up_operator *op = up_operator_create(kind, input[0], output);
    assert_true(up_operator_event(op, &question, &failure));
    assert_int_equal(write(input[1], line, strlen(line)), strlen(line));
    bool is_answer = up_operator_next(op, true, reply) && reply->kind == UP_REPLY_ANSWER;
    up_operator_destroy(op);
    close(input[0]);
    close(input[1]);
    fclose(output);
    return is_answer;
}

static bool is_word(enum up_operator_kind kind, const char *line, enum up_answer_word word) {
    struct up_reply reply = {.kind = UP_REPLY_STOP};
    return answer_to(kind, line, &reply) && reply.word == word && reply.id == 7;
}

/* A pound of 453.59237 g has 16 oz. */
static void a_body_keeps_its_name_in_all_units(void **state) {
    (void)state;
    struct up_operator op = {.style.imperial = true};
    struct up_reference_check check = {.name = "Steel 1 kg",
                                       .deviation_kg.value = -0.02834952,
                                       .low_kg = -0.01,
                                       .high_kg = 0.0567,
                                       .outside = true};
    UP_FREED char *text = describe_check(&op, &check);
    assert_string_equal(text, "Steel 1 kg reads wrong by -1.00 oz (its limits: -0.35 oz to "
                              "+2.00 oz): OUTSIDE, you accepted it");
}

static void the_typed_word_accepts(void **state) {
    (void)state;
    assert_true(is_word(UP_OPERATOR_KEYS, "accept\n", UP_ANSWER_ACCEPT));
    assert_true(is_word(UP_OPERATOR_KEYS, "  accept \r\n", UP_ANSWER_ACCEPT));
    assert_true(is_word(UP_OPERATOR_KEYS, "\n", UP_ANSWER_DONE)); /* the safe one */
    assert_true(is_word(UP_OPERATOR_KEYS, "s\n", UP_ANSWER_SKIP));
    assert_true(is_word(UP_OPERATOR_KEYS, "a\n", UP_ANSWER_AGAIN));
    assert_true(is_word(UP_OPERATOR_KEYS, "q\n", UP_ANSWER_STOP));
}

static void nothing_less_accepts(void **state) {
    static const char *const lines[] = {"acc\n", "accepted\n", "y\n", "yes\n", "ACCEPT\n"};
    struct up_reply reply;
    (void)state;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        assert_false(answer_to(UP_OPERATOR_KEYS, lines[i], &reply));
    }
}

static void a_program_accepts_by_the_same_word(void **state) {
    (void)state;
    struct up_reply reply;
    assert_true(is_word(UP_OPERATOR_JSON, "{\"id\":7,\"answer\":\"accept\"}\n", UP_ANSWER_ACCEPT));
    assert_true(is_word(UP_OPERATOR_JSON, "{\"id\":7,\"answer\":\"done\"}\n", UP_ANSWER_DONE));
    assert_false(answer_to(UP_OPERATOR_JSON, "{\"id\":7,\"answer\":\"Accept\"}\n", &reply));
    assert_false(answer_to(UP_OPERATOR_JSON, "{\"id\":7,\"answer\":true}\n", &reply));
    assert_false(answer_to(UP_OPERATOR_JSON, "accept\n", &reply));
}

/* Only a person at a terminal is waited for: a program or a pipe gets one line and goes on. */
static void cautions_hold_up_nobody_else(void **state) {
    static const char *const texts[] = {"for a person", NULL};
    const struct up_cautions cautions = {texts, "in one line"};
    (void)state;
    for (int kind = UP_OPERATOR_KEYS; kind <= UP_OPERATOR_PEDAL; kind++) {
        char text[200] = "";
        struct up_failure failure;
        FILE *output = tmpfile();
        int input[2];
        assert_non_null(output);
        assert_int_equal(pipe(input), 0);
        struct up_operator *op = up_operator_create((enum up_operator_kind)kind, input[0], output);
        close(input[1]); /* whoever waits for a line sees the end */
        assert_true(up_operator_caution(op, &cautions, NULL, &failure));
        up_operator_destroy(op);
        rewind(output);
        assert_true(fread(text, 1, sizeof text - 1, output) > 0);
        assert_non_null(strstr(text, "in one line"));
        assert_null(strstr(text, "for a person"));
        assert_ptr_equal(strchr(text, '\n'), text + strlen(text) - 1);
        close(input[0]);
        fclose(output);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_body_keeps_its_name_in_all_units),
        cmocka_unit_test(the_typed_word_accepts),
        cmocka_unit_test(nothing_less_accepts),
        cmocka_unit_test(a_program_accepts_by_the_same_word),
        cmocka_unit_test(cautions_hold_up_nobody_else),
    };
    return cmocka_run_group_tests_name("answers", tests, NULL, NULL);
}
