/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _GNU_SOURCE /* vasprintf */
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "text/text.h"

/* There is nothing sensible to go on with, and what was acknowledged is on the disk. */
static void *or_end(void *memory) {
    if (memory == NULL) {
        abort();
    }
    return memory;
}

void *up_allocate(size_t count, size_t size) {
    return or_end(calloc(count > 0 ? count : 1, size > 0 ? size : 1));
}

void *up_reallocate(void *old, size_t count, size_t size) {
    if (size > 0 && count > SIZE_MAX / size) {
        return or_end(NULL);
    }
    return or_end(realloc(old, count * size > 0 ? count * size : 1));
}

char *up_text_format(const char *format, ...) {
    char *text = NULL;
    va_list arguments;
    va_start(arguments, format);
    if (vasprintf(&text, format, arguments) < 0) {
        text = NULL;
    }
    va_end(arguments);
    return or_end(text);
}
