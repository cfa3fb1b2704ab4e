"""Why something cannot start: each reason is one sentence for a person and one exit status for a script."""

from __future__ import annotations


class CannotStart(Exception):
    """Printed without a traceback; the process ends with `status`. 1 and 2 stay Python's and argparse's."""

    status = 3


class EngineMissing(CannotStart):
    """No usable database or broker program is installed."""

    status = 3


class EngineFailed(CannotStart):
    """The database or broker program is there but does not come up."""

    status = 4


class DataDirectoryUnusable(CannotStart):
    """The data directory cannot be made, written, or reached by the account that has to use it."""

    status = 5


class PortBusy(CannotStart):
    """Somebody else listens where the web server should."""

    status = 6


class AlreadyServing(CannotStart):
    """Another process tree works on the same data directory."""

    status = 7


class DatabaseNewer(CannotStart):
    """The database carries migrations that this code does not know."""

    status = 8


class DatabaseUnreachable(CannotStart):
    """The database named by the environment does not answer, or refuses to be migrated."""

    status = 9


class NeverReady(CannotStart):
    """The tree was started but the web server never answered."""

    status = 10
