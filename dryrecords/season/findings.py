"""What a finding in an account says in plain words, and what it is likely to come from."""

from __future__ import annotations

from typing import NamedTuple


class Words(NamedTuple):
    what: str
    causes: tuple[str, ...]


MISTYPED = "a reading before or after that was mistyped or misread"
WRONG_GRAIN = "moistures or masses of its batches that are wrong"

TANK_WORDS = {
    "reading_doubtful": Words(
        "One reading does not fit what was burnt before and after it: the account leaves it out.",
        ("digits turned round or a slipped comma", "the gauge of another tank", "a float that sticks"),
    ),
    "more_left_than_explained": Words(
        "More is in the tank than what was burnt can have left.",
        ("a delivery that nobody wrote down", MISTYPED, WRONG_GRAIN),
    ),
    "more_used_than_explained": Words(
        "More went out of the tank than its batches explain.",
        (
            "a batch that nobody wrote down",
            "something else that burns from this tank",
            MISTYPED,
            "a delivery recorded that did not come, or twice",
            "a leak: if you smell gas or are not sure, shut it off, leave, and call your supplier",
        ),
    ),
    "delivery_doubtful": Words(
        "The tank does not show a delivery that is recorded.",
        ("a delivery written down twice", "a delivery into another tank", "a day or a time that is wrong", MISTYPED),
    ),
    "use_while_idle": Words(
        "Fuel went out of the tank while no recorded batch was drying.",
        (
            "a batch that nobody wrote down, or its times",
            "something else that burns from this tank",
            MISTYPED,
            "a leak: if you smell gas or are not sure, shut it off, leave, and call your supplier",
        ),
    ),
}
METER_WORDS = {
    "reading_doubtful": Words(
        "One count does not fit what was used before and after it: the account leaves it out.",
        ("digits turned round or a slipped comma", "another meter"),
    ),
    "more_left_than_explained": Words(
        "The meter counted less than what ran can have used.",
        (MISTYPED, "a meter that was changed or reset", "a batch recorded here that dried elsewhere"),
    ),
    "more_used_than_explained": Words(
        "The meter counted more than its batches explain.",
        ("a batch that nobody wrote down", "something else that runs on this meter", MISTYPED),
    ),
    "use_while_idle": Words(
        "The meter counted while no recorded batch was drying.",
        ("a batch that nobody wrote down, or its times", "something else that runs on this meter", MISTYPED),
    ),
}


def words_of(kind: str, is_tank: bool) -> Words:
    return (TANK_WORDS if is_tank else METER_WORDS)[kind]
