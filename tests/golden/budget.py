#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A budget computed twice: here from the published equations, in exact fractions, for some measurements
that were made up; tests/bench/budget_test.c builds the same records by hand and compares term by term.

    budget.py >budget.tsv      what is computed, with the measurements themselves
    budget.py --check FILE     whether FILE says the same, in ten digits

Nothing here was taken from the program's output. Sources:
- the force balance in air and in water with the masses' conventional density (Archimedes; ISO 1183-1
  method A; OIML R 111-1, 8000 kg/m3), as at the head of include/upthrust/weighing.h;
- GUM (JCGM 100:2008): 4.2.3 and H.5.2.2 type A and pooling, 4.3.7 rectangles, 5.1.2 combination, 5.1.3
  note 2 sensitivities as half the difference over +-u, G.4.1 effective degrees of freedom; JCGM 101 9.3
  names rectangles of two roundings;
- fresh water: Tanaka et al., Metrologia 38 (2001) 301; seawater: TEOS-10 by python3-gsw; sodium
  chloride: Lo Surdo, Alzola and Millero, J. Chem. Thermodyn. 14 (1982) 649; air: CIPM-2007, Picard et
  al., Metrologia 45 (2008) 149, and OIML R 111-1 (E.3-1);
- critical values of Student's t and of F: tables of the NIST/SEMATECH e-Handbook, 1.3.6.7.2 and .3.
What is a choice of this project and no physics (the shares of creep that are left, a swing of 0.02 rad,
...) is named so below; DEVELOPERS.md and the headers give the reasons."""
import math
import sys
from fractions import Fraction

sys.dont_write_bytecode = True
from waters_and_air import (INF, MASS_KG_M3, NAN, air_density, line_of, mean, rho_of, sd_of, slope_per_k, slope_per_m,
                            t_of_2_sd, u_of_formula, u_of_salinity, u_of_temperature)

# Choices of the project.
CREEP_AS_LOADED, CREEP_OTHER_WAY, CREEP_TYPED = 1 / 5, 1 / 3, 5e-4
SHARE_UNKNOWN, AIR_UNSHAKEN = 0.2, 0.05
LOOP_UNSEEN = 5e-4           # of the span; published: data sheets of cheap beams
SPAN_PER_K, TEMP_UNKNOWN_K = 5e-5, 10
CREEP_LOADED, CREEP_UNLOADED = (1, 0.2), (0.25, 1.25)   # share of the creep foretold, give or take
BUBBLES_TIMES, DRIPS_TIMES = (1, 2), (0.5, 2)
SWING_RAD, DEPTH_M, TAPE_M, U_DEPTHS_M = 0.02, 0.1, 0.005, 0.02
# One-sided 99 % of Student's t, by degrees of freedom; 99 % of F by both (e-Handbook).
T_99 = {1: 31.821, 2: 6.965, 3: 4.541, 4: 3.747}
F_99 = {(3, 20): 4.938, (2, 12): 6.927}

# Of the comparison, relative. What the program takes as finite differences over a step of its own (the
# slopes of density with temperature, over 0.05 K, and with depth, over 1 m) agrees with the derivative
# to the third order.
CLOSED, BY_STEPS = 1e-9, 1e-5


# ---- the terms ----

def normal(value, u, kind="B"):
    return {"value": value, "u": u, "dof": INF, "distribution": "normal", "evaluation": kind}


def rectangular(value, half):
    return {"value": value, "u": half / math.sqrt(3), "dof": INF, "distribution": "rectangular", "evaluation": "B"}


def student(value, u, dof):
    return {"value": value, "u": u, "dof": dof, "distribution": "student", "evaluation": "A"}


def repeatability(m, loads):
    """The scatter of a trial: its own, or pooled with the kind's where F does not part them."""
    own, dof = sd_of(loads), len(loads) - 1
    kind = m["kind_sd_kg"] * abs(m["slope"])
    if not kind:
        return own, dof
    if dof == 0:
        return kind, m["kind_dof"]
    f, limit = (own / kind) ** 2, F_99[dof, m["kind_dof"]]
    if f > limit:
        return own, dof
    return math.sqrt((dof * own**2 + m["kind_dof"] * kind**2) / (dof + m["kind_dof"])), dof + m["kind_dof"]


def summarise(m):
    """What the trials say: the load stated, its u, the scatter of one, and the last gains."""
    kept = [t for t in m["trials"] if not t["left_out"]]
    loads = [t["load"] for t in kept]
    sign = 1 if m["slope"] > 0 else -1
    s = {"kept": kept, "last": mean(loads), "soaks": False, "line": None}
    s["sd"], s["dof"] = repeatability(m, loads)
    s["u_last"] = s["sd"] / math.sqrt(len(kept))
    s["u_plateau"] = math.sqrt(math.fsum(t["u"] ** 2 for t in kept)) / len(kept)
    s["late"] = mean([math.log10(1 + t["late_s"] / max(m["read_after_s"], 1)) for t in kept])
    shaken = [t for t in kept if t["shakes"]]
    water_a_s = 0.0
    if len(kept) > 2:
        line = s["line"] = line_of([t["soak_s"] / 60 for t in kept], loads)
        s["soaks"] = sign * line["slope"] > T_99.get(line["dof"], INF) * line["u_slope"]
        s["at_last"] = s["soaks"] and line["dof"] >= 2
        if s["at_last"]:
            end = kept[-1]["soak_s"] / 60
            s["last"], s["u_last"], s["sd"], s["dof"] = line["at"](end), line["u_at"](end), line["s"], line["dof"]
            water_a_s = sign * line["slope"] / 60
    # While bubbles form, a shake frees what grew between its two readings as well.
    growing = bubbles(m, s)
    water_a_s -= abs(m["slope"]) * growing["rate"] if growing["told"] else 0.0
    # The mean of gains that were not chosen, with its u: of n differences of two readings. Where each trial
    # ended with its own, none below nothing counts, and one such difference's u stays.
    gains = [t["gain"] - water_a_s * t["gain_s"] for t in shaken if t["set"]]
    s["u_gain"] = math.sqrt(2 / (len(gains) or 1)) * s["sd"]
    gains = gains or [max(t["gain"] - water_a_s * t["gain_s"], 0) for t in shaken]
    s["gain"] = mean(gains) if gains else NAN
    return s


def moved_that_way(m, load_kg):
    return any((mass < 0) == (load_kg < 0) for mass in m["points"])


def loop(m, load_kg):
    """Half-width: half the staircase's loop, less what the tares' scatter shows of it already; without
    a staircase the tares alone tell, where the masses went the same way and readings are recorded."""
    told = not math.isnan(m["scatter_kg"])
    if not math.isnan(m["hysteresis_kg"]):
        half = math.sqrt(max(0, (m["hysteresis_kg"] / 2) ** 2 - (3 * m["scatter_kg"] ** 2 if told else 0)))
    elif told and m["window_s"] > 0 and moved_that_way(m, load_kg):
        half = 0
    else:
        half = LOOP_UNSEEN * m["span_kg"]
    return half * math.sqrt(min(1, abs(load_kg) / m["span_kg"]))


def loading_u(m, load_kg):
    """One loading: u^2 = a^2 + (b L)^2; nothing is known of it in older calibrations."""
    return 0 if math.isnan(m["scatter_kg"]) else math.hypot(m["scatter_kg"], m["scatter_rel"] * load_kg)


def offset_term(m, load_kg):
    """What any load reads too much; below the lightest mass between nothing and all of it."""
    if not m["offset_taken"] > 0:
        return normal(0, 0)
    whole, share = m["offset_counts"] / m["slope"], min(1, load_kg / min(map(abs, m["points"])))
    return normal(whole * (1 + share) / 2, math.hypot(m["u_offset_counts"] / m["slope"],
                                                      whole * (1 - share) / 2 / math.sqrt(3)))


def trapped_air(m, s):
    share = m["kind_share"] or m["shake_share"]
    share = SHARE_UNKNOWN if math.isnan(share) else share
    if math.isnan(s["gain"]):
        weight = m["trials"][0]["load"] if math.isnan(m["air_counts"]) else m["air_counts"]
        bound = AIR_UNSHAKEN * abs(weight / m["slope"])
        return rectangular(bound / 2, bound / 2)
    left = (1 - share) / share / abs(m["slope"])   # a shake frees `share` of what the one before left
    middle = max(s["gain"], 0) * left / 2
    # An error of the gain moves the middle by half of what it moves the bound.
    return rectangular(middle, middle + s["u_gain"] * left / 2)


def stuck_air(m, s):
    """Of all the air, freed and stuck, a share s stays at most: S <= (G + S) s. And what is declared."""
    share = m["kind_stuck_share"] or m["stuck_share"]
    freed_kg = mean([t["freed"] for t in s["kept"] if t["shakes"]] or [0.0]) / abs(m["slope"])
    return max(freed_kg, 0) * share / (1 - share) + m["kind_stuck_kg"]


def lowered(m, x, constant, target, stuck_kg):
    """By how much less the item floats in the water asked for if all of that stayed."""
    best = balance(m, x, constant, target)["b"]
    return float(best - balance(m, dict(x, **{"residual air": x["residual air"] + Fraction(stuck_kg)}), constant,
                                target)["b"])


def unsteady(m, s, slope_key, age_key, direction, low, high):
    """A rate in kg/s from the slopes of readings, less the creep that the calibration foretells at their time
    after the step (c L / (t ln 10)); told by a one-sided t test. It has come to the rate times the time, times a
    factor between two bounds."""
    none = {"told": False, "rate": NAN, "u": NAN, "term": rectangular(0, 0)}
    kept = [t for t in s["kept"] if t[age_key] > 0]
    if len(kept) < 3:
        return none
    rates, offs = [], []
    for t in kept:
        step_kg = direction * t["load"] / m["slope"]
        per_decade = m["creep"] if math.isnan(m["creep_at_reading"]) else m["creep_at_reading"]
        creep = per_decade * step_kg / (t[age_key] * math.log(10))
        share, off = CREEP_LOADED if step_kg > 0 else CREEP_UNLOADED
        rates.append(share * creep - t[slope_key] / m["slope"])
        offs.append(off * abs(creep))
    n, rate, off, age = len(rates), mean(rates), mean(offs), mean([t[age_key] for t in kept])
    u_mean = sd_of(rates) / math.sqrt(n)
    u = math.hypot(u_mean, off / math.sqrt(3))
    told = rate - off > T_99[n - 1] * u_mean
    u_lift = age * math.hypot(rate * (high - low) / 2 / math.sqrt(3), u * (low + high) / 2)
    term = dict(rectangular(rate * age * (low + high) / 2, 0), u=u_lift) if told else rectangular(0, 0)
    return {"told": told, "rate": rate, "u": u, "term": term}


def bubbles(m, s):
    return unsteady(m, s, "water_slope", "water_age", 1, *BUBBLES_TIMES)


def drips(m, s):
    """The tares after lift-outs read too much; of the first trial only one of the two around it."""
    found = unsteady(m, s, "tare_slope", "tare_age", -1, *DRIPS_TIMES)
    kept = [t for t in s["kept"] if t["tare_age"] > 0]
    share = mean([0.5 if t is m["trials"][0] else 1.0 for t in kept]) if kept else 0.0
    found["term"] = dict(found["term"], value=found["term"]["value"] * share, u=found["term"]["u"] * share)
    return found


def drift_u(m, s):
    """Where the scatter is pooled, or that of two trials at most: half of what the tares differ by beside a steady
    drift, for the mean of the trials; less what the scatter shows of it."""
    changes, n = [t["tare_change"] for t in s["kept"]], len(s["kept"])
    if n > 2 and s["dof"] <= n - 1:
        return 0.0
    u = (sd_of(changes) if n > 1 else abs(changes[0])) / 2 / math.sqrt(n)
    return math.sqrt(max(0, u**2 - s["u_last"] ** 2))


def creep_left(m, s):
    if m["window_s"] == 0:
        return CREEP_TYPED
    floats = s["last"] / m["slope"] < 0
    alike = any((mass < 0) == floats for mass in m["points"])
    # within chance it is no more than its own uncertainty
    creep = math.hypot(0 if m["creep_is_told"] == 0 else m["creep"], 0 if math.isnan(m["u_creep"]) else m["u_creep"])
    return ((CREEP_AS_LOADED if alike else CREEP_OTHER_WAY) + s["late"]) * creep


def slope_u(m):
    other = 0 if math.isnan(m["unloading"]) else abs(m["u_unloading"] / m["unloading"] * m["slope"])
    return max(m["u_slope"], other)


def salinity_term(water):
    u = u_of_salinity(water)
    return rectangular(0, u * math.sqrt(3)) if water["range"] else normal(0, u)


def tank_of(m):
    return dict(m["tank"], temp_c=mean([t["temp_c"] for t in m["trials"]]), u_temp_c=m["u_thermometer_k"])


def terms_of(m, s, tank, target):
    signed_kg, off_k = s["last"] / m["slope"], abs(m["air_temp_c"] - m["calibration_temp_c"])
    load_kg = abs(signed_kg)
    rms_kg = math.sqrt(mean([mass**2 for mass in m["points"]]))
    dry = 0 if math.isnan(m["air_counts"]) else m["air_counts"]
    air, u_air = air_density(m)
    in_tank = target is None
    target = target or tank
    return {
        "repeatability in water": student(s["last"], s["u_last"], s["dof"]),
        "plateau noise in water": normal(0, math.sqrt(max(0, s["u_plateau"] ** 2 - s["u_last"] ** 2)), "A"),
        "drift between the tares": normal(0, drift_u(m, s), "A"),
        "dry weighing in air": student(
            dry, math.hypot(m["u_air_counts"], max(s["sd"], abs(m["slope"]) * loading_u(m, dry / m["slope"]))),
            s["dof"]),
        "calibration slope": student(m["slope"], slope_u(m), m["slope_dof"]),
        "reference masses": rectangular(0, m["mass_tolerance"]),
        "calibration lack of fit": normal(0, m["lack_of_fit_kg"] * load_kg / rms_kg),
        "calibration offset": offset_term(m, load_kg),
        "hysteresis": rectangular(0, loop(m, signed_kg)),
        "cell temperature since the calibration": rectangular(
            0, SPAN_PER_K * (TEMP_UNKNOWN_K if math.isnan(off_k) else off_k)),
        # two readings, each rounded by up to half a division
        "resolution": rectangular(0, m["division"] / math.sqrt(12) * math.sqrt(2) * math.sqrt(3)),
        "residual creep": rectangular(0, creep_left(m, s)),
        # the item's theta^2 / 4 less the masses': within half of it either way
        "hanging point and swing": rectangular(0, SWING_RAD**2 / 4 / 2),
        "air density": normal(air, u_air),
        "thermometer": normal(0, m["u_thermometer_k"]),
        "tank water density": normal(rho_of(tank), u_of_formula(tank)),
        "salinity or solids in the tank": salinity_term(tank),
        "immersion depth": rectangular(0, DEPTH_M),
        "item temperature": rectangular(0, m["item_temp_k"]),
        "item expansion": dict(rectangular(m["expansion"], 0), u=m["u_expansion"]),
        "residual air": trapped_air(m, s),
        "bubbles that form on it": bubbles(m, s)["term"],
        "water that drips off": drips(m, s)["term"],
        "line meniscus": rectangular(0, m["meniscus_kg"]),
        "density of the water asked for": normal(
            rho_of(target), 0 if in_tank else math.hypot(u_of_formula(target), u_of_temperature(target))),
        "salinity or solids of the water asked for": normal(0, 0) if in_tank else salinity_term(target),
    }


# ---- the model, in exact fractions ----

def balance(m, x, constant, target):
    """Net buoyancy, volume and mass from a force balance: in air, and in water."""
    k = 1 - Fraction(m["calibration_air"]) / Fraction(MASS_KG_M3)
    slope = x["calibration slope"] * (1 + x["reference masses"]) * (1 + x["cell temperature since the calibration"])
    read = (x["repeatability in water"] + x["plateau noise in water"] + x["drift between the tares"]
            + x["resolution"])
    w = (read / slope * (1 + x["residual creep"]) * (1 - x["hanging point and swing"])
         + x["calibration lack of fit"] + x["hysteresis"] + x["water that drips off"]
         - x["calibration offset"] * constant["way"])
    warmer = x["thermometer"]
    rho = (x["tank water density"] + x["salinity or solids in the tank"] + constant["per_k"] * warmer
           + constant["per_m"] * x["immersion depth"])
    air = x["residual air"] + x["bubbles that form on it"]
    net = -w * k - x["line meniscus"] - air
    if math.isnan(m["air_counts"]):
        return {"b": net, "volume": NAN, "mass": NAN}
    rho_air = x["air density"]
    dry = (x["dry weighing in air"] / slope - x["calibration offset"]) * k      # m - rho_air V
    wet = w * k                                     # m - rho (V + V_air), the air's own mass left out
    # The header's form; with the air's buoyancy on what is trapped it were 1.2e-6 of that lift less.
    wetted = (dry - wet) / (rho - rho_air)
    volume = wetted - air / rho
    # the level rises by what is immersed, and the line is wetted by as much
    net -= rho * constant["line_per_tank"] * wetted
    net -= rho * volume * x["item expansion"] * x["item temperature"]
    b = net
    if target is not None:
        there = x["density of the water asked for"] + x["salinity or solids of the water asked for"]
        swells = 1 + x["item expansion"] * (Fraction(target["temp_c"]) - constant["tank_c"] - warmer)
        b = net + (there * swells - rho) * volume
    return {"b": b, "volume": volume, "mass": dry + rho_air * volume}


def combine(m, s, terms, tank, target):
    area = math.pi / 4 * m["line_diameter_m"] ** 2 / m["tank_area_m2"] if m["tank_area_m2"] else 0
    constant = {"per_k": Fraction(slope_per_k(tank)[0]), "per_m": Fraction(slope_per_m(tank)),
                "line_per_tank": Fraction(area), "tank_c": Fraction(tank["temp_c"]),
                "way": -1 if terms["repeatability in water"]["value"] / m["slope"] < 0 else 1}
    x = {name: Fraction(t["value"]) for name, t in terms.items()}
    best = balance(m, x, constant, target)
    for name, t in terms.items():
        if t["u"] > 0:
            u = Fraction(t["u"])
            ends = [balance(m, dict(x, **{name: x[name] + side * u}), constant, target)["b"] for side in (1, -1)]
            t["sensitivity"] = float((ends[0] - ends[1]) / (2 * u))
        else:
            t["sensitivity"] = 0.0
    parts = {name: abs(t["sensitivity"]) * t["u"] for name, t in terms.items()}
    u = math.sqrt(math.fsum(p * p for p in parts.values()))
    weighted = math.fsum(parts[n] ** 4 / t["dof"] for n, t in terms.items())
    for name, t in terms.items():
        t["share"] = (parts[name] / u) ** 2
    return {"buoyancy_kg": float(best["b"]), "u_buoyancy_kg": u, "dof": u**4 / weighted,
            "stuck_air_kg": lowered(m, x, constant, target, stuck_air(m, s)),
            "volume_m3": float(best["volume"]), "mass_kg": float(best["mass"])}


# ---- beside the number ----

def side(m, s, counts, u_counts):
    k = 1 - m["calibration_air"] / MASS_KG_M3
    return counts / m["slope"] * k, math.hypot(u_counts, s["sd"]) / abs(m["slope"])


def sides_of(m, s, terms, answer, tank):
    """Hung level by two points (statics of a beam), and weighed at a second depth (Boyle)."""
    found = {}
    noise = terms["plateau noise in water"]["u"]
    whole = s["last"] / m["slope"] * (1 - m["calibration_air"] / MASS_KG_M3)
    u_whole = math.hypot(s["u_last"], noise) / abs(m["slope"])
    if not math.isnan(m["level_counts"]):
        hook, u_hook = side(m, s, m["level_counts"], m["u_level_counts"])
        u_hook = math.hypot(u_hook, loop(m, hook) / math.sqrt(3))
        u_total = math.hypot(u_whole, loop(m, whole) / math.sqrt(3))
        length, u_length = m["two_point_m"], TAPE_M / math.sqrt(3)
        found["hook_kg"], found["u_hook_kg"] = -hook, u_hook
        found["far_kg"], found["u_far_kg"] = -(whole - hook), math.hypot(u_hook, u_total)
        found["moment_nm"] = (hook - (whole - hook)) * m["gravity_m_s2"] * length / 2
        found["u_moment_nm"] = m["gravity_m_s2"] / 2 * math.hypot(
            length * math.hypot(2 * u_hook, u_total), (2 * hook - whole) * u_length)
    if not math.isnan(m["deep_counts"]):
        load, u_deep = side(m, s, m["deep_counts"], m["u_deep_counts"])
        deep = -load - terms["residual air"]["value"]
        found["second_buoyancy_kg"], found["u_second_buoyancy_kg"] = deep, u_deep
        rho = rho_of(tank)
        p = [m["air_pressure_pa"] + rho * m["gravity_m_s2"] * d for d in (m["depth_m"], m["second_depth_m"])]
        squeezed = rho * (1 - p[0] / p[1])
        gas = (answer["buoyancy_kg"] - deep) / squeezed
        u_rel = math.hypot(U_DEPTHS_M / (m["second_depth_m"] - m["depth_m"]), m["u_air_pressure_pa"] / p[1],
                           m["u_gravity_m_s2"] / m["gravity_m_s2"])
        found["gas_m3"] = gas
        found["u_gas_m3"] = math.hypot(math.hypot(u_whole, u_deep) / squeezed, gas * u_rel)
    growing = bubbles(m, s)
    found["bubbles_g_min"], found["u_bubbles_g_min"] = growing["rate"] * 6e4, growing["u"] * 6e4
    found["forms_bubbles"], found["drips"] = float(growing["told"]), float(drips(m, s)["told"])
    if s["line"] is not None:
        g = 1e3 / m["slope"]
        found["uptake_g_min"], found["u_uptake_g_min"] = s["line"]["slope"] * g, s["line"]["u_slope"] * abs(g)
        found["takes_up_water"], found["at_last_soak"] = float(s["soaks"]), float(s["at_last"])
    found["trials"], found["soak_s"] = float(len(s["kept"])), s["kept"][-1]["soak_s"]
    return found


def body_check(m, tank):
    """A body of known mass and volume under water: what it reads, what it should, and how sure that is."""
    body = m["body"]
    k, load_kg = 1 - m["calibration_air"] / MASS_KG_M3, body["load"] / m["slope"]
    rms_kg = math.sqrt(mean([mass**2 for mass in m["points"]]))
    offset = offset_term(m, abs(load_kg))
    reads = (load_kg - math.copysign(1, load_kg) * offset["value"]) * k
    # of one reading: of a plateau or of several readings, of a loading, of a trial where that is known
    known = [(abs(body["u_load"] / m["slope"]), body["load_dof"]), (loading_u(m, load_kg), m["slope_dof"])]
    u_one, dof_one = max(known + ([(m["kind_sd_kg"], m["kind_dof"])] if m["kind_dof"] >= 3 else []))
    u_reads = math.hypot(u_one, offset["u"],
                         m["meniscus_kg"] / math.sqrt(3), m["lack_of_fit_kg"] * abs(load_kg) / rms_kg,
                         loop(m, load_kg) / math.sqrt(3))
    warmer = tank["temp_c"] - 20
    volume = body["volume_m3"] * (1 + body["expansion"] * warmer)
    u_volume = math.hypot(body["u_volume_m3"], body["volume_m3"] * body["u_expansion"] * warmer)
    rho = rho_of(tank)
    u_rho = math.hypot(u_of_formula(tank), u_of_salinity(tank), u_of_temperature(tank))
    off_k = abs(m["air_temp_c"] - m["calibration_temp_c"])
    creep = creep_left(m, {"last": body["load"], "late": 0})
    u_scale = math.hypot(m["u_slope"] / m["slope"], m["mass_tolerance"] / math.sqrt(3),
                         SPAN_PER_K * (TEMP_UNKNOWN_K if math.isnan(off_k) else off_k) / math.sqrt(3),
                         creep / math.sqrt(3), SWING_RAD**2 / 8 / math.sqrt(3))
    expected = body["mass_kg"] - rho * volume
    u = math.hypot(u_reads, body["u_mass_kg"], rho * u_volume, volume * u_rho, expected * u_scale)
    weighted = u_one**4 / dof_one + (expected * m["u_slope"] / m["slope"]) ** 4 / m["slope_dof"]
    limit = t_of_2_sd(u**4 / weighted if weighted > 0 else INF) * u
    return {"reads_kg": reads, "u_reads_kg": u_reads, "expected_kg": expected, "deviation_kg": reads - expected,
            "u_deviation_kg": u, "e_n": (reads - expected) / (2 * u), "low_kg": -limit,
            "high_kg": limit}


# ---- the measurements, made up ----

def water(model, s, u, depth, temp_c=NAN, u_temp=0.0, in_range=False, gravity=0.0, name="tank"):
    return {"name": name, "model": model, "temp_c": temp_c, "u_temp_c": u_temp, "salinity_g_kg": s,
            "u_salinity_g_kg": u, "range": in_range, "depth_m": depth, "gravity_m_s2": gravity}


def trial(load, u, shakes, gain, gain_s, soak_s, temp_c, late_s=0.0, left_out=False, before=0.0, preset=False,
          water=(0.0, 0.0), tare=(0.0, 0.0), change=0.0):
    return {"load": load, "u": u, "shakes": shakes, "gain": gain, "freed": gain + before, "gain_s": gain_s, "soak_s": soak_s,
            "temp_c": temp_c, "late_s": late_s, "left_out": left_out, "set": preset,
            "water_slope": water[0], "water_age": water[1], "tare_slope": tare[0], "tare_age": tare[1],
            "tare_change": change}


COMMON = dict(
    division=4.0, u_thermometer_k=0.15, line_diameter_m=0.0021, tank_area_m2=0.29, depth_m=0.45,
    meniscus_kg=3e-5, item_temp_k=0.7, shake_share=0.45, gravity_m_s2=9.8123, u_gravity_m_s2=6e-4,
    read_after_s=20.0, window_s=8.0, air_temp_c=21.5, u_air_temp_k=0.4, air_pressure_pa=99800.0,
    u_air_pressure_pa=60.0, air_humidity=0.47, u_air_humidity=0.05, slope=612345.25, u_slope=9.5, slope_dof=9.0,
    unloading=NAN, u_unloading=NAN, mass_tolerance=6e-5, lack_of_fit_kg=1.1e-4, hysteresis_kg=8e-4, creep=0.0017,
    u_creep=0.0004, creep_at_reading=0.0021, creep_is_told=1.0, scatter_kg=1.5e-4, scatter_rel=2e-4, offset_taken=0.0, offset_counts=44.0,
    u_offset_counts=31.0,
    calibration_air=1.1764, calibration_temp_c=17.25, span_kg=4.0, points=[0.5, 1.0, 2.0, 4.0, -0.5, -2.0],
    expansion=3.9e-4, u_expansion=0.71e-4, kind_sd_kg=0.0, kind_dof=INF, kind_share=0.0,
    stuck_share=0.1, kind_stuck_share=0.0, kind_stuck_kg=0.0,
    air_counts=NAN, u_air_counts=0.0, level_counts=NAN, u_level_counts=0.0, two_point_m=0.0,
    deep_counts=NAN, u_deep_counts=0.0, second_depth_m=0.0, waters=[],
    body=dict(mass_kg=1.02345, u_mass_kg=2.5e-5, volume_m3=8.123e-4, u_volume_m3=6e-8, expansion=1.1e-4,
              u_expansion=2e-5, load=130211.0, u_load=19.0, load_dof=INF))

CASES = {
    # A sinking piece; one trial left out, one late, one never shaken, one with a gain below nothing. It
    # scatters more than its kind (F), and less than its plateaus' noise is nothing.
    "sinks": dict(
        COMMON, air_counts=702345.5, u_air_counts=35.0, kind_sd_kg=1e-4, kind_dof=20,
        tank=water("fresh", 0.21, 0.11, 0.45, in_range=True, gravity=9.8123),
        level_counts=61350.0, u_level_counts=28.0, two_point_m=0.62,
        trials=[trial(102450.0, 21.0, 2, 310.0, 45.0, 30.0, 22.35, before=9120.0, water=(3.1, 21.0), tare=(-14.0, 20.5),
                      change=5000.0),
                trial(102011.0, 25.0, 3, -120.0, 47.0, 330.0, 22.5, late_s=24.0, before=11730.0, water=(-0.4, 22.0),
                      tare=(-16.5, 20.0)),
                trial(103900.0, 19.0, 2, 4000.0, 44.0, 640.0, 22.9, left_out=True, before=20000.0, water=(50.0, 22.0),
                      tare=(90.0, 20.0)),
                trial(102733.0, 23.0, 0, 0.0, 0.0, 935.0, 23.05, water=(1.2, 20.0), tare=(-13.2, 24.0)),
                trial(102160.0, 22.0, 1, 205.0, 46.0, 1240.0, 23.4, water=(1.9, 20.0), tare=(-15.1, 20.0))],
        waters=[water("sea", 35.2, 0.9, 0.0, 11.5, 0.6, True, name="sea"),
                water("fresh", 0.25, 0.14, 3.0, 4.0, 0.5, False, name="cold"),
                water("pool", 3.5, 0.4, 1.5, 28.0, 0.8, False, name="pool")]),
    # A floating piece on a cell that counts downward, loaded by masses only, with a second slope for
    # unloading; pooled with its kind, whose share of a shake was learned; weighed at a second depth.
    "floats": dict(
        COMMON, slope=-598760.5, u_slope=7.0, unloading=-598100.0, u_unloading=16.5, creep=-0.0024,
        u_creep=0.0013, creep_is_told=0.0, offset_taken=1.0, offset_counts=-1510.0, u_offset_counts=95.0,
        calibration_temp_c=NAN, hysteresis_kg=NAN, span_kg=2.0, points=[0.5, 1.0, 2.0, 1.0],
        tank=water("fresh", 0.3, 0.1, 0.45, gravity=9.8123), kind_sd_kg=5e-4, kind_dof=12, kind_share=0.33,
        kind_stuck_share=0.23, kind_stuck_kg=0.0031,
        body=dict(COMMON["body"], load=-127700.0, u_load=410.0, load_dof=2.0),
        air_counts=-431200.0, u_air_counts=300.0, shake_share=0.7,
        deep_counts=70100.0, u_deep_counts=41.0, second_depth_m=3.25,
        trials=[trial(81250.0, 900.0, 2, 150.0, 40.0, 25.0, 18.05, water=(-8.0, 20.0), tare=(2.0, 20.0), change=1500.0),
                trial(81010.0, 850.0, 2, 90.0, 41.0, 300.0, 18.2, preset=True, water=(7.5, 20.0), tare=(-1.0, 20.0),
                      change=-420.0),
                trial(81395.0, 870.0, 3, 60.0, 42.0, 610.0, 18.9, late_s=12.0, water=(4.0, 20.0),
                      tare=(3.0, 20.0), change=610.0),
                trial(99000.0, 860.0, 2, 10.0, 42.0, 900.0, 19.1, left_out=True, preset=True, change=9000.0)],
        waters=[water("sea", 7.2, 0.5, 12.0, 6.0, 0.7, name="brackish")]),
    # It takes up water: stated at the last soak by the line, its gains without that water. Deep down.
    "soaks": dict(
        COMMON, depth_m=31.5, air_counts=1302345.5, u_air_counts=30.0, shake_share=NAN, calibration_temp_c=22.75,
        tank=water("pool", 3.1, 0.35, 31.5, in_range=True),
        trials=[trial(40150.0, 12.0, 2, 420.0, 52.0, 60.0, 26.0, before=-900.0),
                trial(41010.0, 14.0, 2, 390.0, 50.0, 420.0, 26.1, preset=True),
                trial(41720.0, 13.0, 2, -130.0, 49.0, 800.0, 26.15, preset=True),
                trial(42640.0, 12.0, 1, 5100.0, 51.0, 1190.0, 26.3),
                trial(43320.0, 15.0, 2, 405.0, 50.0, 1555.0, 26.3, preset=True)],
        waters=[water("sea", 38.6, 1.1, 0.0, 19.0, 0.0, True, name="warm")]),
    # Three trials in a line: plainly heavier each time, and too few to state another than their mean.
    "three": dict(
        COMMON, creep_at_reading=NAN, u_slope=900.0, slope_dof=5.0, air_counts=902345.5, u_air_counts=30.0,
        hysteresis_kg=NAN, offset_taken=1.0, offset_counts=1900.0, u_offset_counts=120.0, scatter_kg=9e-4, scatter_rel=1.1e-3, tank=water("fresh", 0.0, 0.0, 0.45),
        trials=[trial(50100.0, 12.0, 2, 420.0, 52.0, 60.0, 20.0, water=(-10.0, 21.0), tare=(-20.0, 20.0)),
                trial(50911.0, 14.0, 2, -390.0, 50.0, 420.0, 20.0, preset=True, water=(-11.0, 20.5),
                      tare=(-21.0, 20.0)),
                trial(51718.0, 13.0, 2, 110.0, 49.0, 780.0, 20.0, preset=True, water=(-10.3, 20.0),
                      tare=(-22.5, 23.0))]),
    # Two trials that agree, by chance, while the tares around them moved apart.
    "two": dict(
        COMMON, air_counts=902345.5, u_air_counts=30.0, tank=water("fresh", 0.0, 0.0, 0.45),
        trials=[trial(50100.0, 12.0, 1, 42.0, 52.0, 60.0, 20.0, change=1400.0),
                trial(50117.0, 14.0, 1, 39.0, 50.0, 420.0, 20.0, preset=True, change=-300.0)]),
    # Typed readings in kilograms of one trial, deep down, never shaken, never weighed in air; the air
    # over it hardly known. It rests on its kind.
    "typed": dict(
        COMMON, slope=1.0041, u_slope=8e-4, slope_dof=4.0, division=0.01, read_after_s=0.0, window_s=0.0,
        lack_of_fit_kg=0.003, hysteresis_kg=0.012, creep=0.0, span_kg=1.0, points=[0.3, 0.6, 1.0],
        u_creep=NAN, creep_is_told=NAN, scatter_kg=NAN, scatter_rel=NAN, offset_taken=NAN,
        tank=water("fresh", 0.2, 0.05, 34.0), depth_m=34.0, tank_area_m2=0.0, kind_sd_kg=0.006, kind_dof=7,
        body=dict(COMMON["body"], load=0.21, u_load=0.004),
        kind_stuck_kg=0.012, u_air_temp_k=5.0, u_air_pressure_pa=3000.0, u_air_humidity=0.2,
        trials=[trial(1.37, 0.0029, 0, 0.0, 0.0, 20.0, 9.0, change=-0.02)]),
}


# ---- the table ----

def put(rows, *words):
    rows.append([w if isinstance(w, str) else "%.12g" % float(w) for w in words])


def put_water(rows, word, w):
    put(rows, word, w["name"], w["model"], w["temp_c"], w["u_temp_c"], w["salinity_g_kg"], w["u_salinity_g_kg"],
        w["range"], w["depth_m"], w["gravity_m_s2"])


def put_measurement(rows, name, m):
    put(rows, "case", name)
    for key, value in m.items():
        if isinstance(value, (int, float)):
            put(rows, "set", key, value)
    put_water(rows, "tank", m["tank"])
    for w in m["waters"]:
        put_water(rows, "water", w)
    put(rows, "body", *m["body"].values())
    for mass in m["points"]:
        put(rows, "point", mass)
    for t in m["trials"]:
        put(rows, "trial", t["load"], t["u"], t["shakes"], t["gain"], t["gain_s"], t["soak_s"], t["temp_c"],
            t["late_s"], t["left_out"], t["freed"], t["set"], t["water_slope"], t["water_age"], t["tare_slope"], t["tare_age"],
            t["tare_change"])


def put_result(rows, m, s, tank, target):
    terms = terms_of(m, s, tank, target)
    answer = combine(m, s, terms, tank, target)
    put(rows, "result", target["name"] if target else "tank")
    for name, t in terms.items():
        loose = name in ("thermometer", "immersion depth", "air density", "density of the water asked for")
        put(rows, "term", name, t["value"], t["u"], t["dof"], t["distribution"], t["evaluation"], t["sensitivity"],
            t["share"], BY_STEPS if loose else CLOSED)
    # with the thermometer's part, the whole is no closer than that
    for name, value in answer.items():
        put(rows, "number", name, value, BY_STEPS if name in ("u_buoyancy_kg", "dof") else CLOSED)
    if target is None:
        for name, value in sides_of(m, s, terms, answer, tank).items():
            put(rows, "number", name, value, CLOSED)


def table():
    rows = []
    for name, m in CASES.items():
        put_measurement(rows, name, m)
        s, tank = summarise(m), tank_of(m)
        for target in [None] + m["waters"]:
            put_result(rows, m, s, tank, target)
        for what, value in body_check(m, tank).items():
            put(rows, "check", what, value, CLOSED if what in ("reads_kg", "u_reads_kg") else BY_STEPS)
    return rows


def agree(a, b):
    try:
        x, y = float(a), float(b)
    except ValueError:
        return a == b
    return a == b or abs(x - y) <= 1e-10 * abs(y)


def main():
    rows = table()
    if sys.argv[1:2] == ["--check"]:
        with open(sys.argv[2]) as stream:
            lines = [line.rstrip("\n").split("\t") for line in stream if not line.startswith("#")]
        same = len(lines) == len(rows) and all(
            len(a) == len(b) and all(map(agree, a, b)) for a, b in zip(lines, rows))
        print(("ok" if same else "not ok") + " 1 - the table is what the equations give\n1..1")
        return 0 if same else 1
    print("# SPDX-License-Identifier: GPL-3.0-or-later\n# Made by budget.py; see there.")
    for row in rows:
        print("\t".join(row))
    return 0


if __name__ == "__main__":
    sys.exit(main())
