"""`ventwright export`: the store as a table for other programs."""

import sqlite3
import sys
from pathlib import Path

import click

from ventwright.commands.options import Moment, config_option, fail, settings_or_exit
from ventwright.exporting.tables import Order, TooFewToolsError, write_csv, write_parquet
from ventwright.storage.rows import Means, Readings, Wanted, channels_in

_EVER = 1 << 52


def _rows(wanted: Wanted, each: str, quality: bool) -> Readings | Means:
    if each == "reading":
        return Readings(wanted, quality)
    return Means(wanted, each)  # type: ignore[arg-type]


def _chosen(folder: Path, asked: tuple[str, ...]) -> tuple[str, ...]:
    there = channels_in(folder)
    for name in asked:
        if name not in there:
            fail(f'the store has no channel "{name}"; it has: {", ".join(there) or "none"}.')
    return asked or tuple(there)


def _write(file: str, source: Readings | Means, folder: Path) -> Order:
    """Write all of it; a file that was there before stays unless all of it can be."""
    rows = source.rows(folder)
    if file == "-":
        return write_csv(sys.stdout, source.heads, rows)
    path = Path(file)
    half = path.with_name(f"{path.name}.unfinished")
    try:
        if path.suffix == ".parquet":
            order = write_parquet(half, source.heads, rows)
        else:
            with half.open("w", encoding="utf-8", newline="") as opened:
                order = write_csv(opened, source.heads, rows)
        half.replace(path)
    finally:
        half.unlink(missing_ok=True)
    return order


def _check(file: str, each: str, quality: bool) -> None:
    if file != "-" and Path(file).suffix not in (".csv", ".parquet"):
        fail(f"{file} must end in .csv or .parquet, which says what is written; - writes CSV here.")
    if quality and each != "reading":
        fail("--quality is for readings; minutes and hours are of good readings only.")


def _tell(order: Order, file: str) -> None:
    click.echo(f"{order.rows} rows written to {file}.", err=True)
    if order.earlier:
        click.echo(
            f"{order.earlier} of them are earlier than a row before them: the clock had been set "
            "back. `ventwright replay` needs rows in order; choose a time without them.",
            err=True,
        )


@click.command()
@click.argument("file")
@config_option
@click.option("--from", "first", type=Moment(), default=None, help="2026-05-14. [the beginning]")
@click.option("--to", "until", type=Moment(), default=None, help="Up to then. [now]")
@click.option(
    "--each",
    type=click.Choice(("reading", "minute", "hour")),
    default="reading",
    show_default=True,
    help="A row for each of these.",
)
@click.option("--channel", "channels", multiple=True, help="Only this one: bench.pm2_5. [all]")
@click.option("--quality", is_flag=True, help="All readings, with a column that says how good.")
def export(
    file: str,
    config: Path,
    first: int | None,
    until: int | None,
    each: str,
    channels: tuple[str, ...],
    quality: bool,
) -> None:
    """Write stored readings, or their minutes or hours, to FILE: a .csv or .parquet, - for here.

    Times are UTC in ISO 8601; columns are named part.quantity, with the unit. Without --quality
    only good readings are written. `ventwright replay` reads such a CSV file.
    """
    _check(file, each, quality)
    folder = settings_or_exit(config).store.folder
    try:
        wanted = Wanted(_chosen(folder, channels), first or 0, _EVER if until is None else until)
        _tell(_write(file, _rows(wanted, each, quality), folder), file)
    except sqlite3.Error as error:
        fail(f"the store in {folder} cannot be read: {error}")
    except OSError as error:
        fail(f"{file} cannot be written: {error.strerror}")
    except TooFewToolsError as error:
        fail(str(error))
