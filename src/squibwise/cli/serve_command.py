"""The command that starts the bench: the tool in a browser, on this machine."""

import click

from squibwise.cli.bench_process import PORT, run_bench
from squibwise.cli.commands import examples


@click.command(
    short_help="Open the bench in a browser.",
    epilog=examples("serve", "serve --lan"),
)
@click.option("--port", default=PORT, show_default=True, help="Port; 0 takes a free one.")
@click.option("--lan", is_flag=True, help="Also for a phone in the same network, paired by a code.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser of this machine.")
def serve(port: int, lan: bool, no_browser: bool) -> int:
    """Open the garage in a browser: pictures, looks with photographs, ticks, bench cards.

    It listens on this machine only. With --lan a phone of the same network joins by a code that
    works once.
    """
    from squibwise.cli import stored

    with stored.opened_garage(create=True):
        place = stored.garage_file()
    return run_bench(place, port, lan=lan, opens=not no_browser)
