/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "data_row.h"

#include <string.h>

#include "text/text.h"

void put_data_row(FILE *stream, int kind, double a, double b, double c) {
    char number[3][32];
    up_text_from_number(a, number[0], sizeof number[0]);
    up_text_from_number(b, number[1], sizeof number[1]);
    up_text_from_number(c, number[2], sizeof number[2]);
    fprintf(stream, "%d\t%s\t%s\t%s\n", kind, number[0], number[1], number[2]);
}

/* Cut at a character's end. */
char *name_in_title(const char *name, size_t most_bytes) {
    UP_FREED char *clean = up_text_for_terminal(name);
    size_t length = strlen(clean);
    length = length > most_bytes ? most_bytes : length;
    while (length > 0 && ((unsigned char)clean[length] & 0xC0) == 0x80) {
        length--;
    }
    clean[length] = '\0';
    return up_text_isolated(clean);
}
