/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "text/text.h"

static const char *const HEXADECIMAL = "0123456789abcdef"; /* digits before letters */

bool up_text_has_form(const char *text, const char *form) {
    size_t i = 0;
    for (; form[i] != '\0' && text[i] != '\0'; i++) {
        const char *digit = strchr(HEXADECIMAL, text[i]);
        bool good = form[i] == 'x'   ? digit != NULL
                    : form[i] == '0' ? digit != NULL && digit - HEXADECIMAL < 10
                                     : text[i] == form[i];
        if (!good) {
            return false;
        }
    }
    return form[i] == text[i];
}

bool up_text_is_hex(const char *text, size_t digits) {
    return strspn(text, HEXADECIMAL) == digits && text[digits] == '\0';
}
