/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Joins bench and catalogue: whatever the session hands out is stored before the next step. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "stored_run.h"
#include "upthrust/text.h"

struct keeper {
    const struct bench_run *bench;
    struct up_run *run;
    char run_id[UP_ID_SIZE];
    const struct up_item *item; /* NULL while calibrating */
    double counts_per_kg;
    const char *calibration_id; /* NULL while calibrating */
    char rig_record_id[UP_ID_SIZE];
    json_t *plateaus; /* read since the last trial: they are stored with the next */
    unsigned trials;
    unsigned checks;             /* of reference bodies, repeated */
    struct up_failure failure;   /* of a callback that cannot return one */
    const struct taken_up *from; /* the run that is gone on with, or NULL */
    struct up_reader reader;     /* as it stood there at the end */
    char resumed[120];           /* what is told of it */
};

/* When they came matters where a device talks unasked. */
static void keep_bytes(void *context, const char *bytes, size_t length, double arrival_s) {
    struct keeper *keeper = context;
    up_run_bytes(keeper->run, bytes, length);
    if (keeper->bench->rig->line.poll[0] == '\0') {
        up_run_arrival(keeper->run, arrival_s);
    }
}

static void drop_stamps(json_t *json) {
    json_object_del(json, "event");
    json_object_del(json, "offset");
    json_object_del(json, "arrival_s");
}

static void keep_plateau(struct keeper *keeper, json_t *json) {
    json_t *copy = json_deep_copy(json);
    drop_stamps(copy);
    json_array_append_new(keeper->plateaus, copy);
}

static bool keep_trial(struct keeper *keeper, json_t *json, struct up_failure *failure) {
    json_object_set_new(json, "run_id", json_string(keeper->run_id));
    json_object_set_new(json, "item_id", json_string(keeper->item->id));
    json_object_set(json, "plateaus", keeper->plateaus);
    drop_stamps(json);
    bool good = up_catalogue_add(keeper->bench->catalogue, "trial", NULL, keeper->bench->rig->id,
                                 json, NULL, NULL, failure);
    if (good) {
        json_decref(keeper->plateaus);
        keeper->plateaus = json_array();
        keeper->trials++;
    }
    return good;
}

static bool keep_event(void *context, const struct up_event *event, struct up_failure *failure) {
    struct keeper *keeper = context;
    json_t *json = up_event_to_json(event, keeper->counts_per_kg);
    bool good = up_run_journal(keeper->run, json_incref(json), failure);
    if (good && event->kind == UP_EVENT_PLATEAU) {
        keep_plateau(keeper, json);
        /* A tare completes whatever was under way. */
        good = strcmp(event->plateau_of, "tare") != 0 || up_run_sync(keeper->run, failure);
    }
    if (good && event->kind == UP_EVENT_TRIAL) {
        good = keep_trial(keeper, json, failure);
    }
    if (good && event->kind == UP_EVENT_CHECK) {
        good = up_check_add(keeper->bench->catalogue, &event->check, keeper->run_id,
                            keeper->bench->rig->id, failure);
    }
    json_decref(json);
    return good;
}

static void keep_answer(void *context, unsigned id, enum up_answer_word word, double number,
                        double time_s) {
    static const char *const words[] = {"done", "skip", "again", "stop"};
    struct keeper *keeper = context;
    json_t *json = json_pack("{s:s, s:i, s:f}", "event", "answer", "id", (int)id, "time_s", time_s);
    if (word == UP_ANSWER_NUMBER) {
        json_object_set_new(json, "value", json_real(number));
    } else {
        json_object_set_new(json, "answer", json_string(words[word]));
    }
    up_run_journal(keeper->run, json, &keeper->failure);
}

static void keep_note(void *context, enum up_note note, const char *text) {
    static const char *const names[] = {"lost",    "back", "stopped",
                                        "resumed", "left", "interrupted"};
    struct keeper *keeper = context;
    char *clean = up_text_clean(text, strlen(text));
    up_run_journal(keeper->run, json_pack("{s:s, s:s}", "event", names[note], "text", clean),
                   &keeper->failure);
    free(clean);
}

/* The name alone: where it lies on this machine is nobody else's business. */
static const char *file_name(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/* What goes on with a run of a queue by itself is still that queue's. */
static json_t *queue_of(const struct keeper *keeper) {
    return keeper->bench->queue != NULL || keeper->from == NULL
               ? keeper->bench->queue
               : json_object_get(json_array_get(keeper->from->run.left.journal, 0), "queue");
}

static json_t *about(const struct keeper *keeper, const char *what) {
    const struct up_rig *rig = keeper->bench->rig;
    char *name = up_text_clean(file_name(rig->path), strlen(file_name(rig->path)));
    json_t *json = json_pack("{s:s, s:s, s:s, s:s, s:s, s:s}", "what", what, "version",
                             UPTHRUST_VERSION, "bench", rig->id, "rig_file", name, "rig_sha256",
                             rig->sha256, "rig_record_id", keeper->rig_record_id);
    if (keeper->item != NULL) {
        json_object_set_new(json, "item_id", json_string(keeper->item->id));
    }
    if (keeper->calibration_id != NULL) {
        json_object_set_new(json, "calibration_id", json_string(keeper->calibration_id));
    }
    if (keeper->from != NULL) {
        json_object_set(json, "continues", keeper->from->unfinished.continues);
        json_object_set_new(json, "trials_before", json_integer(keeper->from->unfinished.trials));
    }
    json_t *queue = queue_of(keeper);
    if (queue != NULL) {
        json_object_set(json, "queue", queue);
    }
    free(name);
    return json;
}

static bool keep_rig(struct keeper *keeper, struct up_failure *failure) {
    const struct up_rig *rig = keeper->bench->rig;
    char *text = up_rig_read_text(rig->path, failure);
    struct up_rig_version version = {rig->id, rig->name, rig->sha256, text};
    bool good = text != NULL &&
                up_rig_keep(keeper->bench->catalogue, &version, keeper->rig_record_id, failure);
    free(text);
    return good;
}

/* All that the session starts from, so that it can be repeated from what it recorded alone. */
static bool keep_plan(struct keeper *keeper, json_t *plan, struct up_failure *failure) {
    const struct up_rig *rig = keeper->bench->rig;
    bool is_device = rig->port_kind == UP_PORT_PTY || rig->port_kind == UP_PORT_SERIAL;
    char *text = up_rig_read_text(rig->path, failure);
    char *clean = text != NULL ? up_text_clean_lines(text) : NULL;
    bool good = text != NULL;
    if (good) {
        json_object_update_new(plan, json_pack("{s:s, s:s, s:b, s:b, s:s, s:f}", "event", "plan",
                                               "rig", clean, "talked_unasked",
                                               is_device && rig->line.poll[0] == '\0', "typed",
                                               rig->port_kind == UP_PORT_TYPED, "mass_class",
                                               up_mass_class_name(rig->mass_class), "air_temp_c",
                                               rig->air.temp_c.value));
        good = up_run_journal(keeper->run, json_incref(plan), failure) &&
               up_run_sync(keeper->run, failure);
    }
    json_decref(plan);
    free(text);
    free(clean);
    return good;
}

static json_t *plan_of_calibration(const struct up_calibrate_plan *plan) {
    json_t *masses = json_array();
    for (unsigned i = 0; i < plan->masses; i++) {
        json_array_append_new(masses, json_real(plan->mass_kg[i]));
    }
    return json_pack("{s:o, s:b}", "masses_kg", masses, "staircase", plan->staircase);
}

static json_t *plan_of_measuring(const struct up_measure_plan *plan) {
    json_t *waters = json_array();
    for (unsigned i = 0; i < plan->waters; i++) {
        const struct up_water *water = &plan->water[i];
        json_array_append_new(
            waters,
            json_pack("{s:s, s:b, s:b, s:b, s:f, s:f, s:f, s:f, s:f}", "name", water->name, "sea",
                      water->model == UP_WATER_SEA, "pool", water->model == UP_WATER_POOL, "range",
                      water->salinity_range, "temp_c", water->temp_c, "u_temp_c", water->u_temp_c,
                      "salinity_g_kg", water->salinity_g_kg, "u_salinity_g_kg",
                      water->u_salinity_g_kg, "depth_m", water->depth_m));
    }
    json_t *json = json_pack("{s:o, s:o, s:i, s:f, s:f, s:o}", "item", up_item_to_json(&plan->item),
                             "calibration", up_calibration_to_json(plan->calibration), "trials",
                             (int)plan->trials, "confidence", plan->confidence, "coverage",
                             plan->coverage, "waters", waters);
    plan_more_to_json(plan, json);
    return json;
}

static void tell_lost(const struct up_lost_run *lost, void *context) {
    const struct bench_run *bench = ((const struct keeper *)context)->bench;
    struct up_item item = {0};
    bool named = up_item_find(bench->catalogue, lost->item_id, &item, NULL);
    char *name = up_text_for_terminal(named ? item.name : lost->item_id);
    char *what = up_text_for_terminal(lost->what);
    fprintf(stderr,
            "note: an earlier run did not come to its end (%s%s%s): %u trial%s stored, run %s",
            what, name[0] != '\0' ? ", " : "", name, lost->trials,
            lost->trials == 1 ? " is" : "s are", lost->run_id);
    if (strcmp(lost->bench, bench->rig->id) == 0 && bench->resume == NULL) {
        char *command = way_on(bench, lost->what, lost->run_id);
        char *harmless = up_text_for_terminal(command);
        fprintf(stderr, "; `%s` goes on with it", harmless);
        free(harmless);
        free(command);
    }
    fputc('\n', stderr);
    free(what);
    free(name);
}

static void tell_clock(const struct bench_run *bench) {
    char last_utc[UP_TIME_SIZE];
    if (up_catalogue_clock_is_behind(bench->catalogue, bench->rig->id, last_utc)) {
        char *id = up_text_for_terminal(bench->rig->id);
        fprintf(stderr,
                "note: the clock stands before the last record of the bench %s (%s): set it; until "
                "then the bench's own count keeps the order\n",
                id, last_utc);
        free(id);
    }
}

static bool open_run(struct keeper *keeper, const char *what, struct up_failure *failure) {
    const struct bench_run *bench = keeper->bench;
    tell_clock(bench);
    if (!up_run_recover(bench->catalogue, tell_lost, keeper, failure) ||
        !keep_rig(keeper, failure)) {
        return false;
    }
    json_t *json = about(keeper, what);
    bool good =
        up_run_open(bench->catalogue, bench->rig->id, json, keeper->run_id, &keeper->run, failure);
    json_decref(json);
    keeper->plateaus = json_array();
    return good;
}

/* ---- a run that goes on ---- */

static bool keep_old_trial(struct keeper *keeper, const struct up_event *event, json_t *json) {
    unsigned number = event->trial.number;
    const bool *stored = keeper->from->unfinished.stored;
    if (number > UP_RUN_TRIALS_MAX || !stored[number]) { /* it ended between the two writes */
        return keep_trial(keeper, json, &keeper->failure);
    }
    keeper->trials++;
    json_array_clear(keeper->plateaus);
    return true;
}

static void keep_old_event(void *context, const struct up_event *event) {
    struct keeper *keeper = context;
    json_t *json = up_event_to_json(event, keeper->counts_per_kg);
    if (event->kind == UP_EVENT_PLATEAU) {
        keep_plateau(keeper, json);
    }
    if (event->kind == UP_EVENT_TRIAL && keeper->failure.text[0] == '\0') {
        keep_old_trial(keeper, event, json);
    }
    if (event->kind == UP_EVENT_CHECK && ++keeper->checks > keeper->from->unfinished.checks) {
        up_check_add(keeper->bench->catalogue, &event->check, keeper->run_id,
                     keeper->bench->rig->id, &keeper->failure);
    }
    json_decref(json);
}

/* What the old run recorded, once more in the new one's files: each run can be replayed alone. */
static bool copy_record(struct keeper *keeper, struct up_failure *failure) {
    const struct up_run_left *left = &keeper->from->run.left;
    size_t at = 0, i;
    json_t *entry;
    bool good = true;
    json_array_foreach(left->journal, i, entry) {
        const char *event = json_string_value(json_object_get(entry, "event"));
        json_int_t offset = json_integer_value(json_object_get(entry, "offset"));
        if (!good || event == NULL || strcmp(event, "run") == 0 || strcmp(event, "plan") == 0 ||
            strcmp(event, "end") == 0 || strcmp(event, RUN_COPIED) == 0 ||
            offset < (json_int_t)at) {
            continue;
        }
        up_run_bytes(keeper->run, left->stream + at, (size_t)offset - at);
        at = (size_t)offset;
        if (strcmp(event, "bytes") == 0) {
            up_run_arrival(keeper->run, json_number_value(json_object_get(entry, "host_s")));
        } else {
            good = up_run_journal(keeper->run, json_copy(entry), failure);
        }
    }
    up_run_bytes(keeper->run, left->stream + at, left->length - at);
    return good && up_run_journal(keeper->run, json_pack("{s:s}", "event", RUN_COPIED), failure) &&
           up_run_sync(keeper->run, failure);
}

static bool repeat_old(struct keeper *keeper, struct up_procedure *procedure,
                       struct up_failure *failure) {
    const struct taken_up *from = keeper->from;
    if (!stored_run_repeat(&from->run, procedure, keeper, keep_old_event, &keeper->reader,
                           failure)) {
        return false;
    }
    if (keeper->failure.text[0] != '\0') {
        *failure = keeper->failure;
        return false;
    }
    struct up_progress progress = up_procedure_progress(procedure);
    if (keeper->trials > 0 || !progress.weighed_in_air) {
        json_array_clear(keeper->plateaus); /* of the step that was broken off */
    } /* else the dry weighing's are among them, and go with the first trial */
    snprintf(keeper->resumed, sizeof keeper->resumed,
             "run %.8s goes on with %u of %u %s: the step begins anew", from->run.left.id,
             progress.done, progress.wanted, keeper->item != NULL ? "trials" : "loadings");
    return keeper->trials >= from->unfinished.trials ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the files of run %s hold %u trials and the catalogue %u: they were cut; begin "
                   "anew without --resume",
                   from->run.left.id, keeper->trials, from->unfinished.trials);
}

static bool keep_old_plan(struct keeper *keeper, struct up_failure *failure) {
    return up_run_journal(keeper->run, json_deep_copy(keeper->from->run.plan), failure);
}

/* ---- the end of a run ---- */

/* A sentence of what is safe and how to go on; NULL where there is nothing to go on with. */
static char *tell_way_on(const struct keeper *keeper, const struct up_procedure *procedure) {
    struct up_progress progress = {0};
    if (keeper->run != NULL && procedure != NULL) {
        progress = up_procedure_progress(procedure);
    }
    if (progress.complete || (progress.done == 0 && !progress.weighed_in_air)) {
        return NULL;
    }
    bool measures = keeper->item != NULL;
    bool listed = keeper->bench->queue != NULL; /* then it is the list that is gone on with */
    char *command = way_on(keeper->bench, measures ? "measure" : "calibrate", keeper->run_id);
    char *text = up_text_format(
        "%s%u of %u %s%s%s%s", progress.weighed_in_air ? "the dry weighing is kept, " : "",
        measures ? keeper->trials : progress.done, progress.wanted,
        measures ? "trials are stored" : "loadings are kept", listed ? "" : "; `",
        listed ? "" : command, listed ? "" : "` goes on");
    free(command);
    return text;
}

/* A signal and a person's word end a run that may be good; all else is a failure already. */
static void tell_left(const struct keeper *keeper, const struct up_procedure *procedure, bool good,
                      struct up_failure *failure) {
    char *way = tell_way_on(keeper, procedure);
    if (way != NULL && !good && signalled == 0) {
        size_t length = strlen(failure->text);
        snprintf(failure->text + length, sizeof failure->text - length, "; %s", way);
    } else if (way != NULL) {
        char *harmless = up_text_for_terminal(way);
        fprintf(stderr, "note: stopped%s%s: %s\n", signalled != 0 ? " by the signal " : "",
                signalled != 0 ? strsignal(signalled) : "", harmless);
        free(harmless);
    }
    free(way);
}

/* A run that failed stays failed, whether its end can be stored or not. */
static bool close_run(struct keeper *keeper, const struct up_procedure *procedure, bool good,
                      unsigned results, struct up_failure *failure) {
    if (keeper->run != NULL) {
        bool complete = procedure != NULL && up_procedure_progress(procedure).complete;
        const char *how = signalled != 0 || (good && !complete) ? "stopped"
                          : good                                ? "completed"
                                                                : "failed";
        json_t *more = json_pack("{s:i, s:i, s:O}", "trials", (int)keeper->trials, "results",
                                 (int)results, "plateaus", keeper->plateaus);
        if (!good) {
            char *reason = up_text_clean(failure->text, strlen(failure->text));
            json_object_set_new(more, "reason", json_string(reason));
            free(reason);
        }
        good = up_run_end(keeper->run, how, more, good ? failure : NULL) && good;
        json_decref(more);
    }
    tell_left(keeper, procedure, good, failure);
    up_run_close(keeper->run);
    json_decref(keeper->plateaus);
    return good;
}

/* Other programs read exchange/ without asking us. Where it cannot be written, what was measured is
   stored all the same. */
void leave_exchange(const struct bench_run *bench) {
    struct up_failure failure;
    char *directory = up_text_format("%s/exchange", up_catalogue_directory(bench->catalogue));
    if (!bench->no_exchange && (!up_export_csv(bench->catalogue, directory, &failure) ||
                                !up_export_json(bench->catalogue, directory, &failure))) {
        char *text = up_text_for_terminal(failure.text);
        fprintf(stderr, "note: stored, but not exported: %s\n", text);
        free(text);
    }
    free(directory);
}

static bool run_session(struct keeper *keeper, struct up_procedure *procedure,
                        struct up_operator *op, struct up_failure *failure) {
    const struct bench_run *bench = keeper->bench;
    struct up_session session = {
        .rig = bench->rig,
        .procedure = procedure,
        .op = op,
        .lines = bench->lines,
        .listener = {keeper, keep_bytes, keep_event, keep_answer, keep_note},
        .signalled = &signalled,
        .place = bench->place,
        .source = bench->source != NULL ? *bench->source : NULL};
    if (keeper->from != NULL) {
        session.reader = &keeper->reader;
        session.resumed = keeper->resumed;
        if (up_procedure_progress(procedure).complete) { /* only its results were not stored */
            return true;
        }
    }
    bool good = (bench->rig->port_kind == UP_PORT_TYPED || session.source != NULL ||
                 up_source_open(bench->rig, bench->port, &session.source, failure)) &&
                up_session_run(&session, failure);
    if (good && keeper->failure.text[0] != '\0') {
        *failure = keeper->failure;
        good = false;
    }
    if (bench->source != NULL && good) {
        *bench->source = session.source; /* to open a port anew resets many a device */
        return true;
    }
    up_source_close(session.source);
    if (bench->source != NULL) {
        *bench->source = NULL;
    }
    return good;
}

static struct up_operator *make_operator(const struct bench_run *bench) {
    enum up_operator_kind kind = bench->json    ? UP_OPERATOR_JSON
                                 : bench->pedal ? UP_OPERATOR_PEDAL
                                                : UP_OPERATOR_KEYS;
    struct up_operator *op =
        up_operator_create(kind, bench->operator_input, bench->operator_output);
    if (bench->screen) {
        up_operator_use_screen(op, bench->operator_input);
    }
    return op;
}

/* ---- calibrate ---- */

static bool calibrate_by(const struct bench_run *bench, const struct up_calibrate_plan *plan,
                         const struct taken_up *from, struct up_calibration *calibration,
                         struct up_failure *failure) {
    struct keeper keeper = {.bench = bench, .from = from};
    struct up_procedure *procedure = NULL;
    struct up_operator *op = make_operator(bench);
    bool good =
        up_procedure_calibrate(plan, &procedure, failure) &&
        open_run(&keeper, "calibrate", failure) &&
        (from != NULL ? keep_old_plan(&keeper, failure) &&
                            repeat_old(&keeper, procedure, failure) && copy_record(&keeper, failure)
                      : keep_plan(&keeper, plan_of_calibration(plan), failure)) &&
        run_session(&keeper, procedure, op, failure) &&
        up_procedure_calibration(procedure, calibration, failure) &&
        up_calibration_add(bench->catalogue, calibration, failure);
    good = close_run(&keeper, procedure, good, 0, failure);
    if (good) {
        leave_exchange(bench);
        json_t *json =
            json_pack("{s:[], s:o}", "results", "calibration", up_calibration_to_json(calibration));
        up_operator_tell_result(op, json);
        json_decref(json);
    }
    up_operator_destroy(op);
    up_procedure_destroy(procedure);
    return good;
}

bool run_calibrate(const struct bench_run *bench, const double *mass_kg, int masses, bool staircase,
                   struct up_calibration *calibration, struct up_failure *failure) {
    struct up_calibrate_plan plan = {
        .rig = bench->rig, .masses = (unsigned)masses, .staircase = staircase};
    memcpy(plan.mass_kg, mass_kg, (size_t)masses * sizeof mass_kg[0]);
    return calibrate_by(bench, &plan, NULL, calibration, failure);
}

/* The runs that were killed are ended first: one of them may be the one that is meant. */
static bool find_taken_up(struct taken_up *taken, const struct bench_run *bench, bool calibrates,
                          const struct up_item *item, struct up_failure *failure) {
    struct keeper keeper = {.bench = bench};
    return up_run_recover(bench->catalogue, tell_lost, &keeper, failure) &&
           take_up(taken, bench, calibrates, item, failure);
}

bool resume_calibrate(const struct bench_run *bench, struct up_calibration *calibration,
                      struct up_failure *failure) {
    struct taken_up *taken = up_allocate(1, sizeof *taken);
    struct bench_run on = *bench;
    on.rig = &taken->run.rig;
    bool good = find_taken_up(taken, bench, true, NULL, failure) &&
                calibrate_by(&on, &taken->run.calibrate, taken, calibration, failure);
    taken_up_free(taken);
    free(taken);
    return good;
}

/* ---- measure ---- */

/* Refuses nothing: an old calibration may be good, a person should know. */
static void tell_age(const struct bench_run *bench, const struct up_calibration *calibration) {
    struct tm made = {0};
    double days;
    if (strptime(calibration->made_utc, "%Y-%m-%dT%H:%M:%S", &made) == NULL) {
        return;
    }
    days = difftime(time(NULL), timegm(&made)) / 86400;
    if (days > bench->rig->calibration_days) {
        fprintf(stderr,
                "note: the calibration %s is %.0f days old, more than %g: calibrate again when you "
                "can\n",
                calibration->id, days, bench->rig->calibration_days);
    }
}

static void tell_results(struct up_operator *op, const struct up_result *result, unsigned results) {
    json_t *list = json_array();
    json_t *json = json_pack("{s:o}", "results", list);
    for (unsigned i = 0; i < results; i++) {
        json_array_append_new(list, up_result_to_json(&result[i]));
    }
    up_operator_tell_result(op, json);
    json_decref(json);
}

static bool measure_by(const struct bench_run *bench, struct up_measure_plan *plan,
                       const struct taken_up *from, struct up_result *result, unsigned *results,
                       struct up_failure *failure) {
    const struct up_calibration *calibration = plan->calibration;
    struct keeper keeper = {.bench = bench,
                            .from = from,
                            .item = &plan->item,
                            .counts_per_kg = calibration->slope_counts_per_kg,
                            .calibration_id = calibration->id};
    struct up_procedure *procedure = NULL, *probe = NULL;
    struct up_operator *op = make_operator(bench);
    *results = 0;
    /* The plan is tried before a run is opened, so that a mistake leaves nothing behind. */
    bool good =
        up_procedure_measure(plan, &probe, failure) && open_run(&keeper, "measure", failure);
    up_procedure_destroy(probe);
    if (good) {
        tell_age(bench, calibration);
        memcpy(plan->run_id, keeper.run_id, sizeof plan->run_id);
        good = up_procedure_measure(plan, &procedure, failure) &&
               (from != NULL
                    ? keep_old_plan(&keeper, failure) && repeat_old(&keeper, procedure, failure) &&
                          copy_record(&keeper, failure)
                    : keep_plan(&keeper, plan_of_measuring(plan), failure)) &&
               run_session(&keeper, procedure, op, failure) &&
               up_procedure_results(procedure, result, results, failure) &&
               up_results_add(bench->catalogue, result, *results, bench->rig->id, failure);
    }
    if (bench->opening != NULL) {
        *bench->left = !good || !up_procedure_progress(procedure).complete;
        memset(bench->opening, 0, sizeof *bench->opening);
        if (!*bench->left) {
            *bench->opening = up_procedure_opening(procedure);
        }
    }
    good = close_run(&keeper, procedure, good, *results, failure);
    if (good) {
        leave_exchange(bench);
        tell_results(op, result, *results);
    }
    up_operator_destroy(op);
    up_procedure_destroy(procedure);
    return good;
}

bool run_measure(const struct bench_run *bench, const struct up_measure_plan *wanted,
                 struct up_result *result, unsigned *results, struct up_failure *failure) {
    struct up_calibration calibration;
    struct up_measure_plan plan = *wanted;
    plan.rig = bench->rig;
    plan.calibration = &calibration;
    plan.coverage = 0.95;
    if (bench->opening != NULL) {
        plan.opening = *bench->opening;
    }
    *results = 0;
    return up_calibration_latest(bench->catalogue, bench->rig->id, &calibration, failure) &&
           measure_by(bench, &plan, NULL, result, results, failure);
}

bool may_resume_measure(const struct bench_run *bench, const struct up_item *item,
                        struct up_failure *failure) {
    struct taken_up *taken = up_allocate(1, sizeof *taken);
    bool good = find_taken_up(taken, bench, false, item, failure);
    taken_up_free(taken);
    free(taken);
    return good;
}

bool resume_measure(const struct bench_run *bench, const struct up_item *item,
                    struct repeated *resumed, struct up_failure *failure) {
    struct taken_up *taken = up_allocate(1, sizeof *taken);
    struct up_measure_plan *plan = &taken->run.measure;
    struct bench_run on = *bench;
    on.rig = &taken->run.rig;
    bool good = find_taken_up(taken, bench, false, item, failure) &&
                measure_by(&on, plan, taken, resumed->result, &resumed->results, failure);
    resumed->item = plan->item;
    resumed->waters = plan->waters;
    taken_up_free(taken);
    free(taken);
    return good;
}

enum up_status status_of_results(const struct up_result *result, unsigned results) {
    for (unsigned i = 0; i < results; i++) {
        if (result[i].answer.class == UP_CLASS_UNDECIDED) {
            return UP_STATUS_UNDECIDED;
        }
    }
    return UP_STATUS_DONE;
}
