/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers as people read them, in the units they think in. Records and JSON stay SI. */
#include <string.h>

#include "report/report.h"
#include "text/text.h"

/* Exact by the international yard and pound agreement of 1959. */
static const double G_PER_OZ = 28.349523125, M_PER_FT = 0.3048;
static const double KG_PER_LB = 0.45359237;

static void put_imperial(double mass_g, const char *sign, char text[UP_SHOWN_SIZE]) {
    double hundredths = round(mass_g / G_PER_OZ * 100); /* before pounds are split off */
    double pounds = floor(hundredths / 1600);
    double ounces = (hundredths - pounds * 1600) / 100;
    if (pounds > 0) {
        snprintf(text, UP_SHOWN_SIZE, "%s%.0f lb %.2f oz", sign, pounds, ounces);
    } else {
        snprintf(text, UP_SHOWN_SIZE, "%s%.2f oz", sign, ounces);
    }
}

static void put_mass(const struct up_style *style, double mass_g, bool with_sign, int decimals,
                     char text[UP_SHOWN_SIZE]) {
    const char *sign = !with_sign ? "" : mass_g < 0 ? "-" : "+";
    if (!isfinite(mass_g)) {
        snprintf(text, UP_SHOWN_SIZE, "not known");
    } else if (style->imperial) {
        put_imperial(fabs(mass_g), sign, text);
    } else {
        snprintf(text, UP_SHOWN_SIZE, "%s%.*f g", sign, decimals, fabs(mass_g));
    }
}

void up_style_mass(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]) {
    put_mass(style, mass_g, true, 1, text);
}

void up_style_uncertainty(const struct up_style *style, double u_g, char text[UP_SHOWN_SIZE]) {
    put_mass(style, u_g, false, 1, text);
}

void up_style_lead(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]) {
    put_mass(style, mass_g, false, 0, text);
}

static void put_number(double value, const char *unit, int decimals, char text[UP_SHOWN_SIZE]) {
    if (isfinite(value)) {
        snprintf(text, UP_SHOWN_SIZE, "%.*f %s", decimals, value, unit);
    } else {
        snprintf(text, UP_SHOWN_SIZE, "not known");
    }
}

void up_style_temp(const struct up_style *style, double temp_c, char text[UP_SHOWN_SIZE]) {
    put_number(style->imperial ? temp_c * 1.8 + 32 : temp_c, style->imperial ? "F" : "C", 1, text);
}

void up_style_depth(const struct up_style *style, double depth_m, char text[UP_SHOWN_SIZE]) {
    put_number(style->imperial ? depth_m / M_PER_FT : depth_m, style->imperial ? "ft" : "m", 1,
               text);
}

void up_style_density(const struct up_style *style, double density_kg_m3,
                      char text[UP_SHOWN_SIZE]) {
    double lb_ft3 = density_kg_m3 / KG_PER_LB * M_PER_FT * M_PER_FT * M_PER_FT;
    put_number(style->imperial ? lb_ft3 : density_kg_m3, style->imperial ? "lb/ft3" : "kg/m3",
               style->imperial ? 2 : 1, text);
}

/* ---- the class ---- */

static const char *colour_of(const char *class) {
    static const struct {
        const char *class, *begin;
    } colours[] = {{"positive", "\x1B[36m"}, {"negative", "\x1B[35m"}, {"undecided", "\x1B[33m"}};
    for (size_t i = 0; i < sizeof colours / sizeof colours[0]; i++) {
        if (strcmp(class, colours[i].class) == 0) {
            return colours[i].begin;
        }
    }
    return "";
}

void up_style_class(const struct up_style *style, const char *class, int columns, FILE *stream) {
    const char *begin = style->colour ? colour_of(class) : "";
    fputs(begin, stream);
    up_text_put(stream, class, columns, false);
    fputs(begin[0] != '\0' ? "\x1B[0m" : "", stream);
}
