/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The thermometer on its wire, a slot at a time. */
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum thermometer_fault {
    THERMOMETER_WELL,
    THERMOMETER_WAITED_FOR, /* nothing measured yet */
    THERMOMETER_ABSENT,     /* nobody answers */
    THERMOMETER_HELD_LOW,   /* the wire is short or has no resistor */
    THERMOMETER_CHECKSUM,   /* what came is damaged */
    THERMOMETER_FOREIGN,    /* what came is not of this kind */
    THERMOMETER_UNMEASURED, /* it lost its supply since it was asked to measure */
    THERMOMETER_TORN,       /* other work tore its slots, again and again */
};

struct thermometer {
    uint8_t state, bit, byte, tears;
    uint8_t pad[9]; /* what it remembers, its scratchpad */
    uint32_t began_ms;
    enum thermometer_fault fault;
    int16_t centi_c; /* only while it is well */
    uint16_t torn;   /* slots, in all */
};

void thermometer_begin(struct thermometer *thermometer);
/* One slot more where the last is over. */
void thermometer_step(struct thermometer *thermometer, uint32_t now_ms);
/* Hundredths of a degree C of what nine bytes mean, or why they mean none. */
enum thermometer_fault thermometer_decode(const uint8_t pad[9], int16_t *centi_c);
const char *thermometer_word(enum thermometer_fault fault);
