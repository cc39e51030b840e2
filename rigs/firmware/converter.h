/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The converter: each conversion once, as it came. */
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum converter_fault {
    CONVERTER_WELL,
    CONVERTER_WAITED_FOR, /* none has come yet, or it settles */
    CONVERTER_SILENT,     /* none has come for a second */
    CONVERTER_HELD_LOW,   /* its data line does not go high after a word */
    CONVERTER_RATE_WIRE,  /* it converts, at another rate than the wire of its rate pin says */
};

struct converter {
    uint8_t pulses; /* of a word: 25, 26, 27 */
    uint8_t skip;   /* conversions that are still settling */
    uint8_t faulty; /* words in a row after which the data line stayed low */
    uint8_t paced;  /* conversions within the span below */
    bool fast;
    uint32_t last_ms;     /* the last one came, or it was begun */
    uint32_t span_ms;     /* of the paced ones */
    uint16_t interval_ms; /* mean of eight; 0 until known */
    enum converter_fault fault;
};

void converter_begin(struct converter *converter, uint32_t now_ms);
/* 10 or 80 conversions a second; a gain of 128, 64, or 32, which is of the second channel. Both
   take four conversions to settle, which are not handed out. */
void converter_set_rate(struct converter *converter, bool fast);
void converter_set_gain(struct converter *converter, uint8_t gain);
uint8_t converter_gain(const struct converter *converter);
/* True where a conversion has come: its word, and when it was ready. */
bool converter_take(struct converter *converter, uint32_t now_ms, int32_t *word,
                    uint32_t *ready_ms);
const char *converter_word(enum converter_fault fault);
