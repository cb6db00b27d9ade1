#!/usr/bin/python3
"""Reckons the figures of a concentration report anew from the raw entries, and names what differs.

    recompute.py ENTRIES.jsonl REPORT.json REPORT.csv

It shares nothing with the program: it holds all readings at once, sorts them by time, and works
by the definitions. Product: trapezoid rule on the times of the readings; stretches of more than an
hour are not bridged; a value at or under the detection limit counts as 0. ppm from mass: ideal gas
at 25 °C and 101.325 kPa, M = 33.99758 g/mol, R = 8.314462618 J/(mol K). Criteria (b) to (d): Banks &
Annis, abstract. Average over 8 hours: 29 CFR 1910.1000(d)(1).
"""
import bisect
import csv
import json
import math
import sys
from datetime import datetime

M, R = 33.99758, 8.314462618
HOUR = 3600


def at(text):
    return datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp()


def milligrams(celsius):
    """mg/m3 of one ppm."""
    return M * 101.325 / (R * (celsius + 273.15))


def ppm(value, unit):
    return {"ppm": value, "mg/m3": value / milligrams(25), "g/m3": 1000 * value / milligrams(25)}[unit]


def median(values):
    v = sorted(values)
    return (v[(len(v) - 1) // 2] + v[len(v) // 2]) / 2


entries = [json.loads(line) for line in open(sys.argv[1], encoding="utf-8")]
report = json.load(open(sys.argv[2], encoding="utf-8"))
rows = list(csv.DictReader(open(sys.argv[3], encoding="utf-8", newline="")))
compared, wrong = 0, []


def same(what, mine, theirs, tolerance=2e-5):
    """6 significant digits stand in the files."""
    global compared
    compared += 1
    if isinstance(mine, str) or theirs is None:
        ok = mine == theirs
    else:
        ok = abs(mine - theirs) <= tolerance * max(1, abs(mine))
    if not ok:
        wrong.append(f"{what}: {mine} by the entries, {theirs} by the report")


site = entries[0]["site"]
stack, store = report["place"]["stack"], report["place"]["store"]
course = report["treatment"]
acts = [e for e in entries if e.get("stack") == stack]
started = next(e for e in acts if e.get("treatment") == course["name"])
t0 = at(started["time"])
end = next(at(e["time"]) for e in acts if e["kind"] == "airing-started")
dosing = max(at(e["time"]) for e in acts if e["kind"] == "dosing-started")
same("t = 0", t0, at(course["t0"]))
same("exposure", (end - t0) / HOUR, course["exposure_h"])

# What each channel read: the first value for a time is the one that counts, and what an
# instrument does not vouch for does not.
read = {}
for e in entries:
    if e["kind"] == "reading" and not e.get("fault"):
        channel = site["channels"][e["channel"]]
        if e["value"] >= -(channel.get("zero_error") or channel["detection_limit"]):
            read.setdefault(e["channel"], {}).setdefault(at(e["time"]), ppm(e["value"], e["unit"]))


def sampled(channel, first, last):
    return sorted((t, c) for t, c in read.get(channel, {}).items() if first <= t <= last)


def above(t1, c1, t2, c2, level):
    """Hours at or above level on the straight line between two readings."""
    hours, low, high = (t2 - t1) / HOUR, min(c1, c2), max(c1, c2)
    return hours if low >= level else 0 if high < level else hours * (high - level) / (high - low)


def hour_mean(s, first):
    """Mean over an hour of which readings cover half or more, else None."""
    area = covered = 0
    for (t1, c1), (t2, c2) in zip(s, s[1:]):
        a, b = max(t1, first), min(t2, first + HOUR)
        if b <= a or t2 - t1 > HOUR:
            continue
        ca, cb = (c1 + (c2 - c1) * (x - t1) / (t2 - t1) for x in (a, b))
        area, covered = area + (b - a) * (ca + cb) / 2, covered + b - a
    return area / covered if covered >= HOUR / 2 - 1e-6 else None


level, lines, means = course["end_level_ppm"], {}, []
for line in report["lines"]:
    name, detection = line["name"], site["channels"][line["channel"]]["detection_limit"]
    s = lines[name] = [(t, 0 if c <= detection else c) for t, c in sampled(line["channel"], t0, end)]
    area = covered = held = 0
    for (t1, c1), (t2, c2) in zip(s, s[1:]):
        if t2 - t1 <= HOUR:
            area, covered, held = area + (t2 - t1) * (c1 + c2) / 2 / HOUR, covered + (t2 - t1) / HOUR, held + above(t1, c1, t2, c2, level)
    told = {("CTP", "ppm·h"): (area, line["ctp"]["ppm_h"]), ("CTP", "g·h/m3"): (area * milligrams(course["grain_temp_c"]) / 1000, line["ctp"]["g_h_per_m3"]),
            ("hours not covered", "h"): ((end - t0) / HOUR - covered, line["ctp"]["not_covered_h"]),
            ("at or above the end level", "h"): (held, line["at_or_above_end_level_h"])}
    for (item, unit), (mine, theirs) in told.items():
        same(f"{name}, {item} in {unit}", mine, theirs)
        row = next(r for r in rows if (r["section"], r["place"], r["item"], r["unit"]) == ("line", name, item, unit))
        same(f"{name}, {item} in {unit}, table", mine, float(row["value"]))
    days = {}
    for t, c in s:
        days.setdefault(max(1, math.ceil((t - t0) / 86400)), []).append(c)
    same(f"{name}, days", len(days), len(line["days"]))
    for d in line["days"]:
        v = days[d["day"]]
        for key, mine in (("lowest_ppm", min(v)), ("mean_ppm", sum(v) / len(v)), ("highest_ppm", max(v)), ("readings", len(v))):
            same(f"{name}, day {d['day']}, {key}", mine, d[key])
    for e in line["end_levels"]:
        moment = end if e["moment"] == "airing" else at(course["shortest_end"])
        mine = median([c for t, c in s if moment - HOUR < t < moment])
        same(f"{name}, end level, {e['moment']}", mine, e["ppm"])
        same(f"{name}, end level, {e['moment']}, shown", "met" if mine >= level else "not-met", e["shown"])
    means.append([hour_mean(s, t0 + i * HOUR) for i in range(int((end - t0) / HOUR))])

grams = started["phosphine_g"] + sum(e["phosphine_g"] for e in acts if e["kind"] == "dose-added")
dose = report["dose"]
same("phosphine", grams, dose["phosphine_g"] + dose["added_g"])
same("dose by weight", started["phosphine_g"] / started["tonnes"], dose["g_per_t"])
full = 1000 * grams / dose["gas_space_m3"] / milligrams(course["grain_temp_c"])
same("full dose", full, dose["full_dose_ppm"])

criteria = {c["code"]: c for c in report["success"]["criteria"]}
top = sum(max(x for x in m if x is not None) for m in means) / len(means)
same("criterion (b)", top, criteria["average-maximum"]["value"])
same("criterion (b), asked", full / 2, criteria["average-maximum"]["limit"])
same("criterion (b), state", "met" if top > full / 2 else "not-met", criteria["average-maximum"]["state"])
lowest = min(median([c for t, c in s if end - HOUR < t < end]) for s in lines.values())
same("criterion (c)", lowest, criteria["end-concentration"]["value"])
quarter = (end - t0) / HOUR / 4
same("criterion (d), within", quarter, criteria["even-gas"]["within_hours"])
ratios = [min(v) / max(v) for i, v in enumerate(zip(*means)) if i >= int(quarter) - 1 and None not in v]
# The fold keeps no single readings of hours gone by: the last hour of what comes late is a straight line to it.
same("criterion (d)", min(ratios), criteria["even-gas"]["value"], 5e-3)

for point in report["air"]:
    s = [(t, max(c, 0)) for t, c in sampled(point["channel"], dosing, at(report["as_of"]))]
    times, area = [t for t, _ in s], [0]
    for (t1, c1), (t2, c2) in zip(s, s[1:]):
        area.append(area[-1] + (t2 - t1) * (c1 + c2) / 2 / HOUR)

    def until(x):
        i = min(max(bisect.bisect_right(times, x) - 1, 0), len(s) - 2)
        (t1, c1), (t2, c2) = s[i], s[i + 1]
        x = min(max(x, t1), t2)
        return area[i] + (x - t1) / HOUR * (2 * c1 + (c2 - c1) * (x - t1) / (t2 - t1)) / 2

    same(point["name"] + ", readings", len(s), point["readings"])
    same(point["name"] + ", highest", max(c for _, c in s), point["highest_ppm"])
    # The program keeps eight hours in steps of five minutes.
    same(point["name"] + ", 8 h", max((until(t) - until(t - 8 * HOUR)) / 8 for t in times), point["highest_twa_8h_ppm"], 1e-3)
    same(point["name"] + ", 15 min", max((until(t) - until(t - 900)) * 4 for t in times if t - 900 >= times[0]), point["highest_mean_15min_ppm"], 1e-4)

for text in wrong:
    print(text)
print(f"{compared} figures, {len(wrong)} differ")
sys.exit(bool(wrong))
