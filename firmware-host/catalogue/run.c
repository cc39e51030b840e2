/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "catalogue/run.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "internal.h"
#include "text/clock.h"
#include "text/text.h"

struct up_run {
    struct up_catalogue *catalogue;
    struct up_record record; /* of its beginning; owns its content */
    FILE *stream, *journal;
    char *directory;
    uint64_t offset;
    double begin_s;
    int broken_errno; /* of the first write that failed: nothing is written after it */
};

static FILE *open_in(const char *directory, const char *name) {
    UP_FREED char *path = up_text_format("%s/%s", directory, name);
    FILE *file = fopen(path, "wbx");
    return file;
}

/* The name of a new file is on the disk when its directory is. */
static void sync_directory(const char *path) {
    int descriptor = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        fsync(descriptor);
        close(descriptor);
    }
}

static bool make_files(struct up_run *run, struct up_failure *failure) {
    if (mkdir(run->directory, 0777) == 0) {
        run->stream = open_in(run->directory, "stream");
        run->journal = run->stream != NULL ? open_in(run->directory, "journal.jsonl") : NULL;
    }
    if (run->journal != NULL) { /* held as long as we live: see up_run_recover */
        flock(fileno(run->journal), LOCK_EX | LOCK_NB);
    }
    return run->journal != NULL ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "cannot make the run's files in %s: %s; free space or choose another "
                   "--catalogue",
                   run->directory, strerror(errno));
}

static bool put_begin(struct up_run *run, const char *bench, const char *run_id, json_t *about,
                      struct up_failure *failure) {
    struct up_record *record = &run->record;
    char utc[UP_TIME_SIZE];
    catalogue_now(utc);
    if (strlen(bench) >= sizeof record->bench) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "the bench's id %.60s... is too long",
                       bench);
    }
    snprintf(record->kind, sizeof record->kind, "run");
    memcpy(record->subject, run_id, sizeof record->subject);
    memcpy(record->bench, bench, strlen(bench) + 1);
    record->content = json_copy(about);
    json_object_set_new(record->content, "begun_utc", json_string(utc));
    json_object_set_new(record->content, "how_ended", json_null());
    return catalogue_put(run->catalogue, record, NULL, failure);
}

bool up_run_open(struct up_catalogue *catalogue, const char *bench, json_t *about,
                 char run_id[UP_ID_SIZE], struct up_run **result, struct up_failure *failure) {
    struct up_run *run = up_allocate(1, sizeof *run);
    *result = NULL;
    up_new_id(run_id);
    run->catalogue = catalogue;
    run->begin_s = up_monotonic_s();
    UP_FREED char *runs = up_text_format("%s/runs", up_catalogue_directory(catalogue));
    run->directory = up_text_format("%s/%s", runs, run_id);
    json_auto_t *first = json_pack("{s:s}", "event", "run");
    json_object_update(first, about);
    json_object_set_new(first, "run_id", json_string(run_id));
    bool good = make_files(run, failure) && up_run_journal(run, json_incref(first), failure) &&
                up_run_sync(run, failure);
    if (good) {
        sync_directory(run->directory);
        sync_directory(runs);
        good = put_begin(run, bench, run_id, about, failure);
    }
    if (good) {
        *result = run;
    } else {
        up_run_close(run);
    }
    return good;
}

/* A new version in the place of the one that was live. */
static bool put_end(struct up_catalogue *catalogue, const struct up_record *begin,
                    const char *how_ended, json_t *more, struct up_failure *failure) {
    struct up_record record = *begin;
    json_auto_t *replaces = json_pack("[s]", begin->id);
    record.content = json_deep_copy(begin->content);
    json_object_set_new(record.content, "how_ended", json_string(how_ended));
    if (more != NULL) {
        json_object_update(record.content, more);
    }
    bool good = catalogue_put(catalogue, &record, replaces, failure);
    json_decref(record.content);
    return good;
}

bool up_run_end(struct up_run *run, const char *how_ended, json_t *more,
                struct up_failure *failure) {
    return up_run_journal(run, json_pack("{s:s, s:s}", "event", "end", "how_ended", how_ended),
                          failure) &&
           put_end(run->catalogue, &run->record, how_ended, more, failure);
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
    json_decref(run->record.content);
    free(run->directory);
    free(run);
}

/* ---- after a crash ---- */

struct lost_runs {
    struct up_catalogue *catalogue;
    json_t *list; /* of [record id, run id, bench, body] */
};

/* Its files are here, and nobody holds the journal. */
static bool is_abandoned(const struct up_catalogue *catalogue, const char *run_id) {
    char *path =
        up_text_format("%s/runs/%s/journal.jsonl", up_catalogue_directory(catalogue), run_id);
    int journal = up_text_open_file(path, UP_LINKS_REFUSED, SIZE_MAX, NULL);
    bool held = journal >= 0 && flock(journal, LOCK_EX | LOCK_NB) != 0;
    if (journal >= 0) {
        close(journal);
    }
    free(path);
    return journal >= 0 && !held;
}

static bool note_lost(const struct up_record *record, void *context) {
    struct lost_runs *lost = context;
    json_t *how_ended = json_object_get(record->content, "how_ended");
    /* Older runs lack this member; a version that was set aside may have one. */
    long long ends = 0;
    if (json_is_null(how_ended) && !record->elsewhere &&
        is_abandoned(lost->catalogue, record->subject) &&
        catalogue_ask(lost->catalogue,
                      "SELECT count(*) FROM record AS r WHERE kind = 'run' AND subject = ?"
                      " AND json_extract(body, '$.how_ended') IS NOT NULL"
                      " AND " CATALOGUE_IS_OWN("r.id"),
                      record->subject, &ends, NULL) &&
        ends == 0) {
        json_array_append_new(lost->list, json_pack("[s, s, s, O]", record->id, record->subject,
                                                    record->bench, record->content));
    }
    return true;
}

static bool end_lost(struct up_catalogue *catalogue, const json_t *entry, struct up_lost_run *lost,
                     struct up_failure *failure) {
    struct up_record begin = {.kind = "run", .content = json_array_get(entry, 3)};
    long long trials = 0;
    memset(lost, 0, sizeof *lost);
    snprintf(begin.id, sizeof begin.id, "%s", json_string_value(json_array_get(entry, 0)));
    snprintf(begin.subject, sizeof begin.subject, "%s",
             json_string_value(json_array_get(entry, 1)));
    snprintf(begin.bench, sizeof begin.bench, "%s", json_string_value(json_array_get(entry, 2)));
    if (!catalogue_ask(
            catalogue,
            "SELECT count(*) FROM typed_trial AS t JOIN record AS r ON r.rowid = t.record"
            " WHERE t.run_id = ? AND " CATALOGUE_IS_OWN("r.id"),
            begin.subject, &trials, failure)) {
        return false;
    }
    /* Those of the runs that it continues. */
    trials += json_integer_value(json_object_get(begin.content, "trials_before"));
    json_auto_t *more = json_pack("{s:I}", "trials", (json_int_t)trials);
    bool good = put_end(catalogue, &begin, "crashed", more, failure);
    memcpy(lost->run_id, begin.subject, sizeof lost->run_id);
    memcpy(lost->bench, begin.bench, sizeof lost->bench);
    catalogue_read_text(begin.content, "item_id", lost->item_id, sizeof lost->item_id);
    catalogue_read_text(begin.content, "what", lost->what, sizeof lost->what);
    lost->trials = (unsigned)trials;
    return good;
}

bool up_run_recover(struct up_catalogue *catalogue,
                    void (*report)(const struct up_lost_run *lost, void *context), void *context,
                    struct up_failure *failure) {
    struct lost_runs lost = {catalogue, NULL};
    if (!catalogue_begin(catalogue, failure)) {
        return false;
    }
    lost.list = json_array();
    bool good =
        catalogue_each_in(catalogue, "run", "SELECT record FROM typed_run WHERE how_ended IS NULL",
                          NULL, note_lost, &lost, failure);
    size_t count = json_array_size(lost.list);
    UP_FREED struct up_lost_run *lost_run = up_allocate(count + 1, sizeof *lost_run);
    for (size_t i = 0; good && i < count; i++) {
        good = end_lost(catalogue, json_array_get(lost.list, i), &lost_run[i], failure);
    }
    good = catalogue_end(catalogue, good, failure);
    for (size_t i = 0; good && i < count; i++) {
        report(&lost_run[i], context);
    }
    json_decref(lost.list);
    return good;
}

/* ---- while it runs ---- */

void up_run_bytes(struct up_run *run, const char *bytes, size_t length) {
    if (run->broken_errno == 0 && fwrite(bytes, 1, length, run->stream) != length) {
        run->broken_errno = errno;
    }
    run->offset += length;
}

void up_run_arrival(struct up_run *run, double arrival_s) {
    if (run->broken_errno == 0 &&
        fprintf(run->journal, "{\"event\":\"bytes\",\"offset\":%llu,\"host_s\":%.17g}\n",
                (unsigned long long)run->offset, arrival_s) < 0) {
        run->broken_errno = errno;
    }
}

/* Nothing after a gap could be read back, so nothing is written after it. */
static bool cannot_write(struct up_run *run, int error, struct up_failure *failure) {
    run->broken_errno = error;
    return up_fail(failure, UP_STATUS_UNABLE, "cannot write to %s: %s; free space on that disk",
                   run->directory, strerror(error));
}

bool up_run_journal(struct up_run *run, json_t *entry, struct up_failure *failure) {
    bool written = run->broken_errno == 0;
    json_object_set_new(entry, "offset", json_integer((json_int_t)run->offset));
    json_object_set_new(entry, "arrival_s", json_real(up_monotonic_s() - run->begin_s));
    written =
        written && up_json_write(entry, run->journal, JSON_COMPACT | JSON_REAL_PRECISION(17)) &&
        fputc('\n', run->journal) != EOF && fflush(run->journal) == 0 && fflush(run->stream) == 0;
    int error = run->broken_errno != 0 ? run->broken_errno : errno;
    json_decref(entry);
    return written || cannot_write(run, error, failure);
}

/* The stream first: a journal that refers to missing bytes would be worth less. */
bool up_run_sync(struct up_run *run, struct up_failure *failure) {
    if (run->broken_errno != 0) {
        return cannot_write(run, run->broken_errno, failure);
    }
    return (fflush(run->stream) == 0 && fdatasync(fileno(run->stream)) == 0 &&
            fflush(run->journal) == 0 && fdatasync(fileno(run->journal)) == 0) ||
           cannot_write(run, errno, failure);
}
