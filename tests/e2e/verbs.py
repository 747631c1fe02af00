#!/usr/bin/env python3
"""Every verb that there is, every exit status: verbs.py PROGRAM"""
import json
import os
import pty
import re
import subprocess
import time

import harness
from harness import PROGRAM, PROTOCOL, data

VERBS = ["analyse", "check", "demo", "layout", "new", "record", "report"]


class Program(harness.Case):
    def test_help_lists_every_verb(self):
        run = self.run_it("--help")
        for verb in VERBS:
            self.assertRegex(run.out, rf"(?m)^  {verb} ")
        self.assertEqual(run.err, "")

    def test_version(self):
        self.assertRegex(self.run_it("--version").out, r"^quincunx \d+\.\d+\.\d+\n$")

    def test_every_verb_has_help_with_an_example(self):
        for verb in VERBS:
            run = self.run_it(verb, "--help")
            self.assertIn("Example\n  quincunx " + verb, run.out)
            self.assertTrue(run.out.startswith(f"quincunx {verb} "))
            self.assertEqual(run.err, "")

    def test_json_stands_in_the_help_of_verbs_that_print_a_result(self):
        for verb in VERBS:
            self.assertIn("--json", self.run_it(verb, "--help").out)

    def test_wrong_command_lines(self):
        for words, part in [
                ([], "a verb is missing"),
                (["laout"], 'the nearest is "layout"'),
                (["serve", "x.qx"], 'there is no verb "serve"'),
                (["--json"], "the verb comes first"),
                (["layout", "p.yaml"], "needs --output PATH"),
                (["layout", "p.yaml", "-o"], "needs a value"),
                (["layout", "p.yaml", "-o", "t.qx", "--seed", "-3"], "not a whole number"),
                (["layout", "p.yaml", "-o", "t.qx", "--seed", "18446744073709551616"],
                 "not a whole number"),
                (["layout", "p.yaml", "-o", "t.qx", "--sed", "3"], "the nearest is --seed"),
                (["layout", "p.yaml", "q.yaml", "-o", "t.qx"], 'what to do with "q.yaml"'),
                (["check"], "needs more"),
                (["check", "a", "b", "c"], "what to do with"),
                (["check", "--json=yes", "a"], "stands alone"),
                (["record", "t.qx"], "needs more"),
                (["new"], "needs more"),
                (["analyse", "p.yaml"], "needs its data")]:
            if words == ["analyse", "p.yaml"]:
                self.write("p.yaml", PROTOCOL)
            run = self.run_it(*words, status=2)
            self.assertIn(part, run.err)
            self.assertEqual(run.out, "")

    def test_files_may_begin_with_a_dash(self):
        self.write("-p.yaml", PROTOCOL)
        self.assertEqual(self.run_it("check", "--", "-p.yaml").out, "no problems\n")

    def test_no_colour_and_no_bar_without_a_terminal(self):
        self.write("p.yaml", "quincunx: 2\n")
        run = self.run_it("check", "p.yaml", status=1)
        self.assertNotIn("\033", run.err)

    def on_terminal(self, env, *words):
        """Standard error on a terminal."""
        try:
            ours, theirs = pty.openpty()
        except OSError as why:
            self.skipTest(f"this machine gives no terminals: {why}")
        with subprocess.Popen([PROGRAM, *words], cwd=self.folder, stderr=theirs,
                              stdout=subprocess.DEVNULL, env=dict(os.environ, **env)) as run:
            os.close(theirs)
            text = b""
            try:
                while chunk := os.read(ours, 4096):
                    text += chunk
            except OSError:
                pass
            os.close(ours)
            run.wait()
        return text.decode("utf-8", "replace")

    def test_colour_only_on_a_terminal_and_not_with_no_color(self):
        self.write("p.yaml", "quincunx: 2\n")
        self.assertIn("\033[1m", self.on_terminal({"TERM": "xterm", "NO_COLOR": ""}, "check", "p.yaml"))
        self.assertNotIn("\033", self.on_terminal({"TERM": "xterm", "NO_COLOR": "1"}, "check",
                                               "p.yaml"))
        self.assertNotIn("\033", self.on_terminal({"TERM": "dumb", "NO_COLOR": ""}, "check",
                                               "p.yaml"))

    def test_a_bar_on_a_terminal_for_work_over_a_second(self):
        self.trial()
        lines = [f"2024,1,1,1,s{i},50" for i in range(150000)]
        self.write("d.csv", "season,block,tree,limb,shoot,length\n" + "\n".join(lines) + "\n")
        began = time.monotonic()
        text = self.on_terminal({"TERM": "xterm"}, "record", "trial.qx", "d.csv")
        if time.monotonic() - began > 2.5:
            self.assertRegex(text, r"recording \[#* *\] +\d+ %")
        self.assertFalse(text.rstrip("\r\n").endswith("%"))
        self.write("e.csv", "season,block,tree,limb,shoot,length\n2025,1,1,1,x,50\n")
        self.assertEqual(self.on_terminal({"TERM": "xterm"}, "record", "trial.qx", "e.csv"), "")


class New(harness.Case):
    def test_makes_a_protocol_that_is_valid_and_can_be_laid_out(self):
        self.run_it("new", "mine.yaml")
        run = self.run_it("check", "mine.yaml")
        self.assertEqual((run.out, run.err), ("no problems\n", ""))
        self.run_it("layout", "mine.yaml", "-o", "mine.qx")
        document = json.loads(self.run_it("new", "--json", "other.yaml").out)
        self.assertEqual(document, {"quincunx": 1, "files": ["other.yaml"]})
        text = self.read("mine.yaml")
        self.assertGreater(text.count("#"), 10)

    def test_never_overwrites(self):
        self.write("mine.yaml", "mine")
        run = self.run_it("new", "mine.yaml", status=1)
        self.assertRegex(run.err, r"^mine\.yaml:1:1: is there already; expected a new name")
        self.assertEqual(self.read("mine.yaml"), "mine")


class Check(harness.Case):
    def test_protocol_and_data(self):
        self.write("p.yaml", PROTOCOL)
        self.assertEqual(self.run_it("check", "p.yaml").out, "no problems\n")

    def test_all_problems_are_told_in_order(self):
        self.write("p.yaml", PROTOCOL.replace("on: limb, unit: cm", "on: lim, unit: cm")
                   .replace("quincunx: 1", "quincunx: 1\ntitel: x"))
        run = self.run_it("check", "p.yaml", status=1)
        problems = self.problems(run)
        self.assertGreaterEqual(len(problems), 2)
        lines = [int(p.split(":")[1]) for p in problems]
        self.assertEqual(lines, sorted(lines))
        self.assertEqual(run.out, "")

    def test_json(self):
        self.write("p.yaml", "quincunx: 1\n")
        document = json.loads(self.run_it("check", "--json", "p.yaml", status=1).out)
        self.assertEqual(document["quincunx"], 1)
        self.assertEqual(document["problems"][0]["file"], "p.yaml")
        self.assertEqual(set(document["problems"][0]),
                         {"file", "line", "column", "wrong", "expected"})

    def test_units_that_cannot_hold_the_levels_are_a_note(self):
        many = "levels: [30, 35, 40, 45, 50, 55, 60, 65, 70, 75]"
        self.write("p.yaml", PROTOCOL.replace("levels: [30, 60]", many))
        run = self.run_it("check", "p.yaml")
        self.assertIn("angle has 10 levels, but each tree holds 2 of limb and there are 6: too few "
                      "to compare every two; expected 9 such groups at least, or 3 of limb in each",
                      run.err)

    def test_trial_file(self):
        self.trial()
        run = self.run_it("check", "trial.qx")
        self.assertIn("The layout is what was drawn.", run.out)
        self.assertIn("Seed 7", run.out)
        document = json.loads(self.run_it("check", "--json", "trial.qx").out)
        self.assertEqual(document["layout"]["seed"], "7")
        self.assertEqual(document["problems"], [])

    def test_a_layout_changed_by_hand_is_found(self):
        import sqlite3
        self.trial()
        with sqlite3.connect(self.path("trial.qx")) as connection:
            connection.execute("UPDATE placed_level SET level = CASE level WHEN 'none' THEN 'early'"
                               " ELSE 'none' END WHERE treatment = 'pinch'")
        connection.close()
        run = self.run_it("check", "trial.qx", status=1)
        self.assertIn("changed by hand", run.err)
        self.assertIn("not what was drawn", run.err)


class Layout(harness.Case):
    def test_same_seed_same_layout(self):
        self.write("p.yaml", PROTOCOL)
        first = json.loads(self.run_it("layout", "p.yaml", "--seed", "5", "-o", "a.qx", "--json").out)
        second = json.loads(self.run_it("layout", "p.yaml", "--seed=5", "-o", "b.qx", "--json").out)
        other = json.loads(self.run_it("layout", "p.yaml", "--seed", "6", "-o", "c.qx", "--json").out)
        self.assertEqual(first["placed"], second["placed"])
        self.assertNotEqual(first["placed"], other["placed"])
        self.assertEqual((first["kind"], first["seed"]), ("split", "5"))
        for i, thing in enumerate(first["placed"]):
            self.assertTrue(all(above < i for above in thing["within"]))
            self.assertEqual(set(thing["levels"]),
                             {"tree": {"pinch"}, "limb": {"angle"}}.get(thing["unit"], set()))

    def test_the_seed_is_drawn_and_told_if_not_given(self):
        self.write("p.yaml", PROTOCOL)
        seeds = set()
        for name in "abc":
            out = self.run_it("layout", "p.yaml", "-o", name + ".qx").out
            seeds.add(re.search(r"Seed (\d+) ", out).group(1))
        self.assertEqual(len(seeds), 3)
        # and gives the same layout again
        seed = re.search(r"Seed (\d+) ", out).group(1)
        again = self.run_it("layout", "p.yaml", "--seed", seed, "-o", "d.qx").out
        self.assertEqual(out.replace("c.qx", ""), again.replace("d.qx", ""))

    def test_never_overwrites(self):
        self.trial()
        before = open(self.path("trial.qx"), "rb").read()
        run = self.run_it("layout", "protocol.yaml", "-o", "trial.qx", status=1)
        self.assertRegex(run.err, r"^trial\.qx:1:1: is there already; ")
        self.assertEqual(open(self.path("trial.qx"), "rb").read(), before)

    def test_levels_that_do_not_fit_are_told_by_place(self):
        many = "levels: [30, 35, 40, 45, 50, 55, 60, 65, 70, 75]"
        self.write("p.yaml", PROTOCOL.replace("levels: [30, 60]", many))
        run = self.run_it("layout", "p.yaml", "-o", "t.qx", status=1)
        self.assertRegex(run.err, r"(?m)^p\.yaml:11:\d+: angle has 10 levels, but each tree holds 2 "
                                  r"of limb and there are 6: too few to compare every two")
        self.assertEqual(self.files(), ["p.yaml"])

    def test_one_file_and_nothing_beside_it(self):
        self.trial()
        self.assertEqual(self.files(), ["protocol.yaml", "trial.qx"])


class Record(harness.Case):
    def test_stores_recognises_and_corrects(self):
        self.trial()
        self.write("a.csv", data())
        run = self.run_it("record", "trial.qx", "a.csv", "--by", "Ada")
        self.assertIn("72 values stored, 0 corrected, 0 there already", run.out)
        run = self.run_it("record", "trial.qx", "a.csv")
        self.assertIn("0 values stored, 0 corrected, 72 there already", run.out)
        self.write("b.csv", "season,block,tree,limb,girth\n2024,1,1,1,9.99\n")
        run = self.run_it("record", "trial.qx", "b.csv", "--by", "Ben", "--reason", "read again",
                          "--json")
        document = json.loads(run.out)
        self.assertEqual(document["corrections"][0]["after"], "9.99")
        self.assertEqual(document["corrections"][0]["thing"], "block 1, tree 1, limb 1")
        self.assertEqual(self.files(), ["a.csv", "b.csv", "protocol.yaml", "trial.qx"])

    def test_a_wrong_row_in_any_file_stores_nothing(self):
        self.trial()
        self.write("a.csv", data(["2024"]))
        self.write("b.csv", data(["2025"]).replace("2025,2,1,1,,", "2025,2,3,1,,"))
        run = self.run_it("record", "trial.qx", "a.csv", "b.csv", status=1)
        self.assertRegex(run.err, r"(?m)^b\.csv:\d+:\d+: ")
        self.assertIn("nothing was stored", run.err)
        self.assertEqual(run.out, "")
        self.assertIn("0 values,", self.run_it("check", "trial.qx").out)

    def test_accept_good_stores_the_good_rows_and_lists_the_rest(self):
        self.trial()
        self.write("a.csv", data(["2024"]).replace("2024,2,1,1,,", "2024,2,3,1,,"))
        run = self.run_it("record", "trial.qx", "a.csv", "--accept-good", status=1)
        self.assertIn("35 values stored", run.out)
        self.assertIn("1 left out", run.out)
        self.assertIn("35 values,", self.run_it("check", "trial.qx").out)

    def test_a_treatment_that_the_layout_gave_to_another(self):
        self.trial()
        out = json.loads(self.run_it("layout", "protocol.yaml", "--seed", "7", "-o", "x.qx",
                                     "--json").out)
        tree = next(t for t in out["placed"] if t["unit"] == "tree")
        wrong = "early" if tree["levels"]["pinch"] == "none" else "none"
        self.write("a.csv", f"season,block,tree,limb,pinch,girth\n2024,1,1,1,{wrong},2\n")
        run = self.run_it("record", "trial.qx", "a.csv", status=1)
        self.assertIn("the layout gave this tree another", run.err)

    def test_a_file_that_is_missing(self):
        self.trial()
        run = self.run_it("record", "trial.qx", "none.csv", status=1)
        self.assertRegex(run.err, r"(?m)^none\.csv:1:1: cannot be found; ")


class Analyse(harness.Case):
    def test_trial_file_and_files_give_the_same_findings(self):
        self.trial()
        self.write("a.csv", data())
        self.run_it("record", "trial.qx", "a.csv")
        stored = json.loads(self.run_it("analyse", "trial.qx", "--json").out)
        for result in stored["results"]:
            self.assertEqual(result.pop("look")["number"], 1)  # kept in trial files alone
        # the same data with the treatments in it
        placed = json.loads(self.run_it("layout", "protocol.yaml", "--seed", "7", "-o", "x.qx",
                                        "--json").out)["placed"]
        level = {}
        for thing in placed:
            path = [thing["label"]]
            above = thing
            while above["within"]:
                above = placed[above["within"][0]]
                path.insert(0, above["label"])
            level[tuple(path)] = thing["levels"]
        lines = data().splitlines()
        rows = [lines[0] + ",pinch,angle"]
        for line in lines[1:]:
            field = line.split(",")
            rows.append(line + "," + level[tuple(field[1:3])]["pinch"] + "," +
                        level[tuple(field[1:4])]["angle"])
        self.write("b.csv", "\n".join(rows) + "\n")
        plain = json.loads(self.run_it("analyse", "protocol.yaml", "b.csv", "--json").out)
        self.assertEqual([r["variate"] for r in stored["results"]], ["length", "girth"])
        self.assertEqual(stored, plain)
        self.assertEqual(stored["results"][0]["observations"]["used"], 48)
        self.assertTrue(stored["results"][0]["tests"])

    def test_text_is_sentences_first(self):
        self.trial()
        self.write("a.csv", data())
        self.run_it("record", "trial.qx", "a.csv")
        run = self.run_it("analyse", "trial.qx")
        sentence = re.search(r"Length was \w+[^.]*\.", run.out)
        self.assertIsNotNone(sentence)
        table = run.out.index("-----------------------------")
        self.assertLess(sentence.start(), table)
        self.assertEqual(run.err, "")

    def test_data_with_problems(self):
        self.write("p.yaml", PROTOCOL)
        self.write("a.csv", "season,block,tree,limb,shoot,pinch,angle,length,girth\n"
                            "2024,1,1,1,a,none,30,-5,\n2024,1,1,1,b,nine,30,5,\n")
        run = self.run_it("analyse", "p.yaml", "a.csv", status=1)
        self.assertEqual(len(self.problems(run)), 2)
        self.assertEqual(run.out, "")


class Report(harness.Case):
    def test_a_set_of_files(self):
        self.trial()
        self.write("a.csv", data())
        self.run_it("record", "trial.qx", "a.csv")
        run = self.run_it("report", "trial.qx", "-o", "out")
        self.assertIn("out/report.html", run.out)
        self.assertIn("</html>", self.read("out/report.html"))
        json.loads(self.read("out/findings.json"))
        # again, over its own files
        again = json.loads(self.run_it("report", "trial.qx", "-o", "out", "--json").out)
        self.assertEqual(again["files"], run.out.split())
        self.assertEqual(sorted("out/" + name for name in os.listdir(self.path("out"))),
                         sorted(again["files"]))


class Demo(harness.Case):
    def test_from_protocol_to_report_twice_the_same(self):
        run = self.run_it("demo", "demo")
        self.assertIn("report.html", run.out)
        first = {name: open(self.path("demo/" + name), "rb").read()
                 for name in ["protocol.yaml", "data.csv"]}
        self.assertIn("nvented", self.read("demo/protocol.yaml"))
        self.run_it("check", "demo/trial.qx")
        again = json.loads(self.run_it("demo", "demo", "--json").out)
        self.assertEqual(again["files"], ["demo/report/report.html"])
        for name, content in first.items():
            self.assertEqual(open(self.path("demo/" + name), "rb").read(), content)

    def test_leaves_other_trials_alone(self):
        os.mkdir(self.path("demo"))
        self.write("demo/protocol.yaml", PROTOCOL)
        run = self.run_it("demo", "demo", status=1)
        self.assertIn("demo/protocol.yaml", run.err)
        self.assertEqual(self.read("demo/protocol.yaml"), PROTOCOL)


harness.main(Program, New, Check, Layout, Record, Analyse, Report, Demo)
