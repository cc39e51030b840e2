/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "models.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_core.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_elf.h>

/* Registers of the ATmega328P in its data space (data sheet, register summary). */
enum { UCSR0A = 0xC0, UBRR0L = 0xC4, UBRR0H = 0xC5, U2X0 = 1, MCUSR = 0x54, EXTRF = 1 };

/* A byte of ten bits takes so long to come in. */
#define BYTE_US (1e7 / 57600)

/* ---- pins ---- */

static uint8_t driven[26], level[26]; /* by port: which bits are driven from outside, and how */

void pin_begin(struct pin *pin, avr_t *avr, char port, int bit) {
    *pin = (struct pin){avr, port, bit,
                        avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ((uint32_t)port), bit)};
}

/* The library pulls an input up by itself where it is not told what drives it. */
void pin_drive(const struct pin *pin, bool high) {
    int port = pin->port - 'A';
    uint8_t mask = (uint8_t)(1 << pin->bit);
    driven[port] |= mask;
    level[port] = (uint8_t)(high ? level[port] | mask : level[port] & ~mask);
    avr_ioport_external_t external = {
        .name = (unsigned long)pin->port & 0x7F, .mask = driven[port], .value = level[port]};
    avr_ioctl(pin->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL((uint32_t)pin->port), &external);
    avr_ioport_state_t state;
    avr_ioctl(pin->avr, AVR_IOCTL_IOPORT_GETSTATE((uint32_t)pin->port), &state);
    if ((state.ddr & mask) == 0) {
        avr_raise_irq(pin->irq, high);
    }
}

/* ---- the serial line ---- */

static void byte_sent(struct avr_irq_t *irq, uint32_t value, void *context) {
    struct board_model *board = context;
    (void)irq;
    if (board->sent != NULL) {
        board->sent(board->context, (uint8_t)value);
    }
}

bool board_model_say(struct board_model *board, uint8_t byte, bool damaged) {
    if (board->to_board_put - board->to_board_taken == 256) {
        return false;
    }
    board->to_board[board->to_board_put++ % 256] = (uint16_t)(byte | (damaged ? UART_INPUT_FE : 0));
    return true;
}

static avr_cycle_count_t deliver(avr_t *avr, avr_cycle_count_t when, void *context) {
    struct board_model *board = context;
    if (board->to_board_taken != board->to_board_put) {
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT),
                      board->to_board[board->to_board_taken++ % 256]);
    }
    return when + US(BYTE_US);
}

double board_model_baud(const struct board_model *board) {
    const uint8_t *data = board->avr->data;
    unsigned divider = (data[UBRR0L] | (unsigned)data[UBRR0H] << 8) + 1;
    return 1e6 * CYCLES_A_US / ((data[UCSR0A] & 1 << U2X0) != 0 ? 8 : 16) / divider;
}

/* ---- interrupts put in from outside ---- */

enum { PLACES = 32 }; /* a bit has 30 instructions, and more where an interrupt comes by itself */

static bool is_being_read(const struct converter_model *converter) {
    return converter->pulses > 0 && converter->pulses + converter->clock_high < 26;
}

/* The sweep: in each conversion one bit, in that one instruction, both in turn. A bit lasts from
   the fall of the clock before it to its own. */
static bool is_place_of_sweep(struct board_model *board) {
    const struct converter_model *converter = &board->converter;
    unsigned bit = (unsigned)converter->pulses + !converter->clock_high;
    if (converter->conversions != board->sweep_number) {
        board->sweep_number = converter->conversions;
        board->sweep_bit = (unsigned)(1 + board->sweep_number % 25);
        board->sweep_place = (unsigned)(board->sweep_number / 25 % PLACES);
        board->steps = 0;
        board->stall_due = false;
    }
    if (bit != board->sweep_bit || !is_being_read(converter)) {
        return false;
    }
    uint64_t place = board->steps++;
    board->stalls.places = place + 1 > board->stalls.places ? place + 1 : board->stalls.places;
    return place == board->sweep_place;
}

static void put_in_stall(struct board_model *board) {
    struct stalls *stalls = &board->stalls;
    avr_t *avr = board->avr;
    if (stalls->sweep) {
        board->stall_due = board->stall_due || is_place_of_sweep(board);
    } else if (avr->cycle >= board->stall_at) {
        board->stall_due = true;
        board->stall_at = avr->cycle + US(stalls->every_us);
    }
    /* After the instruction that turns interrupts on one more is done first (data sheet). */
    if (board->stall_due && avr->sreg[S_I] != 0 && avr->interrupt_state >= 0) {
        avr->cycle += US(stalls->long_us);
        board->stall_due = false;
        stalls->done++;
    }
}

static void watch_interrupts(struct board_model *board) {
    avr_t *avr = board->avr;
    if (avr->sreg[S_I] != 0) {
        board->off_since = avr->cycle;
    } else if (avr->cycle - board->off_since > board->off_most) {
        board->off_most = avr->cycle - board->off_since;
    }
}

/* ---- the whole ---- */

/* The library would wait in real time. */
static void sleep_at_once(avr_t *avr, avr_cycle_count_t how_long) {
    (void)avr;
    (void)how_long;
}

static void stay_silent(avr_t *avr, const int level_of, const char *format, va_list arguments) {
    (void)avr;
    (void)level_of;
    (void)format;
    (void)arguments;
}

static void begin_again(struct board_model *board) {
    uint32_t flags = 0;
    avr_ioctl(board->avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    board->to_board_taken = board->to_board_put;
    avr_cycle_timer_register(board->avr, US(BYTE_US), deliver, board);
}

/* A watchdog's reset clears the timers of the models, too. */
static void was_reset(avr_t *avr);
static struct board_model *only;
static void (*core_reset)(avr_t *avr);

static void was_reset(avr_t *avr) {
    if (core_reset != NULL) {
        core_reset(avr);
    }
    only->resets++;
}

bool board_model_begin(struct board_model *board, const char *image) {
    elf_firmware_t firmware = {0};
    avr_global_logger_set(stay_silent);
    if (elf_read_firmware(image, &firmware) != 0) {
        fprintf(stderr, "%s is no image of a controller\n", image);
        return false;
    }
    for (unsigned i = 0; i < 3 && i < firmware.fusesize; i++) {
        board->fuse[i] = firmware.fuse[i];
    }
    avr_t *avr = board->avr = avr_make_mcu_by_name("atmega328p");
    avr_init(avr);
    avr->frequency = 1000000 * CYCLES_A_US;
    avr_load_firmware(avr, &firmware);
    avr->frequency = 1000000 * CYCLES_A_US;
    avr->sleep = sleep_at_once;
    only = board;
    core_reset = avr->reset;
    avr->reset = was_reset;
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT),
                            byte_sent, board);
    converter_model_begin(&board->converter, avr);
    thermometer_model_begin(&board->thermometer, avr);
    begin_again(board);
    return true;
}

void board_model_end(struct board_model *board) {
    avr_terminate(board->avr);
    free(board->avr);
}

/* A reset lets go of all pins; the library clears its registers and tells nobody. */
static void let_go_of_pins(avr_t *avr) {
    static const char ports[] = "BD";
    for (const char *port = ports; *port != '\0'; port++) {
        avr_raise_irq(
            avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ((uint32_t)*port), IOPORT_IRQ_DIRECTION_ALL),
            0);
    }
    for (int bit = 3; bit <= 4; bit++) {
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), bit), 0);
    }
}

static void resume_models(struct board_model *board) {
    begin_again(board);
    let_go_of_pins(board->avr);
    converter_model_resume(&board->converter);
    thermometer_model_resume(&board->thermometer);
}

void board_model_reset(struct board_model *board) {
    avr_reset(board->avr);
    board->avr->data[MCUSR] = 1 << EXTRF;
    board->avr->state = cpu_Running;
    resume_models(board);
}

double board_model_time_s(const struct board_model *board) {
    return (double)board->avr->cycle / (1e6 * CYCLES_A_US);
}

bool board_model_run(struct board_model *board, double seconds) {
    avr_t *avr = board->avr;
    avr_cycle_count_t until = avr->cycle + US(seconds * 1e6);
    bool stalls = board->stalls.long_us > 0;
    board->off_since = avr->cycle;
    while (avr->cycle < until) {
        uint64_t resets = board->resets;
        avr->run_cycle_limit =
            board->watch_interrupts ||
                    (stalls && (!board->stalls.sweep || is_being_read(&board->converter)))
                ? 1
                : US(1000);
        int state = avr_run(avr);
        if (board->resets != resets) {
            resume_models(board);
        }
        if (state == cpu_Done || state == cpu_Crashed) {
            return false;
        }
        if (stalls) {
            put_in_stall(board);
        }
        if (board->watch_interrupts) {
            watch_interrupts(board);
        }
    }
    return true;
}
