/* SPDX-License-Identifier: GPL-3.0-or-later */
/* GPIO lines through libgpiod 1.4 to 1.6. */
#include <gpiod.h>
#include <poll.h>
#include <stdlib.h>

#include "gpio.h"
#include "text/text.h"

/* The library's lines live as long as their chip. */
struct gpio_chip {
    struct gpiod_chip *chip;
};
struct gpio_line {
    struct gpiod_line *line;
    struct gpio_chip *chip;
};

struct gpio_chip *gpio_open(const char *path) {
    struct gpiod_chip *opened = gpiod_chip_open(path);
    struct gpio_chip *chip = NULL;
    if (opened != NULL) {
        chip = up_allocate(1, sizeof *chip);
        chip->chip = opened;
    }
    return chip;
}

void gpio_close(struct gpio_chip *chip) {
    if (chip != NULL) {
        gpiod_chip_close(chip->chip);
        free(chip);
    }
}

bool gpio_find(struct gpio_chip *chip, const char *name, unsigned *offset) {
    struct gpiod_line *line = gpiod_chip_find_line(chip->chip, name);
    if (line == NULL) {
        return false;
    }
    *offset = gpiod_line_offset(line);
    return true;
}

const char *gpio_label(struct gpio_chip *chip) {
    return gpiod_chip_label(chip->chip);
}

bool gpio_inspect(struct gpio_chip *chip, unsigned offset, struct gpio_facts *facts) {
    struct gpiod_line *line = gpiod_chip_get_line(chip->chip, offset);
    const char *consumer;
    if (line == NULL || gpiod_line_update(line) != 0) {
        return false;
    }
    consumer = gpiod_line_consumer(line);
    snprintf(facts->consumer, sizeof facts->consumer, "%s", consumer != NULL ? consumer : "");
    facts->is_used = gpiod_line_is_used(line);
    facts->is_output = gpiod_line_direction(line) == GPIOD_LINE_DIRECTION_OUTPUT;
    return true;
}

static int flags_of(enum up_bias bias, bool active_low) {
    static const int biases[] = {[UP_BIAS_AS_IS] = 0,
                                 [UP_BIAS_NONE] = GPIOD_LINE_REQUEST_FLAG_BIAS_DISABLE,
                                 [UP_BIAS_PULL_UP] = GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_UP,
                                 [UP_BIAS_PULL_DOWN] = GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_DOWN};
    return biases[bias] | (active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0);
}

struct gpio_line *gpio_request(struct gpio_chip *chip, unsigned offset, bool is_output,
                               enum up_bias bias, bool active_low) {
    struct gpiod_line_request_config config = {.consumer = GPIO_CONSUMER,
                                               .request_type =
                                                   is_output ? GPIOD_LINE_REQUEST_DIRECTION_OUTPUT
                                                             : GPIOD_LINE_REQUEST_EVENT_BOTH_EDGES,
                                               .flags = flags_of(bias, active_low)};
    struct gpiod_line *found = gpiod_chip_get_line(chip->chip, offset);
    struct gpio_line *line;
    if (found == NULL || gpiod_line_request(found, &config, 0) != 0) {
        return NULL;
    }
    line = up_allocate(1, sizeof *line);
    *line = (struct gpio_line){found, chip};
    return line;
}

void gpio_release(struct gpio_line *line) {
    if (line != NULL) {
        gpiod_line_release(line->line);
        gpio_close(line->chip);
        free(line);
    }
}

int gpio_get(struct gpio_line *line) {
    return gpiod_line_get_value(line->line);
}

bool gpio_set(struct gpio_line *line, bool active) {
    return gpiod_line_set_value(line->line, active) == 0;
}

int gpio_descriptor(struct gpio_line *line) {
    return gpiod_line_event_get_fd(line->line);
}

int gpio_next_edge(struct gpio_line *line, struct gpio_edge *edge) {
    struct pollfd entry = {.fd = gpiod_line_event_get_fd(line->line), .events = POLLIN};
    struct gpiod_line_event event;
    if (poll(&entry, 1, 0) <= 0) {
        return 0;
    }
    if ((entry.revents & POLLIN) == 0 || gpiod_line_event_read(line->line, &event) != 0) {
        return -1;
    }
    edge->active = event.event_type == GPIOD_LINE_EVENT_RISING_EDGE;
    edge->time_s = (double)event.ts.tv_sec + 1e-9 * (double)event.ts.tv_nsec;
    return 1;
}
