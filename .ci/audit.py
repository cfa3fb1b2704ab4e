"""Asks pip-audit for known holes in what is installed, and says of how many packages it was really told.

pip-audit ends well when the index knows none of the packages, as a mirror without advisories does: that is no audit.
Ends with 0 if every package was looked up and none has a hole, 1 if one has, 2 if some or all could not be looked up.
"""

from __future__ import annotations

import json
import subprocess
import sys

SHOWN = 10


def main(pip_audit: str, site_packages: str) -> int:
    command = [pip_audit, "--format", "json", "--progress-spinner", "off", "--skip-editable", "--path", site_packages]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=120)
        packages = json.loads(done.stdout)["dependencies"]
    except (subprocess.TimeoutExpired, json.JSONDecodeError):
        print("No advisories can be asked for here.")
        return 2
    if all("skip_reason" in each for each in packages):
        print(f"Advisories were found for none of the {len(packages)} packages: there are none where pip looks.")
        return 2
    unknown = [each["name"] for each in packages if "skip_reason" in each]
    holes = [(each, hole) for each in packages for hole in each.get("vulns", ())]
    for package, hole in holes:
        fixed = ", ".join(hole["fix_versions"]) or "no version yet"
        print(f"{package['name']} {package['version']}: {hole['id']}, fixed in {fixed}")
    print(f"{len(packages) - len(unknown)} of {len(packages)} packages were looked up, {len(holes)} holes are known.")
    if unknown:
        more = f" and {len(unknown) - SHOWN} more" if len(unknown) > SHOWN else ""
        print(f"Nothing is known here of {', '.join(unknown[:SHOWN])}{more}.")
    return 1 if holes else 2 if unknown else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
