/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef UPTHRUST_BENCH_NOISE_H
#define UPTHRUST_BENCH_NOISE_H

#include "upthrust/bench.h"

void noise_begin(struct up_noise *noise, double floor_least);
/* True where the floor was taken anew. */
bool noise_learn(struct up_noise *noise, double time_s, double load);
/* What a stuck word taught says nothing of the noise. */
void noise_forget_since(struct up_noise *noise, double time_s);

#endif
