/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One row of the data beside a gnuplot script: a kind, by which the template distinguishes rows,
   and three numbers, the same whatever the locale. Only for the files of report/. */
#pragma once

#include <stdio.h>

void put_data_row(FILE *stream, int kind, double a, double b, double c);
/* A name made harmless and short enough; the caller's. Escape it for where it goes. */
char *name_in_title(const char *name, size_t most_bytes);
