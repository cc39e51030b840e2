/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "second_rival.h"

#include <math.h>

static const double RATE_HZ = 10, READS_S = 10, TARE_AFTER_S = 20;

struct rival {
    struct second_tank tank;
    struct second_operator person;
    unsigned asks;
    unsigned long samples;
    double time_s;
};

static double next_word(struct rival *rival) {
    rival->time_s = (double)++rival->samples / RATE_HZ;
    return second_tank_word(&rival->tank, rival->time_s);
}

static void does(struct rival *rival, enum up_action action) {
    struct up_ask ask = {.id = ++rival->asks, .action = action, .time_s = rival->time_s};
    struct second_answer answer;
    second_operator_asked(&rival->person, &ask);
    do {
        next_word(rival);
    } while (!second_operator_acts(&rival->person, rival->time_s, &answer));
}

static double reads(struct rival *rival, double after_s) {
    double sum = 0, until_s = rival->time_s + after_s;
    unsigned read = 0;
    while (rival->time_s < until_s) {
        double word = next_word(rival);
        bool counts = rival->time_s > until_s - 1;
        sum += counts ? word : 0;
        read += counts;
    }
    return sum / read;
}

struct second_rival second_rival_weigh(const struct second_truth *truth, double counts_per_kg,
                                       unsigned long seed) {
    static struct rival rival;
    gsl_rng *noise = gsl_rng_alloc(gsl_rng_mt19937), *hands = gsl_rng_alloc(gsl_rng_mt19937);
    struct second_cell_law cell = truth->cell;
    gsl_rng_set(noise, seed + 3000000019);
    gsl_rng_set(hands, seed + 4000000007);
    cell.span_share = truth->measuring_span_share;
    rival = (struct rival){.asks = 0};
    second_tank_begin(&rival.tank, &truth->tank, &cell, noise);
    second_operator_begin(&rival.person, &rival.tank, truth, SECOND_NO_MISTAKE, hands);
    does(&rival, UP_ACTION_ADD_BALLAST);
    does(&rival, UP_ACTION_EMPTY_IN_WATER);
    double tare = reads(&rival, TARE_AFTER_S), begun_s = rival.time_s;
    does(&rival, UP_ACTION_IMMERSE);
    does(&rival, UP_ACTION_SHAKE);
    double load = reads(&rival, READS_S);
    does(&rival, UP_ACTION_LIFT_OUT);
    gsl_rng_free(noise);
    gsl_rng_free(hands);
    return (struct second_rival){-(load - tare) / counts_per_kg, rival.time_s - begun_s};
}
