/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Calibrating and measuring: procedure, operator and recorder around the loop. */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "catalogue/kind.h"
#include "catalogue/records.h"
#include "catalogue/verification.h"
#include "internal.h"
#include "text/style.h"
#include "text/text.h"

/* Where exchange/ cannot be written, the measurement is still stored. */
static void export(const struct up_session_settings *settings) {
    struct up_failure failure;
    bool late = false;
    if (settings->no_exchange) {
        return;
    }
    if (!up_exchange_update(settings->catalogue, &late, &failure)) {
        send_note(settings, "stored, but not exported: %s", failure.text);
    } else if (late) {
        send_note(settings, "stored. " UP_EXCHANGE_LATE);
    }
}

static struct up_operator *make_operator(const struct up_session_settings *settings) {
    struct up_operator *op = up_operator_create(settings->operator_kind, settings->operator_input,
                                                settings->operator_output);
    up_operator_use_imperial(op, settings->imperial);
    if (settings->screen) {
        up_operator_use_screen(op, settings->operator_input);
    }
    return op;
}

/* Once a session, before the port is opened: a device does not wait while a person reads. */
static bool caution(const struct up_session_settings *settings, struct up_operator *op,
                    struct queue_shared *queue_shared, struct up_failure *failure) {
    if (settings->cautions == NULL || (queue_shared != NULL && queue_shared->cautioned)) {
        return true;
    }
    if (queue_shared != NULL) {
        queue_shared->cautioned = true;
    }
    return up_operator_caution(op, settings->cautions, settings->signalled, failure);
}

/* The duration that --trials means is printed before the first one; a queue prints it for all its
   items. */
static bool tell_duration(const struct up_measure_plan *plan, struct up_operator *op,
                          struct up_failure *failure) {
    struct up_event event = {.kind = UP_EVENT_NOTE};
    double trial_s, whole_s = up_measure_guess_s(plan, &trial_s);
    unsigned trials = plan->analyses > 0 ? plan->analysis_at[0] : plan->trials;
    if (plan->quick.on) {
        snprintf(event.text, sizeof event.text,
                 "a quick weighing: about %.0f min; what lies near a line is put aside for the "
                 "full one",
                 ceil(whole_s / 60));
        return up_operator_event(op, &event, failure);
    }
    snprintf(
        event.text, sizeof event.text,
        "this takes about %.0f min with %u trial%s; each one more or fewer (--trials) is about "
        "%.0f min",
        ceil(whole_s / 60), trials, up_text_plural(trials), ceil(trial_s / 60));
    return up_operator_event(op, &event, failure);
}

/* Between neighbours the port stays open: to open it anew resets many a device. */
static bool run_loop(struct recorder *recorder, struct up_procedure *procedure,
                     struct up_operator *op, struct queue_shared *queue_shared,
                     struct up_failure *failure) {
    const struct up_session_settings *settings = recorder->settings;
    struct session session = {.rig = settings->rig,
                              .source = queue_shared != NULL ? queue_shared->source : NULL,
                              .procedure = procedure,
                              .op = op,
                              .listener = recorder_listener(recorder),
                              .signalled = settings->signalled};
    if (recorder->from != NULL) {
        session.reader = &recorder->reader;
        session.resumed = recorder->resumed;
        if (up_procedure_progress(procedure).complete) { /* only its results were not stored */
            return true;
        }
    }
    bool good = settings->rig->port_kind == UP_PORT_TYPED || session.source != NULL ||
                up_source_open(settings->rig, settings->port, &session.source, failure);
    if (good) {
        up_operator_begin(op, procedure, settings->panel,
                          queue_shared != NULL ? queue_shared->place : NULL);
        good = (recorder->plan == NULL || tell_duration(recorder->plan, op, failure)) &&
               session_run(&session, failure);
        up_operator_end(op);
    }
    if (good && recorder->failure.text[0] != '\0') {
        *failure = recorder->failure;
        good = false;
    }
    if (queue_shared == NULL || !good) {
        up_source_close(session.source);
        session.source = NULL;
    }
    if (queue_shared != NULL) {
        queue_shared->source = session.source;
    }
    return good;
}

/* ---- calibrate ---- */

static bool fail_known_mass(const struct up_calibration *calibration,
                            const struct up_known_mass *check, struct up_failure *failure) {
    if (check->heavy_enough && !check->masses_enough) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "this calibration is bent, or has another slope for what is taken off: "
                       "begin again with two masses, one at most half the other");
    }
    return check->heavy_enough
               ? up_fail(failure, UP_STATUS_UNABLE,
                         "the mass of %.1f g reads %.1f g by the calibration %.8s, which may be "
                         "off by %.1f g: it is not one of this cell, or something touched. "
                         "Calibrate again, or adopt another one by its id",
                         check->mass_kg * 1e3, check->reading_kg * 1e3, calibration->id,
                         check->bound_kg * 1e3)
               : up_fail(failure, UP_STATUS_WRONG_INPUT,
                         "%.0f g were read, too little for a calibration that reaches to %.0f g: "
                         "begin again with a mass of %.0f g or more",
                         check->mass_kg * 1e3, calibration->span_kg * 1e3,
                         ceil(calibration->span_kg * 250));
}

/* A run that was resumed began with the first of those that it continues. */
static const char *first_run(const struct recorder *recorder) {
    const json_t *before = recorder->from != NULL ? recorder->from->unfinished.continues : NULL;
    const char *id =
        json_string_value(json_array_get(before, json_array_size(before) - (before != NULL)));
    return id != NULL ? id : recorder->run_id;
}

static bool find_adopted(const struct recorder *recorder, const struct up_calibrate_plan *plan,
                         struct up_calibration *calibration, struct up_failure *failure) {
    const struct up_session_settings *settings = recorder->settings;
    bool since = false;
    return up_calibration_to_adopt(settings->catalogue, settings->rig->id, plan->adopts,
                                   calibration, failure) &&
           up_calibration_made_since(settings->catalogue, settings->rig->id, first_run(recorder),
                                     &since, failure) &&
           (!since || up_fail(failure, UP_STATUS_WRONG_INPUT,
                              "the bench was calibrated again since this run began: begin again"));
}

/* What is adopted is the calibration that was chosen when the run began. */
static bool adopt(const struct recorder *recorder, const struct up_calibrate_plan *plan,
                  const struct up_loadings *loadings, struct up_calibration *calibration,
                  struct up_failure *failure) {
    const struct up_session_settings *settings = recorder->settings;
    if (!find_adopted(recorder, plan, calibration, failure) ||
        !up_calibration_fits(calibration, settings->rig, failure)) {
        return false;
    }
    struct up_known_mass check = up_calibration_known_mass(calibration, loadings);
    if (!check.agrees || !check.heavy_enough || !check.masses_enough) {
        return fail_known_mass(calibration, &check, failure);
    }
    const struct up_style style = {.imperial = settings->imperial};
    UP_FREED char *text = up_text_format(
        "the mass of %.1f g reads %.1f g, within %.1f g: the calibration of %.10s is adopted",
        check.mass_kg * 1e3, check.reading_kg * 1e3, check.bound_kg * 1e3, calibration->made_utc);
    UP_FREED char *shown = up_style_text(&style, text);
    send_note(settings, "%s", shown);
    return up_calibration_adopt(settings->catalogue, calibration->id, failure);
}

static bool fit_or_adopt(const struct recorder *recorder, const struct up_calibrate_plan *plan,
                         const struct up_procedure *procedure, struct up_calibration *calibration,
                         struct up_failure *failure) {
    return plan->adopts[0] != '\0'
               ? adopt(recorder, plan, up_procedure_loadings(procedure), calibration, failure)
               : up_procedure_calibration(procedure, calibration, failure) &&
                     up_calibration_add(recorder->settings->catalogue, calibration, failure);
}

static bool calibrate(const struct up_session_settings *settings,
                      const struct up_calibrate_plan *plan, const struct resumed_run *from,
                      struct up_calibration *calibration, struct up_failure *failure) {
    struct recorder recorder = {.settings = settings, .from = from};
    struct up_procedure *procedure = NULL, *probe = NULL;
    struct up_operator *op = make_operator(settings);
    bool good = up_procedure_calibrate(plan, &procedure, failure) &&
                up_procedure_calibrate(plan, &probe, failure) &&
                recorder_try(&recorder, probe, failure) && caution(settings, op, NULL, failure) &&
                recorder_open(&recorder, failure) &&
                recorder_begin(&recorder, procedure, calibrate_plan_to_json(plan), failure) &&
                run_loop(&recorder, procedure, op, NULL, failure) &&
                fit_or_adopt(&recorder, plan, procedure, calibration, failure);
    up_procedure_destroy(probe);
    good = recorder_close(&recorder, procedure, good, 0, failure);
    if (good) {
        export(settings);
        json_t *json =
            json_pack("{s:[], s:o}", "results", "calibration", up_calibration_to_json(calibration));
        up_operator_show_result(op, json);
        json_decref(json);
    }
    up_operator_destroy(op);
    up_procedure_destroy(procedure);
    return good;
}

bool up_session_adopt(const struct up_session_settings *settings,
                      const struct up_calibrate_plan *plan, struct up_calibration *calibration,
                      struct up_failure *failure) {
    struct up_calibrate_plan whole = *plan;
    bool trusted = false;
    if (!up_calibration_to_adopt(settings->catalogue, settings->rig->id, plan->adopts, calibration,
                                 failure) ||
        !up_calibration_is_trusted(settings->catalogue, calibration->id, &trusted, failure)) {
        return false;
    }
    if (trusted) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "the calibration %s was made or adopted on this machine: it needs no check",
                       calibration->id);
    }
    memcpy(whole.adopts, calibration->id, sizeof whole.adopts);
    if (!up_calibration_fits(calibration, settings->rig, failure)) {
        return false;
    }
    send_note(settings,
              "checking the calibration %.8s of %.10s; another one: `upthrust calibration list`, "
              "then adopt with its id",
              calibration->id, calibration->made_utc);
    return up_session_calibrate(settings, &whole, calibration, failure);
}

bool up_session_calibrate(const struct up_session_settings *settings,
                          const struct up_calibrate_plan *plan, struct up_calibration *calibration,
                          struct up_failure *failure) {
    struct up_calibrate_plan whole = *plan;
    whole.rig = settings->rig;
    return up_calibration_past(settings->catalogue, settings->rig->id, settings->rig->sha256,
                               &whole.history, failure) &&
           calibrate(settings, &whole, NULL, calibration, failure);
}

/* The runs that were killed are ended first: one of them may be the one that is meant. */
static bool find_resumed(struct resumed_run *resumed, const struct up_session_settings *settings,
                         bool calibrates, const struct up_item *item, struct up_failure *failure) {
    memset(resumed, 0, sizeof *resumed);
    return end_killed_runs(settings, failure) &&
           resumed_run_open(resumed, settings, calibrates, item, failure);
}

bool up_session_resume_calibrate(const struct up_session_settings *settings,
                                 struct up_calibration *calibration, struct up_failure *failure) {
    UP_FREED struct resumed_run *resumed = up_allocate(1, sizeof *resumed);
    struct up_session_settings as_stored = *settings;
    as_stored.rig = &resumed->run.rig;
    bool good = find_resumed(resumed, settings, true, NULL, failure) &&
                calibrate(&as_stored, &resumed->run.calibrate, resumed, calibration, failure);
    resumed_run_free(resumed);
    return good;
}

/* ---- measure ---- */

/* Refuses nothing: an old calibration may be good, a person should know. */
static void note_age(const struct up_session_settings *settings,
                     const struct up_calibration *calibration) {
    struct tm made = {0};
    double days;
    if (strptime(calibration->made_utc, "%Y-%m-%dT%H:%M:%S", &made) == NULL) {
        return;
    }
    days = difftime(time(NULL), timegm(&made)) / 86400;
    if (days > settings->rig->calibration_days) {
        send_note(settings,
                  "the calibration %s is %.0f days old, more than %g: calibrate again when you can",
                  calibration->id, days, settings->rig->calibration_days);
    }
}

struct bodies {
    char *names; /* `"Steel", "Brass"`; owned */
    unsigned count;
    bool elsewhere; /* those are named now */
};

static bool name_body(const struct up_record *record, void *context) {
    enum { NAMED = 4 };
    struct bodies *bodies = context;
    if (record->elsewhere == bodies->elsewhere && bodies->count++ < NAMED) {
        char *names = up_text_format("%s%s\"%.60s\"%s", bodies->names != NULL ? bodies->names : "",
                                     bodies->names != NULL ? ", " : "",
                                     up_record_text(record->content, "name"),
                                     record->elsewhere ? " (from elsewhere)" : "");
        free(bodies->names);
        bodies->names = names;
    }
    return true;
}

/* Those of here first; a guest's are marked. */
static bool name_bodies(struct up_catalogue *catalogue, struct bodies *bodies) {
    bool good = up_catalogue_each(catalogue, "reference", name_body, bodies, NULL);
    bodies->elsewhere = true;
    return good && up_catalogue_each(catalogue, "reference", name_body, bodies, NULL);
}

/* What to weigh: a body that is there, or how to get one. */
static char *which_body(struct up_catalogue *catalogue) {
    struct bodies bodies = {0};
    char *text;
    if (!name_bodies(catalogue, &bodies) || bodies.count == 0) {
        text = up_text_format(
            "None is registered yet: a solid piece of metal whose mass and volume you "
            "know will do (`upthrust help body`)");
    } else {
        text = up_text_format("Weigh one first: --body with %s%s", bodies.names,
                              bodies.count > 4 ? ", or another of `upthrust body list`" : "");
    }
    free(bodies.names);
    return text;
}

/* What no trace of an item can show is reported before the first one hangs, once per command. Where
   the catalogue cannot be read, storing will say so. */
static void note_body(const struct up_session_settings *settings,
                      const struct up_measure_plan *plan, struct queue_shared *queue_shared) {
    static const char *const why[] = {
        [UP_VERIFICATION_NO_BODY] = "no reference body was weighed since the calibration",
        [UP_VERIFICATION_OLD] = "the last reference body was weighed more than a week ago",
        [UP_VERIFICATION_OTHER_WATER] = "no reference body was weighed in this water",
        [UP_VERIFICATION_OUTSIDE] = "the last reference body read outside its limits"};
    enum up_verification verification = UP_VERIFICATION_INSIDE;
    struct up_failure failure;
    bool noted = queue_shared != NULL && queue_shared->body_noted;
    if (plan->references > 0 || settings->simulated || noted ||
        !up_verification_now(settings->catalogue, settings->rig->id, plan->calibration->id,
                             &settings->rig->tank_water, &verification, &failure) ||
        verification == UP_VERIFICATION_INSIDE) {
        return;
    }
    if (queue_shared != NULL) {
        queue_shared->body_noted = true;
    }
    UP_FREED char *which = which_body(settings->catalogue);
    send_note(settings,
              "%s: masses that are all light, salt in the water or a line that touches would go "
              "unnoticed. %s. Until then results are marked as %s",
              why[verification], which,
              verification == UP_VERIFICATION_OUTSIDE ? "measured by a bench outside its limits"
                                                      : "unchecked (?)");
}

static void show_results(struct up_operator *op, const struct up_session_results *results) {
    json_t *list = json_array();
    json_auto_t *json = json_pack("{s:o}", "results", list);
    for (unsigned i = 0; i < results->results; i++) {
        json_array_append_new(list, up_result_to_json(&results->result[i]));
    }
    up_operator_show_result(op, json);
}

/* Chance, another one for each run, and the same in its replay. */
static unsigned long lot_of(const char *run_id) {
    char digits[9];
    snprintf(digits, sizeof digits, "%.8s", run_id);
    return strtoul(digits, NULL, 16);
}

/* Who ends a queue while the next item waits has measured nothing of it, and failed at nothing. */
static bool take_results(const struct up_procedure *procedure, struct queue_shared *queue_shared,
                         struct up_session_results *results, struct up_failure *failure) {
    bool good = up_procedure_results(procedure, results->result, &results->results, failure);
    if (queue_shared != NULL) {
        queue_shared->left = !good && up_procedure_progress(procedure).stopped;
    }
    return good;
}

static bool run_measuring(struct recorder *recorder, struct up_measure_plan *plan,
                          struct up_operator *op, struct up_procedure **procedure,
                          struct queue_shared *queue_shared, struct up_session_results *results,
                          struct up_failure *failure) {
    const struct up_session_settings *settings = recorder->settings;
    note_age(settings, plan->calibration);
    note_body(settings, plan, queue_shared);
    recorder->plan = queue_shared == NULL && recorder->from == NULL ? plan : NULL;
    memcpy(plan->run_id, recorder->run_id, sizeof plan->run_id);
    if (recorder->from == NULL) {
        plan->quick.lot = lot_of(plan->run_id);
    }
    return up_procedure_measure(plan, procedure, failure) &&
           recorder_begin(recorder, *procedure, measure_plan_to_json(plan), failure) &&
           run_loop(recorder, *procedure, op, queue_shared, failure) &&
           take_results(*procedure, queue_shared, results, failure) &&
           up_results_add(settings->catalogue, results->result, results->results, settings->rig->id,
                          failure);
}

/* What the session saw of early readings goes on with the next item. */
static void keep_quick(struct queue_shared *queue_shared, const struct up_procedure *procedure) {
    const struct up_quick_progress *quick = up_procedure_quick(procedure);
    const struct up_early_watch *watch = up_procedure_watch(procedure);
    queue_shared->full_now = quick != NULL && quick->full_now;
    if (watch != NULL) {
        memcpy(queue_shared->watch, watch, sizeof queue_shared->watch);
    }
}

static bool measure(const struct up_session_settings *settings, struct up_measure_plan *plan,
                    const struct resumed_run *from, struct queue_shared *queue_shared,
                    struct up_session_results *results, struct up_failure *failure) {
    struct recorder recorder = {.settings = settings,
                                .from = from,
                                .item = &plan->item,
                                .quick = plan->quick.on,
                                .counts_per_kg = plan->calibration->slope_counts_per_kg,
                                .calibration_id = plan->calibration->id,
                                .queue = queue_shared != NULL ? queue_shared->queue : NULL};
    struct up_procedure *procedure = NULL, *probe = NULL;
    struct up_operator *op = make_operator(settings);
    /* The plan is tried before a run is opened, so that a mistake leaves nothing behind. */
    bool good = up_procedure_measure(plan, &probe, failure) &&
                recorder_try(&recorder, probe, failure) &&
                caution(settings, op, queue_shared, failure) && recorder_open(&recorder, failure) &&
                run_measuring(&recorder, plan, op, &procedure, queue_shared, results, failure);
    up_procedure_destroy(probe);
    if (queue_shared != NULL) {
        /* What this session leaves the next one. */
        queue_shared->unfinished = !good || !up_procedure_progress(procedure).complete;
        memset(&queue_shared->opening, 0, sizeof queue_shared->opening);
        if (!queue_shared->unfinished) {
            queue_shared->opening = up_procedure_opening(procedure);
            keep_quick(queue_shared, procedure);
        }
    }
    memcpy(results->run_id, recorder.run_id, sizeof results->run_id);
    good = recorder_close(&recorder, procedure, good, results->results, failure);
    if (good) {
        export(settings);
        show_results(op, results);
        if (queue_shared == NULL || !plan->quick.on) { /* else the next item waits already */
            up_operator_hold_result(op, results->result, results->results, settings->signalled);
        }
    }
    up_operator_destroy(op);
    up_procedure_destroy(procedure);
    return good;
}

/* What the results repeat of their plan. */
static void begin_results(struct up_session_results *results, const struct up_measure_plan *plan,
                          const char *bench) {
    memset(results, 0, sizeof *results);
    results->item = plan->item;
    results->waters = plan->waters;
    snprintf(results->bench, sizeof results->bench, "%s", bench);
}

static void note_learned(const struct up_session_settings *settings,
                         struct queue_shared *queue_shared, const struct up_quick_plan *quick) {
    const struct up_early_envelope *of = quick->envelope;
    bool noted = queue_shared != NULL && queue_shared->learned_noted, learned = false;
    if (!quick->on || noted) {
        return;
    }
    if (queue_shared != NULL) {
        queue_shared->learned_noted = true;
    }
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        learned = learned || of[step].basis != UP_EARLY_NONE;
    }
    if (learned) {
        send_note(settings,
                  "readings may end early: this bench has learned from %u after an item was hung, "
                  "%u after a shake and %u after it was lifted out",
                  of[UP_QUICK_IMMERSED].traces, of[UP_QUICK_SHAKEN].traces,
                  of[UP_QUICK_LIFTED].traces);
    } else {
        send_note(settings, "this bench has not learned yet how early its readings may end: they "
                            "take their full time, which teaches it (five items at least)");
    }
}

static bool plan_quick(const struct up_session_settings *settings,
                       struct queue_shared *queue_shared, struct up_quick_plan *quick,
                       struct up_failure *failure) {
    quick->asks_aside =
        queue_shared != NULL; /* a single one is weighed in full by another command */
    quick_plan_watch(quick, queue_shared != NULL ? queue_shared->watch : NULL);
    const struct up_taught_bench bench = taught_bench(settings->rig);
    if (!up_taught_learn(settings->catalogue, &bench, quick->envelope, failure)) {
        return false;
    }
    note_learned(settings, queue_shared, quick);
    /* Each session bears out what was learned by its first readings, so a single item gains
     * nothing.
     */
    for (int step = 0; step < UP_QUICK_STEPS && !quick->on && queue_shared != NULL; step++) {
        quick->shortens = quick->shortens || quick->envelope[step].basis != UP_EARLY_NONE;
    }
    return true;
}

bool session_measure(const struct up_session_settings *settings,
                     const struct up_measure_plan *wanted, struct queue_shared *queue_shared,
                     struct up_session_results *results, struct up_failure *failure) {
    struct up_calibration calibration;
    struct up_measure_plan plan = *wanted;
    plan.rig = settings->rig;
    plan.calibration = &calibration;
    plan.coverage = 0.95;
    plan.bare_hook = plan.steady_shakes = true;
    if (queue_shared != NULL) {
        plan.opening = queue_shared->opening;
    }
    begin_results(results, &plan, settings->rig->id);
    bool shortens = queue_shared != NULL && settings->rig->port_kind != UP_PORT_TYPED;
    if ((plan.quick.on || shortens) && !plan_quick(settings, queue_shared, &plan.quick, failure)) {
        return false;
    }
    return up_calibration_to_use(settings->catalogue, settings->rig->id, &calibration, failure) &&
           measure(settings, &plan, NULL, queue_shared, results, failure);
}

bool up_session_measure(const struct up_session_settings *settings,
                        const struct up_measure_plan *plan, struct up_session_results *results,
                        struct up_failure *failure) {
    return session_measure(settings, plan, NULL, results, failure);
}

bool session_can_resume(const struct up_session_settings *settings, const struct up_item *item,
                        struct up_failure *failure) {
    UP_FREED struct resumed_run *resumed = up_allocate(1, sizeof *resumed);
    bool good = find_resumed(resumed, settings, false, item, failure);
    resumed_run_free(resumed);
    return good;
}

bool session_resume_measure(const struct up_session_settings *settings, const struct up_item *item,
                            struct queue_shared *queue_shared, struct up_session_results *results,
                            struct up_failure *failure) {
    UP_FREED struct resumed_run *resumed = up_allocate(1, sizeof *resumed);
    struct up_session_settings as_stored = *settings;
    as_stored.rig = &resumed->run.rig;
    bool good = find_resumed(resumed, settings, false, item, failure);
    if (good) {
        begin_results(results, &resumed->run.measure, resumed->run.rig.id);
        good = measure(&as_stored, &resumed->run.measure, resumed, queue_shared, results, failure);
    }
    resumed_run_free(resumed);
    return good;
}

bool up_session_resume_measure(const struct up_session_settings *settings,
                               const struct up_item *item, struct up_session_results *results,
                               struct up_failure *failure) {
    return session_resume_measure(settings, item, NULL, results, failure);
}

/* What the rig file claims of all items stands until the kind's own shakes show a larger share, or
   refute it. 0: nothing better is known. */
static double share_learned(const struct up_share *share, double claimed) {
    bool known = share->shares > 0;
    bool refuted = known && share->mean.value + 2 * share->mean.u < claimed;
    return known && (isnan(claimed) || share->at_least > claimed || refuted) ? share->at_least : 0;
}

bool up_session_plan_item(struct up_catalogue *catalogue, const struct up_rig *rig,
                          const struct up_item *item, struct up_measure_plan *plan,
                          struct up_failure *failure) {
    struct up_kind kind;
    plan->item = *item;
    if (!up_kind_learn(catalogue, item->kind, rig->id, &kind, failure)) {
        return false;
    }
    plan->kind_repeatability_kg = (struct up_quantity){0, 0, 0}; /* not of the item before it */
    if (item->pieces <= 2) {                                     /* a pair for itself */
        plan->kind_repeatability_kg =
            item->pieces == 1 ? kind.repeatability_kg : kind.repeatability_pair_kg;
    }
    plan->kind_shake_share = share_learned(&kind.share, rig->shake_share);
    plan->kind_stuck_share = kind.stuck_share;
    plan->kind_stuck_kg = kind.stuck_g * 1e-3;
    return true;
}

enum up_status up_session_status(const struct up_session_results *results) {
    for (unsigned i = 0; i < results->results; i++) {
        if (results->result[i].answer.class == UP_CLASS_UNDECIDED) {
            return UP_STATUS_UNDECIDED;
        }
    }
    return UP_STATUS_DONE;
}
