/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The hardware: an ATmega328P, or an ATmega2560, at 16 MHz.
 *
 *     wire of             ATmega328P   ATmega2560
 *     converter, data     PD2 (INT0)   PE4 (INT4)
 *     converter, clock    PD3          PE5
 *     converter, rate     PD4          PG5
 *     thermometer         PB0          PB4
 *     serial line         PD0, PD1     PE0, PE1
 *
 * Timer 1 is the clock, timer 0 times the slots of the thermometer's wire. Timings are those of
 * the chips' data sheets: a 24-bit converter with a clocked output, HX711 (V2.0, page 5), and a
 * digital thermometer, DS18B20 (27-page edition, page 25).
 */
#include "board.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/delay.h>

#if defined(__AVR_ATmega328P__)
#define CONTROLLER       "atmega328p"
#define DATA_PIN         PIND
#define DATA_PORT        PORTD
#define DATA_BIT         PD2
#define DATA_INT_ENABLE  EIMSK
#define DATA_INT_BIT     INT0
#define DATA_INT_FLAG    EIFR
#define DATA_INT_VECTOR  INT0_vect
#define DATA_INT_SENSE() (EICRA = _BV(ISC01) | _BV(ISC11)) /* none by a level */
#define CLOCK_PORT       PORTD
#define CLOCK_DDR        DDRD
#define CLOCK_BIT        PD3
#define RATE_PORT        PORTD
#define RATE_DDR         DDRD
#define RATE_BIT         PD4
#define WIRE_BIT         PB0
#define SERIAL_PORT      PORTD
#define SERIAL_RX_BIT    PD0
#define SERIAL_RX_VECTOR USART_RX_vect
#define SERIAL_TX_VECTOR USART_UDRE_vect
#elif defined(__AVR_ATmega2560__)
#define CONTROLLER       "atmega2560"
#define DATA_PIN         PINE
#define DATA_PORT        PORTE
#define DATA_BIT         PE4
#define DATA_INT_ENABLE  EIMSK
#define DATA_INT_BIT     INT4
#define DATA_INT_FLAG    EIFR
#define DATA_INT_VECTOR  INT4_vect
#define DATA_INT_SENSE() (EICRB = _BV(ISC41) | _BV(ISC51)) /* none by a level */
#define CLOCK_PORT       PORTE
#define CLOCK_DDR        DDRE
#define CLOCK_BIT        PE5
#define RATE_PORT        PORTG
#define RATE_DDR         DDRG
#define RATE_BIT         PG5
#define WIRE_BIT         PB4
#define SERIAL_PORT      PORTE
#define SERIAL_RX_BIT    PE0
#define SERIAL_RX_VECTOR USART0_RX_vect
#define SERIAL_TX_VECTOR USART0_UDRE_vect
#else
#error "board.c knows the ATmega328P and the ATmega2560"
#endif

/* A crystal of 8 to 16 MHz that starts slowly; a bootloader of 512 bytes begins after a reset, and
   the settings survive no erasing; below 4.3 V the board is held in reset (the controller's data
   sheet wants 4.5 V for 16 MHz; brown-out level 100 is 4.3 V). */
FUSES = {.low = 0xFF, .high = 0xDE, .extended = 0xFC};

/* ---- the clock ---- */

enum { TICK_US = 4, PERIOD_MS = 250, TICKS_A_MS = 1000 / TICK_US };
#define PERIOD_TICKS ((uint16_t)(1000U / TICK_US * PERIOD_MS))
_Static_assert(F_CPU == 64 * (1000000UL / TICK_US), "timers 0 and 1 divide by 64");

struct moment {
    uint32_t period_ms;
    uint16_t ticks;
};

static volatile uint32_t period_ms;
static volatile bool woken;

ISR(TIMER1_COMPA_vect) {
    period_ms += PERIOD_MS;
    woken = true;
}

/* With interrupts off. A period that ended just now may not have been counted yet. */
static inline struct moment take_moment(void) {
    struct moment moment = {period_ms, TCNT1};
    if ((TIFR1 & _BV(OCF1A)) != 0) {
        moment.ticks = TCNT1;
        moment.period_ms += PERIOD_MS;
    }
    return moment;
}

static uint32_t moment_ms(struct moment moment) {
    return moment.period_ms + moment.ticks / TICKS_A_MS;
}

uint32_t board_time_ms(void) {
    uint8_t kept = SREG;
    cli();
    struct moment now = take_moment();
    SREG = kept;
    return moment_ms(now);
}

static void begin_clock(void) {
    OCR1A = PERIOD_TICKS - 1;
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(WGM12) | _BV(CS11) | _BV(CS10);
}

/* ---- why it began, and that it goes on ---- */

static uint8_t cause __attribute__((section(".noinit")));

/* Before anything else: after its reset the watchdog goes on at its shortest time. */
void note_cause(void) __attribute__((naked, used, section(".init3")));
void note_cause(void) {
    cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

const char *board_reset_cause(void) {
    return (cause & _BV(WDRF)) != 0    ? "watchdog"
           : (cause & _BV(BORF)) != 0  ? "brown-out"
           : (cause & _BV(PORF)) != 0  ? "power"
           : (cause & _BV(EXTRF)) != 0 ? "reset"
                                       : "unknown";
}

const char *board_controller(void) {
    return CONTROLLER;
}

void board_alive(void) {
    wdt_reset();
}

void board_sleep(void) {
    cli();
    while (!woken) { /* a byte that was sent wakes the controller and not the program */
        sleep_enable();
        sei(); /* the instruction after it is done before any interrupt */
        sleep_cpu();
        sleep_disable();
        cli();
    }
    woken = false;
    sei();
}

/* ---- the serial line ---- */

#define BAUD_WANTED 57600UL
enum { UBRR = (F_CPU / 4 / BAUD_WANTED - 1) / 2 }; /* rounded, at double speed */
#define BAUD_GOT (F_CPU / 8 / (UBRR + 1))
_Static_assert(BAUD_GOT * 100 > BAUD_WANTED * 99 && BAUD_GOT * 100 < BAUD_WANTED * 101,
               "the rate of the serial line is within 1 %");

enum { SEND_SIZE = 256, RECEIVE_SIZE = 32 };

static volatile struct {
    char byte[SEND_SIZE];
    uint8_t put, taken; /* they run over at the size */
} outgoing;

static volatile struct {
    char byte[RECEIVE_SIZE];
    uint8_t put, taken;
    bool damaged; /* one since the last that was handed out */
} incoming;

ISR(SERIAL_TX_VECTOR) {
    UDR0 = (uint8_t)outgoing.byte[outgoing.taken];
    outgoing.taken++;
    if (outgoing.taken == outgoing.put) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    }
}

ISR(SERIAL_RX_VECTOR) {
    bool bad = (UCSR0A & (_BV(FE0) | _BV(DOR0))) != 0;
    char byte = (char)UDR0;
    uint8_t next = (uint8_t)(incoming.put + 1) % RECEIVE_SIZE;
    if (bad || next == incoming.taken) {
        incoming.damaged = true;
    } else {
        incoming.byte[incoming.put] = byte;
        incoming.put = next;
    }
    woken = true;
}

bool board_has_room(uint8_t bytes) {
    uint8_t waiting = (uint8_t)(outgoing.put - outgoing.taken);
    return bytes < SEND_SIZE - waiting;
}

void board_send(const char *bytes, uint8_t length) {
    for (uint8_t i = 0; i < length; i++) {
        outgoing.byte[outgoing.put] = bytes[i];
        outgoing.put++;
    }
    uint8_t kept = SREG;
    cli();
    UCSR0B |= _BV(UDRIE0);
    SREG = kept;
}

bool board_received(char *byte, bool *damaged) {
    uint8_t kept = SREG;
    cli();
    bool some = incoming.put != incoming.taken;
    *damaged = incoming.damaged;
    incoming.damaged = false;
    if (some) {
        *byte = incoming.byte[incoming.taken];
        incoming.taken = (uint8_t)(incoming.taken + 1) % RECEIVE_SIZE;
    }
    SREG = kept;
    return some || *damaged;
}

static void begin_serial(void) {
    SERIAL_PORT |= _BV(SERIAL_RX_BIT); /* an open wire says nothing */
    UCSR0A = _BV(U2X0);
    UBRR0 = UBRR;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

/* ---- the converter ---- */

/* An edge is looked for once, until somebody has seen to it: noise on the wire costs no more than
   one interrupt a turn of the program. */
static volatile struct {
    bool seen;
    struct moment at;
} edge;

ISR(DATA_INT_VECTOR) {
    edge.at = take_moment();
    edge.seen = true;
    DATA_INT_ENABLE &= (uint8_t)~_BV(DATA_INT_BIT);
    woken = true;
}

static bool data_is_low(void) {
    return (DATA_PIN & _BV(DATA_BIT)) == 0;
}

/* Shorter pulses are noise. An interrupt between the two looks would let them be of two pulses. */
static bool data_stays_low(void) {
    uint8_t kept = SREG;
    cli();
    bool low = data_is_low();
    _delay_us(1);
    low = low && data_is_low();
    SREG = kept;
    return low;
}

static void await_edge(void) {
    uint8_t kept = SREG;
    cli();
    edge.seen = false;
    DATA_INT_FLAG = _BV(DATA_INT_BIT);
    DATA_INT_ENABLE |= _BV(DATA_INT_BIT);
    woken = woken || data_is_low(); /* its edge may have come just before */
    SREG = kept;
}

void board_converter_wait(void) {
    if (edge.seen) {
        await_edge();
    }
}

bool board_converter_is_ready(uint32_t *ready_ms) {
    if (!data_stays_low()) {
        board_converter_wait();
        return false;
    }
    uint8_t kept = SREG;
    cli();
    struct moment at =
        edge.seen ? (struct moment){edge.at.period_ms, edge.at.ticks} : take_moment();
    SREG = kept;
    *ready_ms = moment_ms(at);
    return true;
}

/* One pulse. High for 0.2 to 50 us (typically 1), the bit valid 0.1 us after it rose, more with
   long wires; above 60 us the converter powers down. So no interrupt may come while it is high. */
static inline bool clock_bit(void) {
#ifndef WITHOUT_GUARD
    uint8_t kept = SREG;
    cli();
#endif
    CLOCK_PORT |= _BV(CLOCK_BIT);
    _delay_us(1);
    bool bit = (DATA_PIN & _BV(DATA_BIT)) != 0;
    CLOCK_PORT &= (uint8_t)~_BV(CLOCK_BIT);
#ifndef WITHOUT_GUARD
    SREG = kept;
#endif
    return bit;
}

bool board_converter_read(uint8_t pulses, int32_t *word) {
    uint32_t bits = 0;
    for (uint8_t i = 0; i < 24; i++) {
        bits = bits << 1 | clock_bit();
    }
    for (uint8_t i = 24; i < pulses; i++) {
        clock_bit();
    }
    *word = (int32_t)(bits << 8) >> 8;
    _delay_us(1);
    bool released = !data_stays_low();
    await_edge();
    return released;
}

void board_converter_fast(bool fast) {
    if (fast) {
        RATE_PORT |= _BV(RATE_BIT);
    } else {
        RATE_PORT &= (uint8_t)~_BV(RATE_BIT);
    }
}

static void begin_converter(void) {
    CLOCK_DDR |= _BV(CLOCK_BIT);
    RATE_DDR |= _BV(RATE_BIT);
    DATA_PORT |= _BV(DATA_BIT); /* an open wire is never ready */
    DATA_INT_SENSE();
    await_edge();
}

/* ---- the thermometer's wire: driven low or let go, a resistor of 4.7 kohm pulls it up ---- */

/* Microseconds. Reset low 480 to 960, answered within 60 for 60 to 240; a slot 60 to 120, of which
   a 0 is low all the time, a 1 and a read 1 to 15; a bit is read within 15 of the falling edge. */
enum {
    RESET_LOW_US = 500,
    RESET_REST_US = 480,
    ZERO_LOW_US = 64,
    ZERO_LOW_MOST_US = 112, /* one tick less than 120, and what the letting go takes */
    ONE_LOW_US = 4,
    READ_LOW_US = 2,
    READ_AFTER_US = 7, /* the letting go */
    SLOT_REST_US = 64,
    RISE_US = 6
};

enum slot { SLOT_RESET, SLOT_PRESENCE, SLOT_ZERO, SLOT_REST };

static volatile struct {
    enum slot slot;
    bool busy, bit, answered;
    enum board_wire outcome;
    uint16_t fell;
} wire;

static inline void pull_wire(void) {
    DDRB |= _BV(WIRE_BIT);
}

static inline void let_go_of_wire(void) {
    DDRB &= (uint8_t)~_BV(WIRE_BIT);
}

static inline bool wire_is_high(void) {
    return (PINB & _BV(WIRE_BIT)) != 0;
}

static void end_slot_after(enum slot slot, uint16_t us) {
    wire.slot = slot;
    wire.busy = true;
    TCNT0 = 0;
    OCR0A = (uint8_t)(us / TICK_US);
    TIFR0 = _BV(OCF0A);
    TIMSK0 = _BV(OCIE0A);
    TCCR0B = _BV(CS01) | _BV(CS00);
}

static void end_slot(enum board_wire outcome) {
    wire.outcome = outcome;
    wire.busy = false;
    woken = true;
}

/* Whoever answers a reset pulls the wire low, at no moment that must be met. */
ISR(PCINT0_vect) {
    wire.answered = true;
    PCICR = 0;
}

static void let_go_of_reset(void) {
    let_go_of_wire();
    _delay_us(RISE_US);
    if (!wire_is_high()) {
        end_slot(BOARD_WIRE_HELD_LOW);
        return;
    }
    wire.answered = false;
    PCMSK0 = _BV(WIRE_BIT); /* from now on */
    PCIFR = _BV(PCIF0);
    PCICR = _BV(PCIE0);
    end_slot_after(SLOT_PRESENCE, RESET_REST_US);
}

static void let_go_of_zero(void) {
    let_go_of_wire();
    uint16_t now = TCNT1;
    uint16_t ticks =
        now >= wire.fell ? now - wire.fell : (uint16_t)(now + (PERIOD_TICKS - wire.fell));
    end_slot(ticks > ZERO_LOW_MOST_US / TICK_US ? BOARD_WIRE_TORN : BOARD_WIRE_DONE);
}

ISR(TIMER0_COMPA_vect) {
    TCCR0B = 0;
    TIMSK0 = 0;
    switch (wire.slot) {
    case SLOT_RESET:
        let_go_of_reset();
        break;
    case SLOT_PRESENCE:
        PCICR = PCMSK0 = 0;
        end_slot(!wire_is_high() ? BOARD_WIRE_HELD_LOW
                 : wire.answered ? BOARD_WIRE_DONE
                                 : BOARD_WIRE_NOBODY);
        break;
    case SLOT_ZERO:
        let_go_of_zero();
        break;
    case SLOT_REST:
        end_slot(BOARD_WIRE_DONE);
        break;
    }
}

void board_wire_reset(void) {
    uint8_t kept = SREG;
    cli();
    pull_wire();
    end_slot_after(SLOT_RESET, RESET_LOW_US);
    SREG = kept;
}

void board_wire_write(bool bit) {
    uint8_t kept = SREG;
    cli();
    pull_wire();
    if (bit) {
        _delay_us(ONE_LOW_US);
        let_go_of_wire();
        end_slot_after(SLOT_REST, SLOT_REST_US);
    } else {
        wire.fell = TCNT1;
        end_slot_after(SLOT_ZERO, ZERO_LOW_US);
    }
    SREG = kept;
}

void board_wire_read(void) {
    uint8_t kept = SREG;
    cli();
    pull_wire();
    _delay_us(READ_LOW_US);
    let_go_of_wire();
    _delay_us(READ_AFTER_US);
    wire.bit = wire_is_high();
    SREG = kept;
    end_slot_after(SLOT_REST, SLOT_REST_US);
}

bool board_wire_is_over(enum board_wire *outcome, bool *bit) {
    if (wire.busy) {
        return false;
    }
    *outcome = wire.outcome;
    *bit = wire.bit;
    return true;
}

/* ---- the whole ---- */

void board_begin(void) {
    wdt_enable(WDTO_1S);
    begin_clock();
    begin_serial();
    begin_converter();
    SMCR = 0; /* idle: timers and the serial line go on */
    sei();
}
