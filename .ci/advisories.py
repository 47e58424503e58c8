"""Known weaknesses of what the image installs: one that has a fix ends the run; where none can be had, that is said."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

LOCK = Path(__file__).parents[1] / "docker" / "requirements.lock"
AUDIT = ("pip_audit", "--strict", "--disable-pip", "--require-hashes", "--progress-spinner", "off", "--format", "json")


def main(report: str) -> int:
    """Tell what pip-audit reports; 1 where a newer version is the remedy."""
    try:
        dependencies = json.loads(report)["dependencies"]
    except (ValueError, KeyError):
        print("advisories: none could be had; nothing is known of the packages", file=sys.stderr)
        return 0
    fixable = 0
    for one in dependencies:
        for weakness in one.get("vulns", ()):
            fixed = ", ".join(weakness["fix_versions"])
            fixable += bool(fixed)
            remedy = f"fixed in {fixed}" if fixed else "no fix"
            print(f"advisories: {one['name']} {one['version']}: {weakness['id']}, {remedy}")
    print(f"advisories: {len(dependencies)} packages, {fixable} weaknesses with a fix")
    return int(fixable > 0)


if __name__ == "__main__":
    command = [sys.executable, "-m", *AUDIT, "-r", str(LOCK)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    except subprocess.TimeoutExpired:
        sys.exit(main(""))
    sys.stderr.write(done.stderr)
    sys.exit(main(done.stdout))
