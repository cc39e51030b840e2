/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Timing: data sheet of the DS18B20, 27-page edition, page 25, and page 19 for when a written bit
 * is sampled; scratchpad: 22-page edition, page 4, and DS18B20-PAR, page 6.
 */
#include "models.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include <simavr/avr_ioport.h>
#include <simavr/sim_cycle_timers.h>

static const double SLOT_LEAST_US = 60, RECOVERY_LEAST_US = 1;
static const double ONE_MOST_US = 15, ZERO_LEAST_US = 60, ZERO_MOST_US = 120;
static const double RESET_LEAST_US = 480, RESET_MOST_US = 960, RESET_HIGH_LEAST_US = 480;
static const double DATA_VALID_US = 15;

/* ---- the wire ---- */

static void show(const struct thermometer_model *model) {
    pin_drive(&model->wire,
              !model->pulled && !model->held_low && !(model->pulls && !model->unplugged));
}

static double us_since(const struct thermometer_model *model, avr_cycle_count_t then) {
    return (double)(model->avr->cycle - then) / CYCLES_A_US;
}

static void violate(struct thermometer_model *model, const char *what, double us) {
    if (model->violations++ == 0) {
        snprintf(model->violation, sizeof model->violation, "%s: %.1f us", what, us);
    }
}

static avr_cycle_count_t let_go(avr_t *avr, avr_cycle_count_t when, void *context) {
    struct thermometer_model *model = context;
    (void)avr;
    (void)when;
    model->pulls = false;
    show(model);
    return 0;
}

static avr_cycle_count_t answer_reset(avr_t *avr, avr_cycle_count_t when, void *context) {
    struct thermometer_model *model = context;
    (void)when;
    model->pulls = true;
    show(model);
    avr_cycle_timer_register(avr, US(model->presence_us), let_go, model);
    return 0;
}

/* ---- what it remembers ---- */

static uint8_t crc8(const uint8_t *bytes, size_t count) {
    uint8_t crc = 0;
    for (size_t i = 0; i < count; i++) {
        for (int bit = 0; bit < 8; bit++) {
            bool odd = ((crc ^ bytes[i] >> bit) & 1) != 0;
            crc = (uint8_t)(crc >> 1 ^ (odd ? 0x8C : 0));
        }
    }
    return crc;
}

void thermometer_model_power_on(struct thermometer_model *model) {
    static const uint8_t pad[8] = {0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10};
    memcpy(model->pad, pad, sizeof pad);
    model->pad[8] = crc8(pad, sizeof pad);
    model->mode = WIRE_IDLE;
    model->converts_until = 0;
}

static void finish_conversion(struct thermometer_model *model) {
    if (model->converts_until == 0 || model->avr->cycle < model->converts_until) {
        return;
    }
    int16_t sixteenths = (int16_t)lround(model->temp_c * 16);
    model->converts_until = 0;
    model->pad[0] = (uint8_t)sixteenths;
    model->pad[1] = (uint8_t)((uint16_t)sixteenths >> 8);
    model->pad[6] = (uint8_t)(0x10 - (model->pad[0] & 0x0F));
    model->pad[8] = crc8(model->pad, 8);
    model->conversions++;
}

static void obey(struct thermometer_model *model, uint8_t command) {
    if (!model->skipped) {
        model->skipped = command == 0xCC;
        model->mode = model->skipped ? WIRE_COMMAND : WIRE_IDLE;
    } else if (command == 0x44) {
        model->converts_until = model->avr->cycle + US(1000) * (unsigned)model->conversion_ms;
        model->mode = WIRE_IDLE;
    } else if (command == 0xBE) {
        finish_conversion(model);
        model->pads++;
        model->mode = WIRE_SENDS;
    } else {
        model->mode = WIRE_IDLE;
    }
    model->bits = 0;
    model->shift = 0;
}

/* ---- slots ---- */

static bool next_bit(const struct thermometer_model *model) {
    uint8_t byte = model->pad[model->bits / 8];
    bool bit = (byte >> (model->bits % 8) & 1) != 0;
    return !model->all_zero && bit != (model->damage > 0 && model->bits == 5);
}

static void pulled_low(struct thermometer_model *model) {
    double gap_us = us_since(model, model->rose_at), slot_us = us_since(model, model->fell_at);
    if (gap_us < RECOVERY_LEAST_US || slot_us < SLOT_LEAST_US) {
        violate(model, "a slot begins too soon", fmin(gap_us, slot_us));
    }
    if (model->avr->cycle < model->reset_until) {
        violate(model, "a slot within the answer to a reset", gap_us);
    }
    model->fell_at = model->avr->cycle;
    if (model->mode == WIRE_SENDS && model->bits < 72 && !next_bit(model)) {
        model->pulls = true; /* no longer than it must */
        avr_cycle_timer_register(model->avr, US(DATA_VALID_US), let_go, model);
    }
}

static void take_reset(struct thermometer_model *model, double low_us) {
    model->resets++;
    if (low_us > RESET_MOST_US) {
        violate(model, "a reset is too long", low_us);
    }
    model->reset_until = model->avr->cycle + US(RESET_HIGH_LEAST_US);
    if (!model->unplugged) {
        model->mode = WIRE_COMMAND;
        model->skipped = false;
        model->bits = 0;
        avr_cycle_timer_register(model->avr, US(model->presence_after_us), answer_reset, model);
    }
}

static void take_written(struct thermometer_model *model, double low_us) {
    bool one = low_us <= ONE_MOST_US;
    if (!one && (low_us < ZERO_LEAST_US || low_us > ZERO_MOST_US)) {
        violate(model, "a written bit is neither 0 nor 1", low_us);
    }
    if (low_us > ZERO_MOST_US) { /* the worst that it may do then: it waits for a reset */
        model->mode = WIRE_IDLE;
        return;
    }
    model->shift = (uint8_t)(model->shift >> 1 | (one ? 0x80 : 0));
    if (++model->bits == 8) {
        obey(model, model->shift);
    }
}

static void take_read(struct thermometer_model *model, double low_us) {
    if (low_us < 1 || low_us > ONE_MOST_US) {
        violate(model, "a read slot is not begun within 15 us", low_us);
    }
    if (++model->bits == 72) {
        model->damage -= model->damage > 0;
    }
}

static void let_rise(struct thermometer_model *model) {
    double low_us = us_since(model, model->fell_at);
    model->rose_at = model->avr->cycle;
    if (low_us >= RESET_LEAST_US) {
        take_reset(model, low_us);
    } else if (model->mode == WIRE_COMMAND && !model->unplugged) {
        take_written(model, low_us);
    } else if (model->mode == WIRE_SENDS && !model->unplugged) {
        take_read(model, low_us);
    }
}

static void drive_changed(struct avr_irq_t *irq, uint32_t value, void *context) {
    struct thermometer_model *model = context;
    bool pulled = (value & 1) != 0;
    (void)irq;
    if (pulled == model->pulled) {
        return;
    }
    model->pulled = pulled;
    if (pulled) {
        pulled_low(model);
    } else {
        let_rise(model);
    }
    show(model);
}

void thermometer_model_begin(struct thermometer_model *model, avr_t *avr) {
    model->avr = avr;
    model->temp_c = 20;
    model->presence_after_us = 30;
    model->presence_us = 110;
    model->conversion_ms = 750;
    pin_begin(&model->wire, avr, 'B', 0);
    avr_irq_register_notify(
        avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), IOPORT_IRQ_DIRECTION_ALL), drive_changed,
        model);
    thermometer_model_power_on(model);
    show(model);
}

void thermometer_model_resume(struct thermometer_model *model) {
    model->pulls = false;
    drive_changed(NULL, 0, model);
    show(model);
}
