/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "converter.h"

#include "board.h"

/* Data sheet of the converter (HX711 V2.0, pages 3 and 4): 25, 26 or 27 pulses choose gain 128, 32
   (second channel) or 64 for the next word; four conversions settle. A driver's longest wait for a
   word is a second (Linux, drivers/iio/adc/hx711.c). */
enum { PULSES_128 = 25, PULSES_32 = 26, PULSES_64 = 27, SETTLING = 4, SILENT_MS = 1000 };

/* Choices of ours: a conversion that comes sooner than this after the last is noise on the wire,
   or the wire is low for good. */
enum { SOONEST_FAST_MS = 7, SOONEST_SLOW_MS = 50, FAULTY_MOST = 3, PACED = 8 };

static void settle(struct converter *converter) {
    converter->skip = SETTLING;
    converter->paced = 0;
    converter->span_ms = converter->interval_ms = 0;
    converter->fault = CONVERTER_WAITED_FOR;
}

void converter_begin(struct converter *converter, uint32_t now_ms) {
    converter->pulses = PULSES_128;
    converter->faulty = 0;
    converter->last_ms = now_ms;
    converter_set_rate(converter, false);
}

void converter_set_rate(struct converter *converter, bool fast) {
    converter->fast = fast;
    board_converter_fast(fast);
    settle(converter);
}

void converter_set_gain(struct converter *converter, uint8_t gain) {
    converter->pulses = gain == 128 ? PULSES_128 : gain == 64 ? PULSES_64 : PULSES_32;
    settle(converter);
    converter->skip++; /* the next word is still of the old one */
}

uint8_t converter_gain(const struct converter *converter) {
    return converter->pulses == PULSES_128 ? 128 : converter->pulses == PULSES_64 ? 64 : 32;
}

/* The mean interval of eight, against twice and half of what the rate pin asks for. */
static void watch_pace(struct converter *converter, uint32_t interval_ms) {
    uint16_t due_ms = converter->fast ? 12 : 100;
    converter->span_ms += interval_ms;
    if (++converter->paced < PACED) {
        return;
    }
    converter->interval_ms = (uint16_t)(converter->span_ms / PACED);
    converter->paced = 0;
    converter->span_ms = 0;
    bool fits = converter->interval_ms > due_ms / 2 && converter->interval_ms < due_ms * 2;
    converter->fault = fits ? CONVERTER_WELL : CONVERTER_RATE_WIRE;
}

static bool is_too_soon(const struct converter *converter, uint32_t now_ms) {
    /* At the slow rate a converter whose rate pin is on another wire shows as such. */
    uint8_t least_ms = converter->faulty > 0 ? SOONEST_SLOW_MS : SOONEST_FAST_MS;
    return now_ms - converter->last_ms < least_ms;
}

static bool judge(struct converter *converter, bool released, uint32_t interval_ms) {
    if (!released) {
        if (converter->faulty < FAULTY_MOST && ++converter->faulty == FAULTY_MOST) {
            settle(converter);
            converter->fault = CONVERTER_HELD_LOW;
        }
        return false;
    }
    converter->faulty = 0;
    if (converter->fault == CONVERTER_SILENT || converter->fault == CONVERTER_HELD_LOW) {
        settle(converter); /* it may have lost its supply */
    }
    if (converter->skip > 0) {
        converter->skip--;
        return false;
    }
    if (converter->fault == CONVERTER_WAITED_FOR) {
        converter->fault = CONVERTER_WELL;
    }
    watch_pace(converter, interval_ms);
    return true;
}

bool converter_take(struct converter *converter, uint32_t now_ms, int32_t *word,
                    uint32_t *ready_ms) {
    uint32_t before_ms = converter->last_ms;
    bool too_soon = is_too_soon(converter, now_ms);
    if (too_soon) {
        board_converter_wait();
    }
    if (too_soon || !board_converter_is_ready(ready_ms)) {
        if (now_ms - before_ms >= SILENT_MS && converter->fault != CONVERTER_HELD_LOW) {
            settle(converter);
            converter->fault = CONVERTER_SILENT;
        }
        return false;
    }
    bool released = board_converter_read(converter->pulses, word);
    converter->last_ms = *ready_ms;
    return judge(converter, released, *ready_ms - before_ms);
}

const char *converter_word(enum converter_fault fault) {
    static const char *const words[] = {"ok", "waiting", "silent", "held-low", "rate-wire"};
    return words[fault];
}
