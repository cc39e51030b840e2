/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rig file's three parts: rig_keys.c knows the keys, rig.c reads, rig_check.c looks for
   contradictions. */
#pragma once

#include "upthrust/rig.h"

/* Stands for a time of day among the units of time. */
#define TIME_OF_DAY (-1.0)

/* inih 55 cuts longer lines and then miscounts: longer ones are refused before it sees them. */
enum { RIG_LINE_MAX = 199, RIG_KEYS_MAX = 160 };

enum key_type {
    KEY_TEXT,
    KEY_BYTES,  /* text in which \r \n \t \e \\ and \xHH stand for bytes */
    KEY_WORD,   /* one of `words`, into an enum */
    KEY_CHAR,   /* the same into a char */
    KEY_SWITCH, /* the same into a bool */
    KEY_UNIT,   /* the same into a double */
    KEY_NUMBER,
    KEY_WHOLE,
    KEY_FIELDS, /* columns of loads */
    KEY_LABELS, /* labels of loads */
    KEY_WORDS,  /* words of a device, into a struct up_words */
    KEY_GPIO,   /* a chip and a line of it, into a struct up_gpio */
};

struct word {
    const char *text;
    double value;
};

struct key {
    const char *section, *name;
    enum key_type type;
    size_t offset;
    double low, high;         /* of a number; of a text: high is its buffer's size */
    const struct word *words; /* ended by a NULL text */
    double unit;              /* a number is stored times this */
};

extern const struct key rig_keys[];
extern const size_t rig_key_count;

void rig_defaults(struct up_rig *rig);

struct parse {
    const char *name;
    struct up_rig *rig;
    struct up_failure *failure;
    const char *next; /* text not read yet */
    int line;
    bool seen[RIG_KEYS_MAX];
    char value[RIG_KEYS_MAX][RIG_LINE_MAX + 1];
    bool failed;
};

/* Whether a key of a section, or any key of it where `name` is NULL, stands in the file. */
bool was_given(const struct parse *parse, const char *section, const char *name);
/* Reports what is wrong with the file as a whole; returns false. */
bool fail_rig(struct parse *parse, const char *what);

/* True where no two keys contradict each other and none is missing. */
bool rig_check(struct parse *parse);
