"""The lines of a report, each with its role: what stands where, whose it is, what it says."""

from collections.abc import Sequence

from squibwise.catalog.load import Catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.clauses.contrasts import drop_denied
from squibwise.intake.report.clauses.lines import read_line, split_line, supply_volts
from squibwise.intake.report.clauses.news import drop_news
from squibwise.intake.report.clauses.own_places import part_places
from squibwise.intake.report.clauses.part_lists import (
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
from squibwise.intake.report.clauses.subjects import part_subjects
from squibwise.intake.report.clauses.told_together import part_parts
from squibwise.intake.report.clauses.unmarked import part_unmarked
from squibwise.intake.report.codes.labels import drop_labels, is_number_only
from squibwise.intake.report.codes.line_codes import read_codes
from squibwise.intake.report.language.lexicon import Lexicon, lexicon_of, tokenise
from squibwise.intake.report.language.phrases import languages
from squibwise.intake.report.language.words import has_fault, has_part
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
    apply_arrows,
    apply_legend,
    apply_letters,
    apply_printed_columns,
    apply_yes_columns,
    join_keys,
    split_barred_answers,
)
from squibwise.intake.report.layout.spellings import read_corners, read_seats, spell_out
from squibwise.intake.report.layout.two_columns import unfold_columns
from squibwise.intake.report.layout.two_days import apply_two_days
from squibwise.intake.report.layout.wrapped import join_wrapped
from squibwise.intake.report.line_words import without_codes
from squibwise.intake.report.sheet import Line, Sheet
from squibwise.intake.report.units.cars import take_cars
from squibwise.intake.report.units.line_homes import assign_units
from squibwise.intake.report.units.line_units import part_units, take_line_units
from squibwise.intake.report.units.unit_columns import (
    drop_pages,
    drop_readings,
    head_sheets,
    take_module_column,
    take_module_names,
)
from squibwise.intake.report.whole.again import name_tails
from squibwise.intake.report.whole.corrections import hear_on
from squibwise.intake.report.whole.leads import follow_leads
from squibwise.intake.report.whole.other_cars import follow_cars, part_cars
from squibwise.intake.report.whole.own_words import find_hand
from squibwise.intake.vin import find_masked, find_vin
from squibwise.model.origin import Finding, Origin


def sort_lines(raws: Sequence[RawLine], name: str, catalog: Catalog) -> Sheet:
    """Return every line with its role."""
    lexicon = lexicon_of(catalog)
    rows = read_rows(join_wrapped(head_sheets(raws, lexicon)))
    apart = join_keys(unfold_columns(deal_columns(rows, lexicon)))
    lines = join_records([x for raw in apart for x in split_line(raw, lexicon)], lexicon)
    spell_out(lines, lexicon, catalog)
    sheet = Sheet(name=name, lines=apply_cross_tables(lines, lexicon))
    _lay_out(sheet.lines, lexicon)
    _take_units(sheet, lexicon)
    apply_legend(sheet, lexicon)
    apply_arrows(sheet.lines, lexicon)
    drop_circumstances(sheet.lines, lexicon)
    read_codes(sheet, lexicon)
    name_tails(sheet.lines)
    sheet.is_coded = any(code.is_exact for line in sheet.lines for code in line.codes)
    sheet.other_kind = name_table(sheet.lines, catalog)
    if sheet.other_kind:
        _set_aside(sheet)
        return sheet
    _read_all_words(sheet, lexicon, catalog)
    hear_on(sheet.lines, lexicon)
    follow_leads(sheet.lines, lexicon, sheet.language)
    follow_cars(sheet.lines, lexicon, sheet.language)
    sheet.lists_parts = not sheet.is_coded and lists_parts(sheet.lines)
    assign_units(sheet.lines, lexicon)
    return sheet


def _lay_out(lines: list[Line], lexicon: Lexicon) -> None:
    """Say of each row what its columns, boxes and ticks say of it."""
    split_barred_answers(lines, lexicon)
    apply_two_days(lines, lexicon)
    apply_yes_columns(lines, lexicon)
    apply_printed_columns(lines, lexicon)
    apply_letters(lines, lexicon)
    apply_boxes(lines, lexicon)
    apply_ticks(lines)
    apply_results(lines)
    apply_times(lines, lexicon)


def _take_units(sheet: Sheet, lexicon: Lexicon) -> None:
    """Set the unit, or the car, of the lines that name it themselves."""
    drop_pages(sheet.lines, lexicon)
    drop_readings(sheet.lines, lexicon)
    take_module_column(sheet.lines, lexicon)
    take_module_names(sheet.lines, lexicon)
    take_line_units(sheet.lines, lexicon)
    sheet.lines = [x for ln in sheet.lines for x in part_units(ln, lexicon)]
    take_cars(sheet.lines, lexicon)


def _set_aside(sheet: Sheet) -> None:
    """Read no line of a file of another kind as a fault."""
    sheet.is_machine_read = False
    for line in sheet.lines:
        line.codes, line.role = (), "unread" if sheet.other_kind == "recorder" else "meta"


def _read_all_words(sheet: Sheet, lexicon: Lexicon, catalog: Catalog) -> None:
    """Set the words of every line, each statement on a line of its own."""
    for line in sheet.lines:
        line.tokens = tokenise(without_codes(line))
    read_corners(sheet.lines)
    sheet.language = _language(lexicon, sheet.lines)
    if sheet.language is None:
        read_seats(sheet.lines)
    deny_by_columns(sheet.lines, lexicon, sheet.language)
    _part_lines(sheet, lexicon)
    for line in sheet.lines:
        _read_line(line, sheet, lexicon, catalog)
    set_events_aside(sheet.lines, catalog)
    drop_labels(sheet.lines, lexicon)


def _part_lines(sheet: Sheet, lexicon: Lexicon) -> None:
    """Make a line of each place, statement or name that stands on one line with others.

    Each step has a line with its codes and tokens, before its words are read.
    """
    for line in sheet.lines:
        name_topic(line, lexicon, sheet.language)
    is_coded = any(line.codes for line in sheet.lines)
    if not is_coded:
        head_parts(sheet.lines, lexicon, sheet.language)
    plain = () if is_coded else (split_statements, split_names)
    apart = (part_cars, drop_news, drop_plugs, drop_denied, share_label)
    each = (*apart, part_subjects, part_places, part_unmarked, part_parts, *plain)
    for part in each:
        sheet.lines = [x for ln in sheet.lines for x in part(ln, lexicon, sheet.language)]


def _read_line(line: Line, sheet: Sheet, lexicon: Lexicon, catalog: Catalog) -> None:
    if line.role in ("blank", "meta"):
        return
    _read_hand(line, sheet, lexicon)
    if _read_vin(line, sheet, catalog):
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


def _read_vin(line: Line, sheet: Sheet, catalog: Catalog) -> bool:
    origin = Origin(file=sheet.name, line=line.number, raw=line.text)
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
