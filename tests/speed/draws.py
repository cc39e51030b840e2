#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The same as draws.c in NumPy, a column a term: FILE DRAWS. Prints seconds and the half-width in g."""
import json
import sys
import time

import numpy

told = json.load(open(sys.argv[1]))["result"]
model, draws = told["model"], int(sys.argv[2])
budget = {line["name"]: line for line in told["budget"]}
rng = numpy.random.default_rng(1)


def x(name):
    line = budget.get(name)
    if line is None:
        return 0.0
    value, u = line["value"], line["u"]
    if u == 0:
        return value
    if line["distribution"] == "rectangular":
        return rng.uniform(value - u * 3**0.5, value + u * 3**0.5, draws)
    if line["distribution"] == "student" and line["dof"] is not None:
        return value + u * rng.standard_t(line["dof"], draws)
    return value + u * rng.standard_normal(draws)


begin = time.perf_counter()
k = 1 - model["calibration_air_kg_m3"] / 8000
slope = x("calibration slope") * (1 + x("reference masses")) * (1 + x("cell temperature since the calibration"))
thermometer = x("thermometer")
rho_w = (x("tank water density") + x("salinity or solids in the tank")
         + model["tank_density_slope_kg_m3_k"] * thermometer
         + model["tank_density_slope_kg_m3_m"] * x("immersion depth"))
counts = x("repeatability in water") + x("plateau noise in water") + x("resolution")
w = (counts / slope * (1 + x("residual creep")) * (1 - x("hanging point and swing"))
     + x("calibration lack of fit") + x("hysteresis"))
load_air, rho_a, air, beta = x("dry weighing in air") / slope, x("air density"), x("residual air"), x("item expansion")
wetted = (load_air - w) * k / (rho_w - rho_a)
volume = wetted - air / rho_w
b = -w * k - x("line meniscus") - air
b -= rho_w * (model["line_area_m2"] / model["tank_area_m2"]) * wetted
b -= rho_w * volume * beta * x("item temperature")
rho_x = x("density of the water asked for") + x("salinity or solids of the water asked for")
b += (rho_x * (1 + beta * (model["target_temp_c"] - model["tank_temp_c"] - thermometer)) - rho_w) * volume
tolerance, estimate = told["tolerance_g"] / 1e3, told["buoyancy_g"] / 1e3
numpy.mean(b), numpy.std(b), numpy.mean(b > tolerance), numpy.mean(b < -tolerance)
numpy.quantile(b, [1 - told["confidence"], told["confidence"]])
half_width = numpy.quantile(numpy.abs(b - estimate), told["coverage"])
print("%.6f %.6f" % (time.perf_counter() - begin, half_width * 1e3))
