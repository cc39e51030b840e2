/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/waters.h"

#include <string.h>

/* ---- by name ---- */

/* Practical salinities turned into absolute ones where they are used. */
#define SEA_RANGE(low, high)                                                                       \
    UP_WATER_SEA, (low) * (UP_SEA_SALINITY_G_KG / 35), (high) * (UP_SEA_SALINITY_G_KG / 35)

static const struct up_named_water named[] = {
    {"fresh", UP_WATER_FRESH, 0, 0.5, 20, false, "mains and lakes: dissolved solids",
     "drinking water in the USA: no more than 500 mg/L (glossary of the Illinois State Water "
     "Survey)"},
    {"sea", SEA_RANGE(33, 37), 15, false, "the open ocean at its surface",
     "annual mean map of the World Ocean Atlas, NOAA; NOAA online school for weather: 33 to 37"},
    {"baltic", SEA_RANGE(1, 20), 10, true, "the Baltic, Bothnian Bay to Kattegat",
     "HELCOM, The brackish nature of the Baltic Sea: 1-2 to 20"},
    {"baltic-proper", SEA_RANGE(6, 8), 10, true, "the open Baltic, surface",
     "Leppaeranta and Myrberg, Physical Oceanography of the Baltic Sea (2009): mean 7; the range "
     "from memory"},
    {"black-sea", SEA_RANGE(16, 18.5), 15, true, "the Black Sea off its rivers, surface",
     "public pages that name no source: 16 on the coasts, 17 to 18 in the open; 18.5 from memory"},
    {"mediterranean", SEA_RANGE(36, 39.5), 20, true, "the Mediterranean, Gibraltar to the Levant",
     "public pages that name no source: 36 in the west to 39.5 in the east; from memory the same"},
    {"red-sea", SEA_RANGE(36.5, 41), 26, true, "the Red Sea, Bab el Mandeb to its northern gulfs",
     "university lecture notes: 38 at 17 N to 40.5 in the north; the southern end from memory"},
    {"pool", UP_WATER_POOL, 0.3, 2.5, 27, false, "a chlorinated pool: what is dissolved, as salt",
     "common practice, no source"},
    {"salt-pool", UP_WATER_POOL, 2.5, 7, 27, false, "a pool that makes its chlorine from salt",
     "common practice, no source: 2.5 to 4 for most devices, 4 to 7 for some"},
};

const struct up_named_water *up_named_water_at(size_t i) {
    return i < sizeof named / sizeof *named ? &named[i] : NULL;
}

static const struct up_named_water *find_named(const char *name) {
    for (size_t i = 0; i < sizeof named / sizeof *named; i++) {
        if (strcmp(named[i].name, name) == 0) {
            return &named[i];
        }
    }
    return NULL;
}

bool up_water_by_name(const char *name, struct up_water *water) {
    const struct up_named_water *known = find_named(name);
    *water = (struct up_water){
        .model = UP_WATER_SEA, .temp_c = (double)NAN, .salinity_g_kg = (double)NAN};
    size_t length = strnlen(name, sizeof water->name - 1);
    memcpy(water->name, name, length);
    if (known == NULL) {
        return false;
    }
    water->model = known->model;
    water->temp_c = known->temp_c;
    water->salinity_g_kg = (known->low_g_kg + known->high_g_kg) / 2;
    water->u_salinity_g_kg = (known->high_g_kg - known->low_g_kg) / 2 / sqrt(3);
    water->salinity_range = true;
    return true;
}

/* ---- what was given ---- */

#define GIVEN_KEY(name, low, high) {#name, offsetof(struct up_water_given, name), low, high},
static const struct up_water_key keys[] = {UP_WATER_GIVEN_KEYS(GIVEN_KEY)};

const struct up_water_key *up_water_key_at(size_t i) {
    return i < sizeof keys / sizeof *keys ? &keys[i] : NULL;
}

static double given_value(const struct up_water_given *given, const struct up_water_key *key) {
    return *(const double *)(const void *)((const char *)given + key->offset);
}

struct up_water_given up_water_nothing_given(void) {
    struct up_water_given given = {0};
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        *(double *)(void *)((char *)&given + keys[i].offset) = (double)NAN;
    }
    return given;
}

bool up_water_is_given(const struct up_water_given *given) {
    return !isnan(given->salinity_g_kg) || !isnan(given->salinity_psu) ||
           !isnan(given->conductivity_ms_cm) || !isnan(given->hydrometer_kg_m3) ||
           !isnan(given->hydrometer_sg) || !isnan(given->solids_g_kg) ||
           !isnan(given->pool_salt_g_l);
}

enum up_water_model up_water_model_given(const struct up_water_given *given) {
    return !isnan(given->pool_salt_g_l) ? UP_WATER_POOL
           : !isnan(given->solids_g_kg) ? UP_WATER_FRESH
                                        : UP_WATER_SEA;
}

static bool are_in_range(const struct up_water_given *given, const struct up_water *water,
                         struct up_failure *failure) {
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        double value = given_value(given, &keys[i]);
        if (!isnan(value) && !(value >= keys[i].low && value <= keys[i].high)) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT, "water %s: %s is %g, outside %g to %g",
                           water->name, keys[i].name, value, keys[i].low, keys[i].high);
        }
    }
    if (!isnan(water->temp_c) && !(water->temp_c >= 0 && water->temp_c <= 40)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water %s: temperature in C is %g, outside 0 to 40", water->name,
                       water->temp_c);
    }
    return true;
}

/* ---- keys that do not go together ---- */

struct rule {
    bool broken;
    const char *what;
};

static bool rules_hold(const struct rule *rule, size_t count, const struct up_water *water,
                       struct up_failure *failure) {
    for (size_t i = 0; i < count; i++) {
        if (rule[i].broken) {
            return up_fail(failure, UP_STATUS_WRONG_INPUT, "water %s: %s", water->name,
                           rule[i].what);
        }
    }
    return true;
}

static bool keys_agree(const struct up_water_given *given, const struct up_water *water,
                       struct up_failure *failure) {
    bool salinity = !isnan(given->salinity_g_kg), psu = !isnan(given->salinity_psu);
    bool meter = !isnan(given->conductivity_ms_cm);
    bool density = !isnan(given->hydrometer_kg_m3), sg = !isnan(given->hydrometer_sg);
    bool solids = !isnan(given->solids_g_kg), salt = !isnan(given->pool_salt_g_l);
    bool fresh = water->model == UP_WATER_FRESH, pool = water->model == UP_WATER_POOL;
    const struct rule rules[] = {
        {salinity && psu, "salinity_g_kg and salinity_psu say the same: keep one"},
        {density && sg, "hydrometer_kg_m3 and hydrometer_sg say the same: keep one"},
        {solids && salt, "solids_g_kg and pool_salt_g_l both say what is dissolved: keep one"},
        {solids && salinity, "solids_g_kg and salinity_g_kg both say what is dissolved: keep one"},
        {salt && salinity, "pool_salt_g_l and salinity_g_kg both say what is dissolved: keep one"},
        {solids && !fresh, "solids_g_kg is for fresh water only"},
        {salt && !pool, "pool_salt_g_l is only for a pool, whose salt is plain sodium chloride"},
        {psu && pool, "salinity_psu is for sea salt: give pool_salt_g_l for a pool"},
        {meter && pool, "conductivity_ms_cm is for sea salt: give pool_salt_g_l for a pool"},
        {!meter && (!isnan(given->conductivity_temp_c) || !isnan(given->u_conductivity_ms_cm)),
         "conductivity_temp_c and u_conductivity_ms_cm need conductivity_ms_cm"},
        {!density && !sg &&
             (!isnan(given->hydrometer_ref_c) || !isnan(given->hydrometer_temp_c) ||
              !isnan(given->u_hydrometer_kg_m3)),
         "hydrometer_ref_c, hydrometer_temp_c and u_hydrometer_kg_m3 need hydrometer_kg_m3 or "
         "hydrometer_sg"},
        {(density || sg) && isnan(given->hydrometer_ref_c),
         "a hydrometer needs hydrometer_ref_c, the temperature printed on its scale"},
        {!solids && !isnan(given->u_solids_g_kg), "u_solids_g_kg needs solids_g_kg"},
        {!salt && !isnan(given->u_pool_salt_g_l), "u_pool_salt_g_l needs pool_salt_g_l"},
        {meter && isnan(given->conductivity_temp_c) && isnan(water->temp_c),
         "conductivity_ms_cm needs conductivity_temp_c, the temperature it is given for"},
        {(density || sg) && isnan(given->hydrometer_temp_c) && isnan(water->temp_c),
         "the hydrometer needs hydrometer_temp_c, the temperature of the sample"},
    };
    return rules_hold(rules, sizeof rules / sizeof *rules, water, failure);
}

/* ---- each source by itself ---- */

enum { SOURCES_MAX = 5 };

struct source {
    const char *what;
    double salinity_g_kg, u_g_kg;
};

struct sources {
    struct source source[SOURCES_MAX];
    size_t count;
};

static double given_or(double given, double otherwise) {
    return isnan(given) ? otherwise : given;
}

static void add(struct sources *sources, const char *what, double salinity_g_kg, double u_g_kg) {
    sources->source[sources->count++] = (struct source){what, salinity_g_kg, u_g_kg};
}

static void add_plain(const struct up_water_given *given, const struct up_water *water,
                      struct sources *sources) {
    double by_name = isnan(water->salinity_g_kg) ? 0 : water->u_salinity_g_kg;
    double u_g_kg = given_or(given->u_salinity_g_kg, by_name);
    if (!isnan(given->salinity_g_kg)) {
        add(sources, "salinity_g_kg", given->salinity_g_kg, u_g_kg);
    }
    if (!isnan(given->salinity_psu)) {
        add(sources, "salinity_psu", up_water_absolute_salinity_g_kg(given->salinity_psu), u_g_kg);
    }
    if (!isnan(given->solids_g_kg)) {
        add(sources, "solids_g_kg", given->solids_g_kg,
            given_or(given->u_solids_g_kg, given->solids_g_kg / 10));
    }
    if (!isnan(given->pool_salt_g_l)) {
        /* Grams a litre to grams a kilogram: a litre of it weighs so much, at room temperature. */
        double litre_kg = up_water_pool_kg_m3(given->pool_salt_g_l, 20, 0) / 1e3;
        add(sources, "pool_salt_g_l", given->pool_salt_g_l / litre_kg,
            given_or(given->u_pool_salt_g_l, given->pool_salt_g_l / 10) / litre_kg);
    }
}

static bool add_conductivity(const struct up_water_given *given, const struct up_water *water,
                             struct sources *sources, struct up_failure *failure) {
    double reading = given->conductivity_ms_cm;
    if (isnan(reading)) {
        return true;
    }
    double temp_c = given_or(given->conductivity_temp_c, water->temp_c);
    double u = given_or(given->u_conductivity_ms_cm, reading / 100);
    if (!(temp_c <= 35)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water %s: conductivity is understood from 0 to 35 C, not at %g C",
                       water->name, temp_c);
    }
    double high = up_water_practical_salinity(reading + u, temp_c, 0);
    double low = up_water_practical_salinity(fmax(reading - u, reading / 100), temp_c, 0);
    double salinity =
        up_water_absolute_salinity_g_kg(up_water_practical_salinity(reading, temp_c, 0));
    double most = water->model == UP_WATER_SEA ? UP_SALINITY_MAX_G_KG : 2;
    if (!(salinity <= most)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water %s: %g mS/cm at %g C mean %.4g g/kg of salt, outside 0 to %g",
                       water->name, reading, temp_c, salinity, most);
    }
    add(sources, "conductivity_ms_cm", salinity, up_water_absolute_salinity_g_kg(high - low) / 2);
    return true;
}

double up_water_hydrometer_kg_m3(double reading_kg_m3, double ref_c, double temp_c) {
    return reading_kg_m3 / (1 + 25e-6 * (temp_c - ref_c));
}

static double density_at(const struct up_water *water, double salinity_g_kg, double temp_c) {
    struct up_water sample = {
        .model = water->model, .temp_c = temp_c, .salinity_g_kg = salinity_g_kg};
    struct up_water_density density;
    return up_water_density(&sample, &density, NULL) ? density.density_kg_m3.value : (double)NAN;
}

/* The salinity that makes the water so dense: density rises with it throughout. */
static double salinity_of_density(const struct up_water *water, double density_kg_m3, double most,
                                  double temp_c) {
    double low = 0, high = most;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        if (density_at(water, middle, temp_c) < density_kg_m3) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return (low + high) / 2;
}

static bool add_hydrometer(const struct up_water_given *given, const struct up_water *water,
                           struct sources *sources, struct up_failure *failure) {
    double reading = isnan(given->hydrometer_sg)
                         ? given->hydrometer_kg_m3
                         : given->hydrometer_sg * up_water_fresh_kg_m3(given->hydrometer_ref_c, 0);
    if (isnan(reading)) {
        return true;
    }
    double temp_c = given_or(given->hydrometer_temp_c, water->temp_c);
    double u = given_or(given->u_hydrometer_kg_m3, 0.5);
    double most = water->model == UP_WATER_FRESH ? 2 : UP_SALINITY_MAX_G_KG;
    double density = up_water_hydrometer_kg_m3(reading, given->hydrometer_ref_c, temp_c);
    double lightest = density_at(water, 0, temp_c), densest = density_at(water, most, temp_c);
    if (!(density >= lightest - 2 * u && density <= densest + 2 * u)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water %s: the hydrometer shows %.2f kg/m3 at %g C, outside %.2f to %.2f of "
                       "%s water there",
                       water->name, density, temp_c, lightest, densest,
                       water->model == UP_WATER_FRESH  ? "fresh"
                       : water->model == UP_WATER_POOL ? "pool"
                                                       : "sea");
    }
    add(sources, given->hydrometer_sg > 0 ? "hydrometer_sg" : "hydrometer_kg_m3",
        salinity_of_density(water, density, most, temp_c), u / ((densest - lightest) / most));
    return true;
}

/* ---- all together ---- */

static bool agree(const struct sources *sources, const struct up_water *water,
                  struct up_failure *failure) {
    for (size_t i = 1; i < sources->count; i++) {
        for (size_t j = 0; j < i; j++) {
            const struct source *a = &sources->source[j], *b = &sources->source[i];
            if (fabs(a->salinity_g_kg - b->salinity_g_kg) > 2 * hypot(a->u_g_kg, b->u_g_kg)) {
                return up_fail(failure, UP_STATUS_WRONG_INPUT,
                               "water %s contradicts itself: %s gives %.4g g/kg (u %.2g), %s gives "
                               "%.4g g/kg (u %.2g): leave out the wrong one",
                               water->name, a->what, a->salinity_g_kg, a->u_g_kg, b->what,
                               b->salinity_g_kg, b->u_g_kg);
            }
        }
    }
    return true;
}

/* The weighted mean of independent sources; an exact one is used alone. */
static void average(const struct sources *sources, struct up_water *water) {
    double sum = 0, weights = 0;
    for (size_t i = 0; i < sources->count; i++) {
        const struct source *source = &sources->source[i];
        if (!(source->u_g_kg > 0)) {
            water->salinity_g_kg = source->salinity_g_kg;
            water->u_salinity_g_kg = 0;
            return;
        }
        double weight = 1 / (source->u_g_kg * source->u_g_kg);
        sum += weight * source->salinity_g_kg;
        weights += weight;
    }
    water->salinity_g_kg = sum / weights;
    water->u_salinity_g_kg = 1 / sqrt(weights);
}

static bool fits_name(const struct up_water *water, struct up_failure *failure) {
    const struct up_named_water *known = find_named(water->name);
    double slack = 2 * water->u_salinity_g_kg;
    return known == NULL || !known->narrow ||
           (water->salinity_g_kg >= known->low_g_kg - slack &&
            water->salinity_g_kg <= known->high_g_kg + slack) ||
           up_fail(failure, UP_STATUS_WRONG_INPUT,
                   "water %s: %.4g g/kg contradicts the name, which stands for %.4g to %.4g g/kg: "
                   "give it another name",
                   water->name, water->salinity_g_kg, known->low_g_kg, known->high_g_kg);
}

bool up_water_from_given(const struct up_water_given *given, struct up_water *water,
                         struct up_failure *failure) {
    struct sources sources = {.count = 0};
    if (!are_in_range(given, water, failure) || !keys_agree(given, water, failure)) {
        return false;
    }
    add_plain(given, water, &sources);
    if (!add_conductivity(given, water, &sources, failure) ||
        !add_hydrometer(given, water, &sources, failure) || !agree(&sources, water, failure)) {
        return false;
    }
    if (sources.count > 0) {
        average(&sources, water);
        water->salinity_range = false;
    } else if (!isnan(given->u_salinity_g_kg)) {
        water->u_salinity_g_kg = given->u_salinity_g_kg;
        water->salinity_range = false;
    }
    if (isnan(water->salinity_g_kg)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water %s: what is in it? Give salinity_g_kg, salinity_psu, "
                       "conductivity_ms_cm, a hydrometer, solids_g_kg or pool_salt_g_l",
                       water->name);
    }
    return fits_name(water, failure);
}
