#!/usr/bin/env python3
"""Recording killed at random moments: no acknowledged observation is lost, the file opens, and
an import is there as a whole or not at all. killed.py PROGRAM [ROUNDS]

The moments are drawn from a fixed seed over the time that a whole recording takes.
"""
import json
import os
import random
import shutil
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

    def make_old(self):
        """old.qx: trial.qx as a program of schema 2 would have left it, all its rows."""
        store = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../src/store")
        old = sqlite3.connect(self.path("old.qx"), isolation_level=None)
        old.execute("PRAGMA journal_mode = WAL")
        for step in ("schema.sql", "schema_2.sql"):
            with open(os.path.join(store, step), encoding="utf-8") as file:
                old.executescript(file.read())
        old.execute("ATTACH ? AS made", (self.path("trial.qx"),))
        for (table,) in old.execute("SELECT name FROM main.sqlite_schema WHERE type = 'table'"
                                    " ORDER BY rowid").fetchall():
            columns = ", ".join(c[1] for c in old.execute(f"PRAGMA main.table_info({table})"))
            old.execute(f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM made.{table}")
        for pragma in ("application_id", "foreign_keys"):
            value = old.execute(f"PRAGMA made.{pragma}").fetchone()[0]
            old.execute(f"PRAGMA main.{pragma} = {value}")
        old.execute("PRAGMA main.user_version = 2")
        old.close()

    def rows_of(self, name):
        connection = sqlite3.connect(self.path(name))
        try:
            self.assertEqual(connection.execute("PRAGMA integrity_check").fetchone(), ("ok",))
            self.assertEqual(connection.execute("PRAGMA foreign_key_check").fetchall(), [])
            schema = connection.execute("PRAGMA user_version").fetchone()[0]
            rows = connection.execute("SELECT id, thing, season, quantity, revision, value, row,"
                                      " import FROM observation ORDER BY id").fetchall()
            return schema, rows
        finally:
            connection.close()

    def test_a_file_of_an_older_schema_loses_nothing(self):
        self.trial()
        for k in range(10):
            self.write(f"{k}.csv", self.one_file(k))
            self.run_it("record", "trial.qx", f"{k}.csv")
        self.make_old()
        self.write("more.csv", self.one_file("more"))
        schema, before = self.rows_of("old.qx")
        self.assertEqual((schema, len(before)), (2, 3612))
        chance = random.Random(3)
        shutil.copy(self.path("old.qx"), self.path("whole.qx"))
        began = time.monotonic()
        self.run_it("record", "whole.qx", "more.csv")
        whole = time.monotonic() - began
        seen = set()
        for k in range(ROUNDS):
            name = f"old{k}.qx"
            shutil.copy(self.path("old.qx"), self.path(name))
            run = subprocess.Popen([harness.PROGRAM, "record", name, "more.csv"], cwd=self.folder,
                                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            time.sleep(chance.uniform(0, 1.2 * whole))
            run.send_signal(signal.SIGKILL)
            run.wait()
            schema, after = self.rows_of(name)
            self.assertEqual(after[:len(before)], before, f"round {k}")
            self.assertIn(len(after) - len(before), (0, 360))
            self.assertTrue(schema == 3 or (schema == 2 and len(after) == len(before)), schema)
            seen.add((schema, len(after)))
            self.run_it("record", name, "more.csv")
            self.assertEqual(self.rows_of(name)[0], 3)
            for ending in ("", "-wal", "-shm"):
                if os.path.exists(self.path(name + ending)):
                    os.remove(self.path(name + ending))
        self.assertGreater(len(seen), 1, "all rounds were killed at the same point")

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
