"""The commands that write down bench work: outcomes, substitute loads, readings, part labels."""

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from squibwise.cli import output
from squibwise.cli.commands import answers, case_argument, examples
from squibwise.cli.entry_commands import by_option, common_keys, time_option, write_entries


class Figure(click.FloatRange):
    """A number as people type it: ``2.4``, and ``2,4`` as half of the world writes it."""

    name = "number"

    def convert(
        self,
        value: Any,  # noqa: ANN401 - as click hands it over
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Any:  # noqa: ANN401
        """Return the number; fails where a comma may stand for thousands as well."""
        found = _COMMA.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            return super().convert(value, param, ctx)
        whole, part = found.groups()
        if len(part) == _THOUSANDS and whole.lstrip("-0"):
            self.fail(
                f"{value!r} can be read in two ways: write {whole}{part} or {whole}.{part}.",
                param,
                ctx,
            )
        return super().convert(float(f"{whole}.{part}"), param, ctx)


_COMMA = re.compile(r"(-?\d+),(\d+)")
_THOUSANDS = 3


@click.command(
    short_help="Write down how a test or repair of a bench card came out.",
    epilog=examples(
        "tried clover-05 driver.seat-bag lock-open --by R",
        "tried clover-05 driver.seat-bag reseat:seat-plug 'not fixed' --done --by R",
    ),
)
@case_argument
@click.argument("circuit")
@click.argument("words", metavar="[TEST] OUTCOME", nargs=-1, required=True)
@click.option(
    "--done", "is_done", is_flag=True,
    help="A repair was carried out as the card says, and the circuit read again after it.",
)  # fmt: skip
@by_option
@time_option
@answers
def tried(
    case_path: Path,
    circuit: str,
    words: tuple[str, ...],
    is_done: bool,
    by: str | None,
    at: dt.datetime | None,
    as_json: bool,
) -> int:
    """Write down how a test or repair of a circuit came out, in a word of its bench card.

    Without TEST it is the one that `trace` prints next. A circuit may be named by its part. Of a
    repair it is asked whether it was carried out, unless --done says so.
    """
    from squibwise.cli import opening
    from squibwise.entering import saying
    from squibwise.errors import InputError
    from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED

    opened = opening.open_case(case_path)
    loop = saying.find_circuit(circuit, opened.case.car, opened.catalog)
    told = saying.find_outcome(words, loop, opened.case, opened.catalog)
    is_repair = told["outcome"] in (FIXED, NOT_FIXED)
    if is_repair and not (is_done or _says_done(told["test"])):
        raise InputError(
            f"Nobody says that {told['test']} was carried out and the circuit read again after it.",
            remedy="Do what the card says, read the circuit, and add --done.",
        )
    entry = {"kind": "test-outcome", "loop": loop, **told, **common_keys(by, at)}
    command = f"tried {loop} {told['test']} {told['outcome']}"
    return write_entries(case_path, command, [entry], as_json=as_json)


def _says_done(repair: str) -> bool:
    asked = f"Was {repair} carried out as the card says, and the circuit read again after it?"
    return output.can_ask() and click.confirm(asked, err=True)


@click.command(
    short_help="Write down a substitute load that went into a circuit or came out.",
    epilog=examples(
        "loaded clover-05 driver.seat-bag in --ohm 2.1", "loaded clover-05 driver.seat-bag out"
    ),
)
@case_argument
@click.argument("circuit")
@click.argument("move", metavar="in|out", type=click.Choice(["in", "out"]))
@click.option("--serial", default="", help="The mark on it; its circuit when left out.")
@click.option(
    "--ohm",
    type=click.FloatRange(0.0, 100.0),
    metavar="OHM",
    help="What it measures, on its way in.",
)
@time_option
@answers
def loaded(
    case_path: Path,
    circuit: str,
    move: str,
    serial: str,
    ohm: float | None,
    at: dt.datetime | None,
    as_json: bool,
) -> int:
    """Write down that a substitute load went into a circuit, or came out of it.

    It is moved with the power off and waited out; every load is counted back before release.
    """
    from squibwise.cli import opening
    from squibwise.entering import saying

    opened = opening.open_case(case_path)
    loop = saying.find_circuit(circuit, opened.case.car, opened.catalog)
    entry = saying.find_load(loop, move, serial, ohm, opened.case, opened.catalog) | common_keys(
        None, at
    )
    return write_entries(case_path, f"loaded {loop} {move}", [entry], as_json=as_json)


@click.command(
    short_help="Write down a measured value.",
    epilog=examples(
        "measured harrow-07 passenger.front-bag/1 loop-resistance 2.3 ohm --method substitute-load",
        "measured harrow-07 driver.seat-frame torque 42 Nm --where 'front bolt'",
    ),
)
@case_argument
@click.argument("component")
@click.argument("quantity")
@click.argument("value", type=Figure())
@click.argument("unit")
@click.option("--u", type=Figure(0.0), help="Standard uncertainty, in the same unit.")
@click.option("--method", default="", help="How, such as substitute-load or scan-live-value.")
@click.option("--where", default="", help="Connector or bolt it was taken at.")
@click.option("--low", type=Figure(), help="The maker's lower limit, in the same unit.")
@click.option("--high", type=Figure(), help="The maker's upper limit, in the same unit.")
@click.option("--source", default="", help="Where these limits stand.")
@time_option
@answers
def measured(
    case_path: Path,
    component: str,
    quantity: str,
    value: float,
    unit: str,
    at: dt.datetime | None,
    as_json: bool,
    **stated: Any,  # noqa: ANN401 - text and numbers, as the options say
) -> int:
    """Write down one measured value: loop-resistance, insulation, continuity, unit-supply, torque.

    Anything else is kept too, and has no limit but the maker's. Never a meter on an igniter: its
    circuit is measured with a substitute load in its place.
    """
    from squibwise.cli import opening
    from squibwise.entering import saying

    opened = opening.open_case(case_path)
    component = saying.find_measured(component, quantity, opened.case.car, opened.catalog)
    entry = {
        "kind": "reading",
        "component": component,
        "quantity": quantity,
        "value": value,
        "unit": unit,
        **{key: one for key, one in stated.items() if one not in (None, "")},
        **common_keys(None, at),
    }
    return write_entries(case_path, f"measured {component} {quantity}", [entry], as_json=as_json)


@click.command(
    short_help="Write down what is printed on a part that was fitted.",
    epilog=examples(
        "label harrow-07 driver.front-bag 9Z-1147-A --provenance new --seller dealer",
        "label harrow-07 nose-left.impact-sensor,nose-right.impact-sensor 9Z-5 --serial S-6,S-7",
    ),
)
@case_argument
@click.argument("component")
@click.argument("number")
@click.option(
    "--provenance",
    default="unknown",
    show_default=True,
    type=click.Choice(["new", "recycled", "donor", "repaired", "original", "unknown"]),
    help="Where the part came from; original: the old one, to order by its number.",
)
@click.option("--serial", default="", help="Serial number; of several parts, S-6,S-7.")
@click.option("--seller", default="", help="Who sold it.")
@click.option("--donor-vin", default="", metavar="VIN", help="VIN of the donor car.")
@click.option("--recall-checked", is_flag=True, help="It was checked against recalls.")
@time_option
@answers
def label(
    case_path: Path,
    component: str,
    number: str,
    provenance: str,
    serial: str,
    seller: str,
    donor_vin: str,
    recall_checked: bool,
    at: dt.datetime | None,
    as_json: bool,
) -> int:
    """Write down number, serial and origin of a part: fitted, or the old one to order by.

    Several like parts of one number stand with commas between them. A part may be named as people
    say it, as for `saw`. What speaks against a label is told at once.
    """
    from squibwise.cli import opening
    from squibwise.entering import saying
    from squibwise.prove.fitted import tell_labels

    opened = opening.open_case(case_path)
    names = [name.strip() for name in component.split(",")]
    parts = [
        saying.find_component(name, opened.case.car, opened.catalog, labelled=True)
        for name in names
    ]
    serials = _share_out(serial, names)
    stated = {"seller": seller, "donor_vin": donor_vin}
    common = {
        "number": number,
        "provenance": provenance,
        **{key: value for key, value in stated.items() if value},
        **({"recall_checked": True} if recall_checked else {}),
        **common_keys(None, at),
    }
    entries = [
        {"kind": "part-label", "component": part, **({"serial": own} if own else {}), **common}
        for part, own in zip(parts, serials, strict=True)
    ]
    told = tell_labels(entries, opened.case, opened.catalog)
    command = f"label {','.join(parts)}"
    return write_entries(case_path, command, entries, as_json=as_json, told=told)


def _share_out(serial: str, parts: Sequence[str]) -> list[str]:
    """Return the serial of each part.

    Raises:
        InputError: There are not as many as parts.
    """
    from squibwise.errors import InputError

    serials = [one.strip() for one in serial.split(",")] if serial else [""] * len(parts)
    if len(serials) != len(parts):
        raise InputError(
            f"{len(parts)} parts and {len(serials)} serial numbers.",
            remedy="Write one serial for each part, in their order: --serial S-6,S-7.",
        )
    return serials


@click.command(
    short_help="Write down a dead weight laid on a seat, and what the system made of it.",
    epilog=examples(
        "weighed harrow-07 30 --read 30.4 --status on --cabin 21 --volts 12.6",
        "weighed harrow-07 0 --status off --buckle open --cover 'own cover' --dry",
    ),
)
@case_argument
@click.argument("kilograms", type=Figure(0.0, 200.0))
@click.option("--read", "read_kg", type=Figure(-50.0, 300.0), help="What it reports. [kg]")
@click.option("--status", type=click.Choice(["on", "off"]), help="Of the passenger airbag.")
@click.option("--cabin", type=Figure(-50.0, 80.0), help="Temperature in the car. [degC]")
@click.option("--volts", type=Figure(0.0, 20.0), help="Supply at the unit. [V]")
@click.option("--seat-position", default="", help="Of the seat, as the procedure asks for it.")
@click.option("--cover", default="", help="What lies on the cushion, such as 'own cover'.")
@click.option("--dry", is_flag=True, help="Cushion and cover were dry.")
@click.option("--buckle", type=click.Choice(["latched", "open"]), help="Of that seat.")
@click.option("--of", "part", default="passenger.occupant-sensor", help="Another seat's sensor.")
@time_option
@answers
def weighed(
    case_path: Path,
    kilograms: float,
    read_kg: float | None,
    status: str | None,
    cabin: float | None,
    volts: float | None,
    seat_position: str,
    cover: str,
    dry: bool,
    buckle: str | None,
    part: str,
    at: dt.datetime | None,
    as_json: bool,
) -> int:
    """Write down one trial of the seat weight sensing: the dead weight, and what the system says.

    Dead weights on a proven system, never a person, never a child. `check` judges the trials.
    """
    stated = {
        "read_kg": read_kg,
        "status": status,
        "cabin_c": cabin,
        "volts": volts,
        "seat_position": seat_position or None,
        "cover": cover or None,
        "dry": dry or None,
        "buckle": buckle,
    }
    entry = {
        "kind": "seat-trial",
        "component": part,
        "applied_kg": kilograms,
        **{key: value for key, value in stated.items() if value is not None},
        **common_keys(None, at),
    }
    return write_entries(case_path, f"weighed {kilograms:g}", [entry], as_json=as_json)


BENCH_COMMANDS = (tried, loaded, measured, weighed, label)
