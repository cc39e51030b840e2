/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which characters the fonts of this machine have. gnuplot's PNG and PDF draw the others as boxes
   so large that they cover the picture (seen with gnuplot 5.4). */
#pragma once

#include <stdbool.h>

/* Whether there is any font at all. */
bool glyphs_of_any_font(void);

/* With a sign for each character that none of them has, the caller's; NULL: they have all. */
char *glyphs_replace_missing(const char *text);
