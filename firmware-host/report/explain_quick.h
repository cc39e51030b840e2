/* SPDX-License-Identifier: GPL-3.0-or-later */
/* For explain alone: what a quick result has instead of a Monte Carlo and probabilities. */
#pragma once

#include <jansson.h>
#include <stdio.h>

void explain_quick_print(FILE *stream, const json_t *result);
