"""What stands in words beside the fields of a result that machines read: keys that are added or put in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from trials.decide.chance_result import ChanceResult
from trials.decide.decision import decide, decide_lives
from trials.decide.ladder import LadderAnswer
from trials.decide.results import NextStep, NozzleRow, OwnHonesty, ResponseResult, Study
from trials.findings import About, Finding, Place
from trials.words.chances import asked_words, notes
from trials.words.decision import decision_sentence, lives_decided
from trials.words.findings import say
from trials.words.ladders import answer_clause
from trials.words.own_honesty import honesty_sentence
from trials.words.plan import described
from trials.words.settings import place_words
from trials.words.study import answer_sentence, basis_words, label, step_words, worthwhile_words

if TYPE_CHECKING:
    from trials.decide.decision_result import Decision
    from trials.decide.lives import LivesAnswer


def in_words(value: object) -> Mapping[str, Any] | str:
    """Keys to put beside or in place of the fields of a result; a text where all of it is said in words."""
    maker = _MAKERS.get(type(value))
    return {} if maker is None else maker(value)


def _study(study: Study) -> Mapping[str, Any]:
    return {"sentence": answer_sentence(study), "decision": _decision(decide(study), decision_sentence(study))}


def _decision(found: Decision, sentence: str) -> Mapping[str, Any]:
    others = [{"answer": answer, "nozzles": names} for answer, names in found.others]
    return {**vars(found), "sentence": sentence, "others": others}


def life_decision(found: LivesAnswer) -> Mapping[str, Any]:
    """The decision of a life trial, its sentence beside its fields."""
    return _decision(decide_lives(found), lives_decided(found))


def _response(result: ResponseResult) -> Mapping[str, Any]:
    basis = None if result.rests_on is None else asdict(result.rests_on)
    return {
        "label": label(result),
        "rests_on": basis_words(result),
        "basis": basis,
        "worthwhile_words": worthwhile_words(result),
    }


def _chance(chance: ChanceResult) -> Mapping[str, Any]:
    return {
        "requirement": asked_words(chance.asked),
        "settings": chance.place,
        "words": notes(chance),
        "assumed": [say(finding) for finding in chance.rests_on],
    }


def _ladder(found: LadderAnswer) -> Mapping[str, Any]:
    return {"sentence": answer_clause(found)}


def _finding(finding: Finding) -> Mapping[str, Any]:
    return {"about": about_parts(finding.about), "words": say(finding)}


def about_parts(about: About) -> Mapping[str, Any]:
    """What a finding is about, the parts that apply; a place as its kind and settings."""
    parts = {name: part for name, part in vars(about).items() if part not in ("", (), None)}
    if about.place is not None:
        parts["place"] = {"kind": about.place.kind, "settings": about.place.settings}
    return parts


def _next_step(step: NextStep) -> Mapping[str, Any]:
    return {"words": step_words(step)}


def _nozzle_row(row: NozzleRow) -> Mapping[str, Any]:
    if row.form is None:
        return {"described": ""}
    facts = ("bore", "wall", "side_jets", "plated", "point", "orifice_mm", "flow_area_mm2")
    return {"form": {name: getattr(row.form, name) for name in facts}, "described": described(row.form)}


def _honesty(found: OwnHonesty) -> Mapping[str, Any]:
    return {"words": honesty_sentence(found)}


_MAKERS: Mapping[type, Callable[[Any], Mapping[str, Any] | str]] = {
    Study: _study,
    ResponseResult: _response,
    ChanceResult: _chance,
    LadderAnswer: _ladder,
    Finding: _finding,
    NextStep: _next_step,
    OwnHonesty: _honesty,
    NozzleRow: _nozzle_row,
    Place: place_words,
}
