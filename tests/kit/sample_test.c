/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A small sample of the simulated divers of tests/truth. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "divers.h"

static void test_intervals_hold_the_truth(void **state) {
    (void)state;
    play_divers(40);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_intervals_hold_the_truth)};
    return cmocka_run_group_tests_name("kit: a sample of simulated divers", tests, NULL, NULL);
}
