/* SPDX-License-Identifier: GPL-3.0-or-later */
/* GPIO lines through libgpiod 2.x. */
#include <errno.h>
#include <gpiod.h>
#include <stdlib.h>

#include "gpio.h"
#include "text/text.h"

struct gpio_chip {
    struct gpiod_chip *chip;
    struct gpiod_chip_info *info;
};
struct gpio_line {
    struct gpiod_line_request *request;
    struct gpiod_edge_event_buffer *events;
    struct gpio_chip *chip;
    unsigned offset;
};

struct gpio_chip *gpio_open(const char *path) {
    struct gpiod_chip *opened = gpiod_chip_open(path);
    struct gpiod_chip_info *info = opened != NULL ? gpiod_chip_get_info(opened) : NULL;
    struct gpio_chip *chip = NULL;
    if (info != NULL) {
        chip = up_allocate(1, sizeof *chip);
        *chip = (struct gpio_chip){opened, info};
    } else if (opened != NULL) {
        gpiod_chip_close(opened);
    }
    return chip;
}

void gpio_close(struct gpio_chip *chip) {
    if (chip != NULL) {
        gpiod_chip_info_free(chip->info);
        gpiod_chip_close(chip->chip);
        free(chip);
    }
}

bool gpio_find(struct gpio_chip *chip, const char *name, unsigned *offset) {
    int found = gpiod_chip_get_line_offset_from_name(chip->chip, name);
    if (found < 0) {
        return false;
    }
    *offset = (unsigned)found;
    return true;
}

const char *gpio_label(struct gpio_chip *chip) {
    return gpiod_chip_info_get_label(chip->info);
}

bool gpio_inspect(struct gpio_chip *chip, unsigned offset, struct gpio_facts *facts) {
    struct gpiod_line_info *info = gpiod_chip_get_line_info(chip->chip, offset);
    const char *consumer;
    if (info == NULL) {
        return false;
    }
    consumer = gpiod_line_info_get_consumer(info);
    snprintf(facts->consumer, sizeof facts->consumer, "%s", consumer != NULL ? consumer : "");
    facts->is_used = gpiod_line_info_is_used(info);
    facts->is_output = gpiod_line_info_get_direction(info) == GPIOD_LINE_DIRECTION_OUTPUT;
    gpiod_line_info_free(info);
    return true;
}

static struct gpiod_line_settings *settings_of(bool is_output, enum up_bias bias, bool active_low) {
    static const enum gpiod_line_bias biases[] = {[UP_BIAS_AS_IS] = GPIOD_LINE_BIAS_AS_IS,
                                                  [UP_BIAS_NONE] = GPIOD_LINE_BIAS_DISABLED,
                                                  [UP_BIAS_PULL_UP] = GPIOD_LINE_BIAS_PULL_UP,
                                                  [UP_BIAS_PULL_DOWN] = GPIOD_LINE_BIAS_PULL_DOWN};
    struct gpiod_line_settings *settings = gpiod_line_settings_new();
    if (settings == NULL) {
        return NULL;
    }
    gpiod_line_settings_set_active_low(settings, active_low);
    gpiod_line_settings_set_bias(settings, biases[bias]);
    if (is_output) {
        gpiod_line_settings_set_direction(settings, GPIOD_LINE_DIRECTION_OUTPUT);
        gpiod_line_settings_set_output_value(settings, GPIOD_LINE_VALUE_INACTIVE);
    } else {
        gpiod_line_settings_set_direction(settings, GPIOD_LINE_DIRECTION_INPUT);
        gpiod_line_settings_set_edge_detection(settings, GPIOD_LINE_EDGE_BOTH);
    }
    return settings;
}

static struct gpiod_line_request *request_with(struct gpio_chip *chip, unsigned offset,
                                               struct gpiod_line_settings *settings) {
    struct gpiod_line_config *lines = gpiod_line_config_new();
    struct gpiod_request_config *config = gpiod_request_config_new();
    struct gpiod_line_request *request = NULL;
    int why;
    if (settings != NULL && lines != NULL && config != NULL &&
        gpiod_line_config_add_line_settings(lines, &offset, 1, settings) == 0) {
        gpiod_request_config_set_consumer(config, GPIO_CONSUMER);
        request = gpiod_chip_request_lines(chip->chip, config, lines);
    }
    why = errno;
    gpiod_request_config_free(config);
    gpiod_line_config_free(lines);
    errno = why;
    return request;
}

struct gpio_line *gpio_request(struct gpio_chip *chip, unsigned offset, bool is_output,
                               enum up_bias bias, bool active_low) {
    struct gpiod_line_settings *settings = settings_of(is_output, bias, active_low);
    struct gpiod_line_request *request = request_with(chip, offset, settings);
    struct gpiod_edge_event_buffer *events = gpiod_edge_event_buffer_new(1);
    int why = errno;
    struct gpio_line *line = NULL;
    gpiod_line_settings_free(settings);
    if (request != NULL && events != NULL) {
        line = up_allocate(1, sizeof *line);
        *line = (struct gpio_line){request, events, chip, offset};
        return line;
    }
    if (request != NULL) {
        gpiod_line_request_release(request);
    }
    gpiod_edge_event_buffer_free(events);
    errno = why;
    return NULL;
}

void gpio_release(struct gpio_line *line) {
    if (line != NULL) {
        gpiod_edge_event_buffer_free(line->events);
        gpiod_line_request_release(line->request);
        gpio_close(line->chip);
        free(line);
    }
}

int gpio_get(struct gpio_line *line) {
    enum gpiod_line_value value = gpiod_line_request_get_value(line->request, line->offset);
    return value == GPIOD_LINE_VALUE_ERROR ? -1 : value == GPIOD_LINE_VALUE_ACTIVE;
}

bool gpio_set(struct gpio_line *line, bool active) {
    return gpiod_line_request_set_value(line->request, line->offset,
                                        active ? GPIOD_LINE_VALUE_ACTIVE
                                               : GPIOD_LINE_VALUE_INACTIVE) == 0;
}

int gpio_descriptor(struct gpio_line *line) {
    return gpiod_line_request_get_fd(line->request);
}

int gpio_next_edge(struct gpio_line *line, struct gpio_edge *edge) {
    int waits = gpiod_line_request_wait_edge_events(line->request, 0);
    struct gpiod_edge_event *event;
    if (waits <= 0) {
        return waits;
    }
    if (gpiod_line_request_read_edge_events(line->request, line->events, 1) < 1) {
        return -1;
    }
    event = gpiod_edge_event_buffer_get_event(line->events, 0);
    edge->active = gpiod_edge_event_get_event_type(event) == GPIOD_EDGE_EVENT_RISING_EDGE;
    edge->time_s = 1e-9 * (double)gpiod_edge_event_get_timestamp_ns(event);
    return 1;
}
