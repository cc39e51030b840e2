/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "text/clock.h"

#include <time.h>

double up_monotonic_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}
