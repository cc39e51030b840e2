/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Density of dry air and of nitrox in a cylinder, 0 to 50 C and up to 350 bar absolute.
 *
 * Air: the equation of state of Lemmon, Jacobsen, Penoncello and Friend, J. Phys. Chem. Ref. Data
 * 29 (2000) 331, with the coefficients that Debian's python3-iapws prints. Its own uncertainty is
 * given as 0.1 % in density (from memory).
 *
 * Nitrox (oxygen and nitrogen, no helium): the same equation by corresponding states. Temperature
 * and density are scaled by mole-weighted critical temperatures and critical volumes, relative to
 * those of air. Against GERG-2008 (ISO 20765-2) that is within 0.15 % for 32 and 36 % oxygen, 0 to
 * 40 C, to 300 bar. Argon that a blend keeps from air adds up to 0.4 % and is a part of u.
 *
 * Pressures are absolute: a cylinder's gauge shows about one atmosphere less. Pure functions.
 */
#pragma once

#include "upthrust/failure.h"
#include "upthrust/quantity.h"

/* Mole fraction of oxygen in dry air (ISO 6976 has 0.2095). */
#define UP_AIR_OXYGEN 0.2095

struct up_breathing_gas {
    double oxygen; /* mole fraction, 0.20 to 0.41; UP_AIR_OXYGEN within 0.005 is air */
};

/* kg/m3; u is the equation's own, not that of pressure and temperature. False
   (UP_STATUS_WRONG_INPUT) outside of the ranges above. */
bool up_breathing_gas_density(const struct up_breathing_gas *gas, double pressure_pa, double temp_c,
                              struct up_quantity *density_kg_m3, struct up_failure *failure);
