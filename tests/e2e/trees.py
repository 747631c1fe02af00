#!/usr/bin/env python3
"""Trees, layouts and what may be done to them afterwards: trees.py PROGRAM"""
import csv
import io
import json
import re

import harness

SQUARE = """\
quincunx: 1
title: Rows and places, invented
units:
  row: {count: 4}
  place: {count: 4}
  tree: {within: [row, place]}
treatments:
  spray: {levels: [water, oil, soap, clay], on: tree, control: water}
measure:
  length: {kind: continuous, on: tree, unit: cm, range: [0, 250]}
"""


def tree_list(rows, places, missing=()):
    """Rows are letters; `missing`: (row from 1, place) without a tree."""
    lines = ["row,place,circumference_cm,status"]
    for r in range(1, rows + 1):
        for p in range(1, places + 1):
            gone = (r, p) in missing
            size = "" if gone else str(20 + (7 * r + 3 * p) % 11)
            lines.append(f"{'ABCDEFGHIJ'[r - 1]},{p},{size},{'missing' if gone else ''}")
    return "\n".join(lines) + "\n"


class Gaps(harness.Case):
    """Rows and columns on a list with missing trees."""

    def test_the_message_says_what_to_leave_out_and_then_it_fits(self):
        self.write("trees.csv", tree_list(5, 5, {(1, 2), (3, 3)} | {(5, p) for p in range(1, 6)}
                                          | {(r, 5) for r in range(1, 6)}))
        self.write("p.yaml", SQUARE)
        words = ("layout", "p.yaml", "--trees", "trees.csv", "--seed", "3", "-o", "t.qx")
        run = self.run_it(*words, status=1)
        wish = "layout: {left_out: {tree: [[1, 2, 1], [3, 3, 1]]}}"
        self.assertIn("begins at row 1, place 1 has 2", run.err)
        self.assertIn(wish, run.err)
        self.write("p.yaml", SQUARE + wish + "\n")
        made = json.loads(self.run_it(*words, "--json").out)
        trees = [t for t in made["placed"] if t["unit"] == "tree"]
        self.assertEqual(len([t for t in trees if t["levels"]]), 14)
        labels = {t["label"] for t in trees if t["levels"]}
        self.assertFalse(labels & {"A-2", "C-3"})
        self.assertIn("no problems", self.run_it("check", "t.qx").out)


LONG = ["none", "thinning by hand", "6-benzyladenine, 100 mg a litre",
        "1-naphthaleneacetic acid, 10 mg a litre, at a king fruit of eight millimetres",
        "ammonium thiosulfate, two per cent"]


class Pictures(harness.Case):
    """What stands on the maps: all of it, uncut, whatever the size of the orchard."""

    def drawn(self, blocks, each, rows, places):
        levels = ", ".join(f'"{text}"' for text in LONG[:each])
        self.write("p.yaml", f"""\
quincunx: 1
title: An invented orchard
units:
  block: {{count: {blocks}}}
  tree: {{within: block, count: {each}}}
treatments:
  thinning: {{levels: [{levels}], on: tree}}
measure:
  length: {{kind: continuous, on: tree, unit: cm}}
""")
        self.write("trees.csv", tree_list(rows, places, {(1, 2)}))
        run = self.run_it("layout", "p.yaml", "--trees", "trees.csv", "--seed", "2", "-o", "t.qx",
                          "--pictures", "pic", "--json")
        return json.loads(run.out), self.read("pic/map.svg")

    def test_labels_rows_and_levels_are_whole(self):
        for blocks, each, rows, places in ((6, 4, 3, 12), (12, 5, 6, 14), (40, 5, 9, 30)):
            self.folder = harness.tempfile.mkdtemp(prefix="quincunx-e2e-")
            self.addCleanup(harness.shutil.rmtree, self.folder, ignore_errors=True)
            made, svg = self.drawn(blocks, each, rows, places)
            shown = re.sub(r"<(title|desc)[^>]*>.*?</\1>", "", svg, flags=re.S)
            texts = re.findall(r"<text[^>]*>([^<]*)</text>", shown)
            self.assertFalse([t for t in texts if "\u2026" in t])
            for r in "ABCDEFGHI"[:rows]:
                self.assertIn(f"row {r}", texts)
            for tree in (t for t in made["placed"] if t["unit"] == "tree"):
                self.assertIn(tree["label"], texts)
            for text in LONG[:each]:
                self.assertIn(text, " ".join(texts))
            self.assertIn("Row A, place", svg)  # read aloud
            width = float(re.search(r'viewBox="0 0 ([0-9.]+)', svg).group(1))
            self.assertLessEqual(width, 360)  # a telephone
            for x, text in re.findall(r'<text x="([0-9.]+)"[^>]*>([^<]*)</text>', shown):
                self.assertLessEqual(float(x), width, text)


BLOCKS = """\
quincunx: 1
title: Blocks, invented
units:
  block: {count: 4}
  tree: {within: block, count: 3}
treatments:
  spray: {levels: [water, oil, soap], on: tree, control: water}
measure:
  length: {kind: continuous, on: tree, unit: cm, range: [0, 250], decimals: 1}
  fruits: {kind: count, on: tree}
"""


class Messages(harness.Case):
    def test_unknown_trees_are_told_with_their_block_and_the_hint_comes_last(self):
        self.write("p.yaml", BLOCKS)
        self.write("trees.csv", tree_list(3, 5))
        self.run_it("layout", "p.yaml", "--trees", "trees.csv", "--seed", "1", "-o", "t.qx")
        made = json.loads(self.run_it("layout", "p.yaml", "--trees", "trees.csv", "--seed", "1",
                                      "-o", "again.qx", "--json").out)
        placed = made["placed"]
        other = next(t for t in placed if t["unit"] == "tree"
                     and placed[t["within"][0]]["label"] == "2")["label"]
        self.write("d.csv", f"block,tree,length\n1,{other},20\n1,Z-9,30\n2,{other},abc\n"
                   f"2,{other},31.5\n")
        run = self.run_it("record", "t.qx", "d.csv", status=1)
        lines = run.err.strip().split("\n")
        self.assertIn(f'd.csv:2:1: the layout has no tree "{other}" in block 1; expected',
                      lines[0])
        self.assertIn(f'tree "{other}" stands in block 2', lines[0])
        self.assertIn('the layout has no tree "Z-9" in block 1; expected', lines[1])
        self.assertIn("is not a number", lines[2])
        self.assertEqual(lines[3:], ["note: nothing was stored; --accept-good stores the good "
                                     "rows"])


SHOOTS = """\
quincunx: 1
title: Shoots in two seasons, invented
seasons: [2025, 2026]
units:
  block: {count: 2}
  tree: {within: block, count: 2}
  limb: {within: tree, count: 2}
  shoot: {within: limb, sample: true}
treatments:
  pinch: {levels: [none, early], on: tree, control: none}
covariates:
  trunk_area: {on: tree, unit: cm2}
measure:
  bloom: {kind: proportion, of: spurs, on: limb}
  length: {kind: continuous, on: shoot, unit: cm, decimals: 1}
  yield: {kind: continuous, on: tree, unit: kg}
planning: {samples: 3}
"""


class Sheets(harness.Case):
    """A blank sheet is filled in and recorded as it is."""

    def rows_of(self, name):
        return list(csv.DictReader(io.StringIO(self.read(name))))

    def fill(self, name, values):
        rows = self.rows_of(name)
        for i, row in enumerate(rows):
            row.update({column: str(value(i)) for column, value in values.items()})
        out = io.StringIO()
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
        self.write(name, out.getvalue())
        return rows

    def test_rows_in_walking_order_and_back(self):
        self.write("p.yaml", BLOCKS)
        self.write("trees.csv", tree_list(3, 5, {(2, 2)}))
        self.run_it("layout", "p.yaml", "--trees", "trees.csv", "--seed", "1", "-o", "t.qx")
        self.run_it("sheets", "t.qx", "-o", "sheets")
        rows = self.fill("sheets/tree.csv", {"length": lambda i: 20 + i % 5 + i / 10,
                                             "fruits": lambda i: 3 * i})
        self.assertEqual(list(rows[0]), ["block", "tree", "length", "fruits"])
        walked = [row["tree"].split("-") for row in rows]
        self.assertEqual(len(rows), 12)
        for letter, back in (("A", False), ("B", True), ("C", False)):
            places = [int(p) for r, p in walked if r == letter]
            self.assertEqual(places, sorted(places, reverse=back))
        self.assertEqual([r for r, _ in walked], sorted(r for r, _ in walked))
        run = self.run_it("record", "t.qx", "sheets/tree.csv")
        self.assertIn("24 values stored", run.out)
        self.assertNotIn("note", run.err)
        results = json.loads(self.run_it("analyse", "t.qx", "--json").out)["results"]
        self.assertEqual([r["observations"]["used"] for r in results], [12, 12])
        run = self.run_it("sheets", "t.qx", "-o", "sheets", status=1)
        self.assertIn("never overwritten", run.err)
        self.assertIn("20", self.read("sheets/tree.csv"))

    def test_every_unit_and_season_has_its_sheet(self):
        self.write("p.yaml", SHOOTS)
        self.run_it("layout", "p.yaml", "--seed", "1", "-o", "t.qx")
        made = json.loads(self.run_it("sheets", "t.qx", "-o", "s", "--json").out)["files"]
        self.assertEqual(sorted(f.split("/")[-1] for f in made),
                         sorted(f"{u}-{y}.csv" for u in ("tree", "limb", "shoot")
                                for y in (2025, 2026)))
        columns = {"tree": ["trunk_area", "yield"], "limb": ["bloom", "spurs"],
                   "shoot": ["length"]}
        path = ["season", "block", "tree", "limb", "shoot"]
        for k, (unit, rest) in enumerate(columns.items()):
            rows = self.fill(f"s/{unit}-2026.csv", {name: lambda i: 9 if name == "spurs" else 5
                                                   for name in rest[::-1]})
            self.assertEqual(list(rows[0]), path[:3 + k] + rest)
            self.assertEqual(len(rows), (4, 8, 24)[k])
            self.assertEqual({row["season"] for row in rows}, {"2026"})
            run = self.run_it("record", "t.qx", f"s/{unit}-2026.csv")
            self.assertNotIn("note", run.err)
            # shares are k and n: one value of bloom and one of spurs
            self.assertIn(f"{len(rows) * len(rest)} values stored", run.out)

    def test_left_out_trees_and_guards_have_no_row(self):
        self.write("p.yaml", SQUARE + "layout: {left_out: {tree: [[1, 2, 1], [3, 3, 1]]}}\n")
        self.run_it("layout", "p.yaml", "--seed", "1", "-o", "t.qx")
        self.run_it("sheets", "t.qx", "-o", "s")
        rows = self.rows_of("s/tree.csv")
        self.assertEqual(len(rows), 14)
        self.assertFalse({(r["row"], r["place"]) for r in rows} & {("1", "2"), ("3", "3")})
        self.assertEqual([(r["row"], r["place"]) for r in rows[:4]],
                         [("1", "1"), ("1", "3"), ("1", "4"), ("2", "4")])
        self.write("q.yaml", BLOCKS.replace("count: 3}", "count: 5}")
                   + "layout: {guards: {tree: 1}}\n")
        self.run_it("layout", "q.yaml", "--seed", "1", "-o", "g.qx")
        self.run_it("sheets", "g.qx", "-o", "g")
        self.assertEqual([r["tree"] for r in self.rows_of("g/tree.csv")][:3], ["1", "3", "5"])


if __name__ == "__main__":
    harness.main(Gaps, Pictures, Messages, Sheets)
