/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The firmware of a rig: a load cell's converter and a thermometer in, numbered lines out.
 * README.md beside this file tells its lines and commands, and how to wire and flash it.
 */
#include <string.h>

#include "board.h"
#include "command.h"
#include "converter.h"
#include "numbered_line.h"
#include "thermometer.h"

#define NAME    "upthrust-board"
#define VERSION "1"

enum { NOTE_SIZE = 112, SAID_AGAIN_MS = 10000 };

/* What is to be said, each once there is room for it. */
enum note { NOTE_START, NOTE_BOARD, NOTE_TEST, NOTE_SET, NOTE_CONVERTER, NOTE_THERMOMETER, NOTES };

static struct {
    struct converter converter;
    struct thermometer thermometer;
    struct command_line command;
    uint16_t sequence, lost;
    uint32_t said_ms; /* the faults, once more */
    enum converter_fault converter_said;
    enum thermometer_fault thermometer_said;
    bool due[NOTES];
} it;

/* ---- lines of words ---- */

static char *put(char *at, const char *text) {
    size_t length = strlen(text);
    memcpy(at, text, length);
    return at + length;
}

static char *put_number(char *at, const char *name, uint32_t number) {
    return numbered_line_whole(put(at, name), number);
}

static char *put_setting(char *at) {
    at = put_number(at, " rate=", it.converter.fast ? 80 : 10);
    return put_number(at, " gain=", converter_gain(&it.converter));
}

static char *put_identity(char *at) {
    at = put(at, NAME " version=" VERSION " controller=");
    at = put(put(put(at, board_controller()), " reset="), board_reset_cause());
    return put_setting(at);
}

static char *put_test(char *at) {
    bool measured = it.thermometer.fault == THERMOMETER_WELL;
    at = put(put(at, "#test converter="), converter_word(it.converter.fault));
    at = put_number(at, " interval_ms=", it.converter.interval_ms);
    at = put(put(at, " thermometer="), thermometer_word(it.thermometer.fault));
    if (measured) {
        at = numbered_line_hundredths(put(at, " temp_c="), it.thermometer.centi_c);
    }
    at = put_number(at, " lost=", it.lost);
    return put_number(at, " torn=", it.thermometer.torn);
}

static char *write_note(char *at, enum note note) {
    switch (note) {
    case NOTE_START:
        return put_identity(put(at, "#start "));
    case NOTE_BOARD:
        return put_identity(put(at, "#board "));
    case NOTE_TEST:
        return put_test(at);
    case NOTE_SET:
        return put_setting(put(at, "#set"));
    case NOTE_CONVERTER:
        return put(put(at, "#converter "), converter_word(it.converter_said));
    case NOTE_THERMOMETER:
        return put(put(at, "#thermometer "), thermometer_word(it.thermometer_said));
    case NOTES:
        break;
    }
    return at;
}

/* One a turn: conversions come first. */
static void say(void) {
    char line[NOTE_SIZE];
    for (uint8_t i = 0; i < NOTES; i++) {
        if (it.due[i] && board_has_room(NOTE_SIZE)) {
            it.due[i] = false;
            board_send(line, (uint8_t)numbered_line_seal(line, write_note(line, (enum note)i)));
            return;
        }
    }
}

/* ---- faults, when they come and go, and again while they last ---- */

static void look_for_faults(uint32_t now_ms) {
    bool again = now_ms - it.said_ms >= SAID_AGAIN_MS;
    if (again) {
        it.said_ms = now_ms;
    }
    enum converter_fault converter = it.converter.fault;
    if (converter != CONVERTER_WAITED_FOR &&
        (converter != it.converter_said || (again && converter != CONVERTER_WELL))) {
        it.converter_said = converter;
        it.due[NOTE_CONVERTER] = true;
    }
    enum thermometer_fault thermometer = it.thermometer.fault;
    if (thermometer != THERMOMETER_WAITED_FOR &&
        (thermometer != it.thermometer_said || (again && thermometer != THERMOMETER_WELL))) {
        it.thermometer_said = thermometer;
        it.due[NOTE_THERMOMETER] = true;
    }
}

/* ---- the turns ---- */

static void obey(enum command command) {
    switch (command) {
    case COMMAND_NONE:
        return;
    case COMMAND_IDENTIFY:
        it.due[NOTE_BOARD] = true;
        return;
    case COMMAND_SELF_TEST:
        it.due[NOTE_TEST] = true;
        return;
    case COMMAND_RATE_10:
    case COMMAND_RATE_80:
        converter_set_rate(&it.converter, command == COMMAND_RATE_80);
        break;
    case COMMAND_GAIN_128:
    case COMMAND_GAIN_64:
    case COMMAND_GAIN_32:
        converter_set_gain(&it.converter, command == COMMAND_GAIN_128  ? 128
                                          : command == COMMAND_GAIN_64 ? 64
                                                                       : 32);
        break;
    }
    it.due[NOTE_SET] = true;
}

static void listen(void) {
    char byte = ' ';
    bool damaged;
    for (uint8_t i = 0; i < COMMAND_SIZE && board_received(&byte, &damaged); i++) {
        obey(command_take(&it.command, byte, damaged));
        byte = ' ';
    }
}

static void report(int32_t word, uint32_t ready_ms) {
    char line[NUMBERED_LINE_SIZE];
    int16_t centi_c =
        it.thermometer.fault == THERMOMETER_WELL ? it.thermometer.centi_c : NUMBERED_LINE_NO_TEMP;
    uint8_t length = (uint8_t)numbered_line(line, it.sequence, ready_ms, word, centi_c);
    it.sequence++;
    if (board_has_room(length)) {
        board_send(line, length);
    } else {
        it.lost++;
    }
}

int main(void) {
    board_begin();
    converter_begin(&it.converter, board_time_ms());
    thermometer_begin(&it.thermometer);
    board_send("\r\n", 2); /* ends the line that a reset cut */
    it.due[NOTE_START] = true;
    for (;;) {
        int32_t word;
        uint32_t ready_ms, now_ms = board_time_ms();
        board_alive();
        if (converter_take(&it.converter, now_ms, &word, &ready_ms)) {
            report(word, ready_ms);
        }
        thermometer_step(&it.thermometer, now_ms);
        listen();
        look_for_faults(now_ms);
        say();
        board_sleep();
    }
}
