#!/usr/bin/env python3
"""Trees, layouts and what may be done to them afterwards: trees.py PROGRAM"""
import json

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


if __name__ == "__main__":
    harness.main(Gaps)
