#!/usr/bin/env python3
"""What goes wrong in real life: a clear message, the contract's exit status, and nothing
half-written. bad_input.py PROGRAM"""
import os
import resource
import unittest

import harness
from harness import PROTOCOL, data

MEBIBYTE = 1 << 20


class Files(harness.Case):
    """Protocols, data and trial files that are none."""

    def each_verb(self, name, also=()):
        """Every verb that reads a protocol, data or a trial file refuses this one."""
        self.write("p.yaml", PROTOCOL)
        if "trial.qx" not in self.files():
            self.trial()
        before = self.files()
        for words in [["check", name], ["layout", name, "-o", "new.qx"],
                      ["check", "p.yaml", name], ["record", "trial.qx", name],
                      ["analyse", "p.yaml", name, "--json"], *also]:
            run = self.run_it(*words, status=1)
            self.assertEqual(run.out, "", words)
            self.assertTrue(any(line.startswith(name + ":") for line in self.problems(run)),
                            f"{words} does not name {name}:\n{run.err[:500]}")
            self.assertLess(len(run.err), 200000)
        self.assertEqual(self.files(), before)

    def test_empty_file(self):
        self.write("bad", "")
        self.each_verb("bad")

    def test_only_blank_lines(self):
        self.write("bad", "\n\n\n")
        self.each_verb("bad")

    def test_binary_file(self):
        self.write("bad", bytes(range(256)) * 64)
        self.each_verb("bad")

    def test_program_itself(self):
        with open(harness.PROGRAM, "rb") as program:
            self.write("bad", program.read(200000))
        self.each_verb("bad")

    def test_unknown_encoding(self):
        self.write("bad", PROTOCOL.encode("utf-16"))
        self.each_verb("bad")
        self.write("bad", "season,block,tree,limb,girth\n2024,1,1,1,2\n".encode("utf-16-le"))
        self.each_verb("bad")

    def test_latin_1(self):
        self.write("bad", "quincunx: 1\ntitle: Größe\n".encode("latin-1"))
        self.each_verb("bad")

    def test_missing_file_and_folder(self):
        self.write("p.yaml", PROTOCOL)
        self.each_verb("none")
        os.mkdir(self.path("folder"))
        self.each_verb("folder")

    def test_yaml_bombs(self):
        self.write("p.yaml", PROTOCOL)
        laughs = "a: &a [x, x, x, x, x, x, x, x, x]\n"
        for name, above in zip("bcdefghij", "abcdefghi"):
            laughs += f"{name}: &{name} [" + ", ".join([f"*{above}"] * 9) + "]\n"
        for bomb in [laughs, "a: " + "[" * 100000, "a: " + "{a: " * 50000,
                     "- " * 100000, "x: *x\n", "a: &a\n  b: *a\n",
                     "".join(f"k{i}: 1\n" for i in range(200000))]:
            self.write("bad.yaml", bomb)
            run = self.run_it("check", "bad.yaml", status=1)
            self.assertLess(len(run.err), 200000)
            self.run_it("layout", "bad.yaml", "-o", "new.qx", status=1)
        self.assertEqual(self.files(), ["bad.yaml", "p.yaml"])

    def test_100_mb_of_one_line(self):
        self.write("p.yaml", PROTOCOL)
        with open(self.path("bad"), "wb") as file:
            for _ in range(100):
                file.write(b"x" * MEBIBYTE)
        self.each_verb("bad")
        with open(self.path("bad"), "wb") as file:  # the header is good, the row never ends
            file.write(b"season,block,tree,limb,girth\n")
            for _ in range(100):
                file.write(b"1," * (MEBIBYTE // 2))
        run = self.run_it("check", "p.yaml", "bad", status=1)
        self.assertLess(len(run.err), 200000)

    def test_wrong_trial_files(self):
        self.trial()
        good = open(self.path("trial.qx"), "rb").read()
        for content, part in [(b"", "is empty"), (b"SQLite format 3\0" + b"\xa5" * 5000, "damaged"),
                              (good[:20000], "damaged"), (b"quincunx: 1\n", "is not a trial file"),
                              (good[:68] + b"\0\0\0\1" + good[72:], "not a trial file"),
                              (good[:60] + b"\0\0\0\x63" + good[64:], "newer version")]:
            self.write("bad.qx", content)
            self.write("d.csv", data())
            for words in [["check", "bad.qx"], ["record", "bad.qx", "d.csv"],
                          ["analyse", "bad.qx", "--json"], ["report", "bad.qx", "-o", "out"]]:
                run = self.run_it(*words, status=1)
                self.assertRegex(run.err, r"(?m)^bad\.qx:1:1: ")
                self.assertIn(part, run.err)
            self.assertEqual(open(self.path("bad.qx"), "rb").read(), content)
        self.assertEqual(self.files(), ["bad.qx", "d.csv", "protocol.yaml", "trial.qx"])


class Machine(harness.Case):
    """Disks and folders that do not want."""

    def limited(self, size, *words, status):
        """Runs with files limited to `size` bytes: the machine's way to say a disk is full."""
        def limit():
            resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        return self.run_it(*words, status=status, preexec_fn=limit)

    def test_no_room_for_a_new_file(self):
        self.write("p.yaml", PROTOCOL)
        for words in [["new", "n.yaml"], ["layout", "p.yaml", "-o", "n.qx"]]:
            run = self.limited(512, *words, status=3)
            self.assertRegex(run.err, r"^quincunx: n\.\w+ could not be written: ")
            self.assertEqual(self.files(), ["p.yaml"])

    def test_no_room_while_recording(self):
        self.trial()
        self.write("d.csv", data(shoots=40))
        size = os.path.getsize(self.path("trial.qx"))
        for room in [100, 5000, size]:
            run = self.limited(room, "record", "trial.qx", "d.csv", status=3)
            self.assertRegex(run.err, r"(?m)^quincunx: trial\.qx: ")
            self.assertIn("0 values, 0 corrections", self.run_it("check", "trial.qx").out)
        self.run_it("record", "trial.qx", "d.csv")
        self.assertEqual(self.files(), ["d.csv", "protocol.yaml", "trial.qx"])

    def test_no_room_for_the_report(self):
        self.trial()
        self.write("d.csv", data())
        self.run_it("record", "trial.qx", "d.csv")
        self.limited(3000, "report", "trial.qx", "-o", "out", status=3)
        left = os.listdir(self.path("out")) if os.path.isdir(self.path("out")) else []
        self.assertEqual([name for name in left if name.endswith(".tmp")], [])
        for name in left:
            self.assertLess(os.path.getsize(self.path("out/" + name)), 3000)

    def test_no_room_on_standard_output(self):
        self.write("p.yaml", PROTOCOL)
        with open("/dev/full", "wb") as full:
            import subprocess
            run = subprocess.run([harness.PROGRAM, "check", "p.yaml"], cwd=self.folder, stdout=full,
                                 stderr=subprocess.PIPE, check=False)
        self.assertEqual(run.returncode, 3)
        self.assertIn(b"could not be written", run.stderr)

    @unittest.skipUnless(os.geteuid() == 0, "only root may mount a small disk")
    def test_full_disk(self):
        disk = self.path("disk")
        os.mkdir(disk)
        if os.system(f"mount -t tmpfs -o size=256k none {disk} 2>/dev/null") != 0:
            self.skipTest("this machine does not let root mount a tmpfs")
        self.addCleanup(os.system, f"umount {disk}")
        self.trial("disk/trial.qx")
        self.write("d.csv", data(shoots=200))
        run = self.run_it("record", "disk/trial.qx", "d.csv", status=3)
        self.assertIn("disk is full", run.err)
        self.assertIn("0 values, 0 corrections", self.run_it("check", "disk/trial.qx").out)
        self.write("small.csv", data(["2024"], shoots=1))
        self.run_it("record", "disk/trial.qx", "small.csv")
        with open(self.path("disk/filler"), "wb") as filler:
            try:
                filler.write(b"x" * MEBIBYTE)
            except OSError:
                pass
        self.run_it("layout", "protocol.yaml", "-o", "disk/new.qx", status=3)
        self.run_it("new", "disk/new.yaml", status=3)
        self.assertEqual(sorted(os.listdir(disk)), ["filler", "trial.qx"])

    def read_only(self):
        """Makes the folder read-only, also for root; gives False where that cannot be done."""
        if os.geteuid() != 0:
            os.chmod(self.folder, 0o555)
            self.addCleanup(os.chmod, self.folder, 0o755)
            return True
        bound = os.system(f"mount --bind {self.folder} {self.folder} 2>/dev/null") == 0
        if not bound:
            return False
        self.addCleanup(os.system, f"umount {self.folder}")
        return os.system(f"mount -o remount,ro,bind {self.folder} 2>/dev/null") == 0

    def test_read_only_folder(self):
        self.trial()
        self.write("d.csv", data())
        self.run_it("record", "trial.qx", "d.csv")
        before = self.files()
        if not self.read_only():
            self.skipTest("root may write everywhere, and this machine does not let it bind a "
                          "folder read-only")
        for words in [["new", "n.yaml"], ["layout", "protocol.yaml", "-o", "n.qx"],
                      ["record", "trial.qx", "d.csv"], ["report", "trial.qx", "-o", "out"],
                      ["demo", "demo"]]:
            run = self.run_it(*words, status=3)
            self.assertRegex(run.err, "(?i)read-only|permission|may not be written|not be made")
        # reading is possible
        self.assertIn("no problems", self.run_it("check", "trial.qx").out)
        self.run_it("analyse", "trial.qx", "--json")
        self.assertEqual(self.files(), before)

    def test_no_memory(self):
        self.trial()
        self.write("d.csv", data(shoots=3000))

        def limit():
            resource.setrlimit(resource.RLIMIT_AS, (400 * MEBIBYTE, 400 * MEBIBYTE))
        import subprocess
        if subprocess.run([harness.PROGRAM, "--version"], capture_output=True, check=False,
                          preexec_fn=limit).returncode != 0:
            self.skipTest("a sanitized build needs more addresses than the limit leaves")
        big = "season,block,tree,limb,shoot,length\n" + "".join(
            f"2024,1,1,1,shoot-{i},50\n" for i in range(2000000))
        self.write("big.csv", big)
        run = subprocess.run([harness.PROGRAM, "record", "trial.qx", "big.csv"], cwd=self.folder,
                             capture_output=True, check=False, preexec_fn=limit, timeout=120)
        self.assertEqual(run.returncode, 3, run.stderr[:500])
        self.assertRegex(run.stderr.decode(), r"(?m)^quincunx: .*memory")
        self.assertIn("0 values,", self.run_it("check", "trial.qx").out)


harness.main(Files, Machine)
