"""Check a record that somebody handed over: is it whole, and is it what was issued."""

import datetime as dt
import json
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, Never

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.texts import WordSet, hash_words
from squibwise.errors import InputError, ModelError
from squibwise.model.origin import Finding, Severity
from squibwise.model.proof import KnownKey, PagesSeen, ProofRecord, Verification
from squibwise.prove.recording import KEYS, SCHEMA, WITHHELD
from squibwise.prove.sealing import (
    CHANGED,
    digest,
    fingerprint,
    head_of,
    in_quotes,
    is_signed_by_its_key,
)

LARGEST_BYTES = 50_000_000
SECOND = "squibwise-record-2"
KEYS_OF = {SCHEMA: KEYS, SECOND: KEYS - {"reasons", "parts", "answers", "photos"}}
VERSIONS = (*(f"0.{minor}.0" for minor in range(1, 18)), "")  # empty before it was written down
NOT_OURS = "Ask whoever gave you the file for the record itself, as JSON or as the PDF."


def verify(data: bytes, catalog: Catalog, known: Iterable[KnownKey] = ()) -> Verification:
    """Return whether a record, given as JSON, is whole and unchanged since it was issued.

    ``valid`` says that the content belongs to its digest and that gates, cautions and fixed words
    are those of this layout. Anybody can compute a digest: who made it, only a signature by a key
    that is known shows.

    Args:
        data: The record.
        catalog: The gates, cautions and fixed words that a record must carry.
        known: Keys that this user knows.

    Source: RFC 8785 canonical form, SHA-256, RFC 8032. Keys that stand twice are refused, because
    two readers would see two records.
    """
    try:
        value = strict_json(data)
        record = _record(value)
        other = [*_other_words(record, catalog), *_wider_list(record)]
    except InputError as refusal:
        return refused("record-unreadable", f"No record: {refusal}.", refusal.remedy)
    except (LookupError, TypeError, AttributeError):
        return refused("record-unreadable", "No record: it is not laid out as one.", NOT_OURS)
    problems = [
        *_tampering(record, value),
        *_draft_problems(record),
        *other,
        *_strange_version(record),
    ]
    answer = _with_signature(record, {k.public_key: k for k in known})
    problems += answer.problems
    valid = not any(p.severity == "error" for p in problems)
    return msgspec.structs.replace(
        answer, valid=valid, problems=tuple(problems), withheld=tuple(sorted(record.withheld))
    )


def _strange_version(record: ProofRecord) -> list[Finding]:
    """Return that a record names a version of the program that is none, or is yet to come."""
    if record.made_by in VERSIONS:
        return []
    text = f"It says that version {in_quotes(record.made_by)} wrote it, which is not known here."
    ask = "Ask the issuer for the version, and check it with that one."
    return [_problem("record-version-unknown", "warning", text, ask)]


def tell_day_to_come(answer: Verification, record: ProofRecord, today: dt.date) -> Verification:
    """Return an answer that tells where a record was issued on a day that has not come.

    Args:
        answer: What was found so far.
        record: The record.
        today: The day here; a day of difference is left to the zones of the world.
    """
    if dt.date.fromisoformat(record.issued_on) <= today + dt.timedelta(days=1):
        return answer
    text = f"It says that it was issued on {record.issued_on}; here it is {today.isoformat()}."
    ask = "Look at the clock of this machine; if it is right, ask the issuer when it was made."
    problem = _problem("record-day-to-come", "warning", text, ask)
    return msgspec.structs.replace(answer, problems=(*answer.problems, problem), day_to_come=True)


def judge_recount(
    answer: Verification, record: ProofRecord, contradicts: Sequence[str], not_done: str
) -> Verification:
    """Return an answer that tells what came of working a record out from its own entries.

    Args:
        answer: What was found so far.
        record: The record.
        contradicts: What it says otherwise than its entries give.
        not_done: Why nobody worked it out; empty when it was.
    """
    if not_done:
        text = f"Whether its answers follow from its entries was not worked out again: {not_done}."
        ask = "Read its entries, or check it with the version that wrote it."
        left = _problem("record-not-recounted", "warning", text, ask)
        return msgspec.structs.replace(answer, unworked=not_done, problems=(*answer.problems, left))
    wrong = [f"It contradicts itself: {text}" for text in contradicts[:_MOST_TOLD]]
    more = len(contradicts) - len(wrong)
    wrong += [f"And {more} more like it."] if more else []
    problems = [_problem("record-contradicts", "error", text, CHANGED) for text in wrong]
    problems += [*answer.problems, *([_PARTLY_RECOUNTED] if record.withheld else [])]
    return msgspec.structs.replace(
        answer,
        valid=answer.valid and not wrong,
        unworked=_LEFT_OUT if record.withheld else "",
        problems=tuple(problems),
    )


_MOST_TOLD = 8
_LEFT_OUT = "this copy leaves out the crash data, on which its list of work hangs"
_PARTLY_RECOUNTED = Finding(
    code="record-partly-recounted",
    severity="warning",
    message="Labels, readings and what else needs no crash data were worked out again. What is "
    "believed of the parts, the list of work, and the gates that hang on it (replacements, "
    "inspections, calibrations, steps, lamp check, last scan) stand as the signer wrote them.",
    remedy="Ask for the whole record, and check that.",
)


def judge_pages(answer: Verification, pages: PagesSeen) -> Verification:
    """Return an answer that tells whether the pages of a PDF can be relied on.

    Pages that nobody could compare are called unchecked where a known key signed their very bytes;
    those of this version that differ are refused, whoever signed them.

    Args:
        answer: What was found so far.
        pages: What was seen of them.
    """
    if pages.signature == "wrong":
        return _refuse_pages(answer, _OTHER_SIGNATURE)
    if pages.are_equal:
        return answer
    text, why = _OTHER_PAGES, ""
    if pages.not_made:
        text, why = _NOT_MADE.format(pages.not_made), "they could not be made again here"
    elif pages.may_lack_font:
        text, why = _OTHER_FONT, "a font for their letters may be missing here"
    why = "another version made them" if pages.by_other_version else why
    if why and answer.signature == "known" and pages.signature == "good":
        told = (*answer.problems, _SIGNED_UNCOMPARED)
        return msgspec.structs.replace(answer, unchecked=why, problems=told)
    return _refuse_pages(answer, text)


_OTHER_SIGNATURE = "The signature over the pages was not made over them by the key of the record."
_OTHER_PAGES = "The pages are not the ones that the attached record gives."
_NOT_MADE = (
    "Its pages are not checked: this version cannot make them from the attached record ({})."
)
_OTHER_FONT = (
    "Its pages are not checked: they are not those that this computer makes of the attached "
    "record, perhaps for want of a font for its letters."
)
_SIGNED_UNCOMPARED = Finding(
    code="record-pages-signed",
    severity="warning",
    message="The pages are not compared with the attached record, and may say something else; the "
    "key that signed the record signed them as they are.",
    remedy="Read the attached record, `verify FILE.pdf --data FILE.json`; or check the file with "
    "the version that made it.",
)


def _refuse_pages(answer: Verification, text: str) -> Verification:
    again = "Rely on neither; ask for the record itself, as JSON, and print it anew from there."
    problems = (_problem("record-pages", "error", text, again), *answer.problems)
    return msgspec.structs.replace(answer, valid=False, problems=problems)


def tell_other_issue(
    answer: Verification, record: ProofRecord, other: ProofRecord, name: str
) -> Verification:
    """Return an answer that tells where the other file of the pair holds another issue of the case.

    A power failure between the two moves can leave such a pair; each file is whole in itself.

    Args:
        answer: What was found so far.
        record: The record.
        other: What the other file holds, unchecked.
        name: Of the other file.
    """
    if other.case_id != record.case_id or other.digest == record.digest:
        return answer
    text = f"'{name}' beside it is another issue of this case, of {other.issued_on}."
    ask = (
        "Each is whole in itself; `verify FILE.pdf --data FILE.json` takes the data out of "
        "the PDF again."
    )
    told = _problem("record-pair-differs", "warning", text, ask)
    return msgspec.structs.replace(answer, problems=(*answer.problems, told))


def _with_signature(record: ProofRecord, known: dict[str, KnownKey]) -> Verification:
    """Return what the signature shows, and what is to be said of it."""
    signature = record.signature
    if signature is None:
        text = "Nobody has signed it: the digest fits, and nobody can tell who made this."
        ask = "Ask the issuer for a signed record, or for the digest by another route."
        return Verification(
            valid=True, problems=(_problem("record-unsigned", "warning", text, ask),)
        )
    by, mark = signature.by, fingerprint(signature.public_key)
    if record.draft or not is_signed_by_its_key(record):
        text = f"The signature in the name of {in_quotes(by)} was not made over this record."
        wrong = _problem("record-signature-wrong", "error", text, CHANGED)
        return Verification(valid=False, signature="wrong", signer=by, problems=(wrong,))
    key = known.get(signature.public_key)
    if key is not None:
        other = not _is_same_name(by, key.name)
        return Verification(
            valid=True,
            signature="known",
            signer=key.name,
            named=by if other else "",
            fingerprint=mark,
            known_since=key.since,
            problems=(_tell_other_name(by, key.name),) if other else (),
        )
    text = f"Signed in the name of {in_quotes(by)} with the key {mark}, which is not known here."
    ask = "Compare that key with its owner by another route before relying on the name."
    return Verification(
        valid=True,
        signature="unknown",
        signer=by,
        fingerprint=mark,
        problems=(_problem("record-key-unknown", "warning", text, ask),),
    )


def _is_same_name(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _tell_other_name(by: str, known_as: str) -> Finding:
    text = f"The paper names {in_quotes(by)}; its key is known here as {in_quotes(known_as)}."
    ask = "Ask the owner of the key whether it signs for that name."
    return _problem("record-other-name", "warning", text, ask)


def read_record(data: bytes) -> ProofRecord:
    """Return a record from JSON, unchecked against its digest.

    Raises:
        InputError: The bytes are not a record.
    """
    return _record(strict_json(data))


def strict_json(data: bytes) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value; keys that stand twice and numbers that are none are refused.

    Raises:
        InputError: It is not UTF-8, not JSON, or too large, a key stands twice, or half of a
            character stands alone.
    """
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{len(data)} bytes are too many for a record", remedy=NOT_OURS)
    try:
        text = data.decode("utf-8")
        value = json.loads(text, object_pairs_hook=_no_repeats, parse_constant=_no_number)
        if "\\u" in text:
            json.dumps(value, ensure_ascii=False).encode("utf-8")
        return value
    except UnicodeEncodeError as error:
        told = "half of a character stands alone, as \\ud800 does"
        raise InputError(f"not text: {told}", remedy=CHANGED) from error
    except UnicodeDecodeError as error:
        raise InputError(f"byte {error.start} is not UTF-8 text", remedy=NOT_OURS) from error
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InputError(f"not JSON at {where}: {error.msg}", remedy=NOT_OURS) from error
    except (RecursionError, ValueError) as error:
        raise InputError(f"not a record: {error}", remedy=NOT_OURS) from error


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    value = dict(pairs)
    if len(value) != len(pairs):
        twice, _ = Counter(k for k, _ in pairs).most_common(1)[0]
        raise InputError(f"the key '{twice[:60]}' stands twice", remedy=CHANGED)
    return value


def _no_number(word: str) -> Never:
    raise InputError(f"{word} is not a number", remedy=CHANGED)


def _record(value: Any) -> ProofRecord:  # noqa: ANN401 - any JSON value
    try:
        record = msgspec.convert(value, ProofRecord)
    except (msgspec.ValidationError, ModelError) as error:
        raise InputError(f"not a record: {error}", remedy=NOT_OURS) from error
    if record.schema not in KEYS_OF:
        raise InputError(
            f"layout '{record.schema}' is none of {', '.join(KEYS_OF)}",
            remedy="Check it with the version of the program that wrote it.",
        )
    if not _is_day(record.issued_on):
        raise InputError(f"'{record.issued_on}' is not a day of issue", remedy=NOT_OURS)
    asked = KEYS_OF[record.schema]
    if record.content.keys() != asked:
        odd = ", ".join(sorted(asked ^ record.content.keys())[:5])
        raise InputError(f"its content has other keys than a record: {odd}", remedy=NOT_OURS)
    return record


def _is_day(text: str) -> bool:
    try:
        return dt.date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _tampering(record: ProofRecord, value: dict[str, Any]) -> list[Finding]:
    """Compare with the digest what stands in the file, not what was understood of it."""
    try:
        found = digest_of(record.schema, value)
    except (InputError, ValueError) as error:
        return [_problem("record-changed", "error", f"The record {error}.", CHANGED)]
    if found == record.digest:
        return []
    text = "The content does not belong to its digest: something was changed after it was issued."
    return [_problem("record-changed", "error", text, CHANGED)]


def _wider_list(record: ProofRecord) -> list[Finding]:
    """Return that a copy is said to be free to leave out more than crash data and prices.

    Which entries that were left out held crash data is the word of whoever wrote the record.
    """
    entries = record.content["evidence"]
    crash_data = {
        f"{ENTRY}{number}"
        for number, entry in enumerate(entries)
        if entry is None or entry["type"] == "recorder"
    }
    odd = sorted({*record.may_withhold} - crash_data - {*WITHHELD})
    text = f"It says that a copy may leave out {in_quotes(', '.join(odd[:3]))}, which none may."
    return [_problem("record-withholds", "error", text, CHANGED)] if odd else []


ENTRY = "content/evidence/"


def digest_of(schema: str, value: dict[str, Any]) -> str:
    """Return the digest over a record given as JSON, as its layout has it.

    Raises:
        InputError: A part is left out that no copy may leave out.
        ValueError: A hash is no hexadecimal number.
    """
    if schema == SECOND:
        return digest({k: v for k, v in value.items() if k not in ("digest", "signature")})
    whole = {k: value.get(k, d) for k, d in _TREE_DEFAULTS.items()}
    return head_of(value | whole)


_TREE_DEFAULTS: dict[str, Any] = {"salts": {}, "withheld": {}, "may_withhold": []}


def _draft_problems(record: ProofRecord) -> list[Finding]:
    open_gates = [g.id for g in record.gates if g.open]
    if record.draft != bool(open_gates):
        text = "It says of itself that it is no draft, or is one, against its own gates."
        return [_problem("record-inconsistent", "error", text, CHANGED)]
    if not record.draft:
        return []
    text = f"It is a draft with open gates: {', '.join(open_gates)}."
    return [_problem("record-draft", "warning", text, "Ask for the record after they are closed.")]


def _other_words(record: ProofRecord, catalog: Catalog) -> list[Finding]:
    """Return what differs from the gates, cautions and fixed words of every known version."""
    named = [g.id for g in record.gates if g.open != bool(g.missing)]
    differs = [_differing(record, words) for words in catalog.word_sets]
    nearest = [] if [] in differs else differs[0]
    found = nearest + (["a gate that is open and names nothing"] if named else [])
    text = "It is not as any known version writes one: {} differs."
    ask = "Check it with the version that wrote it; if it differs there too, do not rely on it."
    return [_problem("record-words", "error", text.format(what), ask) for what in found]


def _differing(record: ProofRecord, words: WordSet) -> list[str]:
    """Return which of the fixed words of a record are not those of one version."""
    content, texts = record.content, record.content["texts"]
    answers = content.get("answers", ())
    stated = {("footer", hash_words(texts["footer"])), ("standing", hash_words(texts["standing"]))}
    limits = [hash_words(t) for t in texts["limits"]]
    differs = {
        "the list of gates": tuple((g.id, hash_words(g.text)) for g in record.gates) != words.gates,
        "the fixed words": not stated <= words.texts
        or sorted(limits) != sorted(h for i, h in words.texts if i.startswith("limit-")),
        "a caution": not {(c, hash_words(t)) for c, t in _cautions(content)} <= words.cautions,
        "the papers": tuple(p.get("id") for p in content["papers"]) != words.papers,
        "the questions": tuple((a["id"], hash_words(a["question"])) for a in answers)
        != words.questions,
    }
    return [what for what, is_so in differs.items() if is_so]


def _cautions(content: dict[str, Any]) -> list[tuple[str, str]]:
    items = content["work"]["items"]
    return [(c["id"], c["text"]) for i in items for c in i["cautions"]]


def _problem(code: str, severity: Severity, message: str, remedy: str) -> Finding:
    return Finding(code=code, severity=severity, message=message, remedy=remedy)


def refused(code: str, message: str, remedy: str) -> Verification:
    """Return that something is no record that can be relied on."""
    return Verification(valid=False, problems=(_problem(code, "error", message, remedy),))
