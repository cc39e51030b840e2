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
    char *clean = up_text_clean(text, strlen(text));
    json_t *json = json_string(clean);
    free(clean);
    return json;
}
