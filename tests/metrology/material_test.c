/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "agree.h"
#include "metrology/material.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

static void test_every_material_is_found_and_makes_sense(void **state) {
    (void)state;
    size_t count = 0;
    for (; up_material_at(count) != NULL; count++) {
        const struct up_material *material = up_material_at(count);
        assert_ptr_equal(up_material_named(material->name), material);
        assert_true(material->low_per_k >= 0 && material->low_per_k < material->high_per_k);
        assert_true(material->high_per_k <= 1.21e-3 && material->source[0] != '\0');
        double middle = up_material_expansion_per_k(material);
        double half = up_material_u_expansion_per_k(material) * sqrt(3);
        assert_close(middle - half, material->low_per_k, 1e-15);
        assert_close(middle + half, material->high_per_k, 1e-15);
    }
    assert_true(count >= 15);
    assert_null(up_material_named(""));
    assert_null(up_material_named("Rubber"));
}

/* Linear coefficients, 1e-6 per kelvin, from memory of handbooks of physics: they lie within. */
static void test_known_metals_lie_in_their_ranges(void **state) {
    (void)state;
    static const struct {
        const char *name;
        double linear_per_k;
    } metals[] = {{"aluminium", 23e-6}, {"copper", 16.6e-6}, {"lead", 28.9e-6}, {"steel", 12e-6}};
    for (size_t i = 0; i < COUNT(metals); i++) {
        const struct up_material *metal = up_material_named(metals[i].name);
        assert_non_null(metal);
        assert_true(metal->low_per_k <= 3 * metals[i].linear_per_k);
        assert_true(metal->high_per_k >= 3 * metals[i].linear_per_k);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_every_material_is_found_and_makes_sense),
        cmocka_unit_test(test_known_metals_lie_in_their_ranges),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
