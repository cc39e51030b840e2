#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Densities and statistics for budget.py, whose head names the sources."""
import math

import gsw

INF, NAN = math.inf, math.nan
G0, MASS_KG_M3, ZERO_C_K, PA_PER_DBAR = 9.80665, 8000.0, 273.15, 1e4
U_FRESH, U_SEA, U_SOLIDS_KIND, U_POOL_SALT = 0.42e-3, 4e-3, 0.1, 0.02


# ---- waters and air ----

def fresh(t, p=0.0):
    """Tanaka et al. 2001: (1) with table 1, and the compressibility of their (10)."""
    a1, a2, a3, a4, a5 = -3.983035, 301.797, 522528.9, 69.34881, 999.974950
    rho = a5 * (1 - (t + a1) ** 2 * (t + a2) / (a3 * (t + a4)))
    return rho * (1 + (50.74 - 0.326 * t + 0.00416 * t * t) * 1e-11 * p)


def sea(s, t, p=0.0):
    return float(gsw.rho_t_exact(s, t, p / PA_PER_DBAR))


def salt_of_pools(s, t):
    """What sodium chloride adds (Lo Surdo et al. 1982); molality by 58.443 g/mol."""
    m = s / 58.443 / (1 - s / 1000)
    a = 45.5655 - 0.2341 * t + 3.4128e-3 * t**2 - 2.7030e-5 * t**3 + 1.4037e-7 * t**4
    b = -1.8527 + 5.3956e-2 * t - 6.2635e-4 * t**2
    c = -1.6368 - 9.5653e-4 * t + 5.2829e-5 * t**2
    return a * m + b * m**1.5 + c * m**2 + 0.2274 * m**2.5


def rho_of(water, t=None, s=None, p=None):
    t = water["temp_c"] if t is None else t
    s = water["salinity_g_kg"] if s is None else s
    p = pressure_pa(water) if p is None else p
    if water["model"] == "sea":
        return sea(s, t, p)
    if water["model"] == "pool":
        return fresh(t, p) + salt_of_pools(s, t)
    return fresh(t, p) + sea(s, t, p) - sea(0, t, p)


def pressure_pa(water, depth_m=None):
    """Of a column as dense as its surface."""
    depth_m = water["depth_m"] if depth_m is None else depth_m
    return rho_of(water, p=0.0) * (water["gravity_m_s2"] or G0) * depth_m


def slope_per_k(water):
    """Five points: exact to the fourth order. And the curvature."""
    t, h, p = water["temp_c"], 0.2, pressure_pa(water)
    r = [rho_of(water, t=t + i * h, p=p) for i in (-2, -1, 0, 1, 2)]
    return ((r[0] - 8 * r[1] + 8 * r[3] - r[4]) / (12 * h),
            (-r[0] + 16 * r[1] - 30 * r[2] + 16 * r[3] - r[4]) / (12 * h * h))


def slope_per_m(water):
    d = water["depth_m"]
    return rho_of(water, p=pressure_pa(water, d + 0.5)) - rho_of(water, p=pressure_pa(water, d - 0.5))


def u_of_salinity(water):
    s, u = water["salinity_g_kg"], water["u_salinity_g_kg"]
    most = 2.0 if water["model"] == "fresh" else 42.0
    low, high = max(s - u, 0), min(s + u, most)
    return u / (high - low) * (rho_of(water, s=high) - rho_of(water, s=low)) if u > 0 else 0.0


def u_of_formula(water):
    p = pressure_pa(water)
    if water["model"] == "sea":
        return U_SEA
    if water["model"] == "pool":
        return math.hypot(U_FRESH, U_POOL_SALT * (rho_of(water) - fresh(water["temp_c"], p)))
    return math.hypot(U_FRESH, U_SOLIDS_KIND * (rho_of(water) - fresh(water["temp_c"], p)))


def u_of_temperature(water):
    """GUM 5.1.2, note: with the second order, for fresh water has no slope at 4 degrees."""
    first, second = slope_per_k(water)
    u = water["u_temp_c"]
    return math.hypot(first * u, second * u * u / math.sqrt(2))


def air_cipm(t, p, h):
    k = t + ZERO_C_K
    saturation = math.exp(1.2378847e-5 * k * k - 1.9121316e-2 * k + 33.93711047 - 6.3431645e3 / k)
    x = h * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t) * saturation / p
    z = (1 - p / k * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t + (5.707e-6 - 2.051e-8 * t) * x
                      + (1.9898e-4 - 2.376e-6 * t) * x * x)
         + (p / k) ** 2 * (1.83e-11 - 0.765e-8 * x * x))
    return p * 28.96546e-3 / (z * 8.314472 * k) * (1 - x * (1 - 18.01528e-3 / 28.96546e-3))


def air_short(t, p, h):
    return (0.34848 * p / 100 - 0.009 * 100 * h * math.exp(0.061 * t)) / (ZERO_C_K + t)


def air_density(m):
    """Value and u; rough inputs by the short form. Five points a derivative."""
    at = [m["air_temp_c"], m["air_pressure_pa"], m["air_humidity"]]
    us = [m["u_air_temp_k"], m["u_air_pressure_pa"], m["u_air_humidity"]]
    variance = 0.0
    for i, h in enumerate((0.1, 50.0, 5e-3)):
        f = [air_cipm(*[a + (j * h if n == i else 0) for n, a in enumerate(at)]) for j in (-2, -1, 1, 2)]
        variance += ((f[0] - 8 * f[1] + 8 * f[2] - f[3]) / (12 * h) * us[i]) ** 2
    if math.sqrt(variance) > 10 * 2e-4 * air_cipm(*at):
        rho = air_short(*at)
        return rho, math.sqrt(variance + (2e-4 * rho) ** 2)
    return air_cipm(*at), math.sqrt(variance + ((22e-6 if 15 <= at[0] <= 27 else 1e-4) * air_cipm(*at)) ** 2)


# ---- statistics ----

def mean(x):
    return math.fsum(x) / len(x)


def sd_of(x):
    return math.sqrt(math.fsum((v - mean(x)) ** 2 for v in x) / (len(x) - 1)) if len(x) > 1 else NAN


def line_of(x, y):
    """Ordinary least squares (GUM H.3): intercept, slope, their covariance, scatter, dof."""
    n, mx = len(x), mean(x)
    sxx = math.fsum((v - mx) ** 2 for v in x)
    slope = math.fsum((a - mx) * b for a, b in zip(x, y)) / sxx
    at_0 = mean(y) - slope * mx
    s2 = math.fsum((b - at_0 - slope * a) ** 2 for a, b in zip(x, y)) / (n - 2)
    return {"at_0": at_0, "slope": slope, "s": math.sqrt(s2), "dof": n - 2, "u_slope": math.sqrt(s2 / sxx),
            "u_at": lambda t: math.sqrt(s2 * (1 / n + (t - mx) ** 2 / sxx)), "at": lambda t: at_0 + slope * t}


def t_of_2_sd(dof):
    """Student's t of 95.45 %, two-sided (GUM G.3.2 and table G.2): its density by Simpson's rule, halved intervals."""
    if dof > 1e12:
        return 2.00002443899604   # of the normal distribution
    c = math.exp(math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2)) / math.sqrt(dof * math.pi)
    low, high, n = 0.0, 1e3, 2000
    while high - low > 1e-10:
        t = (low + high) / 2
        # over the angle of t / sqrt(dof) the density is a power of its cosine
        h = math.atan(t / math.sqrt(dof)) / n
        f = [math.cos(i * h) ** (dof - 1) * (1 if i in (0, n) else 4 if i % 2 else 2) for i in range(n + 1)]
        share = 2 * c * math.sqrt(dof) * h / 3 * math.fsum(f)
        low, high = (t, high) if share < 0.9545 else (low, t)
    return low
