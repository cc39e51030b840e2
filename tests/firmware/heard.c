/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "heard.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "text/memory.h"
#include "upthrust/rig.h"

static struct up_rig rig;

/* Every word another one than those about it, at any rate: a line shows of which it is. */
static int32_t saw(void *context, double time_s) {
    struct heard *heard = context;
    uint64_t number = heard->words++;
    int32_t word = (int32_t)((number * 2654435761u) & 0xFFFFFF) - 0x800000;
    heard->word[number % WORDS_KEPT] = word;
    heard->word_s[number % WORDS_KEPT] = time_s;
    return word;
}

static void take_sample(struct heard *heard, const struct up_sample *sample) {
    uint64_t back = 0;
    while (back < WORDS_KEPT && back < heard->words &&
           heard->word[(heard->words - 1 - back) % WORDS_KEPT] != (int32_t)sample->load[0]) {
        back++;
    }
    uint64_t number = heard->words - 1 - back;
    if (back == WORDS_KEPT || back == heard->words ||
        (heard->samples > 0 && number <= heard->last_word)) {
        heard->strange++;
        return;
    }
    heard->skipped += heard->samples > 0 ? number - heard->last_word - 1 : 0;
    heard->unsent = heard->last_word == 0 && heard->samples == 0 ? number : heard->unsent;
    heard->last_word = number;
    double ahead_s = sample->time_s - heard->word_s[number % WORDS_KEPT];
    heard->clock_low_s = heard->samples > 0 ? fmin(heard->clock_low_s, ahead_s) : ahead_s;
    heard->clock_high_s = heard->samples > 0 ? fmax(heard->clock_high_s, ahead_s) : ahead_s;
    heard->samples++;
    heard->last = *sample;
    if (isnan(sample->temp_c)) {
        heard->bare++;
        return;
    }
    heard->temp_low_c = heard->warm > 0 ? fmin(heard->temp_low_c, sample->temp_c) : sample->temp_c;
    heard->temp_high_c =
        heard->warm > 0 ? fmax(heard->temp_high_c, sample->temp_c) : sample->temp_c;
    heard->warm++;
}

static void take_note(struct heard *heard, size_t length) {
    char *star = memchr(heard->line, '*', length);
    unsigned crc = 0;
    if (star != NULL && sscanf(star + 1, "%4X", &crc) == 1 && heard->notes < NOTES_KEPT &&
        crc == up_crc16(heard->line, (size_t)(star - heard->line))) {
        snprintf(heard->note[heard->notes++], NOTE_SIZE, "%.*s", (int)(star - heard->line),
                 heard->line);
    }
}

static void take_byte(void *context, uint8_t byte) {
    struct heard *heard = context;
    if (heard->length < sizeof heard->line) {
        heard->line[heard->length++] = (char)byte;
    }
    if (byte != '\n') {
        return;
    }
    const char *at = heard->line;
    size_t length = heard->length;
    struct up_sample sample;
    heard->length = 0;
    if (heard->line[0] == '#') {
        take_note(heard, length);
    } else if (up_reader_take(&heard->reader, &at, &length, &sample)) {
        take_sample(heard, &sample);
    }
}

struct heard *heard_begin(const char *image) {
    struct heard *heard = up_allocate(1, sizeof *heard);
    struct up_failure failure = {0};
    if (!up_rig_load("rigs/numbered-line.ini", &rig, &failure) ||
        !board_model_begin(&heard->board, image)) {
        fprintf(stderr, "%s\n", failure.text);
        return NULL;
    }
    up_reader_begin(&heard->reader, &rig.line, false);
    heard->board.sent = take_byte;
    heard->board.context = heard;
    heard->board.converter.load = saw;
    heard->board.converter.context = heard;
    return heard;
}

void heard_end(struct heard *heard) {
    board_model_end(&heard->board);
    free(heard);
}

bool heard_run(struct heard *heard, double seconds) {
    return board_model_run(&heard->board, seconds);
}

void heard_say(struct heard *heard, const char *text) {
    for (; *text != '\0'; text++) {
        board_model_say(&heard->board, (uint8_t)*text, false);
    }
}

bool heard_note(const struct heard *heard, unsigned from, const char *text) {
    for (unsigned i = from; i < heard->notes; i++) {
        if (strstr(heard->note[i], text) != NULL) {
            return true;
        }
    }
    return false;
}

void heard_forget(struct heard *heard) {
    struct converter_model *converter = &heard->board.converter;
    heard->samples = heard->strange = heard->skipped = heard->warm = heard->bare = 0;
    converter->lost = converter->wrong_pulses = converter->torn = 0;
    converter->too_long = converter->too_short = converter->power_downs = 0;
    converter->late_most_us = converter->high_most_us = 0;
    heard->notes = 0;
    memset(heard->reader.count, 0, sizeof heard->reader.count);
    heard->reader.lost = 0;
}
