/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Joins bench and catalogue: whatever the session hands out is stored before the next step. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "cli.h"
#include "upthrust/run.h"
#include "upthrust/session.h"
#include "upthrust/text.h"

struct keeper {
    const struct bench_run *bench;
    struct up_run *run;
    char run_id[UP_ID_SIZE];
    const struct up_item *item; /* NULL while calibrating */
    double counts_kg;
    struct up_failure failure; /* of a callback that cannot return one */
};

/* When they came matters where a device talks unasked. */
static void keep_bytes(void *context, const char *bytes, size_t length, double arrival_s) {
    struct keeper *keeper = context;
    up_run_bytes(keeper->run, bytes, length);
    if (keeper->bench->rig->line.poll[0] == '\0') {
        up_run_arrival(keeper->run, arrival_s);
    }
}

static bool keep_event(void *context, const struct up_event *event, struct up_failure *failure) {
    struct keeper *keeper = context;
    json_t *json = up_event_to_json(event, keeper->counts_kg);
    bool good = up_run_journal(keeper->run, json_incref(json), failure);
    if (good && event->kind == UP_EVENT_TRIAL) {
        json_object_set_new(json, "run_id", json_string(keeper->run_id));
        json_object_set_new(json, "item_id", json_string(keeper->item->id));
        json_object_del(json, "event");
        json_object_del(json, "offset");
        json_object_del(json, "arrival_s");
        good = up_catalogue_add(keeper->bench->catalogue, "trial", NULL, keeper->bench->rig->id,
                                json, NULL, NULL, failure);
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
    static const char *const names[] = {"lost", "back", "stopped"};
    struct keeper *keeper = context;
    up_run_journal(keeper->run, json_pack("{s:s, s:s}", "event", names[note], "text", text),
                   &keeper->failure);
}

static json_t *about(const struct keeper *keeper, const char *what) {
    const struct up_rig *rig = keeper->bench->rig;
    json_t *json = json_pack("{s:s, s:s, s:s, s:s, s:s}", "what", what, "version", UPTHRUST_VERSION,
                             "bench", rig->id, "rig_file", rig->path, "rig_sha256", rig->sha256);
    if (keeper->item != NULL) {
        json_object_set_new(json, "item_id", json_string(keeper->item->id));
    }
    return json;
}

static bool open_run(struct keeper *keeper, const char *what, struct up_failure *failure) {
    json_t *json = about(keeper, what);
    bool good = up_run_open(keeper->bench->catalogue, keeper->bench->rig->id, json, keeper->run_id,
                            &keeper->run, failure);
    json_decref(json);
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
        good = up_run_journal(keeper->run, json_incref(plan), failure);
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
        json_array_append_new(waters,
                              json_pack("{s:s, s:b, s:f, s:f, s:f, s:f, s:f}", "name", water->name,
                                        "sea", water->model == UP_WATER_SEA, "temp_c",
                                        water->temp_c, "u_temp_c", water->u_temp_c, "salinity_g_kg",
                                        water->salinity_g_kg, "u_salinity_g_kg",
                                        water->u_salinity_g_kg, "depth_m", water->depth_m));
    }
    return json_pack("{s:o, s:o, s:i, s:f, s:f, s:o}", "item", up_item_to_json(&plan->item),
                     "calibration", up_calibration_to_json(plan->calibration), "trials",
                     (int)plan->trials, "confidence", plan->confidence, "coverage", plan->coverage,
                     "waters", waters);
}

static bool run_session(struct keeper *keeper, struct up_procedure *procedure,
                        struct up_operator *op, struct up_failure *failure) {
    const struct bench_run *bench = keeper->bench;
    struct up_session session = {
        .rig = bench->rig,
        .procedure = procedure,
        .op = op,
        .listener = {keeper, keep_bytes, keep_event, keep_answer, keep_note},
        .signalled = &signalled};
    bool good = (bench->rig->port_kind == UP_PORT_TYPED ||
                 up_source_open(bench->rig, bench->port, &session.source, failure)) &&
                up_session_run(&session, failure);
    if (good && keeper->failure.text[0] != '\0') {
        *failure = keeper->failure;
        good = false;
    }
    up_source_close(session.source);
    return good;
}

static struct up_operator *make_operator(const struct bench_run *bench) {
    return up_operator_create(bench->json ? UP_OPERATOR_JSON : UP_OPERATOR_KEYS,
                              bench->operator_input, bench->operator_output);
}

/* ---- calibrate ---- */

bool run_calibrate(const struct bench_run *bench, const double *mass_kg, int masses, bool staircase,
                   struct up_calibration *calibration, struct up_failure *failure) {
    struct up_calibrate_plan plan = {
        .rig = bench->rig, .masses = (unsigned)masses, .staircase = staircase};
    struct keeper keeper = {.bench = bench};
    struct up_procedure *procedure = NULL;
    struct up_operator *op = make_operator(bench);
    bool good;
    memcpy(plan.mass_kg, mass_kg, (size_t)masses * sizeof mass_kg[0]);
    good = up_procedure_calibrate(&plan, &procedure, failure) &&
           open_run(&keeper, "calibrate", failure) &&
           keep_plan(&keeper, plan_of_calibration(&plan), failure) &&
           run_session(&keeper, procedure, op, failure) &&
           up_procedure_calibration(procedure, calibration, failure) &&
           up_calibration_add(bench->catalogue, calibration, failure);
    if (good) {
        json_t *json =
            json_pack("{s:[], s:o}", "results", "calibration", up_calibration_to_json(calibration));
        up_operator_tell_result(op, json);
        json_decref(json);
    }
    up_run_close(keeper.run);
    up_operator_destroy(op);
    up_procedure_destroy(procedure);
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

static bool store_results(const struct keeper *keeper, const struct up_result *result,
                          unsigned results, struct up_operator *op, struct up_failure *failure) {
    json_t *list = json_array();
    json_t *json = json_pack("{s:o}", "results", list);
    bool good = true;
    for (unsigned i = 0; i < results && good; i++) {
        good = up_result_add(keeper->bench->catalogue, &result[i], keeper->bench->rig->id, failure);
        json_array_append_new(list, up_result_to_json(&result[i]));
    }
    if (good) {
        up_operator_tell_result(op, json);
    }
    json_decref(json);
    return good;
}

bool run_measure(const struct bench_run *bench, const struct up_item *item, int trials,
                 double confidence, const struct up_water *water, unsigned waters,
                 struct up_result *result, unsigned *results, struct up_failure *failure) {
    struct up_calibration calibration;
    struct up_measure_plan plan = {.rig = bench->rig,
                                   .calibration = &calibration,
                                   .item = *item,
                                   .trials = (unsigned)trials,
                                   .water = water,
                                   .waters = waters,
                                   .confidence = confidence,
                                   .coverage = 0.95};
    struct keeper keeper = {.bench = bench, .item = item};
    struct up_procedure *procedure = NULL, *probe = NULL;
    struct up_operator *op = make_operator(bench);
    bool good;
    *results = 0;
    /* The plan is tried before a run is opened, so that a mistake leaves nothing behind. */
    good = up_calibration_latest(bench->catalogue, bench->rig->id, &calibration, failure) &&
           up_procedure_measure(&plan, &probe, failure) && open_run(&keeper, "measure", failure);
    up_procedure_destroy(probe);
    if (good) {
        tell_age(bench, &calibration);
        keeper.counts_kg = calibration.slope_counts_kg;
        memcpy(plan.run_id, keeper.run_id, sizeof plan.run_id);
        good = up_procedure_measure(&plan, &procedure, failure) &&
               keep_plan(&keeper, plan_of_measuring(&plan), failure) &&
               run_session(&keeper, procedure, op, failure) &&
               up_procedure_results(procedure, result, results, failure) &&
               store_results(&keeper, result, *results, op, failure);
    }
    up_run_close(keeper.run);
    up_operator_destroy(op);
    up_procedure_destroy(procedure);
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
