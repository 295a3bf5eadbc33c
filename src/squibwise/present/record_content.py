"""What a record states, read back from its plain JSON into records that can be told."""

import msgspec

from squibwise.catalog.facts import Source
from squibwise.errors import InputError, ModelError
from squibwise.model.belief import Assumption, Because, Contradiction, NextLook
from squibwise.model.car import OwnCode, Profile
from squibwise.model.cost import Cost
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Finding
from squibwise.model.proof import ProofRecord, Verdict
from squibwise.model.work import Work


class StatedCar(msgspec.Struct, frozen=True, kw_only=True):
    """The car as the record names it."""

    vin: str | None
    model_year: int | None
    drive_hand: str
    equipment: str
    assumed: bool
    removed: tuple[str, ...] = ()
    codes: tuple[OwnCode, ...] = ()


class StatedEvent(msgspec.Struct, frozen=True, kw_only=True):
    """What is believed of the crash, in rounded probabilities."""

    zones: dict[str, float]
    delta_v_kmh: dict[str, float] | None
    driver_belted: float
    passenger_belted: float
    front_passenger: dict[str, float]
    rollover: float
    no_crash: float
    causes: dict[str, float]


class StatedComponent(msgspec.Struct, frozen=True, kw_only=True):
    """One component, in rounded probabilities that need not sum to one any more.

    Attributes:
        fired_in_crash: ``fired``, ``perhaps`` or ``not``.
        look: What settles a doubt about it.
    """

    id: str
    title: str
    after_crash: dict[str, float]
    now: dict[str, float]
    stages: dict[str, dict[str, float]]
    fired_in_crash: str
    doubtful: bool
    look: str


class StatedLive(msgspec.Struct, frozen=True, kw_only=True):
    """A device with stages that are not proven spent."""

    title: str
    stages: tuple[str, ...]
    looks_spent: bool


class StatedTexts(msgspec.Struct, frozen=True, kw_only=True):
    """The fixed texts of a record."""

    footer: str
    standing: str
    limits: tuple[str, ...]


class StatedPaper(msgspec.Struct, frozen=True, kw_only=True):
    """A paper that is asked for: ``shown`` by a file, ``stated`` by somebody, or ``open``."""

    text: str
    grade: str
    by: str
    time: str
    id: str = ""


class StatedPart(msgspec.Struct, frozen=True, kw_only=True):
    """A part that was fitted or has a label; see ``prove.answering``.

    An older record says of no part whether an assembly that was fitted holds it.
    """

    component: str
    title: str
    fitted_on: str
    by: str
    number: str
    serial: str
    made_on: str
    provenance: str
    donor_vin: str
    seller: str
    recall_checked: bool | None
    live: bool
    grade: str
    with_assembly: bool = True


class StatedPhoto(msgspec.Struct, frozen=True, kw_only=True):
    """A photograph of the case; without a copy in the record where ``copy_sha256`` is empty.

    Where ``shows`` is false nothing can be read on it; ``same_as`` is a file with the same picture.
    """

    file: str
    sha256: str
    copy_sha256: str = ""
    shows: bool = True
    same_as: str = ""
    about: str
    note: str
    by: str
    time: str


class StatedAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What answers a question, and whether it is ``shown``, ``stated`` or ``open``."""

    question: str
    readers: tuple[str, ...]
    text: str
    grade: str


class StatedWeak(msgspec.Struct, frozen=True, kw_only=True):
    """A fact or a reason that rests on judgement or memory alone."""

    id: str
    basis: str
    value: float | str | bool | None = None
    unit: str = "-"
    low: float | None = None
    high: float | None = None
    note: str = ""


class Content(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that a record states and its pages tell; None or empty where a copy leaves out."""

    title: str
    region: str | None = None
    currency: str
    car: StatedCar
    event: StatedEvent | None
    components: tuple[StatedComponent, ...]
    reasons: dict[str, tuple[Because, ...]] = {}
    profile: Profile
    live_charges: tuple[StatedLive, ...]
    contradictions: tuple[Contradiction, ...]
    next_looks: tuple[NextLook, ...]
    assumptions: tuple[Assumption, ...]
    work: Work
    costs: tuple[Cost, ...] | None
    verdicts: tuple[Verdict, ...]
    findings: tuple[Finding, ...]
    texts: StatedTexts
    papers: tuple[StatedPaper, ...]
    sources: tuple[Source, ...]
    weak: tuple[StatedWeak, ...]
    evidence: tuple[Evidence, ...]
    parts: tuple[StatedPart, ...] = ()
    answers: tuple[StatedAnswer, ...] = ()
    photos: tuple[StatedPhoto, ...] = ()


def read_content(record: ProofRecord) -> Content:
    """Return what a record states.

    Raises:
        InputError: It is not laid out as a record of this version.
    """
    there = {k: v for k, v in record.content.items() if v is not None}
    whole = {"event": None, "costs": None, "next_looks": (), "assumptions": (), "weak": ()} | there
    try:
        whole["evidence"] = [e for e in whole["evidence"] if e is not None]
        return msgspec.convert(whole, Content, strict=False)
    except (msgspec.ValidationError, ModelError, OverflowError, TypeError) as error:
        raise InputError(
            f"its content is not laid out as that of a record: {error}",
            remedy="Ask whoever gave you the file for the record itself.",
        ) from error
