"""What the pages want of the API's edge. Config passes it in, since neither of the two may know the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from dryrecords.harvest.models import Import
from dryrecords.journal.models import Mutation
from dryrecords.tenancy.access import Access


@dataclass(frozen=True)
class Answer:
    """What came of a mutation: its status, and what was against it, with names as on the wire."""

    status: str
    detail: str = ""
    # Names of fields and what is wrong with each; a blank name for the whole.
    errors: Sequence[tuple[str, str]] = ()


@dataclass(frozen=True)
class SheetOptions:
    """What whoever brings a sheet says about it; blank: nothing."""

    dates: str = ""
    decimal: str = ""
    timezone: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)
    dry_run: bool = False


class HeldEdge(Protocol):
    def resubmit(
        self, access: Access, entry: Mutation, record: Mapping[str, Any] | None, base_version: int | None
    ) -> Answer: ...

    def recorded(self, access: Access, entry: Mutation) -> tuple[int, Mapping[str, Any]] | None:
        """Version and fields of the record as it is now, names and units of the wire; None if it is not there."""


class SheetsEdge(Protocol):
    kinds: Sequence[str]

    def fields(self, kind: str) -> Sequence[str]: ...

    def decoded(self, raw: bytes) -> str: ...

    def bring(self, access: Access, kind: str, content: str, file_name: str, options: SheetOptions) -> Import:
        """Raises Invalid with a question for everything about the sheet that is not clear."""

    def errors_csv(self, job: Import) -> str: ...

    def reason(self, refused: Mapping[str, Any]) -> str: ...
