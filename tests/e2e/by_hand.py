#!/usr/bin/env python3
"""Trial files that somebody changed with another program: check finds it, reports tell it,
values that record would not have taken are refused: by_hand.py PROGRAM"""
import json
import sqlite3

import harness

SHARES = """\
quincunx: 1
title: Buds that broke, invented
site: {row_spacing_m: 4, tree_spacing_m: 2}
units:
  block: {count: 4}
  tree: {within: block, count: 2}
treatments:
  cut: {levels: [short, long], on: tree}
measure:
  broke: {kind: proportion, of: buds, on: tree, better: more, margin: 0.10}
  vigour: {kind: ordinal, levels: [low, high], on: tree}
  shoots: {kind: count, on: tree, range: [0, 60]}
"""
TREES = "row,place,circumference_cm\n" + "".join(
    f"{1 + i // 6},{1 + i % 6},{12 + (i * 7 % 5) / 2}\n" for i in range(12))


class ByHand(harness.Case):
    def setUp(self):
        super().setUp()
        self.write("p.yaml", SHARES)
        self.write("trees.csv", TREES)
        placed = json.loads(self.run_it("layout", "p.yaml", "--trees", "trees.csv", "--seed", "3",
                                        "-o", "t.qx", "--json").out)["placed"]
        rows = ["block,tree,broke,buds,vigour,shoots"]
        for i, thing in enumerate(t for t in placed if t["unit"] == "tree"):
            block = placed[thing["within"][0]]["label"]
            rows.append(f"{block},{thing['label']},{2 + i * 3 % 5},{8 + i % 2},"
                        f"{'low' if i % 3 else 'high'},{3 + i * 5 % 7}")
        self.write("d.csv", "\n".join(rows) + "\n")
        self.run_it("record", "t.qx", "d.csv")
        self.run_it("check", "t.qx")

    def change(self, *statements):
        """Changes the trial file as another program would."""
        connection = sqlite3.connect(self.path("t.qx"))
        for sql in statements:
            connection.execute(sql)
        connection.commit()
        connection.close()

    def told(self, part):
        """check refuses, and the findings tell it: text before the answer, page, JSON."""
        self.assertIn(part, self.run_it("check", "t.qx", status=1).err)
        text = " ".join(self.run_it("analyse", "t.qx").out.split())
        self.assertIn(part, text)
        self.assertLess(text.index(part), text.index(" Answer "))
        self.run_it("report", "t.qx", "-o", "r")
        page = self.read("r/report.html")
        self.assertIn(part, page)
        self.assertLess(page.index(part), page.index('id="question"'))
        document = json.loads(self.read("r/findings.json"))
        self.assertTrue(any(part in line for line in document["changed_by_hand"]))

    def refused(self, part):
        """check refuses, and so do analyse and report."""
        for words in [["check", "t.qx"], ["analyse", "t.qx"], ["report", "t.qx", "-o", "r"]]:
            self.assertIn(part, self.run_it(*words, status=1).err)

    def test_a_file_that_nobody_changed_says_nothing(self):
        self.assertNotIn("changed_by_hand",
                         json.loads(self.run_it("analyse", "t.qx", "--json").out))
        self.assertNotIn("another program", self.run_it("analyse", "t.qx").out)

    def test_protocol(self):
        self.change("UPDATE trial SET protocol = replace(protocol, '0.10', '0.30')")
        self.told("the stored protocol was changed by hand")

    def test_level(self):
        self.change("UPDATE placed_level SET level = CASE level WHEN 'long' THEN 'short' ELSE"
                    " 'long' END WHERE placed = (SELECT min(placed) FROM placed_level)")
        self.told("the stored layout was changed by hand after it was drawn")
        err = self.run_it("check", "t.qx", status=1).err
        self.assertRegex(err, r"tree \S+ has (long|short), but the seed gives (long|short);")

    def test_level_with_its_digest(self):
        """Whoever also mends the digest is found by drawing again."""
        self.change("UPDATE layout SET seed = '4'")
        self.told("the stored layout was changed by hand after it was drawn")
        self.told("not what was drawn from its seed")

    def test_tree_list(self):
        self.change("UPDATE tree_list SET text = replace(text, '12.5', '19.5')")
        self.assertTrue(json.loads(self.run_it("analyse", "t.qx", "--json").out)["changed_by_hand"])

    def test_tree_list_gone(self):
        self.change("DELETE FROM tree_list")
        self.told("the list of trees is no longer in the file")

    def test_placed_trees_gone(self):
        self.change("DELETE FROM placed_tree")
        self.told("which tree of the list each one of the layout is was changed by hand: 8 differ")

    def test_values_deleted(self):
        self.change("DELETE FROM observation WHERE id = 8")
        self.told("1 recorded value is no longer there: it was deleted")

    def test_revisions_that_jump(self):
        self.change("UPDATE observation SET revision = 5 WHERE id = 3")
        self.told("1 value has lost some of its revisions")

    def test_triggers(self):
        self.change("CREATE TRIGGER x AFTER INSERT ON observation BEGIN DELETE FROM observation;"
                    " END")
        self.told("1 trigger or view is in the file")

    def test_a_hanging_entry(self):
        self.change("UPDATE observation SET import = 99 WHERE id = 4")
        self.told("1 entry hangs on something that is not in the file")

    def test_text_for_a_number(self):
        self.change("UPDATE observation SET value = 'abc' WHERE quantity = 'shoots' AND id ="
                    " (SELECT min(id) FROM observation WHERE quantity = 'shoots')")
        self.refused('shoots "abc" (from row 1 of d.csv) is not a number')

    def test_values_that_record_refuses(self):
        for quantity, value, part in [("broke", "99", "broke is 99 (row 1 of d.csv), more than buds"),
                                      ("broke", "-4", 'broke "-4" (from row 1 of d.csv) is not a count'),
                                      ("shoots", "61", "is outside the range"),
                                      ("vigour", "middle", "is no class of the protocol")]:
            with self.subTest(value=value):
                first = (f"(SELECT min(id) FROM observation WHERE quantity = '{quantity}')")
                connection = sqlite3.connect(self.path("t.qx"))
                before = connection.execute(
                    f"SELECT value FROM observation WHERE id = {first}").fetchone()[0]
                connection.close()
                self.change(f"UPDATE observation SET value = '{value}' WHERE id = {first}")
                self.refused(part)
                self.change(f"UPDATE observation SET value = '{before}' WHERE id = {first}")

    def test_a_share_that_lost_its_count(self):
        self.change("UPDATE observation SET value = NULL WHERE quantity = 'buds' AND thing = 2")
        self.refused("but buds, of which it is a share, is not there")

    def test_unknown_quantity(self):
        self.change("UPDATE observation SET quantity = 'foo' WHERE id = 1")
        self.refused("is nothing that the protocol measures there")

    def test_places_lost(self):
        self.change("DELETE FROM thing_place")
        self.refused("8 things that were measured have lost their place in the layout")

    def test_a_table_that_is_gone(self):
        self.change("DROP TABLE observation")
        for verb in ["check", "analyse"]:
            self.assertIn("damaged or not a trial file; take the last good copy",
                          self.run_it(verb, "t.qx", status=1).err)


harness.main(ByHand)
