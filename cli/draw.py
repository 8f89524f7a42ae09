"""``slotwright draw``: sheets to files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from slotwright.cli.console import print_json, print_table, read_instrument, warn
from slotwright.layout.errors import KeptError, PlanError, SheetError, SlotwrightError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.export.dxf import Version
    from slotwright.layout.units import Unit

_SHEETS = ("board", "slots", "stick", "index", "radius", "nut", "saddle", "bridge")
_FORMATS = ("dxf", "svg")
_VERSIONS = ("R12", "R2000", "R2010")


@click.command("draw", epilog="Example: slotwright draw heron.toml --sheet slots --format dxf --out templates")
@click.argument("plans", nargs=-1, required=True, metavar="PLAN...", type=click.Path(path_type=Path))
@click.option("--sheet", "sheets", multiple=True, type=click.Choice(_SHEETS), help="Sheet to draw; all without it.")
@click.option(
    "--format", "formats", multiple=True, type=click.Choice(_FORMATS), help="File to write; both without it."
)
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="Folder for the files; made if needed.")
@click.option(
    "--dxf-version",
    type=click.Choice(_VERSIONS),
    default="R2000",
    show_default=True,
    help="R12 for old machines.",
)
@click.option("--unit", type=click.Choice(("mm", "in")), default="mm", show_default=True, help="Unit of the files.")
@click.option("--mirror", is_flag=True, help="Mirror the drawing, for work from the back.")
@click.option("--force", is_flag=True, help="Replace files that exist.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(
    plans: tuple[Path, ...],
    sheets: tuple[str, ...],
    formats: tuple[str, ...],
    out: Path,
    dxf_version: str,
    unit: str,
    mirror: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Draw the sheets of each PLAN at full size.

    Without --sheet every sheet is drawn that the plan describes. Files are called after the plan
    and the sheet, and are written whole or not at all.
    """
    from slotwright.layout.export.files import write_whole  # noqa: PLC0415 - quick --help

    if any(part.is_file() for part in (out, *out.parents)):
        raise SlotwrightError(f"{out}: a file is in the way; --out takes a folder")
    drawn: list[tuple[Path, Sheet]] = []
    files: dict[Path, bytes] = {}
    for plan in plans:
        for sheet in _draw(plan, sheets, mirror):
            for kind in dict.fromkeys(formats or _FORMATS):
                path = out / f"{plan.stem}-{sheet.name}.{kind}"
                if path in files:
                    raise SlotwrightError(f"two plans would write {path}; draw them into folders of their own")
                files[path] = _written(sheet, kind, cast("Unit", unit), cast("Version", dxf_version))
                drawn.append((path, sheet))
    try:
        write_whole(files, force=force)
    except KeptError as error:
        raise SlotwrightError(f"{error}; --force replaces it") from None
    if as_json:
        print_json({"files": [{"file": str(path), "width": s.size[0], "height": s.size[1]} for path, s in drawn]})
        return
    _report(drawn)


def _draw(plan: Path, names: Sequence[str], mirror: bool) -> list[Sheet]:
    from slotwright.layout.drawing import described, draw_sheet  # noqa: PLC0415 - quick --help

    instrument = read_instrument(plan)
    warn(instrument)
    try:
        return [
            draw_sheet(instrument, name, mirrored=mirror) for name in dict.fromkeys(names or described(instrument))
        ]
    except (SheetError, PlanError) as error:
        raise SlotwrightError(f"{plan}: {error}") from None


def _written(sheet: Sheet, kind: str, unit: Unit, version: Version) -> bytes:
    if kind == "dxf":
        from slotwright.layout.export.dxf import dxf  # noqa: PLC0415 - only when asked for

        return dxf(sheet, unit=unit, version=version)
    from slotwright.layout.export.svg import svg  # noqa: PLC0415

    return svg(sheet, unit=unit)


def _report(drawn: Sequence[tuple[Path, Sheet]]) -> None:
    from slotwright.layout.units import show  # noqa: PLC0415

    rows = []
    for path, sheet in drawn:
        (width, height) = sheet.size
        rows.append(
            (
                str(path),
                f"{show(width, 'mm', 1)} x {show(height, 'mm', 1)} mm",
                f"{show(width, 'in', 2)} x {show(height, 'in', 2)} in",
            )
        )
    print_table(("file", "full size", ""), rows)
    click.echo("Measure the rules on a print before you cut.")
