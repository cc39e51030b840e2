/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gear that holds gas: foam, closed air. Weighing it at two depths of one tank shows how much gas
 * it holds, and within limits what it would do at another depth, air pressure or temperature.
 *
 * P = air pressure + rho g depth, absolute; b net buoyancy, kg; 1 the shallow weighing, 2 the deep.
 * With a free gas (Boyle: V P constant; the rest of the item does not yield)
 *
 *   V = (b1 - b2) / (rho (1 - P1/P2))           at the shallow weighing's pressure and temperature
 *   b(P, T) = b1 + rho V ((P1/P) (T/T1) - 1)    (Boyle and Charles, T absolute)
 *
 * What these give for a litre of gas at 20 C, one atmosphere and fresh water: 37 g less at 0.4 m
 * than at the surface, 29 g for 30 hPa, 34 g for 10 K.
 *
 * What V means. It is the gas that would yield as the item does if nothing but the gas bore the
 * pressure. In stiff foam or a hard shell the wall bears a part: there V is less than the gas that
 * is inside, and none at all in a rigid hull. For lift it is the yielding that counts.
 *
 * The rule of width. Two weighings give the slope between two pressures close to each other, not
 * the curve beyond them. Gas beside a wall of constant stiffness K, V ~ 1/(P + K), that gave the
 * same two weighings, loses from either of them to P just (1 + K/P1) / (1 + K/P) times what Boyle's
 * law says: more than it, at most 1.5 times where K <= P1 and P <= 3 P1. A wall that stiffens as it
 * is squeezed (cells closing, a lining drawn tight) loses less than Boyle's law says, in the limit
 * nothing more. So the change from the nearer of the two weighed pressures is taken as Boyle's, and
 * between half and one and a half of it as a rectangular distribution; the same for temperature,
 * against which a wall holds the gas back too. The half is a choice of ours on the ground of this
 * reasoning: we could read no measured table of foam loss. Wet suits are reported to thin over 0.5
 * to 5 atmospheres along one curve (Undersea Biomed. Res. 16 (1989) 313, abstract read), which is
 * no more than "like a gas".
 *
 * Beyond 3 P1, or below P1 - 0.1 P1, or farther than 20 K from the tank, nothing is predicted.
 * Foam that sank deep, or has been squeezed often, is another foam. Pure functions.
 */
#ifndef UPTHRUST_GAS_H
#define UPTHRUST_GAS_H

#include <stdbool.h>

#include "upthrust/failure.h"
#include "upthrust/quantity.h"

struct up_gas_weighing {
    double depth_m;     /* of the middle of the item */
    double buoyancy_kg; /* net, positive floats */
};

struct up_gas_session {
    struct up_gas_weighing shallow, deep;
    double u_buoyancy_kg;        /* standard, of the shallow weighing's buoyancy, all in all */
    double u_difference_kg;      /* of shallow less deep: what both share cancels in it */
    double u_deep_own_kg;        /* the deep weighing's part of that; 0: as much as the other's */
    double u_depth_difference_m; /* of deep less shallow */
    struct up_quantity air_pressure_pa; /* at the tank, one for both */
    double temp_c;                      /* of the item and the water */
    struct up_quantity gravity_m_s2;    /* gravity.h */
    double water_kg_m3;
};

struct up_gas {
    struct up_quantity volume_m3; /* V above, at pressure_pa and temp_c; may lie below 0 within u */
    double pressure_pa, temp_c;   /* of the shallow weighing; absolute */
    double deep_pressure_pa;
    double pressure_low_pa, pressure_high_pa; /* the range of up_gas_buoyancy_at */
    double temp_low_c, temp_high_c;
    struct up_gas_session session;
};

/* False (UP_STATUS_WRONG_INPUT) where a number is not finite or out of its range: depths 0 to 60 m,
   air 60 to 110 kPa, 0 to 40 C, gravity 9.7 to 9.9 m/s2, water 950 to 1100 kg/m3; where the deep
   weighing lies less than 0.1 m deeper; and where the item floats more when deep, by more than
   twice the difference's u: then it lost or caught air in between, and no gas law applies. */
bool up_gas_from_depths(const struct up_gas_session *session, struct up_gas *gas,
                        struct up_failure *failure);

struct up_gas_place {
    double depth_m, air_pressure_pa;
    double temp_c; /* of item and water */
};

struct up_gas_prediction {
    struct up_quantity buoyancy_kg; /* its u: the weighings, the pressures, and the rule's part */
    double u_law_kg;    /* of the rule alone: its half-width over the square root of 3 */
    double pressure_pa; /* absolute */
};

/* Net buoyancy there by the rule above, in water as dense as the tank's: what another density adds
   is the caller's, as for gear without gas. False (UP_STATUS_WRONG_INPUT) outside the ranges in
   struct up_gas. */
bool up_gas_buoyancy_at(const struct up_gas *gas, const struct up_gas_place *place,
                        struct up_gas_prediction *prediction, struct up_failure *failure);

#endif
