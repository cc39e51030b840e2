/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the board offers. board.c alone knows the registers of the controller; everything else here
 * is plain C. Nothing waits: what takes time is begun and asked for later.
 */
#pragma once

#include <stdbool.h>
#include <stdint.h>

/* ---- the whole ---- */

void board_begin(void);
/* Why it began: "power", "brown-out", "reset", "watchdog" or "unknown" (a bootloader took it). */
const char *board_reset_cause(void);
/* "atmega328p". */
const char *board_controller(void);
/* Since the start; back to 0 after 49 days. */
uint32_t board_time_ms(void);
/* The program goes on: without a call within a second the watchdog resets the board. */
void board_alive(void);
/* Until the next interrupt, unless one came since the last call. */
void board_sleep(void);

/* ---- the serial line ---- */

/* True where so many bytes could be sent at once. */
bool board_has_room(uint8_t bytes);
/* Only after board_has_room. */
void board_send(const char *bytes, uint8_t length);
/* A byte that came; *damaged where its stop bit was missing or one before it was lost. */
bool board_received(char *byte, bool *damaged);

/* ---- the converter ---- */

/* Its data line is low: a conversion waits. *ready_ms gets when it came. */
bool board_converter_is_ready(uint32_t *ready_ms);
/* It is too early for one: whatever was seen on the line was noise, and the next edge wakes the
   program all the same. */
void board_converter_wait(void);
/* Clocks a word out, with 25, 26 or 27 pulses, which choose the next gain. False where the data
   line does not go high after it, as it does at a converter that works. */
bool board_converter_read(uint8_t pulses, int32_t *word);
/* The wire of its rate pin: 80 conversions a second, else 10. */
void board_converter_fast(bool fast);

/* ---- the thermometer's wire ---- */

enum board_wire {
    BOARD_WIRE_DONE,     /* the slot is over; of a reset: somebody is present */
    BOARD_WIRE_NOBODY,   /* nobody answers the reset */
    BOARD_WIRE_HELD_LOW, /* the wire is low though nobody should hold it */
    BOARD_WIRE_TORN,     /* a slot took too long: whatever was sent counts for nothing */
};

/* Each begins one slot and returns. */
void board_wire_reset(void);
void board_wire_write(bool bit);
void board_wire_read(void);
/* False while a slot lasts; then *bit gets what was read. */
bool board_wire_is_over(enum board_wire *outcome, bool *bit);
