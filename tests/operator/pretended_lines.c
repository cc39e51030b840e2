/* SPDX-License-Identifier: GPL-3.0-or-later */
/* GPIO lines of a program that is linked with these instead of libgpiod: an input reads '1' and '0'
   from the pipe PRETENDED_PEDAL, an output writes "LINE LEVEL SECONDS" to the pipe PRETENDED_LAMPS.
   tests/kernel/ has real ones. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "../../firmware-host/operator/gpio.h"
#include "text/clock.h"

enum { LINES = 8 };

struct gpio_chip {
    int unused;
};

struct gpio_line {
    struct gpio_chip *chip;
    unsigned at;
    int pipe;
    bool level;
};

struct gpio_chip *gpio_open(const char *path) {
    if (strcmp(path, "/dev/null") != 0) { /* a device that is there */
        errno = ENOENT;
        return NULL;
    }
    return calloc(1, sizeof(struct gpio_chip));
}

void gpio_close(struct gpio_chip *chip) {
    free(chip);
}

bool gpio_find(struct gpio_chip *chip, const char *name, unsigned *offset) {
    (void)chip, (void)name, (void)offset;
    return false;
}

bool gpio_inspect(struct gpio_chip *chip, unsigned offset, struct gpio_facts *facts) {
    (void)chip;
    *facts = (struct gpio_facts){.is_used = false};
    return offset < LINES;
}

const char *gpio_label(struct gpio_chip *chip) {
    (void)chip;
    return "pretended";
}

struct gpio_line *gpio_request(struct gpio_chip *chip, unsigned offset, bool is_output,
                               enum up_bias bias, bool active_low) {
    const char *path = getenv(is_output ? "PRETENDED_LAMPS" : "PRETENDED_PEDAL");
    struct gpio_line *line = calloc(1, sizeof *line);
    (void)bias, (void)active_low;
    if (line == NULL || path == NULL) {
        free(line);
        errno = ENODEV;
        return NULL;
    }
    *line = (struct gpio_line){.chip = chip, .at = offset};
    line->pipe = open(path, O_RDWR | O_CLOEXEC | (is_output ? 0 : O_NONBLOCK));
    return line;
}

void gpio_release(struct gpio_line *line) {
    if (line != NULL) {
        close(line->pipe);
        gpio_close(line->chip);
        free(line);
    }
}

int gpio_get(struct gpio_line *line) {
    return line->level;
}

bool gpio_set(struct gpio_line *line, bool active) {
    line->level = active;
    return dprintf(line->pipe, "%u %d %.4f\n", line->at, active, up_monotonic_s()) > 0;
}

int gpio_descriptor(struct gpio_line *line) {
    return line->pipe;
}

int gpio_next_edge(struct gpio_line *line, struct gpio_edge *edge) {
    char level;
    if (read(line->pipe, &level, 1) != 1) {
        return 0;
    }
    line->level = level == '1';
    *edge = (struct gpio_edge){.active = line->level, .time_s = up_monotonic_s()};
    return 1;
}
