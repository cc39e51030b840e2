/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The word that was meant, by edit distance (Levenshtein's: insert, leave out, replace). */
#include <ctype.h>
#include <string.h>

#include "text/text.h"

enum { COMPARED_BYTES = 64 };

static size_t smaller(size_t a, size_t b) {
    return a < b ? a : b;
}

size_t up_text_distance(const char *a, const char *b) {
    size_t row[COMPARED_BYTES + 1];
    size_t length_a = strnlen(a, COMPARED_BYTES), length_b = strnlen(b, COMPARED_BYTES);
    for (size_t j = 0; j <= length_b; j++) {
        row[j] = j;
    }
    for (size_t i = 1; i <= length_a; i++) {
        size_t diagonal = row[0];
        row[0] = i;
        for (size_t j = 1; j <= length_b; j++) {
            bool same = tolower((unsigned char)a[i - 1]) == tolower((unsigned char)b[j - 1]);
            size_t replaced = diagonal + !same;
            diagonal = row[j];
            row[j] = smaller(replaced, smaller(row[j], row[j - 1]) + 1);
        }
    }
    return row[length_b];
}

bool up_text_is_near(const char *typed, const char *meant) {
    size_t length = strlen(typed);
    return up_text_distance(typed, meant) <= (length < 4 ? 1 : length < 8 ? 2 : 3);
}
