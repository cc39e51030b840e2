/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Apart from live_screen.c because <term.h> makes macros of everyday words. */
#include "live_cells.h"

#include <curses.h>
#include <term.h>

bool live_terminal_places(int descriptor) {
    int error = 0;
    bool places = false;
    if (setupterm(NULL, descriptor, &error) == OK) {
        const char *place = tigetstr("cup");
        places = place != NULL && place != (const char *)-1;
        del_curterm(cur_term);
    }
    return places;
}
