/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/procedure.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "upthrust/statistics.h"
#include "upthrust/text.h"

enum { HELD_MAX = 1 << 18 };

/* A step of the load is looked for where the level changed by more than this many noise floors. */
static const double STEP_FLOORS = 20;

/* Cheap cells creep by up to half a per cent of the load a decade (load-cell data sheets; seen in
   recordings): so much slope is no sign that a reading has not settled. */
static const double CREEP_ALLOWED_REL = 0.005;

/* After a load that hung for hours a cell recovers as the logarithm of time: so many reading times
   later its drift is below that of the usual schedule (a choice of ours; the simulated cell, whose
   creep comes to an end, would do without). */
static const double REST_READINGS = 3;

/* An overload is over, and the next one told anew, where the load is below this share of what the
   cell bears. */
static const double RELIEVED = 0.95;

const char *up_action_name(enum up_action action) {
    static const char *const names[UP_ACTIONS] = {
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

/* ---- events ---- */

struct up_event *push_event(struct up_procedure *procedure, enum up_event_kind kind) {
    struct up_event *event;
    if (procedure->events == EVENTS_MAX) { /* nobody listens: keep the latest */
        memmove(procedure->event, procedure->event + 1,
                (EVENTS_MAX - 1) * sizeof procedure->event[0]);
        procedure->events--;
    }
    event = &procedure->event[procedure->events++];
    memset(event, 0, sizeof *event);
    event->kind = kind;
    return event;
}

void push_fault(struct up_procedure *procedure, const char *format, ...) {
    struct up_event *event = push_event(procedure, UP_EVENT_FAULT);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(event->text, sizeof event->text, format, arguments);
    va_end(arguments);
}

void push_note(struct up_procedure *procedure, const char *format, ...) {
    struct up_event *event = push_event(procedure, UP_EVENT_NOTE);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(event->text, sizeof event->text, format, arguments);
    va_end(arguments);
}

bool up_procedure_next(struct up_procedure *procedure, struct up_event *event) {
    if (procedure->events == 0) {
        return false;
    }
    *event = procedure->event[0];
    procedure->events--;
    memmove(procedure->event, procedure->event + 1, procedure->events * sizeof procedure->event[0]);
    return true;
}

void finish(struct up_procedure *procedure) {
    if (procedure->stage != STAGE_FINISHED) {
        procedure->stage = STAGE_FINISHED;
        procedure->measurement.under_way = false;
        procedure->loadings.noise_counts = procedure->filter.noise_floor;
        push_event(procedure, UP_EVENT_FINISHED);
    }
}

/* ---- asking ---- */

static enum up_action action_of(enum step step) {
    switch (step) {
    case STEP_BALLAST:
        return UP_ACTION_ADD_BALLAST;
    case STEP_TEMPERATURE:
        return UP_ACTION_READ_TEMPERATURE;
    case STEP_PRELOAD:
    case STEP_MASS:
    case STEP_HUNG_TARE:
    case STEP_STAIR:
        return UP_ACTION_HANG_MASS;
    case STEP_UNLOAD:
    case STEP_AIR_TARE:
    case STEP_AIR_TARE_AFTER:
        return UP_ACTION_EMPTY_IN_AIR;
    case STEP_AIR:
        return UP_ACTION_HANG_IN_AIR;
    case STEP_TARE:
    case STEP_STAIR_END:
        return UP_ACTION_EMPTY_IN_WATER;
    case STEP_IMMERSE:
        return UP_ACTION_IMMERSE;
    case STEP_SHAKE:
        return UP_ACTION_SHAKE;
    case STEP_LIFT:
    case STEP_REFERENCE_TARE:
    case STEP_LEVEL_TARE:
    case STEP_DEEP_TARE_AFTER:
        return UP_ACTION_LIFT_OUT;
    case STEP_REFERENCE:
        return UP_ACTION_HANG_REFERENCE;
    case STEP_LEVEL:
        return UP_ACTION_HANG_LEVEL;
    case STEP_DEEP_TARE:
        return UP_ACTION_LOWER_HANGER;
    case STEP_DEEP:
        return UP_ACTION_IMMERSE;
    case STEP_OUTLIER:
    case STEP_REFERENCE_CONFIRM:
        break;
    }
    return UP_ACTION_CONFIRM;
}

static const char *words_for(enum step step) {
    switch (step) {
    case STEP_BALLAST:
        return "Hang the ballast under water; it stays on, submerged, to the end";
    case STEP_TEMPERATURE:
        return "Read the water's temperature at the item's depth, in degrees C";
    case STEP_PRELOAD:
        return "Hang the heaviest mass, to exercise the cell";
    case STEP_MASS:
        return "Hang this mass on the hook above the water";
    case STEP_HUNG_TARE:
        return "Hang this mass on the hook above the water, to be taken off next";
    case STEP_UNLOAD:
        return "Take the mass off; leave the hook above the water empty";
    case STEP_STAIR:
        return "Without emptying the hook in between, have on it so much in all";
    case STEP_STAIR_END:
        return "Take all masses off; leave the hanger empty but for the ballast";
    case STEP_AIR_TARE:
    case STEP_AIR_TARE_AFTER:
        return "Leave the hook above the water empty";
    case STEP_AIR:
        return "Hang the item, dry, on the hook above the water";
    case STEP_TARE:
        return "Leave the hanger empty but for the ballast";
    case STEP_IMMERSE:
        return "Hang the item under water, openings upward; it must touch nothing";
    case STEP_SHAKE:
        return "Take it off the hook under water, shake the air out, hang it again";
    case STEP_LIFT:
        return "Lift the item out; leave the hanger empty but for the ballast";
    case STEP_REFERENCE:
        return "Hang the reference body under water, wiped free of bubbles; it must touch nothing";
    case STEP_REFERENCE_TARE:
        return "Lift the body out; leave the hanger empty but for the ballast";
    case STEP_LEVEL:
        return "Hang it level under water, all air out: the end to be told (a blade's tip) on the "
               "hook, the other on a fixed line";
    case STEP_LEVEL_TARE:
        return "Lift it out, take the fixed line away; leave the hanger empty but for the ballast";
    case STEP_DEEP_TARE:
        return "Lengthen the line so that the item will hang deeper; leave the hanger empty";
    case STEP_DEEP:
        return "Hang the item down there, all air shaken out; it must touch nothing";
    case STEP_DEEP_TARE_AFTER:
        return "Lift the item out; leave the hanger empty at this depth";
    case STEP_OUTLIER:
    case STEP_REFERENCE_CONFIRM:
        break; /* they tell what they found */
    }
    return "";
}

static bool names_item(enum step step) {
    return step == STEP_AIR || step == STEP_IMMERSE || step == STEP_SHAKE || step == STEP_LIFT ||
           step == STEP_LEVEL || step == STEP_LEVEL_TARE || step == STEP_DEEP ||
           step == STEP_DEEP_TARE_AFTER;
}

static bool names_reference(enum step step) {
    return step == STEP_REFERENCE || step == STEP_REFERENCE_TARE || step == STEP_REFERENCE_CONFIRM;
}

/* Answered with a word or a number of its own; no reading follows. */
static bool needs_reading(enum step step) {
    return step != STEP_BALLAST && step != STEP_TEMPERATURE && step != STEP_OUTLIER &&
           step != STEP_REFERENCE_CONFIRM;
}

/* Readings that a person types; the preload is read by nobody. */
static bool is_typed(const struct up_procedure *procedure, enum step step) {
    return procedure->rig->port_kind == UP_PORT_TYPED && needs_reading(step) &&
           step != STEP_PRELOAD;
}

void ask_step(struct up_procedure *procedure, enum step step) {
    ask_saying(procedure, step, words_for(step));
}

void ask_saying(struct up_procedure *procedure, enum step step, const char *text) {
    struct up_ask *ask = &procedure->ask;
    memset(ask, 0, sizeof *ask);
    procedure->step = step;
    procedure->stage = STAGE_ASKING;
    procedure->held_count = 0;
    procedure->late_s = procedure->rest_s = 0;
    ask->id = ++procedure->last_id;
    ask->action = action_of(step);
    ask->time_s = procedure->now_s;
    ask->wants_number = step == STEP_TEMPERATURE || is_typed(procedure, step);
    ask->unit = step == STEP_TEMPERATURE    ? "degrees C"
                : is_typed(procedure, step) ? up_load_unit_name(procedure->rig->line.load_unit)
                                            : NULL;
    if (ask->action == UP_ACTION_HANG_MASS) {
        ask->mass_kg = calibrate_mass_kg(procedure);
    }
    if (names_item(step)) {
        ask->item_name = procedure->measure.item.name;
        ask->item_id = procedure->measure.item.id;
    } else if (names_reference(step)) {
        const struct up_reference *body =
            &procedure->measurement.reference[procedure->measurement.checks].reference;
        ask->item_name = body->name;
        ask->item_id = body->id;
    }
    ask->depth_m = step == STEP_DEEP_TARE ? procedure->measure.second_depth_m : 0;
    ask->distance_m = step == STEP_LEVEL ? procedure->measure.two_point_m : 0;
    snprintf(ask->text, sizeof ask->text, "%s", text);
    push_event(procedure, UP_EVENT_ASK)->ask = *ask;
}

static void begin_step_anew(struct up_procedure *procedure) {
    if (procedure->calibrating) {
        calibrate_break(procedure);
    } else {
        measure_break(procedure);
    }
}

static void break_step(struct up_procedure *procedure) {
    if (++procedure->broken >= BROKEN_MAX) {
        push_fault(procedure,
                   "gave up after %d tries: look for touching walls, waves, draught or "
                   "a loose line, then start again",
                   BROKEN_MAX);
        procedure->gave_up = true;
        finish(procedure);
    } else {
        begin_step_anew(procedure);
    }
}

void up_procedure_interrupt(struct up_procedure *procedure, const char *text) {
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    push_fault(procedure, "%s", text);
    begin_step_anew(procedure);
    procedure->returned = true;
    procedure->has_time =
        false; /* what is asked and answered before the next sample counts there */
    up_glitch_filter_restart(&procedure->filter);
}

static void rest_after_long(struct up_procedure *procedure) {
    procedure->rest_s = REST_READINGS * procedure->rig->read_after_s;
}

void up_procedure_leave(struct up_procedure *procedure, const char *text) {
    if (procedure->stage == STAGE_ASKING) {
        push_fault(procedure, "%s", text);
        begin_step_anew(procedure);
        rest_after_long(procedure);
    }
}

void up_procedure_resume(struct up_procedure *procedure, const char *text) {
    if (up_procedure_progress(procedure).complete) {
        return;
    }
    procedure->stopped = procedure->gave_up = false;
    procedure->measurement.under_way = true;
    procedure->broken = procedure->unlike = 0;
    procedure->stage = STAGE_READING;
    up_procedure_interrupt(procedure, text);
    rest_after_long(procedure);
}

struct up_progress up_procedure_progress(const struct up_procedure *procedure) {
    bool calibrating = procedure->calibrating;
    return (struct up_progress){
        .done = calibrating ? procedure->loadings.points : procedure->measurement.trials,
        .wanted = calibrating ? procedure->calibrate.masses : procedure->measure.trials,
        .weighed_in_air = !calibrating && !isnan(procedure->measurement.air_counts.value),
        .complete =
            procedure->stage == STAGE_FINISHED && !procedure->stopped && !procedure->gave_up};
}

static bool accept_temperature(struct up_procedure *procedure, double number,
                               struct up_failure *failure) {
    if (!isfinite(number) || number < 0 || number > 40) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water temperature %g: give degrees C from 0 to 40", number);
    }
    procedure->measurement.water_temp_c = number;
    procedure->temp_told = procedure->temp_lost;
    procedure->temp_lost = false;
    return true;
}

/* A reading far from what hangs was typed in another unit, or with a slip of the point. */
static bool is_plausible(const struct up_procedure *procedure, double load_kg,
                         struct up_failure *failure) {
    double mass_kg = procedure->ask.mass_kg;
    double step_kg = load_kg - procedure->tare.load;
    bool hangs = procedure->step == STEP_MASS || procedure->step == STEP_STAIR;
    if (!hangs || !procedure->tare.known || procedure->tare_kg != 0 ||
        (step_kg > 0.5 * mass_kg && step_kg < 2 * mass_kg)) {
        return true;
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT,
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
                       "%.6g %s is more than the %g kg that the scale bears: take the load off, or "
                       "type the reading again",
                       number, procedure->ask.unit, rig->capacity_kg);
    }
    if (!is_plausible(procedure, load_kg, failure)) {
        return false;
    }
    procedure->typed_kg = load_kg;
    return true;
}

static bool accept_number(struct up_procedure *procedure, double number,
                          struct up_failure *failure) {
    return procedure->step == STEP_TEMPERATURE ? accept_temperature(procedure, number, failure)
                                               : accept_reading(procedure, number, failure);
}

static bool may_skip(enum step step) {
    return step == STEP_BALLAST || step == STEP_PRELOAD || step == STEP_MASS ||
           step == STEP_UNLOAD || step == STEP_STAIR || step == STEP_AIR || step == STEP_IMMERSE ||
           step == STEP_SHAKE || step == STEP_OUTLIER || step == STEP_REFERENCE ||
           step == STEP_LEVEL || step == STEP_DEEP_TARE;
}

static bool is_acceptable(const struct up_procedure *procedure, unsigned id,
                          enum up_answer_word word, struct up_failure *failure) {
    if (procedure->stage != STAGE_ASKING || id != procedure->ask.id) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "answer to question %u, which is not open",
                       id);
    }
    if (procedure->ask.wants_number && word == UP_ANSWER_DONE) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "question %u wants a number", id);
    }
    if (word == UP_ANSWER_NUMBER && !procedure->ask.wants_number) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "question %u wants no number", id);
    }
    if (word == UP_ANSWER_SKIP && !may_skip(procedure->step)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "%s cannot be skipped",
                       up_action_name(procedure->ask.action));
    }
    return true;
}

static void take_plateau(struct up_procedure *procedure, const struct up_plateau *plateau);

/* One typed reading is a plateau of one: of its scatter only the division is known. */
static void take_typed(struct up_procedure *procedure) {
    double division_kg = procedure->rig->division_counts;
    struct up_plateau plateau = {.start_s = procedure->now_s,
                                 .end_s = procedure->now_s,
                                 .step_s = procedure->now_s,
                                 .load = procedure->typed_kg,
                                 .u_load = division_kg / sqrt(12),
                                 .temp_c = (double)NAN,
                                 .lag1 = (double)NAN,
                                 .readings = 1};
    take_plateau(procedure, &plateau);
}

bool up_procedure_answer(struct up_procedure *procedure, unsigned id, enum up_answer_word word,
                         double number, struct up_failure *failure) {
    if (!is_acceptable(procedure, id, word, failure) ||
        (word == UP_ANSWER_NUMBER && !accept_number(procedure, number, failure))) {
        return false;
    }
    procedure->done_s = procedure->now_s;
    procedure->stage = STAGE_READING;
    if (procedure->rig->line.poll[0] != '\0') { /* nobody asked the device while we waited */
        up_pace_pause(&procedure->pace);
    }
    if (word == UP_ANSWER_STOP) {
        procedure->stopped = true;
        finish(procedure);
    } else if (word == UP_ANSWER_AGAIN) {
        begin_step_anew(procedure);
    } else if (word == UP_ANSWER_SKIP && procedure->calibrating) {
        calibrate_skip(procedure);
    } else if (word == UP_ANSWER_SKIP || !needs_reading(procedure->step)) {
        if (procedure->calibrating) {
            ask_step(procedure, STEP_PRELOAD);
        } else {
            measure_after(procedure, word);
        }
    } else if (procedure->rig->port_kind == UP_PORT_TYPED) {
        take_typed(procedure);
    }
    return true;
}

/* ---- reading ---- */

static void hold(struct up_procedure *procedure, const struct up_reading *reading) {
    if (procedure->held_count == HELD_MAX) {
        procedure->held_count /= 2;
        memmove(procedure->held, procedure->held + procedure->held_count,
                procedure->held_count * sizeof *procedure->held);
    }
    if (procedure->held_count == procedure->held_room) {
        procedure->held_room = procedure->held_room == 0 ? 1024 : 2 * procedure->held_room;
        procedure->held =
            up_reallocate(procedure->held, procedure->held_room, sizeof *procedure->held);
    }
    procedure->held[procedure->held_count++] = *reading;
}

static size_t first_from(const struct up_procedure *procedure, double time_s) {
    size_t low = 0, high = procedure->held_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (procedure->held[middle].time_s < time_s) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low;
}

static double median_since(const struct up_procedure *procedure, double time_s) {
    double load[512];
    size_t count = 0;
    for (size_t i = first_from(procedure, time_s);
         i < procedure->held_count && count < sizeof load / sizeof load[0]; i++) {
        if (procedure->held[i].verdict == UP_READING_GOOD) {
            load[count++] = procedure->held[i].load;
        }
    }
    return up_median(load, count);
}

/*
 * When the load came to stand: the last time the reading was nearer to the level before than to the
 * level now. A person presses "done" some seconds later, each time other ones; the load's own trace
 * keeps the schedule. Where the level hardly changed, the answer's time has to do. For a shake the
 * level before is the tare, which the item off the hook leaves.
 */
static double step_time(const struct up_procedure *procedure) {
    const struct up_indication *before =
        procedure->step == STEP_SHAKE ? &procedure->tare : &procedure->last;
    double level = median_since(procedure, procedure->now_s - 2);
    double floor = procedure->filter.noise_floor;
    if (!before->known || isnan(level) || fabs(level - before->load) < STEP_FLOORS * floor) {
        return procedure->done_s;
    }
    for (size_t i = procedure->held_count; i > 0; i--) {
        const struct up_reading *reading = &procedure->held[i - 1];
        if (reading->verdict == UP_READING_GOOD &&
            fabs(reading->load - before->load) < fabs(reading->load - level)) {
            return reading->time_s;
        }
    }
    return procedure->step == STEP_SHAKE ? procedure->done_s : procedure->ask.time_s;
}

static double creep_allowance(const struct up_procedure *procedure, double level) {
    const struct up_rig *rig = procedure->rig;
    double before = procedure->last.known ? procedure->last.load : level;
    double half_s = rig->window_s / 2;
    double decades = log10((rig->read_after_s + half_s) / fmax(rig->read_after_s - half_s, 0.1));
    return CREEP_ALLOWED_REL * fabs(level - before) * decades;
}

struct up_indication point_of(const struct up_plateau *plateau) {
    return (struct up_indication){.time_s = (plateau->start_s + plateau->end_s) / 2,
                                  .step_s = plateau->step_s,
                                  .load = plateau->load,
                                  .u_load = plateau->u_load,
                                  .slope_per_s = plateau->slope_per_s,
                                  .temp_c = plateau->temp_c,
                                  .late_s = plateau->late_s,
                                  .known = true};
}

double tare_at(const struct up_indication *before, const struct up_indication *after, double time_s,
               double *u_load) {
    double span_s = after->time_s - before->time_s;
    double weight = span_s > 0 ? (time_s - before->time_s) / span_s : 0.5;
    weight = fmin(fmax(weight, 0), 1);
    *u_load = hypot((1 - weight) * before->u_load, weight * after->u_load);
    return (1 - weight) * before->load + weight * after->load;
}

static const char *plateau_name(enum step step) {
    switch (step) {
    case STEP_PRELOAD:
        return "preload";
    case STEP_MASS:
    case STEP_UNLOAD:
        return "mass";
    case STEP_STAIR:
        return "stair";
    case STEP_AIR:
        return "air";
    case STEP_IMMERSE:
    case STEP_SHAKE:
        return "water";
    case STEP_REFERENCE:
        return "body";
    case STEP_LEVEL:
        return "level";
    case STEP_DEEP:
        return "deep";
    case STEP_BALLAST:
    case STEP_TEMPERATURE:
    case STEP_AIR_TARE:
    case STEP_AIR_TARE_AFTER:
    case STEP_TARE:
    case STEP_LIFT:
    case STEP_HUNG_TARE:
    case STEP_STAIR_END:
    case STEP_OUTLIER:
    case STEP_REFERENCE_TARE:
    case STEP_REFERENCE_CONFIRM:
    case STEP_LEVEL_TARE:
    case STEP_DEEP_TARE:
    case STEP_DEEP_TARE_AFTER:
        break;
    }
    return "tare";
}

/* A thermometer that falls out costs nothing but a look at another one. */
static void watch_temperature(struct up_procedure *procedure, double temp_c) {
    bool expected = has_thermometer(&procedure->rig->line) && !procedure->calibrating;
    if (!isnan(temp_c)) {
        procedure->measurement.water_temp_c = temp_c;
        procedure->temp_lost = procedure->temp_told = false;
    } else if (expected && !procedure->temp_told && !procedure->temp_lost) {
        procedure->temp_lost = true;
        push_fault(procedure,
                   "the lines tell no temperature any more: check the thermometer; until "
                   "then you are asked for it");
    }
}

static void take_plateau(struct up_procedure *procedure, const struct up_plateau *plateau) {
    struct up_event *event = push_event(procedure, UP_EVENT_PLATEAU);
    event->plateau = *plateau;
    event->plateau_of = plateau_name(procedure->step);
    watch_temperature(procedure, plateau->temp_c);
    if (procedure->calibrating) {
        calibrate_read(procedure, plateau);
    } else {
        measure_read(procedure, plateau);
    }
    procedure->last = point_of(plateau);
}

/* A run of equal words reaches into the window, and it is not yet clear whether it is chance. */
static bool may_be_stuck(const struct up_procedure *procedure, double from_s) {
    double start_s = 0;
    return up_glitch_filter_may_be_stuck(&procedure->filter, &start_s) &&
           start_s < from_s + procedure->rig->window_s;
}

static void tell_unsettled(struct up_procedure *procedure, const struct up_plateau *plateau) {
    if (plateau->glitches > plateau->readings) {
        push_fault(procedure,
                   "%u of %u readings were glitches: check the converter, its supply and its wires",
                   plateau->glitches, plateau->glitches + plateau->readings);
    } else if (2 * plateau->unstable > plateau->readings) {
        push_fault(procedure, "the scale itself calls %u of %u readings unstable",
                   plateau->unstable, plateau->readings);
    } else {
        push_fault(procedure, "the reading did not settle within %g s of its time",
                   procedure->rig->patience_s);
    }
}

/* What has not settled is read later, as long as there is patience. */
static void take_or_wait(struct up_procedure *procedure, struct up_plateau *plateau, bool settled) {
    plateau->late_s = procedure->late_s;
    /* The preload only exercises the cell: nothing is read from it, so nothing need settle. */
    if (settled || (procedure->step == STEP_PRELOAD && plateau->readings > 0)) {
        take_plateau(procedure, plateau);
        return;
    }
    procedure->late_s += procedure->rig->window_s / 2;
    if (procedure->late_s > procedure->rig->patience_s) {
        tell_unsettled(procedure, plateau);
        break_step(procedure);
    }
}

static void try_reading(struct up_procedure *procedure) {
    const struct up_rig *rig = procedure->rig;
    struct up_plateau plateau;
    double wait_s = rig->read_after_s - rig->window_s / 2 + procedure->late_s + procedure->rest_s;
    double step_s, from_s;
    size_t first, stop;
    bool settled;
    if (isnan(procedure->filter.noise_floor) ||
        procedure->now_s < procedure->ask.time_s + wait_s + rig->window_s) {
        return;
    }
    step_s = step_time(procedure);
    from_s = step_s + wait_s;
    if (procedure->now_s < from_s + rig->window_s || may_be_stuck(procedure, from_s)) {
        return;
    }
    first = first_from(procedure, from_s);
    stop = first_from(procedure, from_s + rig->window_s);
    settled =
        up_plateau_judge(procedure->held + first, stop - first, procedure->filter.noise_floor,
                         creep_allowance(procedure, median_since(procedure, from_s)), &plateau);
    plateau.step_s = step_s;
    take_or_wait(procedure, &plateau, settled);
}

void offer_plateau(struct up_procedure *procedure, struct up_plateau *plateau, double noise_floor) {
    bool settled = is_settled(plateau, noise_floor, creep_allowance(procedure, plateau->load));
    procedure->filter.noise_floor = noise_floor;
    procedure->has_time = true;
    procedure->now_s = plateau->end_s;
    procedure->stage = STAGE_READING;
    take_or_wait(procedure, plateau, settled);
}

struct up_reading_progress up_procedure_reading(const struct up_procedure *procedure) {
    const struct up_rig *rig = procedure->rig;
    double wait_s = rig->read_after_s - rig->window_s / 2 + procedure->late_s;
    struct up_reading_progress progress = {.reading = procedure->stage == STAGE_READING,
                                           .whole_s = wait_s + rig->window_s,
                                           .left_s = wait_s + rig->window_s,
                                           .late_s = procedure->late_s,
                                           .unrest = (double)NAN};
    struct up_plateau plateau;
    if (!progress.reading || isnan(procedure->filter.noise_floor)) {
        return progress;
    }
    double step_s = step_time(procedure);
    double from_s = fmax(procedure->now_s - rig->window_s, step_s);
    size_t first = first_from(procedure, from_s);
    progress.left_s = fmax(step_s + progress.whole_s - procedure->now_s, 0);
    up_plateau_judge(procedure->held + first, procedure->held_count - first,
                     procedure->filter.noise_floor,
                     creep_allowance(procedure, median_since(procedure, from_s)), &plateau);
    progress.unrest = plateau.unrest;
    return progress;
}

/* ---- samples ---- */

/* They had been held as good ones. */
static void take_back(struct up_procedure *procedure, unsigned back) {
    for (size_t i = procedure->held_count; i > 0 && back > 0; i--) {
        struct up_reading *reading = &procedure->held[i - 1];
        if (reading->verdict == UP_READING_GOOD) {
            reading->verdict = UP_READING_STUCK;
            back--;
        }
    }
}

/* What hangs on the cell as far as it is known; NaN where it is not. */
static double hanging_kg(const struct up_procedure *procedure, double load) {
    const struct up_rig *rig = procedure->rig;
    if (rig->line.load_unit != UP_LOAD_COUNTS) {
        return load;
    }
    if (procedure->calibrating || !procedure->tare.known) {
        return (double)NAN;
    }
    return (load - procedure->tare.load) / procedure->measurement.calibration.slope_counts_per_kg +
           rig->ballast_kg;
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
        push_fault(procedure, "take the load off at once: %.2f kg hang on a cell that bears %g kg",
                   fabs(kg), capacity_kg);
        if (procedure->stage == STAGE_READING) {
            break_step(procedure);
        }
    }
}

static void tell_pace(struct up_procedure *procedure, const struct up_pace_event *event) {
    switch (event->kind) {
    case UP_PACE_STALL:
        push_fault(procedure, "no line came for %.1f s: this reading is spoilt", event->interval_s);
        break;
    case UP_PACE_BURST:
        push_fault(procedure, "lines came in a burst and carry no clock: this reading is spoilt");
        break;
    case UP_PACE_RATE:
        push_fault(procedure,
                   "a line comes every %.3g s now and came every %.3g s before: check the "
                   "converter; this reading is spoilt",
                   event->interval_s, event->settled_s);
        break;
    case UP_PACE_BACK:
    case UP_PACE_KINDS:
        break;
    }
}

/* Where the lines carry a clock, what the host held back for a while is as good as ever. */
static bool spoils(const struct up_pace_event *event) {
    return event->kind == UP_PACE_RATE || !event->by_device ||
           (event->kind == UP_PACE_STALL && event->lines_lost);
}

static void watch_pace(struct up_procedure *procedure, const struct up_sample *sample) {
    const struct up_line_rule *line = &procedure->rig->line;
    struct up_pace_event event;
    double time_s = line->time_unit_s > 0 ? sample->time_s : (double)NAN;
    /* A polled device sends when it is asked: arrivals tell of us, not of it. */
    bool told = procedure->arrival_s > 0 && line->poll[0] == '\0';
    double arrival_s = told ? procedure->arrival_s : (double)NAN;
    if (!up_pace_push(&procedure->pace, time_s, arrival_s, &event)) {
        return;
    }
    bool told_already = event.kind == UP_PACE_BURST && procedure->stall_spoilt;
    bool spoilt = procedure->stage == STAGE_READING && spoils(&event) && !told_already;
    procedure->stall_spoilt = event.kind == UP_PACE_STALL && spoilt;
    if (spoilt) {
        tell_pace(procedure, &event);
        break_step(procedure);
    }
}

static void take_reading(struct up_procedure *procedure, struct up_reading *reading) {
    watch_overload(procedure, reading);
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    take_back(procedure, reading->back);
    hold(procedure, reading);
    if (reading->verdict == UP_READING_GOOD) {
        procedure->live_load = reading->load - (procedure->tare.known ? procedure->tare.load : 0);
    }
    if (procedure->stage == STAGE_READING) {
        try_reading(procedure);
    }
}

/* The neighbour's tare, at its time in this stream: with it the record tells the whole weighing. */
static void tell_opening(struct up_procedure *procedure) {
    const struct up_indication *tare = &procedure->tare;
    struct up_event *event = push_event(procedure, UP_EVENT_PLATEAU);
    event->plateau = (struct up_plateau){.start_s = tare->time_s,
                                         .end_s = tare->time_s,
                                         .step_s = tare->step_s,
                                         .load = tare->load,
                                         .u_load = tare->u_load,
                                         .temp_c = tare->temp_c};
    event->plateau_of = plateau_name(STEP_TARE);
}

static void begin_stream(struct up_procedure *procedure, double time_s) {
    const struct up_rig *rig = procedure->rig;
    if (procedure->measure.opening.known) { /* now its age has a beginning to count from */
        procedure->measure.opening.known = false;
        procedure->tare.time_s += time_s;
        procedure->tare.step_s += time_s;
        procedure->air_tare = procedure->last = procedure->tare;
        tell_opening(procedure);
    }
    procedure->has_time = true;
    /* what was asked and answered before counts from here */
    procedure->ask.time_s = procedure->done_s = time_s;
    up_pace_begin(&procedure->pace);
    if (rig->line.load_unit != UP_LOAD_COUNTS && rig->capacity_kg > 0) {
        up_glitch_filter_set_limit(&procedure->filter, rig->capacity_kg);
    }
}

void up_procedure_stop(struct up_procedure *procedure) {
    procedure->stopped = procedure->stopped || procedure->stage != STAGE_FINISHED;
    finish(procedure);
}

void up_procedure_clock(struct up_procedure *procedure, double time_s) {
    procedure->now_s = time_s;
}

void up_procedure_arrival(struct up_procedure *procedure, double arrival_s) {
    procedure->arrival_s = arrival_s;
}

void up_procedure_sample(struct up_procedure *procedure, const struct up_sample *sample) {
    struct up_reading reading;
    procedure->now_s = sample->time_s;
    if (!procedure->has_time) {
        begin_stream(procedure, sample->time_s);
    }
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    watch_pace(procedure, sample);
    if (procedure->stage == STAGE_FINISHED) {
        return;
    }
    bool judged = up_glitch_filter_push(&procedure->filter, sample->time_s, sample->load[0],
                                        sample->temp_c, &reading);
    if (sample->unstable) {
        up_glitch_filter_mark_unstable(&procedure->filter);
    }
    if (judged) {
        take_reading(procedure, &reading);
    }
}

/* ---- life and small questions ---- */

void up_procedure_destroy(struct up_procedure *procedure) {
    if (procedure != NULL) {
        free(procedure->held);
        free(procedure);
    }
}

const struct up_measurement *up_procedure_measurement(const struct up_procedure *procedure) {
    return procedure->calibrating ? NULL : &procedure->measurement;
}

const struct up_loadings *up_procedure_loadings(const struct up_procedure *procedure) {
    return procedure->calibrating ? &procedure->loadings : NULL;
}

bool up_procedure_results(const struct up_procedure *procedure, struct up_result *result,
                          unsigned *results, struct up_failure *failure) {
    *results = 0;
    return procedure->calibrating
               ? up_fail(failure, UP_STATUS_UNABLE, "a calibration gives no results")
               : up_measurement_results(&procedure->measurement, result, results, failure);
}

bool up_procedure_calibration(const struct up_procedure *procedure,
                              struct up_calibration *calibration, struct up_failure *failure) {
    return up_calibration_fit(&procedure->loadings, calibration, failure);
}

bool up_procedure_is_asking(const struct up_procedure *procedure) {
    return procedure->stage == STAGE_ASKING;
}

bool up_procedure_is_finished(const struct up_procedure *procedure) {
    return procedure->stage == STAGE_FINISHED;
}

double up_procedure_live_load(const struct up_procedure *procedure) {
    return procedure->live_load;
}

double up_procedure_noise_floor(const struct up_procedure *procedure) {
    return procedure->filter.noise_floor;
}
