/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>

#include "cli.h"
#include "upthrust/water.h"

const struct option_text options_water[] = {
    {"temp-c", "T", "temperature in degrees C (default 20)"},
    {"salinity-g-kg", "SA", "sea: Absolute Salinity in g/kg (without one: fresh)"},
    {"salinity-psu", "SP", "sea: Practical Salinity (PSS-78)"},
    {"depth-m", "D", "depth in m (default 0)"},
    OPTION_JSON,
    OPTION_END};

static bool read_water_options(const struct arguments *arguments, struct up_water *water,
                               struct up_failure *failure) {
    double practical = (double)NAN;
    *water = (struct up_water){.name = "asked", .temp_c = 20};
    if (option_given(arguments, "salinity-g-kg") && option_given(arguments, "salinity-psu")) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "give --salinity-g-kg or --salinity-psu, not both");
    }
    if (!option_number(arguments, "temp-c", 0, 40, &water->temp_c, failure) ||
        !option_number(arguments, "depth-m", 0, 60, &water->depth_m, failure) ||
        !option_number(arguments, "salinity-g-kg", 0, UP_SALINITY_MAX_G_KG, &water->salinity_g_kg,
                       failure) ||
        !option_number(arguments, "salinity-psu", 0, 41.8, &practical, failure)) {
        return false;
    }
    if (!isnan(practical)) {
        water->salinity_g_kg = up_water_absolute_salinity_g_kg(practical);
    }
    if (option_given(arguments, "salinity-g-kg") || option_given(arguments, "salinity-psu")) {
        water->model = UP_WATER_SEA;
    }
    return true;
}

enum up_status command_water(const struct arguments *arguments, struct up_failure *failure) {
    struct up_water water;
    struct up_water_density density;
    if (!read_water_options(arguments, &water, failure) ||
        !up_water_density(&water, &density, failure)) {
        return failure->status;
    }
    if (option_given(arguments, "json")) {
        print_json(json_pack("{s:s, s:f, s:f, s:s, s:f, s:f, s:f, s:f}", "schema",
                             "upthrust-water-1", "density_kg_m3", density.density_kg_m3.value,
                             "u_density_kg_m3", density.density_kg_m3.u, "model", density.model,
                             "temp_c", water.temp_c, "salinity_g_kg", water.salinity_g_kg,
                             "depth_m", water.depth_m, "gauge_pressure_pa",
                             density.gauge_pressure_pa));
        return UP_STATUS_DONE;
    }
    printf("%.4f kg/m3, standard uncertainty %.4f kg/m3 (of the formula; the water as told)\n",
           density.density_kg_m3.value, density.density_kg_m3.u);
    printf("%.2f C, %s%.3f g/kg, %.1f m\n%s\n", water.temp_c,
           water.model == UP_WATER_SEA ? "Absolute Salinity " : "fresh, dissolved solids ",
           water.salinity_g_kg, water.depth_m, density.model);
    return UP_STATUS_DONE;
}
