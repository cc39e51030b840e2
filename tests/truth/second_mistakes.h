/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Between the second tank's operator and what he does wrong. */
#ifndef SECOND_MISTAKES_H
#define SECOND_MISTAKES_H

#include "second_operator.h"

/* The set of known masses, from the lightest. */
enum { SECOND_MASSES = 4 };
extern const double second_masses_kg[SECOND_MASSES];

void second_mistake_begin(struct second_operator *person);
bool second_mistake_now(struct second_operator *person, enum second_mistake mistake);
double second_mistake_mass_kg(struct second_operator *person, double asked_kg);
bool second_mistake_questioned(struct second_operator *person, const char *text);

#endif
