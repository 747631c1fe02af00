#!/usr/bin/env python3
"""What was ignored or half done once, and is told now: told.py PROGRAM"""
import json
import os
import sqlite3

import harness

PLAIN = """\
quincunx: 1
title: Cuts, invented
units:
  block: {count: 4}
  tree: {within: block, count: 2}
treatments:
  cut: {levels: [short, long], on: tree}
measure:
  length: {kind: continuous, on: tree, unit: cm, margin: 5}
"""
PLANNED = PLAIN.replace("margin: 5}", "margin: 5, expect: {mean: 50, variation: {block: 3, tree: 5}}}")


class AsDone(harness.Case):
    def setUp(self):
        super().setUp()
        self.trial("t.qx", PLAIN)
        placed = json.loads(self.run_it("layout", "protocol.yaml", "--seed", "7", "-o", "x.qx",
                                        "--json").out)["placed"]
        self.cut = {(placed[t["within"][0]]["label"], t["label"]): t["levels"]["cut"]
                    for t in placed if t["unit"] == "tree"}

    def done(self, text, *words, status=1):
        """Tells what was done; where it fails, the file stays as it was."""
        before = open(self.path("t.qx"), "rb").read()
        self.write("done.csv", text)
        run = self.run_it("layout", "t.qx", "--as-done", "done.csv", "--reason", "swapped", *words,
                          status=status)
        if status != 0:
            self.assertEqual(open(self.path("t.qx"), "rb").read(), before)
        return run

    def test_two_rows_that_contradict_each_other(self):
        for first, second in [("long", "short"), ("short", "long")]:
            run = self.done(f"block,tree,cut\n1,1,{first}\n2,1,long\n1,1,{second}\n")
            self.assertIn(f"done.csv:4:1: tree 1 got cut {second} here, but {first} on line 2", run.err)
        other = "long" if self.cut["1", "1"] == "short" else "short"
        run = self.done(f"block,tree,cut\n1,1,{other}\n1,1,{other}\n", status=0)
        self.assertIn("1 change kept", run.out)

    def test_a_file_that_does_not_say_what_was_done(self):
        self.assertIn("has no column of a treatment", self.done("block,tree\n1,1\n").err)
        run = self.done("block,tree,cut\n1,1,\n1,2,long\n")
        self.assertIn("done.csv:2:1: the row does not say what was done", run.err)

    def test_options_of_a_draw_have_no_place_there(self):
        for words in [["-o", "h.qx"], ["--seed", "3"], ["--trees", "trees.csv"], ["--reach", "5"],
                      ["--pictures", "pics"]]:
            run = self.done("block,tree,cut\n1,1,long\n", *words, status=2)
            self.assertIn("draws a new layout", run.err)

    def record(self):
        rows = [f"{block},{tree},{50 + 3 * int(block) + 7 * int(tree) % 5}"
                for block, tree in self.cut]
        self.write("d.csv", "block,tree,length\n" + "\n".join(rows) + "\n")
        return self.run_it("record", "t.qx", "d.csv")

    def test_a_treatment_that_became_one_level_is_in_the_answer(self):
        self.record()
        rows = [f"{block},{tree},long" for block, tree in self.cut]
        self.done("block,tree,cut\n" + "\n".join(rows) + "\n", status=0)
        out = " ".join(self.run_it("analyse", "t.qx").out.split())
        answer = out[out.index(" Answer "):out.index(" Tables ")]
        self.assertIn("Nothing can be said about cut", answer)
        self.assertIn("only long", answer)

    def test_a_log_that_stays_beside_the_file_is_told(self):
        """Another program has the file open: what was stored stands in the log alone."""
        reader = sqlite3.connect(self.path("t.qx"))
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM trial").fetchone()
        run = self.record()
        self.assertIn("t.qx-wal beside the trial file", run.err)
        reader.close()
        self.run_it("check", "t.qx")
        self.assertFalse(os.path.exists(self.path("t.qx-wal")))


class Pictures(harness.Case):
    def test_without_its_pictures_no_trial_file_stays(self):
        self.write("p.yaml", PLAIN)
        self.write("taken", "a file")
        run = self.run_it("layout", "p.yaml", "-o", "t.qx", "--pictures", "taken", status=3)
        self.assertEqual(run.out, "")
        self.assertEqual(self.files(), ["p.yaml", "taken"])
        self.run_it("layout", "p.yaml", "-o", "t.qx", "--pictures", "pics")


class From(harness.Case):
    def plan(self, protocol, status):
        self.trial("last.qx", PLAIN)
        if protocol == PLANNED:
            self.write("d.csv", "")
        self.write("p.yaml", protocol)
        return self.run_it("plan", "p.yaml", "--from", "last.qx", status=status)

    def test_a_trial_without_data(self):
        run = self.plan(PLANNED, 1)
        self.assertIn("last.qx:1:1: nothing that p.yaml measures has values there", run.err)

    def test_a_trial_of_something_else(self):
        run = self.plan(PLANNED.replace("length:", "girth:"), 1)
        self.assertIn("last.qx:1:1: nothing that p.yaml measures was measured in this trial", run.err)

    def test_one_variate_that_it_lacks(self):
        self.trial("last.qx", PLAIN)
        rows = [f"{b},{t},{50 + 3 * b + 7 * t * b % 5}" for b in range(1, 5) for t in (1, 2)]
        self.write("d.csv", "block,tree,length\n" + "\n".join(rows) + "\n")
        self.run_it("record", "last.qx", "d.csv")
        self.write("p.yaml", PLANNED + "  girth: {kind: continuous, on: tree, margin: 2,"
                                       " expect: {mean: 9, variation: {block: 1, tree: 1}}}\n")
        run = self.run_it("plan", "p.yaml", "--from", "last.qx")
        self.assertIn("girth has no values there: its variation is what the protocol expects", run.err)
        self.assertNotIn("length has no values", run.err)


harness.main(AsDone, Pictures, From)
