"""The JSON interface, asked at random by its own description: no fault of the server, no answer that the description does not
know or does not fit.

    python checks/interface/fuzz.py PROGRAM

PROGRAM is a built halfdrop; it serves the demo record on this machine alone. The seed is fixed, so a failure comes back. Exit
status 1 if anything differs.
"""

import pathlib
import re
import subprocess
import sys
import tempfile

EXAMPLES = 60
SEED = 20260312
# A command that fits its form may still be refused for what it says (422): that is no fault of the description.
NOT_CHECKED = "positive_data_acceptance"


def main():
    program = str(pathlib.Path(sys.argv[1]).resolve())
    tool = pathlib.Path(sys.executable).with_name("schemathesis")
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen([program, "serve", "--no-browser", "--who", "sorrel", "--demo", "--port", "0"],
                                  stdout=subprocess.PIPE, text=True, cwd=folder)
        try:
            url = re.search(r"http://[^/ ]+", server.stdout.readline()).group(0)
            done = subprocess.run([tool, "run", f"{url}/api/v1/openapi.json", "--checks", "all",
                                   "--exclude-checks", NOT_CHECKED, "--max-examples", str(EXAMPLES), "--seed", str(SEED),
                                   "--generation-database", "none", "--request-timeout", "10", "--continue-on-failure"],
                                  cwd=folder, timeout=900)
        finally:
            server.terminate()
            server.wait(10)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
