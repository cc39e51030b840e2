/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far long work is, for who waits at a terminal: nothing in a pipe, nothing before a second has
   passed, and the line is gone before anything else is printed. */
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "cli.h"

static double now_s(void) {
    struct timespec time;
    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec * 1e-9;
}

static bool is_wanted(void) {
    const char *terminal = getenv("TERM");
    return isatty(STDERR_FILENO) && terminal != NULL && strcmp(terminal, "dumb") != 0;
}

void progress_show(const char *doing, unsigned long done) {
    static const double FIRST_S = 1, EACH_S = 0.2;
    static double begun_s = -1, shown_s = -1; /* of this piece of work; -1: not yet */
    double time_s = now_s();
    if (done == 0) {
        if (shown_s >= 0) {
            fputs("\r\033[K", stderr);
        }
        begun_s = shown_s = -1;
        return;
    }
    begun_s = begun_s < 0 ? time_s : begun_s;
    if (time_s - begun_s >= FIRST_S && time_s - shown_s >= EACH_S && is_wanted()) {
        fprintf(stderr, "\r%s: %lu\033[K", doing, done);
        fflush(stderr);
        shown_s = time_s;
    }
}
