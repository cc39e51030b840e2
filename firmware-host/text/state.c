/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "text/text.h"

char *up_text_state_path(const char *name) {
    const char *state = getenv("XDG_STATE_HOME"), *home = getenv("HOME");
    bool given = state != NULL && state[0] == '/';
    if (!given && (home == NULL || home[0] != '/')) {
        return NULL;
    }
    return up_text_format("%s%s/upthrust/%s", given ? state : home, given ? "" : "/.local/state",
                          name);
}

int up_text_make_parents(const char *path) {
    UP_FREED char *part = up_text_format("%s", path);
    int code = 0;
    for (char *slash = part + 1; (slash = strchr(slash, '/')) != NULL; slash++) {
        *slash = '\0';
        if (mkdir(part, 0700) != 0 && errno != EEXIST && code == 0) {
            code = errno;
        }
        *slash = '/';
    }
    return code;
}
