/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whatever a session hands out is stored before its next step. */
#include <stdlib.h>
#include <string.h>

#include "catalogue/private.h"
#include "internal.h"
#include "text/json.h"
#include "text/text.h"

void send_note(const struct up_session_settings *settings, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    char *text =
        up_text_format_of(format, arguments); /* whole: it may hold a command to be typed */
    va_end(arguments);
    if (settings->caller.note != NULL) {
        settings->caller.note(settings->caller.context, text);
    }
    free(text);
}

int signal_of(const struct up_session_settings *settings) {
    return settings->signalled != NULL ? *settings->signalled : 0;
}

/* ---- what the loop hands out ---- */

/* When they came matters where a device talks unasked. */
static void record_bytes(void *context, const char *bytes, size_t length, double arrival_s) {
    struct recorder *recorder = context;
    up_run_bytes(recorder->run, bytes, length);
    if (recorder->settings->rig->line.poll[0] == '\0') {
        up_run_arrival(recorder->run, arrival_s);
    }
}

static void drop_stamps(json_t *json) {
    json_object_del(json, "event");
    json_object_del(json, "offset");
    json_object_del(json, "arrival_s");
}

static void collect_plateau(struct recorder *recorder, json_t *json) {
    json_t *copy = json_deep_copy(json);
    drop_stamps(copy);
    json_array_append_new(recorder->plateaus, copy);
}

static bool store_trial(struct recorder *recorder, json_t *json, struct up_failure *failure) {
    const struct up_session_settings *settings = recorder->settings;
    json_object_set_new(json, "run_id", json_string(recorder->run_id));
    json_object_set_new(json, "item_id", json_string(recorder->item->id));
    json_object_set(json, "plateaus", recorder->plateaus);
    if (recorder->quick) {
        json_object_set_new(json, "is_quick", json_true());
    }
    drop_stamps(json);
    bool good = up_catalogue_add(settings->catalogue, "trial", NULL, settings->rig->id, json, NULL,
                                 NULL, failure);
    if (good) {
        json_decref(recorder->plateaus);
        recorder->plateaus = json_array();
        recorder->trials++;
    }
    return good;
}

static bool store_check(struct recorder *recorder, const struct up_event *event,
                        struct up_failure *failure) {
    return up_check_add(recorder->settings->catalogue, &event->check, recorder->run_id,
                        recorder->settings->rig->id, recorder->open_check_id, failure);
}

static bool record_event(void *context, const struct up_event *event, struct up_failure *failure) {
    struct recorder *recorder = context;
    json_auto_t *json = up_event_to_json(event, recorder->counts_per_kg);
    bool good = up_run_journal(recorder->run, json_incref(json), failure);
    if (good && event->kind == UP_EVENT_PLATEAU) {
        collect_plateau(recorder, json);
        /* A tare completes whatever was under way. */
        good = strcmp(event->plateau_of, "tare") != 0 || up_run_sync(recorder->run, failure);
    }
    if (good && event->kind == UP_EVENT_TRIAL) {
        good = store_trial(recorder, json, failure);
    }
    if (good && event->kind == UP_EVENT_CHECK) {
        good = store_check(recorder, event, failure);
    }
    return good;
}

static void record_answer(void *context, const struct up_reply *answer, double time_s) {
    struct recorder *recorder = context;
    up_run_journal(recorder->run, answer_to_json(answer, time_s), &recorder->failure);
}

static void record_note(void *context, enum note note, const char *text) {
    struct recorder *recorder = context;
    up_run_journal(recorder->run, note_to_json(note, text), &recorder->failure);
}

struct listener recorder_listener(struct recorder *recorder) {
    return (struct listener){recorder, record_bytes, record_event, record_answer, record_note};
}

/* ---- the beginning ---- */

/* The name alone: where it lies on this machine is private. */
static const char *file_name(const char *path) {
    const char *slash = strrchr(path, '/');
    return slash != NULL ? slash + 1 : path;
}

/* A run of a queue that is resumed by itself is still that queue's. */
static json_t *queue_of(const struct recorder *recorder) {
    return recorder->queue != NULL || recorder->from == NULL
               ? recorder->queue
               : json_object_get(json_array_get(recorder->from->run.files.journal, 0), "queue");
}

static json_t *describe_run(const struct recorder *recorder) {
    const struct up_rig *rig = recorder->settings->rig;
    json_t *queue = queue_of(recorder);
    struct up_run_begin begin = {.what = recorder->item != NULL ? "measure" : "calibrate",
                                 .version = UPTHRUST_VERSION,
                                 .bench = rig->id,
                                 .rig_file = file_name(rig->path),
                                 .rig_sha256 = rig->sha256,
                                 .rig_record_id = recorder->rig_record_id,
                                 .item_id = recorder->item != NULL ? recorder->item->id : NULL,
                                 .calibration_id = recorder->calibration_id};
    json_t *json = up_run_begin_to_json(&begin);
    if (recorder->from != NULL) {
        json_object_set(json, "continues", recorder->from->unfinished.continues);
        json_object_set_new(json, "trials_before", json_integer(recorder->from->unfinished.trials));
    }
    if (queue != NULL) {
        json_object_set(json, "queue", queue);
    }
    if (recorder->quick) {
        json_object_set_new(json, "is_quick", json_true());
    }
    return json;
}

static bool store_rig(struct recorder *recorder, struct up_failure *failure) {
    const struct up_rig *rig = recorder->settings->rig;
    UP_FREED char *text = up_rig_read_text(rig->path, failure);
    struct up_rig_version version = {rig->id, rig->name, rig->sha256, text, rig->simulated};
    return text != NULL &&
           up_rig_store(recorder->settings->catalogue, &version, recorder->rig_record_id, failure);
}

static void note_killed_run(const struct up_lost_run *killed, void *context) {
    const struct up_session_settings *settings = context;
    const struct up_session_caller *caller = &settings->caller;
    struct up_item item = {0};
    bool named = up_item_find(settings->catalogue, killed->item_id, &item, NULL);
    const char *name = named ? item.name : killed->item_id;
    UP_FREED char *command = NULL;
    if (strcmp(killed->bench, settings->rig->id) == 0 && settings->resume == NULL &&
        caller->resume_command != NULL) {
        command = caller->resume_command(caller->context, killed->what, killed->run_id);
    }
    send_note(settings,
              "an earlier run was interrupted (%s%s%.80s): %u trial%s stored, run %s%s%s%s",
              killed->what, name[0] != '\0' ? ", " : "", name, killed->trials,
              killed->trials == 1 ? " is" : "s are", killed->run_id,
              command != NULL ? "; continue with `" : "", command != NULL ? command : "",
              command != NULL ? "`" : "");
}

bool end_killed_runs(const struct up_session_settings *settings, struct up_failure *failure) {
    struct up_session_settings copy = *settings;
    return up_run_recover(settings->catalogue, note_killed_run, &copy, failure);
}

bool recorder_open(struct recorder *recorder, struct up_failure *failure) {
    const struct up_session_settings *settings = recorder->settings;
    char last_utc[UP_TIME_SIZE];
    if (up_catalogue_clock_is_behind(settings->catalogue, settings->rig->id, last_utc)) {
        send_note(settings,
                  "the clock is earlier than the last record of the bench %s (%s): set it; until "
                  "then the bench's own count keeps the order",
                  settings->rig->id, last_utc);
    }
    if (!end_killed_runs(settings, failure) || !store_rig(recorder, failure)) {
        return false;
    }
    json_auto_t *json = describe_run(recorder);
    bool good = up_run_open(settings->catalogue, settings->rig->id, json, recorder->run_id,
                            &recorder->run, failure);
    recorder->plateaus = json_array();
    return good;
}

/* ---- the beginning of a run that is resumed ---- */

static void repeat_trial(struct recorder *recorder, const struct up_event *event, json_t *json) {
    unsigned number = event->trial.number;
    const bool *stored = recorder->from->unfinished.stored;
    bool lacks = number > UP_RUN_TRIALS_MAX || !stored[number];
    if (lacks && !recorder->tries) { /* it ended between the two writes */
        store_trial(recorder, json, &recorder->failure);
        return;
    }
    recorder->trials++;
    json_array_clear(recorder->plateaus);
}

/* The bytes give the readings that the journal tells, within their noise. */
static void compare_plateau(struct recorder *recorder, const json_t *json) {
    const struct up_run_files *files = &recorder->from->run.files;
    const json_t *told = NULL;
    while (told == NULL && recorder->compared < json_array_size(files->journal)) {
        const json_t *entry = json_array_get(files->journal, recorder->compared++);
        told = strcmp(up_record_text(entry, "event"), "plateau") == 0 ? entry : NULL;
    }
    double off = up_record_number(told, "load_counts") - up_record_number(json, "load_counts");
    if (fabs(off) > up_record_number(json, "u_load_counts") && recorder->failure.text[0] == '\0') {
        up_fail(&recorder->failure, UP_STATUS_WRONG_INPUT,
                "the stream of run %s does not give the readings of its journal: put back a copy "
                "of the folder runs, or begin again without --resume",
                files->id);
    }
}

static void repeat_event(void *context, const struct up_event *event) {
    struct recorder *recorder = context;
    json_auto_t *json = up_event_to_json(event, recorder->counts_per_kg);
    if (event->kind == UP_EVENT_PLATEAU) {
        compare_plateau(recorder, json);
        collect_plateau(recorder, json);
    }
    if (event->kind == UP_EVENT_TRIAL && recorder->failure.text[0] == '\0') {
        repeat_trial(recorder, event, json);
    }
    if (event->kind == UP_EVENT_CHECK && !recorder->tries &&
        ++recorder->checks > recorder->from->unfinished.checks) {
        store_check(recorder, event, &recorder->failure);
    }
}

static bool is_copied(const json_t *entry) {
    static const char *const own[] = {"run", "plan", "end", RUN_COPIED}; /* of each run */
    const char *event = json_string_value(json_object_get(entry, "event"));
    for (size_t i = 0; event != NULL && i < sizeof own / sizeof own[0]; i++) {
        if (strcmp(event, own[i]) == 0) {
            return false;
        }
    }
    return event != NULL;
}

/* What the old run recorded, once more in the new one's files: each run can be replayed alone. */
static bool copy_record(struct recorder *recorder, struct up_failure *failure) {
    const struct up_run_files *files = &recorder->from->run.files;
    size_t at = 0, i;
    json_t *entry;
    bool good = true;
    json_array_foreach(files->journal, i, entry) {
        json_int_t offset = json_integer_value(json_object_get(entry, "offset"));
        if (!good || !is_copied(entry) || offset < (json_int_t)at) {
            continue;
        }
        up_run_bytes(recorder->run, files->stream + at, (size_t)offset - at);
        at = (size_t)offset;
        if (strcmp(json_string_value(json_object_get(entry, "event")), "bytes") == 0) {
            up_run_arrival(recorder->run, json_number_value(json_object_get(entry, "host_s")));
        } else {
            good = up_run_journal(recorder->run, json_copy(entry), failure);
        }
    }
    up_run_bytes(recorder->run, files->stream + at, files->length - at);
    return good &&
           up_run_journal(recorder->run, json_pack("{s:s}", "event", RUN_COPIED), failure) &&
           up_run_sync(recorder->run, failure);
}

static bool repeat_old(struct recorder *recorder, struct up_procedure *procedure,
                       struct up_failure *failure) {
    const struct resumed_run *from = recorder->from;
    if (!stored_run_repeat(&from->run, procedure, recorder, repeat_event, &recorder->reader,
                           failure)) {
        return false;
    }
    if (recorder->failure.text[0] != '\0') {
        *failure = recorder->failure;
        return false;
    }
    struct up_progress progress = up_procedure_progress(procedure);
    if (recorder->trials > 0 || !progress.weighed_in_air) {
        json_array_clear(recorder->plateaus); /* of the step that was broken off */
    } /* else the dry weighing's are among them, and go with the first trial */
    snprintf(recorder->resumed, sizeof recorder->resumed,
             "continuing run %.8s, %u of %u %s done; repeat this step", from->run.files.id,
             progress.done, progress.wanted, recorder->item != NULL ? "trials" : "loadings");
    return recorder->trials >= from->unfinished.trials ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "the files of run %s have %u trials and the catalogue has %u: they were cut; "
                   "begin again without --resume",
                   from->run.files.id, recorder->trials, from->unfinished.trials);
}

bool recorder_try(const struct recorder *recorder, struct up_procedure *probe,
                  struct up_failure *failure) {
    struct recorder trial = *recorder;
    trial.tries = true;
    trial.plateaus = json_array();
    bool good = recorder->from == NULL || repeat_old(&trial, probe, failure);
    json_decref(trial.plateaus);
    return good;
}

bool recorder_begin(struct recorder *recorder, struct up_procedure *procedure, json_t *plan,
                    struct up_failure *failure) {
    bool good;
    if (recorder->from != NULL) {
        good = up_run_journal(recorder->run, json_deep_copy(recorder->from->run.plan), failure) &&
               repeat_old(recorder, procedure, failure) && copy_record(recorder, failure);
    } else {
        good = rig_to_json(recorder->settings->rig, plan, failure) &&
               up_run_journal(recorder->run, json_incref(plan), failure) &&
               up_run_sync(recorder->run, failure);
    }
    json_decref(plan);
    return good;
}

/* ---- the end ---- */

/* A sentence of what is safe and how to go on; NULL where there is nothing to go on with. */
static char *describe_unfinished(const struct recorder *recorder,
                                 const struct up_procedure *procedure) {
    const struct up_session_caller *caller = &recorder->settings->caller;
    struct up_progress progress = {0};
    bool measures = recorder->item != NULL;
    UP_FREED char *command = NULL;
    if (recorder->run != NULL && procedure != NULL) {
        progress = up_procedure_progress(procedure);
    }
    if (progress.complete || (progress.done == 0 && !progress.weighed_in_air)) {
        return NULL;
    }
    /* In a queue it is the list that is resumed. */
    if (recorder->queue == NULL && caller->resume_command != NULL) {
        command = caller->resume_command(caller->context, measures ? "measure" : "calibrate",
                                         recorder->run_id);
    }
    char *text = up_text_format("%s%u of %u %s%s%s%s",
                                progress.weighed_in_air ? "the dry weighing is kept, " : "",
                                measures ? recorder->trials : progress.done, progress.wanted,
                                measures ? "trials are stored" : "loadings are kept",
                                command != NULL ? "; continue with `" : "",
                                command != NULL ? command : "", command != NULL ? "`" : "");
    return text;
}

/* A signal and a person's word end a run that may be good; all else is a failure already. */
static void note_unfinished(const struct recorder *recorder, const struct up_procedure *procedure,
                            bool good, struct up_failure *failure) {
    UP_FREED char *text = describe_unfinished(recorder, procedure);
    int number = signal_of(recorder->settings);
    size_t length = strlen(failure->text);
    bool fits = text != NULL && length + strlen("; ") + strlen(text) < sizeof failure->text;
    if (fits && !good && number == 0) {
        snprintf(failure->text + length, sizeof failure->text - length, "; %s", text);
    } else if (text != NULL) {
        send_note(recorder->settings, "stopped%s%s: %s", number != 0 ? " by the signal " : "",
                  number != 0 ? strsignal(number) : "", text);
    }
}

/* NULL where it taught nothing. */
static json_t *taught_by(const struct recorder *recorder, const struct up_procedure *procedure) {
    unsigned count = 0;
    const struct up_quick_taught *taught = up_procedure_taught(procedure, &count);
    const struct up_taught_bench bench = taught_bench(recorder->settings->rig);
    return count > 0 ? up_taught_to_json(&bench, taught, count, up_procedure_watch(procedure))
                     : NULL;
}

/* A reason that names files tells where they lie on this machine: it stays here. One that cannot
   be kept is lost; the run's end goes before. */
static json_t *reason_to_tell(const struct recorder *recorder, const char *reason) {
    bool tells = strchr(reason, '/') == NULL;
    if (!tells) {
        up_private_set(recorder->settings->catalogue, recorder->run_id, "reason", reason, NULL);
    }
    return tells ? up_json_text(reason) : json_null();
}

static bool store_end(struct recorder *recorder, const struct up_procedure *procedure, bool good,
                      unsigned results, struct up_failure *failure) {
    bool complete = procedure != NULL && up_procedure_progress(procedure).complete;
    const char *how = signal_of(recorder->settings) != 0 || (good && !complete) ? "stopped"
                      : good                                                    ? "completed"
                                                                                : "failed";
    json_auto_t *more = json_pack("{s:i, s:i, s:O}", "trials", (int)recorder->trials, "results",
                                  (int)results, "plateaus", recorder->plateaus);
    if (!good) {
        json_object_set_new(more, "reason", reason_to_tell(recorder, failure->text));
    }
    if (good && complete) {
        json_object_update_new(more, json_pack("{s:o*}", "taught", taught_by(recorder, procedure)));
    }
    bool stored = up_run_end(recorder->run, how, more, good ? failure : NULL);
    return stored && good;
}

bool recorder_close(struct recorder *recorder, const struct up_procedure *procedure, bool good,
                    unsigned results, struct up_failure *failure) {
    if (recorder->run != NULL) {
        good = store_end(recorder, procedure, good, results, failure);
    }
    note_unfinished(recorder, procedure, good, failure);
    up_run_close(recorder->run);
    json_decref(recorder->plateaus);
    return good;
}
