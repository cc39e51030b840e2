/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "upthrust/water.h"

#define TEMP_MAX_C      40.0
#define DEPTH_MAX_M     60.0
#define SOLIDS_MAX_G_KG 2.0
#define TEMP_STEP_K     0.05
#define RANGE_RULES     3.0 /* as often the others together */

/* Tanaka et al. 2001: about 0.83e-3 kg/m3 with k = 2. From memory. */
#define U_FRESH_KG_M3 0.42e-3
/* IAPWS R13-08, density of seawater near the surface, about 4e-6 relative. From memory. */
#define U_SEA_KG_M3 4e-3
/* Which salts a tap water holds is unknown. What 1 g/kg adds goes, by the partial molar volumes of
   the ions (from memory), from some 0.72 kg/m3 for sodium chloride over 0.81 for calcium hydrogen
   carbonate to 1.0 for calcium sulfate; sea salt, used here, lies at 0.76. */
#define U_SOLIDS_KIND_REL 0.1

/* Of what the salt of a pool adds: the equation against handbook values is within 0.1 kg/m3 of 7
   (tests/reference), and pool salt is not all sodium chloride. */
#define U_POOL_SALT_REL 0.02

static double salinity_max_g_kg(const struct up_water *water) {
    return water->model == UP_WATER_FRESH ? SOLIDS_MAX_G_KG : UP_SALINITY_MAX_G_KG;
}

/* ---- density at one point ---- */

/* What dissolved solids add to fresh water: as much as sea salt adds to pure water. */
static double solids_kg_m3(double solids_g_kg, double temp_c, double gauge_pressure_pa) {
    return up_water_sea_kg_m3(solids_g_kg, temp_c, gauge_pressure_pa) -
           up_water_sea_kg_m3(0, temp_c, gauge_pressure_pa);
}

static double density_kg_m3(enum up_water_model model, double salinity_g_kg, double temp_c,
                            double gauge_pressure_pa) {
    if (model == UP_WATER_SEA) {
        return up_water_sea_kg_m3(salinity_g_kg, temp_c, gauge_pressure_pa);
    }
    if (model == UP_WATER_POOL) {
        return up_water_pool_kg_m3(salinity_g_kg, temp_c, gauge_pressure_pa);
    }
    return up_water_fresh_kg_m3(temp_c, gauge_pressure_pa) +
           solids_kg_m3(salinity_g_kg, temp_c, gauge_pressure_pa);
}

/* The column above is taken as dense as its surface: at 60 m that leaves out 1.4e-4 of the
   pressure, which is 4e-5 kg/m3. */
static double hydrostatic_pa(const struct up_water *water) {
    double gravity_m_s2 = water->gravity_m_s2 > 0 ? water->gravity_m_s2 : UP_STANDARD_GRAVITY_M_S2;
    return density_kg_m3(water->model, water->salinity_g_kg, water->temp_c, 0) * gravity_m_s2 *
           water->depth_m;
}

/* ---- its uncertainty ---- */

struct slopes {
    double first, second;
};

/* From three points around the temperature, moved inwards where one would leave the range. */
static struct slopes temp_slopes(const struct up_water *water, double pressure_pa) {
    double middle_c = fmin(fmax(water->temp_c, TEMP_STEP_K), TEMP_MAX_C - TEMP_STEP_K);
    double rho[3];
    struct slopes slopes;
    for (int i = 0; i < 3; i++) {
        double temp_c = fmin(fmax(middle_c + (i - 1) * TEMP_STEP_K, 0), TEMP_MAX_C);
        rho[i] = density_kg_m3(water->model, water->salinity_g_kg, temp_c, pressure_pa);
    }
    slopes.second = (rho[0] - 2 * rho[1] + rho[2]) / (TEMP_STEP_K * TEMP_STEP_K);
    slopes.first =
        (rho[2] - rho[0]) / (2 * TEMP_STEP_K) + slopes.second * (water->temp_c - middle_c);
    return slopes;
}

/* With the second order (GUM 5.1.2, note): near 4 C fresh water has no slope, only curvature. */
static double u_from_temp(struct slopes slopes, double u_temp_c) {
    return hypot(slopes.first * u_temp_c, slopes.second * u_temp_c * u_temp_c / sqrt(2));
}

/* From the densities at both ends of estimate +- u, as far as the range reaches. */
static double u_from_salinity(const struct up_water *water, double pressure_pa) {
    double u = water->u_salinity_g_kg;
    double low = fmax(water->salinity_g_kg - u, 0);
    double high = fmin(water->salinity_g_kg + u, salinity_max_g_kg(water));
    if (!(high > low)) {
        return 0;
    }
    return u / (high - low) *
           (density_kg_m3(water->model, high, water->temp_c, pressure_pa) -
            density_kg_m3(water->model, low, water->temp_c, pressure_pa));
}

static double u_of_model(const struct up_water *water, double pressure_pa) {
    if (water->model == UP_WATER_SEA) {
        return U_SEA_KG_M3;
    }
    if (water->model == UP_WATER_POOL) {
        return hypot(U_FRESH_KG_M3,
                     U_POOL_SALT_REL *
                         (up_water_pool_kg_m3(water->salinity_g_kg, water->temp_c, pressure_pa) -
                          up_water_fresh_kg_m3(water->temp_c, pressure_pa)));
    }
    return hypot(U_FRESH_KG_M3, U_SOLIDS_KIND_REL *
                                    solids_kg_m3(water->salinity_g_kg, water->temp_c, pressure_pa));
}

/* ---- the whole ---- */

static bool is_within(const struct up_water *water, const char *what, double value, double high,
                      struct up_failure *failure) {
    /* NaN is not within either. */
    if (value >= 0 && value <= high) {
        return true;
    }
    return up_fail(failure, UP_STATUS_WRONG_INPUT, "water %.*s: %s is %g, outside 0 to %g",
                   (int)sizeof water->name, water->name, what, value, high);
}

static bool is_known_water(const struct up_water *water, struct up_failure *failure) {
    static const char *const salts[] = {[UP_WATER_FRESH] = "dissolved solids in g/kg",
                                        [UP_WATER_SEA] = "salinity in g/kg",
                                        [UP_WATER_POOL] = "pool salt in g/kg"};
    if (water->model != UP_WATER_SEA && water->model != UP_WATER_FRESH &&
        water->model != UP_WATER_POOL) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "water %.*s: neither fresh nor sea nor pool",
                       (int)sizeof water->name, water->name);
    }
    double salinity_max = salinity_max_g_kg(water);
    if (water->gravity_m_s2 != 0 && !(water->gravity_m_s2 >= 9.7 && water->gravity_m_s2 <= 9.9)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "water %.*s: gravity in m/s2 is %g, outside 9.7 to 9.9",
                       (int)sizeof water->name, water->name, water->gravity_m_s2);
    }
    return is_within(water, "temperature in C", water->temp_c, TEMP_MAX_C, failure) &&
           is_within(water, "uncertainty of temperature in K", water->u_temp_c, TEMP_MAX_C,
                     failure) &&
           is_within(water, salts[water->model], water->salinity_g_kg, salinity_max, failure) &&
           is_within(water, "uncertainty of salinity in g/kg", water->u_salinity_g_kg, salinity_max,
                     failure) &&
           is_within(water, "depth in m", water->depth_m, DEPTH_MAX_M, failure);
}

static const char *model_line(const struct up_water *water) {
    if (water->model == UP_WATER_SEA) {
        return "seawater: Gibbs function of IAPWS R13-08 and SR7-09 (TEOS-10)";
    }
    if (water->model == UP_WATER_POOL) {
        return "pool: CIPM, Tanaka et al. 2001; sodium chloride, Lo Surdo et al. 1982";
    }
    return water->salinity_g_kg > 0
               ? "fresh water: CIPM, Tanaka et al. 2001; dissolved solids as sea salt, IAPWS R13-08"
               : "fresh water: CIPM, Tanaka et al. 2001";
}

bool up_water_density(const struct up_water *water, struct up_water_density *density,
                      struct up_failure *failure) {
    double nan = (double)NAN;
    *density = (struct up_water_density){{nan, nan, nan}, nan, nan, nan, nan, nan, false, ""};
    if (!is_known_water(water, failure)) {
        return false;
    }
    double pressure_pa = hydrostatic_pa(water);
    struct slopes slopes = temp_slopes(water, pressure_pa);
    density->gauge_pressure_pa = pressure_pa;
    density->slope_kg_m3_k = slopes.first;
    density->u_model_kg_m3 = u_of_model(water, pressure_pa);
    density->u_salinity_kg_m3 = u_from_salinity(water, pressure_pa);
    density->u_temp_kg_m3 = u_from_temp(slopes, water->u_temp_c);
    density->density_kg_m3 = up_known(
        density_kg_m3(water->model, water->salinity_g_kg, water->temp_c, pressure_pa),
        hypot(density->u_model_kg_m3, hypot(density->u_salinity_kg_m3, density->u_temp_kg_m3)));
    density->rectangular = water->salinity_range &&
                           density->u_salinity_kg_m3 >
                               RANGE_RULES * hypot(density->u_model_kg_m3, density->u_temp_kg_m3);
    density->model = model_line(water);
    return true;
}
