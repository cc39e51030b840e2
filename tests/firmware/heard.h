/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A board in the simulator, and what came out of it, read as the program reads it. */
#pragma once

#include "models.h"
#include "upthrust/wire.h"

enum { WORDS_KEPT = 256, NOTES_KEPT = 64, NOTE_SIZE = 128 };

struct heard {
    struct board_model board;
    struct up_reader reader;
    /* the latest words that the converter gave, by number, to compare with */
    int32_t word[WORDS_KEPT];
    double word_s[WORDS_KEPT];
    uint64_t words;
    /* lines */
    uint64_t samples, strange; /* those that no conversion gave, or twice */
    uint64_t last_word;        /* the number of the conversion that the last sample is of */
    uint64_t skipped;          /* conversions without a line between two lines */
    uint64_t unsent;           /* and before the first line */
    struct up_sample last;
    uint64_t warm, bare; /* samples with and without a temperature */
    double temp_low_c, temp_high_c;
    double clock_low_s, clock_high_s; /* board's time of a sample less the model's */
    /* lines of words, whose checksum is right */
    char note[NOTES_KEPT][NOTE_SIZE];
    unsigned notes;
    char line[256];
    size_t length;
    double (*load)(double time_s); /* NULL: a saw */
};

/* The caller frees it with heard_end; NULL where the image cannot be read. */
struct heard *heard_begin(const char *image);
void heard_end(struct heard *heard);
bool heard_run(struct heard *heard, double seconds);
void heard_say(struct heard *heard, const char *text);
/* Whether a note with this text in it has come, from the given one on. */
bool heard_note(const struct heard *heard, unsigned from, const char *text);
/* Counts begin anew. */
void heard_forget(struct heard *heard);
