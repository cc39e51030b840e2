/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "doubt.h"

#include <stdio.h>

/* A hand at the hook changes the load within a second by more than this many noise floors: as much
   as the finder takes for a step of the load. Drift and creep are slower. */
static const double HANDLED_FLOORS = 8;
static const double HANDLED_WITHIN_S = 1;

/* The empty hanger comes back to its tare within so much: what cheap cells drift and wet hooks
   carry between two tares, and the zero return after a load, which recordings of cheap cells put at
   0.2 to 0.5 % of it; twice either (a choice of ours). */
static const double RETURN_KG = 0.012, RETURN_REL = 0.01;

/* A mass fits those before it within so much: recordings of cheap cells show loops and offsets of
   up to 33 g (a choice of ours). */
static const double MASS_FITS_KG = 0.035, MASS_FITS_REL = 0.01;

/* A dry item is not expected to be lighter (a choice of ours; the operator may accept it). */
static const double DRY_LEAST_KG = 0.010;

/* Between one division, by which a display turns of itself, and two (a choice of ours). */
static const double SHOWN_DIVISIONS = 1.5;

/* So quiet a stream has the floor that rounding alone gives: division/sqrt(12). */
static const double ROUNDED_FLOORS = 0.3;

bool division_shows(double division, double load) {
    return fabs(load) >= SHOWN_DIVISIONS * division;
}

static bool is_rounded(const struct stream *stream, const struct doubt_levels *levels) {
    return stream->filter.noise.floor <= ROUNDED_FLOORS * levels->division;
}

static bool is_handled(const struct stream *stream, const struct doubt_levels *levels,
                       double load) {
    double floor = stream->filter.noise.floor;
    double change = readings_largest_change(&stream->readings, HANDLED_WITHIN_S);
    return stream->readings.count == 0 || /* typed: there is no trace */
           steps_away(levels->before, load, floor) || change >= HANDLED_FLOORS * floor ||
           (is_rounded(stream, levels) &&
            division_shows(levels->division, fmax(change, fabs(load - levels->before))));
}

/* Only an item under water can hang there and show nothing. */
static bool may_be_light(const struct step *step) {
    return step->under_water && step->of_item && !step->comes_back;
}

/* A person has said that it hangs; or what hung there before did not show either. */
static bool is_too_light(const struct doubt *doubt, const struct step *step,
                         const struct stream *stream, const struct doubt_levels *levels) {
    return is_rounded(stream, levels) &&
           (may_be_light(step) ? doubt->is_light
                               : !division_shows(levels->division, levels->before - levels->tare) &&
                                     (step->comes_back || step->shows == SHOWS_TARE));
}

static double return_bound(const struct stream *stream, const struct doubt_levels *levels) {
    double least = isnan(levels->counts_per_kg) ? 0 : RETURN_KG * fabs(levels->counts_per_kg);
    return fmax(fmax(least, RETURN_REL * levels->largest),
                HANDLED_FLOORS * stream->filter.noise.floor);
}

static bool doubt_handling(struct doubt *doubt, const struct step *step) {
    doubt->anew = false;
    snprintf(doubt->text, sizeof doubt->text,
             "The load has not moved since the last question. %s Do it now, then press Enter: "
             "it is read again. %s type accept",
             step->doubt,
             doubt->may_be_light
                 ? "If it is done, the load is too light for the scale's steps: then"
                 : "To keep the reading,");
    return true;
}

static bool doubt_dry(struct doubt *doubt, double rise_kg) {
    doubt->anew = false;
    snprintf(doubt->text, sizeof doubt->text,
             "Dry, it weighs %.1f g. Does it hang on the upper hook? Hang it now, then press "
             "Enter: it is read again. To keep the reading, type accept",
             rise_kg * 1e3);
    return true;
}

static bool doubt_return(struct doubt *doubt, const struct doubt_levels *levels, double off,
                         double bound) {
    bool in_kg = isfinite(levels->counts_per_kg);
    double unit = in_kg ? fabs(levels->counts_per_kg) * 1e-3 : levels->largest / 100;
    doubt->anew = true;
    snprintf(
        doubt->text, sizeof doubt->text,
        "Empty, the hanger is off its last tare by %.1f %s (usual: %.1f %s). Does something hang, "
        "did the ballast slip? Put it right, then press Enter: it is weighed again. To keep the "
        "reading, type accept",
        fabs(off) / unit, in_kg ? "g" : "% of the largest load", bound / unit, in_kg ? "g" : "%");
    return true;
}

static bool doubt_mass(struct doubt *doubt, double mass_kg, double reads_kg) {
    doubt->anew = false;
    snprintf(
        doubt->text, sizeof doubt->text,
        "By the loadings before, %.4f kg hang, not %.6g kg. Is it this mass, and alone, or "
        "was one before wrong? Hang it, then press Enter: it is read again. To keep the reading, "
        "type accept",
        reads_kg, mass_kg);
    return true;
}

bool doubt_arises(struct doubt *doubt, const struct step *step, const struct stream *stream,
                  const struct doubt_levels *levels, double load) {
    if (step->doubt != NULL && isfinite(levels->before) && !is_handled(stream, levels, load)) {
        doubt->may_be_light = is_rounded(stream, levels) && may_be_light(step);
        doubt->passed = is_too_light(doubt, step, stream, levels);
        if (!doubt->passed) {
            return doubt_handling(doubt, step);
        }
    }
    if (isfinite(levels->preload) &&
        !steps_away(levels->preload, load, stream->filter.noise.floor)) {
        doubt->may_be_light = false;
        return doubt_handling(doubt, step);
    }
    double off = load - levels->tare, rise_kg = off / levels->counts_per_kg;
    if (step->shows == SHOWS_RISE && rise_kg < DRY_LEAST_KG) {
        return doubt_dry(doubt, rise_kg);
    }
    if (stream->readings.count == 0) { /* typed: steps of 10 g are more than these bounds */
        return false;
    }
    double reads_kg = off / levels->counts_per_mass_kg;
    if (step->is_known_mass &&
        fabs(reads_kg - levels->mass_kg) > fmax(MASS_FITS_KG, MASS_FITS_REL * levels->mass_kg)) {
        return doubt_mass(doubt, levels->mass_kg, reads_kg);
    }
    double bound = return_bound(stream, levels) + levels->early;
    return step->shows == SHOWS_TARE && fabs(off) > bound &&
           doubt_return(doubt, levels, off, bound);
}
