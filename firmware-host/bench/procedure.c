/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench/procedure.h"

#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

enum { BROKEN_MAX = 3 };

/* So many readings of a session may fail to show what was asked for: a program that answers "done"
   to everything must not weigh for ever (a choice of ours). */
enum { DOUBTS_MAX = 20 };

/* An overload has ended when the load is below this share of the cell's capacity; the next one is a
   new one. */
static const double RELIEVED = 0.95;

const char *up_action_name(enum up_action action) {
    static const char *const names[UP_ACTIONS] = {
        [UP_ACTION_BARE_HOOK] = "bare-hook",
        [UP_ACTION_ADD_BALLAST] = "add-ballast",
        [UP_ACTION_READ_TEMPERATURE] = "read-temperature",
        [UP_ACTION_HANG_MASS] = "hang-mass",
        [UP_ACTION_EMPTY_IN_AIR] = "empty-in-air",
        [UP_ACTION_HANG_IN_AIR] = "hang-in-air",
        [UP_ACTION_EMPTY_IN_WATER] = "empty-in-water",
        [UP_ACTION_IMMERSE] = "immerse",
        [UP_ACTION_SHAKE] = "shake",
        [UP_ACTION_LIFT_OUT] = "lift-out",
        [UP_ACTION_HANG_REFERENCE] = "hang-reference",
        [UP_ACTION_LOWER_HANGER] = "lower-hanger",
        [UP_ACTION_HANG_LEVEL] = "hang-level",
        [UP_ACTION_CONFIRM] = "confirm",
    };
    return names[action];
}

/* ---- the sequence, of either kind ---- */

static const struct step *step_of(const struct up_procedure *procedure) {
    return procedure->calibrating != NULL ? calibrating_step(procedure->step)
                                          : measuring_step(procedure->step);
}

static const struct up_indication *tare_of(const struct up_procedure *procedure) {
    return procedure->calibrating != NULL ? &procedure->calibrating->tare
                                          : &procedure->measuring->tare;
}

static bool is_typed(const struct up_procedure *procedure) {
    return procedure->rig->port_kind == UP_PORT_TYPED;
}

/* A person types what the scale shows, except for loads that only exercise the cell. */
static bool needs_reading(const struct up_procedure *procedure, const struct step *step) {
    return step->plateau != NULL && !(is_typed(procedure) && step->is_exercise);
}

static void finish(struct up_procedure *procedure) {
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    procedure->stage = STAGE_FINISHED;
    if (procedure->calibrating != NULL) {
        procedure->calibrating->record.noise_counts = procedure->stream.filter.noise.floor;
    } else {
        procedure->measuring->record.under_way = false;
    }
    events_push(&procedure->events, UP_EVENT_FINISHED);
}

static void give_up(struct up_procedure *procedure) {
    procedure->gave_up = true;
    finish(procedure);
}

/* A step that asks for accept: done repeats what is in doubt. */
static bool is_doubt(const struct step *step) {
    return step->action == UP_ACTION_CONFIRM && !step->may_skip;
}

static void fill_ask(struct up_procedure *procedure, const struct step *step) {
    struct up_ask *ask = &procedure->ask;
    bool types = is_typed(procedure) && needs_reading(procedure, step);
    *ask = (struct up_ask){.id = ask->id + 1,
                           .action = step->action,
                           .time_s = procedure->stream.now_s,
                           .wants_number = step->is_temperature || types,
                           .accepts = is_doubt(step),
                           .unit = step->is_temperature ? "degrees C"
                                   : types ? up_load_unit_name(procedure->rig->line.load_unit)
                                           : NULL};
    snprintf(ask->text, sizeof ask->text, "%s", step->text != NULL ? step->text : "");
    if (procedure->calibrating != NULL) {
        calibrating_fill_ask(procedure->calibrating, procedure->step, ask);
    } else {
        measuring_fill_ask(procedure->measuring, procedure->step, ask);
    }
}

/* The next step according to the sequence. */
static void go_to(struct up_procedure *procedure, int next) {
    if (next == STEP_END) {
        finish(procedure);
        return;
    }
    if (next == STEP_GIVE_UP) {
        give_up(procedure);
        return;
    }
    procedure->step = next;
    procedure->doubt.open = false;
    procedure->stage = STAGE_ASKING;
    const struct step *step = step_of(procedure);
    stream_forget(&procedure->stream);
    if (procedure->measuring != NULL) {
        quick_begin_reading(procedure->measuring);
    }
    schedule_ask(&procedure->schedule, procedure->stream.now_s,
                 step->comes_back ? tare_of(procedure) : NULL);
    fill_ask(procedure, step);
    events_push(&procedure->events, UP_EVENT_ASK)->ask = procedure->ask;
}

/* The reading is held back: instead of the step's ask a question about it is put. */
static void ask_in_doubt(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct up_ask asked = procedure->ask;
    procedure->doubt.open = true;
    procedure->doubt.plateau = *plateau;
    procedure->stage = STAGE_ASKING;
    procedure->ask = (struct up_ask){.id = asked.id + 1,
                                     .action = UP_ACTION_CONFIRM,
                                     .item_name = asked.item_name,
                                     .item_id = asked.item_id,
                                     .accepts = true,
                                     .time_s = procedure->stream.now_s};
    memcpy(procedure->ask.text, procedure->doubt.text, sizeof procedure->ask.text);
    events_push(&procedure->events, UP_EVENT_ASK)->ask = procedure->ask;
}

static void restart_step(struct up_procedure *procedure) {
    go_to(procedure, procedure->calibrating != NULL
                         ? calibrating_again(procedure->calibrating, procedure->step)
                         : measuring_again(procedure->measuring, procedure->step));
}

static void break_step(struct up_procedure *procedure) {
    if (++procedure->broken < BROKEN_MAX) {
        restart_step(procedure);
        return;
    }
    events_fault(&procedure->events,
                 "gave up after %d tries: look for touching walls, waves, moving air or a loose "
                 "line, then start again",
                 BROKEN_MAX);
    give_up(procedure);
}

/* ---- breaks ---- */

void up_procedure_interrupt(struct up_procedure *procedure, const char *text) {
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    events_fault(&procedure->events, "%s", text);
    procedure->tare = (double)NAN; /* the cell may have been replaced */
    restart_step(procedure);
    if (procedure->measuring != NULL) {
        procedure->measuring->returned = true;
    }
    /* What is asked and answered before the next sample counts from there. */
    procedure->stream.has_begun = false;
    up_glitch_filter_restart(&procedure->stream.filter);
}

void up_procedure_abandon_step(struct up_procedure *procedure, const char *text) {
    if (procedure->stage == STAGE_ASKING) {
        events_fault(&procedure->events, "%s", text);
        restart_step(procedure);
        schedule_rest(&procedure->schedule, procedure->rig);
    }
}

void up_procedure_resume(struct up_procedure *procedure, const char *text) {
    if (up_procedure_progress(procedure).complete) {
        return;
    }
    procedure->stopped = procedure->gave_up = false;
    procedure->broken = 0;
    procedure->stage = STAGE_READING;
    if (procedure->measuring != NULL) {
        measuring_resume(procedure->measuring);
    }
    up_procedure_interrupt(procedure, text);
    schedule_rest(&procedure->schedule, procedure->rig);
}

void up_procedure_stop(struct up_procedure *procedure) {
    procedure->stopped = procedure->stopped || procedure->stage != STAGE_FINISHED;
    finish(procedure);
}

bool up_procedure_next(struct up_procedure *procedure, struct up_event *event) {
    return events_take(&procedure->events, event);
}

/* ---- answers ---- */

static bool accept_temperature(struct up_procedure *procedure, double number,
                               struct up_failure *failure) {
    if (!isfinite(number) || number < 0 || number > 40) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water at %.4g C: give 0 to 40 C (the sea freezes near -2 C)", number);
    }
    procedure->measuring->now_s = procedure->stream.now_s;
    measuring_type_temperature(procedure->measuring, number);
    return true;
}

/* A reading far from the known load has another unit, or a misplaced decimal point. */
static bool is_plausible(const struct up_procedure *procedure, double load_kg,
                         struct up_failure *failure) {
    const struct calibrating *calibrating = procedure->calibrating;
    double mass_kg = procedure->ask.mass_kg;
    if (!step_of(procedure)->is_known_mass || !calibrating->tare.known ||
        calibrating->tare_kg != 0) {
        return true;
    }
    double step_kg = load_kg - calibrating->tare.load;
    return (step_kg > 0.5 * mass_kg && step_kg < 2 * mass_kg) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "%.6g kg were hung and the reading rose by %.6g kg: type it in %s, as the scale "
                   "shows it",
                   mass_kg, step_kg, procedure->ask.unit);
}

static bool accept_reading(struct up_procedure *procedure, double number,
                           struct up_failure *failure) {
    const struct up_rig *rig = procedure->rig;
    double load_kg = number * up_load_factor(rig->line.load_unit);
    if (!isfinite(load_kg)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "a reading is a number, such as 1.25");
    }
    if (rig->capacity_kg > 0 && fabs(load_kg) > rig->capacity_kg) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "%.6g %s is more than the scale's limit of %g kg: take the load off, or "
                       "type the reading again",
                       number, procedure->ask.unit, rig->capacity_kg);
    }
    if (!is_plausible(procedure, load_kg, failure)) {
        return false;
    }
    procedure->typed_kg = load_kg;
    return true;
}

static bool is_acceptable(const struct up_procedure *procedure, unsigned id,
                          enum up_answer_word word, struct up_failure *failure) {
    if (procedure->stage != STAGE_ASKING || id != procedure->ask.id) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "answer to question %u, which is not open",
                       id);
    }
    if (word == UP_ANSWER_ACCEPT && procedure->ask.action != UP_ACTION_CONFIRM) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "there is nothing to accept: %s is a step",
                       up_action_name(procedure->ask.action));
    }
    if (procedure->ask.wants_number && word == UP_ANSWER_DONE) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "question %u needs a number", id);
    }
    if (word == UP_ANSWER_NUMBER && !procedure->ask.wants_number) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "question %u does not take a number", id);
    }
    if (word == UP_ANSWER_SKIP && (procedure->doubt.open || !step_of(procedure)->may_skip)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%s cannot be skipped",
                       up_action_name(procedure->ask.action));
    }
    return true;
}

static bool gives_up_doubting(struct up_procedure *procedure, const char *text) {
    if (++procedure->doubts < DOUBTS_MAX) {
        return false;
    }
    events_fault(&procedure->events,
                 "gave up: %d readings did not show what was asked for; the last: %s", DOUBTS_MAX,
                 text);
    give_up(procedure);
    return true;
}

/* An answer after which nothing is read. */
static void answer_step(struct up_procedure *procedure, enum up_answer_word word) {
    if (is_doubt(step_of(procedure)) && word == UP_ANSWER_DONE &&
        gives_up_doubting(procedure, procedure->ask.text)) {
        return;
    }
    if (procedure->calibrating != NULL) {
        if (word == UP_ANSWER_ACCEPT) {
            events_note(&procedure->events, "accepted by the operator: %s", procedure->ask.text);
        }
        go_to(procedure, calibrating_answer(procedure->calibrating, procedure->step, word));
    } else {
        procedure->measuring->now_s = procedure->stream.now_s;
        go_to(procedure, measuring_answer(procedure->measuring, procedure->step, word));
    }
}

static void take_plateau(struct up_procedure *procedure, const struct up_plateau *plateau);
static void judge_plateau(struct up_procedure *procedure, const struct up_plateau *plateau);

/* Done is the safe answer: the reading in doubt is repeated. */
static void answer_doubt(struct up_procedure *procedure, enum up_answer_word word) {
    struct doubt *doubt = &procedure->doubt;
    doubt->open = false;
    if (word == UP_ANSWER_ACCEPT) {
        doubt->is_light = doubt->is_light || doubt->may_be_light;
        events_note(&procedure->events, "accepted by the operator: %s", doubt->text);
        take_plateau(procedure, &doubt->plateau);
    } else if (gives_up_doubting(procedure, doubt->text)) {
        return;
    } else if (word == UP_ANSWER_AGAIN || doubt->anew) {
        restart_step(procedure);
    } else {
        go_to(procedure, procedure->step);
    }
}

/* One typed reading is a plateau of one reading: only the division is known of its scatter. */
static void take_typed(struct up_procedure *procedure) {
    double now_s = procedure->stream.now_s;
    struct up_plateau plateau = {.start_s = now_s,
                                 .end_s = now_s,
                                 .step_s = now_s,
                                 .load = procedure->typed_kg,
                                 .u_load = procedure->rig->division_counts / sqrt(12),
                                 .temp_c = (double)NAN,
                                 .lag1 = (double)NAN,
                                 .readings = 1};
    judge_plateau(procedure, &plateau);
}

bool up_procedure_answer(struct up_procedure *procedure, unsigned id, enum up_answer_word word,
                         double number, struct up_failure *failure) {
    if (!is_acceptable(procedure, id, word, failure) ||
        (word == UP_ANSWER_NUMBER &&
         !(step_of(procedure)->is_temperature ? accept_temperature(procedure, number, failure)
                                              : accept_reading(procedure, number, failure)))) {
        return false;
    }
    schedule_done(&procedure->schedule, procedure->stream.now_s);
    procedure->stage = STAGE_READING;
    if (procedure->rig->line.poll_only_to_read) { /* the device was not polled meanwhile */
        up_pace_pause(&procedure->stream.pace);
    }
    if (word == UP_ANSWER_STOP) {
        up_procedure_stop(procedure);
    } else if (procedure->doubt.open) {
        answer_doubt(procedure, word);
    } else if (word == UP_ANSWER_AGAIN && !step_of(procedure)->again_answers) {
        restart_step(procedure);
    } else if (word == UP_ANSWER_SKIP || !needs_reading(procedure, step_of(procedure))) {
        answer_step(procedure, word);
    } else if (is_typed(procedure)) {
        take_typed(procedure);
    }
    return true;
}

/* ---- plateaus ---- */

/* The ballast stays on, so it is not a load whose removal the tare shows. */
static void note_step(struct up_procedure *procedure, const struct up_indication *here) {
    const struct up_indication *last = &procedure->schedule.last;
    bool is_bare = step_of(procedure)->action == UP_ACTION_BARE_HOOK;
    bool was_bare = procedure->measuring != NULL && procedure->measuring->bare.known;
    if (is_bare) {
        procedure->tare = (double)NAN;
    } else if (last->known && !was_bare) {
        procedure->largest_step = fmax(procedure->largest_step, fabs(here->load - last->load));
    }
}

static void take_plateau(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct up_indication here = indication_of(plateau);
    struct up_event *event = events_push(&procedure->events, UP_EVENT_PLATEAU);
    event->plateau = *plateau;
    event->plateau_of = step_of(procedure)->plateau;
    note_step(procedure, &here);
    if (step_of(procedure)->shows == SHOWS_TARE || step_of(procedure)->shows == SHOWS_NEW_TARE) {
        procedure->tare = here.load;
    }
    procedure->schedule.last = here;
    procedure->broken = 0;
    if (procedure->calibrating != NULL) {
        go_to(procedure, calibrating_read(procedure->calibrating, procedure->step, &here));
    } else {
        procedure->measuring->now_s = procedure->stream.now_s;
        measuring_watch_temperature(procedure->measuring, plateau->temp_c);
        quick_learn(procedure->measuring, procedure->step, plateau);
        here.u_load = quick_u_load(procedure->measuring, plateau);
        go_to(procedure, measuring_read(procedure->measuring, procedure->step, &here));
    }
}

/* Said once: what cannot be seen is no longer asked about. */
static void note_light(struct up_procedure *procedure) {
    struct doubt *doubt = &procedure->doubt;
    if (doubt->passed && !procedure->light_noted) {
        events_note(&procedure->events,
                    "the load is too light for the scale's steps: whether it was hung, shaken or "
                    "lifted out cannot be seen, and is not asked about");
        procedure->light_noted = true;
    }
    doubt->passed = false;
}

static bool is_in_doubt(struct up_procedure *procedure, const struct up_plateau *plateau) {
    const struct up_indication *last = &procedure->schedule.last;
    struct calibrating *calibrating = procedure->calibrating;
    bool is_tare = calibrating != NULL && step_of(procedure)->shows == SHOWS_TARE;
    bool of_preload = is_tare && calibrating->preload.known && !calibrating->tare.known;
    struct doubt_levels levels = {
        .before = last->known && !is_tare ? last->load : (double)NAN,
        .preload = of_preload ? calibrating->preload.load : (double)NAN,
        .tare = procedure->tare,
        .early = plateau->early + tare_of(procedure)->early,
        .largest = procedure->largest_step,
        .division = procedure->rig->division_counts,
        .counts_per_kg = procedure->measuring != NULL
                             ? procedure->measuring->record.calibration.slope_counts_per_kg
                             : (double)NAN,
        .mass_kg = procedure->ask.mass_kg,
        .counts_per_mass_kg =
            calibrating != NULL ? calibrating_counts_per_kg(calibrating) : (double)NAN};
    bool arises = doubt_arises(&procedure->doubt, step_of(procedure), &procedure->stream, &levels,
                               plateau->load);
    if (arises && of_preload) { /* it was none */
        calibrating->preload.known = false;
    }
    return arises;
}

static void judge_plateau(struct up_procedure *procedure, const struct up_plateau *plateau) {
    if (is_in_doubt(procedure, plateau)) {
        ask_in_doubt(procedure, plateau);
    } else {
        note_light(procedure);
        take_plateau(procedure, plateau);
    }
}

static void push_unsettled(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct events *events = &procedure->events;
    if (plateau->glitches > plateau->readings) {
        events_fault(
            events,
            "%u of %u readings were glitches: check the converter, its supply and its wires",
            plateau->glitches, plateau->glitches + plateau->readings);
    } else if (2 * plateau->unstable > plateau->readings) {
        events_fault(events, "the scale itself calls %u of %u readings unstable", plateau->unstable,
                     plateau->readings);
    } else {
        events_fault(events, "the reading did not settle within %g s of its time",
                     procedure->rig->patience_s);
    }
}

/* A load that has not settled is read later, up to patience_s. A load that only exercises the cell
   is not read, so it need not settle. */
static void take_or_wait(struct up_procedure *procedure, struct up_plateau *plateau, bool settled) {
    struct schedule *schedule = &procedure->schedule;
    plateau->late_s = schedule->late_s;
    if (settled || (step_of(procedure)->is_exercise && plateau->readings > 0)) {
        judge_plateau(procedure, plateau);
        return;
    }
    schedule->late_s += procedure->rig->window_s / 2;
    if (schedule->late_s > procedure->rig->patience_s) {
        push_unsettled(procedure, plateau);
        break_step(procedure);
    }
}

void offer_plateau(struct up_procedure *procedure, struct up_plateau *plateau, double noise_floor) {
    double rise = schedule_rise(&procedure->schedule, procedure->rig, plateau->load);
    procedure->stream.filter.noise.floor = noise_floor;
    procedure->stream.has_begun = true;
    procedure->stream.now_s = plateau->end_s;
    procedure->stage = STAGE_READING;
    take_or_wait(procedure, plateau, is_settled(plateau, noise_floor, rise));
}

/* ---- early readings of a quick weighing: quick_window.c finds them ---- */

bool offer_early(struct up_procedure *procedure, struct up_plateau *window) {
    struct measuring *measuring = procedure->measuring;
    if (!quick_ends_reading(measuring, procedure->step, procedure->stream.filter.noise.floor,
                            window)) {
        return false;
    }
    /* While it rings a hand shows less than later: nothing is asked that the end may answer. */
    if (is_in_doubt(procedure, window)) {
        measuring->quick.trace.to_the_end = true;
        return false;
    }
    note_light(procedure);
    take_plateau(procedure, window);
    return true;
}

/* ---- samples ---- */

/* What hangs on the cell as far as it is known; NaN where it is not. */
static double hanging_kg(const struct up_procedure *procedure, double load) {
    const struct measuring *measuring = procedure->measuring;
    if (procedure->rig->line.load_unit != UP_LOAD_COUNTS) {
        return load;
    }
    return measuring != NULL && measuring->tare.known
               ? (load - measuring->tare.load) / measuring->record.calibration.slope_counts_per_kg +
                     procedure->rig->ballast_kg
               : (double)NAN;
}

static void watch_overload(struct up_procedure *procedure, struct up_reading *reading) {
    double capacity_kg = procedure->rig->capacity_kg;
    double kg = hanging_kg(procedure, reading->load);
    if (capacity_kg == 0 ||
        (reading->verdict != UP_READING_GOOD && reading->verdict != UP_READING_OVERLOAD)) {
        return;
    }
    if (kg > capacity_kg) {
        reading->verdict = UP_READING_OVERLOAD;
    }
    if (reading->verdict != UP_READING_OVERLOAD) {
        procedure->overloaded = procedure->overloaded && !(fabs(kg) < RELIEVED * capacity_kg);
    } else if (!procedure->overloaded) {
        procedure->overloaded = true;
        events_fault(&procedure->events,
                     "take the load off at once: %.2f kg hang on a cell for at most %g kg",
                     fabs(kg), capacity_kg);
        if (procedure->stage == STAGE_READING) {
            break_step(procedure);
        }
    }
}

static void push_pace(struct up_procedure *procedure, const struct up_pace_event *event,
                      bool one_word) {
    if (one_word) {
        events_fault(&procedure->events,
                     "the converter is disconnected or beyond its range: it sends one value, %.0f "
                     "times as fast as before; check the load, the cell and its wires",
                     event->settled_s / event->interval_s);
    } else if (event->kind == UP_PACE_STALL) {
        events_fault(&procedure->events, "no line came for %.1f s: this reading is spoilt",
                     event->interval_s);
    } else if (event->kind == UP_PACE_BURST) {
        events_fault(&procedure->events,
                     "lines came in a burst and carry no clock: this reading is spoilt");
    } else if (event->kind == UP_PACE_RATE) {
        events_fault(&procedure->events,
                     "a line comes every %.3g s now and came every %.3g s before: check the "
                     "converter; this reading is spoilt",
                     event->interval_s, event->settled_s);
    }
}

/* Where the lines carry a clock, readings that the host delayed are still good. */
static bool interrupts_reading(const struct up_pace_event *event) {
    return event->kind == UP_PACE_RATE || !event->by_device ||
           (event->kind == UP_PACE_STALL && event->lines_lost);
}

static void watch_pace(struct up_procedure *procedure, const struct up_sample *sample) {
    struct up_pace_event event;
    if (!stream_check_pace(&procedure->stream, &procedure->rig->line, sample, &event)) {
        return;
    }
    bool one_word =
        up_pace_is_runaway(&event) && up_glitch_filter_condemn(&procedure->stream.filter);
    bool of_the_stall = event.kind == UP_PACE_BURST && procedure->stall_spoilt;
    bool spoilt = procedure->stage == STAGE_READING && interrupts_reading(&event) && !of_the_stall;
    procedure->stall_spoilt = event.kind == UP_PACE_STALL && spoilt;
    if (spoilt) {
        push_pace(procedure, &event, one_word);
        break_step(procedure);
    }
}

static void take_reading(struct up_procedure *procedure, struct up_reading *reading) {
    struct up_plateau plateau;
    bool settled;
    double per_value = procedure->stream.filter.repeats.per_value;
    if (per_value > 1 && !procedure->repeats_noted) {
        procedure->repeats_noted = true;
        events_note(&procedure->events,
                    "the device sends each value %.2g times; it is counted once", per_value);
    }
    watch_overload(procedure, reading);
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    stream_hold(&procedure->stream, reading);
    if (procedure->stage != STAGE_READING ||
        (early_window(procedure, &plateau) && offer_early(procedure, &plateau))) {
        return;
    }
    if (schedule_read(&procedure->schedule, &procedure->stream, procedure->rig, &plateau,
                      &settled)) {
        take_or_wait(procedure, &plateau, settled);
    }
}

static void begin_stream(struct up_procedure *procedure, double time_s) {
    const struct up_rig *rig = procedure->rig;
    if (procedure->measuring != NULL) {
        measuring_begin_stream(procedure->measuring, time_s);
    }
    procedure->stream.has_begun = true;
    /* What was asked and answered before counts from here. */
    procedure->ask.time_s = procedure->schedule.asked_s = procedure->schedule.done_s = time_s;
    up_pace_begin(&procedure->stream.pace);
    if (rig->line.load_unit != UP_LOAD_COUNTS && rig->capacity_kg > 0) {
        up_glitch_filter_set_limit(&procedure->stream.filter, rig->capacity_kg);
    }
}

void up_procedure_clock(struct up_procedure *procedure, double time_s) {
    procedure->stream.now_s = time_s;
}

void up_procedure_arrival(struct up_procedure *procedure, double arrival_s) {
    procedure->stream.arrival_s = arrival_s;
}

void up_procedure_sample(struct up_procedure *procedure, const struct up_sample *sample) {
    struct up_reading reading;
    procedure->stream.now_s = sample->time_s;
    if (!procedure->stream.has_begun) {
        begin_stream(procedure, sample->time_s);
    }
    schedule_line(&procedure->schedule, sample->time_s);
    if (procedure->stage != STAGE_FINISHED) {
        watch_pace(procedure, sample);
    }
    if (procedure->stage != STAGE_FINISHED && stream_judge(&procedure->stream, sample, &reading)) {
        take_reading(procedure, &reading);
    }
}

/* ---- life ---- */

static void begin(struct up_procedure *procedure, const struct up_rig *rig, int step) {
    procedure->rig = rig;
    stream_begin(&procedure->stream, rig);
    procedure->schedule.last = *tare_of(procedure);
    procedure->tare = tare_of(procedure)->known ? tare_of(procedure)->load : (double)NAN;
    go_to(procedure, step);
}

bool up_procedure_measure(const struct up_measure_plan *plan, struct up_procedure **result,
                          struct up_failure *failure) {
    *result = NULL;
    if (!measure_plan_check(plan, failure)) {
        return false;
    }
    struct up_procedure *procedure = up_allocate(1, sizeof *procedure);
    procedure->measuring = up_allocate(1, sizeof *procedure->measuring);
    int step = measuring_begin(procedure->measuring, plan, &procedure->events);
    begin(procedure, &procedure->measuring->record.rig, step);
    *result = procedure;
    return true;
}

bool up_procedure_calibrate(const struct up_calibrate_plan *plan, struct up_procedure **result,
                            struct up_failure *failure) {
    *result = NULL;
    if (!calibrate_plan_check(plan, failure)) {
        return false;
    }
    struct up_procedure *procedure = up_allocate(1, sizeof *procedure);
    procedure->calibrating = up_allocate(1, sizeof *procedure->calibrating);
    int step = calibrating_begin(procedure->calibrating, plan);
    begin(procedure, &procedure->calibrating->record.rig, step);
    *result = procedure;
    return true;
}

void up_procedure_destroy(struct up_procedure *procedure) {
    if (procedure != NULL) {
        stream_free(&procedure->stream);
        free(procedure->measuring);
        free(procedure->calibrating);
        free(procedure);
    }
}
