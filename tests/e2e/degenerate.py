#!/usr/bin/env python3
"""Data that say little or nothing: the program answers, and prints no number that it could not
compute. degenerate.py PROGRAM

Every case is analysed as JSON and as text. Exit status 0, or 1 with problems told by place;
never a crash or a loop. Every number is finite; a p value lies from 0 to 1; limits stand in
order; what belongs together is missing together. All data are invented."""
import json
import math
import re

import harness

CRD = """quincunx: 1
units:
  tree: {count: %d}
treatments:
  pinch: {levels: [%s], on: tree}
measure:
  y: {kind: continuous, on: tree, margin: 1%s}
"""
BLOCKS = """quincunx: 1
units:
  block: {count: %d}
  tree: {within: block, count: %d}
treatments:
  pinch: {levels: [%s], on: tree}
measure:
  y: {kind: continuous, on: tree, margin: 1%s}
"""
LIMBS = """quincunx: 1
units:
  block: {count: 3}
  tree: {within: block, count: 2}
  limb: {within: tree, count: 3}
treatments:
  pinch: {levels: [none, early], on: tree}
  angle: {levels: [30, 60, 90], on: limb}
measure:
  y: {kind: continuous, on: limb, margin: 2%s}
"""
COVARIATES = """quincunx: 1
units:
  tree: {count: 12}
treatments:
  pinch: {levels: [a, b, c], on: tree}
covariates:
  girth: {on: tree}
  area: {on: tree}
measure:
  y: {kind: continuous, on: tree, margin: 1}
"""


def noise(k):
    return (k * 37 % 19 - 9) / 10


def crd(count, levels, value, more=""):
    names = [chr(97 + i % 26) + (str(i // 26) if i > 25 else "") for i in range(levels)]
    rows = [f"{k + 1},{names[k % levels]},{value(k)}" for k in range(count)]
    return CRD % (count, ", ".join(names), more), "tree,pinch,y\n" + "\n".join(rows) + "\n"


def blocks(blocks_, levels, value, more="", trees=None):
    names = [chr(97 + i) for i in range(levels)]
    rows, k = [], 0
    for b in range(blocks_):
        for t in range(trees or levels):
            rows.append(f"{b + 1},{t + 1},{names[t % levels]},{value(k, b, t % levels)}")
            k += 1
    return (BLOCKS % (blocks_, trees or levels, ", ".join(names), more),
            "block,tree,pinch,y\n" + "\n".join(rows) + "\n")


def limbs(value, more=""):
    rows, k = [], 0
    for b in range(3):
        for t, pinch in enumerate(("none", "early")):
            for limb, angle in enumerate((30, 60, 90)):
                rows.append(f"{b + 1},{t + 1},{limb + 1},{pinch},{angle},{value(k, b, t, limb)}")
                k += 1
    return LIMBS % more, "block,tree,limb,pinch,angle,y\n" + "\n".join(rows) + "\n"


def covariates(girth, area):
    rows = [f"{k + 1},{'abc'[k % 3]},{girth(k)},{area(k)},{5 + k % 3 + noise(k * k + 3)}" for k in range(12)]
    return COVARIATES, "tree,pinch,girth,area,y\n" + "\n".join(rows) + "\n"


def number(x):
    return repr(float(x))


# name: (protocol, data), exit status, and what must be there (a function of the JSON, or None)
CASES = {
    "the same value everywhere": (crd(12, 3, lambda k: 5), 0),
    "the same value, blocks": (blocks(4, 3, lambda k, b, t: 5), 0),
    "the same value, limbs": (limbs(lambda k, b, t, l: -2.5), 0),
    "one replicate": (crd(3, 3, lambda k: k + 1), 0),
    "one replicate in blocks": (blocks(1, 3, lambda k, b, t: t + noise(k)), 0),
    "all missing": (crd(6, 2, lambda k: ""), 0),
    "one value only": (crd(6, 2, lambda k: 3 if k == 2 else "NA"), 0),
    "two values": (crd(6, 2, lambda k: 3 + k if k < 2 else "."), 0),
    "one level in the data": (crd(6, 2, lambda k: 3 + noise(k) if k % 2 == 0 else "NA"), 0),
    "one row": (crd(2, 2, lambda k: 4 if k == 0 else ""), 0),
    "two rows": (crd(2, 2, lambda k: 4 + k), 0),
    "two rows of one level": (crd(4, 2, lambda k: 4 + k if k % 2 == 0 else ""), 0),
    "three rows": (crd(3, 2, lambda k: 4 + noise(k)), 0),
    "forty treatments in 41 rows": (crd(41, 40, lambda k: 10 + noise(k)), 0),
    "a hundred treatments in 100 rows": (crd(100, 100, lambda k: 10 + noise(k)), 0),
    "perfect fit": (crd(12, 3, lambda k: 2 * (k % 3)), 0),
    "perfect fit, blocks": (blocks(4, 3, lambda k, b, t: 2 * t + b), 0),
    "perfect fit, limbs": (limbs(lambda k, b, t, l: 4 * b + 2 * t + l), 0),
    "perfect fit in tenths": (crd(12, 3, lambda k: f"{0.1 * (k % 3):.1f}"), 0),
    "perfect fit in tenths, blocks": (
        blocks(4, 3, lambda k, b, t: f"{0.1 * t + 0.7 * (b * 5 % 7):.1f}"), 0),
    "perfect fit in tenths, fixed blocks": (
        (BLOCKS % (4, 3, "a, b, c", "}\nanalysis: {blocks: fixed"),
         blocks(4, 3, lambda k, b, t: f"{0.1 * t + 0.7 * (b * 5 % 7):.1f}")[1]), 0),
    "blocks differ and nothing else": (blocks(4, 3, lambda k, b, t: f"{0.3 * b * b:.1f}"), 0),
    "blocks as alike as chance": (blocks(4, 3, lambda k, b, t: 1 if k == 5 else 0), 0),
    "blocks a million times the trees": (
        blocks(6, 4, lambda k, b, t: f"{1e6 * (b * 7 % 5) + t + noise(k * k):.1f}"), 0),
    "blocks a hundred million times the trees": (
        blocks(6, 4, lambda k, b, t: f"{1e8 * (b * 7 % 5) + t + noise(k * k):.1f}"), 0),
    "perfect inside trees only": (limbs(lambda k, b, t, l: (7 * b + 3 * t) % 5 + l), 0),
    "trees alike to the last digit": (limbs(lambda k, b, t, l: noise(k * 5 + l)), 0),
    "one value differs": (crd(12, 3, lambda k: 6 if k == 7 else 5), 0),
    "one value differs, blocks": (blocks(4, 3, lambda k, b, t: 6 if k == 7 else 5), 0),
    "one value of 1e300": (blocks(4, 3, lambda k, b, t: "1e300" if k == 7 else noise(k)), 0),
    "all around 1e300": (blocks(4, 3, lambda k, b, t: number((5 + t + noise(k)) * 1e300 / 20)), 0),
    "all around 1e-300": (blocks(4, 3, lambda k, b, t: number((5 + t + noise(k)) * 1e-300)), 0),
    "the smallest numbers there are": (blocks(4, 3, lambda k, b, t: number((5 + t + k % 3) * 5e-324)), 0),
    "1e-300 beside 1e300": (blocks(4, 3, lambda k, b, t: ["1e-300", "1e300", "1"][k % 3]), 0),
    "both ends": (crd(8, 2, lambda k: ["-1.7e308", "1.7e308"][k % 2]), 0),
    "large mean, small spread": (blocks(4, 3, lambda k, b, t: f"{10**9 + t}.{k:03d}"), 0),
    "spread below the last digit": (blocks(4, 3, lambda k, b, t: f"9007199254740992.{k % 5}"), 0),
    "every row twice": (crd(24, 2, lambda k: 5 + noise(k // 2)), 0),
    "infinity as a word": (crd(6, 2, lambda k: "inf" if k == 3 else 4 + k), 1),
    "minus infinity": (crd(6, 2, lambda k: "-Infinity" if k == 3 else 4 + k), 1),
    "nan as a word": (crd(6, 2, lambda k: "nan" if k == 3 else 4 + k), 1),
    "a number beyond all numbers": (crd(6, 2, lambda k: "1e999" if k == 3 else 4 + k), 1),
    "hexadecimal": (crd(6, 2, lambda k: "0x1p3" if k == 3 else 4 + k), 1),
    "collinear covariates": (covariates(lambda k: k, lambda k: 2 * k + 1), 0),
    "a covariate that does not vary": (covariates(lambda k: 7, lambda k: noise(k)), 0),
    "a covariate that is the treatment": (covariates(lambda k: k % 3, lambda k: noise(k)), 0),
    "a covariate of 1e300": (covariates(lambda k: f"{k + 1}e299", lambda k: noise(k)), 0),
    "a covariate of 1e-300": (covariates(lambda k: f"{k + 1}e-300", lambda k: noise(k)), 0),
    "covariates missing": (covariates(lambda k: "", lambda k: noise(k)), 0),
    "log of the same value": (crd(12, 3, lambda k: 5, ", transform: log"), 0),
    "log of a nought": (crd(12, 3, lambda k: k, ", transform: log"), 1),
    "roots of negative values": (crd(12, 3, lambda k: k - 6, ", transform: sqrt"), 1),
    "arcsine of shares at both ends": (blocks(4, 3, lambda k, b, t: [0, 1, 0.5][t], ", transform: arcsine"), 0),
    "log of 1e-300 and 1e300": (crd(12, 2, lambda k: ["1e-300", "1e300"][k % 2], ", transform: log"), 0),
    "logs that differ by a rounding": (crd(12, 2, lambda k: 5 + (k % 3) * 1e-15, ", transform: log"), 0),
    "every treatment in a block of its own": (
        (BLOCKS % (3, 3, "a, b, c", ""),
         "block,tree,pinch,y\n" + "".join(f"{b + 1},{t + 1},{'abc'[b]},{b + noise(3 * b + t)}\n"
                                          for b in range(3) for t in range(3))), 0),
    "half of the cells empty": (
        (LIMBS % "", "block,tree,limb,pinch,angle,y\n" + "".join(
            f"{b + 1},{t + 1},1,{('none', 'early')[t]},{(30, 90)[t]},{b + 2 * t + noise(2 * b + t)}\n"
            for b in range(3) for t in range(2))), 0),
    "a single limb in a single tree": (
        (LIMBS % "", "block,tree,limb,pinch,angle,y\n1,1,1,none,30,4\n"), 0),
    "margin of 1e-300": (
        (BLOCKS.replace("margin: 1", "margin: 1.0e-300") % (4, 3, "a, b, c", ""),
         blocks(4, 3, lambda k, b, t: t + noise(k))[1]), 0),
    "margin of 1e300": (
        (BLOCKS.replace("margin: 1", "margin: 1.0e+300") % (4, 3, "a, b, c", ""),
         blocks(4, 3, lambda k, b, t: t + noise(k))[1]), 0),
}

SHARES = ("p", "p_adjusted", "p_lower", "p_upper", "p_equivalence", "p_small_sample",
          "p_adjusted_small_sample")


class Degenerate(harness.Case):
    def walk(self, value, where=""):
        """Every number finite, every p a share, limits in order."""
        if isinstance(value, dict):
            for key, inner in value.items():
                if key in SHARES and inner is not None:
                    self.assertTrue(0 <= inner <= 1, f"{where}.{key} is {inner}")
                self.walk(inner, f"{where}.{key}")
            low, high = value.get("lower"), value.get("upper")
            if isinstance(low, float) and isinstance(high, float):
                self.assertLessEqual(low, high, f"{where}: limits in the wrong order")
            if value.get("se", 0) is None and "estimate" in value:
                for key in ("value", "p", "lower", "upper"):
                    self.assertIsNone(value.get(key), f"{where}: {key} without a standard error")
            if isinstance(value.get("se"), (int, float)):
                self.assertGreater(value["se"], 0, f"{where}: a standard error that is not above zero")
        elif isinstance(value, list):
            for i, inner in enumerate(value):
                self.walk(inner, f"{where}[{i}]")
        elif isinstance(value, float):
            self.assertTrue(math.isfinite(value), f"{where} is {value}")

    def refuse(self, word):
        raise ValueError(f"{word} is no JSON")

    def check_case(self, name, case, status):
        protocol, data = case
        self.write("p.yaml", protocol)
        self.write("d.csv", data)
        run = self.run_it("analyse", "p.yaml", "d.csv", "--json", status=status)
        text = self.run_it("analyse", "p.yaml", "d.csv", status=status).out
        if status != 0:
            return
        document = json.loads(run.out, parse_constant=self.refuse)
        self.walk(document)
        self.assertIsNone(re.search(r"(?<![A-Za-z])-?(nan|inf|infinity)(?![A-Za-z])", text, re.I),
                          f"{name}: the text has a number that is none")
        result = document["results"][0]
        said = len(result["means"]) + len(result["notes"]) + len(result["variance"])
        self.assertGreater(said, 0, f"{name}: nothing at all is said")

    def test_cases(self):
        for name, (case, status) in CASES.items():
            with self.subTest(name):
                self.check_case(name, case, status)

    def test_nothing_varies_nothing_is_claimed(self):
        for name in ("the same value everywhere", "the same value, blocks", "the same value, limbs"):
            protocol, data = CASES[name][0]
            self.write("p.yaml", protocol)
            self.write("d.csv", data)
            result = json.loads(self.run_it("analyse", "p.yaml", "d.csv", "--json").out)["results"][0]
            self.assertEqual(result["differences"], [])
            self.assertTrue(any("same value" in note for note in result["notes"]), result["notes"])

    def test_a_covariate_that_nobody_measured_is_named(self):
        protocol, data = covariates(lambda k: 3 + k, lambda k: "")
        self.write("p.yaml", protocol)
        self.write("d.csv", data)
        out = " ".join(self.run_it("analyse", "p.yaml", "d.csv").out.split())
        self.assertIn("its values were recorded, but area is not known for any of them", out)
        notes = json.loads(self.run_it("analyse", "--json", "p.yaml", "d.csv").out)["results"][0]
        self.assertIn("12 values of y cannot be used: area is not known there.", notes["notes"])
        protocol, data = covariates(lambda k: "" if k in (2, 7) else 3 + k % 5, lambda k: 9 - k % 4)
        self.write("d.csv", data)
        some = json.loads(self.run_it("analyse", "--json", "p.yaml", "d.csv").out)["results"][0]
        self.assertIn("2 values of y cannot be used: girth is not known there.", some["notes"])
        self.assertTrue(some["means"])

    def noise_of_rounding(self, value, most, where=""):
        """Numbers of the size of rounding that stand where nil is meant."""
        if isinstance(value, dict):
            for key, inner in value.items():
                if key not in SHARES:
                    yield from self.noise_of_rounding(inner, most, f"{where}.{key}")
        elif isinstance(value, list):
            for i, inner in enumerate(value):
                yield from self.noise_of_rounding(inner, most, f"{where}[{i}]")
        elif isinstance(value, float) and 0 < abs(value) < 1e-13 * most:
            yield f"{where} is {value}"

    def test_values_that_repeat_are_told(self):
        for name in [name for name in CASES if name.startswith("perfect")] + ["blocks differ and nothing else"]:
            with self.subTest(name):
                protocol, data = CASES[name][0]
                self.write("p.yaml", protocol)
                self.write("d.csv", data)
                result = json.loads(self.run_it("analyse", "p.yaml", "d.csv", "--json").out)["results"][0]
                self.assertTrue(any("repeat exactly" in note for note in result["notes"]), result["notes"])
                self.assertFalse(any("settle" in note for note in result["notes"]), result["notes"])
                most = max(abs(float(row.split(",")[-1])) for row in data.split()[1:])
                self.assertEqual(list(self.noise_of_rounding(result, most)), [])
                text = self.run_it("analyse", "p.yaml", "d.csv").out
                self.assertNotRegex(text, r"[0-9]e-[0-9]")
                self.assertNotIn("anything from –", text)

    def test_large_blocks_change_nothing_inside(self):
        """Verdicts and p as with blocks of a hundred; F to the digits that are left."""
        found = []
        for size in (1e2, 1e6, 1e8):
            protocol, data = blocks(6, 4, lambda k, b, t: f"{size * (b * 7 % 5) + t + noise(k * k):.1f}")
            self.write("p.yaml", protocol)
            self.write("d.csv", data)
            result = json.loads(self.run_it("analyse", "p.yaml", "d.csv", "--json").out)["results"][0]
            found.append((result["tests"][0], result["differences"]))
        for k, digits in ((1, 8), (2, 6)):
            for key in ("value", "den_df", "p"):
                self.assertAlmostEqual(found[k][0][key] / found[0][0][key], 1, digits)
            for now, before in zip(found[k][1], found[0][1]):
                self.assertEqual(now["verdict"], before["verdict"])
                for key in ("estimate", "se", "df", "p_adjusted"):
                    self.assertAlmostEqual(now[key] / before[key], 1, digits)

    def test_no_replicate_no_verdict(self):
        for name in ("one replicate", "one replicate in blocks", "two rows", "one row"):
            protocol, data = CASES[name][0]
            self.write("p.yaml", protocol)
            self.write("d.csv", data)
            result = json.loads(self.run_it("analyse", "p.yaml", "d.csv", "--json").out)["results"][0]
            for line in result["differences"]:
                self.assertIsNone(line["p"], f"{name}: {line}")
                self.assertEqual(line["verdict"], "unsettled", f"{name}: {line}")

    def test_reports_of_every_case(self):
        for name, (case, status) in CASES.items():
            if status != 0:
                continue
            with self.subTest(name):
                self.write("p.yaml", case[0])
                self.write("d.csv", case[1])
                self.run_it("report", "p.yaml", "d.csv", "-o", "out")
                page = self.read("out/report.html") if "report.html" in str(self.files()) else ""
                self.assertNotRegex(page, r">-?(nan|inf)<")


if __name__ == "__main__":
    harness.main(Degenerate)
