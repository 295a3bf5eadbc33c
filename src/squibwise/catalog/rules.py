"""Rule profiles: what a crash asks for, as tables over one shared default."""

import datetime as dt
from pathlib import Path

import msgspec

from squibwise.catalog.components import FAMILIES, Kind
from squibwise.catalog.facts import Source
from squibwise.catalog.reading import key_entries, read_toml, refuse_repeats, refuse_unknown
from squibwise.errors import CatalogError
from squibwise.model.names import PLACES, split_component
from squibwise.model.words import STATES, Basis

RULE_ACTIONS = ("replace", "inspect", "trace", "calibrate")
STRICTNESS = ("always", "when-met", "inspect-first", "advice")
TRIGGERS = (*STATES, "located", "replaced", "struck", "event")
NEAR = ("itself", "same-seat", "same-side", "anywhere")
EVENTS = (
    "always",
    "crash",
    "record",
    "record-stays",
    "record-locked",
    "soaked",
    "wet-floor",
    "wet-seats",
    "severe",
    "in-use",
    "child-seat",
    "missing",
    "rollover",
    "count",
)
DEFAULT = "default"


class Condition(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One condition word of the rule profiles.

    Attributes:
        word: As written in ``when``.
        text: In a mechanic's words.
        state: Component state that triggers it; ``replaced`` for a part that another rule
            replaces, ``located`` for one in which tests located a fault, ``struck`` for a struck
            zone, ``event`` for the event as a whole.
        kinds: Kinds that can trigger it; empty = any.
        families: Families that can trigger it; empty = any.
        places: Places (zones for ``struck``) that can trigger it; empty = any.
        near: Where the trigger lies, seen from the component the rule speaks of.
        event: One of ``EVENTS`` when ``state`` is ``event``.
        count: Number of stored firing events it takes, for ``count``.
        or_missing: A part that was taken out counts as fired: nobody can say that it was not.
    """

    word: str
    text: str
    state: str
    kinds: tuple[str, ...] = ()
    families: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    near: str = "anywhere"
    event: str = ""
    count: int = 0
    or_missing: bool = False

    def __post_init__(self) -> None:
        if self.state not in TRIGGERS or self.near not in NEAR:
            raise CatalogError(f"condition {self.word}: unknown state or near")
        if (self.state == "event") != (self.event in EVENTS):
            raise CatalogError(f"condition {self.word}: unknown event '{self.event}'")
        if (self.event == "count") != (self.count > 0):
            raise CatalogError(f"condition {self.word}: count {self.count} does not fit its event")
        refuse_unknown(f"condition {self.word}", self.families, FAMILIES)
        refuse_unknown(f"condition {self.word}", self.places, PLACES)


class ChanceWord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A word for a probability, from ``at_least`` up to the next higher word."""

    at_least: float
    text: str


class ConditionFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``rules/words/conditions.toml``."""

    condition: tuple[Condition, ...]
    chance: tuple[ChanceWord, ...]


class RuleQuestion(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A question to the maker's procedure that rule profiles answer differently.

    Attributes:
        id: What an answer is given with.
        text: As it is asked.
        ask: Whom: ``maker``, ``owner`` or ``place``.
        kinds: Kinds it decides on.
        places: Places it decides on; empty = any.
        when: Condition word of the crash it is asked after, and under which the answer holds.
        only_if: Condition word that must hold as well for it to be asked; empty = none.
        yes_when: Condition word that must hold where a yes asks for a part; empty = ``when``.
        action: What a yes asks for: ``replace`` or ``calibrate``.
        share: How many makers would say yes, with ``low`` and ``high``. [0..1]
        yes: What a yes means.
        no: What a no means.
    """

    id: str
    text: str
    ask: str
    kinds: tuple[str, ...]
    places: tuple[str, ...] = ()
    when: str
    only_if: str = ""
    yes_when: str = ""
    action: str
    share: float
    low: float
    high: float
    yes: str
    no: str
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.share <= self.high <= 1.0:
            raise CatalogError(f"question {self.id}: share {self.share} is outside its range")
        refuse_unknown(f"question {self.id}", self.places, PLACES)


class QuestionFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``rules/words/questions.toml``."""

    question: tuple[RuleQuestion, ...]


class Example(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A case beside a rule that a layman can read; run as a test.

    Attributes:
        given: Beliefs, such as ``"driver.front-bag fired" = 0.98``, ``"struck door-left" = 0.9``
            or ``"event rollover" = 0.9``; everything else is sound and nothing was struck.
        component: Component asked about.
        expect: Strongest action that must come out for it; ``none`` for nothing to do.
    """

    given: dict[str, float]
    component: str
    expect: str

    def __post_init__(self) -> None:
        split_component(self.component)
        if self.expect not in (*RULE_ACTIONS, "none"):
            raise CatalogError(f"example for {self.component}: unknown action '{self.expect}'")


class Rule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One entry of a profile.

    Attributes:
        id: Unique within its profile.
        kinds: Kinds it speaks of.
        families: Families it speaks of; added to ``kinds``.
        places: Places it speaks of; empty = any.
        when: Condition words that must all hold.
        action: One of ``RULE_ACTIONS``.
        strict: One of ``STRICTNESS``.
        text: What it asks and why, in our own words.
        fixed: No rule of the user relaxes it.
        share: How often the thing it looks at then asks for the action, as known before the look;
            1 = always. [0..1]
        settled_by: What decides it, where no look at the part does.
        from_year: Model year from which cars may have what it speaks of; 0 = any.
        example: Cases beside it.
    """

    id: str
    kinds: tuple[str, ...] = ()
    families: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    when: tuple[str, ...]
    action: str
    strict: str
    text: str
    source: str
    at: str
    basis: Basis
    read_on: dt.date
    fixed: bool = False
    share: float = 1.0
    settled_by: str = ""
    from_year: int = 0
    example: tuple[Example, ...] = ()

    def __post_init__(self) -> None:
        if self.action not in RULE_ACTIONS:
            raise CatalogError(f"rule {self.id}: unknown action '{self.action}'")
        if self.strict not in STRICTNESS:
            raise CatalogError(f"rule {self.id}: unknown strictness '{self.strict}'")
        if not self.when or not (self.kinds or self.families):
            raise CatalogError(f"rule {self.id}: says no condition or no component")
        if not self.example:
            raise CatalogError(f"rule {self.id}: has no example beside it")
        refuse_unknown(f"rule {self.id}", self.families, FAMILIES)
        refuse_unknown(f"rule {self.id}", self.places, PLACES)


class RuleFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One profile file."""

    title: str
    note: str
    rule: tuple[Rule, ...]


class RuleBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Every profile and the condition words.

    Attributes:
        default: Rules that hold under every profile.
        profiles: The shipped profiles by name, without the default.
        conditions: By word.
        chances: Words for probabilities, highest first.
        questions: To the maker, by id, in the order they are asked.
    """

    default: RuleFile
    profiles: dict[str, RuleFile]
    conditions: dict[str, Condition]
    chances: tuple[ChanceWord, ...]
    questions: dict[str, RuleQuestion]

    def __len__(self) -> int:
        """Return the number of rules."""
        return len(self.default.rule) + sum(len(p.rule) for p in self.profiles.values())

    def rules(self, profile: str) -> tuple[Rule, ...]:
        """Return the default's rules followed by those of a profile."""
        return self.default.rule + self.profiles[profile].rule


def read_rules(folder: Path, kinds: dict[str, Kind], sources: dict[str, Source]) -> RuleBook:
    """Return the rule profiles under a folder, checked against kinds, words and sources.

    Raises:
        CatalogError: A file is broken, or names an unknown kind, condition word or source.
    """
    words = read_toml(folder / "words" / "conditions.toml", ConditionFile)
    refuse_repeats((c.word for c in words.condition), "rules/words/conditions.toml")
    conditions = {c.word: c for c in words.condition}
    for condition in words.condition:
        refuse_unknown(f"condition {condition.word}", condition.kinds, kinds)
    chances = tuple(sorted(words.chance, key=lambda c: -c.at_least))
    if not chances or chances[-1].at_least != 0.0:
        raise CatalogError("rules/words/conditions.toml: no chance word reaches down to 0")
    files = {p.stem: read_toml(p, RuleFile) for p in sorted(folder.glob("*.toml"))}
    if DEFAULT not in files:
        raise CatalogError("rules/default.toml is missing")
    for name, file in files.items():
        _check_profile(f"rules/{name}.toml", file, kinds, conditions, sources)
    default = files.pop(DEFAULT)
    return RuleBook(
        default=default,
        profiles=files,
        conditions=conditions,
        chances=chances,
        questions=_read_questions(folder, kinds, conditions, sources),
    )


def _read_questions(
    folder: Path,
    kinds: dict[str, Kind],
    conditions: dict[str, Condition],
    sources: dict[str, Source],
) -> dict[str, RuleQuestion]:
    file = read_toml(folder / "words" / "questions.toml", QuestionFile)
    found = key_entries(file.question, "rules/words/questions.toml")
    for question in found.values():
        where = f"question {question.id}"
        refuse_unknown(where, question.kinds, kinds)
        refuse_unknown(
            where, filter(None, (question.when, question.only_if, question.yes_when)), conditions
        )
        refuse_unknown(where, (question.action,), RULE_ACTIONS)
        refuse_unknown(where, (question.source,), sources)
    return found


def _check_profile(
    name: str,
    file: RuleFile,
    kinds: dict[str, Kind],
    conditions: dict[str, Condition],
    sources: dict[str, Source],
) -> None:
    refuse_repeats((r.id for r in file.rule), name)
    for rule in file.rule:
        where = f"{name}: rule {rule.id}"
        refuse_unknown(where, rule.kinds, kinds)
        refuse_unknown(where, rule.when, conditions)
        refuse_unknown(where, (rule.source,), sources)
