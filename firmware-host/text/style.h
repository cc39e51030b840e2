/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers as people read them, in the units they think in. Records and JSON stay SI. */
#pragma once

#include <stdbool.h>
#include <stdio.h>

/* How people see it. Colour only ever repeats what a word says. */
struct up_style {
    bool imperial; /* pounds, ounces, degrees F, feet */
    bool colour;   /* escape sequences: for a terminal only */
    bool isolate;  /* names from right to left are isolated: for a terminal of UTF-8 only */
    int columns;   /* of the terminal; 0: as many as it takes */
};

/* Numbers for people, their unit behind them; `mass` with its sign, `uncertainty` without. A NaN
   is "not known". */
enum { UP_SHOWN_SIZE = 40 };
/* Exact by the international yard and pound agreement of 1959. */
#define UP_G_PER_OZ  28.349523125
#define UP_KG_PER_LB 0.45359237
#define UP_M_PER_FT  0.3048
void up_style_mass(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]);
void up_style_uncertainty(const struct up_style *style, double u_g, char text[UP_SHOWN_SIZE]);
/* What stands behind a net: "+- 1.2 g"; where air may have stayed that no shake frees, so that the
   net cannot be bounded so closely below, "+1.2 -4.4 g". */
void up_style_interval(const struct up_style *style, double expanded_u_g, double stuck_air_g,
                       char text[UP_SHOWN_SIZE]);
/* Both, of a result: where all that is known of its net is that it is at most so much, "at most
   -288.3 g" and nothing behind it. at_most_g NaN: there is an interval. */
struct up_net {
    double net_g, expanded_u_g, stuck_air_g, at_most_g;
};
void up_style_net(const struct up_style *style, const struct up_net *net, char text[UP_SHOWN_SIZE],
                  char interval[UP_SHOWN_SIZE]);
/* A bound from above as `mass` and `brief` show it: the next tenth of a gram, or hundredth of an
   ounce, that is not below it. In g. */
double up_style_bound(const struct up_style *style, double most_g);
/* Less shows in no tenth of a gram. */
bool up_style_has_stuck(double stuck_air_g);
/* Whole grams. */
void up_style_lead(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]);
void up_style_temp(const struct up_style *style, double temp_c, char text[UP_SHOWN_SIZE]);
void up_style_depth(const struct up_style *style, double depth_m, char text[UP_SHOWN_SIZE]);
void up_style_density(const struct up_style *style, double density_kg_m3, char text[UP_SHOWN_SIZE]);
/* In one unit, with its sign: "+164.2 g", "-207.10 oz". For columns and large letters. */
void up_style_brief(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]);
/* A small mass where a tenth of a gram is too coarse, for columns under their unit's name: "+0.03"
   of g, "+0.0011" of oz. */
const char *up_style_unit(const struct up_style *style);
double up_style_in_unit(const struct up_style *style, double mass_g);
void up_style_fine(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]);
/* A sentence whose numbers have SI units behind them ("0.5 kg", "-1.2 to +1.3 g", "20 C"), in the
   units of the style; the caller's. What stands between backquotes or quotation marks is a command
   or a name and stays. */
char *up_style_text(const struct up_style *style, const char *text);
/* Such a sentence, formatted and printed as `up_text_paragraph` does. */
__attribute__((format(printf, 4, 5))) void up_style_say(const struct up_style *style, FILE *stream,
                                                        const char *lead, const char *format, ...);
/* A number that a person typed for a quantity in `unit`, in that unit: as it is where nothing
   stands behind it, else converted ("18 in" for m, "2lb" for kg). False where it is neither. */
bool up_style_typed(const char *typed, const char *unit, double *value);
/* The class as a word of `columns` columns, coloured where the style says so. */
void up_style_class(const struct up_style *style, const char *class, int columns, FILE *stream);
