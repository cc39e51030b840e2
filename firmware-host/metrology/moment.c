/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/moment.h"

struct up_moment up_moment_of(struct up_quantity hook_kg, struct up_quantity total_kg,
                              struct up_quantity distance_m, double gravity_m_s2) {
    double twice_kg = 2 * hook_kg.value - total_kg.value;
    double half_n_kg = gravity_m_s2 * distance_m.value / 2; /* newton metre a kilogram */
    double u_force = half_n_kg * hypot(2 * hook_kg.u, total_kg.u);
    double u_length = gravity_m_s2 * twice_kg / 2 * distance_m.u;
    double infinite = (double)INFINITY;
    return (struct up_moment){
        .distance_m = distance_m.value,
        .hook_kg = {-hook_kg.value, hook_kg.u, hook_kg.dof},
        .far_kg = {hook_kg.value - total_kg.value, hypot(hook_kg.u, total_kg.u), infinite},
        .moment_nm = {half_n_kg * twice_kg, hypot(u_force, u_length), infinite}};
}
