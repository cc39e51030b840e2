/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Many simulated sessions, shared out among processes by their numbers, so that the same seeds give
 * the same sums whatever number of processes there are: UPTHRUST_TRUTH_WORKERS, else 2.
 */
#ifndef TRUTH_JOBS_H
#define TRUTH_JOBS_H

#include <stddef.h>

#include "upthrust/failure.h"

/* Does one job and adds what came of it to the sums. */
typedef bool truth_job(void *context, unsigned job, double *sum, struct up_failure *failure);

/* All jobs; sum: so many numbers, to which all processes' are added. False where a job failed. */
bool truth_share_out(unsigned jobs, truth_job *work, void *context, double *sum, size_t numbers,
                     struct up_failure *failure);

/* Exact bounds of a share, 95 % (C. Clopper and E. Pearson, Biometrika 26 (1934) 404). */
void truth_exact(double hits, double of, double *low, double *high);

#endif
