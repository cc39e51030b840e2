/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A trial: immersed, shaken until a shake frees little, lifted out; then the interim analysis. */
#include <stdio.h>

#include "budget.h"
#include "measuring.h"

/* Shaking stops when a shake frees less than this, or nothing but noise: half a gram changes no
   diver's lead (a choice of ours, no standard). */
static const double AIR_MATTERS_KG = 0.0005;
static const double AIR_MATTERS_U = 3;

/* A trial after a break that is off those before by so much was weighed by another cell (a choice
   of ours: cells of one kind differ by a few per cent, trials of one item by some grams). */
static const double OTHER_CELL_KG = 0.02, OTHER_CELL_REL = 0.05;
enum { UNLIKE_MAX = 2 };

/* A trial that is off those before it by more is asked about, unless loadings of the calibration
   scatter as much, or trials that somebody kept all the same: on sound benches trials of one item
   differ by some grams at most, cheap cells and trapped air included (a choice of ours). */
static const double UNLIKE_KG = 0.01, UNLIKE_REL = 0.02, UNLIKE_SPREADS = 3;

/* From the lightest foam to the densest metal, osmium (from memory, rounded outward). */
static const double DENSITY_LEAST_KG_M3 = 10, DENSITY_MOST_KG_M3 = 23000;
static const double WATER_KG_M3 = 1000;

static double counts_per_kg(const struct measuring *measuring) {
    return measuring->record.calibration.slope_counts_per_kg;
}

static double age_s(const struct up_indication *here) {
    return here->time_s - here->step_s;
}

/* The means of trial->shakes readings and this one more, less those that ended early: what still
   rings has no slope of its own. */
static void note_slope(struct up_trial *trial, const struct up_indication *here) {
    double share = here->early > 0 ? 0 : 1.0 / (trial->shakes + 1 - trial->ended_early);
    trial->water_slope_counts_s += share * (here->slope_per_s - trial->water_slope_counts_s);
    trial->water_age_s += share * (age_s(here) - trial->water_age_s);
}

int trial_immersed(struct measuring *measuring, const struct up_indication *here) {
    const struct up_measurement *record = &measuring->record;
    measuring->trial = (struct up_trial){.number = record->trials + 1};
    note_slope(&measuring->trial, here);
    if (here->early > 0 && !measuring->plan.quick.on) {
        measuring->trial.ended_early = 1;
        measuring->trial.early_freed_counts = here->early;
    }
    if (record->trials == 0) {
        measuring->immersed_s = here->time_s - record->rig.read_after_s;
    }
    return measuring->plan.quick.on ? quick_immersed(measuring, here) : MEASURE_SHAKE;
}

unsigned trial_shakes_set(const struct measuring *measuring) {
    const struct up_measurement *record = &measuring->record;
    unsigned shakes = 0;
    for (unsigned i = 0; measuring->plan.steady_shakes && i < record->trials && shakes == 0; i++) {
        shakes = record->trial[i].shakes;
    }
    return shakes;
}

void trial_take_gain(const struct measuring *measuring, const struct up_indication *here,
                     struct up_trial *trial) {
    const struct up_indication *before = &measuring->hung;
    double tare = measuring->tare.load, sign = counts_per_kg(measuring) > 0 ? 1 : -1;
    trial->last_gain_counts = sign * (measuring_linear(measuring, here->load - tare) -
                                      measuring_linear(measuring, before->load - tare));
    trial->u_gain_counts = hypot(here->u_load, before->u_load);
    trial->early_gain_counts = here->early + before->early;
    trial->last_gain_s = here->time_s - before->time_s;
    trial->gain_counts[trial->shakes++] = trial->last_gain_counts;
}

/* Keep shaking while a shake frees air that matters; once at least. Later trials use the same
   number, so that their last gains are not selected for being small. */
int trial_shaken(struct measuring *measuring, const struct up_indication *here) {
    struct up_trial *trial = &measuring->trial;
    trial_take_gain(measuring, here, trial);
    note_slope(trial, here);
    trial->ended_early += here->early > 0 && !measuring->plan.quick.on;
    double matters =
        fmax(AIR_MATTERS_KG * fabs(counts_per_kg(measuring)), AIR_MATTERS_U * trial->u_gain_counts);
    trial->still_gaining = trial->last_gain_counts > matters;
    if (measuring->plan.quick.on) {
        return quick_shaken(measuring, here);
    }
    unsigned set = trial_shakes_set(measuring);
    bool enough = set > 0 ? trial->shakes >= set
                          : !trial->still_gaining ||
                                trial->shakes >= (unsigned)measuring->record.rig.shakes_max;
    trial->shakes_set = trial->shakes == set;
    return enough ? MEASURE_LIFT_OUT : MEASURE_SHAKE;
}

/* ---- is it the cell of before the break? ---- */

static double mean_of_kept(const struct up_measurement *record, double otherwise) {
    double sum = 0;
    unsigned kept = up_measurement_trials(record);
    for (unsigned i = 0; i < record->trials; i++) {
        sum += record->trial[i].left_out ? 0 : record->trial[i].load_counts;
    }
    return kept > 0 ? sum / kept : otherwise;
}

/* After a break another cell may be connected; the item, weighed before, reveals it. */
static bool is_same_cell(struct measuring *measuring, double load_counts) {
    double mean = mean_of_kept(&measuring->record, load_counts);
    double off_kg = (load_counts - mean) / counts_per_kg(measuring);
    double most_kg = fmax(OTHER_CELL_KG, OTHER_CELL_REL * fabs(mean / counts_per_kg(measuring)));
    if (!measuring->returned || fabs(off_kg) <= most_kg) {
        measuring->returned = false;
        measuring->unlike = 0;
        return true;
    }
    events_fault(
        measuring->events,
        "the item weighs %.0f g %s than before the break: is it the same cell, the same item, "
        "is all ballast on? This trial does not count",
        fabs(off_kg) * 1e3, off_kg > 0 ? "more" : "less");
    return false;
}

static int refuse(struct measuring *measuring) {
    if (++measuring->unlike < UNLIKE_MAX) {
        return MEASURE_TARE;
    }
    events_fault(measuring->events,
                 "gave up: what is weighed since the break does not fit what was weighed before; "
                 "calibrate if it is another cell, and measure again");
    return STEP_GIVE_UP;
}

/* ---- its end ---- */

/* "9.8 g heavier" */
static void format_deviation(const struct measuring *measuring, unsigned which, char text[24]) {
    double off_g = interim_suspect_off_kg(&measuring->interim, &measuring->record, which) * 1e3;
    snprintf(text, 24, "%.1f g %s", fabs(off_g), off_g > 0 ? "heavier" : "lighter");
}

static void ask_about_outliers(struct measuring *measuring) {
    const struct interim *interim = &measuring->interim;
    const struct up_trial *trial = measuring->record.trial;
    char first[24], second[24];
    format_deviation(measuring, 0, first);
    if (interim->suspects == 1) {
        snprintf(measuring->question, sizeof measuring->question,
                 "Trial %u is %s than the others (Grubbs, 1 %%). Done: keep it. Skip: leave it "
                 "out, only if you know what went wrong",
                 trial[interim->suspect[0]].number, first);
        return;
    }
    format_deviation(measuring, 1, second);
    snprintf(measuring->question, sizeof measuring->question,
             "Trials %u and %u are %s and %s than the others (Rosner, 0.5 %%). Done: keep them. "
             "Skip: leave them out, only if you know what went wrong",
             trial[interim->suspect[0]].number, trial[interim->suspect[1]].number, first, second);
}

static int analyse(struct measuring *measuring) {
    switch (interim_analyse(&measuring->interim, &measuring->record, &measuring->plan)) {
    case INTERIM_OUTLIER:
        ask_about_outliers(measuring);
        return MEASURE_OUTLIER;
    case INTERIM_ENOUGH:
        measuring->trials_done = true;
        break;
    case INTERIM_MORE_TRIALS:
        break;
    }
    return STEP_ONWARDS;
}

/* ---- can it be so? ---- */

/* The difference between the lightest and the heaviest trial that counts. */
static double spread_of_kept(const struct up_measurement *record) {
    double low = (double)INFINITY, high = -(double)INFINITY;
    for (unsigned i = 0; i < record->trials; i++) {
        if (!record->trial[i].left_out) {
            low = fmin(low, record->trial[i].load_counts);
            high = fmax(high, record->trial[i].load_counts);
        }
    }
    return high > low ? high - low : 0;
}

static bool is_unlike(struct measuring *measuring) {
    const struct up_measurement *record = &measuring->record;
    double load = measuring->trial.load_counts, per_kg = fabs(counts_per_kg(measuring));
    double mean = mean_of_kept(record, load), off = load - mean;
    double scatter = measuring->spread_accepted
                         ? spread_of_kept(record)
                         : u_loading_kg(&record->calibration, mean / per_kg) * per_kg;
    double most = fmax(fmax(UNLIKE_KG * per_kg, UNLIKE_REL * fabs(mean)),
                       fmax(UNLIKE_SPREADS * scatter, interim_apart_by_rounding(record)));
    most += measuring->trial.early_counts + record->trial[0].early_counts;
    most += measuring->plan.quick.on ? quick_air_counts(record, &measuring->trial) +
                                           quick_air_counts(record, &record->trial[0])
                                     : 0;
    if (fabs(off) <= most) {
        return false;
    }
    snprintf(measuring->question, sizeof measuring->question,
             "It weighs %.1f g %s than before. Is it the same item, does it touch, is all ballast "
             "on? Press Enter: it does not count and is weighed again. To keep it, type accept",
             fabs(off) / per_kg * 1e3, off * counts_per_kg(measuring) > 0 ? "more" : "less");
    return true;
}

static bool is_impossible(struct measuring *measuring) {
    double per_kg = counts_per_kg(measuring);
    double dry_kg = measuring->record.air_counts.value / per_kg;
    double density = WATER_KG_M3 * dry_kg / (dry_kg - measuring->trial.load_counts / per_kg);
    if (measuring->record.trials > 0 || isnan(density) ||
        (density >= DENSITY_LEAST_KG_M3 && density <= DENSITY_MOST_KG_M3)) {
        return false;
    }
    snprintf(measuring->question, sizeof measuring->question,
             "%.0f g dry and %.0f g in water: no gear is so %s. Was it the same item, did it hang "
             "free? Press Enter: it is weighed again, dry too. To keep it, type accept",
             dry_kg * 1e3, measuring->trial.load_counts / per_kg * 1e3,
             density > 0 && density < DENSITY_LEAST_KG_M3 ? "light" : "dense");
    return true;
}

static int keep(struct measuring *measuring) {
    struct up_measurement *record = &measuring->record;
    record->trial[record->trials++] = measuring->trial;
    events_push(measuring->events, UP_EVENT_TRIAL)->trial = measuring->trial;
    return measuring->plan.quick.on ? quick_lifted(measuring) : analyse(measuring);
}

int trial_doubted(struct measuring *measuring, enum up_answer_word word) {
    if (word == UP_ANSWER_ACCEPT) {
        events_note(measuring->events, "accepted by the operator: %s", measuring->question);
        measuring->spread_accepted = true;
        return keep(measuring);
    }
    measuring->air_done = measuring->air_done && measuring->record.trials > 0;
    return STEP_ONWARDS;
}

void trial_complete(const struct measuring *measuring, const struct up_indication *after,
                    struct up_trial *trial) {
    const struct up_measurement *record = &measuring->record;
    struct up_quantity load = measuring_load(measuring, after);
    trial->load_counts = load.value;
    trial->u_plateau_counts = load.u;
    trial->early_counts = measuring->hung.early + fmax(measuring->tare.early, after->early);
    trial->soak_s = measuring->hung.time_s - measuring->immersed_s;
    /* The temperature at its reading in the water; the tare was read later. */
    trial->temp_c = isnan(measuring->hung.temp_c) ? record->water_temp_c : measuring->hung.temp_c;
    trial->late_s = measuring->hung.late_s;
    /* The drift of the zero is in both tares. */
    double span_s = after->time_s - measuring->tare.time_s;
    double drift = span_s > 0 ? (after->load - measuring->tare.load) / span_s : 0;
    trial->water_slope_counts_s -= drift;
    trial->tare_change_counts = after->load - measuring->tare.load;
    trial->tare_slope_counts_s = after->slope_per_s - drift;
    trial->tare_age_s = age_s(after);
    if (trial->early_counts > 0) { /* what still rings has no slope of its own */
        trial->water_age_s = trial->tare_age_s = 0;
    }
}

int trial_lifted_out(struct measuring *measuring, const struct up_indication *after) {
    if (!is_same_cell(measuring, measuring_load(measuring, after).value)) {
        return refuse(measuring);
    }
    trial_complete(measuring, after, &measuring->trial);
    return is_unlike(measuring) || is_impossible(measuring) ? MEASURE_TRIAL_DOUBTED
                                                            : keep(measuring);
}

int trial_outlier(struct measuring *measuring, enum up_answer_word word) {
    const struct interim *interim = &measuring->interim;
    for (unsigned i = 0; i < interim->suspects; i++) {
        struct up_trial *trial = &measuring->record.trial[interim->suspect[i]];
        trial->left_out = word == UP_ANSWER_SKIP;
        events_note(measuring->events,
                    trial->left_out ? "trial %u is left out of the mean, as the operator chose"
                                    : "trial %u differs from the others and is kept",
                    trial->number);
    }
    return analyse(measuring);
}
