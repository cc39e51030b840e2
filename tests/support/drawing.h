/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands in an SVG that gnuplot drew. */
#ifndef UPTHRUST_TESTS_DRAWING_H
#define UPTHRUST_TESTS_DRAWING_H

#include <stdbool.h>
#include <stddef.h>

/* For the functions of report/report.h that write pictures, in metric units. */
#define PLOTS_IN(folder) (&(const struct up_plots){.directory = (folder)})

/* In place, as gnuplot versions differ in which characters they write as entities. */
void drawing_decode(char *svg);

/* Whether a text element of a decoded drawing holds exactly this. */
bool drawing_has_text(const char *drawing, const char *text);

/* Whether all words, as wide as letters usually are, stand inside the picture and not on each
   other; else two of them in `why`. Of a drawing that is not decoded. */
bool drawing_is_laid_out(const char *svg, char *why, size_t size);

/* Draws the script NAME.gp of the current directory on either ground and for A4, looks at each SVG
   as above, and leaves that of a light screen. */
bool drawing_looks_right(const char *name, char *why, size_t size);

/* How many straight lines of a colour ("  0,  96, 160") are so long, in pixels. */
unsigned drawing_lines(const char *svg, const char *colour, double least);

#endif
