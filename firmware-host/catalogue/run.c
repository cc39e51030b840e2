/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/run.h"

#include <errno.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "upthrust/text.h"

struct up_run {
    FILE *stream, *journal;
    char *directory;
    uint64_t offset;
    double begin_s;
    int stream_errno;
};

static double monotonic_s(void) {
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static FILE *open_in(const char *directory, const char *name) {
    char *path = up_text_format("%s/%s", directory, name);
    FILE *file = fopen(path, "wbx");
    free(path);
    return file;
}

static bool make_files(struct up_run *run, struct up_failure *failure) {
    if (mkdir(run->directory, 0777) == 0) {
        run->stream = open_in(run->directory, "stream");
        run->journal = run->stream != NULL ? open_in(run->directory, "journal.jsonl") : NULL;
    }
    return run->journal != NULL ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "cannot make the run's files in %s: %s; free space or choose another "
                   "--catalogue",
                   run->directory, strerror(errno));
}

bool up_run_open(struct up_catalogue *catalogue, const char *bench, json_t *about,
                 char run_id[UP_ID_SIZE], struct up_run **result, struct up_failure *failure) {
    struct up_run *run = up_allocate(1, sizeof *run);
    *result = NULL;
    up_new_id(run_id);
    run->begin_s = monotonic_s();
    run->directory = up_text_format("%s/runs/%s", up_catalogue_directory(catalogue), run_id);
    json_t *first = json_pack("{s:s}", "event", "run");
    json_object_update(first, about);
    json_object_set_new(first, "run_id", json_string(run_id));
    if (!make_files(run, failure) || !up_run_journal(run, json_incref(first), failure) ||
        !up_catalogue_add(catalogue, "run", run_id, bench, about, NULL, NULL, failure)) {
        json_decref(first);
        up_run_close(run);
        return false;
    }
    json_decref(first);
    *result = run;
    return true;
}

void up_run_close(struct up_run *run) {
    if (run == NULL) {
        return;
    }
    if (run->stream != NULL) {
        fclose(run->stream);
    }
    if (run->journal != NULL) {
        fclose(run->journal);
    }
    free(run->directory);
    free(run);
}

void up_run_bytes(struct up_run *run, const char *bytes, size_t length) {
    if (fwrite(bytes, 1, length, run->stream) != length && run->stream_errno == 0) {
        run->stream_errno = errno;
    }
    run->offset += length;
}

void up_run_arrival(struct up_run *run, double arrival_s) {
    if (fprintf(run->journal, "{\"event\":\"bytes\",\"offset\":%llu,\"arrival_s\":%.6f}\n",
                (unsigned long long)run->offset, arrival_s) < 0 &&
        run->stream_errno == 0) {
        run->stream_errno = errno;
    }
}

bool up_run_journal(struct up_run *run, json_t *entry, struct up_failure *failure) {
    bool failed;
    json_object_set_new(entry, "offset", json_integer((json_int_t)run->offset));
    json_object_set_new(entry, "arrival_s", json_real(monotonic_s() - run->begin_s));
    failed = json_dumpf(entry, run->journal, JSON_COMPACT | JSON_REAL_PRECISION(17)) != 0;
    json_decref(entry);
    failed = fputc('\n', run->journal) == EOF || fflush(run->journal) != 0 ||
             fflush(run->stream) != 0 || failed;
    if (failed || run->stream_errno != 0) {
        return up_fail(failure, UP_STATUS_UNABLE, "cannot write to %s: %s; free space on that disk",
                       run->directory,
                       strerror(run->stream_errno != 0 ? run->stream_errno : errno));
    }
    return true;
}
