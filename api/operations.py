"""What a route tells the OpenAPI document about one method. In a schema a serializer class stands for its component."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from api.filters import Parameters

READ_PROBLEMS = (401, 404, 422)
WRITE_PROBLEMS = (400, 401, 403, 404, 409, 412, 413, 415, 422)


@dataclass(frozen=True)
class Answer:
    description: str
    schema: Any = None
    headers: tuple[str, ...] = ()
    # The same as CSV, if that is asked for.
    csv: bool = False
    # Documents for people that it may come as: their media types.
    documents: tuple[str, ...] = ()


@dataclass(frozen=True)
class Operation:
    id: str
    summary: str
    tag: str
    answers: Mapping[int, Answer]
    problems: tuple[int, ...] = READ_PROBLEMS
    # Name and schema of the parts of the path.
    path: Mapping[str, Any] = field(default_factory=dict)
    query: Parameters = field(default_factory=dict)
    headers: tuple[str, ...] = ()
    body: Any = None
    # A body to begin with.
    example: Any = None
    # The body may come as CSV too.
    csv_body: bool = False
    public: bool = False
