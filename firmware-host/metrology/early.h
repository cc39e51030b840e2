/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How far an early reading lies from the one at the full schedule, as a bench's own traces taught:
 * d(t) = y(t) - y(full) at fixed times after the step of the load, in scales of
 * s(t) = sqrt(A(t)^2 + (B(t) step)^2), with a signed mean, which is taken off.
 *
 * Many traces: split conformal prediction (V. Vovk and others, from memory). M is the largest
 * |d / s - mean| of a trace over all its readings; the bound is the order statistic
 * ceil((n + 1)(1 - alpha)) of n traces that did not shape s. It holds for the next trace like them
 * with probability 1 - alpha, whatever they are distributed like, and at whatever time one stops,
 * since it bounds all times together. At 1 % it takes 99 of them.
 *
 * Few traces: a prediction bound of Student's t for each reading, alpha shared out among them.
 * That asks for traces that scatter about normally, and for 10 degrees of freedom from 5 items.
 * Fewer still: none, and the full schedule, which teaches.
 */
#pragma once

#include <stdbool.h>
#include <stddef.h>

/* The middles of windows of UP_EARLY_WINDOW_S, s after the step of the load (our choice). Each is
   read twice: by weights that rise from nothing at its ends to the most in its middle, which a
   swing hardly moves, and plainly, which shows the swing. A reading ends with the first; that
   either is not as it was learned contradicts. */
enum { UP_EARLY_TIMES = 9, UP_EARLY_VALUES = 2 * UP_EARLY_TIMES };
#define UP_EARLY_WINDOW_S 4.0
extern const double up_early_time_s[UP_EARLY_TIMES];

enum { UP_EARLY_ITEMS_LEAST = 5, UP_EARLY_DOF_LEAST = 10 };

/* A reading that went on to the full schedule. */
struct up_early_trace {
    unsigned item;                  /* traces of one item have one number */
    double step_kg;                 /* of the load */
    double off_kg[UP_EARLY_VALUES]; /* d, tapered, then plain; all finite */
};

enum up_early_basis { UP_EARLY_NONE, UP_EARLY_FEW, UP_EARLY_MANY };

struct up_early_envelope {
    enum up_early_basis basis;
    unsigned traces, items;
    double a_kg[UP_EARLY_VALUES], b[UP_EARLY_VALUES];
    double mean[UP_EARLY_VALUES], bound[UP_EARLY_VALUES]; /* in scales */
};

/* The rank of the score that bounds the next one; 0 where so few cannot. */
size_t up_conformal_rank(size_t scores, double alpha);

/* Traces in the order they were taken, from one kind of step on one bench. Every fourth shapes s.
 */
struct up_early_envelope up_early_learn(const struct up_early_trace *trace, size_t traces,
                                        double alpha);

/* An early reading lies off the full one by off_kg, give or take bound_kg. Infinite without an
   envelope. */
struct up_early_limit {
    double off_kg, bound_kg;
};

struct up_early_limit up_early_limit(const struct up_early_envelope *envelope, size_t time,
                                     double step_kg);

/* Do the readings of one trace at the first so many times contradict it? Whatever the full reading
   is, two of them may lie apart by both their bounds at most. full_kg may be NaN. */
bool up_early_contradicts(const struct up_early_envelope *envelope, double step_kg,
                          const double reading_kg[UP_EARLY_VALUES], size_t times, double full_kg);

/* The latest traces beside the envelope: it is rejected once as many contradict it as chance would
   in less than one of a hundred benches, and two at least. */
enum { UP_EARLY_WATCHED = 20 };

struct up_early_watch {
    unsigned seen;    /* at most UP_EARLY_WATCHED count */
    unsigned against; /* bit i: i traces ago it was contradicted */
};

void up_early_note(struct up_early_watch *watch, bool contradicted);
bool up_early_is_rejected(const struct up_early_watch *watch, double alpha);
