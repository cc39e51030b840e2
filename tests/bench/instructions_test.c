/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An instruction names the place: who reads "leave the hanger empty" may leave a mass on the hook.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "bench/calibrating.h"
#include "bench/measuring.h"

/* Each time the words "hook" and "hanger" are said. */
static void assert_places(const char *text) {
    for (const char *at = text; (at = strstr(at, "hook")) != NULL; at++) {
        bool is_place = at - text < 6 || strncmp(at - 6, "upper ", 6) == 0;
        bool is_verb =
            at - text >= 2 && (strncmp(at - 2, "Un", 2) == 0 || strncmp(at - 2, "un", 2) == 0);
        if (!is_place && !is_verb) {
            fail_msg("which hook? %s", text);
        }
    }
    for (const char *at = text; (at = strstr(at, "hanger")) != NULL; at++) {
        if (strncmp(at, "hanger under water", strlen("hanger under water")) != 0) {
            fail_msg("which hanger? %s", text);
        }
    }
}

static unsigned check(const struct step *step) {
    bool hangs = step->text != NULL && !step->is_temperature;
    if (step->doubt != NULL) {
        assert_places(step->doubt);
    }
    if (hangs) {
        assert_places(step->text);
        bool named = strstr(step->text, "upper hook") != NULL ||
                     strstr(step->text, "hanger under water") != NULL;
        if (!named) {
            fail_msg("where? %s", step->text);
        }
    }
    return hangs;
}

static void each_instruction_names_the_place(void **state) {
    (void)state;
    unsigned checked = 0;
    for (int i = 0; i < MEASURE_STEPS; i++) {
        checked += check(measuring_step(i));
    }
    for (int i = 0; i < CALIBRATE_STEPS; i++) {
        checked += check(calibrating_step(i));
    }
    assert_true(checked > 15);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(each_instruction_names_the_place)};
    return cmocka_run_group_tests_name("places", tests, NULL, NULL);
}
