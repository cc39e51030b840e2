/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ballast.h"

#include <stdio.h>

#include "measuring.h"

/* Ballast must weigh at least this many times the lift it holds down, in water. */
static const double BALLAST_FACTOR = 1.5;
static const double LEAD_KG_M3 = 11340; /* handbook value of pure lead */
static const double WATER_KG_M3 = 1000;

/* Ballast whose weight differs from lead's by more than this was declared wrong, or something
   carries it: pieces of lead are off their number by some per cent, iron in its place weighs 5 %
   less (a choice of ours). */
static const double DECLARED_FITS_REL = 0.1;

/* Where none is declared, anything lighter counts as none (a choice of ours). */
static const double BALLAST_LEAST_KG = 0.05;

double ballast_holds_kg(double lead_kg) {
    return lead_kg * (1 - WATER_KG_M3 / LEAD_KG_M3);
}

double ballast_wanted_kg(double lift_kg) {
    return lift_kg * BALLAST_FACTOR / ballast_holds_kg(1);
}

/* ---- in a session ---- */

static double weight_kg(const struct measuring *measuring, double counts) {
    return measuring_linear(measuring, counts) / measuring->record.calibration.slope_counts_per_kg;
}

int ballast_bare(struct measuring *measuring, const struct up_indication *here) {
    measuring->bare = *here;
    return MEASURE_BALLAST;
}

/* At the first empty reading with it. A later one, after a break, says nothing new. */
int ballast_hung(struct measuring *measuring, const struct up_indication *here) {
    double lead_kg = measuring->record.rig.ballast_kg, wanted_kg = ballast_holds_kg(lead_kg);
    if (!measuring->bare.known) {
        return MEASURE_AIR;
    }
    measuring->bare.known = false;
    measuring->ballast_kg = weight_kg(measuring, here->load - measuring->bare.load);
    if (lead_kg > 0 &&
        !(fabs(measuring->ballast_kg - wanted_kg) <= DECLARED_FITS_REL * wanted_kg)) {
        snprintf(measuring->question, sizeof measuring->question,
                 "Under water the ballast weighs %.0f g; %.4g kg of lead weigh %.0f g. Is "
                 "ballast_kg right, does it hang free, off the floor?%s Put it right, then press "
                 "Enter: it is weighed again. To keep the reading, type accept",
                 measuring->ballast_kg * 1e3, lead_kg, wanted_kg * 1e3,
                 measuring->returned ? " Is it the same cell?" : "");
        return MEASURE_BALLAST_DOUBTED;
    }
    return MEASURE_AIR;
}

/* The first empty reading after a break: whoever was away may have taken the ballast off, or hung
   more. Half of it is far more than a cell drifts meanwhile (a choice of ours). */
bool ballast_is_off(struct measuring *measuring, const struct up_indication *here) {
    double changed_kg = fabs(weight_kg(measuring, here->load - measuring->tare.load));
    bool is_off = measuring->plan.bare_hook && !measuring->bare.known && measuring->tare.known &&
                  measuring->ballast_kg > BALLAST_LEAST_KG &&
                  changed_kg > measuring->ballast_kg / 2;
    if (is_off) {
        events_note(measuring->events,
                    "the empty hanger reads other than before the break, by %.0f g: the ballast, "
                    "which weighed %.0f g under water, is weighed again",
                    changed_kg * 1e3, measuring->ballast_kg * 1e3);
        measuring->ballast_kg = (double)NAN;
    }
    return is_off;
}

int ballast_doubted(struct measuring *measuring, enum up_answer_word word) {
    if (word != UP_ANSWER_ACCEPT) {
        measuring->ballast_kg = (double)NAN;
        measuring->tare_is_stale = true; /* it was read with that ballast */
        return MEASURE_BARE;
    }
    events_note(measuring->events, "accepted by the operator: %s", measuring->question);
    return measuring->air_done ? STEP_ONWARDS : MEASURE_AIR;
}

/* A line that goes slack measures nothing: the ballast must outweigh the lift with room to spare.
   What was weighed counts, not what was declared. */
bool ballast_holds(const struct measuring *measuring, const struct up_indication *here) {
    double lift_kg = -weight_kg(measuring, here->load - measuring->tare.load);
    double lead_kg = measuring->record.rig.ballast_kg;
    bool is_weighed = isfinite(measuring->ballast_kg) &&
                      (lead_kg > 0 || measuring->ballast_kg > BALLAST_LEAST_KG);
    if (is_weighed) {
        lead_kg = fmax(measuring->ballast_kg, 0) / ballast_holds_kg(1);
    } else if (lead_kg == 0) {
        return true;
    }
    if (ballast_wanted_kg(lift_kg) <= lead_kg) {
        return true;
    }
    events_fault(measuring->events,
                 "the item lifts %.0f g and the ballast holds %.0f g: hang at least %.1f kg of "
                 "lead and say so in the rig file",
                 lift_kg * 1e3, ballast_holds_kg(lead_kg) * 1e3, ballast_wanted_kg(lift_kg));
    return false;
}
