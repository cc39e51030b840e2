/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "trace.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "catalogue/run.h"
#include "stream/glitch_filter.h"
#include "text/json.h"
#include "text/text.h"
#include "upthrust/wire.h"

const struct trace_action trace_actions[TRACE_ACTIONS] = {
    {"immerse", "immersed"},   {"shake", "shaken"},   {"lift-out", "lifted out"},
    {"hang-in-air", "in air"}, {"hang-mass", "mass"}, {"empty-in-air", "emptied"},
};

static void read_text(const json_t *content, const char *key, char *to, size_t size) {
    const char *text = json_string_value(json_object_get(content, key));
    size_t length = text != NULL ? strlen(text) : 0;
    length = length < size ? length : size - 1;
    memcpy(to, text != NULL ? text : "", length);
    to[length] = '\0';
}

/* ---- which run ---- */

enum { BEGINNING_LEAST = 4, LINE_MEMORY_BYTES_MAX = 1 << 24 };

struct search {
    const char *wanted;
    bool latest, own; /* one of here: those of elsewhere are asked for by name */
    unsigned found;
    struct trace *trace;
};

static bool take_run(const struct up_record *record, void *context) {
    struct search *search = context;
    struct trace *trace = search->trace;
    bool wanted = search->latest
                      ? !record->elsewhere
                      : strncmp(record->subject, search->wanted, strlen(search->wanted)) == 0;
    if (!wanted || (record->elsewhere && search->own)) {
        return true;
    }
    search->found = !record->elsewhere && !search->own ? 1 : search->found + 1;
    search->own = !record->elsewhere;
    memcpy(trace->run_id, record->subject, sizeof trace->run_id);
    memcpy(trace->bench, record->bench, sizeof trace->bench);
    memcpy(trace->made_utc, record->made_utc, sizeof trace->made_utc);
    read_text(record->content, "item_id", trace->item_id, sizeof trace->item_id);
    read_text(record->content, "rig_sha256", trace->rig_sha256, sizeof trace->rig_sha256);
    read_text(record->content, "calibration_id", trace->calibration_id,
              sizeof trace->calibration_id);
    const char *what = json_string_value(json_object_get(record->content, "what"));
    trace->calibrating = what != NULL && strcmp(what, "calibrate") == 0;
    return true;
}

static bool take_item(const struct up_record *record, void *context) {
    struct trace *trace = context;
    if (strcmp(record->subject, trace->item_id) == 0) {
        read_text(record->content, "name", trace->title, sizeof trace->title);
    }
    return true;
}

/* That of the run: made by it, or named by it, or the latest before it. What came from elsewhere
   may say any time, and counts only where the run names it. */
static bool take_calibration(const struct up_record *record, void *context) {
    struct trace *trace = context;
    const json_t *slope = json_object_get(record->content, "slope_counts_kg");
    bool before = strcmp(record->made_utc, trace->made_utc) <= 0;
    bool named = trace->calibration_id[0] != '\0'
                     ? strcmp(record->id, trace->calibration_id) == 0
                     : !record->elsewhere && before != trace->calibrating;
    if (named && strcmp(record->bench, trace->bench) == 0 && json_is_number(slope) &&
        json_number_value(slope) != 0) {
        trace->counts_per_kg = json_number_value(slope);
        return !trace->calibrating; /* the first one after its beginning */
    }
    return true;
}

bool trace_find(struct up_catalogue *catalogue, const char *run, struct trace *trace,
                struct up_failure *failure) {
    struct search search = {.wanted = run, .latest = strcmp(run, "latest") == 0, .trace = trace};
    *trace = (struct trace){.counts_per_kg = (double)NAN};
    if (!search.latest && strlen(run) < BEGINNING_LEAST) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "run \"%s\": give four characters of its id at least, or latest", run);
    }
    if (!up_catalogue_each(catalogue, "run", take_run, &search, failure)) {
        return false;
    }
    if (search.latest && search.found == 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "no run was made here yet: give one of elsewhere by its id, `upthrust show "
                       "ITEM` names an item's runs");
    }
    if (search.found != 1 && !search.latest) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s run begins with \"%.40s\": `upthrust show ITEM` names an item's runs",
                       search.found == 0 ? "no" : "more than one", run);
    }
    return up_catalogue_each(catalogue, "item", take_item, trace, failure) &&
           up_catalogue_each(catalogue, "calibration", take_calibration, trace, failure);
}

/* ---- journal ---- */

static void take_plateau(const json_t *json, struct trace *trace) {
    const char *of = json_string_value(json_object_get(json, "of"));
    bool tare = of != NULL && strcmp(of, "tare") == 0;
    struct trace_plateau plateau = {up_record_number(json, "start_s"),
                                    up_record_number(json, "end_s"),
                                    up_record_number(json, "load_counts"), !tare};
    if (trace->plateaus == TRACE_PLATEAUS || !isfinite(plateau.start_s) ||
        !isfinite(plateau.end_s) || !isfinite(plateau.load)) {
        return;
    }
    if (tare && isnan(trace->zero)) {
        trace->zero = plateau.load;
    }
    trace->plateau[trace->plateaus++] = plateau;
}

/* A line that is damaged is passed over: the last one of a killed run is cut. */
static void take_line(const char *line, size_t length, struct trace *trace) {
    json_auto_t *json = json_loadb(line, length, 0, NULL);
    const char *event = json_string_value(json_object_get(json, "event"));
    if (event != NULL && strcmp(event, "run") == 0) {
        trace->of_another = strcmp(up_record_text(json, "run_id"), trace->run_id) != 0;
    } else if (event != NULL && strcmp(event, "plateau") == 0) {
        take_plateau(json, trace);
    } else if (event != NULL && strcmp(event, "ask") == 0) {
        const char *action = json_string_value(json_object_get(json, "do"));
        double time_s = up_record_number(json, "time_s");
        for (int i = 0; action != NULL && i < TRACE_ACTIONS; i++) {
            if (strcmp(action, trace_actions[i].name) == 0 && isfinite(time_s) &&
                trace->marks < TRACE_MARKS) {
                trace->mark[trace->marks++] = (struct trace_mark){time_s, i};
            }
        }
    }
}

static char *path_of_run(struct up_catalogue *catalogue, const struct trace *trace,
                         const char *name) {
    return up_text_format("%s/runs/%s/%s", up_catalogue_directory(catalogue), trace->run_id, name);
}

static bool fail_reading(const struct up_failure *why, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "%s; a catalogue that was merged brings no raw bytes along", why->text);
}

bool trace_read_journal(struct up_catalogue *catalogue, struct trace *trace,
                        struct up_failure *failure) {
    struct up_failure why;
    size_t length = 0;
    UP_FREED char *path = path_of_run(catalogue, trace, "journal.jsonl");
    UP_FREED char *text =
        up_text_read_file(path, UP_LINKS_REFUSED, UP_RUN_JOURNAL_BYTES_MAX, &length, &why);
    if (text == NULL) {
        return fail_reading(&why, failure);
    }
    trace->zero = (double)NAN;
    for (const char *line = text, *end = text + length; line < end;) {
        const char *feed = memchr(line, '\n', (size_t)(end - line));
        size_t bytes = (size_t)((feed != NULL ? feed : end) - line);
        if (up_json_bytes(line, bytes) <= LINE_MEMORY_BYTES_MAX) {
            take_line(line, bytes, trace);
        }
        line += bytes + 1;
    }
    trace->zero = isnan(trace->zero) ? 0 : trace->zero;
    return !trace->of_another ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%s is of another run: put back a copy of the folder runs", path);
}

/* ---- stream ---- */

static void take_reading(const struct up_reading *reading, struct trace *trace) {
    struct trace_reading kept = {reading->time_s, reading->load};
    if (reading->verdict != UP_READING_GOOD) {
        if (trace->glitches < TRACE_GLITCHES) {
            trace->glitch[trace->glitches++] = kept;
        }
        return;
    }
    if (trace->readings == trace->room) {
        trace->room = trace->room == 0 ? 4096 : 2 * trace->room;
        trace->reading = up_reallocate(trace->reading, trace->room, sizeof *trace->reading);
    }
    trace->reading[trace->readings++] = kept;
}

/* False with errno. */
static bool read_bytes(int descriptor, const struct up_rig *rig, struct trace *trace) {
    UP_FREED struct up_reader *reader = up_allocate(1, sizeof *reader);
    UP_FREED struct up_glitch_filter *screen = up_allocate(1, sizeof *screen);
    bool device = rig->port_kind == UP_PORT_PTY || rig->port_kind == UP_PORT_SERIAL;
    struct up_sample sample;
    struct up_reading judged;
    char bytes[65536];
    ssize_t got;
    up_reader_begin(reader, &rig->line, device && rig->line.poll[0] == '\0');
    up_glitch_filter_begin(screen, rig->line.word_bits, rig->division_counts);
    while ((got = read(descriptor, bytes, sizeof bytes)) > 0) {
        const char *at = bytes;
        size_t length = (size_t)got;
        while (up_reader_take(reader, &at, &length, &sample)) {
            if (up_glitch_filter_push(screen, sample.time_s, sample.load[0], sample.temp_c,
                                      &judged)) {
                take_reading(&judged, trace);
            }
        }
    }
    while (up_glitch_filter_flush(screen, &judged)) {
        take_reading(&judged, trace);
    }
    return got == 0;
}

bool trace_read_stream(struct up_catalogue *catalogue, const struct up_rig *rig,
                       struct trace *trace, struct up_failure *failure) {
    if (strcmp(rig->sha256, trace->rig_sha256) != 0) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%s: its sections line and sensor are not those of run %.8s; name the rig "
                       "file that was used, or draw without --rig",
                       rig->path, trace->run_id);
    }
    struct up_failure why;
    UP_FREED char *path = path_of_run(catalogue, trace, "stream");
    int descriptor = up_text_open_file(path, UP_LINKS_REFUSED, UP_RUN_STREAM_BYTES_MAX, &why);
    if (descriptor < 0) {
        return fail_reading(&why, failure);
    }
    bool good = read_bytes(descriptor, rig, trace);
    close(descriptor);
    return good || up_fail(failure, UP_STATUS_UNABLE, "cannot read the stream of run %s: %s",
                           trace->run_id, strerror(errno));
}

void trace_release(struct trace *trace) {
    free(trace->reading);
    *trace = (struct trace){0};
}
