#!/usr/bin/env python3
"""Random small trials with nasty columns: the program answers, and prints no number that it could
not compute. nasty.py PROGRAM [--count N] [--seed N]

Trials of many shapes (nested, crossed, seasons, dates, places, covariates, lost rows) with
responses and covariates that are constant, tiny, huge, collinear, doubled, of one level, missing,
far from nought, exactly additive or nearly so. Each is analysed; what must hold whatever the data
is that of degenerate.py: exit status 0, or 1 with problems told by place; every number finite, p
from 0 to 1, limits in order, nothing given beside a missing standard error. Also: variances and
their limits are not below nought, an estimate lies between its limits, and fits of units settle. All
data are invented, from seeded generators; a case is drawn again by its seed."""
import argparse
import json
import random
import re
import subprocess
import sys
import tempfile
import pathlib

SECONDS = 120  # for one case, under sanitizers on a busy machine


# --- values ---------------------------------------------------------------------------------------

def number(x):
    return repr(float(x))


def response(rng, rows, treatments, path):
    """A text for each row."""
    unit, effect = {}, {}
    kind = rng.choice(["plain", "plain", "constant", "one differs", "tiny", "huge", "mixed", "offset",
                       "additive", "almost additive", "steep", "whole", "missing", "mostly missing",
                       "by unit", "infinite", "two values", "denormal", "by treatment", "outlier"])
    size = {"tiny": 1e-300, "huge": 1e300, "denormal": 5e-324}.get(kind, 1.0)
    steep = 10.0 ** rng.choice([3, 5, 7, 9, 12, 15])
    odd = rng.randrange(len(rows))
    out = []
    for i, row in enumerate(rows):
        base = sum(effect.setdefault((t, row[t]), rng.choice([0, 0.5, 1, 2])) for t in treatments)
        own = [unit.setdefault(tuple(row[p] for p in path[:d + 1]), rng.gauss(0, 1)) for d in range(len(path))]
        noise = rng.gauss(0, 1)
        y = 5 + base + sum(own[:-1]) + noise
        if kind == "constant":
            y = 3.25
        elif kind == "one differs":
            y = 4 if i == odd else 3
        elif kind == "mixed":
            y = rng.choice([1e-300, 1e300, -1e300, 0, 1, -1e-300])
        elif kind == "offset":
            y = f"{10 ** rng.choice([6, 9, 12, 15])}.{rng.randrange(1000):03d}"
        elif kind == "additive":
            y = round(0.1 * base + sum(round(o, 1) for o in own[:-1]), 1)
        elif kind == "almost additive":
            y = base + sum(round(o, 1) for o in own[:-1]) + rng.choice([0, 0, 1e-13, 1e-9]) * noise
        elif kind == "steep":
            y = base + steep * sum(own[:-1]) + noise
        elif kind == "whole":
            y = rng.randrange(4)
        elif kind == "missing":
            y = ""
        elif kind == "mostly missing":
            y = y if rng.random() < 0.3 else "NA"
        elif kind == "by unit":
            y = own[0]
        elif kind == "infinite" and i == odd:
            y = rng.choice(["inf", "-inf", "nan", "1e999"])
        elif kind == "two values":
            y = rng.choice([0, 1])
        elif kind == "by treatment":
            y = base
        elif kind == "outlier":
            y = 10.0 ** rng.choice([5, 10, 100]) if i == odd else y
        elif kind == "denormal":
            y = rng.randrange(30)
        out.append(y if isinstance(y, str) else number(y * size))
    return kind, out


def covariate(rng, rows, treatments, before):
    kind = rng.choice(["plain", "constant", "doubled", "collinear", "treatment", "tiny", "huge", "missing",
                       "one differs", "offset", "row"])
    first = treatments[0] if treatments else None
    levels = sorted({row[first] for row in rows}) if first else [0]
    out = []
    for i, row in enumerate(rows):
        x = rng.gauss(10, 2)
        if kind == "constant":
            x = 7
        elif kind in ("doubled", "collinear") and before:
            x = before[i] if kind == "doubled" else number(2 * float(before[i] or 0) + 1)
        elif kind == "treatment" and first:
            x = levels.index(row[first])
        elif kind == "tiny":
            x *= 1e-300
        elif kind == "huge":
            x *= 1e299
        elif kind == "missing":
            x = "" if rng.random() < 0.5 else x
        elif kind == "one differs":
            x = 1 if i == 0 else 0
        elif kind == "offset":
            x += 1e9
        elif kind == "row":
            x = i
        out.append(x if isinstance(x, str) else number(x))
    return kind, out


# --- trials ---------------------------------------------------------------------------------------

def grow(rng, counts):
    """Places: numbers along the path, all of them."""
    places = [()]
    for count in counts:
        places = [p + (k,) for p in places for k in range(count)]
    return places


def draw(seed):
    """(protocol, data, what it is)"""
    rng = random.Random(seed)
    depth = rng.choice([1, 2, 2, 2, 3, 3])
    path = ["block", "tree", "limb"][3 - depth:] if depth < 3 else ["block", "tree", "limb"]
    path = path if depth > 1 else ["tree"]
    counts = [rng.choice([1, 2, 3, 4, 5])] * 0 + [rng.choice([1, 2, 3, 4]) for _ in path]
    counts[-1] = rng.choice([1, 2, 3, 4, 6])
    crossed = depth == 2 and rng.random() < 0.25
    if crossed:
        path = ["line", "spot"]
    treatments, lines = [], []
    for name, names in (("pinch", ["a", "b", "c", "d"]), ("angle", ["30", "60", "90"])):
        if rng.random() < (0.9 if name == "pinch" else 0.4):
            levels = names[:rng.choice([1, 2, 3, len(names)])] if rng.random() < 0.95 else names
            if len(levels) < 2:
                levels = names[:2]
            on = "plot" if crossed else rng.choice(path)
            treatments.append((name, levels, on))
            lines.append(f"  {name}: {{levels: [{', '.join(levels)}], on: {on}}}")
    seasons = [2024, 2025] if rng.random() < 0.2 else [None]
    dates = rng.choice([[None], [None], [None], [None], [1, 2, 4]]) if seasons == [None] else [None]
    rows = []
    for season in seasons:
        for place in grow(rng, counts):
            for date in dates:
                row = dict(zip(path, (str(k + 1) for k in place)))
                for n, (name, levels, on) in enumerate(treatments):
                    at = len(path) if on == "plot" else path.index(on) + 1
                    row[name] = levels[(sum(place[:at]) * (n + 1) + (place[0] if n else 0)) % len(levels)]
                if season:
                    row["season"] = str(season)
                if date:
                    row["day"] = str(date)
                rows.append(row)
    if rng.random() < 0.4:
        rows = [row for row in rows if rng.random() < 0.8] or rows[:1]
    rng.shuffle(rows)
    kind, y = response(rng, rows, [t[0] for t in treatments], path)
    what = [kind]
    covariates = {}
    while rng.random() < 0.25 and len(covariates) < 3:
        before = list(covariates.values())[-1] if covariates else None
        sort, x = covariate(rng, rows, [t[0] for t in treatments], before)
        covariates[f"x{len(covariates) + 1}"] = x
        what.append("covariate " + sort)
    units = []
    for d, (name, count) in enumerate(zip(path, counts)):
        within = "" if d == 0 or crossed else f"within: {path[d - 1]}, "
        units.append(f"  {name}: {{{within}count: {count}}}")
    if crossed:
        units.append("  plot: {within: [line, spot]}")
    lowest = "plot" if crossed else path[-1]
    field = not crossed and depth == 1 and len(rows) > 3 and dates == [None] and seasons == [None] and rng.random() < 0.2
    if field:
        units[-1] = units[-1].replace("}", ", position: {row: line, place: spot}}")
        for i, row in enumerate(rows):
            row["line"], row["spot"] = str(i // 3 + 1), str(i % 3 + 1)
    text = "quincunx: 1\n"
    if seasons != [None]:
        text += "seasons: [2024, 2025]\n"
    text += "units:\n" + "\n".join(units) + "\n"
    text += "treatments:\n" + "\n".join(lines) + "\n" if lines else "treatments: {}\n"
    if covariates:
        text += "covariates:\n" + "".join(f"  {name}: {{on: {lowest}}}\n" for name in covariates)
    margin = rng.choice(["", ", margin: 1", ", margin: 1.0e-300", ", margin: 1.0e+300"])
    change = rng.choice([""] * 8 + [", transform: log", ", transform: sqrt"])
    text += f"measure:\n  y: {{kind: continuous, on: {lowest}{margin}{change}{', dates: day' if dates != [None] else ''}}}\n"
    analysis = [rng.choice(["df: satterthwaite", "df: containment", "df: kenward-roger", ""]),
                rng.choice(["blocks: fixed", "", ""]), rng.choice(["compare: holm", "compare: none", "", ""]),
                rng.choice(["sums: sequential", "", ""]),
                "field_trend: " + rng.choice(["auto", "neighbours"]) if field else "",
                ""]
    if any(analysis):
        text += "analysis: {" + ", ".join(a for a in analysis if a) + "}\n"
    columns = list(rows[0]) + list(covariates) + ["y"]
    data = [",".join(columns)]
    for i, row in enumerate(rows):
        data.append(",".join(list(row.values()) + [x[i] for x in covariates.values()] + [y[i]]))
    return text, "\n".join(data) + "\n", ", ".join(what)


# --- what must hold -------------------------------------------------------------------------------

SHARES = ("p", "p_adjusted", "p_lower", "p_upper", "p_equivalence")


def wrong(value, where=""):
    """What is wrong with the numbers, as sentences."""
    if isinstance(value, list):
        for i, inner in enumerate(value):
            yield from wrong(inner, f"{where}[{i}]")
        return
    if not isinstance(value, dict):
        return
    for key, inner in value.items():
        if key in SHARES and inner is not None and not 0 <= inner <= 1:
            yield f"{where}.{key} is {inner}"
        yield from wrong(inner, f"{where}.{key}")
    low, high, middle = value.get("lower"), value.get("upper"), value.get("estimate", value.get("variance"))
    if low is not None and high is not None and low > high:
        yield f"{where}: limits {low}, {high}"
    for edge, sign in ((low, 1), (high, -1)):
        if edge is not None and isinstance(middle, (int, float)) and sign * (edge - middle) > 1e-9 * abs(middle):
            yield f"{where}: {middle} is not between {low} and {high}"
    if value.get("se", 0) is None and "estimate" in value:
        for key in ("value", "p", "lower", "upper"):
            if value.get(key) is not None:
                yield f"{where}: {key} without a standard error"
    if value.get("se") is not None and not value["se"] > 0:
        yield f"{where}: a standard error of {value['se']}"
    for key in ("variance", "sd", "lower", "upper"):
        if "variance" in value and "sd" in value and value.get(key) is not None and value[key] < 0:
            yield f"{where}: {key} is {value[key]}"


def refuse(word):
    raise ValueError(f"{word} is no JSON")


def check(program, folder, seed):
    """Nothing, or what is wrong with the case of this seed."""
    protocol, data, what = draw(seed)
    (folder / "p.yaml").write_text(protocol)
    (folder / "d.csv").write_text(data)
    problems = []
    for more in (["--json"], []):
        try:
            run = subprocess.run([program, "analyse", "p.yaml", "d.csv"] + more, cwd=folder, text=True,
                                 capture_output=True, timeout=SECONDS)
        except subprocess.TimeoutExpired:
            problems.append("it does not end")
            break
        if run.returncode not in (0, 1):
            problems.append(f"exit status {run.returncode}: {run.stderr[-1500:]}")
        elif run.returncode == 1 and not re.search(r"(d\.csv|p\.yaml):\d+", run.stderr):
            problems.append(f"refused without a place: {run.stderr[-300:]}")
        elif run.returncode == 0 and more:
            document = json.loads(run.stdout, parse_constant=refuse)
            problems += list(wrong(document))
            for result in document["results"]:
                for note in result["notes"]:
                    flat = "field_trend" in protocol or "dates:" in protocol  # more variances than data
                    if "did not settle" in note and not flat:
                        problems.append(note)
                    if re.search(r"(?<![A-Za-z])-?(nan|inf)(?![A-Za-z])", note, re.I):
                        problems.append(f"in a note: {note}")
        elif run.returncode == 0 and re.search(r"(?<![A-Za-z])-?(nan|inf|infinity)(?![A-Za-z])", run.stdout, re.I):
            problems.append("the text has a number that is none")
    return what, problems


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    program = str(pathlib.Path(given.program).resolve())
    bad = 0
    with tempfile.TemporaryDirectory() as name:
        for seed in range(given.seed, given.seed + given.count):
            what, problems = check(program, pathlib.Path(name), seed)
            bad += 1 if problems else 0
            for problem in problems:
                print(f"seed {seed} ({what}): {problem}", file=sys.stderr)
    print(f"{given.count - bad} passed, {bad} failed")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
