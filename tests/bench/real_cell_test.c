/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A whole calibration on streams that look as those of real cells do. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "bench/procedure.h"
#include "real_cell.h"

static char note[240], fault[240];
static unsigned faults;

static void act(struct real_cell *cell, struct up_procedure *procedure, const struct up_ask *ask) {
    bool hangs = ask->action == UP_ACTION_HANG_MASS;
    if (hangs || ask->action == UP_ACTION_EMPTY_IN_WATER) {
        real_cell_hang(cell, hangs ? 1e3 * ask->mass_kg : 0);
    }
    assert_true(up_procedure_answer(procedure, ask->id, UP_ANSWER_DONE, 0, NULL));
}

static void take_events(struct real_cell *cell, struct up_procedure *procedure) {
    struct up_event event;
    while (up_procedure_next(procedure, &event)) {
        if (event.kind == UP_EVENT_ASK) {
            act(cell, procedure, &event.ask);
        } else if (event.kind == UP_EVENT_NOTE) {
            memcpy(note, event.text, sizeof note);
        } else if (event.kind == UP_EVENT_FAULT) {
            memcpy(fault, event.text, sizeof fault);
            faults++;
        }
    }
}

static void calibrate(struct real_cell *cell, struct up_calibration *calibration) {
    struct up_failure failure = {0};
    struct up_rig rig;
    struct up_procedure *procedure;
    const char *text = "[rig]\nid = x\n[line]\nlayout = fields\nseparator = comma\ntime_field = 1\n"
                       "time_unit = ms\nload_field = 2\nword_bits = 24\n";
    assert_true(up_rig_parse("x.ini", text, &rig, &failure));
    struct up_calibrate_plan plan = {.rig = &rig, .mass_kg = {0.5, 1, 2, 0.5, 1, 2}, .masses = 6};
    assert_true(up_procedure_calibrate(&plan, &procedure, &failure));
    note[0] = fault[0] = '\0';
    faults = 0;
    for (long i = 0; i < 400000 && !up_procedure_is_finished(procedure); i++) {
        struct up_sample sample = {.loads = 1, .temp_c = (double)NAN, .sequence = (double)NAN};
        take_events(cell, procedure);
        sample.load[0] = (double)real_cell_word(cell);
        sample.time_s = cell->now_s;
        up_procedure_sample(procedure, &sample);
    }
    take_events(cell, procedure);
    if (!up_calibration_fit(up_procedure_loadings(procedure), calibration, &failure)) {
        fail_msg("%s; %s", fault, failure.text);
    }
    up_procedure_destroy(procedure);
    gsl_rng_free(cell->rng);
}

/* A line a second, or each conversion up to five times: the readings settle, and the slope is that
   of the cell but for its creep. */
static void real_cells_are_calibrated_at_any_rate(void **state) {
    static const struct {
        double rate_hz, lines_per_value;
    } rows[] = {{1, 1}, {8.85, 1}, {8.85, 2}, {10, 3.3}, {80, 1}, {80, 5}};
    unsigned late = 0; /* readings that had to wait for a swing to die */
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        for (int which = 0; which < 3; which++) {
            struct real_cell cell = real_cell_begin(which, 80 + (unsigned long)which);
            struct up_calibration calibration;
            cell.rate_hz = rows[i].rate_hz;
            cell.lines_per_value = rows[i].lines_per_value;
            double counts_per_kg = 1e3 * cell.counts_per_g;
            calibrate(&cell, &calibration);
            assert_int_equal(faults, 0);
            for (unsigned j = 0; j < calibration.points; j++) {
                late += calibration.point[j].late_s > 0;
            }
            assert_true(fabs(calibration.slope_counts_per_kg / counts_per_kg - 1) < 0.01);
            assert_true((strstr(note, "sends each value") != NULL) ==
                        (rows[i].lines_per_value > 1));
        }
    }
    assert_true(late > 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(real_cells_are_calibrated_at_any_rate),
    };
    return cmocka_run_group_tests_name("real cells", tests, NULL, NULL);
}
