/* SPDX-License-Identifier: GPL-3.0-or-later */

#include <stdlib.h>

#include "cli.h"
#include "text/text.h"

const struct option_text options_water[] = {
    {"temp-c", "T", "temperature in degrees C (default 20)"},
    {"salinity-g-kg", "SA", "sea: Absolute Salinity in g/kg (without one: fresh)"},
    {"salinity-psu", "SP", "sea: Practical Salinity (PSS-78)"},
    {"depth-m", "D", "depth in m (default 0)"},
    {"water", "NAME[,KEY=X...]", "instead: a named water or one of your own, as for measure"},
    {"list", NULL, "the waters known by name: range, source, and the keys of --water"},
    OPTION_UNITS,
    OPTION_JSON,
    OPTION_END};

static bool read_water_options(struct call *call, struct up_water *water) {
    double practical = (double)NAN;
    *water = (struct up_water){.name = "asked", .temp_c = 20};
    if (option_given(call, "salinity-g-kg") && option_given(call, "salinity-psu")) {
        return refuse(call, "give --salinity-g-kg or --salinity-psu, not both");
    }
    if (!option_number(call, "temp-c", 0, 40, &water->temp_c) ||
        !option_number(call, "depth-m", 0, 60, &water->depth_m) ||
        !option_number(call, "salinity-g-kg", 0, UP_SALINITY_MAX_G_KG, &water->salinity_g_kg) ||
        !option_number(call, "salinity-psu", 0, 41.8, &practical)) {
        return false;
    }
    if (!isnan(practical)) {
        water->salinity_g_kg = up_water_absolute_salinity_g_kg(practical);
    }
    if (option_given(call, "salinity-g-kg") || option_given(call, "salinity-psu")) {
        water->model = UP_WATER_SEA;
    }
    return true;
}

/* ---- by name ---- */

static const char *salt_of(enum up_water_model model) {
    return model == UP_WATER_SEA    ? "Absolute Salinity"
           : model == UP_WATER_POOL ? "pool salt"
                                    : "dissolved solids";
}

static void list_waters(bool json, const struct up_style *style) {
    char temp[UP_SHOWN_SIZE];
    json_auto_t *list = json_array();
    for (size_t i = 0; up_named_water_at(i) != NULL; i++) {
        const struct up_named_water *water = up_named_water_at(i);
        json_array_append_new(list,
                              json_pack("{s:s, s:s, s:f, s:f, s:f, s:s, s:s}", "name", water->name,
                                        "salt", salt_of(water->model), "low_g_kg", water->low_g_kg,
                                        "high_g_kg", water->high_g_kg, "temp_c", water->temp_c,
                                        "what", water->what, "source", water->source));
        if (!json) {
            up_style_temp(style, water->temp_c, temp);
            printf("%-14s %5.2f to %5.2f g/kg, %s\n", water->name, water->low_g_kg,
                   water->high_g_kg, temp);
            up_text_paragraph(stdout, "    ", water->what);
            up_text_paragraph(stdout, "    ", water->source);
        }
    }
    if (json) {
        print_json(json_pack("{s:s, s:O}", "schema", "upthrust-waters-1", "waters", list));
        return;
    }
    UP_FREED char *keys = up_text_format("%s", "");
    for (size_t i = 0; up_water_key_at(i) != NULL; i++) {
        const struct up_water_key *key = up_water_key_at(i);
        char *longer = up_text_format("%s%s%s (%g to %g)", keys, i > 0 ? ", " : "", key->name,
                                      key->low, key->high);
        free(keys);
        keys = longer;
    }
    puts("\nA water of your own: --water NAME,temp_c=T and one or more of");
    up_text_paragraph(stdout, "  ", keys);
}

/* ---- one water ---- */

static json_t *water_to_json(const struct up_water *water, const struct up_water_density *density) {
    return json_pack("{s:s, s:s, s:f, s:f, s:s, s:f, s:f, s:f, s:s, s:f, s:f}", "schema",
                     "upthrust-water-1", "name", water->name, "density_kg_m3",
                     density->density_kg_m3.value, "u_density_kg_m3", density->density_kg_m3.u,
                     "model", density->model, "temp_c", water->temp_c, "salinity_g_kg",
                     water->salinity_g_kg, "u_salinity_g_kg", water->u_salinity_g_kg, "salinity_is",
                     water->salinity_range ? "rectangular" : "normal", "depth_m", water->depth_m,
                     "gauge_pressure_pa", density->gauge_pressure_pa);
}

static void print_water(const struct up_water *water, const struct up_water_density *density,
                        const struct up_style *style) {
    static const double LB_FT3_PER_KG_M3 = 0.45359237 / (0.3048 * 0.3048 * 0.3048);
    double unit_kg_m3 = style->imperial ? LB_FT3_PER_KG_M3 : 1;
    const char *unit = style->imperial ? "lb/ft3" : "kg/m3";
    char depth[UP_SHOWN_SIZE];
    int decimals = style->imperial ? 5 : 4;
    up_style_depth(style, water->depth_m, depth);
    printf("%.*f %s, standard uncertainty %.*f %s\n  (%s)\n", decimals,
           density->density_kg_m3.value / unit_kg_m3, unit, decimals,
           density->density_kg_m3.u / unit_kg_m3, unit,
           water->u_salinity_g_kg > 0 ? "of the formula and of what is dissolved"
                                      : "of the formula; the water as given");
    up_text_put(stdout, water->name, 0, true);
    printf(": %.2f %s, %s %.3f g/kg%s", style->imperial ? water->temp_c * 1.8 + 32 : water->temp_c,
           style->imperial ? "F" : "C", salt_of(water->model), water->salinity_g_kg,
           water->u_salinity_g_kg > 0 ? "" : ", ");
    if (water->u_salinity_g_kg > 0) {
        printf(water->salinity_range ? " (limits +- %.3f), " : " (u %.3f), ",
               water->u_salinity_g_kg * (water->salinity_range ? sqrt(3) : 1));
    }
    printf("%s deep\n%s\n", depth, density->model);
}

static bool water_of_options(struct call *call, struct up_water water[UP_WATERS_MAX],
                             unsigned *count) {
    static const char *const others[] = {"temp-c", "salinity-g-kg", "salinity-psu", "depth-m"};
    *count = 1;
    if (!option_given(call, "water")) {
        return read_water_options(call, water);
    }
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++) {
        if (option_given(call, others[i])) {
            return refuse(call,
                          "--water describes the whole water: put the number of --%s into it, or "
                          "leave it out",
                          others[i]);
        }
    }
    return waters_asked(call, water, count) &&
           (*count == 1 || refuse(call, "water: one --water at a time"));
}

bool command_water(struct call *call) {
    struct up_water water[UP_WATERS_MAX];
    struct up_water_density density;
    struct up_style style;
    unsigned count = 0;
    if (!style_asked(call, &style)) {
        return false;
    }
    if (option_given(call, "list")) {
        list_waters(option_given(call, "json"), &style);
        return true;
    }
    if (!water_of_options(call, water, &count) ||
        !up_water_density(water, &density, call->failure)) {
        return false;
    }
    if (option_given(call, "json")) {
        print_json(water_to_json(water, &density));
    } else {
        print_water(water, &density, &style);
    }
    return true;
}
