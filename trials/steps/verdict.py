"""The verdict: studied, written as PDF, and kept as a look at the data with its paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from trials.findings import About, Finding, Weight
from trials.infer.answer import RULE_VERSION
from trials.record_kinds import JournalKind, RecordKind
from trials.steps.extend import begun
from trials.steps.files import check_place, plain, write_beside, write_bytes
from trials.steps.fit import evidence
from trials.steps.known_lives import lives_kept
from trials.steps.load import load
from trials.steps.looks import every_cell, fingerprint
from trials.steps.own_honesty import honesty_for
from trials.steps.verdict_facts import verdict_extras
from trials.store.language import papers_of
from trials.store.records import (
    KeptLook,
    KeptWord,
    NewLook,
    Records,
    costs_of,
    entries,
    journal_lots,
    keep_look,
    kept_look,
    note_provisional,
)

if TYPE_CHECKING:
    from trials.decide.evidence import Evidence
    from trials.decide.results import Study

PAPERS = (".pdf",)


@dataclass(frozen=True)
class Verdict:
    """A verdict that was written: its file, the study behind it, which look it is, whether it was kept before.

    study: with the operating window where a paper was printed; as `fit` gives it where the kept one was handed out.
    other_words: answers kept under an earlier rule to which the present one gives another, each as a finding.
    """

    path: Path
    study: Study
    look: int
    made_before: bool
    other_words: tuple[Finding, ...] = ()


def verdict_path(folder: Path | str, look: int) -> Path:
    """`verdict.pdf` in the folder for the first look; later looks have their number, so that the first paper stays."""
    return Path(folder) / ("verdict.pdf" if look == 1 else f"verdict-{look}.pdf")


def verdict(
    folder: Path | str,
    path: Path | None = None,
    at: datetime | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Verdict:
    """Study a trial folder and write its verdict as PDF, kept with the trial.

    A look that was kept before comes out as its kept paper, byte for byte, as long as rule, costs, lives and lots are
    those it was made with and nothing was corrected since. Otherwise it is printed anew with the date of the look;
    where a later rule gives another word, the kept one stands beside it on the first page, and the look stays as it was
    kept.

    While a reading is open the verdict is provisional: written, not kept, and no look.

    path: where to write; see `verdict_path` if None. at: moment of a first look; now if None.
    progress(done, trials): called while the trial's own honesty is simulated, once for each look.

    Raises
    ------
    InputError
        If no plan is frozen, no readings are recorded, or the question changed without an amendment.
    """
    from trials.decide.study import study

    if path is not None:
        check_place(path, PAPERS)
    journal_lots(folder)
    records = begun(load(folder))
    found = evidence(records)
    kept = kept_look(folder, found.look) if found.look in set(records.looks["look"]) else None
    stands = kept is not None and kept.paper is not None and _stands(kept, records, found)
    result = study(records.trial, found, in_full=not stands)
    result = replace(result, honesty=honesty_for(records.trial, found, kept, progress))
    other = _other_words(kept, result)
    if kept is None and result.provisional:
        note_provisional(folder, fingerprint(records), at)
        records = replace(records, head=load(folder).head)
        paper = _paper(records, found, result, at or datetime.now(UTC))
    elif kept is None:
        paper = _first_paper(records, found, result, at or datetime.now(UTC))
    elif stands and kept.paper is not None:
        paper = kept.paper
    else:
        paper = _paper(records, found, result, kept.at, other)
    return Verdict(_written(folder, path, found.look, paper), result, found.look, kept is not None, other)


def _written(folder: Path | str, path: Path | None, look: int, paper: bytes) -> Path:
    """Where the paper now stands; a file of the usual name that is not this tool's stays, and the paper goes beside."""
    if path is None:
        return write_beside(verdict_path(folder, look), paper, "-again-")
    write_bytes(path, paper, PAPERS)
    return path


def _paper(
    records: Records, found: Evidence, result: Study, moment: datetime, other: tuple[Finding, ...] = ()
) -> bytes:
    from trials.report.documents import verdict_pdf

    with papers_of(records.trial):
        return verdict_pdf(result, records.trial, moment.date(), verdict_extras(records, found, other))


def _first_paper(records: Records, found: Evidence, result: Study, moment: datetime) -> bytes:
    """Make the paper of a new look and keep it; where another call kept the look meanwhile, its paper counts."""
    paper = _paper(records, found, result, moment)
    new = NewLook(
        look=found.look,
        declared=found.look <= records.trial.plan.looks,
        fingerprint=fingerprint(records),
        rule_version=RULE_VERSION,
        words=words_given(result),
        paper=paper,
        lives=lives_kept(records.trial, found.lives),
        summary={"study": plain(result), "every_cell": every_cell(records)},
    )
    return keep_look(records.folder, new, moment).paper or paper


def words_given(result: Study) -> tuple[KeptWord, ...]:
    """The answers of a study as a look keeps them."""
    return tuple(
        KeptWord(
            each.response, one.nozzle, one.against, one.answer.value, one.answer_adds.value if one.answer_adds else ""
        )
        for each in result.results
        for one in each.comparisons
        if one.answer is not None
    )


def _stands(kept: KeptLook, records: Records, found: Evidence) -> bool:
    """Whether the kept paper is the one that would be printed today: rule, costs, lives and lots as they were."""
    made = max(
        (e.number for e in entries(records.journal, JournalKind.VERDICT) if e.payload.get("look") == kept.look),
        default=0,
    )
    lots = any(entry.number > made for entry in entries(records.journal, JournalKind.LOTS))
    same = kept.summary.get("every_cell") in (None, every_cell(records))
    return (
        same
        and not lots
        and kept.paper_stands(RULE_VERSION, costs_of(records.trial), lives_kept(records.trial, found.lives))
    )


def _other_words(kept: KeptLook | None, result: Study) -> tuple[Finding, ...]:
    """Kept answers of an earlier rule to which the present rule gives another, with both; none under the same rule."""
    if kept is None or kept.rule_version == RULE_VERSION:
        return ()
    return tuple(_differs(kept, was, now) for was, now in kept.other_words(words_given(result)))


def _differs(kept: KeptLook, was: KeptWord, now: KeptWord | None) -> Finding:
    facts = {
        "kept": was.answer,
        "kept_adds": was.answer_adds,
        "kept_rule": kept.rule_version,
        "now": now.answer if now else "",
        "now_adds": now.answer_adds if now else "",
        "rule": RULE_VERSION,
    }
    about = About(was.response, was.nozzle, was.against)
    return Finding(RecordKind.KEPT_WORD_DIFFERS, about, facts, Weight.LOOK_AT)
