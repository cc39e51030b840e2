/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One row of the data beside a gnuplot script: a kind, by which the template tells rows apart, and
   three numbers, the same whatever the locale. Only for the files of report/. */
#ifndef UPTHRUST_REPORT_DATA_ROW_H
#define UPTHRUST_REPORT_DATA_ROW_H

#include <stdio.h>

void put_data_row(FILE *stream, int kind, double a, double b, double c);

#endif
