"""What an audit comes to, for somebody who reads one page of it."""

from __future__ import annotations

from collections import Counter
from typing import Any

from dryrecords.settlement.audit_finish import rounding_figures
from dryrecords.settlement.audit_model import Audit, Finding
from dryrecords.settlement.audit_moistures import ALL, bias_figures, own_meters_u_pct
from dryrecords.settlement.audit_statutes import statutory_figures
from dryrecords.settlement.audit_tally import Tally, usd

MOST_EXPLANATIONS = 8
# What explains less of what is off than this is left to the single findings.
SHARE_TOLD = 0.05
CAUTIONS = [
    "A finding is a difference between records, not a judgement of anybody: ask the buyer before anything else.",
    "What was agreed, the current text of the law and the state's own inspection of scales and meters go before this.",
]


def summary_of(audit: Audit) -> dict[str, Any]:
    """Whole at any time: of as many tickets as were looked at so far."""
    tally = Tally(audit.tally)
    kinds, months = tally["kinds"], tally["months"]
    too_much = sum(month[2] for month in months.values())
    too_little = -sum(month[3] for month in months.values())
    with_findings = sum(month[1] for month in months.values())
    summary = {
        "tickets": audit.tickets_done,
        "tickets_with_findings": with_findings,
        "findings": audit.findings,
        "paid_too_little_usd": usd(too_little),
        "paid_too_much_usd": usd(too_much),
        "balance_usd": usd(too_much - too_little),
        "by_kind": [_kind(kind, kinds[kind]) for kind in Finding.Kind.values if any(kinds.get(kind, ()))],
        "by_month": [_month(name, months[name]) for name in sorted(months)],
        "explanations": _explanations(tally),
        "moistures": bias_figures(audit.crop, tally) if tally.sums("moistures", ALL).count else [],
        "own_meters_u_pct": round(own_meters_u_pct(tally), 4),
        "rounding": rounding_figures(tally),
        "statutes": statutory_figures(tally),
        "not_compared": dict(tally["not_compared"]),
    }
    return summary | {"in_words": _words(audit, summary, sum(tally["off"].values())), "cautions": CAUTIONS}


def _kind(kind: str, numbers: list[int]) -> dict[str, Any]:
    causes, consequences, too_much, too_little = numbers
    return {
        "kind": kind,
        "findings": causes,
        "consequences": consequences,
        "paid_too_little_usd": usd(-too_little),
        "paid_too_much_usd": usd(too_much),
    }


def _month(name: str, numbers: list[int]) -> dict[str, Any]:
    tickets, with_findings, too_much, too_little = numbers
    return {
        "month": name,
        "tickets": tickets,
        "tickets_with_findings": with_findings,
        "paid_too_little_usd": usd(-too_little),
        "paid_too_much_usd": usd(too_much),
    }


def _explanations(tally: Tally) -> list[dict[str, Any]]:
    """Rules that make of tickets what they state, the one that does so of most first."""
    off = sum(tally["off"].values())
    counts: Counter[str] = Counter()
    for by_schedule in tally["explained"].values():
        counts.update(by_schedule)
    told = [(text, number) for text, number in counts.most_common(MOST_EXPLANATIONS) if number > SHARE_TOLD * off]
    return [{"rule": text, "tickets": number, "of": off, "all": number == off} for text, number in told]


def _words(audit: Audit, summary: dict[str, Any], off: int) -> list[str]:
    tickets, found = summary["tickets"], summary["tickets_with_findings"]
    words = [f"Of {tickets:,} tickets of {audit.buyer}, {found:,} have findings."]
    if off:
        words.append(
            f"{off:,} state bushels or money otherwise than the schedule in force: in all "
            f"{summary['paid_too_little_usd']} paid too little and {summary['paid_too_much_usd']} too much, "
            f"in the seller's view {summary['balance_usd']}."
        )
    whole = [each for each in summary["explanations"] if each["all"]]
    if whole:
        rules = ", or ".join(each["rule"] for each in whole)
        words.append(f"Every one of the {off:,} comes out as stated by another rule: {rules}.")
    elif summary["explanations"]:
        best = summary["explanations"][0]
        words.append(f"{best['tickets']:,} of the {off:,} come out as stated by another rule: {best['rule']}.")
    if summary["moistures"]:
        whole = summary["moistures"][0]
        bias = "unknown" if whole["bias_pct"] is None else f"{whole['bias_pct']:+.2f} points"
        words.append(f"Against our own samples of {whole['pairs']:,} loads the tickets' moistures differ by {bias}.")
    return words
