/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Apart from live_screen.c because <term.h> makes macros of everyday words. */
#include "live_cells.h"

#include <curses.h>
#include <string.h>
#include <term.h>

/* Without the pauses for old terminals, "$<5>". */
static void append(char *to, size_t size, const char *sequence) {
    size_t length = strlen(to);
    while (sequence != NULL && sequence != (const char *)-1 && *sequence != '\0') {
        const char *end = strncmp(sequence, "$<", 2) == 0 ? strchr(sequence, '>') : NULL;
        if (end == NULL && length + 1 < size) {
            to[length++] = *sequence;
        }
        sequence = end != NULL ? end + 1 : sequence + 1;
    }
    to[length] = '\0';
}

bool live_terminal_places(int descriptor, char *leave, size_t size) {
    int error = 0;
    bool places = false;
    leave[0] = '\0';
    if (setupterm(NULL, descriptor, &error) == OK) {
        const char *place = tigetstr("cup");
        places = place != NULL && place != (const char *)-1;
        append(leave, size, tigetstr("sgr0"));
        append(leave, size, tigetstr("cnorm"));
        append(leave, size, tigetstr("rmcup"));
        del_curterm(cur_term);
    }
    return places;
}
