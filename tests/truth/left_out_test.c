/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Known masses, one left out: calibrations at the second family's tank, each fitted once without
 * the loadings of one mass, which then are read by it. How often does the bound hold? By law, over
 * all masses and over the lightest.
 *
 *   UPTHRUST_SECOND_SESSIONS=400   calibrations a law; 40 where it is not set
 */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "second_session.h"

enum { SESSIONS_SMALL = 40 };

static const double RARE = 1e-3;

struct tally {
    unsigned all, inside, lightest, lightest_inside;
    double off_rel; /* sum of squares of error over bound */
};

static const struct row {
    enum second_law law;
    double aim;
} rows[] = {{SECOND_QUIET, 0.94},
            {SECOND_CREEP, 0.94},
            {SECOND_LOOPS, 0.94},
            {SECOND_SLOW_DRIFT, 0.94},
            {SECOND_LOOK_ALIKE, 0.90}};

static unsigned sessions_wanted(void) {
    const char *text = getenv("UPTHRUST_SECOND_SESSIONS");
    long wanted = text ? strtol(text, NULL, 10) : SESSIONS_SMALL;
    return wanted < 1 ? 1 : wanted > 100000 ? 100000 : (unsigned)wanted;
}

static void give_point(const struct up_loadings *from, unsigned i, struct up_loadings *to) {
    to->point[to->points] = from->point[i];
    to->tare_change[to->points] = from->tare_change[i];
    to->tare_span_s[to->points] = from->tare_span_s[i];
    to->at_reading[to->points] = from->at_reading[i];
    to->decade[to->points++] = from->decade[i];
}

/* False where what is left carries no fit. */
static bool leave_out(const struct up_loadings *loadings, double mass_kg, struct tally *tally) {
    static struct up_loadings rest, left;
    static struct up_calibration calibration;
    double least_kg = (double)INFINITY;
    rest = left = *loadings;
    rest.points = left.points = 0;
    rest.offset_accepted = true; /* as where nothing was asked */
    for (unsigned i = 0; i < loadings->points; i++) {
        bool same = loadings->point[i].mass_kg == mass_kg;
        give_point(loadings, i, same ? &left : &rest);
        least_kg = fmin(least_kg, fabs(loadings->point[i].mass_kg));
    }
    if (!up_calibration_fit(&rest, &calibration, NULL))
        return false;
    struct up_known_mass check = up_calibration_known_mass(&calibration, &left);
    bool inside = fabs(check.reading_kg - check.mass_kg) <= check.bound_kg;
    tally->all++;
    tally->inside += inside;
    tally->lightest += fabs(mass_kg) == least_kg;
    tally->lightest_inside += inside && fabs(mass_kg) == least_kg;
    tally->off_rel += pow((check.reading_kg - check.mass_kg) / check.bound_kg, 2);
    return true;
}

static void play(enum second_law law, unsigned long seed, struct tally *tally) {
    static struct up_loadings loadings;
    struct second_outcome outcome;
    struct second_plan plan = {.law = law, .seed = seed, .loadings = &loadings};
    loadings.points = 0;
    second_session_play(&plan, &outcome);
    for (unsigned i = 0; i < loadings.points; i++) {
        double mass_kg = loadings.point[i].mass_kg;
        bool first = mass_kg > 0;
        for (unsigned j = 0; j < i; j++)
            first = first && loadings.point[j].mass_kg != mass_kg;
        assert_true(!first || leave_out(&loadings, mass_kg, tally));
    }
}

/* Falls short where chance would make so few in one of a thousand runs. */
static bool holds(unsigned inside, unsigned of, double aim) {
    return gsl_cdf_binomial_P(inside, aim, of) > RARE;
}

static void known_masses_left_out_are_held(void **state) {
    unsigned sessions = sessions_wanted(), shorts = 0;
    (void)state;
    for (size_t r = 0; r < sizeof rows / sizeof *rows; r++) {
        struct tally tally = {0};
        for (unsigned i = 0; i < sessions; i++)
            play(rows[r].law, 8000009 + 100003 * (unsigned long)r + i, &tally);
        print_message("# %-26s all %.3f of %u, lightest %.3f of %u, error / bound rms %.2f\n",
                      second_law_name(rows[r].law), (double)tally.inside / tally.all, tally.all,
                      (double)tally.lightest_inside / tally.lightest, tally.lightest,
                      sqrt(tally.off_rel / tally.all));
        shorts += !(holds(tally.inside, tally.all, rows[r].aim) &&
                    holds(tally.lightest_inside, tally.lightest, rows[r].aim));
    }
    assert_int_equal(shorts, 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(known_masses_left_out_are_held),
    };
    return cmocka_run_group_tests_name("known masses, one left out", tests, NULL, NULL);
}
