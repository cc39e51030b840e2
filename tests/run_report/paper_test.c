/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How paper is filled: what does not fit begins the next page, and a table's head goes with it.
 * What stands in a report: tests/cli/report_test.sh.
 */
#include <cairo.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "run_report/paper.h"

static struct paper begin(void) {
    cairo_surface_t *surface = cairo_recording_surface_create(CAIRO_CONTENT_COLOR_ALPHA, NULL);
    struct paper paper = {.title = "Report", .cairo = cairo_create(surface)};
    cairo_surface_destroy(surface);
    paper.context = pango_cairo_create_context(paper.cairo);
    paper_begin(&paper);
    return paper;
}

static void end(struct paper *paper) {
    paper_end(paper);
    g_object_unref(paper->context);
    cairo_destroy(paper->cairo);
}

static const struct paper_column columns[] = {{"Name", 0.5, false}, {"Grams", 0.5, true}};

static void a_table_goes_on_below_its_head(void **state) {
    (void)state;
    struct paper paper = begin();
    struct paper_table table = {&paper, columns, 2};
    const char *cell[] = {"fin", "1.0"};
    paper_table(&table);
    double head_pt = paper.y_pt;
    paper_row(&table, cell);
    double row_pt = paper.y_pt - head_pt;
    while (paper.page == 1) {
        assert_true(paper.y_pt < PAPER_A4_HEIGHT_PT);
        paper_row(&table, cell);
    }
    assert_int_equal(paper.page, 2);
    assert_true(fabs(paper.y_pt - head_pt - row_pt) < 1e-6); /* the head, and that row */
    end(&paper);
}

static void no_heading_is_the_last_line_of_a_page(void **state) {
    (void)state;
    struct paper paper = begin();
    paper.y_pt = PAPER_A4_HEIGHT_PT - 90; /* it has room, a line or two below it have not */
    paper_heading(&paper, "Trials");
    assert_int_equal(paper.page, 2);
    paper.y_pt = PAPER_A4_HEIGHT_PT - 200;
    paper_heading(&paper, "Trials");
    assert_int_equal(paper.page, 2);
    end(&paper);
}

static void an_empty_text_takes_no_room(void **state) {
    (void)state;
    struct paper paper = begin();
    double top_pt = paper.y_pt;
    paper_pair(&paper, "Maker", "");
    assert_true(paper.y_pt == top_pt);
    paper_pair(&paper, "Maker", "Invented Works");
    double once_pt = paper.y_pt - top_pt;
    assert_true(once_pt > 9);
    paper_pair(&paper, "Note",
               "so long that it takes more than one line, whichever letters this machine has to "
               "draw it with, and a little more to be sure that it does");
    assert_true(paper.y_pt - top_pt - once_pt > 1.5 * once_pt);
    end(&paper);
}

static void a_missing_letter_is_noticed(void **state) {
    (void)state;
    struct paper paper = begin();
    paper_text(&paper, "fin");
    assert_false(paper.lacks_a_glyph);
    paper_text(&paper, "\U000F0000"); /* of a plane for private use: no font has it */
    assert_true(paper.lacks_a_glyph);
    end(&paper);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_table_goes_on_below_its_head),
        cmocka_unit_test(no_heading_is_the_last_line_of_a_page),
        cmocka_unit_test(an_empty_text_takes_no_room),
        cmocka_unit_test(a_missing_letter_is_noticed),
    };
    return cmocka_run_group_tests_name("paper", tests, NULL, NULL);
}
