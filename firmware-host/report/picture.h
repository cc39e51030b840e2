/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What all pictures have in common: a script in one style beside its data, and the words that must
   stand with each number. Only for the files of report/. */
#pragma once

#include <stdio.h>

#include "report/report.h"

struct picture {
    const char *name; /* NAME.gp and NAME.tsv */
    struct {
        const char *what;     /* it shows, for who opens the script */
        const char *title;    /* raw: escaped here, as are these: */
        const char *note;     /* below the title; "" for none */
        const char *standing; /* what the results are; its lines end with \n; "" for none */
    } words;
    struct {
        const char *template;
        bool (*put_data)(FILE *stream, void *context);
        void (*put_variables)(FILE *stream, const void *context); /* of the template; NULL: none */
        void *context;
    } script;
};

bool picture_write(const struct picture *picture, const struct up_plots *to,
                   struct up_failure *failure);

/* Between quotes, escaped; names that are isolated (up_text_isolated) stay so. */
void put_text(FILE *stream, const char *text);
/* variable = "text" */
void put_text_variable(FILE *stream, const char *variable, const char *text);
/* A sentence with SI numbers in the units of the style, its signs and powers set as signs and
   powers; takes the text; the caller's. */
char *in_units(const struct up_style *style, char *text);
/* A row of data: a kind, by which the template distinguishes rows, and numbers, the same whatever
   the locale. */
void put_data_numbers(FILE *stream, int kind, const double *number, int count);
void put_data_row(FILE *stream, int kind, double a, double b, double c);
/* A name made harmless and short enough; the caller's. Escape it for where it goes. */
char *name_in_title(const char *name, size_t most_bytes);
/* A name that is short enough for a tick, and behind it what distinguishes it; "" where nothing
   need. The caller's; escape it. */
char *label_of_tick(const char *name, const char *distinct_by);

/* gnuplot formats the label of a tick: its text, with each % doubled. Takes the text; the caller's.
 */
char *double_percents(char *text);

/* What the results of these rows are, each thing said once: simulated, measured or calculated,
   whose they are, quick, unchecked, from elsewhere, judged again, filled, for one depth; lines of a
   picture's foot, the caller's. With `marked`, behind the marks that stand beside the numbers. */
char *standing_of(const struct up_row *const *row, size_t count, bool marked);
#define STANDING_SIMULATED "SIMULATED: no gear was weighed"

/* Which of the view's waters a row is of: 1 or 2, 3 the tank's of an item that has not the first of
   them, 0 none. An item's rows stand together. */
int series_of(const struct up_view *view, const struct up_rows *rows, const struct up_row *row);

/* As the templates know the classes: 0 undecided, 1 positive, 2 neutral, 3 negative; an unknown
   word counts as undecided. */
int number_of_class(const char *class);
