/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The noise floor of a stream. */
#pragma once

#include <stdbool.h>
#include <stddef.h>

/* The noise floor: 1.4826 times the median absolute difference of good readings over the last 25 s,
   sixteen differences at least, over the square root of 2. Readings closer than 0.09 s are passed
   over, so that the floor means the same at any rate; of fast streams some differences are kept. */
enum { UP_NOISE_MEMORY = 160 };

struct up_noise {
    double floor;       /* of one reading; NaN until 16 differences are known */
    double floor_least; /* never less: a share of the division */
    double from_s, from_load, keep_s, due_s;
    double time_s[UP_NOISE_MEMORY], difference[UP_NOISE_MEMORY];
    size_t learned, known; /* of those still in the ring */
};

void noise_begin(struct up_noise *noise, double floor_least);
/* True where the floor was updated. */
bool noise_learn(struct up_noise *noise, double time_s, double load);
/* Differences from a stuck word say nothing about the noise. */
void noise_forget_since(struct up_noise *noise, double time_s);
