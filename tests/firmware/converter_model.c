/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Timing: data sheet of the HX711, V2.0, page 5 (T1 to T4, power down), page 3 (rates and
 * settling), page 4, table 3 (pulses and gain).
 */
#include "models.h"

#include <simavr/avr_ioport.h>
#include <simavr/sim_cycle_timers.h>

static const double DATA_TO_CLOCK_LEAST_US = 0.1; /* T1 */
static const double HIGH_LEAST_US = 0.2;          /* T3 */
static const double HIGH_MOST_US = 50;            /* T3 */
static const double LOW_LEAST_US = 0.2;           /* T4 */
static const double POWER_DOWN_US = 60;
enum { SETTLING = 4 }; /* periods: 400 or 50 ms */

static avr_cycle_count_t period(const struct converter_model *model) {
    return model->fast ? US(12500) : US(100000);
}

static double us_since(const struct converter_model *model, avr_cycle_count_t then) {
    return (double)(model->avr->cycle - then) / CYCLES_A_US;
}

/* An open wire is pulled up by the board. */
static void show(const struct converter_model *model, bool high) {
    pin_drive(&model->data, (high || model->unplugged) && !model->held_low);
}

static int32_t sampled(struct converter_model *model) {
    double time_s = (double)model->avr->cycle / (1e6 * CYCLES_A_US);
    int32_t word = model->load != NULL ? model->load(model->context, time_s) : 0;
    word = model->gain == 64 ? word / 2 : model->gain == 32 ? 0 : word; /* nothing hangs on it */
    return (int32_t)((uint32_t)word ^ model->flip);
}

static void finish_read(struct converter_model *model) {
    if (model->pulses == 0) {
        return;
    }
    if (model->pulses < 25 || model->pulses > 27) {
        model->wrong_pulses++;
    } else {
        model->read++;
    }
    model->pulses = 0;
}

/* The end of a conversion. A word that nobody read is lost. */
static avr_cycle_count_t convert(avr_t *avr, avr_cycle_count_t when, void *context) {
    struct converter_model *model = context;
    (void)avr;
    if (model->stopped || model->unplugged) {
        return when + period(model);
    }
    if (model->settling > 0) {
        model->settling--;
        return when + period(model);
    }
    model->lost += model->waiting && model->pulses == 0;
    model->torn += model->pulses > 0 && model->pulses < 25;
    finish_read(model);
    if (model->gain != model->next_gain) {
        model->settling = SETTLING - 1;
        model->gain = model->next_gain;
        model->waiting = false;
        return when + period(model);
    }
    model->word = sampled(model);
    model->conversions++;
    model->waiting = model->serving = true;
    model->ready_at = model->avr->cycle;
    show(model, false);
    return when + period(model);
}

static void rise(struct converter_model *model) {
    model->rose_at = model->avr->cycle;
    if (us_since(model, model->fell_at) < LOW_LEAST_US) {
        model->too_short++;
    }
    model->pulses++;
    model->avr->run_cycle_count = 1; /* who counts instructions has his turn after this one */
    if (model->pulses == 1 && model->waiting) {
        double late_us = us_since(model, model->ready_at);
        model->late_most_us = late_us > model->late_most_us ? late_us : model->late_most_us;
        model->too_short += late_us < DATA_TO_CLOCK_LEAST_US;
    }
    model->waiting = model->waiting && model->pulses < 25;
    bool bit = !model->serving || model->pulses > 24 ||
               ((uint32_t)model->word >> (24 - model->pulses) & 1) != 0;
    show(model, bit);
    model->next_gain = model->pulses == 26   ? 32
                       : model->pulses == 27 ? 64
                       : model->pulses == 25 ? 128
                                             : model->next_gain;
}

static void fall(struct converter_model *model) {
    double high_us = us_since(model, model->rose_at);
    model->fell_at = model->avr->cycle;
    model->high_most_us = high_us > model->high_most_us ? high_us : model->high_most_us;
    model->too_long += high_us > HIGH_MOST_US;
    model->too_short += high_us < HIGH_LEAST_US;
    if (high_us > POWER_DOWN_US) { /* it begins anew, with gain 128 by the older data sheet */
        model->power_downs++;
        model->settling = SETTLING;
        model->gain = model->next_gain = 128;
        model->pulses = 0;
        model->waiting = model->serving = false;
        show(model, true);
    }
}

static void clock_changed(struct avr_irq_t *irq, uint32_t value, void *context) {
    struct converter_model *model = context;
    bool high = (value & 1) != 0;
    (void)irq;
    if (high != model->clock_high) {
        model->clock_high = high;
        if (high) {
            rise(model);
        } else {
            fall(model);
        }
    }
}

static void rate_changed(struct avr_irq_t *irq, uint32_t value, void *context) {
    struct converter_model *model = context;
    bool fast = (value & 1) != 0;
    (void)irq;
    if (fast != model->fast && !model->rate_wire_off) {
        model->fast = fast;
        model->settling = SETTLING - 1;
        avr_cycle_timer_register(model->avr, period(model), convert, model);
    }
}

static bool is_between_words(const struct converter_model *model) {
    return !model->waiting && (model->pulses == 0 || model->pulses >= 25);
}

/* Of half a microsecond. */
static avr_cycle_count_t end_needle(avr_t *avr, avr_cycle_count_t when, void *context) {
    const struct converter_model *model = context;
    (void)avr;
    (void)when;
    if (is_between_words(model)) {
        show(model, true);
    }
    return 0;
}

/* Five microseconds apart at least, also after an interrupt that was put in. */
static avr_cycle_count_t rattle(avr_t *avr, avr_cycle_count_t when, void *context) {
    struct converter_model *model = context;
    avr_cycle_count_t apart = US(model->needles_apart_us);
    if (apart == 0) {
        return when + US(1000);
    }
    if (is_between_words(model)) {
        show(model, false);
        model->needles++;
        avr_cycle_timer_register(avr, US(0.5), end_needle, model);
    }
    model->dice = model->dice * 1664525u + 1013904223u;
    return avr->cycle + US(5) + (model->dice >> 8) % (2 * (apart - US(5)));
}

static void begin_timers(struct converter_model *model) {
    avr_cycle_timer_register(model->avr, period(model), convert, model);
    avr_cycle_timer_register(model->avr, US(1000), rattle, model);
}

void converter_model_begin(struct converter_model *model, avr_t *avr) {
    model->avr = avr;
    model->gain = model->next_gain = 128;
    model->settling = SETTLING;
    pin_begin(&model->data, avr, 'D', 2);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), 3), clock_changed,
                            model);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), 4), rate_changed,
                            model);
    begin_timers(model);
    show(model, true);
}

void converter_model_resume(struct converter_model *model) {
    if (model->clock_high) {
        clock_changed(NULL, 0, model);
    }
    begin_timers(model);
    show(model, !model->waiting);
}
