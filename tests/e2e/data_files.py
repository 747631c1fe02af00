#!/usr/bin/env python3
"""What a data file may lack, and how it is told: data_files.py PROGRAM"""
import json
import os
import pwd

import harness

BUDS = """\
quincunx: 1
title: Buds that broke, invented
units:
  block: {count: 3}
  tree: {within: block, count: 2}
treatments:
  cut: {levels: [short, long], on: tree}
covariates:
  trunk: {on: tree, unit: cm2}
measure:
  broke: {kind: proportion, of: buds, on: tree, better: more, margin: 0.10}
  shoots: {kind: count, on: tree, range: [0, 60]}
"""
DATED = """\
quincunx: 1
title: Growth over the season, invented
units:
  block: {count: 2}
  tree: {within: block, count: 2}
treatments:
  cut: {levels: [short, long], on: tree}
measure:
  length: {kind: continuous, on: tree, unit: cm, dates: date}
"""


class Shares(harness.Case):
    """A share without its count says nothing."""

    def setUp(self):
        super().setUp()
        self.trial("t.qx", BUDS)

    def record(self, text, *words, status=0):
        self.write("d.csv", text)
        return self.run_it("record", "t.qx", "d.csv", *words, status=status)

    def test_without_the_count_nothing_is_stored(self):
        run = self.record("block,tree,broke,shoots\n1,1,2,3\n1,2,,4\n2,1,5,6\n", status=1)
        self.assertEqual([line.split(": ", 1)[0] for line in self.problems(run)],
                         ["d.csv:2:1", "d.csv:4:1"])
        self.assertIn("buds is missing, of which broke is a share; expected how many were looked at"
                      ' in a column "buds"', run.err)
        self.assertIn("0 values,", self.run_it("check", "t.qx").out)

    def test_the_good_rows_are_stored_whole(self):
        run = self.record("block,tree,broke,shoots\n1,1,2,3\n1,2,,4\n2,1,5,6\n", "--accept-good",
                          status=1)
        self.assertIn("1 values stored", run.out)
        self.assertIn("2 left out", run.out)

    def test_a_correction_alone_goes_by_the_count_that_is_stored(self):
        self.record("block,tree,broke,buds\n1,1,2,8\n")
        self.assertIn("1 corrected", self.record("block,tree,broke\n1,1,3\n").out)
        run = self.record("block,tree,broke\n1,1,9\n", status=1)
        self.assertIn("broke is 9 with this row, more than buds, which is 8", run.err)
        run = self.record("block,tree,shoots,buds\n1,1,7,2\n", status=1)
        self.assertIn("broke is 3 with this row, more than buds, which is 2", run.err)

    def test_what_was_stored_is_counted_alike_when_it_comes_again(self):
        text = "block,tree,broke,buds,trunk\n1,1,2,8,14.5\n1,2,3,8,15\n"
        self.assertIn("6 values stored, 0 corrected, 0 there already", self.record(text).out)
        self.assertIn("0 values stored, 0 corrected, 6 there already", self.record(text).out)

    def test_a_covariate_without_values_is_told(self):
        run = self.record("block,tree,broke,buds\n1,1,2,8\n1,2,3,8\n")
        self.assertIn("trunk is not recorded yet: broke cannot be analysed before it is", run.err)
        run = self.run_it("check", "t.qx")
        self.assertIn("trunk is not recorded yet: broke cannot be analysed before it is", run.err)
        run = self.record("block,tree,trunk,shoots\n1,1,14.5,3\n")
        self.assertNotIn("not recorded yet", run.err)


class Dates(harness.Case):
    def trial_dates(self, dates, status=1):
        self.trial("t.qx", DATED)
        rows = [f"{1 + i // 2 % 2},{1 + i % 2},{date},{20 + i}" for i, date in enumerate(dates)]
        self.write("d.csv", "block,tree,date,length\n" + "\n".join(rows) + "\n")
        return self.run_it("record", "t.qx", "d.csv", status=status)

    def test_the_odd_one_is_named_and_what_it_should_be(self):
        for odd, meant in [("20260501", "2026-05-01"), ("01.05.2026", "2026-05-01"),
                           ("2026/5/1", "2026-05-01")]:
            with self.subTest(odd=odd):
                run = self.trial_dates(["2026-05-01"] * 3 + [odd])
                self.assertEqual(len(self.problems(run)), 1, run.err)
                self.assertIn("d.csv:5:5:", run.err)
                self.assertIn(f"expected {meant}: year, month, day", run.err)
                os.remove(self.path("t.qx"))

    def test_the_odd_number_among_two_rows_is_the_number(self):
        run = self.trial_dates(["2026-05-01", "20260501"])
        self.assertEqual([p.split(" ", 1)[0] for p in self.problems(run)], ["d.csv:3:5:"])

    def test_day_and_month_are_not_guessed(self):
        run = self.trial_dates(["2026-05-01"] * 3 + ["05/06/2026"])
        self.assertIn("expected a date such as 2025-05-12", run.err)


class Problems(harness.Case):
    def test_a_missing_column_does_not_hide_the_others(self):
        self.write("p.yaml", BUDS)
        self.write("d.csv", "block,tree,broke,buds,shoots,trunk\n1,1,9,8,3,14\n1,2,3,8,61,15\n"
                            "2,,3,8,2,15\n2,2,x,8,2,15\n")
        run = self.run_it("check", "p.yaml", "d.csv", status=1)
        for part in ['there is no column "cut"', 'broke "9" is more than buds "8"', "61", 'tree is missing',
                     '"x" is not a number']:
            self.assertIn(part, run.err)
        self.assertEqual(len(self.problems(run)), 5, run.err)

    def test_good_rows_are_offered_only_where_there_are_some(self):
        self.trial("t.qx", BUDS)
        self.write("bad.csv", "block,tree,shoots\n9,1,3\n")
        self.write("mixed.csv", "block,tree,shoots\n9,1,3\n1,1,3\n")
        for name, offered in [("bad.csv", False), ("absent.csv", False), ("protocol.yaml", False),
                              ("mixed.csv", True)]:
            run = self.run_it("record", "t.qx", name, status=1)
            self.assertIn("nothing was stored", run.err)
            self.assertEqual("--accept-good" in run.err, offered, run.err)

    def test_a_column_that_is_nearly_right_is_told_with_its_name(self):
        self.write("p.yaml", BUDS)
        self.write("d.csv", "Block,tree,cut,broke,buds,shoots,trunk\n1,1,short,3,8,3,14\n")
        run = self.run_it("check", "p.yaml", "d.csv", status=1)
        self.assertIn("column Block is not named in the protocol and is not used; the nearest name is "
                      "block", run.err)

    def test_one_odd_byte_has_no_like(self):
        self.write("p.yaml", BUDS)
        self.write("d.csv", b"block,tree,broke\n1,\xe9,3\n")
        self.assertNotIn("further line", self.run_it("check", "p.yaml", "d.csv", status=1).err)


class Who(harness.Case):
    def test_without_an_environment_the_system_tells_the_user(self):
        self.write("p.yaml", BUDS)
        self.run_it("layout", "p.yaml", "-o", "t.qx", env={"LOGNAME": "", "USER": ""})
        document = json.loads(self.run_it("check", "t.qx", "--json").out)
        self.assertEqual(document["layout"]["drawn_by"], pwd.getpwuid(os.getuid()).pw_name)


harness.main(Shares, Dates, Problems, Who)
