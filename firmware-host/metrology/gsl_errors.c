/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/gsl_errors.h"

#include <gsl/gsl_errno.h>

#include "text/memory.h"

static void handle(const char *reason, const char *file, int line, int code) {
    (void)reason, (void)file, (void)line;
    if (code == GSL_ENOMEM) {
        up_out_of_memory();
    }
}

void up_gsl_answers(void) {
    gsl_set_error_handler(handle);
}
