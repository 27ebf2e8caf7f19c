"""Runs every script beside this one and looks for each line that it prints in the test of the same name.

A script NAME.py prints reference values with an independent program; checks/tests/NAME.rs holds them. The script for
student_t_mpmath.py belongs to student_t_table.rs. Lines are compared by their strings and numbers, so that formatting
does not matter: `(1, [2.50])` is found in `(1.0, [2.5])`.
"""

import pathlib
import re
import subprocess
import sys

SCRIPTS = pathlib.Path(__file__).parent
TESTS = SCRIPTS.parent / "tests"
OTHER_NAME = {"student_t_mpmath": "student_t_table"}
TOKEN = re.compile(r'"([^"]*)"|(?<![\w.])(-?\d[\d_]*(?:\.\d[\d_]*)?(?:[eE][-+]?\d+)?)')


def tokens(text):
    for string, number in TOKEN.findall(text):
        yield float(number.replace("_", "")) if number else string


def held(line, test):
    wanted = list(tokens(line))
    starts = (i for i, token in enumerate(test) if token == wanted[0])
    return any(test[i : i + len(wanted)] == wanted for i in starts)


def main():
    missing = 0
    for script in sorted(SCRIPTS.glob("*.py")):
        if script.name == pathlib.Path(__file__).name:
            continue
        printed = subprocess.run([sys.executable, script], check=True, capture_output=True, text=True).stdout
        lines = [line for line in printed.splitlines() if any(tokens(line))]
        test = TESTS / f"{OTHER_NAME.get(script.stem, script.stem)}.rs"
        known = list(tokens(test.read_text(encoding="utf-8")))
        lost = [line for line in lines if not held(line, known)]
        missing += len(lost) + (not lines)
        print(f"{script.name}: {len(lines) - len(lost)} of {len(lines)} lines stand in {test.name}")
        for line in lost:
            print(f"    not there: {line.strip()}")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
