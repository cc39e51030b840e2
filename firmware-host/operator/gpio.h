/* SPDX-License-Identifier: GPL-3.0-or-later */
/* GPIO lines as the bench needs them. libgpiod changed its interface from 1.x to 2.x: gpio_v1.c and
   gpio_v2.c are one adapter for each, and the Makefile takes the one that fits. All values
   are logical: active-low is the kernel's business. Failures set errno. */
#pragma once

#include "upthrust/rig.h"

/* The name under which our lines are held. */
#define GPIO_CONSUMER "upthrust"

struct gpio_chip;
struct gpio_line;

struct gpio_facts {
    char consumer[64]; /* who has the line; empty: not known */
    bool is_used, is_output;
};

struct gpio_edge {
    bool active;   /* the level from then on */
    double time_s; /* the kernel's monotonic clock */
};

/* NULL where it cannot be opened. */
struct gpio_chip *gpio_open(const char *path);
void gpio_close(struct gpio_chip *chip);
/* False where the chip has no line of that name. */
bool gpio_find(struct gpio_chip *chip, const char *name, unsigned *offset);
/* False where the chip has no such line. */
bool gpio_inspect(struct gpio_chip *chip, unsigned offset, struct gpio_facts *facts);
const char *gpio_label(struct gpio_chip *chip);

/* An input that reports its edges, or an output that begins inactive; the chip is then the line's.
   NULL where it cannot be had: the chip is the caller's still. */
struct gpio_line *gpio_request(struct gpio_chip *chip, unsigned offset, bool is_output,
                               enum up_bias bias, bool active_low);
/* The line goes back to the kernel as it is: set an output first. Closes the chip. */
void gpio_release(struct gpio_line *line);
/* 1, 0, or -1 where the line is gone. */
int gpio_get(struct gpio_line *line);
bool gpio_set(struct gpio_line *line, bool active);
/* Readable when an edge waits. */
int gpio_descriptor(struct gpio_line *line);
/* Never waits: 1, 0 where there is none, -1 where the line is gone. */
int gpio_next_edge(struct gpio_line *line, struct gpio_edge *edge);
