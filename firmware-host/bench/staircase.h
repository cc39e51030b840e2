/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

#include "upthrust/measurement.h"

/* The stairs and the hysteresis that they show, once slope and creep are known. */
void staircase_fill(const struct up_loadings *loadings, struct up_calibration *calibration);
