#!/usr/bin/env python3
"""Every folder of examples/ that has a protocol, data and expected.json, analysed and compared.

    examples.py PROGRAM EXAMPLES_FOLDER

One line for each expected number or verdict, in the Test Anything Protocol. expected.json:

    {"source": text, "results": [{"variate": name,
        "numbers":  [{"in": section, "where": {...}, "key": name, "value": x, "digits": d}],
        "verdicts": [{"first": {...}, "second": {...}, "verdict": word, "beyond_margin": bool}]}]}

`where` names the one entry of the section that holds all of its values. A difference may stand
in the answer in the other direction: then its sign, its limits and its verdict are turned round.
Only Python's own library is used.
"""
import json
import math
import os
import subprocess
import sys

TURNED_WORD = {"higher": "lower", "lower": "higher"}
TURNED_SIGN = {"estimate", "value"}
TURNED_LIMIT = {"lower": "upper", "upper": "lower",
                "lower_equivalence": "upper_equivalence", "upper_equivalence": "lower_equivalence"}
TURNED_P = {"p_lower": "p_upper", "p_upper": "p_lower"}


def agrees(got, want, digits):
    """Do they agree to so many significant digits?"""
    if not isinstance(got, (int, float)) or isinstance(got, bool) or not math.isfinite(got):
        return False
    return abs(got - want) <= 0.5 * 10.0 ** (1 - digits) * abs(want)


def holds(entry, where):
    return all(entry.get(key) == value for key, value in where.items())


def find(result, section, where):
    """The one entry, or a sentence that says why there is none."""
    entries = result.get(section)
    if not isinstance(entries, list):
        return None, f"the answer has no list \"{section}\""
    found = [e for e in entries if holds(e, where)]
    if len(found) != 1:
        return None, f"{len(found)} entries of {section} hold {where}; expected one"
    return found[0], None


def find_difference(result, where):
    """(entry, turned, complaint)."""
    entry, complaint = find(result, "differences", where)
    if entry is not None:
        return entry, False, None
    other = dict(where, first=where["second"], second=where["first"])
    entry, _ = find(result, "differences", other)
    return entry, entry is not None, None if entry is not None else complaint


def turned_number(entry, key):
    if key in TURNED_SIGN:
        return -entry[key]
    if key in TURNED_LIMIT:
        return -entry[TURNED_LIMIT[key]]
    return entry.get(TURNED_P.get(key, key))


def number_of(result, want):
    """(value, complaint)."""
    section, key = want["in"], want["key"]
    if section == "fit":
        return result.get("fit", {}).get(key), None
    if section == "differences":
        entry, turned, complaint = find_difference(result, want["where"])
        if entry is None:
            return None, complaint
        return turned_number(entry, key) if turned else entry.get(key), None
    entry, complaint = find(result, section, want["where"])
    return (None, complaint) if entry is None else (entry.get(key), None)


def check_number(result, want):
    got, complaint = number_of(result, want)
    if complaint is None and not agrees(got, want["value"], want["digits"]):
        complaint = f"got {got}, expected {want['value']} to {want['digits']} digits"
    name = f"{want['in']} {json.dumps(want.get('where', {}))} {want['key']}"
    return name, complaint


def check_verdict(result, want):
    where = {"first": want["first"], "second": want["second"]}
    entry, turned, complaint = find_difference(result, where)
    if entry is not None:
        word = entry.get("verdict")
        word = TURNED_WORD.get(word, word) if turned else word
        if word != want["verdict"]:
            complaint = f"verdict {word}, expected {want['verdict']}"
        elif "beyond_margin" in want and entry.get("beyond_margin") is not want["beyond_margin"]:
            complaint = f"beyond_margin {entry.get('beyond_margin')}, expected {want['beyond_margin']}"
    return f"verdict {json.dumps(where)}", complaint


def analyse(program, folder):
    """(document, complaint)."""
    command = [program, "analyse", "--json", "protocol.yaml", "data.csv"]
    run = subprocess.run(command, cwd=folder, capture_output=True, timeout=60, check=False)
    if run.returncode != 0:
        return None, f"exit status {run.returncode}: {run.stderr.decode('utf-8', 'replace')[:300]}"
    try:
        return json.loads(run.stdout), None
    except ValueError as error:
        return None, f"the answer is not JSON: {error}"


def examine(program, folder):
    """(name, complaint or None) for everything that the example expects."""
    with open(os.path.join(folder, "expected.json"), encoding="utf-8") as file:
        expected = json.load(file)
    document, complaint = analyse(program, folder)
    yield "analyse", complaint
    if document is None:
        return
    for want in expected["results"]:
        result = next((r for r in document["results"] if r["variate"] == want["variate"]), None)
        yield f"variate {want['variate']}", None if result else "not in the answer"
        if result:
            for number in want["numbers"]:
                yield check_number(result, number)
            for verdict in want["verdicts"]:
                yield check_verdict(result, verdict)


def main():
    program, examples = os.path.abspath(sys.argv[1]), sys.argv[2]
    print("TAP version 13")
    count = failed = folders = 0
    for name in sorted(os.listdir(examples)):
        folder = os.path.join(examples, name)
        if not os.path.exists(os.path.join(folder, "expected.json")):
            continue
        folders += 1
        for what, complaint in examine(program, folder):
            count += 1
            failed += complaint is not None
            print(f"{'not ok' if complaint else 'ok'} {count} - {name}: {what}")
            if complaint:
                print(f"# {complaint}")
    count += 1
    failed += folders == 0
    print(f"{'ok' if folders else 'not ok'} {count} - {folders} examples found")
    print(f"1..{count}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
