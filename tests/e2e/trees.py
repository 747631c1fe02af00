#!/usr/bin/env python3
"""Trees, layouts and what may be done to them afterwards: trees.py PROGRAM"""
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
        self.write("d.csv", f"block,tree,length\n1,{other},20\n1,Z-9,30\n2,{other},abc\n")
        run = self.run_it("record", "t.qx", "d.csv", status=1)
        lines = run.err.strip().split("\n")
        self.assertIn(f'd.csv:2:1: the layout has no tree "{other}" in block 1; expected',
                      lines[0])
        self.assertIn(f'tree "{other}" stands in block 2', lines[0])
        self.assertIn('the layout has no tree "Z-9" in block 1; expected', lines[1])
        self.assertIn("is not a number", lines[2])
        self.assertEqual(lines[3:], ["note: nothing was stored; --accept-good stores the good "
                                     "rows"])


if __name__ == "__main__":
    harness.main(Gaps, Pictures, Messages)
