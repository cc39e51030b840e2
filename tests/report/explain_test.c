/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The budget in words: the largest part first, and what weighs nothing in one line. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "report/report.h"

/* u in g where one unit is 1 kg; the shares are those of these u. */
static json_t *line(const char *name, double u_g, double share) {
    return json_pack("{s:s, s:f, s:f, s:f, s:f, s:s, s:s, s:s, s:s}", "name", name, "value", 0.0,
                     "u", u_g * 1e-3, "sensitivity", 1.0, "share_of_variance", share, "unit", "kg",
                     "distribution", "normal", "evaluation", "B", "shared_by", "session");
}

static char *explain(json_t *budget) {
    const struct up_style style = {0};
    char *text = NULL;
    size_t length = 0;
    FILE *stream = open_memstream(&text, &length);
    json_t *document = json_pack("{s:{s:o}}", "result", "budget", budget);
    assert_non_null(stream);
    up_explain_print(document, &style, stream);
    fclose(stream);
    json_decref(document);
    return text;
}

static void the_largest_part_stands_first(void **state) {
    (void)state;
    char *text = explain(json_pack("[o, o, o]", line("small", 1, 0.1), line("large", 2.5, 0.6),
                                   line("middle", 1.7, 0.3)));
    const char *small = strstr(text, "small"), *middle = strstr(text, "middle");
    const char *large = strstr(text, "large ");
    assert_non_null(small);
    assert_true(large < middle && middle < small);
    assert_null(strstr(text, "more, together"));
    free(text);
}

/* 0.03 and 0.04 g make 0.05 g; a term without uncertainty is none of them. */
static void what_weighs_nothing_is_one_line(void **state) {
    (void)state;
    char *text = explain(json_pack("[o, o, o, o, o]", line("heavy", 2, 0.9985),
                                   line("edge", 0.045, 0.0005), line("light", 0.03, 0.0002),
                                   line("lighter", 0.04, 0.0004), line("exact", 0, 0)));
    const char *folded = strstr(text, "2 more, together");
    assert_non_null(strstr(text, "edge"));
    assert_null(strstr(text, "light"));
    assert_null(strstr(text, "exact"));
    assert_non_null(folded);
    assert_non_null(strstr(folded, " 0.050    0.1\n"));
    free(text);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_largest_part_stands_first),
        cmocka_unit_test(what_weighs_nothing_is_one_line),
    };
    return cmocka_run_group_tests_name("report: explain", tests, NULL, NULL);
}
