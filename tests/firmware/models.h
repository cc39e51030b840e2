/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A board in a simulator that is true to the cycle, down to its pins: the controller that runs the
 * image itself, and beside it models of the converter and the thermometer, written from their data
 * sheets and not from the firmware. Only the core of the simulator's library is used.
 */
#pragma once

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <simavr/sim_avr.h>

#define CYCLES_A_US 16 /* the crystal */
#define US(us)      ((avr_cycle_count_t)((us)*CYCLES_A_US))

/* An input pin and what drives it from outside. */
struct pin {
    avr_t *avr;
    char port;
    int bit;
    struct avr_irq_t *irq;
};

void pin_begin(struct pin *pin, avr_t *avr, char port, int bit);
void pin_drive(const struct pin *pin, bool high);

/* ---- a 24-bit converter with a clocked output ---- */

struct converter_model {
    avr_t *avr;
    struct pin data;
    int32_t (*load)(void *context, double time_s); /* the word of a conversion */
    void *context;
    bool fast;
    /* faults caused */
    bool unplugged, held_low, stopped, rate_wire_off;
    uint32_t flip;             /* bits of each word, wrong */
    unsigned needles_apart_us; /* its data line rattles so often between conversions, in the mean */
    uint32_t dice;
    /* state */
    bool clock_high, waiting; /* a word that nobody has begun to read */
    bool serving;             /* there is a word */
    int pulses, gain, next_gain, settling;
    int32_t word;
    avr_cycle_count_t ready_at, rose_at, fell_at;
    /* seen */
    uint64_t needles, conversions, read, lost, wrong_pulses, torn, power_downs, too_long, too_short;
    double high_most_us, late_most_us;
};

void converter_model_begin(struct converter_model *model, avr_t *avr);
/* The board was reset: the converter goes on. */
void converter_model_resume(struct converter_model *model);

/* ---- a thermometer on one wire ---- */

enum thermometer_mode {
    WIRE_IDLE,    /* waits for a reset */
    WIRE_COMMAND, /* takes a byte */
    WIRE_SENDS,
};

struct thermometer_model {
    avr_t *avr;
    struct pin wire;
    double temp_c;
    int presence_after_us, presence_us; /* data sheet: 15 to 60, 60 to 240 */
    int conversion_ms;                  /* at most 750 */
    /* faults caused */
    bool unplugged, held_low;
    int damage;    /* of the next so many scratchpads one bit is wrong */
    bool all_zero; /* it sends nothing but 0 */
    /* state */
    bool pulled, pulls; /* by the board; by the thermometer */
    enum thermometer_mode mode;
    uint8_t pad[9], shift;
    unsigned bits;
    bool skipped; /* the address */
    avr_cycle_count_t fell_at, rose_at, converts_until, reset_until;
    /* seen */
    uint64_t resets, conversions, pads, violations;
    char violation[96]; /* the first */
};

void thermometer_model_begin(struct thermometer_model *model, avr_t *avr);
void thermometer_model_resume(struct thermometer_model *model);
/* Its supply went and came back. */
void thermometer_model_power_on(struct thermometer_model *model);

/* ---- the board ---- */

/* Interrupts put in from outside: the board does nothing else for so long, at the first moment
   from the chosen one at which its interrupts are on. */
struct stalls {
    double long_us;  /* 0: none */
    bool sweep;      /* one in each conversion, at each instruction of each bit in turn */
    double every_us; /* else one so often */
    uint64_t done;
    uint64_t places; /* of the sweep: instructions of a bit that were reached, at most */
};

struct board_model {
    avr_t *avr;
    struct converter_model converter;
    struct thermometer_model thermometer;
    struct stalls stalls;
    void (*sent)(void *context, uint8_t byte); /* by the board */
    void *context;
    /* bytes on their way to the board */
    uint16_t to_board[256];
    unsigned to_board_put, to_board_taken;
    avr_cycle_count_t receives_at;
    /* where the sweep is */
    uint64_t sweep_number;
    unsigned sweep_bit, sweep_place, steps;
    bool stall_due;
    avr_cycle_count_t stall_at;
    /* the longest time with interrupts off, where it is watched */
    bool watch_interrupts;
    avr_cycle_count_t off_since, off_most;
    uint64_t resets;
    unsigned fuse[3]; /* low, high, extended, as the image has them */
};

/* False with a line on standard error where the image cannot be read. */
bool board_model_begin(struct board_model *board, const char *image);
void board_model_end(struct board_model *board);
/* Runs so long in the board's time; false where the controller crashed. */
bool board_model_run(struct board_model *board, double seconds);
double board_model_time_s(const struct board_model *board);
/* The reset button. */
void board_model_reset(struct board_model *board);
/* A byte on its way to the board; `damaged`: its stop bit is wrong. False where the way is full. */
bool board_model_say(struct board_model *board, uint8_t byte, bool damaged);
/* The rate of the serial line as the registers say. */
double board_model_baud(const struct board_model *board);
