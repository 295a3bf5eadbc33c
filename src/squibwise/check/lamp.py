"""The verdict on the warning lamp: lights, goes out, stays out for half a minute and a drive."""

from squibwise.catalog.load import Catalog
from squibwise.check.limits import because_of
from squibwise.check.when import is_after_last_change
from squibwise.model.case import Case
from squibwise.model.evidence import LampCheck
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome

Judged = tuple[Outcome, str, str]


def lamp_verdicts(case: Case, catalog: Catalog) -> list[Verdict]:
    """Return the verdict on the last lamp check; nothing when there was none."""
    checks = [e for e in case.evidence if isinstance(e, LampCheck)]
    if not checks:
        return []
    last = checks[-1]
    outcome, text, remedy = _judge(last, case, catalog)
    facts = (catalog.fact("lamp.latest-out"), catalog.fact("lamp.stays-out"))
    return [
        Verdict(
            what="lamp-check",
            outcome=outcome,
            text=text,
            decide=remedy,
            because=because_of(facts, (last.id,)),
            origin=last.origin,
        )
    ]


def _judge(check: LampCheck, case: Case, catalog: Catalog) -> Judged:
    watch = catalog.fact("lamp.stays-out").number()
    if not check.lit:
        return "not met", "The lamp did not light at key-on: a dark lamp is a fault.", ""
    if check.stayed_out is False:
        return "not met", "The lamp lit and did not stay out.", ""
    doubt = _doubt(check, watch, case, catalog)
    if doubt:
        return "undecided", doubt[0], doubt[1]
    text = f"Lit, out after {check.out_after_s:g} s, stayed out for {watch:g} s and on the drive."
    return "met", text, ""


def _doubt(check: LampCheck, watch: float, case: Case, catalog: Catalog) -> tuple[str, str] | None:
    """Return what is not known of a lamp that lit, and the remedy; None when all is known."""
    latest = catalog.fact("lamp.latest-out").number()
    if check.out_after_s is None:
        remedy = "Time it from key-on; if it stays on, trace the fault."
        return "The lamp lit; when it went out is not written down.", remedy
    if check.stayed_out is None:
        remedy = f"Watch it for {watch:g} s and on a drive, and record stayed_out."
        return f"Lit, out after {check.out_after_s:g} s, not watched since.", remedy
    if not is_after_last_change(check, case):
        return "The lamp check came before the last work on the car.", "Check the lamp again."
    if check.out_after_s > latest:
        text = f"Out after {check.out_after_s:g} s; the longest published is {latest:g} s."
        return text, "Compare with the maker's time and record passed 'lamp-check'."
    return None
