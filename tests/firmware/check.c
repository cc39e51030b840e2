/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The firmware itself in the simulator: what it must do and bear. Prints TAP.
 *   check IMAGE UNGUARDED CONVERSIONS PART...
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "heard.h"

static const char *image, *unguarded;
static double conversions;
static int tests, failures;

static void check(bool good, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void check(bool good, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    failures += !good;
    printf("%s %d - ", good ? "ok" : "not ok", ++tests);
    vprintf(format, arguments);
    putchar('\n');
    fflush(stdout);
    va_end(arguments);
}

static struct heard *begin(double seconds) {
    struct heard *heard = heard_begin(image);
    if (heard == NULL || !heard_run(heard, seconds)) {
        printf("not ok - the board crashed\n");
        exit(1);
    }
    return heard;
}

/* What must hold in all but the worst: every conversion once, as it was, in time. */
static void check_whole(struct heard *heard, const char *when) {
    const struct converter_model *converter = &heard->board.converter;
    uint64_t refused = up_reader_refused(&heard->reader);
    check(heard->samples > 0 && heard->strange == 0 && heard->skipped == 0 &&
              converter->lost == 0 && refused == 0 && heard->reader.lost == 0,
          "%s: %llu conversions came once each, none lost (%llu lost, %llu twice or wrong, %llu "
          "lines refused)",
          when, (unsigned long long)heard->samples,
          (unsigned long long)(converter->lost + heard->skipped),
          (unsigned long long)heard->strange, (unsigned long long)refused);
    check(converter->too_long == 0 && converter->too_short == 0 && converter->wrong_pulses == 0 &&
              converter->torn == 0,
          "%s: the clock was high for at most %.2f us (limit 50)", when, converter->high_most_us);
    check(converter->late_most_us <= 2000, "%s: read at most %.0f us after it was ready", when,
          converter->late_most_us);
}

/* ---- it boots and streams ---- */

static void boots(void) {
    struct heard *heard = begin(1);
    double baud = board_model_baud(&heard->board);
    check(heard->unsent == 4, "the first %llu conversions settle, and are not sent",
          (unsigned long long)heard->unsent);
    check(heard->notes > 0 && strncmp(heard->note[0], "#start upthrust-board version=", 30) == 0 &&
              strstr(heard->note[0], "reset=power") != NULL,
          "its first line says what it is: %s", heard->note[0]);
    check(fabs(baud / 57600 - 1) < 0.01, "its registers give %.0f bits/s, %+.2f %% of 57600", baud,
          100 * (baud / 57600 - 1));
    check(heard->board.fuse[0] == 0xFF && heard->board.fuse[1] == 0xDE &&
              heard->board.fuse[2] == 0xFC,
          "its fuse bytes: %02X %02X %02X", heard->board.fuse[0], heard->board.fuse[1],
          heard->board.fuse[2]);
    clock_t began = clock();
    heard_run(heard, 60);
    double speed = 60.0 * CLOCKS_PER_SEC / (double)(clock() - began + 1);
    check(speed >= 20, "the simulator runs %.0f times real time", speed);
    check_whole(heard, "a minute at 10 Hz");
    check(heard->samples >= 590, "%llu lines in a minute", (unsigned long long)heard->samples);
    check(heard->clock_high_s - heard->clock_low_s <= 0.0021,
          "its clock goes as the crystal: %+.1f to %+.1f ms", 1e3 * heard->clock_low_s,
          1e3 * heard->clock_high_s);
    check(heard->temp_low_c == 20 && heard->temp_high_c == 20 && heard->bare < 10,
          "the temperature comes with %llu of them", (unsigned long long)heard->warm);
    heard_end(heard);
}

static void commands(void) {
    struct heard *heard = begin(2);
    heard_forget(heard);
    heard_say(heard, "identify\r\n");
    heard_run(heard, 0.5);
    check(heard_note(heard, 0, "#board upthrust-board version=1 controller=atmega328p"),
          "identify: %s", heard->note[0]);
    heard_say(heard, "rate 80\n");
    heard_run(heard, 1);
    check(heard->skipped == 4, "after another rate %llu conversions settle, and are not sent",
          (unsigned long long)heard->skipped);
    heard_forget(heard);
    heard_run(heard, 10);
    check(heard->samples > 790 && heard->samples < 810, "rate 80: %llu lines in ten seconds",
          (unsigned long long)heard->samples);
    check_whole(heard, "at 80 Hz");
    heard_say(heard, "self-test\n");
    heard_run(heard, 0.5);
    check(heard_note(heard, 0, "#test converter=ok interval_ms=12 thermometer=ok temp_c=20.00"),
          "self-test: %s", heard->note[0]);
    heard_forget(heard);
    heard_say(heard, "identif\nIDENTIFY\nidentify \n identify\nidentifyidentify\nrate 40\n\n\r\n");
    heard_run(heard, 1);
    check(heard->notes == 0, "words that are nearly commands stay unanswered");
    check_whole(heard, "meanwhile");
    heard_end(heard);
}

static void gains(void) {
    static const int gain[] = {64, 32, 128};
    struct heard *heard = begin(2);
    for (int i = 0; i < 3; i++) {
        char text[32];
        snprintf(text, sizeof text, "gain %d\n", gain[i]);
        heard_say(heard, text);
        heard_run(heard, 2);
        uint64_t fits = heard->samples;
        heard_run(heard, 2);
        check(heard->board.converter.gain == gain[i] && heard_note(heard, 0,
                                                                   text[5] == '1'   ? "gain=128"
                                                                   : text[5] == '6' ? "gain=64"
                                                                                    : "gain=32"),
              "gain %d: the converter takes it, and the board says so", gain[i]);
        check((heard->samples > fits) == (gain[i] == 128),
              "gain %d: its words are those of that gain", gain[i]);
    }
    check(heard->board.converter.wrong_pulses == 0, "25, 26 or 27 pulses, never others");
    heard_end(heard);
}

/* ---- the clock of the converter ---- */

static void sweep(struct heard *heard, double wanted) {
    heard_say(heard, "rate 80\n");
    heard_run(heard, 2);
    heard_forget(heard);
    heard->board.stalls = (struct stalls){.long_us = 70, .sweep = true};
    heard_run(heard, wanted / 80);
}

static void guard(void) {
    struct heard *heard = begin(1);
    sweep(heard, conversions);
    check_whole(heard, "an interrupt of 70 us in each conversion, at each instruction of each bit");
    check((double)heard->board.stalls.done > 0.85 * conversions &&
              heard->board.converter.power_downs == 0 && heard->board.stalls.places >= 25,
          "%llu interrupts were put in, each at another instruction of another bit",
          (unsigned long long)heard->board.stalls.done);
    heard_end(heard);
}

static void without_guard(void) {
    const char *kept = image;
    image = unguarded;
    struct heard *heard = begin(1);
    sweep(heard, 3200);
    const struct converter_model *converter = &heard->board.converter;
    check(converter->too_long > 0 && converter->power_downs > 0 && converter->high_most_us > 70,
          "without the guard the same interrupts keep the clock high for %.1f us, and %llu times "
          "the converter powers down",
          converter->high_most_us, (unsigned long long)converter->power_downs);
    heard_end(heard);
    image = kept;
}

/* ---- the thermometer ---- */

static void thermometer_keeps_time(void) {
    static const int presence[][2] = {{15, 60}, {60, 60}, {15, 240}, {60, 240}};
    for (int i = 0; i < 4; i++) {
        struct heard *heard = begin(0);
        struct thermometer_model *model = &heard->board.thermometer;
        model->presence_after_us = presence[i][0];
        model->presence_us = presence[i][1];
        model->temp_c = -0.5 + 8 * i;
        heard_run(heard, 2);
        heard_forget(heard);
        heard->board.watch_interrupts = i == 0;
        heard_run(heard, i == 0 ? 3 : 10);
        check(heard->bare == 0 && heard->temp_low_c == model->temp_c &&
                  heard->temp_high_c == model->temp_c && model->violations == 0,
              "presence after %d us for %d us: %.4g C read, %llu times off its timing %s",
              presence[i][0], presence[i][1], heard->temp_high_c,
              (unsigned long long)model->violations, model->violation);
        check_whole(heard, "while the thermometer converts");
        if (i == 0) {
            double off_us = (double)heard->board.off_most / CYCLES_A_US;
            check(off_us > 5 && off_us <= 15, "interrupts are off for at most %.1f us (limit 15)",
                  off_us);
        }
        heard_end(heard);
    }
}

/* The fault is said, no temperature goes with it, and when it is gone the right one comes back. */
static void recover(struct heard *heard, const char *what, const char *word) {
    struct thermometer_model *model = &heard->board.thermometer;
    char text[64];
    snprintf(text, sizeof text, "#thermometer %s", word);
    heard_run(heard, 1.2);
    heard_forget(heard);
    heard_run(heard, 1.5);
    check(heard->warm == 0 && heard->bare > 10, "%s: not one temperature in %llu lines", what,
          (unsigned long long)heard->bare);
    heard_run(heard, 11);
    check(heard_note(heard, 0, text), "%s: it says \"%s\", again and again", what, text);
    *model = (struct thermometer_model){.avr = model->avr,
                                        .wire = model->wire,
                                        .temp_c = 7.25,
                                        .presence_after_us = 30,
                                        .presence_us = 110,
                                        .conversion_ms = 750};
    thermometer_model_resume(model);
    thermometer_model_power_on(model);
    heard_forget(heard);
    heard_run(heard, 3);
    check(heard->warm > 0 && heard->temp_low_c == 7.25 && heard->temp_high_c == 7.25 &&
              heard_note(heard, 0, "#thermometer ok"),
          "%s: when it is over it says so, and %.2f C comes, not 85", what, heard->temp_high_c);
    check_whole(heard, what);
    model->temp_c = 20;
}

static void thermometer_faults(void) {
    struct heard *heard = begin(3);
    struct thermometer_model *model = &heard->board.thermometer;
    model->unplugged = true;
    recover(heard, "a thermometer unplugged", "absent");
    model->held_low = true;
    thermometer_model_resume(model);
    recover(heard, "its wire short", "held-low");
    model->damage = 1000;
    recover(heard, "a wrong bit in what it sends", "checksum");
    model->all_zero = true;
    recover(heard, "nothing but zeros, whose checksum fits", "foreign");
    model->conversion_ms = 5000;
    thermometer_model_power_on(model);
    recover(heard, "it lost its supply before each reading", "unmeasured");
    heard_end(heard);
}

/* ---- noise ---- */

static void noise_on_the_line(void) {
    struct heard *heard = begin(3);
    heard_forget(heard);
    srand(20);
    for (int i = 0; i < 60000; i++) {
        board_model_say(&heard->board, (uint8_t)(rand() >> 7), rand() % 16 == 0);
        heard_run(heard, 174e-6);
    }
    check(heard->notes == 0, "60000 random bytes, some damaged: no answer");
    check_whole(heard, "random bytes at the full rate");
    heard_say(heard, "\nidentify\n");
    heard_run(heard, 0.5);
    check(heard_note(heard, 0, "#board"), "and it listens as before");
    heard_end(heard);
}

static void noise_on_the_converter(void) {
    struct heard *heard = begin(3);
    heard_forget(heard);
    heard->board.converter.needles_apart_us = 37;
    heard_run(heard, 20);
    check(heard->board.converter.needles > 20 * 25000, "%.0f needles a second were put in",
          (double)heard->board.converter.needles / 20);
    check_whole(heard, "needles on the converter's data line");
    heard->board.converter.needles_apart_us = 0;
    heard->board.thermometer.damage = 1;
    heard_run(heard, 1.1);
    heard->board.converter.flip = 0x40;
    heard_run(heard, 3);
    check(heard->strange > 0, "a wrong bit of the converter passes as it came: the host finds it");
    heard_end(heard);
}

static void storm(void) {
    struct heard *heard = begin(3);
    heard_say(heard, "rate 80\n");
    heard_run(heard, 1);
    heard_forget(heard);
    heard->board.stalls = (struct stalls){.long_us = 70, .every_us = 260};
    heard->board.converter.needles_apart_us = 37;
    heard_run(heard, 20);
    check_whole(heard, "27 % of the time in interrupts of 70 us, at 80 Hz");
    check((heard->warm == 0 || (heard->temp_low_c == 20 && heard->temp_high_c == 20)),
          "a temperature in %llu of %llu lines, none of them wrong",
          (unsigned long long)heard->warm, (unsigned long long)heard->samples);
    check(!heard_note(heard, 0, "#thermometer checksum"),
          "slots that the interrupts made too long are known, and not read through");
    heard->board.stalls = (struct stalls){0};
    heard_run(heard, 5);
    check(!isnan(heard->last.temp_c) && heard->last.temp_c == 20, "after it, the temperature");
    heard_end(heard);
}

/* ---- the converter fails; the board is reset ---- */

static void converter_faults(void) {
    struct heard *heard = begin(3);
    struct converter_model *model = &heard->board.converter;
    heard_forget(heard);
    model->stopped = true;
    heard_run(heard, 3);
    check(heard_note(heard, 0, "#converter silent") && heard->samples < 3,
          "a converter that stops: it says \"#converter silent\"");
    model->stopped = false;
    heard_run(heard, 3);
    check(heard_note(heard, 0, "#converter ok"), "... and \"#converter ok\" when it goes on");
    check_whole(heard, "a converter that stopped");
    heard_forget(heard);
    model->held_low = true;
    heard_run(heard, 3);
    check(heard_note(heard, 0, "#converter held-low") && heard->samples + heard->strange < 3,
          "its data line short: it says \"#converter held-low\", and sends no words of zeros");
    model->held_low = false;
    heard_run(heard, 3);
    check(heard_note(heard, 0, "#converter ok"), "... and \"#converter ok\" when it is over");
    heard_forget(heard);
    model->rate_wire_off = true;
    heard_say(heard, "rate 80\n");
    heard_run(heard, 3);
    check(heard_note(heard, 0, "#converter rate-wire"),
          "the wire of its rate off: it says \"#converter rate-wire\"");
    heard_end(heard);
}

static void resets(void) {
    struct heard *heard = begin(5);
    for (int i = 0; i < 1000 && heard->length != 10; i++) {
        heard_run(heard, 1e-4);
    }
    check(heard->length == 10, "a line has begun, of which ten bytes have come");
    heard_forget(heard);
    board_model_reset(&heard->board);
    heard_run(heard, 3);
    check(heard_note(heard, 0, "#start upthrust-board version=1 controller=atmega328p reset=reset"),
          "the reset button in the middle of a line: %s", heard->note[0]);
    check(heard->samples > 15 && heard->strange == 0 && up_reader_refused(&heard->reader) <= 2 &&
              !heard_note(heard, 0, "#thermometer"),
          "... and it goes on, %llu lines; one was cut, one shows that the clock began anew",
          (unsigned long long)heard->samples);
    heard_forget(heard);
    heard->board.stalls = (struct stalls){.long_us = 2000, .every_us = 2000};
    heard_run(heard, 2);
    heard->board.stalls = (struct stalls){0};
    heard_run(heard, 3);
    check(heard_note(heard, 0, "reset=watchdog"),
          "nothing but interrupts for two seconds: the watchdog, %s", heard->note[0]);
    check(heard->samples > 15, "... and it goes on");
    heard_end(heard);
}

int main(int argc, char **argv) {
    static const struct {
        const char *name;
        void (*part)(void);
    } parts[] = {{"boots", boots},
                 {"commands", commands},
                 {"gains", gains},
                 {"guard", guard},
                 {"without-guard", without_guard},
                 {"thermometer", thermometer_keeps_time},
                 {"thermometer-faults", thermometer_faults},
                 {"line-noise", noise_on_the_line},
                 {"converter-noise", noise_on_the_converter},
                 {"storm", storm},
                 {"converter-faults", converter_faults},
                 {"resets", resets}};
    if (argc < 5) {
        return 2;
    }
    image = argv[1];
    unguarded = argv[2];
    conversions = atof(argv[3]);
    for (int i = 4; i < argc; i++) {
        for (size_t j = 0; j < sizeof parts / sizeof parts[0]; j++) {
            if (strcmp(argv[i], parts[j].name) == 0) {
                parts[j].part();
            }
        }
    }
    return failures > 0;
}
