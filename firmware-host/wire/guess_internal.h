/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files that guess share. */
#pragma once

#include "line_internal.h"
#include "wire/guess.h"

enum { GUESS_LINES_MAX = 2000, TOKEN = 24 };

struct lines {
    struct slice line[GUESS_LINES_MAX];
    size_t count, overlong;
    struct slice all;   /* every byte, lines or not */
    double rate_hz;     /* of the lines that are readings; NaN: not known */
    bool decimal_comma; /* as these lines write numbers */
};

/* A section [line] being written. */
struct draft {
    char section[UP_GUESS_TEXT / 2];
    char words[UP_GUESS_TEXT / 4];
    bool has_time;
};

void draft_add(struct draft *draft, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* ---- guess_text.c: numbers, units and words in lines ---- */

struct quantity {
    double value;
    char unit[TOKEN]; /* as printed, where it is one of mass or force; else empty */
    bool whole;       /* nothing else stands in the slice */
    bool is_integer;
    bool is_climate; /* behind it stands a unit of temperature or humidity */
};

bool read_quantity(const struct lines *lines, struct slice slice, struct quantity *quantity);

/* The text after the unit, of load or climate, that begins a slice; all of it without one. */
struct slice skip_unit(struct slice slice);

/* Most, and nearly all: a recording has cut lines, and devices print a word now and then. */
bool are_most(size_t some, size_t all);
bool are_nearly_all(size_t some, size_t all);

/* The unit most of the lines print, as the key load_unit has it. */
struct unit_votes {
    size_t votes[5];
};
void vote_unit(struct unit_votes *votes, const char *unit);
/* NULL where less than half of `lines` have one. */
const char *usual_unit(const struct unit_votes *votes, size_t lines);
void add_unit(struct draft *draft, const struct unit_votes *votes, size_t lines);
void add_status(const struct lines *lines, struct draft *draft);

/* Names that people give to loads, and to what is measured beside them. */
bool names_load(const char *name);
bool names_climate(const char *name);

/* Whether the commas of these lines are decimal marks. */
bool has_decimal_commas(const struct lines *lines);

/* ---- the drafts: each writes one where the lines look like its kind, else returns false ---- */

bool draft_json(const struct lines *lines, struct draft *draft);
bool draft_fields(const struct lines *lines, struct draft *draft);
bool draft_next_line(const struct lines *lines, struct draft *draft);
bool draft_report(const struct lines *lines, struct draft *draft);
bool draft_bare(const struct lines *lines, struct draft *draft);
bool draft_labels(const struct lines *lines, struct draft *draft);
bool draft_numbers(const struct lines *lines, struct draft *draft);
bool draft_star_hash(const struct lines *lines, struct draft *draft);
bool draft_start_end(const struct lines *lines, struct draft *draft);
bool draft_sealed(const struct lines *lines, struct draft *draft);
