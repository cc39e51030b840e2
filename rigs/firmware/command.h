/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Words on the serial line. Whatever is none of them is noise, and stays unanswered. */
#pragma once

#include <stdbool.h>
#include <stdint.h>

enum command {
    COMMAND_NONE,
    COMMAND_IDENTIFY,
    COMMAND_SELF_TEST,
    COMMAND_RATE_10,
    COMMAND_RATE_80,
    COMMAND_GAIN_128,
    COMMAND_GAIN_64,
    COMMAND_GAIN_32,
};

enum { COMMAND_SIZE = 12 };

struct command_line {
    char text[COMMAND_SIZE];
    uint8_t length;
    bool spoilt; /* too long, or a byte of it was damaged */
};

/* The command that this byte, a CR or LF, ends; else COMMAND_NONE. */
enum command command_take(struct command_line *line, char byte, bool damaged);
