/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What still changes while it is read: bubbles that form on an item, water that drips off after it
   was lifted out. Both show in the slopes of readings; both are reported, and enter the budget,
   only where all trials together show them. */
#include <math.h>

#include "budget.h"
#include "metrology/statistics.h"

static const double CONFIDENCE_OF_RATE = 0.99; /* one-sided Student's t over the trials */
enum { LEAST_TRIALS = 3 };

/* A cell creeps after a step that loads it by what the calibration has seen while it was read, at
   the same time after it (over a whole dwell it goes by no one law), give or take a fifth; coming
   off, by anything from as much the other way to one and a half times that (choices of ours;
   recorded cells crept by a quarter at most, either way). */
struct creeps {
    double share, off;
};
static const struct creeps LOADED = {1, 0.2}, UNLOADED = {0.25, 1.25};

/* Bubbles form from the shake on, which ended at most as long before the load stood as the reading
   came after that. */
static const double BUBBLES_FROM = 1, BUBBLES_TO = 2;
/* In an exponential run-off the remainder is the rate times the time constant, which is at least
   half of the time at which it is read; a draining film, thinner as the root of time, twice that
   time. */
static const double DRIPS_FROM = 0.5, DRIPS_TO = 2;

struct rates { /* kg/s of lift that grows, or of water that goes */
    double of[UP_TRIALS_MAX], age_s, creep_off_kg_s;
    unsigned count;
};

/* For a reading some time after a load step: the rate at which it falls, less its creep. */
static void add(const struct up_calibration *calibration, double step_counts, double slope_counts_s,
                double age_s, struct rates *rates) {
    double step_kg = step_counts / calibration->slope_counts_per_kg;
    double creep_rel = isnan(calibration->creep_at_reading) ? calibration->creep_rel_decade
                                                            : calibration->creep_at_reading;
    double creep_kg_s = creep_rel * step_kg / (age_s * log(10));
    struct creeps creeps = step_kg > 0 ? LOADED : UNLOADED;
    rates->of[rates->count++] =
        creeps.share * creep_kg_s - slope_counts_s / calibration->slope_counts_per_kg;
    rates->age_s += age_s;
    rates->creep_off_kg_s += creeps.off * fabs(creep_kg_s);
}

/* The means; significant where neither chance nor creep explains them. */
static struct unsteady test_rates(struct rates *rates, double from, double to) {
    if (rates->count < LEAST_TRIALS) {
        return (struct unsteady){.significant = false};
    }
    struct up_summary all = up_summarise(rates->of, rates->count);
    double n = rates->count, age_s = rates->age_s / n, off = rates->creep_off_kg_s / n;
    double u_mean = all.sd / sqrt(n), u = hypot(u_mean, off / sqrt(3));
    double middle = (from + to) / 2, half = (to - from) / 2;
    return (struct unsteady){.rate_kg_s = {all.mean, u, n - 1},
                             .lift_kg = all.mean * age_s * middle,
                             .u_kg = age_s * hypot(all.mean * half / sqrt(3), u * middle),
                             .significant =
                                 all.mean - off >
                                 up_coverage_factor(2 * CONFIDENCE_OF_RATE - 1, n - 1) * u_mean};
}

struct unsteady find_bubbles(const struct up_measurement *measurement) {
    struct rates rates = {.count = 0};
    for (unsigned i = 0; i < measurement->trials; i++) {
        const struct up_trial *trial = &measurement->trial[i];
        if (!trial->left_out && trial->water_age_s > 0) {
            add(&measurement->calibration, trial->load_counts, trial->water_slope_counts_s,
                trial->water_age_s, &rates);
        }
    }
    return test_rates(&rates, BUBBLES_FROM, BUBBLES_TO);
}

/* Of the first trial one of the two tares around it was read after a lift-out, of others both. */
struct unsteady find_drips(const struct up_measurement *measurement) {
    struct rates rates = {.count = 0};
    double tares = 0;
    for (unsigned i = 0; i < measurement->trials; i++) {
        const struct up_trial *trial = &measurement->trial[i];
        if (!trial->left_out && trial->tare_age_s > 0) {
            add(&measurement->calibration, -trial->load_counts, trial->tare_slope_counts_s,
                trial->tare_age_s, &rates);
            tares += trial->number > 1 ? 1 : 0.5;
        }
    }
    struct unsteady found = test_rates(&rates, DRIPS_FROM, DRIPS_TO);
    double share = rates.count > 0 ? tares / rates.count : 0;
    found.lift_kg *= share;
    found.u_kg *= share;
    return found;
}
