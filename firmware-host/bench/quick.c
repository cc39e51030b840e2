/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "quick.h"

#include <math.h>
#include <stdio.h>

#include "measuring.h"
#include "metrology/sequential.h"
#include "stream/indication.h"
#include "text/memory.h"
#include "text/text.h"

/* Looks are set before: after the first reading, the first, second and fourth shake, and at the end
   of a second immersion (our choice). */
enum { SHAKES_MOST = 4, LOOK_OF_SECOND = UP_QUICK_ANALYSES };
static const unsigned look_after_shakes[SHAKES_MOST + 1] = {1, 2, 3, 0, 4};

/* Where the scatter of the kind is not known, what to do next is chosen as with this one; no class
   is stated by it (our choice). */
static const double GUESSED_SCATTER_KG = 0.003, GUESSED_DOF = 10;

/* Another immersion may make u so much smaller: what would be undecided all the same is put aside.
 */
static const double SHRINKS_TO = 0.75;

/* A reading that cannot state a class ends where its bound is so small a part of the distance to
   the nearest line (our choice). */
static const double PART_OF_DISTANCE = 1.0 / 8;

/* The empty hanger serves the next item too, which may lie nearer to a line: its reading ends where
   its bound is a gram, or what a trial of the kind scatters by, where that is more (our choice). */
static const double TARE_MOST_KG = 0.001;

/* While the hanger was not read empty again, what it may have drifted: what tares around a load
   differ by, twice, and a gram at least (our choice). */
static const double DRIFT_LEAST_KG = 0.001;

/* One reading in so many goes on to the end. */
enum { TO_THE_END_ONE_IN = 10 };

/* And the first so many of each step, since a session begins with nothing noted: what was learned
   may be of another tank, hand or kind, and most readings end before they could contradict it. */
enum { BORNE_OUT_BY = 4 };

static double per_kg(const struct measuring *measuring) {
    return measuring->record.calibration.slope_counts_per_kg;
}

bool quick_watches(const struct measuring *measuring) {
    return measuring->plan.quick.on || measuring->plan.quick.shortens;
}

void quick_begin(struct measuring *measuring) {
    struct up_measurement *record = &measuring->record;
    const struct up_quick_plan *plan = &measuring->plan.quick;
    struct up_quick_progress *progress = &measuring->quick.progress;
    for (int step = 0; step < UP_QUICK_STEPS; step++) {
        progress->watch[step] = plan->watch[step];
    }
    if (!plan->on) {
        return;
    }
    record->quick = (struct up_quick_rule){
        .on = true,
        .bound_one = up_pocock_bound(UP_QUICK_ANALYSES, 1 - record->confidence, false),
        .bound_two = up_pocock_bound(UP_QUICK_ANALYSES, 1 - record->coverage, true),
        .mass_kg = plan->mass_kg,
        .u_mass_kg = plan->u_mass_kg};
    measuring->air_done = true;
    progress->class = UP_CLASS_UNDECIDED;
    progress->taught = measuring->quick.taught;
    progress->buoyancy_kg = progress->at_most_kg = (double)NAN;
}

/* ---- looks ---- */

static bool is_scatter_known(const struct measuring *measuring, unsigned trials) {
    return measuring->record.kind_repeatability_kg.u > 0 || trials > 1;
}

static double drift_counts(const struct measuring *measuring) {
    double a_kg = measuring->record.calibration.scatter_kg;
    return fmax(isnan(a_kg) ? 0 : 4 * a_kg, DRIFT_LEAST_KG) * fabs(per_kg(measuring));
}

static void read_trial(const struct measuring *measuring, const struct up_indication *here,
                       struct up_trial *trial) {
    const struct up_indication *tare = &measuring->tare;
    trial->load_counts = measuring_linear(measuring, here->load - tare->load);
    trial->u_plateau_counts = hypot(here->u_load, tare->u_load);
    trial->temp_c = isnan(here->temp_c) ? measuring->record.water_temp_c : here->temp_c;
    trial->early_counts = here->early + tare->early + drift_counts(measuring);
}

/* With the trial under way as one more; NULL: with those that are complete. */
static bool analysis_at(const struct measuring *measuring, const struct up_trial *trial,
                        double shrink, enum quick_air air, struct up_result *result) {
    UP_FREED struct up_measurement *record = up_allocate(1, sizeof *record);
    *record = measuring->record;
    if (trial != NULL) {
        record->trial[record->trials++] = *trial;
    }
    if (!is_scatter_known(measuring, record->trials)) {
        record->kind_repeatability_kg = (struct up_quantity){0, GUESSED_SCATTER_KG, GUESSED_DOF};
    }
    return quick_look(record, shrink, air, result);
}

/* Of the class, as well as can be told. */
static enum up_class class_now(const struct measuring *measuring, const struct up_trial *trial,
                               struct up_result *result) {
    return analysis_at(measuring, trial, 1, QUICK_AIR_AS_IS, result) ? result->answer.class
                                                                     : UP_CLASS_UNDECIDED;
}

static bool may_be_decided(const struct measuring *measuring, const struct up_trial *trial,
                           enum quick_air air) {
    UP_FREED struct up_result *result = up_allocate(1, sizeof *result);
    return analysis_at(measuring, trial, SHRINKS_TO, air, result) &&
           result->answer.class != UP_CLASS_UNDECIDED;
}

/* 0: none is made after this reading. */
static unsigned look_number(const struct measuring *measuring, const struct up_trial *trial) {
    const struct up_measurement *record = &measuring->record;
    if (record->trials == 0) {
        return trial->shakes <= SHAKES_MOST ? look_after_shakes[trial->shakes] : 0;
    }
    return trial->shakes == record->trial[0].shakes ? LOOK_OF_SECOND : 0;
}

/* A class is said once, while the item still hangs. */
static void tell(struct measuring *measuring, enum up_class class, const struct up_result *result) {
    struct up_quick_progress *progress = &measuring->quick.progress;
    bool most = result->quick.at_most;
    if (class != UP_CLASS_UNDECIDED && class != progress->class) {
        events_note(measuring->events, "%.100s in the tank: %s, %s%+.0f g",
                    measuring->record.item.name, up_class_name(class), most ? "at most " : "",
                    most ? up_text_round_up(1e3 * result->quick.high_kg, 1)
                         : round(1e3 * result->answer.buoyancy_kg.value) + 0.0);
    }
    progress->class = class;
    progress->buoyancy_kg = result->answer.buoyancy_kg.value;
    progress->at_most_kg = most ? result->quick.high_kg : (double)NAN;
}

/* What follows a reading in the water: true where the class stands, as far as one can tell. */
static bool look_at(struct measuring *measuring, const struct up_indication *here) {
    UP_FREED struct up_result *result = up_allocate(1, sizeof *result);
    struct up_trial trial = measuring->trial;
    unsigned number = look_number(measuring, &trial);
    read_trial(measuring, here, &trial);
    enum up_class class = class_now(measuring, &trial, result);
    bool stands = number > 0 && class != UP_CLASS_UNDECIDED;
    bool stated = stands && is_scatter_known(measuring, measuring->record.trials + 1);
    measuring->record.quick.analysis = number > 0 ? number : measuring->record.quick.analysis;
    tell(measuring, stated ? class : UP_CLASS_UNDECIDED, result);
    return stands;
}

/* ---- what follows ---- */

static unsigned shakes_of_first(const struct measuring *measuring) {
    return measuring->record.trials > 0 ? measuring->record.trial[0].shakes : 0;
}

int quick_immersed(struct measuring *measuring, const struct up_indication *here) {
    bool stands = look_at(measuring, here);
    if (measuring->record.trials > 0) {
        return shakes_of_first(measuring) > 0 ? MEASURE_SHAKE : MEASURE_LIFT_OUT;
    }
    return stands ? MEASURE_LIFT_OUT : MEASURE_SHAKE;
}

int quick_shaken(struct measuring *measuring, const struct up_indication *here) {
    struct up_trial trial = measuring->trial;
    bool stands = look_at(measuring, here);
    if (measuring->record.trials > 0) {
        return trial.shakes < shakes_of_first(measuring) ? MEASURE_SHAKE : MEASURE_LIFT_OUT;
    }
    /* What two immersions differ by is to tell the scatter, not the air. */
    bool shows_scatter = is_scatter_known(measuring, 1) || !trial.still_gaining;
    if ((stands && shows_scatter) || trial.shakes >= SHAKES_MOST) {
        return MEASURE_LIFT_OUT;
    }
    read_trial(measuring, here, &trial);
    trial.early_counts -= drift_counts(measuring); /* the hanger's next reading takes it off */
    bool of_use = trial.still_gaining || may_be_decided(measuring, &trial, QUICK_AIR_NONE);
    return of_use ? MEASURE_SHAKE : MEASURE_LIFT_OUT;
}

static int ask_aside(struct measuring *measuring, const struct up_result *result) {
    double near_kg = copysign(result->question.tolerance_kg, result->answer.buoyancy_kg.value);
    snprintf(measuring->question, sizeof measuring->question,
             "Near the line at %+.0f g: it needs the full weighing. Put it aside, or weigh it in "
             "full now?",
             near_kg * 1e3);
    return MEASURE_ASIDE;
}

/* The hanger was read empty: what stands now is stated. */
int quick_lifted(struct measuring *measuring) {
    UP_FREED struct up_result *result = up_allocate(1, sizeof *result);
    unsigned trials = measuring->record.trials;
    bool known = is_scatter_known(measuring, trials);
    measuring->record.quick.analysis =
        trials > 1 ? LOOK_OF_SECOND : measuring->record.quick.analysis;
    enum up_class class = class_now(measuring, NULL, result);
    bool stated = known && class != UP_CLASS_UNDECIDED;
    bool again = !stated && trials < 2 && may_be_decided(measuring, NULL, QUICK_AIR_AS_IS);
    tell(measuring, stated ? class : UP_CLASS_UNDECIDED, result);
    measuring->quick.progress.put_aside = !stated && !again;
    measuring->trials_done = !again;
    return measuring->quick.progress.put_aside && measuring->plan.quick.asks_aside
               ? ask_aside(measuring, result)
               : STEP_ONWARDS;
}

int quick_aside(struct measuring *measuring, enum up_answer_word word) {
    measuring->quick.progress.full_now = word == UP_ANSWER_AGAIN;
    return STEP_ONWARDS;
}

double quick_u_load(const struct measuring *measuring, const struct up_plateau *plateau) {
    bool known = measuring->plan.quick.on && measuring->record.kind_repeatability_kg.u > 0;
    return known && plateau->u_parts > 0 ? fmin(plateau->u_load, plateau->u_parts)
                                         : plateau->u_load;
}

/* ---- does a reading end? ---- */

static int step_of(int step) {
    return step == MEASURE_IMMERSE    ? UP_QUICK_IMMERSED
           : step == MEASURE_SHAKE    ? UP_QUICK_SHAKEN
           : step == MEASURE_LIFT_OUT ? UP_QUICK_LIFTED
                                      : UP_QUICK_STEPS;
}

/* A number that looks like chance (S. Vigna's mixer of 64 bits, from memory). */
static unsigned long lot(unsigned long seed) {
    uint64_t x = seed + 0x9e3779b97f4a7c15u;
    x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
    x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
    return (unsigned long)(x ^ (x >> 31));
}

void quick_begin_reading(struct measuring *measuring) {
    struct quick *quick = &measuring->quick;
    unsigned long drawn = lot(lot(measuring->plan.quick.lot) + ++quick->readings);
    quick->trace = (struct quick_trace){.to_the_end = drawn % TO_THE_END_ONE_IN == 0};
}

/* What hangs, as the size of the step: a shake goes off the hook and back. */
static double step_kg(const struct measuring *measuring, int step, double load) {
    double hangs =
        step == MEASURE_LIFT_OUT ? load - measuring->hung.load : load - measuring->tare.load;
    return measuring_linear(measuring, hangs) / per_kg(measuring);
}

static double distance_kg(const struct up_result *result) {
    return fabs(fabs(result->answer.buoyancy_kg.value) - result->question.tolerance_kg);
}

/* The trial as it would be with this reading. */
static bool is_enough(const struct measuring *measuring, int step,
                      const struct up_indication *here) {
    UP_FREED struct up_result *result = up_allocate(1, sizeof *result);
    struct up_trial trial = measuring->trial;
    if (step == MEASURE_LIFT_OUT) {
        double most_kg = fmax(TARE_MOST_KG, measuring->record.kind_repeatability_kg.u);
        trial_complete(measuring, here, &trial);
        return here->early <= most_kg * fabs(per_kg(measuring)) &&
               class_now(measuring, &trial, result) != UP_CLASS_UNDECIDED;
    }
    if (step == MEASURE_SHAKE) {
        trial_take_gain(measuring, here, &trial);
    }
    read_trial(measuring, here, &trial);
    enum up_class class = class_now(measuring, &trial, result);
    return (class != UP_CLASS_UNDECIDED && look_number(measuring, &trial) > 0) ||
           (isfinite(result->answer.buoyancy_kg.value) &&
            here->early / fabs(per_kg(measuring)) <= PART_OF_DISTANCE * distance_kg(result));
}

/* From the second trial of a full weighing on so many shakes follow as the first one needed: of the
   readings before the last two only the air that all shakes freed depends. */
static bool is_minor(const struct measuring *measuring, int step) {
    unsigned set = trial_shakes_set(measuring);
    unsigned reading = step == MEASURE_SHAKE ? measuring->trial.shakes + 1 : 0;
    return measuring->plan.quick.shortens && step != MEASURE_LIFT_OUT && reading + 2 <= set;
}

static bool may_end(const struct measuring *measuring, int step) {
    return measuring->plan.quick.on || is_minor(measuring, step);
}

/* The bound for stuck air may grow by so much, and from the earliest end of a reading to the full
   one a cell may creep by as much: what hangs for a shorter time has crept less at the readings
   that count (our choice). */
static const double MINOR_MATTERS_KG = 0.000125;
/* Whatever depends on it: a gain is wrong by no more (our choice). */
static const double MINOR_MOST_KG = 0.001;

static bool is_minor_enough(const struct measuring *measuring, double step_size_kg,
                            double bound_kg) {
    const struct up_measurement *record = &measuring->record;
    const struct up_calibration *calibration = &record->calibration;
    double share =
        record->kind_stuck_share > 0 ? record->kind_stuck_share : record->rig.stuck_share;
    double decades = log10((record->rig.read_after_s + record->rig.window_s / 2) /
                           (up_early_time_s[0] + UP_EARLY_WINDOW_S / 2));
    double creep = fabs(calibration->creep_rel_decade) +
                   2 * calibration->u_creep_rel_decade; /* NaN: unknown */
    return bound_kg <= MINOR_MOST_KG && up_stuck_air_bound(bound_kg, share) <= MINOR_MATTERS_KG &&
           creep * decades * fabs(step_size_kg) <= MINOR_MATTERS_KG;
}

static bool is_trusted(const struct measuring *measuring, int kind) {
    const struct up_early_watch *noted = &measuring->quick.progress.watch[kind];
    return measuring->plan.quick.envelope[kind].basis != UP_EARLY_NONE &&
           noted->seen >= BORNE_OUT_BY && !up_early_is_rejected(noted, UP_QUICK_EARLY_RISK);
}

/* Do the readings of this trace fit each other by what was learned? They are judged as the traces
   that taught it are: less the last of them, so that no step of its own is in it. */
static bool contradicts(const struct measuring *measuring, int step, double full) {
    const struct quick_trace *trace = &measuring->quick.trace;
    double kg[UP_EARLY_VALUES], slope = per_kg(measuring);
    double last = isnan(full) ? trace->load[trace->times - 1] : full;
    for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
        kg[i] = (trace->load[i] - last) / slope;
    }
    return up_early_contradicts(&measuring->plan.quick.envelope[step_of(step)],
                                step_kg(measuring, step, last), kg, trace->times,
                                isnan(full) ? (double)NAN : 0);
}

static void watch(struct measuring *measuring, int step, bool contradicted) {
    up_early_note(&measuring->quick.progress.watch[step_of(step)], contradicted);
}

bool quick_ends_reading(struct measuring *measuring, int step, double noise_floor,
                        struct up_plateau *window) {
    struct quick_trace *trace = &measuring->quick.trace;
    int kind = step_of(step);
    if (kind == UP_QUICK_STEPS) {
        trace->times = QUICK_NO_TRACE;
        return false;
    }
    size_t time = trace->times++;
    double slope = per_kg(measuring), step_size = step_kg(measuring, step, window->tapered);
    trace->load[time] = window->tapered;
    trace->load[UP_EARLY_TIMES + time] = window->load;
    if (!may_end(measuring, step) || trace->to_the_end || !is_trusted(measuring, kind)) {
        return false;
    }
    if (contradicts(measuring, step, (double)NAN)) {
        trace->to_the_end = true;
        return false;
    }
    struct up_early_limit limit =
        up_early_limit(&measuring->plan.quick.envelope[kind], time, step_size);
    struct up_plateau ended = *window;
    ended.load = window->tapered - limit.off_kg * slope;
    ended.early = limit.bound_kg * fabs(slope);
    /* What still rings is in the bound; the full reading's own noise is less than a reading's. */
    ended.u_load = fmin(ended.u_load, noise_floor);
    struct up_indication here = indication_of(&ended);
    if (measuring->plan.quick.on ? !is_enough(measuring, step, &here)
                                 : !is_minor_enough(measuring, step_size, limit.bound_kg)) {
        return false;
    }
    watch(measuring, step, false);
    *window = ended;
    return true;
}

void quick_learn(struct measuring *measuring, int step, const struct up_plateau *full) {
    struct quick *quick = &measuring->quick;
    const struct quick_trace *trace = &quick->trace;
    struct up_quick_rule *rule = &measuring->record.quick;
    int kind = step_of(step);
    if (kind == UP_QUICK_STEPS) {
        return;
    }
    rule->readings++;
    rule->ended_early += full->early > 0;
    if (trace->times != UP_EARLY_TIMES || full->early > 0 || full->late_s > 0) {
        return;
    }
    if (measuring->plan.quick.envelope[kind].basis != UP_EARLY_NONE) {
        watch(measuring, step, contradicts(measuring, step, full->load));
    }
    if (quick->progress.taughts < UP_QUICK_TAUGHT_MAX) {
        struct up_quick_taught *taught = &quick->taught[quick->progress.taughts++];
        *taught = (struct up_quick_taught){.step = (enum up_quick_step)kind,
                                           .step_kg = step_kg(measuring, step, full->load)};
        for (size_t i = 0; i < UP_EARLY_VALUES; i++) {
            taught->off_kg[i] = (trace->load[i] - full->load) / per_kg(measuring);
        }
    }
}
