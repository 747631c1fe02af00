#!/usr/bin/env python3
"""Values on several dates and places in the field, kept in a trial file: the same findings as from
the plain data. dates.py PROGRAM"""
import json
import random
import sqlite3

import harness

DATED = """\
quincunx: 1
title: Girths followed
units:
  block: {count: 4}
  tree: {within: block, count: 4}
treatments:
  pinch: {levels: [none, early], on: tree, control: none}
measure:
  girth: {kind: continuous, on: tree, unit: cm, dates: day, margin: 2}
  height: {kind: continuous, on: tree, unit: m, margin: 1}
"""
SEASONS = DATED.replace("units:", "seasons: [2024, 2025]\nunits:", 1)
FIELD = """\
quincunx: 1
title: Better and worse rows
units:
  block: {count: 3}
  tree: {within: block, count: 8, position: {row: line, place: spot}}
treatments:
  pinch: {levels: [none, early], on: tree, control: none}
measure:
  girth: {kind: continuous, on: tree, unit: cm, margin: 2}
analysis:
  field_trend: auto
"""
DAYS = ["2025-05-12", "2025-05-26", "2025-06-09", "2025-07-07"]


class Dates(harness.Case):
    def trees(self, *more):
        """(block, tree, pinch) of the layout of p.yaml, stored in t.qx."""
        out = json.loads(self.run_it("layout", "p.yaml", "--seed", "5", "-o", "t.qx", "--json",
                                     *more).out)
        placed = out["placed"]
        return [(placed[t["within"][0]]["label"], t["label"], t["levels"]["pinch"])
                for t in placed if t["unit"] == "tree"]

    def findings(self, *files):
        document = json.loads(self.run_it("analyse", *files, "--json").out)
        for result in document["results"]:
            result.pop("look", None)  # kept in trial files alone
        return document

    def same_findings(self):
        plain = self.findings("p.yaml", "data.csv")
        stored = self.findings("t.qx")
        self.assertEqual(stored, plain)
        self.run_it("report", "t.qx", "-o", "stored")
        self.run_it("report", "p.yaml", "data.csv", "-o", "plain")
        reports = [json.loads(self.read(f"{folder}/findings.json"))["results"]
                   for folder in ("stored", "plain")]
        for results in reports:
            for result in results:
                result.pop("look", None)
        self.assertEqual(*reports)
        return plain

    def girths(self, trees, days, chance, season=None):
        """A line for each tree and day; the height is measured on the first day."""
        for block, tree, pinch in trees:
            own = chance.gauss(0, 1) + (1.5 if pinch == "early" else 0)
            for k, day in enumerate(days):
                own = 0.7 * own + chance.gauss(0, 1)
                height = f"{chance.uniform(2, 3):.2f}" if k == 0 else ""
                cells = [block, tree, pinch, day, f"{20 + own + 2 * k:.2f}", height]
                yield day, ",".join(cells if season is None else [season] + cells)

    HEAD = "block,tree,pinch,day,girth,height"

    def part(self, name, lines, head=HEAD):
        self.write(name, "\n".join([head] + list(lines)) + "\n")

    def test_a_file_for_each_day(self):
        self.write("p.yaml", DATED)
        lines = list(self.girths(self.trees(), DAYS, random.Random(1)))
        self.part("data.csv", (line for day in DAYS for d, line in lines if d == day))
        for k, day in enumerate(DAYS):
            self.part(f"{k}.csv", [line for d, line in lines if d == day])
            run = self.run_it("record", "t.qx", f"{k}.csv")
            self.assertIn(f"{32 if k == 0 else 16} values stored, 0 corrected", run.out)
        run = self.run_it("record", "t.qx", "data.csv")
        self.assertIn("0 values stored, 0 corrected, 80 there already", run.out)
        self.run_it("check", "t.qx")
        girth = self.same_findings()["results"][0]
        self.assertEqual(girth["observations"], {"used": 64, "missing": 0})
        self.assertIn("day", json.dumps(girth["tests"]))

    def test_a_correction_of_one_day(self):
        self.write("p.yaml", DATED)
        lines = [line for _, line in self.girths(self.trees(), DAYS, random.Random(2))]
        block, tree, pinch, day, girth, height = lines[2].split(",")
        wrong = ",".join([block, tree, pinch, day, "99", height])
        self.part("data.csv", lines)
        self.part("wrong.csv", lines[:2] + [wrong] + lines[3:])
        self.run_it("record", "t.qx", "wrong.csv")
        self.part("right.csv", [f"{block},{tree},{day},{girth}"], "block,tree,day,girth")
        run = self.run_it("record", "t.qx", "right.csv", "--reason", "misread")
        self.assertIn(f"corrected: girth of block {block}, tree {tree}, on {day}: {girth} was 99",
                      run.out)
        self.same_findings()

    def test_seasons_with_days_after_bloom(self):
        self.write("p.yaml", SEASONS)
        trees = self.trees()
        chance = random.Random(3)
        lines = [line for season in ("2024", "2025")
                 for _, line in self.girths(trees, ["10", "20", "40"], chance, season)]
        self.part("data.csv", lines, "season," + self.HEAD)
        self.run_it("record", "t.qx", "data.csv")
        found = self.same_findings()["results"][0]
        self.assertEqual(found["observations"], {"used": 96, "missing": 0})

    def test_places_that_were_recorded(self):
        self.write("p.yaml", FIELD)
        chance = random.Random(4)
        lines = [f"{b},{t},{p},{k // 6 + 1},{k % 6 + 1},{30 + 3 * (k // 6) + chance.gauss(0, 1):.2f}"
                 for k, (b, t, p) in enumerate(self.trees())]
        self.part("data.csv", lines, "block,tree,pinch,line,spot,girth")
        run = self.run_it("record", "t.qx", "data.csv")
        self.assertIn("72 values stored", run.out)
        found = self.same_findings()["results"][0]
        self.assertIsNotNone(found["field_trend"])

    def test_places_by_the_list_of_trees(self):
        self.write("p.yaml", FIELD)
        chance = random.Random(5)
        area = {(r, c): f"{40 + chance.gauss(0, 6):.1f}" for r in range(1, 5) for c in range(1, 7)}
        self.part("trees.csv", [f"{r},{c},T{r}-{c},{a}" for (r, c), a in area.items()],
                  "row,place,tree,trunk_cm2")
        trees = self.trees("--trees", "trees.csv")
        lines, bare = [], []
        for block, tree, pinch in trees:
            r, c = tree[1:].split("-")
            value = f"{30 + 3 * int(r) + chance.gauss(0, 1):.2f}"
            lines.append(f"{block},{tree},{pinch},{r},{c},{value}")
            bare.append(f"{block},{tree},{value}")
        self.part("data.csv", lines, "block,tree,pinch,line,spot,girth")
        self.part("bare.csv", bare, "block,tree,girth")
        self.assertIn("24 values stored", self.run_it("record", "t.qx", "bare.csv").out)
        found = self.same_findings()["results"][0]
        self.assertIsNotNone(found["field_trend"])
        block, tree, _, r, c, _ = lines[0].split(",")
        self.part("moved.csv", [f"{block},{tree},{r},{int(c) + 1}"], "block,tree,line,spot")
        run = self.run_it("record", "t.qx", "moved.csv", status=1)
        self.assertIn(f"the list of trees says {c}", run.err)

    def test_a_value_without_its_day(self):
        self.write("p.yaml", DATED)
        self.trees()
        self.part("data.csv", ["1,1,20", "1,2,21"], "block,tree,girth")
        run = self.run_it("record", "t.qx", "data.csv", status=1)
        self.assertIn("the row does not tell when girth was measured", run.err)
        connection = sqlite3.connect(self.path("t.qx"))
        self.assertEqual(connection.execute("SELECT count(*) FROM observation").fetchone(), (0,))
        connection.close()


harness.main(Dates)
