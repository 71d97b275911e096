#!/usr/bin/env python3
"""Vertical optimal control of the trips beside this file by direct collocation, as a check on `fellrun plan` by another method.

Reads what the program itself gives out, `fellrun grid` and the `conditions` of `fellrun plan --json`, and shares no code with it.
SOURCE.md says what is compared, how, and what it is worth. Writes reference.json; not needed to build or test.

    pip install casadi scipy
    cargo build --release
    python3 tests/crosscheck/ocp.py [--fellrun target/release/fellrun] [trip ...]
"""

import argparse
import csv
import datetime
import json
import math
import pathlib
import platform
import resource
import subprocess
import sys
import tempfile
import time
import tomllib

import casadi as ca
import numpy as np
import scipy
from scipy.interpolate import make_interp_spline

HERE = pathlib.Path(__file__).resolve().parent

# Standard atmosphere (US Standard Atmosphere 1976) and units.
G = 9.80665
R = 287.05287
T0, P0, A0 = 288.15, 101_325.0, 340.294
LAPSE = 0.0065
FT, NM, KT, LB, HP = 0.3048, 1852.0, 1852.0 / 3600.0, 0.45359237, 745.699872
FPM, GAL = FT / 60.0, 3.785411784e-3

# The grid: steps in ft, kt, rpm, inHg, and knots of the hull between least and most thrust.
STEP_FT, STEP_KT, STEP_RPM, STEP_INHG = 1000, 2.5, 100, 1
HULL_KNOTS = 41
# Heights over which a step of the mixture rule with height is smoothed, m.
MIXTURE_STEP_M = 25.0
# Cruise speed at least this many times the stall speed.
OVER_STALL = 1.3
# While climbing, energy height is gained at least this fast, m/s: the planner's least rate of climb on reaching a level. A slower
# climb would be a cruise with more than cruise power.
LEAST_CLIMB = 300.0 * FPM
# Weight of the changes of the controls against chattering; what they add is left out of every figure.
CALM = 2e-6
TOLERANCE = 1e-7


def isa_k(hp):
    return T0 - LAPSE * hp


def isa_pa(hp):
    return P0 * (isa_k(hp) / T0) ** (G / (R * LAPSE))


def cas(v, hp, kelvin):
    """Calibrated airspeed, m/s (subsonic pitot equation)."""
    mach2 = v * v / (1.4 * R * kelvin)
    qc = isa_pa(hp) * ((1.0 + 0.2 * mach2) ** 3.5 - 1.0)
    return A0 * ca.sqrt(5.0 * ((qc / P0 + 1.0) ** (2.0 / 7.0) - 1.0))


def tas_of(cas_m_s, hp, kelvin):
    qc = P0 * ((1.0 + 0.2 * (cas_m_s / A0) ** 2) ** 3.5 - 1.0)
    mach2 = 5.0 * ((qc / isa_pa(hp) + 1.0) ** (2.0 / 7.0) - 1.0)
    return math.sqrt(mach2 * 1.4 * R * kelvin)


def spline(axes, values, degrees=None):
    """A tensor-product spline through the values (not-a-knot), as a CasADi function of a stacked point, twice differentiable."""
    knots, coefficients = [], np.asarray(values, float)
    degrees = degrees or [min(3, len(a) - 1) for a in axes]
    for i, (axis, k) in enumerate(zip(axes, degrees)):
        s = make_interp_spline(axis, np.moveaxis(coefficients, i, 0), k=k)
        knots.append(list(s.t))
        coefficients = np.moveaxis(s.c, 0, i)
    return ca.Function.bspline("f", knots, list(coefficients.flatten(order="F")), list(degrees), 1, {})


def bilinear(axes, table, hp, v):
    """The table at a height and speed, linear between the rows of the grid; trailing axes are kept."""
    i = int(np.clip(np.searchsorted(axes[0], hp) - 1, 0, len(axes[0]) - 2))
    j = int(np.clip(np.searchsorted(axes[1], v) - 1, 0, len(axes[1]) - 2))
    x = (hp - axes[0][i]) / (axes[0][i + 1] - axes[0][i])
    y = (v - axes[1][j]) / (axes[1][j + 1] - axes[1][j])
    return (table[i, j] * (1 - x) * (1 - y) + table[i + 1, j] * x * (1 - y)
            + table[i, j + 1] * (1 - x) * y + table[i + 1, j + 1] * x * y)


def lower_hull(points):
    """Lower convex hull of fuel flow over thrust, from the least to the most thrust there is."""
    hull = []
    for p in sorted(points):
        while len(hull) >= 2:
            (x0, y0), (x1, y1) = hull[-2:]
            if (x1 - x0) * (p[1] - y0) - (y1 - y0) * (p[0] - x0) <= 0.0:
                hull.pop()
            else:
                break
        if hull and p[0] - hull[-1][0] < 1e-9:
            continue
        hull.append(p)
    return np.array(hull)


class Rules:
    """What the profile says of limits; the keys are those of the profile."""

    def __init__(self, path):
        d = tomllib.loads(path.read_text())
        p = d["procedures"]
        self.rated_hp = d["engine"]["rated_power_hp"]
        self.cruise = p["max_cruise_power_percent"] / 100.0
        self.bands = {m["name"]: m["max_power_percent"] / 100.0 for m in d["engine"]["mixture"]}
        self.climb_rpm = p["climb_rpm"]
        self.max_kg = d["weights"]["max_take_off_lb"] * LB
        s = d["speeds"]
        self.vs, self.vno = s["vs_kt"] * KT, s["vno_kt"] * KT
        self.vy = [(r["altitude_ft"] * FT, r["ias_kt"] * KT) for r in s["vy"]]
        self.cooling, self.pattern = s["least_cooling_kt"] * KT, p["pattern_kt"] * KT
        self.kg_gal = d["fuel"]["density_lb_per_gal"] * LB


class Grid:
    """Hulls from `fellrun grid` on (pressure altitude, true airspeed): kg/s over N."""

    def __init__(self, fellrun, profile, rules, isa_dev, low_ft, high_ft):
        weights = [2100.0, rules.max_kg / LB]
        with tempfile.TemporaryDirectory() as folder:
            out = pathlib.Path(folder) / "grid.csv"
            subprocess.run(
                [fellrun, "grid", profile, "--out", out, "--isa-dev-c", f"{isa_dev:.2f}", "--weight-lb",
                 ",".join(f"{w:.3f}" for w in weights), "--altitude-ft", f"{low_ft}..{high_ft}", "--tas-kt", "70..175",
                 "--step-altitude-ft", str(STEP_FT), "--step-tas-kt", str(STEP_KT), "--step-rpm", str(STEP_RPM),
                 "--step-map-inhg", str(STEP_INHG)], check=True, capture_output=True)
            with open(out, newline="") as f:
                rows = list(csv.reader(f))
        head = {name: i for i, name in enumerate(rows[0])}
        drags = [i for name, i in head.items() if name.startswith("drag_n_")]
        lines = {}
        drag = {}
        for r in rows[1:]:
            at = (float(r[0]), float(r[1]))
            drag[at] = (float(r[drags[0]]), float(r[drags[1]]))
            # With the lever full forward the RPM may sag, in the plan as well.
            if r[head["governed"]] == "true" or round(float(r[2])) == max(rules.climb_rpm):
                lines.setdefault(at, {}).setdefault((round(float(r[2])), r[4]), []).append(
                    (float(r[head["map_inhg"]]), float(r[head["thrust_n"]]), float(r[head["fuel_flow_gph"]]),
                     float(r[head["shaft_power_hp"]]), r[head["reason"]], r[head["point"]]))
        self.hp = sorted({a[0] for a in drag})
        self.v = sorted({a[1] for a in drag})
        flow = rules.kg_gal / 3600.0
        sets = ("cruise", "free_low", "free_high", "rich", "best")
        self.hulls = {name: {} for name in sets}
        rich, best = list(rules.bands)[0], "best power"
        for at, line in lines.items():
            cruise, full = [], {rich: [], best: []}
            for (rpm, mixture), points in line.items():
                points.sort()
                most = min(rules.cruise, rules.bands[mixture]) * rules.rated_hp
                before = None
                for p in points:
                    why = set(filter(None, p[4].split(";")))
                    # Limits of speed stand in the problem itself.
                    if why - {"cruise_power", "mixture_band", "too_slow", "too_fast"}:
                        before = None
                        continue
                    if p[3] <= most * (1 + 1e-9):
                        cruise.append((p[1], p[2] * flow))
                    elif before and before[3] < most:
                        # Up to the limit of power itself, linear between the rows.
                        x = (most - before[3]) / (p[3] - before[3])
                        cruise.append((before[1] + x * (p[1] - before[1]), (before[2] + x * (p[2] - before[2])) * flow))
                    before = p
                last = points[-1]
                if last[5] == "full_throttle" and rpm in rules.climb_rpm and mixture in full:
                    full[mixture].append((last[1], last[2] * flow, last[3] <= rules.bands[mixture] * rules.rated_hp))
            two = lambda ps: [(t, f) for t, f, _ in ps]
            within = [(t, f) for t, f, ok in full[best] if ok]
            put = {"cruise": cruise, "free_low": cruise + two(full[rich]) + within, "free_high": cruise + two(full[rich] + full[best]),
                   "rich": two(full[rich]), "best": two(full[best])}
            for name, points in put.items():
                self.hulls[name][at] = lower_hull(points)
        self.axes = [np.array(self.hp) * FT, np.array(self.v) * KT]
        self.u = np.linspace(0.0, 1.0, HULL_KNOTS)
        self.tables = {}
        for name in sets:
            shape = (len(self.hp), len(self.v))
            least, most, fuel = np.zeros(shape), np.zeros(shape), np.zeros(shape + (HULL_KNOTS,))
            for i, h in enumerate(self.hp):
                for j, v in enumerate(self.v):
                    hull = self.hulls[name][(h, v)]
                    least[i, j], most[i, j] = hull[0, 0], hull[-1, 0]
                    fuel[i, j] = np.interp(least[i, j] + self.u * (most[i, j] - least[i, j]), hull[:, 0], hull[:, 1])
            self.tables[name] = (least, most, fuel)
        w = np.array(weights) * LB * G
        a, b = np.zeros((len(self.hp), len(self.v))), np.zeros((len(self.hp), len(self.v)))
        for i, h in enumerate(self.hp):
            for j, v in enumerate(self.v):
                d = drag[(h, v)]
                b[i, j] = (d[1] - d[0]) / (w[1] ** 2 - w[0] ** 2)
                a[i, j] = d[0] - b[i, j] * w[0] ** 2
        self.drag_tables = (a, b)
        self.drag_parts = spline(self.axes, a), spline(self.axes, b)
        self.functions = {n: (spline(self.axes, t[0]), spline(self.axes, t[1]), spline(self.axes + [self.u], t[2]))
                          for n, t in self.tables.items()}
        keys = ["pressure_altitude_ft", "tas_kt", "rpm", "map_inhg", "mixture", "thrust_n", "fuel_flow_gph"]
        held = [r for r in rows[1:] if r[head["point"]] == "held" and r[head["governed"]] == "true"]
        self.samples = [{"isa_dev_c": round(isa_dev, 2)} | {k: r[head[k]] if k == "mixture" else float(r[head[k]]) for k in keys}
                        for r in held[len(held) // 9 :: len(held) // 8]]

    def set_at(self, name, hp, v, u):
        least, most, fuel = self.functions[name]
        at = ca.vertcat(hp, v)
        low = least(at)
        return low + u * (most(at) - low), fuel(ca.vertcat(hp, v, u))

    def drag(self, hp, v, weight):
        a, b = (f(ca.vertcat(hp, v)) for f in self.drag_parts)
        return a + b * weight**2

    def linear_fuel(self, name, hp, v, thrust):
        """Fuel flow on the hulls of the four rows around, each at its own share of the thrust; by how much it lies beyond them."""
        least, most, fuel = (bilinear(self.axes, t, hp, v) for t in self.tables[name])
        u = (thrust - least) / (most - least)
        return float(np.interp(u, self.u, fuel)), max(u - 1.0, -u, 0.0)


class Trip:
    """A trip as planned: `fellrun plan --json` and the trip file."""

    def __init__(self, fellrun, path):
        self.name = path.stem
        self.file = tomllib.loads(path.read_text())
        self.profile = (path.parent / self.file["profile"]).resolve()
        cpu = lambda: sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
        began = cpu()
        self.plan = d = self.ask(fellrun, path, self.file["objective"]["kind"])
        self.plan_cpu_s = cpu() - began
        self.rules = r = Rules(self.profile)
        self.length = d["totals"]["distance_nm"] * NM
        # The table ends 2,000 ft above the plan: of the plans by time, fuel and money the highest gives it.
        winds = max((self.ask(fellrun, path, o)["conditions"]["winds"] for o in ("time", "fuel", "money")),
                    key=lambda w: w[0]["levels"][-1]["pressure_altitude_ft"])
        self.known_to = winds[0]["levels"][-1]["pressure_altitude_ft"] * FT
        middles = [0.5 * (w["from_nm"] + w["to_nm"]) * NM for w in winds]
        limits = self.file["limits"]
        heights = np.arange(0.0, limits["max_altitude_ft"] + 2000.0, 250.0)
        along = [0.0] + middles + [self.length]
        order = [winds[0]] + winds + [winds[-1]]
        if len(winds) == 1:
            along, order = [0.0, self.length], [winds[0]] * 2

        def field(key, of=lambda x, hp: x):
            rows = []
            for w in order:
                hp = np.array([x["pressure_altitude_ft"] for x in w["levels"]])
                rows.append(np.interp(heights, hp, of(np.array([x[key] for x in w["levels"]]), hp * FT)))
            return np.array(rows)

        fine = heights * FT
        self.air_axes = [np.array(along), fine]
        degrees = [min(3, len(along) - 1), 3]
        self.along = spline(self.air_axes, field("wind_along_kt") * KT, degrees)
        self.cross = spline(self.air_axes, field("wind_cross_kt") * KT, degrees)
        # Beyond the table the wind and the deviation from standard temperature are held.
        deviations = field("temperature_c", lambda c, hp: c + 273.15 - isa_k(hp))
        self.kelvin = spline(self.air_axes, isa_k(fine)[None, :] + deviations, degrees)
        self.deviation = float(deviations.mean())
        self.spread = float(np.abs(deviations - self.deviation).max())
        weights = d["conditions"]["weights"]
        xs = np.array([w["distance_nm"] for w in weights]) * NM
        keep = np.concatenate([[True], np.diff(xs) > 1.0])
        xs, ws = xs[keep], np.array([w["weight_lb"] for w in weights])[keep] * LB
        self.mass = spline([xs], ws, [min(3, len(xs) - 1)])
        kind = {"time": (1.0, 0.0), "fuel": (0.0, 1.0)}
        p = self.file["prices"]
        self.rates = kind.get(d["objective"]["kind"], (p["hourly"] / 3600.0, p["fuel_per_gal"] / r.kg_gal))
        self.kind = d["objective"]["kind"]
        segments = {s["kind"]: s for s in d["segments"]}
        begin = segments["initial_climb"]["end"]
        self.start = (begin["distance_nm"] * NM, begin["pressure_altitude_ft"] * FT, begin["tas_kt"] * KT)
        end_s = d["pattern_point_nm"] * NM
        # The altimeter setting is the same all along, so pressure altitude is indicated altitude plus this.
        shift = (begin["pressure_altitude_ft"] - begin["indicated_altitude_ft"]) * FT
        assert isinstance(self.file["weather"]["altimeter_inhg"], float), "one altimeter setting"
        end_hp = d["pattern_altitude_ft"] * FT + shift
        end_k = float(self.kelvin([end_s, end_hp]))
        self.end = (end_s, end_hp, tas_of(r.pattern, end_hp, end_k))
        self.top = limits["max_altitude_ft"] * FT + shift
        self.bottom = min(self.start[1], self.end[1])
        self.sink = limits.get("max_descent_fpm", 500) * FPM
        self.fastest = r.vno - 10.0 * KT  # light air all the way
        climbing = {"accelerate", "climb", "level_off"}
        flown = [p for p in d["track"] if d["segments"][p["segment"]]["kind"] in climbing]
        self.climb_end = flown[-1]["distance_nm"] * NM
        rich = [p["indicated_altitude_ft"] for p in flown if p["mixture"] == "full rich"]
        lean = [p["indicated_altitude_ft"] for p in flown if p["mixture"] != "full rich"]
        # The plan's climb mixture: full rich up to this height.
        self.lean_at = (max(rich) * FT + shift) if rich and lean else (1e5 if rich else -1e5)
        # By rule, best power above this density altitude whatever its band: where that lies in pressure altitude.
        limit_da = tomllib.loads(self.profile.read_text())["procedures"]["full_rich_density_altitude_ft"] * FT
        self.free_lean_at = min(
            (h for h in np.arange(self.bottom, self.top, 10.0)
             if density_altitude(h, float(self.kelvin([self.start[0], h]))) > limit_da), default=1e5)
        track = [p for p in d["track"] if self.start[0] - 1 <= p["distance_nm"] * NM <= end_s + 1]
        s = np.array([p["distance_nm"] for p in track]) * NM
        keep = np.concatenate([[True], np.diff(s) > 0.5])
        self.track = [s[keep]] + [np.array([p[k] for p in track])[keep] * c
                                  for k, c in (("pressure_altitude_ft", FT), ("tas_kt", KT), ("vs_fpm", FPM))]


    @staticmethod
    def ask(fellrun, path, objective):
        run = subprocess.run([fellrun, "plan", path, "--objective", objective, "--json", "-"], check=True, capture_output=True)
        return json.loads(run.stdout)


def density_altitude(hp, kelvin):
    rho = isa_pa(hp) / (R * kelvin)
    return (T0 / LAPSE) * (1.0 - (rho / (P0 / (R * T0))) ** (1.0 / (G / (R * LAPSE) - 1.0)))


def fractions(length, ends, finest, widest, growth):
    """Nodes from 0 to 1, close together at both ends (as many steps there as `ends` says) and wide between."""
    first, last = ends
    def side(reach):
        steps, total, step = [], 0.0, finest
        while total < reach:
            steps.append(step)
            total += step
            step = min(step * growth, widest)
        return steps, total
    (a, la), (b, lb) = side(min(first, 0.45 * length)), side(min(last, 0.45 * length))
    middle = max(length - la - lb, finest)
    n = max(1, math.ceil(middle / widest))
    steps = np.array(a + [middle / n] * n + b[::-1])
    return np.concatenate([[0.0], np.cumsum(steps) / steps.sum()])


def solve(trip, grid, bound, scale, guess, fine=1.0, quiet=True, ends=None, phases=(0, 1)):
    """Hermite-Simpson collocation in distance, two phases: climb and the rest, with the point between free.

    `bound`: full throttle and the plan's mixture while climbing, level or down after it; else free. `ends`: other states (distance,
    pressure altitude, true airspeed) to go from and to; `phases`: without the climb, or with it.
    """
    r = trip.rules
    c_time, c_fuel = trip.rates
    opti_x, low, high, first = [], [], [], []

    def variables(name, n, lb, ub, x0, unit):
        x = ca.MX.sym(name, n)
        opti_x.append(x)
        low.append(np.full(n, lb) / unit)
        high.append(np.full(n, ub) / unit)
        first.append(np.clip(np.asarray(x0), lb, ub) / unit)
        return x * unit

    s, hp, v, rate, u, split = (ca.MX.sym(n) for n in ("s", "hp", "v", "rate", "u", "split"))
    at = ca.vertcat(s, hp)
    w, wx, kelvin = trip.along(at), trip.cross(at), trip.kelvin(at)
    shear = ca.gradient(w, hp)
    mass = trip.mass(s)

    def thrust_and_fuel(phase):
        if phase == 1:
            return grid.set_at("cruise", hp, v, u)
        names, lean = (("rich", "best"), trip.lean_at) if bound else (("free_low", "free_high"), trip.free_lean_at)
        if lean > trip.top:
            return grid.set_at(names[0], hp, v, u)
        if lean < trip.bottom:
            return grid.set_at(names[1], hp, v, u)
        share = 0.5 * (1.0 + ca.tanh((hp - lean) / MIXTURE_STEP_M))
        below, above = (grid.set_at(n, hp, v, u) for n in names)
        return tuple(a + share * (b - a) for a, b in zip(below, above))

    functions = []
    for phase in (0, 1):
        thrust, fuel = thrust_and_fuel(phase)
        hydrostatic = kelvin / isa_k(hp)
        gs = ca.sqrt(v * v - (rate * hydrostatic) ** 2 - wx * wx) + w
        acceleration = (thrust - grid.drag(hp, v, mass * G)) / mass - G * rate * hydrostatic / v - shear * rate
        limit = cas(v, hp, kelvin)
        functions.append(ca.Function("f", [s, hp, v, rate, u], [
            rate / gs, acceleration / gs, (c_time + c_fuel * fuel) / gs, 1.0 / gs, fuel / gs, limit, thrust, mass,
            rate * hydrostatic + v / G * acceleration]))

    (s0, hp0, v0), (s2, hp2, v2) = ends or (trip.start, trip.end)
    top_of_climb, shape = guess
    if 0 in phases:
        s1 = variables("s1", 1, s0 + 0.5 * NM, s2 - min(2.0 * NM, 0.1 * (s2 - s0)), [top_of_climb], 10 * NM)
    else:
        top_of_climb, s1 = s0, ca.MX(s0)
    g, g_low, g_high = [], [], []

    def constrain(x, lb, ub):
        g.append(x)
        g_low.append(np.full(x.numel(), lb))
        g_high.append(np.full(x.numel(), ub))

    totals = {"cost": 0.0, "time": 0.0, "fuel": 0.0}
    calm = 0.0
    before = None
    keep = []
    for phase in phases:
        a, b, ga, gb = (s0, s1, s0, top_of_climb) if phase == 0 else (s1, s2, top_of_climb, s2)
        if phase == 0:
            sigma = fractions((gb - ga) / NM, (2.0, 2.0), 0.25 / fine, 1.0 / fine, 1.3)
        else:
            sigma = fractions((gb - ga) / NM, (6.0, 60.0), 0.2 / fine, 5.0 / fine, 1.08)
        n = len(sigma)
        x_guess = ga + sigma * (gb - ga)
        h_guess, v_guess, r_guess = shape(x_guess)
        h = variables("h", n, trip.bottom, trip.top, h_guess, 1000.0)
        vel = variables("v", n, 36.5, 90.0, v_guess, 50.0)
        up = 20.0 if (phase == 0 or not bound) else 0.0
        down = 0.0 if phase == 0 else -trip.sink
        rt = variables("r", n, down, up, r_guess, 5.0)
        un = variables("u", n, 0.0, 1.0, np.full(n, 0.5), 1.0)
        xs = a + sigma * (b - a)
        f = functions[phase]
        nodes = f.map(n)(xs.T, h.T, vel.T, rt.T, un.T)
        hs = (xs[1:] - xs[:-1]).T
        half = lambda p: 0.5 * (p[:-1] + p[1:]).T
        diff = lambda p: (p[1:] - p[:-1]).T
        dh, dv = nodes[0], nodes[1]
        hm = half(h) + hs / 8.0 * (dh[:-1] - dh[1:])
        vm = half(vel) + hs / 8.0 * (dv[:-1] - dv[1:])
        mids = f.map(n - 1)(half(xs), hm, vm, half(rt), half(un))
        simpson = lambda k: hs / 6.0 * (nodes[k][:-1] + 4.0 * mids[k] + nodes[k][1:])
        constrain((diff(h) - simpson(0)) / 100.0, 0.0, 0.0)
        constrain((diff(vel) - simpson(1)) / 5.0, 0.0, 0.0)
        for k, key in ((2, "cost"), (3, "time"), (4, "fuel")):
            totals[key] += ca.sum2(simpson(k))
        # Speed limits: not before the start, whose speed is given.
        kelvins = nodes[5]
        slow = OVER_STALL * r.vs * ca.sqrt(nodes[7] / r.max_kg)
        constrain((nodes[5] - trip.fastest) / 10.0, -np.inf, 0.0)
        if bound and phase == 0:
            hs_vy = [x[0] for x in r.vy]
            vy = ca.interpolant("vy", "linear", [hs_vy], [x[1] for x in r.vy])
            vys = vy.map(n)(h.T) * ca.sqrt(nodes[7] / r.max_kg)
            constrain((nodes[5] - ca.fmax(vys, r.cooling)) / 10.0, -1e-3, np.inf)
        else:
            constrain((nodes[5] - slow) / 10.0, 0.0, np.inf)
        constrain((mids[5] - trip.fastest) / 10.0, -np.inf, 0.0)
        if phase == 0 and ends is None:
            constrain(nodes[8] - LEAST_CLIMB, 0.0, np.inf)
        calm += CALM * (ca.sumsqr(diff(rt) / 0.5) + ca.sumsqr(diff(un) / 0.1))
        if before is None:
            constrain(ca.vertcat((h[0] - hp0) / 100.0, (vel[0] - v0) / 5.0), 0.0, 0.0)
        else:
            constrain(ca.vertcat((h[0] - before[0]) / 100.0, (vel[0] - before[1]) / 5.0), 0.0, 0.0)
        before = (h[-1], vel[-1])
        # Nodes and midpoints, for the linear check and for the next guess.
        keep.append((xs, h, vel, rt, nodes[6].T, half(xs).T, hm.T, vm.T, half(rt).T, mids[6].T))
    constrain(ca.vertcat((before[0] - hp2) / 100.0, (before[1] - v2) / 5.0), 0.0, 0.0)
    x = ca.vertcat(*opti_x)
    problem = {"x": x, "f": totals["cost"] / scale + calm, "g": ca.vertcat(*[ca.vec(q) for q in g])}
    options = {"ipopt.print_level": 0 if quiet else 5, "print_time": False, "ipopt.tol": TOLERANCE, "ipopt.max_iter": 800,
               "ipopt.mu_strategy": "adaptive", "ipopt.sb": "yes"}
    solver = ca.nlpsol("solver", "ipopt", problem, options)
    began = time.process_time()
    found = solver(x0=np.concatenate(first), lbx=np.concatenate(low), ubx=np.concatenate(high),
                   lbg=np.concatenate(g_low), ubg=np.concatenate(g_high))
    seconds = time.process_time() - began
    stats = solver.stats()
    outputs = [totals["cost"], totals["time"], totals["fuel"]] + [ca.vec(q) for part in keep for q in part]
    numbers = [np.array(q).ravel() for q in ca.Function("o", [x], outputs)(found["x"])]
    parts = [numbers[3 + 10 * i : 13 + 10 * i] for i in range(len(keep))]
    result = {"cost": float(numbers[0][0]), "time_s": float(numbers[1][0]), "fuel_kg": float(numbers[2][0]), "ok": stats["success"],
              "status": stats["return_status"], "iterations": stats["iter_count"], "seconds": seconds, "nodes": sum(len(p[0]) for p in parts),
              "parts": parts}
    if phases == (0, 1):
        result["linear"], result["beyond"] = linear_cost(trip, grid, bound, parts)
    return result


def linear_cost(trip, grid, bound, parts):
    """The cost of a solution with the hull linear between the grid's rows in place of the spline through them, its thrust kept; and how
    far beyond the hull the thrust lies at most, in parts of its reach."""
    c_time, c_fuel = trip.rates
    total, worst = 0.0, 0.0
    for phase, (s, h, v, rate, thrust, sm, hm, vm, rm, tm) in enumerate(parts):
        def density(s, h, v, rate, thrust):
            nonlocal worst
            at = [s, h]
            hydrostatic = float(trip.kelvin(at)) / isa_k(h)
            gs = math.sqrt(v**2 - (rate * hydrostatic) ** 2 - float(trip.cross(at)) ** 2) + float(trip.along(at))
            if phase == 1:
                name = "cruise"
            elif bound:
                name = "best" if h > trip.lean_at else "rich"
            else:
                name = "free_high" if h > trip.free_lean_at else "free_low"
            fuel, beyond = grid.linear_fuel(name, h, v, thrust)
            worst = max(worst, beyond)
            return (c_time + c_fuel * fuel) / gs
        nodes = np.array([density(*q) for q in zip(s, h, v, rate, thrust)])
        mids = np.array([density(*q) for q in zip(sm, hm, vm, rm, tm)])
        total += float(np.sum(np.diff(s) / 6.0 * (nodes[:-1] + 4.0 * mids + nodes[1:])))
    return total, worst


def from_plan(trip):
    s, h, v, r = trip.track
    return trip.climb_end, lambda x: (np.interp(x, s, h), np.interp(x, s, v), np.interp(x, s, r))


def from_height(trip, height):
    """Up at 6 %, level, down at 3 %."""
    s0, h0, v0 = trip.start
    s2, h2, v2 = trip.end
    height = min(height, h0 + 0.06 * 0.35 * (s2 - s0))
    up = s0 + max(height - h0, 0.0) / 0.06 + NM
    def shape(x):
        h = np.minimum(np.minimum(h0 + (x - s0) * 0.06, max(height, h0)), np.maximum(h2 + (s2 - x) * 0.03, h2))
        v = np.interp(x, [s0, s0 + 3 * NM, s2 - 3 * NM, s2], [v0, 62.0, 62.0, v2])
        slope = np.gradient(h, x) if len(x) > 2 else np.zeros_like(x)
        return h, v, slope * 62.0
    return up, shape


def from_solution(result):
    """A solution as the guess for a finer mesh."""
    joined = [np.concatenate([p[k] for p in result["parts"]]) for k in range(4)]
    s = joined[0] + np.arange(len(joined[0])) * 1e-6
    return result["parts"][0][0][-1], lambda x: tuple(np.interp(x, s, q) for q in joined[1:])


def best(trip, grid, bound, scale, quiet):
    """The cheapest of several starts on the coarse mesh, then on meshes twice and four times as fine."""
    def once(guess, fine):
        t = solve(trip, grid, bound, scale, guess, fine, quiet)
        print(f"    {'ii' if bound else 'i'}: {t['cost']:.4f} linear {t['linear'] / t['cost'] - 1:+.4%} beyond {t['beyond']:.3f} {t['status']} "
              f"{t['iterations']} it {t['seconds']:.1f} s, {t['nodes']} nodes, top {max(p[1].max() for p in t['parts']) / FT:.0f} ft, "
              f"climb to {t['parts'][0][0][-1] / NM:.1f} nm", flush=True)
        return t
    tries = [once(guess, 1.0) for guess in [from_plan(trip)] + [from_height(trip, ft * FT) for ft in (4500.0, 10500.0)]]
    coarse = min([t for t in tries if t["ok"]] or tries, key=lambda t: t["cost"])
    fine = once(from_solution(coarse), 2.0)
    # One solve on the fine mesh from the plan itself: its time is the time of this method.
    alone = once(from_plan(trip), 2.0)
    found = min([t for t in (fine, alone) if t["ok"]] or [fine, alone], key=lambda t: t["cost"])
    found.update(alone_s=alone["seconds"], alone_ok=alone["ok"], coarse=coarse["cost"])
    return found


def losses(trip, grid, scale):
    """Where the plan loses against the bound problem: climb and descent as flown against the cheapest way between the same states."""
    c_time, c_fuel = trip.rates
    kinds = [s["kind"] for s in trip.plan["segments"]]
    state = lambda p: (p["distance_nm"] * NM, p["pressure_altitude_ft"] * FT, p["tas_kt"] * KT)
    cost = lambda p: c_time * p["time_min"] * 60.0 - c_fuel * p["fuel_left_gal"] * trip.rules.kg_gal
    last = lambda kind: max((p for p in trip.plan["track"] if kinds[p["segment"]] == kind), key=lambda p: p["time_min"])
    out = {}
    for name, a, b in (("climb", last("initial_climb"), last("level_off")), ("descent", last("cruise"), last("slow_down"))):
        sa, sb = state(a)[0], state(b)[0]
        if sb - sa < 3 * NM:
            continue
        guess = (sa + 0.8 * (sb - sa), from_plan(trip)[1])
        t = solve(trip, grid, True, scale, guess, 2.0, True, (state(a), state(b)), (0, 1) if name == "climb" else (1,))
        if t["ok"]:
            out[name] = {"flown": round(cost(b) - cost(a), 4), "best": round(t["cost"], 4)}
        print(f"    {name}: flown {cost(b) - cost(a):.4f}, best between the same states {t['cost']:.4f} {t['status']}", flush=True)
    return out


def run(fellrun, path, quiet):
    trip = Trip(fellrun, path)
    print(f"{trip.name}: ISA {trip.deviation:+.2f} K within {trip.spread:.2f} K", flush=True)
    low = math.floor(trip.bottom / FT / 1000.0) * 1000 - 1000
    high = math.ceil(trip.top / FT / 1000.0) * 1000 + 1000
    grid = Grid(fellrun, trip.profile, trip.rules, trip.deviation, low, high)
    scale = {"time": 3600.0, "fuel": 40.0, "money": 300.0}[trip.kind]
    parts = losses(trip, grid, scale)
    return trip, grid, parts, {name: best(trip, grid, bound, scale, quiet) for name, bound in (("free", False), ("bound", True))}


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--fellrun", default=HERE.parent.parent / "target/release/fellrun")
    parser.add_argument("--verbose", action="store_true")
    parser.add_argument("trips", nargs="*")
    args = parser.parse_args()
    paths = sorted((HERE / "trips").glob("*.toml"))
    if args.trips:
        paths = [p for p in paths if p.stem in args.trips]
    out = HERE / "reference.json"
    old = json.loads(out.read_text()) if out.exists() else {}
    trips = {t["name"]: t for t in old.get("trips", [])}
    samples = old.get("grid", [])
    for path in paths:
        trip, grid, parts, found = run(args.fellrun, path, not args.verbose)
        row = {"name": trip.name, "objective": trip.kind, "unit": {"time": "s", "fuel": "kg", "money": "money"}[trip.kind],
               "isa_deviation_k": round(trip.deviation, 3), "isa_deviation_within_k": round(trip.spread, 3),
               "plan_cpu_s": round(trip.plan_cpu_s, 2)}
        for name, t in found.items():
            row[name] = {"cost": round(t["cost"], 6), "time_s": round(t["time_s"], 2), "fuel_kg": round(t["fuel_kg"], 4),
                         "cost_on_linear_hull": round(t["linear"], 6), "cost_on_coarse_mesh": round(t["coarse"], 6), "nodes": t["nodes"],
                         "top_ft": round(max(p[1].max() for p in t["parts"]) / FT), "climb_to_nm": round(t["parts"][0][0][-1] / NM, 2),
                         "iterations": t["iterations"], "status": t["status"], "ipopt_cpu_s": round(t["alone_s"], 2)}
        row["plan_parts"] = parts
        trips[trip.name] = row
        if trip.name == "calm-money":
            samples = grid.samples
        ratio = float(np.median([min(t["free"]["ipopt_cpu_s"], t["bound"]["ipopt_cpu_s"]) / t["plan_cpu_s"] for t in trips.values()]))
        document = {
            "about": "Written by ocp.py, read by tests/crosscheck_ocp.rs; see SOURCE.md.",
            "date": datetime.date.today().isoformat(), "python": platform.python_version(), "casadi": ca.__version__,
            "numpy": np.__version__, "scipy": scipy.__version__, "ipopt_tolerance": TOLERANCE,
            "grid_steps": {"altitude_ft": STEP_FT, "tas_kt": STEP_KT, "rpm": STEP_RPM, "map_inhg": STEP_INHG, "hull_knots": HULL_KNOTS},
            "median_ipopt_over_plan_cpu": round(ratio, 2), "grid": samples, "trips": [trips[n] for n in sorted(trips)]}
        with tempfile.NamedTemporaryFile("w", dir=HERE, suffix=".tmp", delete=False) as f:
            json.dump(document, f, indent=1)
            f.write("\n")
        pathlib.Path(f.name).replace(out)


if __name__ == "__main__":
    main()
