/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Simulated divers: body, suit and breath are unknown to the program, which sees weight checks
 * only. How often do its intervals hold the lead that the diver really needs, in another water and
 * at the end of the dive? By the program's own laws, and by others: a suit that does not follow
 * Boyle, a breath that differs from check to check more than assumed, a gauge that is off, lead
 * that is not what its mark says, another cylinder than was entered.
 */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "divers.h"
#include "kit/kit.h"

enum { BELT, CYLINDER, SUIT, FINS, JACKET, PARTS, CHECKS = 3 };
enum { DEEP, DROPPED, LOST, BOUNDS };
enum law { OWN, STIFF_SUIT, ONE_BREATH_EACH, GAUGE_OFF, WRONG_LEAD, OTHER_CYLINDER, LAWS };
static const char *const law_name[LAWS] = {
    "own laws",        "suit stays stiff", "a breath for each check",
    "gauge 8 bar off", "lead 8 % light",   "cylinder 0.3 l larger"};

static const double GRAVITY = 9.80665, AIR_PA = 101325;

/* What is so, and nobody knows. */
struct diver {
    double body_kg, body_m3, share, wall_pa, suit_gas_m3, lead_ratio, lead_kg_m3, gauge_bar,
        common_breath_kg, breath_kg;
    double outside_m3, fins_m3, fins_kg, fresh_kg_m3, sea_kg_m3, gas_ratio, suit_kg;
};

static struct up_bounded known(double value, double u) {
    return (struct up_bounded){value, u, false};
}

static struct up_bounded anywhere(double value, double halfwidth) {
    return (struct up_bounded){value, halfwidth / sqrt(3), true};
}

static double rectangle(gsl_rng *rng, double low, double high) {
    return gsl_ran_flat(rng, low, high);
}

/* The kit as it is entered; the true values are drawn around it. */
static struct up_kit entered(void) {
    struct up_kit kit = {
        .body_kg = known(80, 0.5), .u_gauge_bar = 3, .parts = PARTS, .draws = 6000};
    struct up_part *part = kit.part;
    for (size_t i = 0; i < PARTS; i++) {
        part[i].gas = (struct up_breathing_gas){UP_AIR_OXYGEN};
    }
    part[BELT].kind = UP_PART_LEAD;
    part[BELT].mass_kg = anywhere(6, 0.3);
    part[CYLINDER].kind = UP_PART_CYLINDER;
    part[CYLINDER].buoyancy_kg = known(-14.2, 0.05);
    part[CYLINDER].volume_m3 = known(14.3e-3, 0.1e-3);
    part[CYLINDER].water_volume_m3 = 12e-3;
    part[CYLINDER].working_pressure_bar = 232;
    part[SUIT].kind = UP_PART_SUIT;
    part[SUIT].buoyancy_kg = known(-3, 0.02);
    part[SUIT].volume_m3 = known(2.4e-3, 0.2e-3);
    part[SUIT].gas_m3 = anywhere(6e-3, 2e-3);
    part[FINS].buoyancy_kg = known(-0.371, 0.002);
    part[FINS].density_kg_m3 = 998;
    part[FINS].volume_m3 = known(1.6e-3, 2e-6);
    part[JACKET].kind = UP_PART_JACKET;
    part[JACKET].buoyancy_kg = known(-3.5, 0.05);
    part[JACKET].volume_m3 = known(3.2e-3, 0.2e-3);
    part[JACKET].gas_m3 = anywhere(0.2e-3, 0.2e-3);
    return kit;
}

static struct diver draw_diver(gsl_rng *rng, enum law law) {
    struct diver diver = {
        .body_kg = 80 + gsl_ran_gaussian(rng, 0.5),
        .share = rectangle(rng, 0.5, 1),
        /* a wall of constant stiffness beside the gas: V ~ 1 / (P + K) */
        .wall_pa = law == STIFF_SUIT ? 2 * AIR_PA : 0,
        .suit_gas_m3 = rectangle(rng, 4e-3, 8e-3),
        .lead_ratio = law == WRONG_LEAD ? 0.92 : rectangle(rng, 0.95, 1.05),
        .lead_kg_m3 = rectangle(rng, 11030, 11350),
        .gauge_bar = law == GAUGE_OFF ? 8 : gsl_ran_gaussian(rng, 3),
        .breath_kg = law == ONE_BREATH_EACH ? hypot(0.5, 0.5) : 0.5,
        .common_breath_kg = law == ONE_BREATH_EACH ? 0 : gsl_ran_gaussian(rng, 0.5),
        .outside_m3 = law == OTHER_CYLINDER ? 14.6e-3 : 14.3e-3 + gsl_ran_gaussian(rng, 0.1e-3),
        .fins_kg = -0.371 + gsl_ran_gaussian(rng, 0.002),
        .fins_m3 = 1.6e-3 + gsl_ran_gaussian(rng, 2e-6),
        .fresh_kg_m3 = 998 + gsl_ran_gaussian(rng, 0.3),
        .sea_kg_m3 = 1026 + gsl_ran_gaussian(rng, 1),
        .gas_ratio = 1 + gsl_ran_gaussian(rng, 0.001),
    };
    diver.body_m3 = (diver.body_kg + rectangle(rng, -3, 3)) / 1000;
    return diver;
}

/* Gas by the same published equation, the true pressure being the gauge's less its error. */
static double gas_kg(const struct diver *diver, double gauge_bar) {
    struct up_breathing_gas air = {UP_AIR_OXYGEN};
    struct up_quantity density;
    double true_pa = fmax(gauge_bar + diver->gauge_bar, 0) * 1e5 + AIR_PA;
    assert_true(up_breathing_gas_density(&air, true_pa, 20, &density, NULL));
    return density.value * diver->gas_ratio * 12e-3;
}

/* Everything but the lead; physics written once more, without a look at kit/. */
static double lift_without_lead_kg(const struct diver *diver, double water_kg_m3, double depth_m,
                                   double gauge_bar) {
    double deep_pa = AIR_PA + water_kg_m3 * GRAVITY * depth_m;
    double squeezed = diver->wall_pa > 0 ? (AIR_PA + diver->wall_pa) / (deep_pa + diver->wall_pa)
                                         : 1 - diver->share * (1 - AIR_PA / deep_pa);
    return water_kg_m3 * diver->body_m3 - diver->body_kg +                     /* body */
           water_kg_m3 * diver->outside_m3 - 14.2 - gas_kg(diver, gauge_bar) + /* cylinder */
           water_kg_m3 * (2.4e-3 + diver->suit_gas_m3 * squeezed) - 3 +        /* suit */
           diver->fins_kg + (water_kg_m3 - 998) * diver->fins_m3 +             /* fins */
           water_kg_m3 * 3.4e-3 - 3.5;                                         /* jacket */
}

static double lead_needed_kg(const struct diver *diver, double lift_kg, double water_kg_m3) {
    return lift_kg / (1 - water_kg_m3 / diver->lead_kg_m3);
}

static struct up_kit_state state_in(bool sea, double depth_m, double gauge_bar) {
    struct up_kit_state state = {.water_kg_m3 = sea ? 1026 : 998,
                                 .u_water_kg_m3 = sea ? 1 : 0.3,
                                 .water = sea,
                                 .depth_m = depth_m,
                                 .u_depth_m = 0.2,
                                 .pressure_bar = gauge_bar,
                                 .u_pressure_bar = 2,
                                 .gas_temp_c = 20,
                                 .u_gas_temp_c = 0,
                                 .air_pressure_pa = AIR_PA};
    for (size_t i = 0; i < UP_KIT_PARTS_MAX; i++) {
        state.lead_kg[i] = (double)NAN;
    }
    return state;
}

/* The diver adds and takes off lead until the check hangs still; what is written down is the mark
   on the lead, the gauge's reading and the depth as read. */
static void do_checks(const struct diver *diver, gsl_rng *rng, struct up_kit *kit) {
    static const struct {
        double depth_m, gauge_bar;
    } plan[CHECKS] = {{0.5, 190}, {5, 60}, {0.5, 90}};
    for (size_t i = 0; i < CHECKS; i++) {
        double depth_m = plan[i].depth_m + gsl_ran_gaussian(rng, 0.2);
        double gauge_bar = plan[i].gauge_bar + gsl_ran_gaussian(rng, 2);
        double lift_kg =
            lift_without_lead_kg(diver, diver->fresh_kg_m3, fmax(depth_m, 0), gauge_bar) +
            diver->common_breath_kg + gsl_ran_gaussian(rng, diver->breath_kg);
        struct up_kit_check *check = &kit->check[i];
        snprintf(check->label, sizeof check->label, "check %zu", i + 1);
        check->state = state_in(false, plan[i].depth_m, plan[i].gauge_bar);
        check->state.lead_kg[BELT] =
            lead_needed_kg(diver, lift_kg, diver->fresh_kg_m3) / diver->lead_ratio;
    }
    kit->checks = CHECKS;
}

struct tally {
    unsigned asked, held, bounded[BOUNDS];
    double width_kg;
};

static void hold(struct tally *tally, const struct up_kit_answer *answer, double truth) {
    tally->asked++;
    tally->held += answer->low <= truth && truth <= answer->high;
    tally->width_kg += (answer->high - answer->low) / 2;
}

/* The worst cases: what the diver really weighs at the deepest point with all gas, against the
   bound without suit gas; the lift left at the surface with all gas and the lead dropped; the lift
   at the stop, nearly empty, with the lead lost. */
static void hold_bounds(struct tally *tally, const struct up_kit_draws *draws,
                        const struct diver *diver) {
    static const struct {
        double depth_m, gauge_bar;
        bool dropped, from_below;
    } worst[BOUNDS] = {{18, 200, false, true}, {0, 200, true, true}, {5, 10, true, false}};
    for (size_t i = 0; i < BOUNDS; i++) {
        struct up_kit_state state = state_in(true, worst[i].depth_m, worst[i].gauge_bar);
        struct up_kit_answer answer;
        struct up_failure failure = {UP_STATUS_DONE, ""};
        double truth =
            lift_without_lead_kg(diver, diver->sea_kg_m3, worst[i].depth_m, worst[i].gauge_bar);
        truth -= worst[i].dropped
                     ? 0
                     : 6 * diver->lead_ratio * (1 - diver->sea_kg_m3 / diver->lead_kg_m3);
        state.u_depth_m = state.u_pressure_bar = 0;
        state.suit_gas_gone = !worst[i].dropped;
        state.without[BELT] = worst[i].dropped;
        if (!up_kit_lift_kg(draws, &state, &answer, &failure)) {
            fail_msg("%s", failure.text);
        }
        tally->bounded[i] += worst[i].from_below ? answer.least <= truth : truth <= answer.most;
    }
}

/* Lead to add, against what hangs in the kit; at the stop in the sea, the gas nearly gone. */
static void one_diver(gsl_rng *rng, enum law law, struct tally *tally) {
    struct diver diver = draw_diver(rng, law);
    struct up_kit kit = entered();
    struct up_kit_draws *draws;
    struct up_kit_answer answer;
    struct up_failure failure = {UP_STATUS_DONE, ""};
    struct up_kit_state stop = state_in(true, 5, 50);
    kit.seed = gsl_rng_get(rng);
    do_checks(&diver, rng, &kit);
    stop.u_depth_m = stop.u_pressure_bar = 0;
    if (!up_kit_solve(&kit, &draws, &failure) || !up_kit_lead_kg(draws, &stop, &answer, &failure)) {
        fail_msg("%s", failure.text);
    }
    double lift_kg = lift_without_lead_kg(&diver, diver.sea_kg_m3, 5, 50);
    double belt_kg = 6 * diver.lead_ratio;
    hold(tally, &answer, lead_needed_kg(&diver, lift_kg, diver.sea_kg_m3) - belt_kg);
    hold_bounds(tally, draws, &diver);
    up_kit_free(draws);
}

void play_divers(unsigned divers) {
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_taus2);
    const char *only = getenv("UPTHRUST_TRUTH_LAW");
    printf("# %-24s %8s %8s %28s %6s\n", "law", "divers", "held, %",
           "in bounds: deep, dropped, lost", "+- kg");
    for (int law = 0; law < LAWS; law++) {
        struct tally tally = {0};
        if (only != NULL && atoi(only) != law) {
            continue;
        }
        gsl_rng_set(rng,
                    20261128 +
                        (unsigned long)law); /* each law's own, so that one can be played alone */
        for (unsigned i = 0; i < divers; i++) {
            one_diver(rng, (enum law)law, &tally);
        }
        double held = 100.0 * tally.held / tally.asked, bounded[BOUNDS];
        for (size_t i = 0; i < BOUNDS; i++) {
            bounded[i] = 100.0 * tally.bounded[i] / tally.asked;
        }
        /* three standard deviations of chance */
        double slack = 300 * sqrt(0.05 * 0.95 / divers);
        printf("# %-24s %8u %8.1f %12.2f %8.2f %8.2f %6.2f\n", law_name[law], tally.asked, held,
               bounded[DEEP], bounded[DROPPED], bounded[LOST], tally.width_kg / tally.asked);
        assert_true(held >= (law == OWN ? 94 : 90) - slack);
        assert_true(law != OWN || held <= 98 + slack);
        for (size_t i = 0; i < BOUNDS; i++) {
            assert_true(bounded[i] >= 99.5 - 300 * sqrt(0.005 * 0.995 / divers));
        }
    }
    gsl_rng_free(rng);
}
