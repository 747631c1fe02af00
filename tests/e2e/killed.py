#!/usr/bin/env python3
"""Recording killed at random moments: no acknowledged observation is lost, the file opens, and
an import is there as a whole or not at all. killed.py PROGRAM [ROUNDS]

The moments are drawn from a fixed seed over the time that a whole recording takes.
"""
import json
import random
import signal
import sqlite3
import subprocess
import sys
import time

import harness
from harness import data

ROUNDS = int(sys.argv[2]) if len(sys.argv) > 2 else 50


class Killed(harness.Case):
    def one_file(self, k):
        """A file of its own: shoots labelled by the round, so that every value is new."""
        return data(["2024"], shoots=30).replace("2024-", f"r{k}-")

    def stored_by_file(self):
        connection = sqlite3.connect(self.path("trial.qx"))
        try:
            self.assertEqual(connection.execute("PRAGMA integrity_check").fetchone(), ("ok",))
            self.assertEqual(connection.execute("PRAGMA foreign_key_check").fetchall(), [])
            return dict(connection.execute(
                "SELECT file, count(*) FROM import JOIN observation ON import.id = import"
                " WHERE quantity = 'length' AND value IS NOT NULL GROUP BY file"))
        finally:
            connection.close()

    def start(self, k):
        return subprocess.Popen([harness.PROGRAM, "record", "trial.qx", f"{k}.csv", "--json"],
                                cwd=self.folder, stdout=subprocess.PIPE,
                                stderr=subprocess.DEVNULL)

    def test_no_acknowledged_observation_is_lost(self):
        self.trial()
        chance = random.Random(20240301)
        self.write("first.csv", self.one_file("first"))
        began = time.monotonic()
        self.run_it("record", "trial.qx", "first.csv")
        whole = time.monotonic() - began
        acknowledged = {"first.csv": 360}
        killed = 0
        for k in range(ROUNDS):
            self.write(f"{k}.csv", self.one_file(k))
            run = self.start(k)
            time.sleep(chance.uniform(0, 1.2 * whole))
            run.send_signal(signal.SIGKILL)
            answer = run.stdout.read()
            run.stdout.close()
            run.wait()
            killed += run.returncode == -signal.SIGKILL
            if run.returncode == 0:
                # 360 lengths and, in the first round that stored them, 12 girths
                self.assertGreaterEqual(json.loads(answer)["stored"], 360)
                acknowledged[f"{k}.csv"] = 360
            stored = self.stored_by_file()
            for file, count in acknowledged.items():
                self.assertEqual(stored.get(file), count, f"{file} after round {k}")
            self.assertEqual(set(stored.values()), {360}, "an import was stored in part")
        self.assertGreater(killed, ROUNDS // 4, "too few runs were killed for the test to say much")
        self.run_it("check", "trial.qx")
        for k in range(ROUNDS):  # what was not stored can be recorded now
            if f"{k}.csv" not in stored:
                self.run_it("record", "trial.qx", f"{k}.csv")
                break

    def test_a_layout_is_there_or_not(self):
        self.write("p.yaml", harness.PROTOCOL)
        chance = random.Random(7)
        whole = 0
        for k in range(ROUNDS):
            began = time.monotonic()
            run = subprocess.Popen([harness.PROGRAM, "layout", "p.yaml", "-o", f"{k}.qx"],
                                   cwd=self.folder, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.DEVNULL)
            if k > 0:
                time.sleep(chance.uniform(0, 1.2 * whole))
                run.send_signal(signal.SIGKILL)
            run.wait()
            whole = whole if k > 0 else time.monotonic() - began
            if f"{k}.qx" in self.files():
                self.run_it("check", f"{k}.qx")
            elif run.returncode == 0:
                self.fail("a layout that was told is not there")


harness.main(Killed)
