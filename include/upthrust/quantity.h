/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A measured number: estimate, standard uncertainty and degrees of freedom (GUM, JCGM 100:2008).
 * The unit stands in the name of the variable or member that holds it (`density_kg_m3`).
 */
#ifndef UPTHRUST_QUANTITY_H
#define UPTHRUST_QUANTITY_H

#include <math.h>

struct up_quantity {
    double value;
    double u;   /* standard uncertainty, same unit */
    double dof; /* degrees of freedom; INFINITY where the uncertainty is taken as known */
};

static inline struct up_quantity up_known(double value, double u) {
    return (struct up_quantity){value, u, (double)INFINITY};
}

#endif
