"""What own trials change in the control to expect, in words."""

from __future__ import annotations

from windowcast.core.phrase import Phrase, Share, names, say
from windowcast.core.values import Table, Tables
from windowcast.core.weed_codes import weed_name
from windowcast.materials.efficacy import Control, expected_control
from windowcast.materials.own_evidence import OwnResult, with_own
from windowcast.records.own_evidence import OwnEvidence
from windowcast.report.catalogue import Voice

_YOUNG_BBCH = 12.0  # of the plants that a figure is told for where nobody said their stage


def evidence_lines(found: OwnEvidence, tables: Tables, voice: Voice) -> list[str]:
    """A line for each weed, mixture and timing of own trials, then what does not count."""
    usual = tables["efficacy"]
    weighed = with_own(usual, found.results)
    lines = []
    for one in {(r.weed, r.actives, r.timing): r for r in found.results}.values():
        lines.append(voice.text(_moved(one, usual, weighed, found)))
    if not found.results:
        lines.append(voice.say("own.none"))
    if found.left_out:
        lines += ["", voice.say("own.left_out")]
        lines += [f"  {voice.text(why)}" for why in found.left_out]
    return lines


def _moved(one: OwnResult, usual: Table, weighed: Table, found: OwnEvidence) -> Phrase:
    """What is published, and what that becomes with own trials."""
    trials = [r.trial for r in found.results
              if (r.weed, r.actives, r.timing) == (one.weed, one.actives, one.timing)]  # fmt: skip
    before, after = (_control(one, table) for table in (usual, weighed))
    assert after is not None
    with_mine = say("own.figure", **_said(after))
    published = say("own.unpublished")
    if before is not None:
        count = say("evidence.published", trials=before.trials)
        published = say("own.by", figure=say("own.figure", **_said(before)), evidence=count)
    return say(
        "own.moved", actives=names(*one.actives, join="plus"), weed=weed_name(one.weed),
        timing=say(f"own.timing.{one.timing}"), published=published, trials=names(*trials),
        figure=with_mine,
    )  # fmt: skip


def _said(control: Control) -> dict[str, Share]:
    return {
        "middle": Share(control.middle), "low": Share(control.low), "high": Share(control.high)
    }  # fmt: skip


def _control(one: OwnResult, table: Table) -> Control | None:
    """Control at the full rate, on plants as they were, at the season's usual warmth."""
    kind = str(table.value(f"kind.{one.weed}").value).split(maxsplit=1)[0]
    stage = _YOUNG_BBCH if one.stage_bbch is None else one.stage_bbch
    return expected_control(
        one.weed, one.actives, timing=one.timing, stage_bbch=stage, rate_share=1.0,
        air_c=table.number(f"scale.air.{kind}"), table=table,
    )  # fmt: skip
