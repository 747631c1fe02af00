#!/usr/bin/env python3
"""Whole reports as a grower reads them: small trials of every sort (variants.py), and no sentence
that a grower could not make use of. plain_words.py PROGRAM

In every report: no number that does not exist, no negative nought, no P of nought, no power of
ten by letter. Outside of the chapter on the method: none of the trade's words. Then, variant by
variant, what has to be said and what must not be. All data are invented."""
import html
import json
import os
import re

import harness
from variants import VARIANTS

JARGON = ["estimable", "orthogonal", "REML", "Kenward", "Satterthwaite", "likelihood", "contrast",
          "lack of fit", "confounded", "alias", "degrees of freedom", "residual 20", "random effect",
          "quadratic", "marginal", "link scale", "on the scale log", "coefficient", "null"]
# what may not stand anywhere
BROKEN = {"a number that does not exist": re.compile(r"anything from [–\s]|– to –|\bnan\b|\binf\b|NaN"),
          "a negative nought": re.compile(r"[−-]0(\.0+)?(?![\d.])"),
          "a P of nought": re.compile(r"P\s*=\s*0(\.0+)?(?![\d.])"),
          "a power of ten by letter": re.compile(r"\d[eE][+-]?\d"),
          "endless degrees of freedom": re.compile(r"∞ df"),
          "once as many": re.compile(r"(?<![\d.])1(\.0+)? times (as|the)")}


def words(page):
    """The report's text: chapters by their heading; tables cell by cell; no pictures."""
    page = re.sub(r"<(style|svg)\b.*?</\1>", " ", page, flags=re.S)
    page = page[page.index("<main>"):page.index("</main>")]
    chapters = {}
    for part in re.split(r"<h2\b[^>]*>", page)[1:]:
        title, rest = part.split("</h2>", 1)
        rest = re.sub(r"</(td|th|p|li|h\d|caption|dt|dd|figcaption)>", "\n", rest)
        text = html.unescape(re.sub(r"<[^>]+>", "", rest))
        chapters[html.unescape(title)] = re.sub(r"[ \t]+", " ", text)
    return chapters


EXAMPLES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "examples")


def examples():
    """Protocol and data of the examples of the repository, as variants are."""
    found = {}
    for name in sorted(os.listdir(EXAMPLES)):
        pair = [os.path.join(EXAMPLES, name, file) for file in ("protocol.yaml", "data.csv")]
        if all(os.path.exists(path) for path in pair):
            found["example " + name] = tuple(open(path, encoding="utf-8").read() for path in pair)
    return found


VARIANTS.update(examples())


class PlainWords(harness.Case):
    def report(self, name):
        protocol, data = VARIANTS[name]
        self.write("p.yaml", protocol)
        self.write("d.csv", data)
        self.run_it("report", "p.yaml", "d.csv", "-o", "out")
        chapters = words(self.read(os.path.join("out", "report.html")))
        self.assertEqual(len(chapters), 6, f"{name}: {list(chapters)}")
        self.answer = chapters["Answer"]
        self.everything = re.sub(r"SHA-256 \w+", "", "\n".join(chapters.values()))
        return chapters

    def says(self, *parts):
        for part in parts:
            self.assertIn(part, self.answer)

    def never_says(self, *parts):
        for part in parts:
            self.assertNotIn(part, self.everything)

    def result(self, name):
        protocol, data = VARIANTS[name]
        self.write("p.yaml", protocol)
        self.write("d.csv", data)
        return json.loads(self.run_it("analyse", "p.yaml", "d.csv", "--json").out)["results"][0]

    def test_every_report_is_plain(self):
        self.assertTrue(any(name.startswith("example ") for name in VARIANTS))
        for name in VARIANTS:
            with self.subTest(name):
                chapters = self.report(name)
                for what, pattern in BROKEN.items():
                    found = pattern.search(self.everything)
                    self.assertIsNone(found, f"{name}: {what}: {found and self.everything[max(0, found.start() - 80):found.end() + 20]!r}")
                for title, text in chapters.items():
                    if title == "How it was analysed":
                        continue
                    for word in JARGON:
                        at = text.lower().find(word.lower())
                        self.assertEqual(at, -1, f"{name}, {title}: {word!r} in "
                                                 f"{text[max(0, at - 80):at + 60]!r}")

    def test_nothing_to_test_is_told(self):
        """One tree a treatment, whatever is measured on its limbs."""
        for kind in ["", ", counts", ", shares", ", grades", ", classes"]:
            with self.subTest(kind):
                self.report("one replicate" + kind)
                self.says("cannot be told", "no tree is a replicate of another",
                          "at least one more tree for each".capitalize(),
                          "a further limb on the same tree would not")
                for verdict in ["unsettled", "higher\n", "lower\n"]:
                    self.assertNotIn(verdict, self.answer)
                result = self.result("one replicate" + kind)
                for d in result["differences"]:
                    self.assertIsNone(d["verdict"])
                    for key in ["se", "p", "p_adjusted", "lower", "upper", "p_equivalence",
                                "replicates_to_settle"]:
                        self.assertIsNone(d[key], f"{kind}: {key}")
                    self.assertIn("replicate", d["why_not"])
                for test in result["tests"]:
                    self.assertIsNone(test.get("p"), test)
                for mean in result["means"]:
                    self.assertIsNotNone(mean["estimate"])
                    self.assertIsNone(mean["se"])

    def test_blocks_do_not_act(self):
        self.report("fixed blocks")
        self.never_says("act together", "site:block act")

    def test_slopes_are_no_treatments(self):
        self.report("own slopes")
        self.never_says("act together")
        self.assertIn("trunk_area acts differently at the levels of spray", self.everything)

    def test_covariates_that_go_together(self):
        self.report("covariate, confounded with the treatment")
        self.says("cannot be told", "spray and trunk_area cannot be told apart",
                  "trunk_area has one value for each level", "Without trunk_area in the protocol")
        self.never_says("no data", "combination")
        self.report("covariate, confounded with blocks")
        self.assertIn("trunk_area and block cannot be told apart", self.everything)
        self.never_says("no data", "confounded")
        self.assertIn("lower", self.answer)  # treatments inside blocks are compared all the same

    def test_a_season_without_variation(self):
        self.report("seasons, one all but without a residual")
        self.never_says("one residual", "and another could be seen in the field")
        self.assertIn("The variation inside 2025 is estimated at zero", self.everything)

    def test_dose_inside_each_level(self):
        self.report("dose, two curves")
        none = self.answer.index("With pinch none: Fruit mass goes with dose along a curve that is "
                                 "highest, and so best, at 22.2 mg")
        early = self.answer.index("With pinch early: Fruit mass rises along a straight line")
        warning = self.answer.index("What dose does depends on pinch (P < 0.001): go by what happens")
        average = self.answer.index("Averaged over the other treatments: Fruit mass")
        self.assertTrue(none < early < warning < average)
        withins = [d.get("within") for d in self.result("dose, two curves")["dose_response"]]
        self.assertEqual(withins, [None, {"pinch": "none"}, {"pinch": "early"}])

    def test_where_a_curve_turns(self):
        self.report("dose, turning inside")
        self.says("highest, and so best, at 21.38 mg (95\u00a0% interval 20.05 to 22.78 mg)")
        turn = self.result("dose, turning inside")["dose_response"][0]["turning_point"]
        self.assertTrue(turn["inside"] and turn["highest"])
        self.report("dose, turning beyond")
        self.says("The best value lies at dose 40 mg, the most that was tried, or beyond it.")
        self.assertNotIn("highest", self.answer)
        turn = self.result("dose, turning beyond")["dose_response"][0]["turning_point"]
        self.assertFalse(turn["inside"])

    def test_dunnett_does_not_speak_of_tukey(self):
        self.report("one treatment, Dunnett")
        self.never_says("Tukey", "share a letter", "Piepho")
        self.assertIn("Dunnett 1955", self.everything)
        self.report("one treatment, Tukey")
        self.assertIn("Tukey", self.everything)
        self.assertIn("share a letter", self.everything)

    def test_factorials_that_are_not_complete(self):
        for kind in ["continuous", "count", "proportion", "ordinal", "nominal"]:
            with self.subTest(kind):
                self.report(f"empty cells, {kind}")
                self.says("ith rate low: ", "ith product urea: ",  # "With ..." or "Y with ..."
                          "an average would need product lime with rate high, which has no data")
                result = self.result(f"empty cells, {kind}")
                cells = {tuple(m["levels"].values()): m["estimate"] for m in result["means"]
                         if m["term"] == "product:rate"}
                self.assertEqual([c for c, m in cells.items() if m is None], [("lime", "high")])
                self.assertEqual(len(cells), 4)
                self.report(f"added control, {kind}")
                self.says("Control against the rest", "Effect of product (factorial part)",
                          "Effect of rate (factorial part)", "is a control beside the factorial")
                result = self.result(f"added control, {kind}")
                terms = {m["term"] for m in result["means"]}
                self.assertLessEqual({"product (factorial part)", "added control"}, terms)
                self.assertTrue(result["control_against_rest"])
                tests = {t["term"]: t["p"] for t in result["tests"] if "p" in t}
                self.assertIsNotNone(tests["product:rate (factorial part)"])
                self.assertIsNotNone(tests["rate (factorial part)"])

    def test_ratios(self):
        self.report("counts as ratios")
        self.says("2.4 times as many (1.2 to 4.7 times)", "46\u00a0% as many (24 to 92\u00a0%)")
        self.report("logarithms")
        self.says("about as much", "2.7 times as much (95\u00a0% interval 1.5 to 4.9 times)")


harness.main(PlainWords)
