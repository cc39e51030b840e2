/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers as people read them, in the units they think in. Records and JSON stay SI. */
#include "text/style.h"

#include <ctype.h>
#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "text/text.h"

static void put_imperial(double mass_g, const char *sign, char text[UP_SHOWN_SIZE]) {
    double hundredths = round(mass_g / UP_G_PER_OZ * 100); /* before pounds are split off */
    double pounds = floor(hundredths / 1600);
    double ounces = (hundredths - pounds * 1600) / 100;
    if (pounds > 0) {
        snprintf(text, UP_SHOWN_SIZE, "%s%.0f lb %.2f oz", sign, pounds, ounces);
    } else if (hundredths == 0 && mass_g >= 0.0005 * UP_G_PER_OZ) {
        snprintf(text, UP_SHOWN_SIZE, "%s%.3f oz", sign, mass_g / UP_G_PER_OZ);
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

double up_style_bound(const struct up_style *style, double most_g) {
    return style->imperial ? UP_G_PER_OZ * up_text_round_up(most_g / UP_G_PER_OZ, 100)
                           : up_text_round_up(most_g, 10);
}

bool up_style_has_stuck(double stuck_air_g) {
    return stuck_air_g >= 0.05;
}

void up_style_interval(const struct up_style *style, double expanded_u_g, double stuck_air_g,
                       char text[UP_SHOWN_SIZE]) {
    char up[UP_SHOWN_SIZE], down[UP_SHOWN_SIZE];
    up_style_uncertainty(style, expanded_u_g, up);
    up_style_uncertainty(style, expanded_u_g + stuck_air_g, down);
    if (!up_style_has_stuck(stuck_air_g) || !isfinite(expanded_u_g)) {
        snprintf(text, UP_SHOWN_SIZE, "+- %.*s", UP_SHOWN_SIZE - 4, up);
    } else if (style->imperial) {
        snprintf(text, UP_SHOWN_SIZE, "+%.*s -%.*s", UP_SHOWN_SIZE / 2 - 2, up,
                 UP_SHOWN_SIZE / 2 - 2, down);
    } else {
        snprintf(text, UP_SHOWN_SIZE, "+%.1f -%.1f g", expanded_u_g, expanded_u_g + stuck_air_g);
    }
}

void up_style_net(const struct up_style *style, const struct up_net *net, char text[UP_SHOWN_SIZE],
                  char interval[UP_SHOWN_SIZE]) {
    char most[UP_SHOWN_SIZE];
    if (isnan(net->at_most_g)) {
        up_style_mass(style, net->net_g, text);
        up_style_interval(style, net->expanded_u_g, net->stuck_air_g, interval);
    } else {
        up_style_mass(style, up_style_bound(style, net->at_most_g), most);
        snprintf(text, UP_SHOWN_SIZE, "at most %.*s", UP_SHOWN_SIZE - 9, most);
        interval[0] = '\0';
    }
}

void up_style_lead(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]) {
    put_mass(style, mass_g, false, 0, text);
}

const char *up_style_unit(const struct up_style *style) {
    return style->imperial ? "oz" : "g";
}

double up_style_in_unit(const struct up_style *style, double mass_g) {
    return style->imperial ? mass_g / UP_G_PER_OZ : mass_g;
}

void up_style_brief(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]) {
    mass_g = fabs(mass_g) < 0.05 ? 0 : mass_g; /* not -0.0 */
    snprintf(text, UP_SHOWN_SIZE, style->imperial ? "%+.2f oz" : "%+.1f g",
             up_style_in_unit(style, mass_g));
}

void up_style_fine(const struct up_style *style, double mass_g, char text[UP_SHOWN_SIZE]) {
    mass_g = fabs(mass_g) < 0.005 ? 0 : mass_g; /* not -0.00 */
    snprintf(text, UP_SHOWN_SIZE, style->imperial ? "%+.4f" : "%+.2f",
             up_style_in_unit(style, mass_g));
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
    put_number(style->imperial ? depth_m / UP_M_PER_FT : depth_m, style->imperial ? "ft" : "m", 1,
               text);
}

void up_style_density(const struct up_style *style, double density_kg_m3,
                      char text[UP_SHOWN_SIZE]) {
    double lb_ft3 = density_kg_m3 / UP_KG_PER_LB * UP_M_PER_FT * UP_M_PER_FT * UP_M_PER_FT;
    put_number(style->imperial ? lb_ft3 : density_kg_m3, style->imperial ? "lb/ft3" : "kg/m3",
               style->imperial ? 2 : 1, text);
}

/* ---- a sentence ---- */

static const char *unit_at(const char *at, size_t *length) {
    static const char *const units[] = {"kg/m3", "kg", "g", "degrees C", "C", "m"};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        size_t bytes = strlen(units[i]);
        if (at[0] == ' ' && strncmp(at + 1, units[i], bytes) == 0 &&
            !isalnum((unsigned char)at[1 + bytes]) && at[1 + bytes] != '/') {
            *length = 1 + bytes;
            return units[i];
        }
    }
    return NULL;
}

/* The bytes of a decimal number; 0 where none stands there. */
static size_t take_number(const char *at, double *value) {
    size_t length = strspn(at, "+-.0123456789eE");
    return isdigit((unsigned char)at[strspn(at, "+-")]) && up_text_number(at, length, value)
               ? length
               : 0;
}

/* The number's unit, where one stands behind it or behind the end of its range: "1 to 2 g". */
static const char *unit_behind(const char *at, size_t *length) {
    const char *unit = unit_at(at, length);
    double end;
    size_t digits = unit == NULL && strncmp(at, " to ", 4) == 0 ? take_number(at + 4, &end) : 0;
    if (digits > 0) {
        unit = unit_at(at + 4 + digits, length);
        *length = 0; /* it is put behind the end */
    }
    return unit;
}

static void put_quantity(const struct up_style *style, double value, bool with_sign,
                         const char *unit, char text[UP_SHOWN_SIZE]) {
    if (strcmp(unit, "kg/m3") == 0) {
        up_style_density(style, value, text);
    } else if (strchr(unit, 'g') != NULL && strchr(unit, 'C') == NULL) {
        put_mass(style, unit[0] == 'k' ? 1e3 * value : value, with_sign, 1, text);
    } else if (unit[0] == 'm') {
        up_style_depth(style, value, text);
    } else {
        up_style_temp(style, value, text);
    }
}

char *up_style_text(const struct up_style *style, const char *text) {
    static const char degrees[] = "degrees C";
    char *whole = NULL, shown[UP_SHOWN_SIZE];
    size_t size = 0, length = 0;
    FILE *stream = style->imperial ? open_memstream(&whole, &size) : NULL;
    if (stream == NULL) {
        return up_text_format("%s", text);
    }
    for (const char *at = text; *at != '\0';) {
        double value;
        bool begins = at == text || strchr(" (~", at[-1]) != NULL;
        size_t digits = begins ? take_number(at, &value) : 0;
        const char *unit = digits > 0 ? unit_behind(at + digits, &length) : NULL;
        const char *close = strchr("`\"", *at) != NULL ? strchr(at + 1, *at) : NULL;
        if (unit != NULL) {
            bool with_sign = strchr("+-", *at) != NULL;
            bool most = with_sign && at - text >= 8 && strncmp(at - 8, "at most ", 8) == 0;
            value = most && strcmp(unit, "g") == 0 ? up_style_bound(style, value) : value;
            put_quantity(style, value, with_sign, unit, shown);
            fputs(shown, stream);
            at += digits + length;
        } else if (close != NULL) {
            fwrite(at, 1, (size_t)(close + 1 - at), stream);
            at = close + 1;
        } else if (strncmp(at, degrees, sizeof degrees - 1) == 0) {
            fputs("degrees F", stream);
            at += sizeof degrees - 1;
        } else {
            fputc(*at++, stream);
        }
    }
    if (ferror(stream) != 0 || fclose(stream) != 0) {
        up_out_of_memory();
    }
    return whole;
}

void up_style_say(const struct up_style *style, FILE *stream, const char *lead, const char *format,
                  ...) {
    va_list arguments;
    va_start(arguments, format);
    UP_FREED char *text = up_text_format_of(format, arguments);
    va_end(arguments);
    UP_FREED char *shown = up_style_text(style, text);
    up_text_paragraph(stream, lead, shown);
}

/* ---- what was typed ---- */

struct unit {
    const char *name;
    char of; /* mass, length or area */
    double si;
};

static const struct unit *unit_named(const char *name) {
    static const struct unit units[] = {{"kg", 'm', 1},
                                        {"g", 'm', 1e-3},
                                        {"lb", 'm', UP_KG_PER_LB},
                                        {"oz", 'm', UP_G_PER_OZ / 1e3},
                                        {"m", 'l', 1},
                                        {"cm", 'l', 1e-2},
                                        {"mm", 'l', 1e-3},
                                        {"in", 'l', UP_M_PER_FT / 12},
                                        {"ft", 'l', UP_M_PER_FT},
                                        {"m2", 'a', 1},
                                        {"ft2", 'a', UP_M_PER_FT * UP_M_PER_FT}};
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(name, units[i].name) == 0) {
            return &units[i];
        }
    }
    return NULL;
}

bool up_style_typed(const char *typed, const char *unit, double *value) {
    size_t digits = take_number(typed, value);
    const char *behind = typed + digits + strspn(typed + digits, " ");
    const struct unit *from = unit_named(behind), *to = unit_named(unit);
    if (digits == 0 || behind[0] == '\0') {
        return digits > 0;
    }
    if (from == NULL || to == NULL || from->of != to->of) {
        return false;
    }
    *value = from == to ? *value : *value * from->si / to->si;
    return true;
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
