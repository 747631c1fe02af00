"""What the end-to-end tests share: a program to run, a folder, and plain checks.

    import harness
    class Verbs(harness.Case): ...
    harness.main(Verbs)          # first argument of the script: the program

Each test method gets a fresh folder, self.folder, and runs the program in it. Only Python's own
library is used.
"""
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

PROBLEM = re.compile(r"^[^:\n]+:[1-9][0-9]*:[1-9][0-9]*: .+; .+$")
PROGRAM = os.path.abspath(sys.argv[1]) if len(sys.argv) > 1 else None

# 3 blocks of 2 trees of 2 limbs; shoots sampled.
PROTOCOL = """\
quincunx: 1
title: End to end
seasons: [2024, 2025]
units:
  block: {count: 3}
  tree: {within: block, count: 2}
  limb: {within: tree, count: 2}
  shoot: {within: limb, sample: true}
treatments:
  pinch: {levels: [none, early], on: tree, control: none}
  angle: {levels: [30, 60], on: limb, unit: degree}
measure:
  length: {kind: continuous, on: shoot, unit: cm, decimals: 1, range: [0, 250], margin: 8}
  girth: {kind: continuous, on: limb, unit: cm, range: [-1, 20], margin: 1}
"""


def data(seasons=("2024", "2025"), shoots=2):
    """A data file for PROTOCOL with every limb and shoot; the numbers mean nothing."""
    lines = ["season,block,tree,limb,shoot,length,girth"]
    k = 0
    for season in seasons:
        for block in range(1, 4):
            for tree in range(1, 3):
                for limb in range(1, 3):
                    k += 1
                    lines.append(f"{season},{block},{tree},{limb},,,{2 + k * 37 % 11 / 10:.2f}")
                    for shoot in range(1, shoots + 1):
                        k += 1
                        value = 30 + block + k * 53 % 17 + (2.5 if limb == 1 else 0)
                        lines.append(f"{season},{block},{tree},{limb},{season}-{shoot},{value:.1f},")
    return "\n".join(lines) + "\n"


class Case(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.mkdtemp(prefix="quincunx-e2e-")
        self.addCleanup(shutil.rmtree, self.folder, ignore_errors=True)

    def path(self, name):
        return os.path.join(self.folder, name)

    def write(self, name, content):
        mode = "wb" if isinstance(content, bytes) else "w"
        with open(self.path(name), mode, **({} if mode == "wb" else {"encoding": "utf-8"})) as file:
            file.write(content)

    def read(self, name):
        with open(self.path(name), encoding="utf-8") as file:
            return file.read()

    def run_it(self, *words, status=0, env=None, **more):
        """Runs the program; checks the exit status and the shape of messages; gives the run."""
        environment = dict(os.environ, LOGNAME="tester", LC_ALL="C.UTF-8")
        environment.update(env or {})
        run = subprocess.run([PROGRAM, *words], cwd=self.folder, capture_output=True, check=False,
                             timeout=120, env=environment, **more)
        run.out = run.stdout.decode("utf-8", "replace")
        run.err = run.stderr.decode("utf-8", "replace")
        self.assertEqual(run.returncode, status, f"{words}\n{run.out[-500:]}\n{run.err[-2000:]}")
        if status == 1:
            self.assertTrue(self.problems(run), f"{words} told no problem:\n{run.err}")
        if status in (2, 3):
            self.assertIn("quincunx: ", run.err)
        return run

    def problems(self, run):
        """Lines of standard error that tell a problem."""
        return [line for line in run.err.splitlines() if PROBLEM.match(line)]

    def files(self):
        return sorted(os.listdir(self.folder))

    def trial(self, name="trial.qx", protocol=PROTOCOL):
        self.write("protocol.yaml", protocol)
        self.run_it("layout", "protocol.yaml", "--seed", "7", "-o", name)


def main(*cases):
    suite = unittest.TestSuite()
    for case in cases:
        suite.addTests(unittest.defaultTestLoader.loadTestsFromTestCase(case))
    result = unittest.TextTestRunner(stream=sys.stdout, verbosity=2).run(suite)
    sys.exit(0 if result.wasSuccessful() and result.testsRun > 0 else 1)
