/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command.h"

#include <string.h>

static enum command find(const struct command_line *line) {
    static const struct {
        char text[COMMAND_SIZE];
        uint8_t command;
    } commands[] = {{"identify", COMMAND_IDENTIFY}, {"self-test", COMMAND_SELF_TEST},
                    {"rate 10", COMMAND_RATE_10},   {"rate 80", COMMAND_RATE_80},
                    {"gain 128", COMMAND_GAIN_128}, {"gain 64", COMMAND_GAIN_64},
                    {"gain 32", COMMAND_GAIN_32}};
    for (uint8_t i = 0; i < sizeof commands / sizeof commands[0]; i++) {
        if (strlen(commands[i].text) == line->length &&
            memcmp(commands[i].text, line->text, line->length) == 0) {
            return (enum command)commands[i].command;
        }
    }
    return COMMAND_NONE;
}

enum command command_take(struct command_line *line, char byte, bool damaged) {
    enum command command = COMMAND_NONE;
    line->spoilt = line->spoilt || damaged;
    if (byte == '\r' || byte == '\n') {
        command = line->spoilt ? COMMAND_NONE : find(line);
        line->length = 0;
        line->spoilt = false;
    } else if (line->length == COMMAND_SIZE) {
        line->spoilt = true;
    } else {
        line->text[line->length++] = byte;
    }
    return command;
}
