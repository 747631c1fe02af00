#!/usr/bin/env python3
"""Trials of every shape, laid out, recorded and analysed: the trial file and the plain data give
the same findings. shapes.py PROGRAM"""
import json
import os

import harness

HEAD = "quincunx: 1\nunits:\n"
TAIL = "measure:\n  y: {{kind: continuous, on: {unit}, unit: cm, margin: 5}}\n"

# name: units and treatments, the unit measured, the columns of labels that the data have
SHAPES = {
    "completely randomised": (
        "  tree: {count: 12}\ntreatments:\n  pinch: {levels: [a, b, c], on: tree}\n",
        "tree", ["tree"], "crd"),
    "blocks": (
        "  block: {count: 4}\n  tree: {within: block, count: 6}\ntreatments:\n"
        "  pinch: {levels: [a, b], on: tree}\n  angle: {levels: [30, 60, 90], on: tree}\n",
        "tree", ["block", "tree"], "blocks"),
    "blocks, trees told by treatments": (
        "  block: {count: 4}\n  tree: {within: block, count: 6}\ntreatments:\n"
        "  pinch: {levels: [a, b], on: tree}\n  angle: {levels: [30, 60, 90], on: tree}\n",
        "tree", ["block"], "blocks"),
    "latin square, plots told by row and column": (
        "  row: {count: 5}\n  column: {count: 5}\n  plot: {within: [row, column]}\ntreatments:\n"
        "  spray: {levels: [a, b, c, d, e], on: plot}\n",
        "plot", ["row", "column"], "latin"),
    "latin square with labels": (
        "  row: {count: 5}\n  column: {count: 5}\n  plot: {within: [row, column]}\ntreatments:\n"
        "  spray: {levels: [a, b, c, d, e], on: plot}\n",
        "plot", ["row", "column", "plot"], "latin"),
    "split plot, three deep": (
        "  block: {count: 4}\n  tree: {within: block, count: 2}\n"
        "  limb: {within: tree, count: 3}\n  bud: {within: limb, count: 2}\ntreatments:\n"
        "  pinch: {levels: [a, b], on: tree}\n  angle: {levels: [30, 60, 90], on: limb}\n"
        "  paste: {levels: [no, yes], on: bud}\n",
        "bud", ["block", "tree", "limb", "bud"], "split"),
    "split plot, smallest units told by treatments": (
        "  block: {count: 4}\n  tree: {within: block, count: 2}\n"
        "  limb: {within: tree, count: 3}\ntreatments:\n"
        "  pinch: {levels: [a, b], on: tree}\n  angle: {levels: [30, 60, 90], on: limb}\n",
        "limb", ["block", "tree"], "split"),
    "strips that cross": (
        "  block: {count: 3}\n  strip: {within: block, count: 3}\n"
        "  cross_strip: {within: block, count: 4}\n  plot: {within: [strip, cross_strip]}\n"
        "treatments:\n  cover: {levels: [a, b, c], on: strip}\n"
        "  water: {levels: [1, 2, 3, 4], on: cross_strip}\n",
        "plot", ["block", "strip", "cross_strip"], "strip"),
    "no treatments": (
        "  tree: {count: 6}\n  limb: {within: tree, count: 3}\n", "limb", ["tree", "limb"], "none"),
}


class Shapes(harness.Case):
    def rows(self, placed, unit, columns):
        """(labels, levels) of every thing of the unit, by the layout."""
        for thing in placed:
            if thing["unit"] != unit:
                continue
            labels, levels, todo = {}, {}, [thing]
            while todo:
                here = todo.pop()
                labels[here["unit"]] = here["label"]
                levels.update(here["levels"])
                todo += [placed[i] for i in here["within"]]
            yield [labels[c] for c in columns], levels

    def data(self, placed, unit, columns, with_levels):
        rows = list(self.rows(placed, unit, columns))
        names = sorted(rows[0][1]) if with_levels else []
        lines = [",".join(columns + names + ["y"])]
        for k, (labels, levels) in enumerate(rows):
            value = f"{40 + k * 37 % 19 + sum(len(v) * 3 + ord(v[0]) % 5 for v in levels.values()) / 4:.2f}"
            lines.append(",".join(labels + [levels[n] for n in names] + [value]))
        return "\n".join(lines) + "\n"

    def check_shape(self, name):
        units, unit, columns, kind = SHAPES[name]
        self.write("p.yaml", HEAD + units + TAIL.format(unit=unit))
        out = json.loads(self.run_it("layout", "p.yaml", "--seed", "3", "-o", "t.qx", "--json").out)
        self.assertEqual(out["kind"], kind)
        by_labels = "told by treatments" not in name
        self.write("full.csv", self.data(out["placed"], unit, columns, True))
        self.write("bare.csv", self.data(out["placed"], unit, columns, not by_labels))
        count = self.read("bare.csv").count("\n") - 1
        run = self.run_it("record", "t.qx", "bare.csv")
        self.assertIn(f"{count} values stored", run.out)
        run = self.run_it("record", "t.qx", "full.csv")  # the same things, the treatments given
        self.assertIn(f"0 values stored, 0 corrected, {count} there already", run.out)
        stored = json.loads(self.run_it("analyse", "t.qx", "--json").out)
        for result in stored["results"]:
            result.pop("look", None)  # kept in trial files alone
        plain = json.loads(self.run_it("analyse", "p.yaml", "full.csv", "--json").out)
        for document in (stored, plain):
            for result in document["results"]:  # how units are told differs, and may
                result["notes"] = [n for n in result["notes"] if "has no column" not in n]
        self.assertEqual(stored, plain)
        self.assertEqual(stored["results"][0]["observations"], {"used": count, "missing": 0})
        self.assertEqual(len(stored["results"][0]["variance"]) > 0, True)

    def test_shapes(self):
        for name in SHAPES:
            with self.subTest(name):
                for file in self.files():
                    os.remove(self.path(file))
                self.check_shape(name)


harness.main(Shapes)
