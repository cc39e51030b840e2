/* SPDX-License-Identifier: GPL-3.0-or-later */
/* gnuplot, a separate program that gets text from elsewhere, and a folder that others may write. */
#pragma once

#include "report/report.h"

/* Seconds after which gnuplot is ended; tests shorten it. */
extern unsigned draw_patience_s;

/* Draws the script NAME.gp of a directory as NAME.svg and NAME.png in it, and NAME.pdf where it
   makes one. The script names its
   pictures behind `into`, which is a folder of our own: what lies under their names in the
   directory, be it a link, is replaced by the finished picture or stays as it is. A PDF of an
   earlier drawing, which this one does not make, is removed. */
bool draw_script(const char *directory, const char *script, const struct up_look *look,
                 struct up_failure *failure);
