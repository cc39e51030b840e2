/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "catalogue/taught.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/memory.h"

static const char *const step_words[UP_QUICK_STEPS] = {
    [UP_QUICK_IMMERSED] = "immersed", [UP_QUICK_SHAKEN] = "shaken", [UP_QUICK_LIFTED] = "lifted"};

/* A bench ages: so many of the latest traces of a step count (our choice). */
enum { TRACES_MOST = 600 };

const char *up_taught_step_name(enum up_quick_step step) {
    return step_words[step];
}

/* ---- writing ---- */

static json_t *trace_to_json(const struct up_quick_taught *taught) {
    json_t *off = json_array();
    for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
        json_array_append_new(off, up_json_number(taught->off_kg[i]));
    }
    return json_pack("{s:s, s:o, s:o}", "step", step_words[taught->step], "step_kg",
                     up_json_number(taught->step_kg), "off_kg", off);
}

json_t *up_taught_to_json(const struct up_taught_bench *bench, const struct up_quick_taught *taught,
                          unsigned taughts, const struct up_early_watch *watch) {
    json_t *traces = json_array(), *rejected = json_array();
    for (unsigned i = 0; i < taughts; i++) {
        json_array_append_new(traces, trace_to_json(&taught[i]));
    }
    for (int step = 0; watch != NULL && step < UP_QUICK_STEPS; step++) {
        if (up_early_is_rejected(&watch[step], UP_QUICK_EARLY_RISK)) {
            json_array_append_new(rejected, json_integer(step + 1));
        }
    }
    return json_pack("{s:b, s:f, s:f, s:o, s:o}", "simulated", bench->simulated, "read_after_s",
                     bench->read_after_s, "window_s", bench->window_s, "rejected", rejected,
                     "traces", traces);
}

/* ---- learning ---- */

struct step_traces {
    struct up_early_trace *trace; /* in the order they were taken */
    json_t **session;             /* of each, borrowed from `sessions` */
    size_t count;
};

struct learning {
    struct up_catalogue *catalogue;
    struct up_failure *failure;
    bool failed;
    const struct up_taught_bench *bench;
    json_t *trusted;  /* calibration -> whether it is of this place */
    json_t *items;    /* id -> a number */
    json_t *sessions; /* the queues or runs that traces are of */
    struct step_traces step[UP_QUICK_STEPS];
};

static bool is_like(const struct learning *learning, const struct up_record *record,
                    const json_t *taught) {
    const struct up_taught_bench *bench = learning->bench;
    return !record->elsewhere && strcmp(record->bench, bench->id) == 0 &&
           strcmp(up_record_text(record->content, "rig_sha256"), bench->rig_sha256) == 0 &&
           strcmp(up_record_text(record->content, "how_ended"), "completed") == 0 &&
           json_is_true(json_object_get(taught, "simulated")) == bench->simulated &&
           up_record_number(taught, "read_after_s") == bench->read_after_s &&
           up_record_number(taught, "window_s") == bench->window_s;
}

/* A copy of the folder tells of another bench, until a known mass has borne out its calibration. */
static bool is_of_this_place(struct learning *learning, const struct up_record *record) {
    const char *id = up_record_text(record->content, "calibration_id");
    const json_t *known = json_object_get(learning->trusted, id);
    bool trusted = json_is_true(known);
    if (known == NULL) {
        learning->failed =
            !up_calibration_is_trusted(learning->catalogue, id, &trusted, learning->failure);
        json_object_set_new(learning->trusted, id, json_boolean(trusted));
    }
    return trusted && !learning->failed;
}

static unsigned number_of(json_t *items, const char *item_id) {
    const json_t *known = json_object_get(items, item_id);
    if (known == NULL) {
        json_object_set_new(items, item_id, json_integer((json_int_t)json_object_size(items)));
        return (unsigned)json_object_size(items) - 1;
    }
    return (unsigned)json_integer_value(known);
}

/* A queue is one session, a run outside of one another. */
static json_t *session_of(struct learning *learning, const struct up_record *record) {
    const char *id = up_record_text(json_object_get(record->content, "queue"), "id");
    id = id[0] != '\0' ? id : record->subject;
    if (json_object_get(learning->sessions, id) == NULL) {
        json_object_set_new(learning->sessions, id, json_string(id));
    }
    return json_object_get(learning->sessions, id);
}

static bool trace_from_json(const json_t *json, struct up_early_trace *trace) {
    const json_t *off = json_object_get(json, "off_kg");
    bool good = json_array_size(off) == UP_EARLY_VALUES;
    trace->step_kg = up_record_number(json, "step_kg");
    for (size_t i = 0; good && i < UP_EARLY_VALUES; i++) {
        const json_t *value = json_array_get(off, i);
        trace->off_kg[i] = json_number_value(value);
        good = json_is_number(value) && isfinite(trace->off_kg[i]);
    }
    return good && isfinite(trace->step_kg);
}

static void add(struct step_traces *of, const struct up_early_trace *trace, json_t *session) {
    of->trace = up_reallocate(of->trace, of->count + 1, sizeof *of->trace);
    of->session = up_reallocate(of->session, of->count + 1, sizeof(json_t *));
    of->trace[of->count] = *trace;
    of->session[of->count++] = session;
}

static int step_of(const char *word) {
    int step = 0;
    while (step < UP_QUICK_STEPS && strcmp(step_words[step], word) != 0) {
        step++;
    }
    return step;
}

/* The session that contradicted them stays, all before it goes. */
static void forget(struct step_traces *of, const json_t *session) {
    size_t kept = 0;
    for (size_t i = 0; i < of->count; i++) {
        if (of->session[i] == session) {
            of->trace[kept] = of->trace[i];
            of->session[kept++] = of->session[i];
        }
    }
    of->count = kept;
}

/* Runs come the oldest first. */
static bool take_run(const struct up_record *record, void *context) {
    struct learning *learning = context;
    const json_t *taught = json_object_get(record->content, "taught"), *entry;
    size_t i;
    if (!json_is_object(taught) || !is_like(learning, record, taught) ||
        !is_of_this_place(learning, record)) {
        return !learning->failed;
    }
    json_t *session = session_of(learning, record);
    unsigned item = number_of(learning->items, up_record_text(record->content, "item_id"));
    json_array_foreach(json_object_get(taught, "traces"), i, entry) {
        struct up_early_trace trace = {.item = item};
        int step = step_of(up_record_text(entry, "step"));
        if (step < UP_QUICK_STEPS && trace_from_json(entry, &trace)) {
            add(&learning->step[step], &trace, session);
        }
    }
    json_array_foreach(json_object_get(taught, "rejected"), i, entry) {
        json_int_t step = json_integer_value(entry);
        if (step >= 1 && step <= UP_QUICK_STEPS) {
            forget(&learning->step[step - 1], session);
        }
    }
    return true;
}

/* Enough for all traces that are used, whatever others say of this bench. */
static const char latest_of_here[] =
    "SELECT t.record FROM typed_run AS t WHERE t.bench = ?2"
    " AND " CATALOGUE_IS_OWN(
        "(SELECT id FROM record WHERE rowid = t.record)") " ORDER BY t.made_utc DESC, t.subject "
                                                          "DESC LIMIT 400";

bool up_taught_learn(struct up_catalogue *catalogue, const struct up_taught_bench *bench,
                     struct up_early_envelope envelope[UP_QUICK_STEPS],
                     struct up_failure *failure) {
    struct learning learning = {.catalogue = catalogue,
                                .failure = failure,
                                .bench = bench,
                                .trusted = json_object(),
                                .items = json_object(),
                                .sessions = json_object()};
    bool good = catalogue_each_in(catalogue, "run", latest_of_here, bench->id, take_run, &learning,
                                  failure) &&
                !learning.failed;
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        const struct step_traces *of = &learning.step[step];
        size_t from = of->count > TRACES_MOST ? of->count - TRACES_MOST : 0;
        envelope[step] = good && of->count > 0 ? up_early_learn(of->trace + from, of->count - from,
                                                                UP_QUICK_EARLY_RISK)
                                               : (struct up_early_envelope){.basis = UP_EARLY_NONE};
        free(of->trace);
        free(of->session);
    }
    json_decref(learning.trusted);
    json_decref(learning.items);
    json_decref(learning.sessions);
    return good;
}
