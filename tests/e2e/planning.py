#!/usr/bin/env python3
"""Before a tree is touched: plan, trees, blocks, what was done otherwise: planning.py PROGRAM"""
import json
import math
import os
import random
import re

import harness

PLAN = """\
quincunx: 1
title: Thinning, invented
site: {row_spacing_m: 3.5, tree_spacing_m: 1.2, row_bearing: 20}
units:
  block: {count: 6}
  tree: {within: block, count: 4}
treatments:
  thin: {levels: [none, hand, early, late], on: tree, control: none}
measure:
  yield: {kind: continuous, on: tree, unit: kg, margin: 6, expect: {mean: 25, variation: {block: 2, tree: 3}}}
"""


def trees(rows=4, places=12, seed=1):
    chance = random.Random(seed)
    lines = ["row,place,circumference_cm,status,notes"]
    for row in range(1, rows + 1):
        for place in range(1, places + 1):
            status = "missing" if (row, place) == (2, 5) else ""
            lines.append(f"{row},{place},{chance.gauss(20, 2):.1f},{status},")
    return "\n".join(lines) + "\n"


class Plan(harness.Case):
    def test_says_what_can_be_shown(self):
        self.write("p.yaml", PLAN)
        out = self.run_it("plan", "p.yaml").out
        self.assertIn("with 6 trees for each level", out)
        self.assertIn("Where each treatment is tested", out)
        plan = json.loads(self.run_it("plan", "p.yaml", "--json").out)
        family = plan["results"][0]["treatments"][0]
        self.assertEqual(family["replicates"], 6)
        self.assertAlmostEqual(family["df"], 15, places=6)
        self.assertTrue(0 < family["power"] < 1)
        powers = [point["power"] for point in family["curve"]]
        self.assertEqual(powers, sorted(powers))

    def test_more_power_needs_more_replicates(self):
        self.write("p.yaml", PLAN)
        needed = []
        for power in ("0.7", "0.8", "0.95"):
            plan = json.loads(self.run_it("plan", "p.yaml", "--power", power, "--json").out)
            needed.append(plan["results"][0]["treatments"][0]["replicates_needed"])
        self.assertEqual(needed, sorted(needed))
        self.assertLess(needed[0], needed[2])

    def test_a_covariate_costs_a_degree_of_freedom(self):
        before = ("units:", "covariates:\n  girth: {on: tree, unit: cm}\nunits:")
        self.write("p.yaml", PLAN)
        self.write("c.yaml", PLAN.replace(*before))
        plain, with_it = (json.loads(self.run_it("plan", name, "--json").out)["results"][0]
                          ["treatments"][0] for name in ("p.yaml", "c.yaml"))
        # not just 1: blocks tell a little of a covariate that differs between them
        self.assertAlmostEqual(plain["df"] - with_it["df"], 1, delta=0.01)
        self.assertLess(with_it["power"], plain["power"])
        told = self.run_it("plan", "c.yaml", "--simulate", "40", "--seed", "1").out
        self.assertIn("girth is not measured yet", told)
        self.assertIn("Simulated (40 trials", told)
        self.assertRegex(told, r"girth +trees within blocks +1 ")

    def test_a_factorial_with_an_added_control_is_planned_as_it_is_analysed(self):
        self.write("p.yaml", """\
quincunx: 1
title: Oils beside nothing, invented
units:
  block: {count: 4}
  tree: {within: block, count: 5}
treatments:
  product: {levels: [none, oil, soap], on: tree, control: none}
  dose: {levels: [0, 1, 2], on: tree}
measure:
  len: {kind: continuous, on: tree, unit: cm, margin: 5, expect: {mean: 40, variation: {block: 2, tree: 4}}}
layout:
  added_control: {product: none, dose: 0}
""")
        plan = json.loads(self.run_it("plan", "p.yaml", "--simulate", "300", "--json").out)
        product, dose = plan["results"][0]["treatments"]
        self.assertEqual(product["term"], "product (factorial part)")
        for family in (product, dose):
            # classical: two means of 2 x 4 trees, blocks and five combinations taken out
            self.assertEqual(family["replicates"], 8)
            self.assertAlmostEqual(family["se"], 4 * math.sqrt(2 / 8), places=9)
            self.assertAlmostEqual(family["df"], 12, places=6)
            # 300 trials: three standard errors
            self.assertAlmostEqual(family["simulated"]["power"], family["power"], delta=0.087)

    def test_a_share_near_one_is_set_right_where_trials_show_next_to_nothing(self):
        """Limits near 1 are lopsided: the formula says that a third of such trials would show
        that it does not matter; next to none does."""
        self.write("p.yaml", """\
quincunx: 1
title: Buds that nearly all break, invented
units:
  block: {count: 6}
  tree: {within: block, count: 2}
treatments:
  cut: {levels: [a, b], on: tree}
measure:
  k: {kind: proportion, of: n, on: tree, margin: 0.10, expect: {mean: 0.95, of: 10, variation: {block: 0.2, tree: 0.3}}}
""")
        alone, both = (json.loads(self.run_it("plan", "p.yaml", "--json", *more).out)["results"][0]
                       ["treatments"][0] for more in ((), ("--simulate", "300", "--seed", "1")))
        self.assertGreater(alone["power_equivalence"], 0.2)
        self.assertLess(both["simulated"]["power_equivalence"], 0.05)
        self.assertLess(both["power_equivalence"], 0.05)
        powers = [point["power_equivalence"] for point in both["curve"]]
        self.assertTrue(all(b > a - 0.02 for a, b in zip(powers, powers[1:])), powers)

    def test_dates_and_positions_are_not_known_yet(self):
        self.write("d.yaml", PLAN.replace("on: tree, unit: kg", "on: tree, dates: day, unit: kg"))
        self.write("f.yaml", PLAN.replace(
            "tree: {within: block, count: 4}",
            "tree: {within: block, count: 4, position: {row: line, place: spot}}"))
        for name in ("d.yaml", "f.yaml"):
            with self.subTest(name):
                told = self.run_it("plan", name, "--simulate", "40", "--seed", "1").out
                self.assertIn("Simulated (40 trials", told)

    def test_seasons_are_tested_inside_blocks_and_samples_are_new(self):
        seasonal = PLAN.replace("units:", "seasons: [2025, 2026]\nunits:").replace(
            "count: 4}", "count: 4}\n  shoot: {within: tree, sample: true}").replace(
            "continuous, on: tree", "continuous, on: shoot").replace(
            "tree: 3}", "tree: 3, shoot: 5}, variation_by_season: {block: 1, tree: 1}")
        self.write("p.yaml", seasonal + "planning: {samples: 3, cost: {tree: 9, shoot: 1}}\n")
        told = self.run_it("plan", "p.yaml").out
        self.assertRegex(told, r"season +seasons within blocks +1 +5\n")
        self.assertIn("How to spend the effort for thin: shoots in each tree", told)
        plan = json.loads(self.run_it("plan", "p.yaml", "--json").out)
        # Classical: two means of 6 trees; a tree's own variance is 9, that of its two seasons
        # 1, and its shoots are six different ones of variance 25.
        family = plan["results"][0]["treatments"][0]
        self.assertAlmostEqual(family["se"] ** 2, 2 / 6 * (9 + 1 / 2 + 25 / 6), places=6)

    def test_writes_a_page(self):
        self.write("p.yaml", PLAN)
        self.run_it("plan", "p.yaml", "-o", "plan")
        self.assertEqual(sorted(os.listdir(self.path("plan"))), ["plan.html", "plan.json"])
        self.assertIn("<svg", self.read("plan/plan.html"))

    def test_last_season_counts(self):
        self.write("p.yaml", PLAN)
        self.run_it("layout", "p.yaml", "--seed", "3", "-o", "last.qx")
        rows = ["block,tree,yield"]
        chance = random.Random(5)
        for block in range(1, 7):
            shift = chance.gauss(0, 2)
            for tree in range(1, 5):
                rows.append(f"{block},{tree},{25 + shift + chance.gauss(0, 6):.1f}")
        self.write("d.csv", "\n".join(rows) + "\n")
        self.run_it("record", "last.qx", "d.csv")
        before = json.loads(self.run_it("plan", "p.yaml", "--json").out)
        after = json.loads(self.run_it("plan", "p.yaml", "--from", "last.qx", "--json").out)
        first, second = (x["results"][0] for x in (before, after))
        self.assertIn("earlier trial", second["source"])
        self.assertGreater(second["treatments"][0]["se"], first["treatments"][0]["se"])

    def test_simulated_trials_do_not_depend_on_the_cores(self):
        self.write("p.yaml", PLAN)
        words = ("plan", "p.yaml", "--simulate", "40", "--seed", "9", "--json")
        core = min(os.sched_getaffinity(0))
        one = self.run_it(*words, preexec_fn=lambda: os.sched_setaffinity(0, {core})).out
        self.assertEqual(one, self.run_it(*words).out)

    def test_what_cannot_be_planned_is_told(self):
        self.write("p.yaml", PLAN)
        for power in ("1.0", "0.3", "much"):
            self.assertIn("0.5", self.run_it("plan", "p.yaml", "--power", power, status=2).err)
        self.write("q.yaml", PLAN.replace("tree: 3}", "tree: -3}"))
        self.run_it("plan", "q.yaml", status=1)
        self.write("r.yaml", PLAN.replace("variation: {block: 2, tree: 3}",
                                          "like: aple yield"))
        self.assertIn("apple yield", self.run_it("plan", "r.yaml", status=1).err)
        self.write("s.yaml", PLAN.replace("tree: 3}", "tree: 0}"))
        self.assertIn("no variation at all", self.run_it("plan", "s.yaml", status=1).err)


    def test_what_does_not_fit_is_told_with_what_would(self):
        block = "  block: {count: 6}\n  tree: {within: block, count: 4}"
        plain = PLAN.replace("block: 2, ", "")
        for units, told in (
            # more treatments than trees
            ("  tree: {count: 3}", "4 levels, but there are only 3 of \"tree\" in all; expected"),
            # as many trees as treatments: nothing is left to test with
            ("  tree: {count: 4}", "more replicates"),
            # blocks that cannot be filled
            ("  block: {count: 6}\n  tree: {within: block, count: 0}", "expected a whole number"),
            ("  block: {count: 2}\n  tree: {within: block, count: 2}", "expected"),
        ):
            self.write("p.yaml", plain.replace(block, units))
            self.assertIn(told, self.run_it("plan", "p.yaml", status=1).err)

    def test_what_is_expected_is_judged(self):
        self.write("p.yaml", PLAN.replace("mean: 25", "mean: 25, of: 3, shares: [0.4, 0.6]"))
        for verb in ("check", "plan"):
            err = self.run_it(verb, "p.yaml", status=1).err
            self.assertIn("p.yaml:10:", err)
            self.assertIn("no share of anything", err)
            self.assertIn("has no classes", err)

    def test_a_pilot_of_shares_tells_chance_apart(self):
        protocol = PLAN.replace(
            "yield: {kind: continuous, on: tree, unit: kg, margin: 6, "
            "expect: {mean: 25, variation: {block: 2, tree: 3}}}",
            "set: {kind: proportion, of: flowers, on: tree, margin: 0.15}")
        self.trial("last.qx", protocol)
        chance = random.Random(8)
        rows = ["block,tree,set,flowers"]
        for block in range(1, 7):
            for tree in range(1, 5):
                fruits = sum(chance.random() < 0.4 for _ in range(40))
                rows.append(f"{block},{tree},{fruits},40")
        self.write("d.csv", "\n".join(rows) + "\n")
        self.run_it("record", "last.qx", "d.csv")
        self.write("p.yaml", protocol)
        run = self.run_it("plan", "p.yaml", "--from", "last.qx", "--json").out
        plan = json.loads(run)["results"][0]
        # Shares of 40 by chance alone: 1 / (40 p (1 - p)) on the logit scale.
        mean = plan["mean"]
        self.assertAlmostEqual(plan["chance_sd"], (40 * mean * (1 - mean)) ** -0.5, delta=0.02)
        for line in plan["variation"]:  # beyond chance there is next to nothing
            self.assertLess(line["sd"], 0.35)
        text = self.run_it("plan", "p.yaml", "--from", "last.qx").out
        self.assertIn("chance alone, in each tree", text)


class Trees(harness.Case):
    def lay_out(self, *more, status=0):
        self.write("p.yaml", PLAN)
        self.write("trees.csv", trees())
        return self.run_it("layout", "p.yaml", "--trees", "trees.csv", "--seed", "4", "-o",
                           "t.qx", *more, status=status)

    def test_blocks_of_like_trees_are_drawn_again_by_check(self):
        made = json.loads(self.lay_out("--json", "--pictures", "pic").out)
        self.assertLess(made["trees"]["within"], made["trees"]["within_by_place"])
        labels = [p["label"] for p in made["placed"] if p["unit"] == "tree"]
        self.assertEqual(len(set(labels)), 24)
        self.assertNotIn("2-5", labels)  # missing
        self.assertIn("Trees from trees.csv", self.run_it("check", "t.qx").out)
        for picture in ("map.svg", "blocks.svg"):
            self.assertIn("<svg", self.read("pic/" + picture))

    def test_the_picture_of_blocks_has_the_blocks_of_the_layout(self):
        """The dots of row b lie where the trunk areas of the layout's block b are."""
        made = json.loads(self.lay_out("--json", "--pictures", "pic").out)
        blocks = [i for i, p in enumerate(made["placed"]) if p["unit"] == "block"]
        areas = [sorted(p["trunk_area_cm2"] for p in made["placed"]
                        if p["unit"] == "tree" and p["within"] == [block]) for block in blocks]
        rows = {}
        dot = re.compile(r'<circle cx="([0-9.]+)" cy="([0-9.]+)" r="3" class="f-d1')
        for x, y in dot.findall(self.read("pic/blocks.svg")):
            rows.setdefault(float(y), []).append(float(x))
        del rows[min(rows)]  # the key
        drawn = [sorted(rows[y]) for y in sorted(rows)]
        self.assertEqual([len(row) for row in drawn], [len(row) for row in areas])
        flat, wide = sum(areas, []), sum(drawn, [])
        per_area = (max(wide) - min(wide)) / (max(flat) - min(flat))
        for area, x in zip(flat, wide):
            self.assertAlmostEqual(x, min(wide) + per_area * (area - min(flat)), delta=0.2)

    def test_data_name_the_trees(self):
        made = json.loads(self.lay_out("--json").out)
        placed = made["placed"]
        rows = ["block,tree,yield"]
        for k, p in enumerate(placed):
            if p["unit"] == "tree":
                rows.append(f"{placed[p['within'][0]]['label']},{p['label']},{20 + k % 7}")
        self.write("d.csv", "\n".join(rows) + "\n")
        self.run_it("record", "t.qx", "d.csv")
        result = json.loads(self.run_it("analyse", "t.qx", "--json").out)["results"][0]
        self.assertEqual(result["observations"]["used"], 24)

    def test_what_was_done_otherwise_is_kept(self):
        made = json.loads(self.lay_out("--json").out)
        placed = made["placed"]
        tree = next(p for p in placed if p["unit"] == "tree" and p["levels"]["thin"] != "hand")
        block = placed[tree["within"][0]]["label"]
        self.write("done.csv", f"block,tree,thin\n{block},{tree['label']},hand\n")
        self.run_it("layout", "t.qx", "--as-done", "done.csv", status=2)  # no reason
        self.run_it("layout", "t.qx", "--as-done", "done.csv", "--reason", "wrong tree")
        out = self.run_it("check", "t.qx").out
        self.assertIn("got thin hand instead of", out)
        self.assertIn("wrong tree", out)

    def stand(self, name, protocol, list_, seed, status=0):
        """What stands at (row, place): label of the block, plot or None, level or None."""
        self.write("n.yaml", protocol)
        self.write("n.csv", list_)
        run = self.run_it("layout", "n.yaml", "--trees", "n.csv", "--seed", str(seed), "-o",
                          f"{name}{seed}.qx", "--json", status=status)
        if status != 0:
            return run
        made = json.loads(run.out)
        placed = made["placed"]
        at = {}
        for p in placed:
            if p["unit"] != "tree":
                continue
            above = p["within"][0]
            level = p["levels"].get("thin") or placed[above]["levels"].get("thin")
            at[(p["row"], p["place"])] = (above, level)
        return at

    def test_neighbours_in_the_orchard_keep_treatments_apart(self):
        """Two blocks in a row, and rows with gaps: also where blocks meet."""
        wish = PLAN + "layout: {apart: [thin]}\n"
        for name, list_ in (("full", trees(3, 9)), ("gaps", trees(4, 9))):
            for seed in range(8):
                at = self.stand(name, wish, list_, seed)
                self.assertEqual(len(at), 24)
                for (row, place), (_, level) in at.items():
                    self.assertNotEqual(at.get((row, place + 1), (0, None))[1], level)
                self.run_it("check", f"{name}{seed}.qx")  # drawn again from the seed it tells

    def test_a_block_that_is_a_row_is_one(self):
        wish = PLAN + "layout: {row: block}\n"
        at = self.stand("row", wish, trees(8, 6), 3)
        for block in {b for b, _ in at.values()}:
            self.assertEqual(len({row for (row, _), (b, _) in at.items() if b == block}), 1)
        run = self.stand("short", wish, trees(5, 8), 3, status=1)
        self.assertIn("each block is to be a row of its own with 4 trees", run.err)
        self.assertNotIn("short3.qx", self.files())

    def test_plots_and_guards_stand_together(self):
        plots = PLAN.replace("  tree: {within: block, count: 4}",
                             "  plot: {within: block, count: 4}\n"
                             "  tree: {within: plot, count: 2}").replace(
                                 "late], on: tree", "late], on: plot")
        at = self.stand("plots", plots, trees(7, 8), 5)
        for plot in {b for b, _ in at.values()}:
            spots = sorted(spot for spot, (b, _) in at.items() if b == plot)
            self.assertEqual(spots[1], (spots[0][0], spots[0][1] + 1))
        guards = PLAN.replace("count: 4}", "count: 8}") + "layout: {guards: {tree: 1}}\n"
        at = self.stand("guards", guards, trees(8, 10), 5)
        for (row, place), (_, level) in at.items():
            if level is not None:
                self.assertIsNone(at[(row, place + 1)][1])  # its guard

    def test_lists_that_do_not_do(self):
        self.write("p.yaml", PLAN)
        for text, told in (
            (trees(1, 12), "the trial needs 24"),
            ("row,place,circumference_cm\n1,1,-3\n", "expected more than 0"),
            ("row,place\n1,1\n1,1\n", "has a tree already"),
            ("row,girth\n1,2\n", "place"),
        ):
            self.write("trees.csv", text)
            run = self.run_it("layout", "p.yaml", "--trees", "trees.csv", "-o", "t.qx", status=1)
            self.assertIn(told, run.err)
            self.assertNotIn("t.qx", self.files())

    def test_a_reach_that_is_too_short(self):
        self.assertIn("expected a reach of about", self.lay_out("--reach", "0.5", status=1).err)
        self.lay_out("--reach", "far", status=2)


LOOKS = """\
quincunx: 1
title: Two seasons, invented
seasons: [2025, 2026]
units:
  block: {count: 6}
  tree: {within: block, count: 2}
treatments:
  pinch: {levels: [none, early], on: tree, control: none}
measure:
  length: {kind: continuous, on: tree, unit: cm, margin: 8}
"""


class Looks(harness.Case):
    def season(self, year):
        chance = random.Random(year)
        rows = ["season,block,tree,length"]
        for block in range(1, 7):
            for tree in (1, 2):
                rows.append(f"{year},{block},{tree},{chance.gauss(40, 5):.1f}")
        self.write(f"{year}.csv", "\n".join(rows) + "\n")
        self.run_it("record", "t.qx", f"{year}.csv")

    def look(self):
        return json.loads(self.run_it("analyse", "t.qx", "--json").out)["results"][0]

    def test_declared_looks_spend_the_level(self):
        self.trial("t.qx", LOOKS + "analysis: {looks: 2}\n")
        self.season(2025)
        first = self.look()
        # Lan & DeMets 1983, half of the information: 2 (1 - Phi(2.9626)), from memory
        self.assertAlmostEqual(first["look"]["level"], 0.00305, places=5)
        self.assertEqual(self.look()["look"], first["look"])  # looking again is no new look
        self.season(2026)
        second = self.look()
        self.assertEqual(second["look"]["number"], 2)
        self.assertAlmostEqual(second["look"]["level"], 0.0490, places=4)
        self.assertIsNone(second["look"]["true_error"])

    def test_looks_that_nobody_declared_are_told_everywhere(self):
        self.trial("t.qx", LOOKS)
        self.season(2025)
        self.assertTrue(any("must be declared" in note for note in self.look()["notes"]))
        self.season(2026)
        second = self.look()
        self.assertGreater(second["look"]["true_error"], 0.075)
        self.assertTrue(any("true error rate" in note for note in second["notes"]))
        self.run_it("report", "t.qx", "-o", "r")
        self.assertIn("true error rate", self.read("r/report.html"))
        self.assertIn("true error rate", self.read("r/findings.txt"))

    def test_a_file_that_cannot_be_written_is_analysed_all_the_same(self):
        self.trial("t.qx", LOOKS)
        self.season(2025)
        os.chmod(self.path("t.qx"), 0o444)
        os.chmod(self.folder, 0o555)
        self.addCleanup(os.chmod, self.folder, 0o755)
        self.assertEqual(self.look()["look"]["number"], 1)


harness.main(Plan, Trees, Looks)
