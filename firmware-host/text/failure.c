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
        bool cut = vsnprintf(text, sizeof text, format, arguments) >= (int)sizeof text;
        va_end(arguments);
        if (cut) { /* is seen: it may end within a command */
            memcpy(text + sizeof text - sizeof "...", "...", sizeof "...");
        }
        failure->status = status;
        memcpy(failure->text, text, strlen(text) + 1);
    }
    return false;
}
