/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measuring.h"

#include <stdio.h>
#include <string.h>

#include "stream/indication.h"

/* A tare before the item's weighing in air serves so long: the next tare comes after it anyway, and
   what drift does between two is a straight line only for a while (a choice of ours). */
static const double OPENING_OLDEST_S = 600;

/* ---- the water's temperature ---- */

static bool has_thermometer(const struct up_line_rule *line) {
    return line->temp.field != 0 || line->temp.label[0] != '\0';
}

static bool is_temperature_due(const struct measuring *measuring) {
    const struct up_rig *rig = &measuring->record.rig;
    bool by_person = has_thermometer(&rig->line) ? measuring->temp_typed : isnan(rig->temp_c);
    double oldest_s =
        measuring->plan.temp_oldest_s > 0 ? measuring->plan.temp_oldest_s : UP_TEMPERATURE_OLDEST_S;
    return measuring->temp_lost || (by_person && (isnan(measuring->record.water_temp_c) ||
                                                  measuring->now_s - measuring->temp_s > oldest_s));
}

void measuring_type_temperature(struct measuring *measuring, double temp_c) {
    measuring->record.water_temp_c = temp_c;
    measuring->temp_s = measuring->now_s;
    measuring->temp_typed = true;
    measuring->temp_lost = false;
}

/* If the thermometer fails, the operator reads another one; nothing is lost. */
void measuring_watch_temperature(struct measuring *measuring, double temp_c) {
    if (!isnan(temp_c)) {
        measuring->record.water_temp_c = temp_c;
        measuring->temp_s = measuring->now_s;
        measuring->temp_lost = measuring->temp_typed = false;
    } else if (has_thermometer(&measuring->record.rig.line) && !measuring->temp_typed &&
               !measuring->temp_lost) {
        measuring->temp_lost = true;
        events_fault(measuring->events,
                     "the lines tell no temperature any more: check the thermometer; until "
                     "then you are asked for it");
    }
}

/* ---- loads ---- */

double measuring_linear(const struct measuring *measuring, double counts) {
    return up_calibration_linear_counts(&measuring->record.calibration, counts);
}

struct up_quantity measuring_load(const struct measuring *measuring,
                                  const struct up_indication *after) {
    struct up_quantity load = load_between(&measuring->tare, &measuring->hung, after);
    return up_known(measuring_linear(measuring, load.value), load.u);
}

static int check_capacity(struct measuring *measuring, const struct up_indication *after) {
    const struct up_measurement *record = &measuring->record;
    double capacity_kg = record->rig.capacity_kg;
    double total_kg =
        record->air_counts.value / record->calibration.slope_counts_per_kg + record->rig.ballast_kg;
    (void)after;
    if (capacity_kg > 0 && total_kg > capacity_kg) {
        events_fault(measuring->events,
                     "item and ballast together are %.2f kg, more than the cell's %g kg", total_kg,
                     capacity_kg);
        return STEP_GIVE_UP;
    }
    return STEP_ONWARDS;
}

/* ---- the table ---- */

#define PART(member) offsetof(struct measuring, member)

/* A reading becomes the latest tare, or the load that hangs. A tare read after a load completes
   that load for the record; hook and hanger are one, so the same tare begins the next load. */
struct row {
    struct step step;
    bool is_tare;
    size_t into;      /* of the record: the load that this tare completes */
    size_t completes; /* flag: the reading completes this part of the session */
    size_t skips;     /* flag: skipping the step completes it */
    int next; /* after the reading, unless `read` decides, which sees what was read before */
    int (*read)(struct measuring *measuring, const struct up_indication *here);
    int after_answer; /* without a reading: a skip, or a word where nothing is read; unless ... */
    int (*answer)(struct measuring *measuring, enum up_answer_word word);
};

static const struct row rows[MEASURE_STEPS] = {
    [MEASURE_BARE] =
        {{UP_ACTION_BARE_HOOK,
          "Take everything off the upper hook and the hanger under water, the ballast too", "bare",
          .may_skip = true, .again = MEASURE_BARE},
         .read = ballast_bare,
         .after_answer = MEASURE_BALLAST},
    [MEASURE_BALLAST] = {{UP_ACTION_ADD_BALLAST,
                          "Hang the ballast on the hanger under water and leave it there",
                          .may_skip = true, .again = MEASURE_BALLAST},
                         .is_tare = false},
    [MEASURE_TEMPERATURE] = {{UP_ACTION_READ_TEMPERATURE,
                              "Read the water's temperature at the item's depth, in degrees C",
                              .is_temperature = true, .again = MEASURE_TEMPERATURE},
                             .is_tare = false},
    [MEASURE_AIR_TARE] =
        {{UP_ACTION_EMPTY_IN_AIR,
          "Take everything off the upper hook; leave the ballast in the water on its line", "tare",
          .shows = SHOWS_TARE, .again = MEASURE_AIR_TARE},
         .is_tare = true,
         .read = ballast_hung},
    [MEASURE_BALLAST_DOUBTED] = {{UP_ACTION_CONFIRM, .again = MEASURE_BARE},
                                 .answer = ballast_doubted},
    [MEASURE_AIR] = {{UP_ACTION_HANG_IN_AIR, "Hang the item, dry, on the upper hook", "air",
                      .may_skip = true, .of_item = true, .shows = SHOWS_RISE,
                      .doubt = "Was it hung on the upper hook?", .again = MEASURE_AIR_TARE},
                     .skips = PART(air_done),
                     .next = MEASURE_AIR_TARE_AFTER,
                     .after_answer = MEASURE_TARE},
    [MEASURE_AIR_TARE_AFTER] = {{UP_ACTION_EMPTY_IN_AIR, "Take everything off the upper hook",
                                 "tare", .shows = SHOWS_TARE,
                                 .doubt = "Was it taken off the upper hook?",
                                 .again = MEASURE_AIR_TARE},
                                .is_tare = true,
                                .into = PART(record.air_counts),
                                .completes = PART(air_done),
                                .read = check_capacity},
    [MEASURE_TARE] =
        {{UP_ACTION_EMPTY_IN_WATER,
          "Take everything off the upper hook; leave only the ballast on the hanger under water",
          "tare", .shows = SHOWS_TARE, .again = MEASURE_TARE},
         .is_tare = true},
    [MEASURE_BODY] = {{UP_ACTION_HANG_REFERENCE,
                       "Hang the reference body on the hanger under water, wiped free of bubbles; "
                       "keep it clear of walls, floor and surface",
                       "body", .may_skip = true, .under_water = true, .of_body = true,
                       .doubt = "Was it hung under water?", .again = MEASURE_TARE},
                      .next = MEASURE_BODY_TARE,
                      .answer = body_skipped},
    [MEASURE_BODY_TARE] = {{UP_ACTION_LIFT_OUT,
                            "Lift the body out; leave only the ballast on the hanger under water",
                            "tare", .of_body = true, .shows = SHOWS_TARE,
                            .doubt = "Was it lifted out?", .again = MEASURE_TARE},
                           .is_tare = true,
                           .read = body_lifted_out},
    [MEASURE_BODY_CONFIRM] = {{UP_ACTION_CONFIRM, .of_body = true, .again = MEASURE_TARE},
                              .answer = body_confirmed},
    [MEASURE_IMMERSE] = {{UP_ACTION_IMMERSE,
                          "Hang the item on the hanger under water, openings upward; keep it clear "
                          "of walls, floor and surface",
                          "water", .may_skip = true, .under_water = true, .of_item = true,
                          .doubt = "Was it hung under water?", .again = MEASURE_TARE},
                         .skips = PART(trials_done),
                         .read = trial_immersed},
    [MEASURE_SHAKE] =
        {{UP_ACTION_SHAKE,
          "Unhook it under water, shake the air out, hang it back on the hanger under "
          "water",
          "water", .may_skip = true, .comes_back = true, .under_water = true, .of_item = true,
          .doubt = "Was it unhooked and shaken?", .again = MEASURE_TARE},
         .read = trial_shaken,
         .after_answer = MEASURE_LIFT_OUT},
    [MEASURE_LIFT_OUT] = {{UP_ACTION_LIFT_OUT,
                           "Lift the item out; leave only the ballast on the hanger under water",
                           "tare", .of_item = true, .shows = SHOWS_TARE,
                           .doubt = "Was it lifted out?", .again = MEASURE_TARE},
                          .is_tare = true,
                          .read = trial_lifted_out},
    [MEASURE_TRIAL_DOUBTED] = {{UP_ACTION_CONFIRM, .of_item = true, .again = MEASURE_TARE},
                               .answer = trial_doubted},
    /* A break spoils only the tare before the question. */
    [MEASURE_OUTLIER] = {{UP_ACTION_CONFIRM, .may_skip = true, .again = MEASURE_OUTLIER},
                         .answer = trial_outlier},
    [MEASURE_ASIDE] = {{UP_ACTION_CONFIRM, .of_item = true, .may_skip = true, .again_answers = true,
                        .how =
                            "   Enter/short press: aside   a/long press: full weighing   q: stop",
                        .again = MEASURE_ASIDE},
                       .answer = quick_aside},
    [MEASURE_LEVEL] = {{UP_ACTION_HANG_LEVEL,
                        "Hang it level under water, all air out: the end in question (a blade's "
                        "tip) on the hanger under water, the other on a fixed line",
                        "level", .may_skip = true, .under_water = true, .of_item = true,
                        .doubt = "Was it hung level?", .again = MEASURE_TARE},
                       .skips = PART(level_done),
                       .next = MEASURE_LEVEL_TARE},
    [MEASURE_LEVEL_TARE] = {{UP_ACTION_LIFT_OUT,
                             "Lift it out, take the fixed line away; leave only the ballast on "
                             "the hanger under water",
                             "tare", .of_item = true, .shows = SHOWS_TARE,
                             .doubt = "Was it lifted out?", .again = MEASURE_TARE},
                            .is_tare = true,
                            .into = PART(record.level_counts),
                            .completes = PART(level_done)},
    [MEASURE_DEEP_TARE] = {{UP_ACTION_LOWER_HANGER,
                            "From above, lengthen the line of the hanger under water, so that the "
                            "item will hang deeper; leave only the ballast on it",
                            "tare", .may_skip = true, .shows = SHOWS_NEW_TARE,
                            .again = MEASURE_DEEP_TARE},
                           .is_tare = true,
                           .skips = PART(deep_done),
                           .completes = PART(lowered),
                           .next = MEASURE_DEEP},
    [MEASURE_DEEP] = {{UP_ACTION_IMMERSE,
                       "Hang the item on the hanger under water, all air shaken out; keep it clear "
                       "of walls, floor and surface",
                       "deep", .under_water = true, .of_item = true,
                       .doubt = "Was it hung under water?", .again = MEASURE_DEEP_TARE},
                      .next = MEASURE_DEEP_TARE_AFTER},
    [MEASURE_DEEP_TARE_AFTER] =
        {{UP_ACTION_LIFT_OUT,
          "Lift the item out; leave only the ballast on the hanger under water, at this depth",
          "tare", .of_item = true, .shows = SHOWS_TARE, .doubt = "Was it lifted out?",
          .again = MEASURE_DEEP_TARE},
         .is_tare = true,
         .into = PART(record.deep_counts),
         .completes = PART(deep_done)},
};

const struct step *measuring_step(int step) {
    return &rows[step].step;
}

/* Drift whose period divides the time of a trial puts the same error into each, which no scatter
   shows. So trials are not evenly spaced: a wait before each but the first, over five trials no
   more than one reading takes (a choice of ours). Typed readings keep no schedule anyway. */
static unsigned wait_s(const struct up_measurement *record) {
    static const unsigned waits_s[] = {0, 20, 5, 15, 10};
    return record->calibration.window_s > 0 ? waits_s[record->trials % 5] : 0;
}

void measuring_fill_ask(const struct measuring *measuring, int step, struct up_ask *ask) {
    const struct up_measurement *record = &measuring->record;
    const struct step *row = &rows[step].step;
    if (row->of_item) {
        ask->item_name = record->item.name;
        ask->item_id = record->item.id;
    } else if (row->of_body) {
        ask->item_name = record->reference[record->checks].reference.name;
        ask->item_id = record->reference[record->checks].reference.id;
    }
    ask->how = row->how;
    ask->depth_m = row->action == UP_ACTION_LOWER_HANGER ? record->second_depth_m : 0;
    ask->distance_m = row->action == UP_ACTION_HANG_LEVEL ? record->two_point_m : 0;
    if (row->text == NULL) {
        memcpy(ask->text, measuring->question, sizeof ask->text);
    } else if (step == MEASURE_IMMERSE && wait_s(record) > 0 && !record->quick.on) {
        snprintf(ask->text, sizeof ask->text,
                 "Wait %u s, so that no drift keeps step with the trials. %s", wait_s(record),
                 row->text);
    }
}

/* ---- what follows ---- */

static int what_remains(const struct measuring *measuring) {
    const struct up_measurement *record = &measuring->record;
    bool bodies_done = record->checks >= record->references;
    if (bodies_done && measuring->air_done && measuring->trials_done && measuring->level_done &&
        measuring->deep_done) {
        return STEP_END;
    }
    if (is_temperature_due(measuring)) {
        return MEASURE_TEMPERATURE;
    }
    if (!measuring->air_done) {
        return MEASURE_AIR_TARE;
    }
    if (!measuring->tare.known || measuring->tare_is_stale) {
        return MEASURE_TARE;
    }
    return !bodies_done              ? MEASURE_BODY
           : !measuring->trials_done ? MEASURE_IMMERSE
           : !measuring->level_done  ? MEASURE_LEVEL
                                     : MEASURE_DEEP_TARE;
}

static int resolve(const struct measuring *measuring, int next) {
    return next == STEP_ONWARDS ? what_remains(measuring) : next;
}

static void set_flag(struct measuring *measuring, size_t offset) {
    if (offset != 0) {
        *(bool *)((char *)measuring + offset) = true;
    }
}

int measuring_read(struct measuring *measuring, int step, const struct up_indication *here) {
    const struct row *row = &rows[step];
    if (row->step.under_water && !ballast_holds(measuring, here)) {
        return STEP_GIVE_UP;
    }
    if (row->into != 0) {
        *(struct up_quantity *)((char *)measuring + row->into) = measuring_load(measuring, here);
    }
    if (row->is_tare && measuring->tare_is_stale && ballast_is_off(measuring, here)) {
        return MEASURE_BARE;
    }
    set_flag(measuring, row->completes);
    int next = row->read != NULL ? row->read(measuring, here) : row->next;
    if (row->is_tare && measuring->bare.known && ballast_hung(measuring, here) != MEASURE_AIR) {
        next = MEASURE_BALLAST_DOUBTED;
    }
    *(row->is_tare ? &measuring->tare : &measuring->hung) = *here;
    measuring->tare_is_stale = measuring->tare_is_stale && !row->is_tare;
    return resolve(measuring, next);
}

int measuring_answer(struct measuring *measuring, int step, enum up_answer_word word) {
    const struct row *row = &rows[step];
    if (word == UP_ANSWER_SKIP) {
        set_flag(measuring, row->skips);
    }
    return resolve(measuring,
                   row->answer != NULL ? row->answer(measuring, word) : row->after_answer);
}

int measuring_again(struct measuring *measuring, int step) {
    measuring->tare_is_stale = true;
    return rows[step].step.again;
}

/* ---- the beginning, and the neighbour's ---- */

/* Where the session before left the hanger ready, the item is hung first. */
int measuring_begin(struct measuring *measuring, const struct up_measure_plan *plan,
                    struct events *events) {
    const struct up_opening *opening = &plan->opening;
    measuring->plan = *plan;
    measuring->events = events;
    measuring->ballast_kg = (double)NAN;
    up_measurement_begin(&measuring->record, plan);
    measuring->record.under_way = true;
    measuring->level_done = plan->two_point_m == 0;
    measuring->deep_done = plan->second_depth_m == 0;
    quick_begin(measuring);
    if (!opening->known) {
        return plan->bare_hook ? MEASURE_BARE : MEASURE_BALLAST;
    }
    /* Its times are set when the stream begins. */
    measuring->ballast_kg = opening->ballast_kg;
    measuring->tare = (struct up_indication){.time_s = -opening->age_s,
                                             .step_s = -opening->age_s,
                                             .load = opening->load,
                                             .u_load = opening->u_load,
                                             .early = opening->early,
                                             .temp_c = opening->temp_c,
                                             .known = true};
    if (isnan(measuring->record.water_temp_c)) {
        measuring->record.water_temp_c = opening->temp_c;
        measuring->temp_s = -opening->temp_age_s;
    }
    return measuring->air_done ? what_remains(measuring) : MEASURE_AIR;
}

/* With it the record holds the whole weighing. */
static void show_opening(struct measuring *measuring) {
    const struct up_indication *tare = &measuring->tare;
    struct up_event *event = events_push(measuring->events, UP_EVENT_PLATEAU);
    event->plateau = (struct up_plateau){.start_s = tare->time_s,
                                         .end_s = tare->time_s,
                                         .step_s = tare->step_s,
                                         .load = tare->load,
                                         .u_load = tare->u_load,
                                         .early = tare->early,
                                         .temp_c = tare->temp_c};
    event->plateau_of = rows[MEASURE_TARE].step.plateau;
}

void measuring_begin_stream(struct measuring *measuring, double time_s) {
    if (measuring->has_begun) {
        return;
    }
    measuring->has_begun = true;
    measuring->temp_s += time_s;
    if (measuring->plan.opening.known) {
        measuring->tare.time_s += time_s;
        measuring->tare.step_s += time_s;
        show_opening(measuring);
    }
}

void measuring_resume(struct measuring *measuring) {
    measuring->unlike = 0;
    measuring->temp_s = -(double)INFINITY;
}

struct up_opening measuring_opening(const struct measuring *measuring, double now_s) {
    const struct up_indication *tare = &measuring->tare;
    double age_s = now_s - tare->time_s;
    bool good = tare->known && !measuring->tare_is_stale && !measuring->lowered &&
                measuring->record.rig.port_kind != UP_PORT_TYPED && age_s < OPENING_OLDEST_S;
    return (struct up_opening){.known = good,
                               .ballast_kg = measuring->ballast_kg,
                               .age_s = age_s,
                               .load = tare->load,
                               .u_load = tare->u_load,
                               .early = tare->early,
                               .temp_c = measuring->record.water_temp_c,
                               .temp_age_s = now_s - measuring->temp_s};
}
