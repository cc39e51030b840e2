/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "metrology/breathing_gas.h"

#include <stddef.h>

/* Table 12 of Lemmon et al. 2000 and its constants. */
static const double GAS_CONSTANT = 8.31451, AIR_KG_MOL = 28.96546e-3;
static const double REDUCING_K = 132.6312, REDUCING_MOL_M3 = 10447.7;

/* n delta^d tau^t exp(-delta^l); no exponential where l is 0. */
static const struct {
    double n, t;
    int d, l;
} terms[] = {
    {0.118160747229, 0, 1, 0},        {0.713116392079, 0.33, 1, 0},
    {-0.161824192067e1, 1.01, 1, 0},  {0.714140178971e-1, 0, 2, 0},
    {-0.865421396646e-1, 0, 3, 0},    {0.134211176704, 0.15, 3, 0},
    {0.112626704218e-1, 0, 4, 0},     {-0.420533228842e-1, 0.2, 4, 0},
    {0.349008431982e-1, 0.35, 4, 0},  {0.164957183186e-3, 1.35, 6, 0},
    {-0.101365037912, 1.6, 1, 1},     {-0.173813690970, 0.8, 3, 1},
    {-0.472103183731e-1, 0.95, 5, 1}, {-0.122523554253e-1, 1.25, 6, 1},
    {-0.146629609713, 3.6, 1, 2},     {-0.316055879821e-1, 6, 3, 2},
    {0.233594806142e-3, 3.25, 11, 2}, {0.148287891978e-1, 3.5, 1, 3},
    {-0.938782884667e-2, 15, 3, 3},
};

/* Critical points and molar masses: nitrogen Span et al., J. Phys. Chem. Ref. Data 29 (2000) 1361;
   oxygen Schmidt and Wagner, Fluid Phase Equilibria 19 (1985) 175. */
static const double NITROGEN_K = 126.192, NITROGEN_MOL_M3 = 11183.9, NITROGEN_KG_MOL = 28.01348e-3;
static const double OXYGEN_K = 154.581, OXYGEN_MOL_M3 = 13630, OXYGEN_KG_MOL = 31.9988e-3;

static const double U_AIR_REL = 0.001, U_NITROX_REL = 0.003;
static const double AIR_WITHIN = 0.005, OXYGEN_LEAST = 0.20, OXYGEN_MOST = 0.41;
static const double MOST_PA = 350e5, MOST_C = 50, ZERO_C_K = 273.15;

struct scale {
    double reducing_k, reducing_mol_m3, kg_mol;
};

static double between(double oxygen, double of_nitrogen, double of_oxygen) {
    return of_nitrogen + oxygen * (of_oxygen - of_nitrogen);
}

static bool is_air(double oxygen) {
    return fabs(oxygen - UP_AIR_OXYGEN) <= AIR_WITHIN;
}

static struct scale scale_of(double oxygen) {
    if (is_air(oxygen)) {
        return (struct scale){REDUCING_K, REDUCING_MOL_M3, AIR_KG_MOL};
    }
    double hotter =
        between(oxygen, NITROGEN_K, OXYGEN_K) / between(UP_AIR_OXYGEN, NITROGEN_K, OXYGEN_K);
    double larger = between(oxygen, 1 / NITROGEN_MOL_M3, 1 / OXYGEN_MOL_M3) /
                    between(UP_AIR_OXYGEN, 1 / NITROGEN_MOL_M3, 1 / OXYGEN_MOL_M3);
    return (struct scale){REDUCING_K * hotter, REDUCING_MOL_M3 / larger,
                          between(oxygen, NITROGEN_KG_MOL, OXYGEN_KG_MOL)};
}

static double compressibility(double tau, double delta) {
    double z = 1;
    for (size_t i = 0; i < sizeof terms / sizeof *terms; i++) {
        double term = terms[i].n * pow(delta, terms[i].d) * pow(tau, terms[i].t);
        double fall = terms[i].l > 0 ? pow(delta, terms[i].l) : 0;
        z += term * exp(-fall) * (terms[i].d - terms[i].l * fall);
    }
    return z;
}

/* In the range of the header the pressure rises with the density, so halving finds the root. */
static double molar_density(const struct scale *scale, double pressure_pa, double temp_k) {
    double low = 0, high = 3;
    for (int i = 0; i < 60; i++) {
        double delta = (low + high) / 2;
        double there_pa = delta * scale->reducing_mol_m3 * GAS_CONSTANT * temp_k *
                          compressibility(scale->reducing_k / temp_k, delta);
        *(there_pa < pressure_pa ? &low : &high) = delta;
    }
    return low * scale->reducing_mol_m3;
}

bool up_breathing_gas_density(const struct up_breathing_gas *gas, double pressure_pa, double temp_c,
                              struct up_quantity *density_kg_m3, struct up_failure *failure) {
    *density_kg_m3 = up_known((double)NAN, (double)NAN);
    if (!(gas->oxygen >= OXYGEN_LEAST && gas->oxygen <= OXYGEN_MOST)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "a gas of %g %% oxygen: only air and nitrox of %g to %g %% are known here",
                       gas->oxygen * 100, OXYGEN_LEAST * 100, OXYGEN_MOST * 100);
    }
    if (!(pressure_pa >= 0 && pressure_pa <= MOST_PA)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "a gas at %g bar: give 0 to %g bar absolute",
                       pressure_pa * 1e-5, MOST_PA * 1e-5);
    }
    if (!(temp_c >= 0 && temp_c <= MOST_C)) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT, "a gas at %g C: give 0 to %g C", temp_c,
                       MOST_C);
    }
    struct scale scale = scale_of(gas->oxygen);
    double density = molar_density(&scale, pressure_pa, temp_c + ZERO_C_K) * scale.kg_mol;
    *density_kg_m3 = up_known(density, density * (is_air(gas->oxygen) ? U_AIR_REL : U_NITROX_REL));
    return true;
}
