#!/usr/bin/env python3
"""The documents are true to the tree: every local link and every path they name exists.

    documents.py ROOT

Looked at: each .md file of the repository. A path is anything in backquotes that begins with a
folder of the repository and has no wildcard or blank to fill in. Test Anything Protocol; only
Python's own library.
"""
import os
import re
import sys

FOLDERS = ("src/", "tests/", "bench/", "docs/", "examples/", "tools/", "fuzz/", "include/",
           "base/", "numeric/", "layout/", "model/", "trial/", "store/", "findings/", "report/",
           "tasks/", "cli/")
UNDER_SRC = FOLDERS[8:]
SKIPPED = {".git", "node_modules"}
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
QUOTED = re.compile(r"`([^`\s]+)`")
PLACEHOLDER = re.compile(r"[<>*{}$…]|KEY|NAME")


def documents(root):
    for folder, names, files in os.walk(root):
        names[:] = sorted(n for n in names if n not in SKIPPED and not n.startswith("build"))
        for file in sorted(files):
            if file.endswith(".md"):
                yield os.path.join(folder, file)


def spellings(path):
    """`a/b.[ch]` names two files."""
    if path.endswith(".[ch]"):
        return [path[:-4] + "c", path[:-4] + "h"]
    return [path]


def links(text):
    for target in LINK.findall(text):
        if "://" not in target and not target.startswith(("#", "mailto:")):
            yield target.split("#")[0]


def paths(text):
    for word in QUOTED.findall(text):
        if word.startswith(FOLDERS) and not PLACEHOLDER.search(word):
            yield word


def exists(root, path):
    places = [path, os.path.join("src", path)] if path.startswith(UNDER_SRC) else [path]
    return any(os.path.exists(os.path.join(root, place)) for place in places)


def complaints(root, document):
    with open(document, encoding="utf-8") as file:
        text = file.read()
    for target in links(text):
        if not os.path.exists(os.path.join(os.path.dirname(document), target)):
            yield f"link to {target}: no such file"
    for path in paths(text):
        for spelling in spellings(path):
            if not exists(root, spelling):
                yield f"path {spelling}: no such file or folder"


def main():
    root = os.path.abspath(sys.argv[1])
    count = failed = 0
    print("TAP version 13")
    for document in documents(root):
        count += 1
        found = list(complaints(root, document))
        failed += bool(found)
        name = os.path.relpath(document, root)
        print(f"{'not ok' if found else 'ok'} {count} - {name}")
        for complaint in found:
            print(f"# {complaint}")
    print(f"1..{count}")
    return 1 if failed or count == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
