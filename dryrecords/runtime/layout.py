"""Where everything embedded lives: one data directory, its few files, and directories short enough for sockets."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import stat
import sys
from pathlib import Path

from dryrecords.runtime.problems import DataDirectoryUnusable

CHECKOUT = Path(__file__).resolve().parents[2]

# What a root user keeps for the server's account when its own directories are closed to that account.
STATE = Path("/var/lib/dryrecords")

# sun_path holds 104 bytes on macOS and 108 on Linux, the closing zero included (unix(4), unix(7)).
SOCKET_PATH_BYTES = 103


def data_directory(argument: str | None = None) -> Path:
    """The directory asked for: the argument, else DRYRECORDS_DATA_DIR, else `.dryrecords` in the checkout."""
    chosen = argument or os.environ.get("DRYRECORDS_DATA_DIR") or CHECKOUT / ".dryrecords"
    return Path(chosen).expanduser().absolute()


def prepare(data_dir: Path) -> Path:
    """Make the data directory and see that it can be written. What exists keeps its permissions."""
    try:
        with contextlib.suppress(FileExistsError):
            data_dir.mkdir(parents=True)
            # Root's server runs under another account, which has to pass through; secrets have modes of their own.
            data_dir.chmod(0o755 if os.geteuid() == 0 else 0o700)
        probe = data_dir / f".probe-{os.getpid()}"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise DataDirectoryUnusable(
            f"The data directory {data_dir} cannot be written ({error.strerror}): "
            "name another with --data-dir or DRYRECORDS_DATA_DIR."
        ) from None
    return data_dir


def secret_key(data_dir: Path) -> str:
    """The signing key of this data directory, made at its first use."""
    path = data_dir / "secret_key"
    if not path.exists():
        # Of several first commands one wins, and none ever sees a half-written key.
        candidate = data_dir / f".secret_key-{os.getpid()}"
        candidate.touch(mode=0o600)
        candidate.write_text(secrets.token_urlsafe(50))
        with contextlib.suppress(FileExistsError):
            path.hardlink_to(candidate)
        candidate.unlink()
    return path.read_text()


def run_directory(data_dir: Path) -> Path:
    """Our own sockets and locks, closed to everybody else."""
    preferred = data_dir / "run"
    if _fits(preferred):
        preferred.mkdir(mode=0o700, exist_ok=True)
        return preferred
    return _private(_short(preferred), os.geteuid(), os.getegid())


def socket_directory(preferred: Path, uid: int, gid: int) -> Path:
    """`preferred`, private to account `uid`, or a stand-in for it where a socket's path would be too long."""
    return preferred if _fits(preferred) else _private(_short(preferred), uid, gid)


def digest(path: Path) -> str:
    """A short name for a path, the same in every process."""
    return hashlib.sha256(os.fsencode(path)).hexdigest()[:16]


def _fits(directory: Path) -> bool:
    longest = "/.s.PGSQL.5432"
    return len(os.fsencode(directory)) + len(longest) < SOCKET_PATH_BYTES


def _short(preferred: Path) -> Path:
    return Path("/tmp") / f"dryrecords-{digest(preferred)}"


def _private(path: Path, uid: int, gid: int) -> Path:
    """Make `path` for one account. The name can be guessed, so what is there already must be that account's alone."""
    try:
        path.mkdir(mode=0o700)
        os.chown(path, uid, gid)
    except FileExistsError:
        found = path.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid != uid or found.st_mode & 0o077:
            raise DataDirectoryUnusable(
                f"{path} is needed for sockets but belongs to somebody else: remove it, "
                "or name a data directory with a shorter path."
            ) from None
    return path


def say(sentence: str) -> None:
    """One line for whoever started the command, kept out of the command's own output."""
    print(f"dryrecords: {sentence}", file=sys.stderr, flush=True)
