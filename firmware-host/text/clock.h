/* SPDX-License-Identifier: GPL-3.0-or-later */
#pragma once

/* The host's monotonic clock, in seconds since any beginning. bench/ and metrology/ must not ask:
   their time is the device's. */
double up_monotonic_s(void);
