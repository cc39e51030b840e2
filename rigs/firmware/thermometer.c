/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "thermometer.h"

#include <string.h>

#include "board.h"

/* The data sheet's commands and its longest conversion, of 12 bits: 750 ms. */
enum { SKIP_ROM = 0xCC, CONVERT = 0x44, READ_PAD = 0xBE };
enum { CONVERSION_MS = 752, EVERY_MS = 1000, TEARS_MOST = 8 };

enum state { RESTS, ASKS_TO_CONVERT, CONVERTS, ASKS_TO_READ, READS };

void thermometer_begin(struct thermometer *thermometer) {
    memset(thermometer, 0, sizeof *thermometer);
    thermometer->fault = THERMOMETER_WAITED_FOR;
    thermometer->began_ms = 0u - (uint32_t)EVERY_MS;
}

/* ---- what nine bytes mean ---- */

/* CRC-8, polynomial x^8 + x^5 + x^4 + 1, the lowest bit first; over data and checksum it is 0. */
static uint8_t crc8(const uint8_t *bytes, uint8_t count) {
    uint8_t crc = 0;
    for (uint8_t i = 0; i < count; i++) {
        crc ^= bytes[i];
        for (uint8_t bit = 0; bit < 8; bit++) {
            crc = (uint8_t)((crc & 1) != 0 ? (crc >> 1) ^ 0x8C : crc >> 1);
        }
    }
    return crc;
}

/* All nine 0 pass the checksum: a wire that is held low. The fifth byte is 0RR11111, RR the
   resolution, below which bits mean nothing. After power-on it reads 85 C, and 0C in the seventh
   byte until a conversion was made. */
enum thermometer_fault thermometer_decode(const uint8_t pad[9], int16_t *centi_c) {
    if (crc8(pad, 9) != 0) {
        return THERMOMETER_CHECKSUM;
    }
    if ((pad[4] & 0x9F) != 0x1F) {
        return THERMOMETER_FOREIGN;
    }
    if (pad[0] == 0x50 && pad[1] == 0x05 && pad[6] == 0x0C) {
        return THERMOMETER_UNMEASURED;
    }
    uint8_t unused = (uint8_t)(3 - ((pad[4] >> 5) & 3));
    int16_t sixteenths = (int16_t)((uint16_t)pad[1] << 8 | pad[0]);
    sixteenths = (int16_t)((uint16_t)sixteenths & (uint16_t)(0xFFFFu << unused));
    int32_t hundredths = (int32_t)sixteenths * 25;
    *centi_c = (int16_t)((hundredths + (hundredths < 0 ? -2 : 2)) / 4);
    return THERMOMETER_WELL;
}

const char *thermometer_word(enum thermometer_fault fault) {
    static const char *const words[] = {"ok",       "waiting", "absent",     "held-low",
                                        "checksum", "foreign", "unmeasured", "torn"};
    return words[fault];
}

/* ---- slot by slot ---- */

static void enter(struct thermometer *thermometer, enum state state) {
    thermometer->state = (uint8_t)state;
    thermometer->byte = thermometer->bit = 0;
}

/* Tries again a second after it began. */
static void fail(struct thermometer *thermometer, enum thermometer_fault fault) {
    thermometer->fault = fault;
    enter(thermometer, RESTS);
}

/* A torn one is tried again at once; too often is a fault like any other. */
static void begin_again(struct thermometer *thermometer) {
    thermometer->torn++;
    if (++thermometer->tears >= TEARS_MOST) {
        fail(thermometer, THERMOMETER_TORN);
    } else {
        enter(thermometer,
              thermometer->state == READS ? ASKS_TO_READ : (enum state)thermometer->state);
        board_wire_reset();
    }
}

static void begin_asking(struct thermometer *thermometer, enum state state) {
    enter(thermometer, state);
    thermometer->tears = 0;
    board_wire_reset();
}

static void ask(struct thermometer *thermometer, uint8_t command, enum state then) {
    uint8_t byte = thermometer->byte == 0 ? SKIP_ROM : command;
    if (thermometer->byte < 2) {
        board_wire_write((byte >> thermometer->bit & 1) != 0);
        thermometer->byte = (uint8_t)(thermometer->byte + (thermometer->bit == 7));
        thermometer->bit = (thermometer->bit + 1) & 7;
    } else {
        enter(thermometer, then);
        if (then == READS) {
            board_wire_read();
        }
    }
}

static void take_bit(struct thermometer *thermometer, bool bit) {
    uint8_t *byte = &thermometer->pad[thermometer->byte];
    *byte = (uint8_t)(*byte >> 1 | (bit ? 0x80 : 0));
    thermometer->byte = (uint8_t)(thermometer->byte + (thermometer->bit == 7));
    thermometer->bit = (thermometer->bit + 1) & 7;
    if (thermometer->byte < sizeof thermometer->pad) {
        board_wire_read();
    } else {
        fail(thermometer, thermometer_decode(thermometer->pad, &thermometer->centi_c));
    }
}

static void go_on(struct thermometer *thermometer, uint32_t now_ms, bool bit) {
    switch ((enum state)thermometer->state) {
    case RESTS:
        if (now_ms - thermometer->began_ms >= EVERY_MS) {
            thermometer->began_ms = now_ms;
            begin_asking(thermometer, ASKS_TO_CONVERT);
        }
        break;
    case ASKS_TO_CONVERT:
        ask(thermometer, CONVERT, CONVERTS);
        break;
    case CONVERTS:
        if (now_ms - thermometer->began_ms >= CONVERSION_MS + 10) { /* asking took less than 10 */
            begin_asking(thermometer, ASKS_TO_READ);
        }
        break;
    case ASKS_TO_READ:
        ask(thermometer, READ_PAD, READS);
        break;
    case READS:
        take_bit(thermometer, bit);
        break;
    }
}

void thermometer_step(struct thermometer *thermometer, uint32_t now_ms) {
    enum board_wire outcome;
    bool bit, waits = thermometer->state == RESTS || thermometer->state == CONVERTS;
    if (!board_wire_is_over(&outcome, &bit)) {
        return;
    }
    if (waits || outcome == BOARD_WIRE_DONE) {
        go_on(thermometer, now_ms, bit);
    } else if (outcome == BOARD_WIRE_TORN) {
        begin_again(thermometer);
    } else {
        fail(thermometer, outcome == BOARD_WIRE_NOBODY ? THERMOMETER_ABSENT : THERMOMETER_HELD_LOW);
    }
}
