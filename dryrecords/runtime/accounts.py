"""Which account runs PostgreSQL. It refuses root, so root lends it an account that exists; none is ever made."""

from __future__ import annotations

import os
import pwd
import subprocess
from pathlib import Path
from typing import Any, NamedTuple

from dryrecords.runtime.problems import EngineFailed


class Account(NamedTuple):
    """An entry of the password file."""

    name: str
    uid: int
    gid: int


def server_account(clusters: list[Path]) -> Account | None:
    """None unless we are root; then the owner of an existing cluster, else `postgres`, else `nobody`."""
    if os.geteuid() != 0:
        return None
    owners = [_known(path.stat().st_uid) for path in clusters]
    for candidate in [*owners, _known("postgres"), _known("nobody")]:
        if candidate and candidate.uid != 0:
            return candidate
    raise EngineFailed(
        "PostgreSQL does not run as root, and there is neither an account postgres nor nobody to lend it."
    )


def popen_options(account: Account | None) -> dict[str, Any]:
    """What subprocess needs to run something under `account`."""
    return {"user": account.uid, "group": account.gid, "extra_groups": []} if account else {}


def can_enter(account: Account | None, directory: Path) -> bool:
    """Whether `account` may pass through `directory`, asked of the system itself: modes are not the whole story."""
    asked = subprocess.run(
        ["/bin/sh", "-c", 'cd "$1"', "sh", directory], capture_output=True, cwd="/", **popen_options(account)
    )
    return asked.returncode == 0


def _known(who: str | int) -> Account | None:
    try:
        entry = pwd.getpwnam(who) if isinstance(who, str) else pwd.getpwuid(who)
    except KeyError:
        return None
    return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)
