"""Fields of the forms for records: values are those of columns, in SI, texts are those of people.

What counts as changed is the text: a figure shown with fewer digits than it has is not written back rounded.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError

from dryrecords.core.quantities import UNITS
from dryrecords.office import typed, written

LONGEST_NUMBER = 60
DIGITS = {"inputmode": "decimal", "autocomplete": "off"}


class Written(forms.Field):
    """Compares texts; what is not there at all, because a form did not have it, is no change."""

    # Without the unit, for sentences.
    @property
    def name_in_words(self) -> str:
        return str(self.label or "").split(",")[0]

    def has_changed(self, initial: Any, data: Any) -> bool:
        return data is not None and str(data).strip() != str(self.prepare_value(initial) or "").strip()


class Quantity(Written, forms.CharField):
    def __init__(
        self, label: str, unit: str = "", sign: str = "", *, required: bool = False, help_text: str = ""
    ) -> None:
        self.unit = UNITS[unit] if unit else None
        said = sign or (written.sign(unit) if unit else "")
        super().__init__(
            label=f"{label}, {said}" if said else label,
            required=required,
            help_text=help_text,
            max_length=LONGEST_NUMBER,
            widget=forms.TextInput(attrs=DIGITS),
        )

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return typed.quantity(text, self.unit)
        except typed.Unreadable as error:
            raise ValidationError(str(error), code="unreadable") from error

    def prepare_value(self, value: Any) -> Any:
        return value if isinstance(value, str) else typed.shown(value, self.unit)


class Count(Quantity):
    def clean(self, value: Any) -> Any:
        count = super().clean(value)
        if count is not None and (count != int(count) or abs(count) >= 2**31):
            raise ValidationError("Enter a whole number.", code="not_whole")
        return None if count is None else int(count)


class Price(Quantity):
    """A decimal from the text on; a double never stands between."""

    def clean(self, value: Any) -> Any:
        text = forms.CharField.clean(self, value)
        if not text:
            return None
        try:
            plain = typed.number(text)
            price = Decimal(repr(plain.value)).quantize(Decimal("0.000001"))
        except (typed.Unreadable, InvalidOperation) as error:
            raise ValidationError("Enter a price, like 4.25.", code="unreadable") from error
        if abs(price) >= 1_000_000:
            raise ValidationError("That is too large a price.", code="out_of_range")
        return price

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class MomentInput(forms.DateTimeInput):
    """The browser's own field for times, and, for the hour that the clock shows twice, which of the two."""

    template_name = "office/moment_input.html"
    input_type = "datetime-local"

    def __init__(self, zone: ZoneInfo) -> None:
        super().__init__()
        self.zone = zone
        self.asks_which = False

    def format_value(self, value: Any) -> str:
        text, _, _ = str(value or "").partition("~")
        return text

    def get_context(self, name: str, value: Any, attrs: Any) -> dict[str, Any]:
        context = super().get_context(name, value, attrs)
        _, _, which = str(value or "").partition("~")
        context["widget"] |= {"which": which, "asks_which": self.asks_which or bool(which)}
        return context

    def value_from_datadict(self, data: Mapping[str, Any], files: Any, name: str) -> Any:
        text, which = data.get(name), data.get(f"{name}-which")
        return f"{text}~{which}" if text and which in (typed.FIRST, typed.SECOND) else text


class Moment(Written):
    widget: MomentInput

    def __init__(self, label: str, zone: ZoneInfo, *, required: bool = False, help_text: str = "") -> None:
        self.zone = zone
        super().__init__(label=label, required=required, help_text=help_text, widget=MomentInput(zone))

    def clean(self, value: Any) -> Any:
        text, _, which = str(value or "").strip().partition("~")
        if not text:
            return super().clean(None)
        try:
            return typed.moment(text, self.zone, which)
        except typed.ShownTwice as error:
            self.widget.asks_which = True
            raise ValidationError(str(error), code="shown_twice") from error
        except typed.Unreadable as error:
            raise ValidationError(str(error), code="unreadable") from error

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, datetime):
            return value
        which = typed.which_of_two(value, self.zone)
        return typed.as_local(value, self.zone) + (f"~{which}" if which else "")


class Choice(Written, forms.ChoiceField):
    """One of a few; none of them is an empty text inside."""

    def __init__(self, label: str, choices: Iterable[Any], *, required: bool = False, help_text: str = "") -> None:
        listed = [(value, str(name).lower()) for value, name in choices]
        super().__init__(label=label, choices=[("", "—"), *listed], required=required, help_text=help_text)


class Reference(Written, forms.ChoiceField):
    """Another record, by its name; the choices are what the person may see."""

    def __init__(self, label: str, choices: Iterable[tuple[UUID, str]], *, required: bool = False) -> None:
        listed = [(str(value), name) for value, name in choices]
        super().__init__(label=label, choices=[("", "—"), *listed], required=required)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        return UUID(text) if text else None


class Tick(forms.BooleanField):
    def __init__(self, label: str) -> None:
        super().__init__(label=label, required=False)

    @property
    def name_in_words(self) -> str:
        return str(self.label)


class Text(Written, forms.CharField):
    def __init__(self, label: str, longest: int, *, required: bool = False, rows: int = 0) -> None:
        widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput(attrs={"autocomplete": "off"})
        super().__init__(label=label, max_length=longest, required=required, strip=not rows, widget=widget)

    def to_python(self, value: Any) -> Any:
        # A browser ends lines in its own way, whatever they ended in when it got them.
        return super().to_python(value.replace("\r\n", "\n") if isinstance(value, str) else value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        return data is not None and self.to_python(data) != (initial or "")
