/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which characters the fonts of this machine have. gnuplot's PNG and PDF draw the others as boxes
   so large that they cover the picture (seen with gnuplot 5.4). */
#pragma once

#include <stdbool.h>

#include "upthrust/failure.h"

/* Whether there is any font at all; UP_STATUS_UNABLE where there is none: without one each letter
   is a box, and what is made of boxes is worse than no file. */
bool glyphs_of_any_font(const char *file, struct up_failure *failure);

/* With a sign for each character that none of them has, the caller's; NULL: they have all. */
char *glyphs_replace_missing(const char *text);
