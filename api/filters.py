"""Query parameters: each list declares what it can be narrowed by; anything else is refused, never ignored."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request

from api.fields import ChoiceField, MomentOrDayField, ReferenceField, YearField
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.tenancy.records import Record


@dataclass(frozen=True)
class Parameter:
    """One query parameter: how it is read, what it means."""

    field: serializers.Field
    description: str
    condition: Callable[[Any], Q] = lambda value: Q()


Parameters = Mapping[str, Parameter]

PAGE: Parameters = {
    "limit": Parameter(
        serializers.IntegerField(min_value=1, max_value=1000, default=100),
        "How many at most, 1 to 1000; 100 if left out.",
    ),
    "cursor": Parameter(
        serializers.CharField(max_length=400), "Where to go on: `next_cursor` of the page before, kept as it is."
    ),
}

FORMAT: Parameters = {
    "format": Parameter(
        ChoiceField(["json", "csv"]),
        "`csv`, like the header `Accept: text/csv`: every row at once as a CSV file, without `limit` and `cursor`.",
    )
}


def reference(what: str, *paths: str) -> Parameter:
    """Records that refer to the given one, along any of the paths."""
    return Parameter(ReferenceField(), f"Only of this {what} (its id).", _along(paths))


def choice(choices: Any, path: str) -> Parameter:
    return Parameter(ChoiceField(choices.choices), f"Only of this {path.rpartition('__')[2]}.", _along([path]))


def season(path: str = "season") -> Parameter:
    return Parameter(YearField(), "Only of this harvest year.", _along([path]))


def of_customer(model: type[Record]) -> Parameter:
    return Parameter(ReferenceField(), "Only what belongs to this customer (its id).", model.of_customer)


def time_range(column: str) -> dict[str, Parameter]:
    return {
        "from": _time(f"Only with `{column}` at this moment or later.", f"{column}__gte"),
        "to": _time(f"Only with `{column}` before this moment.", f"{column}__lt"),
    }


def changed_since() -> dict[str, Parameter]:
    return {"updated_since": _time("Only what was created or changed at this moment or later.", "updated_at__gte")}


def _time(description: str, lookup: str) -> Parameter:
    text = f"{description} RFC 3339 with offset, or a date, which is its midnight UTC."
    return Parameter(MomentOrDayField(), text, lambda value: Q(**{lookup: value}))


def _along(paths: Any) -> Callable[[Any], Q]:
    def condition(value: Any) -> Q:
        met = Q()
        for path in paths:
            met |= Q(**{path: value})
        return met

    return condition


def read_parameters(request: Request, known: Parameters) -> dict[str, Any]:
    """The values of a query, or a refusal that names every parameter that is wrong."""
    values, errors = {}, []
    for name, given in request.query_params.lists():
        try:
            values[name] = _read(known, name, given)
        except ValidationError as error:
            errors += [FieldError(f"/{name}", detail.code, str(detail)) for detail in error.detail]
    if errors:
        raise Invalid(f"The query parameter {errors[0].pointer[1:]} cannot be used.", errors=errors)
    return values


def _read(known: Parameters, name: str, given: list[str]) -> Any:
    if name not in known:
        text = f"There is no such query parameter. Known are: {', '.join(known) or 'none'}."
        raise ValidationError([text], code="unknown_parameter")
    if len(given) > 1:
        raise ValidationError(["Give it once."], code="repeated_parameter")
    # An offset's plus sign that was not escaped arrives as a space.
    text = given[0].replace(" ", "+") if isinstance(known[name].field, MomentOrDayField) else given[0]
    return known[name].field.run_validation(text)


def conditions(values: Mapping[str, Any], known: Parameters) -> list[Q]:
    return [known[name].condition(value) for name, value in values.items()]
