"""From a file's bytes, or the numbered lines of a report, to everything that was read from it."""

from collections.abc import Sequence
from itertools import groupby

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.candidates import Hand, Scope
from squibwise.intake.report.clauses.contrasts import drop_denied
from squibwise.intake.report.clauses.good_clauses import part_good
from squibwise.intake.report.clauses.left_out import list_left_out
from squibwise.intake.report.clauses.lines import read_line, split_line, supply_volts
from squibwise.intake.report.clauses.news import drop_news
from squibwise.intake.report.clauses.own_places import part_places
from squibwise.intake.report.clauses.part_lists import (
    list_labelled,
    list_units,
    lists_parts,
    split_names,
    split_statements,
)
from squibwise.intake.report.clauses.side_labels import (
    drop_plugs,
    head_parts,
    name_topic,
    share_label,
)
from squibwise.intake.report.clauses.told_together import part_parts
from squibwise.intake.report.clauses.unmarked import part_unmarked
from squibwise.intake.report.codes.labels import drop_labels, is_number_only
from squibwise.intake.report.codes.line_codes import read_codes
from squibwise.intake.report.coverage import coverage
from squibwise.intake.report.faults import gather
from squibwise.intake.report.language.japanese import in_english, is_japanese
from squibwise.intake.report.language.lexicon import Lexicon, lexicon_of, tokenise
from squibwise.intake.report.language.phrases import languages, without_umlauts
from squibwise.intake.report.language.words import KERB, Words, has_fault, has_part
from squibwise.intake.report.layout.boxes import apply_boxes
from squibwise.intake.report.layout.circumstances import drop_circumstances
from squibwise.intake.report.layout.cross_tables import apply_cross_tables
from squibwise.intake.report.layout.dealt_columns import deal_columns
from squibwise.intake.report.layout.drawn_tables import read_rows
from squibwise.intake.report.layout.marks import (
    apply_results,
    apply_ticks,
    apply_times,
    deny_by_columns,
)
from squibwise.intake.report.layout.other_files import name_table, set_events_aside
from squibwise.intake.report.layout.records import join_records
from squibwise.intake.report.layout.signs import (
    apply_legend,
    apply_letters,
    apply_printed_columns,
    apply_yes_columns,
    join_keys,
    spell_dittos,
    spell_numbers,
    split_barred_answers,
)
from squibwise.intake.report.layout.two_columns import unfold_columns
from squibwise.intake.report.layout.two_days import apply_two_days
from squibwise.intake.report.line_words import without_codes
from squibwise.intake.report.meaning import fold_line, settle, take_group, tell
from squibwise.intake.report.report_findings import remarks
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.units.cars import take_cars
from squibwise.intake.report.units.line_homes import assign_units
from squibwise.intake.report.units.line_units import part_units, take_line_units
from squibwise.intake.report.units.unit_columns import (
    drop_pages,
    take_module_column,
    take_module_names,
)
from squibwise.intake.report.whole.again import join_mentions, name_tails
from squibwise.intake.report.whole.corrections import correct_faults, hear_on
from squibwise.intake.report.whole.leads import follow_leads
from squibwise.intake.report.whole.other_cars import follow_cars, part_cars
from squibwise.intake.report.whole.own_words import find_hand
from squibwise.intake.report.whole.repeats import (
    join_either,
    once_a_line,
    with_repeats,
    without_gone,
)
from squibwise.intake.report.whole.returns import hear_returns
from squibwise.intake.vin import find_masked, find_vin
from squibwise.model.car import Car
from squibwise.model.names import Side
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import UNSURE, ReadReport, Unread

_SPECIAL = frozenset(
    "side buckle byside curtain knee pretension sensor middle cushion".split()
)  # what is said of airbags other than the front ones
_LANGUAGE = pattern(r"\s*[\[(](DE|EN|ES|FR|GB|IT|NL|PL|PT|BR|US)[\])]\s*(?=\w)")
_NO_UMLAUT = pattern(r"(?i)[aou]e")
_LETTERS = pattern(r"(?<![A-Za-z0-9])[A-Za-z]*(?:[aou]e|[AOU]E)[A-Za-z]*(?![A-Za-z0-9])")
_LANGUAGES = 3  # tags that show that they name languages
_CORNERS = (  # words that name a corner, and what the doubtful ones are beside them
    (frozenset({"fl", "rl"}), {"fr": "rf", "rr": "rhr"}),
    (frozenset({"lf", "rf", "lr"}), {"rr": "rhr"}),
)
_CORNER = pattern(r"(?i)\b(?:fr|rr)\b")
_LED = pattern(r"(?i)\W*[dp] [^\W\d_]{3}")
_SEATS = {"d": "driver", "p": "passenger"}
_SIDES = frozenset({"lh", "rh", "left", "right", "l", "r"})
_ENDED = frozenset({"gone", "denied", "found good"})  # what holds wherever a code is listed
_STORY = frozenset({"was", "own", "mine"})  # told of what was once, perhaps of another car


def understand(
    lines: Sequence[RawLine], name: str, catalog: Catalog, car: Car | None = None
) -> ReadReport:
    """Return the faults, coverage and doubts of a report.

    Args:
        lines: Numbered lines, whatever the format was.
        name: Of the file, for origins.
        catalog: The reviewed facts.
        car: The car it belongs to; None when not known: the driver is then taken to sit on the
            left, unless the report tells, and the report says so.
    """
    return settle_sheet(gather_lines(lines, name, catalog), catalog, car)


def gather_lines(lines: Sequence[RawLine], name: str, catalog: Catalog) -> Sheet:
    """Return the faults that lines tell of, before anything is known of the car."""
    sheet = sort_lines(lines, name, catalog)
    gather(sheet, catalog)
    list_left_out(sheet, lexicon_of(catalog))
    join_mentions(sheet)
    correct_faults(sheet, catalog)
    hear_returns(sheet, catalog)
    return sheet


def settle_sheet(sheet: Sheet, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return what the gathered faults mean on a car; see ``understand``. A sheet settles once."""
    _take_named(sheet, car)
    for fault in sheet.faults:
        take_group(fault)
    scope = Scope(
        catalog=catalog,
        hand=_hand(sheet, car),
        car=car,
        has_plain_front=any(_is_plain_front(f.words) for f in sheet.faults),
    )
    for fault in sheet.faults:
        _place_kerb(fault.words)
        settle(fault, scope)
    sheet.faults = once_a_line(join_either(sheet.faults))
    told = [tell(f, scope, sheet.name) for f in sheet.faults]
    ended = [(f, ln.code) for f, ln in zip(sheet.faults, told, strict=True) if f.absent in _ENDED]
    gone = {code for f, code in ended if not (f.words.voices & _STORY or _is_alike(f.words))}
    told = with_repeats(without_gone(told, gone, {code for _, code in ended}))
    return ReadReport(
        vin=sheet.vin,
        vin_part=sheet.vin_part,
        lines=tuple(told),
        unread=tuple(_unread(list(g)) for _, g in groupby(sheet.unread, lambda u: u.number)),
        findings=(*sheet.findings, *remarks(sheet, told, scope)),
        coverage=coverage(sheet, told, scope),
    )


def _is_alike(words: Words) -> bool:
    """``same here, cleaned the plug and B1411 is gone``: somebody has had it too."""
    return "same" in words.features


def _take_named(sheet: Sheet, car: Car | None) -> None:
    """Make faults of unread lines that the car's own table names by their words."""
    named = (
        {fold_line(row.text) for row in car.codes if row.code == ""} if car is not None else set()
    )
    for _, group in groupby(list(sheet.unread), lambda u: u.number) if named else ():
        pieces = list(group)
        raws = [p.raw for p in pieces]
        if fold_line(" ".join(raws)) in named:
            first = pieces[0]
            fault = Fault(first=first, raws=raws, words=Words(), unit="restraint")
            sheet.faults.append(fault)
            sheet.faults.sort(key=lambda f: f.first.number)
            sheet.unread = [u for u in sheet.unread if u.number != first.number]


def sort_lines(raws: Sequence[RawLine], name: str, catalog: Catalog) -> Sheet:
    """Return every line with its role.

    Args:
        raws: Numbered lines.
        name: Of the file, for origins.
        catalog: For the vocabulary and the VIN tables.
    """
    lexicon = lexicon_of(catalog)
    apart = join_keys(unfold_columns(deal_columns(read_rows(raws), lexicon)))
    lines = join_records([x for raw in apart for x in split_line(raw, lexicon)], lexicon)
    _spell_out(lines, lexicon, catalog)
    sheet = Sheet(name=name, lines=apply_cross_tables(lines, lexicon))
    split_barred_answers(sheet.lines, lexicon)
    apply_two_days(sheet.lines, lexicon)
    apply_yes_columns(sheet.lines, lexicon)
    apply_printed_columns(sheet.lines, lexicon)
    apply_letters(sheet.lines, lexicon)
    apply_boxes(sheet.lines, lexicon)
    apply_ticks(sheet.lines)
    apply_results(sheet.lines)
    apply_times(sheet.lines, lexicon)
    drop_pages(sheet.lines, lexicon)
    take_module_column(sheet.lines, lexicon)
    take_module_names(sheet.lines, lexicon)
    take_line_units(sheet.lines, lexicon)
    sheet.lines = [x for ln in sheet.lines for x in part_units(ln, lexicon)]
    take_cars(sheet.lines, lexicon)
    apply_legend(sheet, lexicon)
    drop_circumstances(sheet.lines, lexicon)
    read_codes(sheet, lexicon)
    name_tails(sheet.lines)
    sheet.is_coded = any(code.is_exact for line in sheet.lines for code in line.codes)
    sheet.other_kind = name_table(sheet.lines, catalog)
    if sheet.other_kind:
        sheet.is_machine_read = False
        for line in sheet.lines:
            line.codes, line.role = (), "unread" if sheet.other_kind == "recorder" else "meta"
        return sheet
    for line in sheet.lines:
        line.tokens = tokenise(without_codes(line))
    _read_corners(sheet.lines)
    sheet.language = _language(lexicon, sheet.lines)
    if sheet.language is None:
        _read_seats(sheet.lines)
    deny_by_columns(sheet.lines, lexicon, sheet.language)
    _part_lines(sheet, lexicon)
    for line in sheet.lines:
        _read_line(line, sheet, lexicon, catalog, name)
    set_events_aside(sheet.lines, catalog)
    drop_labels(sheet.lines, lexicon)
    hear_on(sheet.lines, lexicon)
    follow_leads(sheet.lines, lexicon, sheet.language)
    follow_cars(sheet.lines, lexicon, sheet.language)
    list_labelled(sheet.lines)
    sheet.lists_parts = not sheet.is_coded and lists_parts(sheet.lines)
    if sheet.lists_parts:
        list_units(sheet.lines)
    assign_units(sheet.lines, lexicon)
    return sheet


def _spell_out(lines: list[Line], lexicon: Lexicon, catalog: Catalog) -> None:
    """Put words where lines have signs, other letters or the name of their language."""
    _strip_languages(lines)
    _put_in_english(lines, catalog)
    _spell_umlauts(lines, lexicon)
    spell_numbers(lines, lexicon)
    spell_dittos(lines, lexicon)


def _part_lines(sheet: Sheet, lexicon: Lexicon) -> None:
    """Make a line of each place, statement or name that stands on one line with others."""
    for line in sheet.lines:
        name_topic(line, lexicon, sheet.language)
    is_coded = any(line.codes for line in sheet.lines)
    if not is_coded:
        head_parts(sheet.lines, lexicon, sheet.language)
    plain = () if is_coded else (split_statements, split_names)
    apart = (part_cars, drop_news, drop_plugs, drop_denied, share_label, part_good, part_places)
    for part in (*apart, part_unmarked, part_parts, *plain):
        sheet.lines = [x for ln in sheet.lines for x in part(ln, lexicon, sheet.language)]


def _strip_languages(lines: list[Line]) -> None:
    """Take ``[FR]`` and its like off lines that several languages share."""
    tagged = [(line, m) for line in lines if (m := _LANGUAGE.match(line.text))]
    if len({m[1] for _, m in tagged}) >= _LANGUAGES:
        for line, tag in tagged:
            line.text = line.text[tag.end() :]


def _put_in_english(lines: list[Line], catalog: Catalog) -> None:
    """Read Japanese words by what they are in English; what is printed stays in the line."""
    for line in lines:
        if is_japanese(line.text):
            line.text = in_english(line.text, catalog.vocabulary.japanese)
            line.cells = tuple(in_english(c, catalog.vocabulary.japanese) for c in line.cells)


def _spell_umlauts(lines: list[Line], lexicon: Lexicon) -> None:
    """Read ``Steuergeraet`` as the word that it stands for; what is printed stays in the line."""
    for line in lines:
        if _NO_UMLAUT.search(line.text):
            line.text = _LETTERS.sub(
                lambda m: without_umlauts(lexicon, m.group().lower()) or m.group(), line.text
            )


def _read_corners(lines: list[Line]) -> None:
    """``FR`` and ``RR`` are corners where other corners are named, ``FL`` or ``LF`` and ``LR``."""
    told = {t.text for ln in lines for t in ln.tokens}
    corners = next((map_ for named, map_ in _CORNERS if named & told), None)
    if corners is None:
        return
    for line in lines:
        if not _SIDES.intersection(t.text for t in line.tokens):
            line.tokens = tuple(
                msgspec.structs.replace(t, text=corners.get(t.text, t.text)) for t in line.tokens
            )
            first = _CORNER.search(line.text)  # its clauses are read by themselves
            if first and all(c.end <= first.start() and not c.elsewhere for c in line.codes):
                line.text = _CORNER.sub(lambda m: corners.get(m[0].lower(), m[0]), line.text)


def _read_seats(lines: list[Line]) -> None:
    """``D retractor``: a letter for the seat before each part, in a report in English."""
    led = [ln for ln in lines if ln.codes and _LED.match(without_codes(ln))]
    for line in led if len(led) > 1 else ():
        first = line.tokens[0]
        seat = msgspec.structs.replace(first, text=_SEATS[first.text])
        line.tokens = (seat, *line.tokens[1:])


def _read_line(line: Line, sheet: Sheet, lexicon: Lexicon, catalog: Catalog, name: str) -> None:
    if line.role in ("blank", "meta"):
        return
    _read_hand(line, sheet, lexicon)
    if _read_vin(line, sheet, catalog, name):
        return
    _read_words(line, sheet, lexicon)
    if line.tells_hand and not (has_part(line.words) or has_fault(line.words)):
        line.words.seats.clear()
        line.words.sides.clear()
    if line.text.startswith("Subject: ") and not (has_part(line.words) or has_fault(line.words)):
        line.codes, line.role = (), "meta"  # the number of a job, an offer, a claim
    if line.tokens and line.codes and is_number_only(line, lexicon):
        line.codes, line.tokens = (), tokenise(without_codes(line))  # "12 names", "20417 miles"
        _read_words(line, sheet, lexicon)


def _read_words(line: Line, sheet: Sheet, lexicon: Lexicon) -> None:
    read_line(line, lexicon, sheet.language)
    if line.role in ("meta", "words") and sheet.volts is None:
        sheet.volts = supply_volts(line, lexicon)


def _read_hand(line: Line, sheet: Sheet, lexicon: Lexicon) -> None:
    """Set the driver's side; a line that tells it, and no fault, names no seat of a fault."""
    hand = find_hand(line.text, lexicon) if sheet.hand is None or not line.codes else None
    if hand is not None:
        sheet.hand = sheet.hand or hand
        line.tells_hand = not line.codes


def _read_vin(line: Line, sheet: Sheet, catalog: Catalog, name: str) -> bool:
    origin = Origin(file=name, line=line.number, raw=line.text)
    vin, findings = find_vin(line.text, catalog, origin)
    if vin is None and not findings:
        sheet.vin_part = sheet.vin_part or find_masked(line.text)
        return False
    if vin is not None and sheet.vin not in (None, vin):
        sheet.findings.append(
            Finding(
                code="two-vins",
                severity="warning",
                message=f"The report names VIN {sheet.vin} and VIN {vin}.",
                remedy="Make sure that it belongs to this car.",
                origin=origin,
            )
        )
    if vin is None or vin != sheet.vin:
        sheet.findings.extend(findings)
    sheet.vin = sheet.vin or vin
    line.role = "meta"
    return True


def _language(lexicon: Lexicon, lines: list[Line]) -> str | None:
    scores = languages(lexicon, [t.text for ln in lines for t in ln.tokens])
    best = max(scores, key=lambda n: scores[n], default=None)
    return best if best is not None and scores[best] > 0 else None


def _hand(sheet: Sheet, car: Car | None) -> Hand:
    """On which side the driver sits: the car's, or what the report itself shows."""
    if car is not None:
        return Hand(side=car.drive_hand, is_known=True)
    if sheet.hand is not None:
        return Hand(side=sheet.hand, is_known=True)
    sure = [e for e in sheet.faults if e.absent != UNSURE]
    votes = [v for e in sure if (v := _hand_of(e)) is not None]
    right = sum(v == "right" for v in votes)
    if votes and right in (0, len(votes)):
        return Hand(side=votes[0], is_known=True)
    kerb = any(e.words.features & KERB for e in sheet.faults)
    return Hand(side="right" if kerb else "left", is_known=False)


def _hand_of(fault: Fault) -> Side | None:
    """The driver's side, where one line names seat and side together."""
    words = fault.words
    sides: list[Side] = [s for s in ("left", "right") if s in words.sides]
    if len(sides) != 1 or len(words.seats) != 1 or "rear" in words.ends or words.rows - {1}:
        return None
    other: Side = "right" if sides[0] == "left" else "left"
    return sides[0] if "driver" in words.seats else other


def _unread(pieces: list[Line]) -> Unread:
    """What was read as no fault on one line, with what was recognised in it."""
    recognised: list[str] = []
    for piece in pieces:
        words = piece.words
        recognised += [c.printed for c in piece.codes] + sorted(words.features - {"skip"})
        recognised += [*sorted(words.seats), *sorted(words.sides), *words.statuses]
    raws = dict.fromkeys(p.raw for p in pieces)
    return Unread(
        line=pieces[0].number,
        raw=" ".join(r for r in raws if not any(r in more and r != more for more in raws)),
        why=", ".join(dict.fromkeys(p.why for p in pieces if p.why)),
        recognised=tuple(dict.fromkeys(recognised)),
    )


def _place_kerb(words: Words) -> None:
    """Nearside is the left, offside the right, wherever the driver sits: of left-hand traffic."""
    if "offside" in words.features:
        words.sides.add("right")
    if "nearside" in words.features:
        words.sides.add("left")


def _is_plain_front(words: Words) -> bool:
    """Tell whether words name a seat's airbag and no special one."""
    is_bag = bool(words.features & {"bag", "charge"})
    return is_bag and bool(words.seats) and not words.features & _SPECIAL


def read_report(data: bytes, name: str, catalog: Catalog, car: Car | None = None) -> ReadReport:
    """Return everything that was read from a report in any format.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it.
        catalog: The reviewed facts.
        car: The car it belongs to; None when not known.

    Raises:
        InputError: The file cannot be read at all.
        UnavailableError: It needs an optional part that is not installed.
    """
    return read_extract(extract(data, name), name, catalog, car)


def read_extract(found: Extract, name: str, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return everything that was read from the lines of a report; see ``read_report``."""
    return settle_extract(found, gather_extract(found, name, catalog), catalog, car)


def gather_extract(found: Extract, name: str, catalog: Catalog) -> Sheet:
    """Return the faults of a file, its VIN and the driver's side, before a car is known."""
    return gather_lines(_with_gaps(found), name, catalog)


def settle_extract(found: Extract, sheet: Sheet, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return what was read from a file whose faults are gathered already."""
    read = settle_sheet(sheet, catalog, car)
    return msgspec.structs.replace(read, findings=found.findings + read.findings)


def _with_gaps(found: Extract) -> list[RawLine]:
    """Return the lines of a text with one blank line where blank ones stood; others as they are."""
    if found.format not in ("text", "mail") or any(line.cells for line in found.lines):
        return list(found.lines)  # numbers of tables, pages and tags leave gaps of their own
    lines: list[RawLine] = []
    for line in found.lines:
        if lines and line.number > lines[-1].number + 1:
            lines.append(RawLine(number=lines[-1].number + 1, text=""))
        lines.append(line)
    return lines


def side_of_driver(sheet: Sheet) -> Side:
    """Return on which side the driver sits by a report's own words; the left where none tell."""
    return _hand(sheet, None).side
