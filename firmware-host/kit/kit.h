/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A diver's kit: what in-water weight checks say of the diver's body, and what follows for the lead
 * in another state (water, depth, gas used, other gear). Statics only: it plans neither gas nor
 * ascent. It prepares an in-water weight check with a qualified instructor and never replaces it.
 *
 * Sign: lift is positive upwards, in kg (the mass whose weight it would carry). With rho the
 * water's density and P its absolute pressure at depth:
 *
 * - gear: b(rho) = b0 + (rho - rho0) V, b0 measured at rho0; rho0 = 0, b0 = -m: from mass, volume
 * - lead: -m (1 - rho / rho_lead), since lead displaces water too
 * - cylinder: rho V_out - m_empty - rho_gas(p_gauge + p_air, t) V_water
 * - suit: its solid part as gear; its gas rho V_gas (1 - s (1 - p_air / P)), s = 1: Boyle's law
 * - body: rho V_body - m_body; V_body is what the weight checks are solved for
 *
 * A weight check is an equation: hanging still, all lifts together are nothing, give or take the
 * breath. Each draw of the uncertain inputs (JCGM 101) solves every check for V_body; the draw
 * counts by how well its checks agree (Bayes' rule with a flat prior of V_body), and every question
 * is answered by the same draws. So an error that checks and question share cancels by itself: one
 * calibration, one filling, the lead's density, the scale under the diver.
 *
 * Our choices, no standard: the breath of a check is off by 0.5 kg (standard uncertainty, each
 * check anew), and all checks of a diver by 0.5 kg together; the share of a suit's gas that follows
 * Boyle lies anywhere from 0.5 to 1, from 0.2 to 1.1 where checks at two depths, 3 m apart or more,
 * narrow it down; lead lies anywhere within 5 % of its mark unless it was weighed, its density from
 * 11030 (6 % antimony, by ideal mixing) to 11350 kg/m3 (handbook).
 */
#ifndef UPTHRUST_KIT_KIT_H
#define UPTHRUST_KIT_KIT_H

#include <stdbool.h>
#include <stddef.h>

#include "metrology/breathing_gas.h"
#include "upthrust/failure.h"
#include "upthrust/item.h"
#include "upthrust/quantity.h"

enum { UP_KIT_PARTS_MAX = 96, UP_KIT_CHECKS_MAX = 64 };

enum up_part_kind { UP_PART_GEAR, UP_PART_LEAD, UP_PART_CYLINDER, UP_PART_SUIT, UP_PART_JACKET };

/* Where it is not known how far off a number is within its bounds, it is rectangular. */
struct up_bounded {
    double value;
    double u; /* standard; of a rectangle the half-width over the square root of 3 */
    bool rectangular;
};

struct up_bounded up_between(double low, double high);

struct up_part {
    char name[UP_NAME_SIZE];
    enum up_part_kind kind;
    struct up_bounded place_m; /* along the body from the hips, feet negative; value NaN: unknown */
    bool ditchable;            /* lead: can be dropped by hand */

    /* Gear, and the solid of suit, jacket and cylinder (the latter's rho0 is 0, b0 minus its mass
       when empty, V its outside). */
    struct up_bounded buoyancy_kg; /* b0 */
    double density_kg_m3;          /* rho0 */
    struct up_bounded volume_m3;   /* V; value NaN: unknown, then only waters near rho0 serve */

    /* Gear: air that no shake frees may have lifted so much when it was weighed. A bound: it
       lengthens an answer's interval and is not drawn. */
    double stuck_air_kg;

    struct up_bounded mass_kg; /* lead */

    /* cylinder */
    double water_volume_m3, working_pressure_bar;
    struct up_breathing_gas gas;

    struct up_bounded gas_m3; /* suit: its gas at the surface; jacket: what stays trapped in it */
    double lift_kg;           /* jacket: full, as its maker gives it; 0: unknown */

    bool spare;        /* not worn: it could take the place of a part */
    size_t instead_of; /* that part */
};

/* How the diver hangs: everything that changes from one moment to another. */
struct up_kit_state {
    double water_kg_m3, u_water_kg_m3;
    unsigned water;            /* states in one water, so numbered, share its density's error */
    double depth_m, u_depth_m; /* of the middle of the body */
    double pressure_bar;       /* gauge, of every cylinder */
    double u_pressure_bar;     /* of one reading; the gauge's own error is in struct up_kit */
    double gas_temp_c, u_gas_temp_c;
    double air_pressure_pa;           /* 101325 at the sea */
    double jacket_gas_kg;             /* lift of the gas let into the jacket */
    bool suit_gas_gone;               /* a bound, not Boyle */
    double lead_kg[UP_KIT_PARTS_MAX]; /* by part, of lead: what it weighs then; NaN: its mass_kg */
    bool without[UP_KIT_PARTS_MAX];   /* the part is not there: lost, ditched, left at home */
};

struct up_kit_check {
    struct up_kit_state state;
    char label[64];
    bool level; /* the diver hung level there */
};

struct up_kit {
    struct up_bounded body_kg; /* on a scale, without gear */
    double u_gauge_bar;        /* how far off the gauge is, the same whenever it is read */
    struct up_part part[UP_KIT_PARTS_MAX];
    size_t parts;
    struct up_kit_check check[UP_KIT_CHECKS_MAX];
    size_t checks;
    /* Of gear's buoyancies b0, row by row, parts x parts, kg^2; NULL: they share nothing. */
    const double *covariance_kg2;
    unsigned draws; /* 0: 20000 */
    unsigned long seed;
};

/* An answer of any unit. */
struct up_kit_answer {
    double value, u;
    double low, high; /* of the 95 % interval */
    /* One-sided bounds of 99.95 %, so that 99.5 of 100 hold where lead, suit, gauge or cylinder are
       somewhat other than entered (tests/truth/diver_test.c). */
    double least, most;
};

struct up_kit_draws;

/* Draws the inputs and solves the checks. UP_STATUS_WRONG_INPUT: no check, no cylinder's gas that
   is known, a number that cannot be. The caller frees it. */
bool up_kit_solve(const struct up_kit *kit, struct up_kit_draws **draws,
                  struct up_failure *failure);
void up_kit_free(struct up_kit_draws *draws);

/* How well the checks agree with each other under the draw that fits them best: the probability
   of a larger sum of squares by chance (chi-squared); 1 for one check. Below 0.01 they contradict
   each other, or what the kit says. And how many independent draws they leave (Kish). */
double up_kit_agreement(const struct up_kit_draws *draws, double *effective_draws);

/* The middle of what lead may be. */
#define UP_KIT_LEAD_KG_M3 11190.0
/* Half a kilogram of breath, 0.45 m above the hips (our choice). */
#define UP_KIT_BREATH_KG 0.5
#define UP_KIT_BREATH_NM (UP_KIT_BREATH_KG * 0.45 * 9.80665)

/* Net lift of the diver in a state, breathing normally; positive floats. */
bool up_kit_lift_kg(const struct up_kit_draws *draws, const struct up_kit_state *state,
                    struct up_kit_answer *answer, struct up_failure *failure);
/* Lead to add (positive) or take off, so that the diver hangs still there. */
bool up_kit_lead_kg(const struct up_kit_draws *draws, const struct up_kit_state *state,
                    struct up_kit_answer *answer, struct up_failure *failure);
/* From one state to another: what the lead changes by. */
bool up_kit_lead_change_kg(const struct up_kit_draws *draws, const struct up_kit_state *from,
                           const struct up_kit_state *to, struct up_kit_answer *answer,
                           struct up_failure *failure);
/* Of one part: its lift, and its moment about the hips, N m, positive lifts the head's side. */
bool up_kit_part_lift_kg(const struct up_kit_draws *draws, size_t part,
                         const struct up_kit_state *state, struct up_kit_answer *answer,
                         struct up_failure *failure);
bool up_kit_part_moment_nm(const struct up_kit_draws *draws, size_t part,
                           const struct up_kit_state *state, struct up_kit_answer *answer,
                           struct up_failure *failure);

/* What changes where a spare takes the place of its part: lift, lead (to add), and the moment
   (N m; NaN where either's place is unknown). The state may be `without` neither. */
struct up_kit_swap {
    struct up_kit_answer lift_kg, lead_kg, moment_nm;
};
bool up_kit_swap(const struct up_kit_draws *draws, size_t spare, const struct up_kit_state *state,
                 struct up_kit_swap *swap, struct up_failure *failure);
/* What the moment changes by where so much lead moves from one part's place to another's. */
bool up_kit_move_nm(const struct up_kit_draws *draws, size_t from, size_t to, double kg,
                    const struct up_kit_state *state, struct up_kit_answer *answer,
                    struct up_failure *failure);
/* How far off level the diver would hang `now`, by a check in which all was level, and with a spare
   in its part's place (part: one that is worn, for none): N m, positive lifts the head's side. A
   breath's own moment is in it, and where in the body another water lifts it. Fails where something
   that lifts otherwise than then has no place. */
bool up_kit_off_level_nm(const struct up_kit_draws *draws, size_t check, size_t part,
                         const struct up_kit_state *now, struct up_kit_answer *answer,
                         struct up_failure *failure);

/* What rules the answer to "which lead": inputs by their share of the variance, and what
   is left of it as "breath, ...", largest first. */
struct up_kit_share {
    char name[UP_NAME_SIZE + 32];
    double share;
};
size_t up_kit_shares(const struct up_kit_draws *draws, const struct up_kit_state *state,
                     struct up_kit_share *share, size_t room);

/* Each check held against what the checks before it predicted. */
struct up_kit_prediction {
    struct up_kit_answer lift_kg; /* foretold for it, the breath of a check in it */
    bool inside;                  /* nothing lies within the 95 % interval */
};
/* One for each check, but none for the first. */
bool up_kit_predict(const struct up_kit *kit, struct up_kit_prediction *prediction,
                    struct up_failure *failure);

#endif
