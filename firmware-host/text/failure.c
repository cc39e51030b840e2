/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/failure.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

bool up_fail(struct up_failure *failure, enum up_status status, const char *format, ...) {
    char text[sizeof((struct up_failure *)NULL)->text]; /* apart: an argument may be failure->text
                                                           itself */
    va_list arguments;
    if (failure != NULL) {
        text[0] = '\0';
        va_start(arguments, format);
        vsnprintf(text, sizeof text, format, arguments);
        va_end(arguments);
        failure->status = status;
        memcpy(failure->text, text, strlen(text) + 1);
    }
    return false;
}
