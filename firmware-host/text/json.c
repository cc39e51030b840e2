/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "text/json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "text/text.h"

json_t *up_json_number(double value) {
    return isfinite(value) ? json_real(value) : json_null();
}

json_t *up_json_text(const char *text) {
    UP_FREED char *clean = up_text_clean(text, strlen(text));
    return json_string(clean);
}

bool up_json_write(const json_t *json, FILE *stream, size_t flags) {
    char *text = json_dumps(json, flags), *clean = NULL;
    if (text != NULL) {
        clean = up_text_clean_lines(text);
    }
    bool good = text != NULL && (strcmp(text, clean) == 0
                                     ? fputs(text, stream) != EOF
                                     : json_dumpf(json, stream, flags | JSON_ENSURE_ASCII) == 0);
    free(clean);
    free(text);
    return good;
}

/* What jansson 2.14 takes on a machine of 64 bits, and a little more: measured. */
enum { HOLDER_BYTES = 250, MEMBER_BYTES = 150 };

size_t up_json_bytes(const char *text, size_t length) {
    size_t bytes = length;
    bool quoted = false;
    for (size_t i = 0; i < length; i++) {
        if (text[i] == '"') {
            quoted = !quoted;
        } else if (quoted) {
            i += text[i] == '\\';
        } else if (text[i] == '{' || text[i] == '[') {
            bytes += HOLDER_BYTES;
        } else if (text[i] == ',') {
            bytes += MEMBER_BYTES;
        }
    }
    return bytes;
}

void up_json_keep_whole(void) {
    json_malloc_t allocate;
    json_free_t release;
    json_get_alloc_funcs(&allocate, &release);
    if (allocate == malloc) {
        json_set_alloc_funcs(up_allocate_bytes, release);
    }
}
