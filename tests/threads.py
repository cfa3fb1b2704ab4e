"""Threads with database connections of their own, closed when they are done; what fails in one fails the test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

from django.db import connection


@contextmanager
def in_threads(do: Callable[..., Any], *of: Any) -> Iterator[None]:
    """Runs `do` once for each of `of`, or once without, beside what happens within."""

    def closing(*args: Any) -> None:
        try:
            do(*args)
        finally:
            connection.close()

    with ThreadPoolExecutor(max(1, len(of))) as pool:
        running = [pool.submit(closing, each) for each in of] or [pool.submit(closing)]
        yield
        for each in running:
            each.result()
