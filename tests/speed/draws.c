/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Draws of the model that `upthrust explain --json` prints, timed: FILE DRAWS. Prints seconds and
   the half-width in g. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "upthrust/catalogue.h"

int main(int argc, char **argv) {
    static struct up_result result;
    struct timespec a, b;
    json_t *document = argc == 3 ? json_load_file(argv[1], 0, NULL) : NULL;
    up_result_from_json(json_object_get(document, "result"), &result);
    json_decref(document);
    result.question.draws = argc == 3 ? (unsigned)strtoul(argv[2], NULL, 10) : 0;
    clock_gettime(CLOCK_MONOTONIC, &a);
    if (!result.has_model || !up_weigh(&result.weighing, &result.question, &result.answer)) {
        return 1;
    }
    clock_gettime(CLOCK_MONOTONIC, &b);
    printf("%.6f %.6f\n", (double)(b.tv_sec - a.tv_sec) + 1e-9 * (double)(b.tv_nsec - a.tv_nsec),
           result.answer.expanded_u_kg * 1e3);
    return 0;
}
