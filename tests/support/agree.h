/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How near a number must be to a published one. Macros, so that a failure names its line; cmocka of
 * Debian 12 compares only floats.
 */
#ifndef UPTHRUST_TESTS_AGREE_H
#define UPTHRUST_TESTS_AGREE_H

#include <math.h>

#define assert_close(value, wanted, within)                                                        \
    do {                                                                                           \
        double value_ = (value), wanted_ = (wanted), within_ = (within);                           \
        if (!(fabs(value_ - wanted_) <= within_)) {                                                \
            fail_msg("%.17g is not %.17g within %g", value_, wanted_, within_);                    \
        }                                                                                          \
    } while (0)

/* Significant digits, LRE = -log10(|computed - certified| / |certified|). */
#define assert_digits(computed, certified, lre)                                                    \
    do {                                                                                           \
        double computed_ = (computed), certified_ = (certified);                                   \
        double off_ = fabs(computed_ - certified_) / fabs(certified_);                             \
        double digits_ = off_ > 0 ? -log10(off_) : off_ == 0 ? 16 : 0;                             \
        if (!(digits_ >= (lre))) {                                                                 \
            fail_msg("%.17g agrees with %.17g in %.1f digits", computed_, certified_, digits_);    \
        }                                                                                          \
    } while (0)

/* As printed: the computed value, rounded to as many decimals, has the same digits. */
#define assert_prints_as(computed, published, last_place)                                          \
    do {                                                                                           \
        double computed_ = (computed), published_ = (published);                                   \
        if (!(fabs(round(computed_ / (last_place)) - round(published_ / (last_place))) < 0.25)) {  \
            fail_msg("%.17g is not printed %.17g", computed_, published_);                         \
        }                                                                                          \
    } while (0)

#endif
