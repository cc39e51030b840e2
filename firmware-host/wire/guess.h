/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Guessing how the lines of an unknown device are to be read: from what it sent, a rig file's
 * section [line] that fits. A guess is a beginning, to be checked by a person: a column that rises
 * like a clock is taken for one, and of several loads the one that changed the most.
 */
#pragma once

#include <stddef.h>
#include <stdint.h>

#include "upthrust/failure.h"

enum { UP_GUESS_TEXT = 1024 };

struct up_guess {
    char line_section[UP_GUESS_TEXT]; /* [line] and, where it can be guessed, [sensor] */
    char words[UP_GUESS_TEXT / 4];    /* the same for a person, one line */
    uint64_t lines, fits, passed;
    double first_load, last_load; /* in kg, or counts */
    bool in_counts;
    bool step_seen; /* else division_counts, where given, is but a beginning */
};

/* `rate_hz`: lines a second as they arrived; NaN where unknown. UP_STATUS_WRONG_INPUT, with the
   reason and an example of a line, where nothing fits four of five lines. */
bool up_guess_layout(const char *bytes, size_t length, double rate_hz, struct up_guess *guess,
                     struct up_failure *failure);
