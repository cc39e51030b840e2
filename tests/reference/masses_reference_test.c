/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * OIML R 111-1:2004, table 1, maximum permissible errors in mg. Read in two independent copies that
 * name the table (an R package's data script, "Table 1, pag. 12", and a Python rule pack, "OIML R
 * 111-1:2004 Table 1"), not in the Recommendation itself; they agree in every cell listed. The rows
 * of 100 g to 20 kg were compared cell by cell, as were those below and 50 kg.
 */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "upthrust/masses.h"

static const enum up_mass_class classes[] = {UP_MASSES_E2, UP_MASSES_F1, UP_MASSES_F2,
                                             UP_MASSES_M1, UP_MASSES_M2, UP_MASSES_M3};
enum { CLASSES = sizeof classes / sizeof classes[0] };

static const struct {
    double mass_kg, error_mg[CLASSES];
} published[] = {
    {50, {80, 250, 800, 2500, 8000, 25000}},  {20, {30, 100, 300, 1000, 3000, 10000}},
    {10, {16, 50, 160, 500, 1600, 5000}},     {5, {8.0, 25, 80, 250, 800, 2500}},
    {2, {3.0, 10, 30, 100, 300, 1000}},       {1, {1.6, 5.0, 16, 50, 160, 500}},
    {0.5, {0.8, 2.5, 8.0, 25, 80, 250}},      {0.2, {0.3, 1.0, 3.0, 10, 30, 100}},
    {0.1, {0.16, 0.5, 1.6, 5.0, 16, 50}},     {0.05, {0.10, 0.3, 1.0, 3.0, 10, 30}},
    {0.02, {0.08, 0.25, 0.8, 2.5, 8.0, 25}},  {0.01, {0.06, 0.20, 0.6, 2.0, 6.0, 20}},
    {0.005, {0.05, 0.16, 0.5, 1.6, 5.0, 16}}, {0.002, {0.04, 0.12, 0.4, 1.2, 4.0, 12}},
    {0.001, {0.03, 0.10, 0.3, 1.0, 3.0, 10}},
};

static void the_published_table(void **state) {
    (void)state;
    for (size_t i = 0; i < sizeof published / sizeof published[0]; i++) {
        for (size_t j = 0; j < CLASSES; j++) {
            double error_mg = up_mass_error_kg(classes[j], published[i].mass_kg) * 1e6;
            if (!(fabs(error_mg / published[i].error_mg[j] - 1) < 1e-12)) {
                fail_msg("%g kg, class %s: %.10g mg, published %g", published[i].mass_kg,
                         up_mass_class_name(classes[j]), error_mg, published[i].error_mg[j]);
            }
        }
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(the_published_table)};
    return cmocka_run_group_tests_name("reference: masses", tests, NULL, NULL);
}
