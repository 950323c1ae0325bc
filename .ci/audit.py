"""Known weaknesses of what the lock holds: `pip-audit`, with a plain line where it cannot ask.

    python .ci/audit.py .ci/locked.txt

Ends with 1 where a release that cures a weakness is there, so that the lock must be renewed.
"""

import json
import subprocess
import sys

COMMAND = [sys.executable, "-m", "pip_audit", "--require-hashes", "--disable-pip", "-f", "json"]


def main(locked: str) -> int:
    """Audit the locked packages; 1 where a weakness that has a cure is left."""
    done = subprocess.run(
        [*COMMAND, "--progress-spinner", "off", "--timeout", "20", "-r", locked],
        capture_output=True,
        text=True,
        check=False,
    )
    try:
        found = json.loads(done.stdout)["dependencies"]
    except (ValueError, KeyError):
        last = (done.stderr.strip().splitlines() or ["no answer"])[-1]
        print(f"not audited, the database of advisories cannot be reached: {last[:200]}")
        return 0
    asked = [package for package in found if "skip_reason" not in package]
    if not asked:
        print(f"not audited: of {len(found)} packages the database here knows none")
        return 0
    curable = 0
    for package in asked:
        for weakness in package["vulns"]:
            cures = ", ".join(weakness["fix_versions"])
            curable += bool(cures)
            print(
                f"{package['name']} {package['version']}: {weakness['id']}, "
                f"cured in {cures or 'none'}"
            )
    print(f"audited {len(asked)} of {len(found)} packages")
    return min(curable, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
