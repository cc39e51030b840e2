/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Simulated divers: UPTHRUST_TRUTH_DIVERS of each law (100). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "divers.h"

static void test_intervals_hold_the_truth(void **state) {
    (void)state;
    const char *wanted = getenv("UPTHRUST_TRUTH_DIVERS");
    play_divers(wanted != NULL ? (unsigned)atoi(wanted) : 100);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_intervals_hold_the_truth)};
    return cmocka_run_group_tests_name("truth: simulated divers", tests, NULL, NULL);
}
