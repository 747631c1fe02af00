#!/usr/bin/env python3
"""Laws that findings obey whatever the data: shift, scale, order of the rows, names of levels and
of units. laws.py PROGRAM

Generated trials of several shapes, balanced and with lost rows; each is analysed as it is and
after a change that must not matter. Verdicts and letters must be the same, p values, test values
and degrees of freedom agree to the digits that two orders of the same sums leave. The data are
invented, from seeded generators."""
import itertools
import json
import math
import random

import harness

# name: units (name, within, count), treatments (name, levels, unit, numeric), unit measured, effects
SHAPES = {
    "completely randomised": {
        "units": "  tree: {count: 15}\n", "path": ["tree"], "counts": [15],
        "treatments": [("pinch", ["none", "early", "late"], "tree")]},
    "complete blocks": {
        "units": "  block: {count: 5}\n  tree: {within: block, count: 6}\n",
        "path": ["block", "tree"], "counts": [5, 6],
        "treatments": [("pinch", ["none", "early"], "tree"), ("angle", ["30", "60", "90"], "tree")]},
    "limbs sampled in trees": {
        "units": "  block: {count: 4}\n  tree: {within: block, count: 3}\n"
                 "  limb: {within: tree, count: 3}\n",
        "path": ["block", "tree", "limb"], "counts": [4, 3, 3],
        "treatments": [("spray", ["water", "low", "high"], "tree")]},
    "split plot": {
        "units": "  block: {count: 4}\n  tree: {within: block, count: 2}\n"
                 "  limb: {within: tree, count: 3}\n",
        "path": ["block", "tree", "limb"], "counts": [4, 2, 3],
        "treatments": [("pinch", ["none", "early"], "tree"), ("angle", ["30", "60", "90"], "limb")]},
    "fixed blocks": {
        "units": "  block: {count: 5}\n  tree: {within: block, count: 4}\n",
        "path": ["block", "tree"], "counts": [5, 4],
        "treatments": [("cut", ["a", "b", "c", "d"], "tree")], "more": "analysis: {blocks: fixed}\n"},
    "against a control": {
        "units": "  block: {count: 5}\n  tree: {within: block, count: 4}\n",
        "path": ["block", "tree"], "counts": [5, 4],
        "treatments": [("cut", ["a", "b", "c", "d"], "tree")], "control": "a",
        "more": "analysis: {compare: dunnett}\n"},
    "with a covariate": {
        "units": "  block: {count: 4}\n  tree: {within: block, count: 4}\n",
        "path": ["block", "tree"], "counts": [4, 4],
        "treatments": [("cut", ["a", "b", "c", "d"], "tree")], "covariate": True},
    "latin square": {
        "units": "  row: {count: 5}\n  column: {count: 5}\n  plot: {within: [row, column]}\n",
        "path": ["row", "column"], "counts": [5, 5], "crossed": True, "on": "plot",
        "treatments": [("cut", ["a", "b", "c", "d", "e"], "plot")]},
    "strips that cross": {
        "units": "  block: {count: 4}\n  strip: {within: block, count: 3}\n"
                 "  row: {within: block, count: 2}\n  plot: {within: [strip, row]}\n",
        "path": ["block", "strip", "row"], "counts": [4, 3, 2], "on": "plot",
        "above": {"block": [], "strip": ["block"], "row": ["block"]},
        "treatments": [("cut", ["a", "b", "c"], "strip"), ("spray", ["water", "oil"], "row")]},
    "split plot with covariates": {
        "units": "  block: {count: 4}\n  tree: {within: block, count: 2}\n"
                 "  limb: {within: tree, count: 3}\n",
        "path": ["block", "tree", "limb"], "counts": [4, 2, 3], "covariate": True, "slopes": "pinch",
        "treatments": [("pinch", ["none", "early"], "tree"), ("angle", ["30", "60", "90"], "limb")]},
    "two seasons": {
        "units": "  block: {count: 4}\n  tree: {within: block, count: 3}\n",
        "path": ["block", "tree"], "counts": [4, 3], "again": ("season", ["2024", "2025"]),
        "treatments": [("cut", ["a", "b", "c"], "tree")]},
    "split plot over seasons": {
        "units": "  block: {count: 3}\n  tree: {within: block, count: 2}\n"
                 "  limb: {within: tree, count: 2}\n",
        "path": ["block", "tree", "limb"], "counts": [3, 2, 2], "again": ("season", ["2024", "2025"]),
        "treatments": [("pinch", ["none", "early"], "tree"), ("side", ["sun", "shade"], "limb")]},
    "several dates": {
        "units": "  block: {count: 3}\n  tree: {within: block, count: 3}\n",
        "path": ["block", "tree"], "counts": [3, 3], "again": ("day", ["10", "20", "40"]),
        "treatments": [("cut", ["a", "b", "c"], "tree")], "one_path": True},
}


def levels_of(shape, place):
    """Treatment levels of the unit at `place` (numbers along the path): factorial inside the unit
    above, the last treatment fastest."""
    out = {}
    if shape.get("crossed"):
        name, levels, _ = shape["treatments"][0]
        return {name: levels[sum(place) % len(levels)]}
    for depth, name in enumerate(shape["path"]):
        here = [t for t in shape["treatments"] if t[2] == name]
        sets = list(itertools.product(*[t[1] for t in here]))
        if here:
            for t, level in zip(here, sets[place[depth] % len(sets)]):
                out[t[0]] = level
    return out


def generate(shape, seed, lost):
    """Rows as dictionaries; y has two decimals. Some rows are lost when asked for."""
    rng = random.Random(seed)
    effect, unit, rows = {}, {}, []
    again, times = shape.get("again", (None, [None]))
    for place, time in itertools.product(itertools.product(*[range(c) for c in shape["counts"]]), times):
        levels = levels_of(shape, place)
        y = 50.0 + rng.gauss(0, 1.5) + effect.setdefault((again, time), rng.gauss(0, 2))
        if again:
            y += unit.setdefault(place, rng.gauss(0, 2)) + unit.setdefault((place[:1], time), rng.gauss(0, 1))
        for key in levels.items():
            y += effect.setdefault(key, rng.gauss(0, 2))
        for depth in range(1, len(place)):
            y += unit.setdefault(place[:depth], rng.gauss(0, 2))
        if shape.get("crossed"):
            y += unit.setdefault(("column", place[1]), rng.gauss(0, 2))
        if shape.get("above"):
            y += unit.setdefault(("row", place[0], place[2]), rng.gauss(0, 2))
        row = {n: str(i + 1) for n, i in zip(shape["path"], place)}
        row.update(levels)
        if again:
            row[again] = time
        if shape.get("covariate"):
            x = rng.randrange(100, 200)
            row["girth"] = f"{x / 10:.1f}"
            y += x / 40
        row["y"] = round(100 * y)
        rows.append(row)
    if lost:
        rows = [r for r in rows if rng.random() > 0.12]
    return rows


def protocol(shape, margin="3", names=None):
    names = names or {}
    again, times = shape.get("again", (None, []))
    text = "quincunx: 1\n" + (f"seasons: [{', '.join(times)}]\n" if again == "season" else "")
    text += "units:\n" + shape["units"] + "treatments:\n"
    for name, levels, unit in shape["treatments"]:
        shown = [names.get((name, v), v) for v in levels]
        control = shape.get("control")
        control = f", control: {names.get((name, control), control)}" if control else ""
        text += f"  {name}: {{levels: [{', '.join(shown)}], on: {unit}{control}}}\n"
    if shape.get("covariate"):
        slopes = f", slopes: [{shape['slopes']}]" if "slopes" in shape else ""
        text += f"covariates:\n  girth: {{on: {shape['path'][-1]}{slopes}}}\n"
    dates = ", dates: day" if again == "day" else ""
    text += f"measure:\n  y: {{kind: continuous, on: {shape.get('on', shape['path'][-1])}, margin: {margin}{dates}}}\n"
    return text + shape.get("more", "")


def exact(hundredths, factor=1, shift=0):
    """(hundredths + shift) x factor / 100 as text, exactly."""
    n = (hundredths + shift) * factor
    return f"{'-' if n < 0 else ''}{abs(n) // 100}.{abs(n) % 100:02d}"


def table(rows, write=exact):
    columns = list(rows[0])
    return "\n".join([",".join(columns)] + [
        ",".join(write(r[c]) if c == "y" else r[c] for c in columns) for r in rows]) + "\n"


class Laws(harness.Case):
    arithmetic = ()  # the one that is asked for

    def findings(self, protocol_text, data):
        self.write("p.yaml", protocol_text)
        self.write("d.csv", data)
        return json.loads(self.run_it("analyse", "p.yaml", "d.csv", "--json", *self.arithmetic).out)["results"][0]

    def near(self, a, b, what, relative=1e-7, least=1e-9):
        if a is None or b is None:
            self.assertEqual(a, b, what)
            return
        self.assertTrue(math.isclose(a, b, rel_tol=relative, abs_tol=least), f"{what}: {a}, {b}")

    def same(self, one, two, scale=1.0, names=None):
        """What must not change between two results; estimates of `two` are `scale` times those of
        `one`, levels are renamed by `names`."""
        back = {v: k[1] for k, v in (names or {}).items()}
        plain = lambda cell: {k: back.get(v, v) for k, v in cell.items()}
        self.assertEqual([t["term"] for t in one["tests"]], [t["term"] for t in two["tests"]])
        for a, b in zip(one["tests"], two["tests"]):
            for key in ("num_df", "den_df", "value", "p"):
                # an F that is nought but for rounding has no digits to share
                self.near(a.get(key), b.get(key), f"{a['term']} {key}", least=1e-7)
        for part in ("differences", "simple_effects"):
            self.assertEqual(len(one[part]), len(two[part]))
            for a, b in zip(one[part], two[part]):
                what = f"{part} {a['term']} {a['first']} {a['second']}"
                self.assertEqual(a["first"], plain(b["first"]), what)
                self.assertEqual(a["second"], plain(b["second"]), what)
                self.assertEqual(a["verdict"], b["verdict"], what)
                self.assertEqual(a["beyond_margin"], b["beyond_margin"], what)
                self.assertEqual(a["replicates_to_settle"], b["replicates_to_settle"], what)
                for key in ("df", "value", "p", "p_adjusted", "p_equivalence"):
                    self.near(a[key], b[key], f"{what} {key}", relative=1e-6)
                for key in ("estimate", "se", "lower", "upper"):
                    self.near(a[key] * scale, b[key], f"{what} {key}", least=1e-7 * abs(scale))
        self.assertEqual([m["letters"] for m in one["means"]], [m["letters"] for m in two["means"]])
        total = sum(v["variance"] for v in one["variance"])
        for a, b in zip(one["variance"], two["variance"]):
            self.near(a["variance"] * scale * scale, b["variance"], f"variance {a['term']}",
                      relative=1e-6, least=1e-7 * total * scale * scale)
        for a, b in zip(one["dose_response"], two["dose_response"]):
            self.assertEqual((a["degree"], a["shown"]), (b["degree"], b["shown"]))
        # a power of y depends on where its nought is
        checks = [[c for c in r["checks"] if c["check"] != "box-cox"] for r in (one, two)]
        self.assertEqual([c["check"] for c in checks[0]], [c["check"] for c in checks[1]])
        for a, b in zip(*checks):
            self.near(a["p"], b["p"], f"check {a['check']} p", relative=1e-5)

    def each(self, law):
        for (name, shape), lost in itertools.product(SHAPES.items(), (False, True)):
            for seed in (1, 2):
                rows = generate(shape, seed, lost)
                with self.subTest(f"{name}, {'lost rows' if lost else 'balanced'}, seed {seed}"):
                    law(shape, rows, self.findings(protocol(shape), table(rows)))

    def test_shift(self):
        def law(shape, rows, plain):
            for shift in (100000, -12345678):
                moved = self.findings(protocol(shape), table(rows, lambda y: exact(y, 1, shift)))
                self.same(plain, moved)

        self.each(law)

    def test_scale(self):
        def law(shape, rows, plain):
            for factor in (2, 1024, 3, 10**6):
                moved = self.findings(protocol(shape, str(3 * factor)),
                                      table(rows, lambda y: exact(y, factor)))
                self.same(plain, moved, factor)

        self.each(law)

    def test_turned_over(self):
        """-y: every difference changes its sign, and nothing else."""
        def law(shape, rows, plain):
            turned = self.findings(protocol(shape), table(rows, lambda y: exact(y, -1)))
            word = {"higher": "lower", "lower": "higher"}
            for a, b in zip(plain["differences"], turned["differences"]):
                self.assertEqual(word.get(a["verdict"], a["verdict"]), b["verdict"])
                self.near(a["p_adjusted"], b["p_adjusted"], "p_adjusted", relative=1e-6)
                self.near(a["lower"], -b["upper"], "limits", least=1e-7)
                self.near(a["p_lower"], b["p_upper"], "one-sided p", relative=1e-6)

        self.each(law)

    def test_order_of_rows(self):
        def law(shape, rows, plain):
            for seed in (3, 4):
                mixed = list(rows)
                random.Random(seed).shuffle(mixed)
                self.same(plain, self.findings(protocol(shape), table(mixed)))

        self.each(law)

    def test_order_of_columns(self):
        def law(shape, rows, plain):
            turned = [dict(reversed(list(r.items()))) for r in rows]
            self.same(plain, self.findings(protocol(shape), table(turned)))

        self.each(law)

    def test_names_of_levels(self):
        def law(shape, rows, plain):
            names = {(t[0], v): v if v.isdigit() else f"z{9 - i} {t[0]}"
                     for t in shape["treatments"] for i, v in enumerate(t[1])}
            renamed = [{k: names.get((k, v), v) for k, v in r.items()} for r in rows]
            two = self.findings(protocol(shape, names=names), table(renamed))
            self.same(plain, two, names={k: v for k, v in names.items() if not v.isdigit()})

        self.each(law)

    def test_labels_of_units(self):
        """Unique only inside the parent, or over the whole trial, or words: the same units."""
        def law(shape, rows, plain):
            for spell in (lambda path: "-".join(path), lambda path: "u" + "x".join(reversed(path))):
                named = []
                for r in rows:
                    path, new = [], dict(r)
                    for unit in shape["path"]:
                        path = [r[unit]] if shape.get("crossed") else path + [r[unit]]
                        if shape.get("above"):
                            path = [r[u] for u in shape["above"][unit]] + [r[unit]]
                        new[unit] = spell(path)
                    named.append(new)
                self.same(plain, self.findings(protocol(shape), table(named)))

        self.each(law)

    def test_both_arithmetics(self):
        """The sparse way says the same, and keeps the laws: shift, scale and order at once."""
        def law(shape, rows, plain):
            if shape.get("one_path"):
                return
            self.arithmetic = ("--path", "dense")
            dense = self.findings(protocol(shape), table(rows))
            self.arithmetic = ("--path", "sparse")
            self.same(dense, self.findings(protocol(shape), table(rows)))
            mixed = list(rows)
            random.Random(5).shuffle(mixed)
            moved = self.findings(protocol(shape, "9"), table(mixed, lambda y: exact(y, 3, 700000)))
            self.same(dense, moved, 3)

        try:
            self.each(law)
        finally:
            self.arithmetic = ()


if __name__ == "__main__":
    harness.main(Laws)
