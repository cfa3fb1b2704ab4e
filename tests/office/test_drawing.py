"""Drawings: round ticks around every value, bars from zero, sound SVG whatever stands in it."""

from __future__ import annotations

from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as some

from dryrecords.office.drawing import MARKS, Drawing, Look, Series, key, scale_of

VALUES = some.lists(some.floats(-1e6, 1e6).map(lambda x: round(x, 3)), max_size=20)


@given(VALUES, some.booleans())
def test_ticks_enclose_every_value_evenly(values: list[float], zero: bool) -> None:
    scale = scale_of(values, zero=zero)
    ticks = [tick for tick, _ in scale.ticks]
    assert 2 <= len(ticks) <= 14
    assert ticks[0] == pytest.approx(scale.low)
    assert ticks[-1] == pytest.approx(scale.high)
    slack = 1e-6 * (scale.high - scale.low)
    assert all(scale.low - slack <= value <= scale.high + slack for value in values)
    assert not zero or scale.low <= 0 <= scale.high
    steps = [after - before for before, after in pairwise(ticks)]
    assert steps == pytest.approx([steps[0]] * len(steps))
    assert len({label for _, label in scale.ticks}) == len(ticks)


def test_ticks_are_what_people_count_by() -> None:
    assert [label for _, label in scale_of([0.0, 103.0], zero=True).ticks] == ["0", "25", "50", "75", "100", "125"]
    assert [label for _, label in scale_of([-2.3, 0.4]).ticks] == ["−3", "−2", "−1", "0", "1"]
    assert [label for _, label in scale_of([14.1, 14.2]).ticks] == [
        "13.6",
        "13.8",
        "14.0",
        "14.2",
        "14.4",
        "14.6",
        "14.8",
    ]


@given(some.text(max_size=30), some.sampled_from(sorted(MARKS)))
def test_a_drawing_is_sound_whatever_it_is_told(text: str, mark: str) -> None:
    text = "".join(letter for letter in text if letter.isprintable())
    drawing = Drawing(scale_of([0.0, 2.0], text), scale_of([0.0, 3.0], text), text)
    drawing.add(
        Series(text, Look("blue", mark, "long"), [0.0, 1.0, 2.0], [1.0, None, 3.0], [text] * 3, [0.5, None, None])
    )
    drawing.bar(0.0, 1.0, 2.0, text, hatched=True)
    drawing.upright(1.0, text)
    drawing.level(1.0, text)
    root = ElementTree.fromstring(drawing.svg())
    assert root.attrib["aria-label"] == text
    marks = [each for each in root.iter("g") if each.attrib["class"].startswith("mark")]
    assert [each.findtext("title") or "" for each in marks] == [text, text]
    ElementTree.fromstring(key(Look("blue", mark, "long")))


def test_a_line_is_broken_where_a_value_is_not_known() -> None:
    drawing = Drawing(scale_of([0.0, 3.0]), scale_of([0.0, 1.0]), "line")
    drawing.add(Series("line", Look(dash=""), [0.0, 1.0, 2.0, 3.0], [0.0, None, 1.0, 0.0]))
    path = next(
        each.attrib["d"] for each in ElementTree.fromstring(drawing.svg()).iter("path") if "L" in each.attrib["d"]
    )
    assert path.count("M") == 2
