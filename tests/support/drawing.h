/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands in an SVG that gnuplot drew. */
#ifndef UPTHRUST_TESTS_DRAWING_H
#define UPTHRUST_TESTS_DRAWING_H

#include <stdbool.h>

/* In place, as gnuplot versions differ in which characters they write as entities. */
void drawing_decode(char *svg);

/* Whether a text element of a decoded drawing holds exactly this. */
bool drawing_has_text(const char *drawing, const char *text);

#endif
