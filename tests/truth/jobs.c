/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "jobs.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <unistd.h>

enum { WORKERS_USUAL = 2, WORKERS_MOST = 64 };

struct worker { /* in memory that all of them share */
    pid_t process;
    struct up_failure failure;
    double sum[];
};

static unsigned workers_wanted(void) {
    const char *text = getenv("UPTHRUST_TRUTH_WORKERS");
    long wanted = text != NULL ? strtol(text, NULL, 10) : WORKERS_USUAL;
    return wanted < 1 ? 1 : wanted > WORKERS_MOST ? WORKERS_MOST : (unsigned)wanted;
}

static int work_on(unsigned first, unsigned workers, unsigned jobs, truth_job *work, void *context,
                   struct worker *worker) {
    for (unsigned job = first; job < jobs; job += workers) {
        if (!work(context, job, worker->sum, &worker->failure)) {
            return 1;
        }
    }
    return 0;
}

static bool wait_for(struct worker *worker, struct up_failure *failure) {
    int status = -1;
    bool good = waitpid(worker->process, &status, 0) == worker->process && status == 0;
    if (!good && worker->failure.text[0] != '\0') {
        *failure = worker->failure;
    } else if (!good) {
        up_fail(failure, UP_STATUS_UNABLE, "a worker ended with %d", status);
    }
    return good;
}

bool truth_share_out(unsigned jobs, truth_job *work, void *context, double *sum, size_t numbers,
                     struct up_failure *failure) {
    unsigned workers = workers_wanted();
    size_t size = (sizeof(struct worker) + numbers * sizeof *sum + 63) / 64 * 64;
    char *memory =
        mmap(NULL, workers * size, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
    bool good = true;
    if (memory == MAP_FAILED) {
        return up_fail(failure, UP_STATUS_UNABLE, "no memory for the workers");
    }
    for (unsigned i = 0; i < workers; i++) {
        struct worker *worker = (struct worker *)(void *)(memory + i * size);
        pid_t process = fork();
        if (process == 0) {
            _exit(work_on(i, workers, jobs, work, context, worker));
        }
        worker->process = process;
    }
    for (unsigned i = 0; i < workers; i++) {
        struct worker *worker = (struct worker *)(void *)(memory + i * size);
        good = wait_for(worker, failure) && good;
        for (size_t n = 0; n < numbers; n++) {
            sum[n] += worker->sum[n];
        }
    }
    munmap(memory, workers * size);
    return good;
}

/* gsl_cdf_beta_Pinv does not always converge. */
static double beta_quantile(double share, double a, double b) {
    double low = 0, high = 1;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        *(gsl_cdf_beta_P(middle, a, b) < share ? &low : &high) = middle;
    }
    return high;
}

void truth_exact(double hits, double of, double *low, double *high) {
    *low = hits > 0 ? beta_quantile(0.025, hits, of - hits + 1) : 0;
    *high = hits < of ? beta_quantile(0.975, hits + 1, of - hits) : 1;
}
