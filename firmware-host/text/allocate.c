/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _GNU_SOURCE /* vasprintf */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "text/text.h"

static up_memory_end *at_end;

up_memory_end *up_at_out_of_memory(up_memory_end *end) {
    up_memory_end *before = at_end;
    at_end = end;
    return before;
}

void up_out_of_memory(void) {
    if (at_end != NULL) {
        at_end();
    }
    abort();
}

static void *or_abort(void *memory) {
    if (memory == NULL) {
        up_out_of_memory();
    }
    return memory;
}

void *up_allocate(size_t count, size_t size) {
    return or_abort(calloc(count > 0 ? count : 1, size > 0 ? size : 1));
}

void *up_allocate_bytes(size_t size) {
    return or_abort(malloc(size > 0 ? size : 1));
}

void *up_reallocate(void *old, size_t count, size_t size) {
    if (size > 0 && count > SIZE_MAX / size) {
        up_out_of_memory();
    }
    return or_abort(realloc(old, count * size > 0 ? count * size : 1));
}

void up_free_at(void *pointer) {
    void *memory;
    memcpy(&memory, pointer, sizeof memory);
    free(memory);
}

char *up_text_format_of(const char *format, va_list arguments) {
    char *text = NULL;
    return or_abort(vasprintf(&text, format, arguments) < 0 ? NULL : text);
}

char *up_text_format(const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    char *text = up_text_format_of(format, arguments);
    va_end(arguments);
    return text;
}
