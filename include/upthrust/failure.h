/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How a part of upthrust says that it could not do its work.
 *
 * Every function that can fail returns bool: true when it did its work, false when it did not. In
 * the second case it has filled the up_failure it was handed: what is wrong, where, and what the
 * user can do, in one line without a final full stop or newline. Nobody but cli/ prints it.
 * Outputs are set to a safe value before any work.
 */
#ifndef UPTHRUST_FAILURE_H
#define UPTHRUST_FAILURE_H

#include <stdbool.h>

/* The exit status of the program that ends because of this failure. */
enum up_status {
    UP_STATUS_DONE = 0,
    UP_STATUS_UNABLE = 1,      /* device, wire, disk, lock, missing program */
    UP_STATUS_WRONG_INPUT = 2, /* an argument, rig, capture or import file is wrong */
    UP_STATUS_UNDECIDED = 3,   /* done, but a water asked for is undecided or a check fell short */
};

struct up_failure {
    enum up_status status;
    char text[512]; /* raw: may hold foreign bytes, escape before it goes to a terminal */
};

/* Fills the failure (which may be NULL) and returns false, so that a caller can return it. */
bool up_fail(struct up_failure *failure, enum up_status status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

#endif
