/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the two files that guess share. */
#ifndef UPTHRUST_WIRE_GUESS_INTERNAL_H
#define UPTHRUST_WIRE_GUESS_INTERNAL_H

#include "line_internal.h"
#include "wire/guess.h"

enum { GUESS_LINES_MAX = 2000 };

struct lines {
    struct slice line[GUESS_LINES_MAX];
    size_t count, overlong;
    struct slice all; /* every byte, lines or not */
};

/* A section [line] being written. */
struct draft {
    char section[UP_GUESS_TEXT / 2];
    char words[UP_GUESS_TEXT / 4];
    bool has_time;
};

struct trial_run {
    double load[GUESS_LINES_MAX];
    size_t count;
    uint64_t lines, fits, passed;
};

void draft_add(struct draft *draft, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Each writes a draft where the lines look like its kind; false where they do not. */
bool draft_json(const struct lines *lines, struct draft *draft);
bool draft_next_line(const struct lines *lines, struct draft *draft);
bool draft_key_letters(const struct lines *lines, struct draft *draft);
bool draft_fields(const struct lines *lines, struct draft *draft);
bool draft_bare(const struct lines *lines, struct draft *draft);
bool draft_labels(const struct lines *lines, struct draft *draft);
bool draft_numbers(const struct lines *lines, struct draft *draft);
bool draft_star_hash(const struct lines *lines, struct draft *draft);
bool draft_start_end(const struct lines *lines, struct draft *draft);

#endif
