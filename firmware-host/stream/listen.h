/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Listening to a bare stream, live or recorded: which lines fit, how fast and how noisy it is,
 * which readings are glitches, and where the load stood still. Memory is bounded whatever arrives.
 */
#pragma once

#include "stream/finder.h"
#include "stream/pace.h"
#include "upthrust/rig.h"
#include "upthrust/wire.h"

enum { UP_HEARD_PLATEAUS_MAX = 4096, UP_HEARD_GLITCHES_MAX = 1024, UP_HEARD_FLOORS_MAX = 512 };

struct up_glitch {
    double time_s, load;
    enum up_verdict verdict;
    uint64_t readings; /* of a stuck or saturated converter: so many alike in a row */
};

/* One load column. */
struct up_heard_column {
    int field; /* as in the rig file; 0 for a bare layout */
    struct up_glitch_filter filter;
    struct up_finder *finder;
    double floor[UP_HEARD_FLOORS_MAX]; /* noise floors along the stream, thinned out when full */
    size_t floors, floor_step, floor_wait;
    struct up_quiet quiet;
    double lag1_sum, lag1_weight;                     /* over all plateaus, by their squares */
    struct up_plateau plateau[UP_HEARD_PLATEAUS_MAX]; /* the first ones */
    uint64_t plateaus;
    struct up_glitch glitch[UP_HEARD_GLITCHES_MAX]; /* the first ones */
    size_t glitches_kept;
    uint64_t glitches; /* readings */
};

struct up_listening {
    struct up_reader reader;
    const struct up_rig *rig;
    struct up_heard_column *column; /* rig->line.loads of them */
    int columns;
    uint64_t samples, bytes;
    double first_s, last_s;
    double interval[UP_HEARD_FLOORS_MAX]; /* between samples, thinned out when full */
    size_t intervals, interval_step, interval_wait;
    struct up_pace pace;
    double arrival_s;
};

/* The caller destroys it. The rig must outlive it. */
struct up_listening *up_listening_create(const struct up_rig *rig, bool skip_first_line);
void up_listening_destroy(struct up_listening *listening);
/* Before the bytes of a live port that sends unasked: when they arrived, host's monotonic clock. */
void up_listening_arrival(struct up_listening *listening, double arrival_s);
void up_listening_bytes(struct up_listening *listening, const char *bytes, size_t length);
/* The stream has ended: judges what is still held. */
void up_listening_end(struct up_listening *listening);

/* Lines a second by the device's clock; NaN where it has none or below three. */
double up_listening_rate_hz(const struct up_listening *listening);
/* The same, or the nominal rate where the device has no clock. */
double up_listening_clock_hz(const struct up_listening *listening);
/* Of these, conversions: fewer where the device prints each of them several times. */
double up_listening_conversion_hz(const struct up_listening *listening,
                                  const struct up_heard_column *column);
/* Noise of one reading: its standard deviation on the plateaus, pooled; where there is none, the
   noise floor's median along the stream; NaN where there was too little. */
double up_listening_noise(const struct up_heard_column *column);
/* Lag-1 autocorrelation of the readings on the plateaus, pooled; NaN where there is none. */
double up_listening_lag1(const struct up_heard_column *column);
