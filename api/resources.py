"""What a resource is: a serializer, the writer behind it, and what its list can be narrowed by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.filters import FORMAT, PAGE, Parameters, changed_since, time_range
from api.record_serializer import RecordSerializer
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import Writer


@dataclass(frozen=True)
class Resource:
    description: str
    serializer: type[RecordSerializer]
    writer: Writer[Any]
    narrowed_by: Parameters

    @property
    def model(self) -> type[Record]:
        return self.writer.model

    @property
    def name(self) -> str:
        return self.model.resource

    @property
    def parameters(self) -> Parameters:
        by_time: Mapping[str, Any] = time_range(self.model.listed_by) if self.model.listed_by != "created_at" else {}
        return {**self.narrowed_by, **by_time, **changed_since(), **PAGE, **FORMAT}
