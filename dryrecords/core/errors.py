"""The errors a service may raise. They say what was wrong, where, and what to do; they know nothing of HTTP."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class FieldError:
    """One wrong value: a JSON pointer to it, a stable code for programs, a sentence for people."""

    pointer: str
    code: str
    detail: str


class DomainError(Exception):
    """Base of every refusal. `code` is stable and meant for programs, `detail` is meant for people."""

    code = "refused"
    title = "The request was refused."

    def __init__(self, detail: str = "", *, code: str = "", errors: Sequence[FieldError] = ()) -> None:
        super().__init__(detail or self.title)
        self.detail = detail or self.title
        self.code = code or self.code
        self.errors = list(errors)


class Invalid(DomainError):
    """Well-formed, but the values are impossible or refer to nothing."""

    code = "invalid"
    title = "Some values cannot be accepted."


class NotFound(DomainError):
    """Not there, or not visible to whoever asks: the two are never told apart."""

    code = "not_found"
    title = "There is no such record."


class Forbidden(DomainError):
    """Visible, but the role may not do this."""

    code = "role_not_allowed"
    title = "This role may not do that."


class Conflict(DomainError):
    """The request clashes with what is already recorded."""

    code = "conflict"
    title = "The request clashes with what is already recorded."


class VersionMismatch(DomainError):
    """The record has changed since the caller read it."""

    code = "version_mismatch"
    title = "The record has changed since you read it. Read it again and repeat the change."


class Gone(DomainError):
    """It was there once and will not come back."""

    code = "gone"
    title = "What is asked for is no longer there."


def invalid(pointer: str, code: str, detail: str) -> Invalid:
    """The common case: one wrong value."""
    return Invalid(detail, errors=[FieldError(pointer, code, detail)])
