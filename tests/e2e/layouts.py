#!/usr/bin/env python3
"""A layout of each kind goes the whole way, and what cannot be laid out is told: layouts.py PROGRAM

protocol -> layout FILE.qx -> made-up data with a known truth -> record -> analyse -> check. Over
many seeds the differences must hold the truth: their errors, divided by the standard errors that
the program gives, must have mean 0 and variance 1 within what chance allows.
"""
import json
import math
import random

import harness

MEASURE = "measure:\n  y: {kind: continuous, on: %s, unit: cm}\n"
HEAD = "quincunx: 1\ntitle: Whole way\n"

# name: (kind in the file, unit measured, treatment, first and second level compared, protocol)
KINDS = {
    "unequal": ("crd", "tree", "spray", "b", "a", """\
units:
  tree: {count: 14}
treatments:
  spray: {levels: [a, b, c], on: tree}
"""),
    "wished numbers": ("crd", "tree", "spray", "oil", "water", """\
units:
  tree: {count: 16}
treatments:
  spray: {levels: [water, oil, soap], on: tree, control: water}
layout: {replicates: {spray: {water: 8, oil: 4, soap: 4}}}
"""),
    "incomplete": ("incomplete", "tree", "spray", "d", "a", """\
units:
  block: {count: 10}
  tree: {within: block, count: 3}
treatments:
  spray: {levels: [a, b, c, d, e], on: tree}
layout: {kind: incomplete blocks}
"""),
    "lattice": ("incomplete", "tree", "variety", "v7", "v1", """\
units:
  replicate: {count: 3}
  block: {within: replicate, count: 4}
  tree: {within: block, count: 4}
treatments:
  variety: {levels: [v1, v2, v3, v4, v5, v6, v7, v8, v9, v10, v11, v12, v13, v14, v15, v16], on: tree}
"""),
    "rows and columns": ("rowcol", "tree", "spray", "c", "a", """\
units:
  row: {count: 4}
  column: {count: 7}
  tree: {within: [row, column]}
treatments:
  spray: {levels: [a, b, c, d, e, f, g], on: tree}
"""),
    "augmented": ("augmented", "tree", "variety", "new3", "Known", """\
units:
  block: {count: 5}
  tree: {within: block, count: 5}
treatments:
  variety: {levels: [Known, Old, new1, new2, new3, new4, new5, new6, new7, new8, new9, new10, new11, new12, new13], on: tree}
layout: {checks: {variety: [Known, Old]}}
"""),
    "guards": ("guarded", "tree", "spray", "b", "a", """\
units:
  block: {count: 6}
  tree: {within: block, count: 7}
treatments:
  spray: {levels: [a, b, c, d], on: tree}
layout: {guards: {tree: 1}}
"""),
    "around the stem": ("stem", "limb", "angle", "60", "20", """\
units:
  tree: {count: 8}
  limb: {within: tree, count: 6}
treatments:
  angle: {levels: [20, 40, 60], on: limb, unit: degree}
layout: {around: limb, apart: angle}
"""),
    "few limbs": ("stem", "limb", "angle", "80", "20", """\
units:
  tree: {count: 10}
  limb: {within: tree, count: 3}
treatments:
  angle: {levels: [20, 40, 60, 70, 80], on: limb, unit: degree}
layout: {around: limb}
"""),
    "trees left out": ("incomplete", "tree", "spray", "c", "a", """\
units:
  block: {count: 8}
  tree: {within: block, count: 4}
treatments:
  spray: {levels: [a, b, c, d], on: tree}
layout: {left_out: {tree: [[2, 1], [2, 4], [5, 3]]}}
"""),
    "rows and columns with gaps": ("rowcol", "tree", "spray", "c", "a", """\
units:
  row: {count: 5}
  column: {count: 5}
  tree: {within: [row, column]}
treatments:
  spray: {levels: [a, b, c, d, e], on: tree}
layout: {left_out: {tree: [[1, 1, 1], [2, 4, 1], [4, 4, 1]]}}
"""),
    "checks in rows and columns": ("augmented", "tree", "variety", "new3", "Known", """\
units:
  row: {count: 6}
  column: {count: 6}
  tree: {within: [row, column]}
treatments:
  variety: {levels: [Known, Old, new1, new2, new3, new4, new5, new6, new7, new8, new9, new10], on: tree}
layout: {checks: {variety: [Known, Old]}}
"""),
    "even neighbours in a square": ("latin", "tree", "spray", "c", "a", """\
units:
  row: {count: 5}
  column: {count: 5}
  tree: {within: [row, column]}
treatments:
  spray: {levels: [a, b, c, d, e], on: tree}
layout: {even_neighbours: [spray]}
"""),
    "even neighbours": ("blocks", "tree", "spray", "b", "a", """\
units:
  block: {count: 6}
  tree: {within: block, count: 6}
treatments:
  spray: {levels: [a, b, c, d, e, f], on: tree}
layout: {even_neighbours: [spray], rows: 2}
"""),
    "main plots in incomplete blocks": ("split", "limb", "angle", "40", "20", """\
units:
  block: {count: 6}
  tree: {within: block, count: 2}
  limb: {within: tree, count: 2}
treatments:
  spray: {levels: [a, b, c], on: tree}
  angle: {levels: [20, 40], on: limb}
"""),
}

SEEDS = 12
TRUTH = {"unit": 2.0, "above": 6.0, "effect": 7.0}


def levels_above(placed, i):
    """Levels of a placed thing and of everything above it."""
    levels = dict(placed[i]["levels"])
    for parent in placed[i]["within"]:
        for name, level in levels_above(placed, parent).items():
            levels.setdefault(name, level)
    return levels


def units_above(placed, i):
    """Numbers of the things above, each once, larger ones first, itself last."""
    found = []
    for parent in placed[i]["within"]:
        found += [k for k in units_above(placed, parent) if k not in found]
    return found + [i]


class Trials(harness.Case):
    def laid(self, text, seed, name="t.qx"):
        self.write("p.yaml", text)
        run = self.run_it("layout", "p.yaml", "--seed", str(seed), "-o", name, "--json")
        return json.loads(run.out)

    def data(self, layout, unit, truth, seed):
        """Rows of every treated thing of the unit; `truth`: (treatment, level)."""
        chance = random.Random(seed)
        placed = layout["placed"]
        shift = [chance.gauss(0, TRUTH["above"]) for _ in placed]
        rows = []
        for i, thing in enumerate(placed):
            levels = levels_above(placed, i)
            if thing["unit"] != unit or truth[0] not in levels:
                continue
            path = units_above(placed, i)
            y = 50 + sum(shift[k] for k in path[:-1]) + chance.gauss(0, TRUTH["unit"])
            y += TRUTH["effect"] if levels[truth[0]] == truth[1] else 0
            rows.append({**{placed[k]["unit"]: placed[k]["label"] for k in path}, "y": f"{y:.6f}"})
        names = list(rows[0])
        lines = [",".join(names)] + [",".join(row[n] for n in names) for row in rows]
        return "\n".join(lines) + "\n"

    def difference(self, term, first, second):
        result = json.loads(self.run_it("analyse", "t.qx", "--json").out)["results"][0]
        for d in result["differences"]:
            if d["term"] != term:
                continue
            if (d["first"][term], d["second"][term]) == (first, second):
                return d["estimate"], d["se"]
            if (d["first"][term], d["second"][term]) == (second, first):
                return -d["estimate"], d["se"]
        self.fail(f"no difference of {first} and {second} in {term}")


class WholeWay(Trials):
    def whole_way(self, name):
        kind, unit, term, first, second, text = KINDS[name]
        z = []
        for seed in range(1, SEEDS + 1):
            self.folder = harness.tempfile.mkdtemp(prefix="quincunx-e2e-")
            self.addCleanup(harness.shutil.rmtree, self.folder, ignore_errors=True)
            layout = self.laid(HEAD + text + MEASURE % unit, seed)
            self.assertEqual(layout["kind"], kind)
            self.write("d.csv", self.data(layout, unit, (term, first), seed))
            self.run_it("record", "t.qx", "d.csv")
            estimate, se = self.difference(term, first, second)
            z.append((estimate - TRUTH["effect"]) / se)
            for part in layout["efficiency"]:
                self.assertTrue(part["connected"])
                self.assertLessEqual(part["a_efficiency"], part["a_bound"] + 1e-9)
            if seed == 1:
                self.run_it("check", "t.qx")
                again = self.laid(HEAD + text + MEASURE % unit, seed, "again.qx")
                self.assertEqual(again["placed"], layout["placed"])
                other = self.laid(HEAD + text + MEASURE % unit, seed + 100, "other.qx")
                self.assertNotEqual(other["placed"], layout["placed"])
        # z has about a t distribution; 4.5 of its standard errors, and a variance that chance
        # leaves below 3.5 (chi-squared with 12 df: once in 25,000) and above 0.15.
        mean = sum(z) / len(z)
        square = sum(x * x for x in z) / len(z)
        self.assertLess(abs(mean), 4.5 * math.sqrt(1.3 / len(z)), f"{name}: {z}")
        self.assertLess(square, 3.5, f"{name}: {z}")
        self.assertGreater(square, 0.15, f"{name}: {z}")


def add_test(name):
    def test(self):
        self.whole_way(name)
    setattr(WholeWay, "test_" + name.replace(" ", "_"), test)


for each in KINDS:
    add_test(each)


class Added(Trials):
    """A control that is crossed with nothing: every cell is compared with it."""

    TEXT = HEAD + """\
units:
  block: {count: 6}
  tree: {within: block, count: 6}
treatments:
  product: {levels: [none, soap, oil], on: tree, control: none}
  dose: {levels: [0, 1, 2], on: tree}
layout: {added_control: {product: none, dose: 0}, replicates: {product: {none: 2}}}
""" + MEASURE % "tree"

    def test_cells(self):
        layout = self.laid(self.TEXT, 3)
        self.assertEqual(layout["kind"], "added")
        seen = {}
        for thing in layout["placed"]:
            if thing["levels"]:
                cell = (thing["levels"]["product"], thing["levels"]["dose"])
                seen[cell] = seen.get(cell, 0) + 1
        self.assertEqual(seen, {("none", "0"): 12, ("soap", "1"): 6, ("soap", "2"): 6,
                                ("oil", "1"): 6, ("oil", "2"): 6})
        self.write("d.csv", self.data(layout, "tree", ("product", "oil"), 3))
        self.run_it("record", "t.qx", "d.csv")
        result = json.loads(self.run_it("analyse", "t.qx", "--json").out)["results"][0]
        cells = [m for m in result["means"] if m["term"] == "product:dose"
                 and m["estimate"] is not None]
        self.assertEqual(len(cells), 5)
        found = {(m["levels"]["product"], m["levels"]["dose"]): m["estimate"] for m in cells}
        for dose in "12":
            self.assertLess(abs(found["oil", dose] - found["none", "0"] - TRUTH["effect"]), 5)
            self.assertLess(abs(found["soap", dose] - found["none", "0"]), 5)
        rest = [c for c in result["contrasts"] if c["name"] == "control against the rest"]
        self.assertEqual(len(rest), 1)
        average = sum(found[p, d] for p in ("soap", "oil") for d in "12") / 4
        self.assertAlmostEqual(rest[0]["estimate"], found["none", "0"] - average, 9)
        tests = {t["term"]: t for t in result["tests"]}
        self.assertIsNone(tests["product"]["p"])
        self.assertLess(tests["product (factorial part)"]["p"], 0.05)


class Runs(Trials):
    """A treatment that is sprayed in runs is put on the run, which holds the trees."""

    def test_runs(self):
        layout = self.laid(HEAD + """\
units:
  row: {count: 3}
  run: {within: row, count: 4}
  tree: {within: run, count: 5}
treatments:
  spray: {levels: [a, b, c, d], on: run}
layout: {runs: {spray: 4}, guards: {tree: 1}, row: row}
""" + MEASURE % "tree", 5)
        self.assertEqual(layout["kind"], "guarded")
        self.assertIn("The outer 1 of tree at both ends are guards", layout["describe"])
        runs = [t for t in layout["placed"] if t["unit"] == "run"]
        self.assertEqual(len(runs), 12)
        for row in range(3):
            self.assertEqual(sorted(t["levels"]["spray"] for t in runs if t["within"] == [row]),
                             list("abcd"))


BAD = {
    # protocol: parts of the message
    "more treatments than trees": ("""\
units:
  tree: {count: 3}
treatments:
  spray: {levels: [a, b, c, d], on: tree}
""", ["4 levels", "only 3 of"]),
    "a block that cannot be filled": ("""\
units:
  block: {count: 2}
  tree: {within: block, count: 3}
treatments:
  spray: {levels: [a, b, c, d, e, f], on: tree}
""", ["each block holds 3 of tree", "expected 3 such groups at least, or 4 of tree in each"]),
    "more checks than a block holds": ("""\
units:
  block: {count: 4}
  tree: {within: block, count: 3}
treatments:
  variety: {levels: [A, B, C, n1, n2], on: tree}
layout: {checks: {variety: [A, B, C]}}
""", ["3 checks, but each block holds 3 of tree", "expected 4 of tree in each"]),
    "new levels that find no place": ("""\
units:
  block: {count: 2}
  tree: {within: block, count: 3}
treatments:
  variety: {levels: [A, n1, n2, n3, n4, n5], on: tree}
layout: {checks: {variety: A}}
""", ["take 7 of tree, but there are 6", "expected 4 of tree in each, or 3 blocks"]),
    "checks without blocks": ("""\
units:
  tree: {count: 12}
treatments:
  variety: {levels: [A, n1, n2], on: tree}
layout: {checks: {variety: A}}
""", ["stand in every block, but tree lies in no blocks"]),
    "a single level": ("""\
units:
  tree: {count: 12}
treatments:
  spray: {levels: [a], on: tree}
""", ["a single level is given", "expected at least two levels"]),
    "numbers that do not add up": ("""\
units:
  tree: {count: 15}
treatments:
  spray: {levels: [water, oil], on: tree}
layout: {replicates: {spray: {water: 12, oil: 4}}}
""", ["take 16 of tree together, but the trial holds 15", "expected a multiple of 16"]),
    "rows and columns that are too few": ("""\
units:
  row: {count: 2}
  column: {count: 3}
  tree: {within: [row, column]}
treatments:
  spray: {levels: [a, b, c, d, e], on: tree}
""", ["2 of row cross 3 of column", "expected 5 of column or more"]),
    "one level too often to be kept apart": ("""\
units:
  block: {count: 3}
  tree: {within: block, count: 6}
treatments:
  spray: {levels: [a, b], on: tree}
layout: {replicates: {spray: {a: 5}}, apart: spray}
""", ['"a" stands on 5 of 6', "expected 3 at most"]),
    "a run on single trees": ("""\
units:
  block: {count: 3}
  tree: {within: block, count: 4}
treatments:
  spray: {levels: [a, b], on: tree}
layout: {runs: {spray: 4}}
""", ["stay the same on 4 beside each other", "expected the run as a unit of its own"]),
    "another kind than the units make": ("""\
units:
  block: {count: 3}
  tree: {within: block, count: 4}
treatments:
  spray: {levels: [a, b], on: tree}
layout: {kind: latin square}
""", ['make "Complete blocks", not "Latin square"']),
    "a control on two units": ("""\
units:
  tree: {count: 8}
  limb: {within: tree, count: 4}
treatments:
  spray: {levels: [a, b], on: tree}
  angle: {levels: [20, 40], on: limb}
layout: {added_control: {spray: a, angle: 20}}
""", ["put on different units"]),
    "guards that a block cannot hold": ("""\
units:
  block: {count: 3}
  tree: {within: block, count: 3}
treatments:
  spray: {levels: [a, b, c], on: tree}
layout: {guards: {tree: 5}}
""", ["3 of tree cannot hold a treated one and 5 guards after it", "6 or more of tree"]),
    "guards that do not close a circle": ("""\
units:
  tree: {count: 8}
  limb: {within: tree, count: 7}
treatments:
  angle: {levels: [20, 40], on: limb}
layout: {around: limb, guards: {limb: 1}}
""", ["7 of limb stand around", "expected a multiple of 2: 6, 8 ..."]),
    "a tree that is not there is left out": ("""\
units:
  block: {count: 3}
  tree: {within: block, count: 4}
treatments:
  spray: {levels: [a, b], on: tree}
layout: {left_out: {tree: [[2, 9], [3, 1], [3, 1], [4]]}}
""", ["tree 9 of a tree that is left out is not there", "expected 1 to 4", "left out twice",
      "a tree that is left out is told by 1 of 2 numbers"]),
    "cells of several with one left out": ("""\
units:
  row: {count: 4}
  column: {count: 4}
  tree: {within: [row, column], count: 2}
treatments:
  spray: {levels: [a, b, c, d], on: tree}
layout: {left_out: {tree: [[2, 3, 1]]}}
""", ["left out where units cross and each cell holds several", "expected one in each cell"]),
    "checks that cannot tie the rows together": ("""\
units:
  row: {count: 3}
  column: {count: 3}
  tree: {within: [row, column]}
treatments:
  variety: {levels: [A, n1, n2, n3, n4, n5, n6], on: tree}
layout: {checks: {variety: A}}
""", ["6 new levels of variety leave 3 of 9 of tree", "at most 4 new levels"]),
    "even neighbours beside gaps": ("""\
units:
  row: {count: 4}
  column: {count: 4}
  tree: {within: [row, column]}
treatments:
  spray: {levels: [a, b, c, d], on: tree}
layout: {even_neighbours: [spray], left_out: {tree: [[2, 3, 1]]}}
""", ["cannot be evened out in rows and columns with gaps", "or no even_neighbours"]),
    "unknown words": ("""\
units:
  tree: {count: 8}
treatments:
  spray: {levels: [a, b], on: tree}
layout: {kind: chess, guards: {tre: 1}, apart: [spry], checks: {spray: [z]}, row: 3, rows: 0, tops: 1}
""", ["there is no unit", "there is no treatment", 'there is no level "z"', "tops"]),
}


class OneOfEach(harness.Case):
    def test_is_told_before_it_is_planted(self):
        one = HEAD + """\
units:
  block: {count: 1}
  tree: {within: block, count: 3}
treatments:
  spray: {levels: [a, b, c], on: tree}
"""
        for blocks, told in ((1, True), (2, False)):
            self.write("p.yaml", one.replace("count: 1", f"count: {blocks}") + MEASURE % "tree")
            out = self.run_it("layout", "p.yaml", "--seed", "1", "-o", f"t{blocks}.qx").out
            self.assertEqual("each spray stands on a single tree" in out, told)


class BadInput(harness.Case):
    def refused(self, name):
        text, parts = BAD[name]
        unit = "limb" if "limb:" in text else "tree"
        self.write("p.yaml", HEAD + text + MEASURE % unit)
        run = self.run_it("layout", "p.yaml", "--seed", "1", "-o", "t.qx", status=1)
        for part in parts:
            self.assertIn(part, run.err)
        self.assertNotIn("t.qx", self.files())


def add_refusal(name):
    def test(self):
        self.refused(name)
    setattr(BadInput, "test_" + name.replace(" ", "_"), test)


for each in BAD:
    add_refusal(each)


if __name__ == "__main__":
    harness.main(WholeWay, Added, Runs, OneOfEach, BadInput)
