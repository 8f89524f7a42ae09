"""``slotwright draw``: sheets to files."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from slotwright.cli.console import FILE, counted, length_of, print_json, print_table, read_instrument, warn, write
from slotwright.layout import cautions
from slotwright.layout.errors import PaperError, SheetError, SlotwrightError
from slotwright.layout.names import FORMATS, LETTERINGS, SHEETS, SOLIDS, USUAL_FORMATS, VERSIONS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from slotwright.layout.drawing.sheet import Sheet
    from slotwright.layout.names import Format, Lettering, SheetName, Version
    from slotwright.layout.units import Unit


@click.command("draw", epilog="Example: slotwright draw heron.toml --sheet slots --format dxf --out templates")
@click.argument("plans", nargs=-1, required=True, metavar="PLAN...", type=FILE)
@click.option("--sheet", "sheets", multiple=True, type=click.Choice(SHEETS), help="Sheet to draw; all without it.")
@click.option(
    "--format",
    "formats",
    multiple=True,
    type=click.Choice(FORMATS),
    help="File to write; default: dxf, svg. 3mf: gauges, index strip and templates as solid parts.",
)
@click.option("--out", type=FILE, default=Path(), help="Folder for the files; made if needed.")
@click.option(
    "--dxf-version",
    type=click.Choice(VERSIONS),
    default="R2000",
    show_default=True,
    help="R12 for old machines.",
)
@click.option(
    "--unit",
    type=click.Choice(("mm", "in")),
    default="mm",
    show_default=True,
    help="Unit of dxf and svg; figures on a sheet follow the plan.",
)
@click.option(
    "--paper", default="A4", show_default=True, help="For pdf: A4-A0, letter, legal, tabloid, ASME-A to -E, WxH."
)
@click.option("--landscape", is_flag=True, help="For pdf: paper on its side; without it whatever takes fewer pages.")
@click.option("--margin", default="10 mm", show_default=True, help="For pdf: border that the printer leaves blank.")
@click.option("--overlap", default="10 mm", show_default=True, help="For pdf: what neighbouring tiles both show.")
@click.option(
    "--measured",
    metavar="M/N",
    help="For pdf: measured/nominal length of a scale bar, like 249.4/250; X,Y for both axes.",
)
@click.option(
    "--text",
    "lettering",
    type=click.Choice(LETTERINGS),
    default="text",
    show_default=True,
    help="Letters of dxf and svg as text, or as closed lines for machines without fonts; a pdf carries its font.",
)
@click.option("--mirror", is_flag=True, help="Mirror the drawing, for work from the back.")
@click.option("--force", is_flag=True, help="Replace files that exist.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    context: click.Context,
    /,
    plans: tuple[Path, ...],
    sheets: tuple[SheetName, ...],
    formats: tuple[Format, ...],
    out: Path,
    dxf_version: Version,
    unit: Unit,
    lettering: Lettering,
    mirror: bool,
    force: bool,
    as_json: bool,
    **paper: Any,  # noqa: ANN401 - one for each option
) -> None:
    """Draw the sheets of each PLAN at full size.

    Without --sheet every sheet is drawn that the plan describes. Files are called after the plan
    and the sheet, and are written whole or not at all.
    """
    if any(part.exists() and not part.is_dir() for part in (out, *out.parents)):
        raise SlotwrightError(f"{out}: a file is in the way; --out takes a folder")
    stated = [name for name in paper if context.get_parameter_source(name) is not ParameterSource.DEFAULT]
    if stated and "pdf" not in formats:
        raise click.UsageError(f"--{stated[0]} is for pages; add --format pdf.")
    _refuse_idle(context, formats or USUAL_FORMATS)
    from slotwright.layout.export.write import drawing  # noqa: PLC0415 - quick --help

    pages = _pages(**paper) if "pdf" in formats else {}
    drawn: list[tuple[Path, Sheet, str]] = []
    files: dict[Path, bytes] = {}
    strange = ""
    for plan in counted(plans, "drawing"):
        for sheet, kind in _draw(plan, sheets, formats or USUAL_FORMATS, mirror):
            path = out / f"{plan.stem}-{sheet.name}.{kind}"
            if path in files:
                twice = "one plan twice" if plans.count(plan) > 1 else "two plans"
                raise SlotwrightError(f"{twice} would write {path}; draw them into folders of their own")
            note = ""
            if kind == "pdf":
                files[path], note, letters = _paged(sheet, pages)
                strange += letters
            else:
                files[path] = drawing(sheet, kind, unit=unit, version=dxf_version, lettering=lettering)
            drawn.append((path, sheet, note))
    write(files, force=force)
    if strange:
        click.echo(f"warning: pages show ? for {' '.join(dict.fromkeys(strange))}", err=True)
    if as_json:
        print_json({"files": [{"file": str(path), "width": s.size[0], "height": s.size[1]} for path, s, _ in drawn]})
        return
    _report(drawn)


def _refuse_idle(context: click.Context, formats: Sequence[Format]) -> None:
    """Refuse options that none of the files would heed."""
    for name, option, heeding in (
        ("dxf_version", "--dxf-version", ("dxf",)),
        ("lettering", "--text", ("dxf", "svg")),
    ):
        stated = context.get_parameter_source(name) is not ParameterSource.DEFAULT
        if stated and not set(heeding) & set(formats):
            raise click.UsageError(f"{option} is for {' and '.join(heeding)}; add --format {heeding[0]}.")


def _draw(
    plan: Path, names: Sequence[SheetName], formats: Sequence[Format], mirror: bool
) -> Iterator[tuple[Sheet, Format]]:
    """Draw the sheets of a plan, each once for every format that is to be written of it."""
    from slotwright.layout.drawing.catalogue import described, draw_sheet  # noqa: PLC0415 - quick --help
    from slotwright.layout.export.write import without_kerf  # noqa: PLC0415

    instrument = read_instrument(plan)
    warn(instrument)
    wanted = dict.fromkeys(names or described(instrument))
    if formats == ("3mf",) and not names and not wanted.keys() & set(SOLIDS):
        raise SlotwrightError(
            f"{plan}: 3mf is for the sheets {', '.join(SOLIDS)}, and the plan describes none of them"
        )
    try:
        for name in wanted:
            sheet = draw_sheet(instrument, name, mirrored=mirror)
            for kind in dict.fromkeys(formats):
                if kind != "3mf":
                    yield sheet, kind
                elif name in SOLIDS or names:
                    yield draw_sheet(without_kerf(instrument), name, mirrored=mirror), kind
    except SheetError as error:
        raise SlotwrightError(f"{plan}: {error}") from None


def _pages(paper: str, landscape: bool, margin: str, overlap: str, measured: str | None) -> dict[str, Any]:
    """Read the options of paper, each with the unit it may carry."""
    from slotwright.layout.export.paper import correction, paper_size  # noqa: PLC0415 - quick --help

    with _named("--paper"):
        paper_size(paper)
    with _named("--measured"):
        scale = correction(measured) if measured is not None else (1.0, 1.0)
    lengths = {
        "margin": length_of("--margin", margin, "mm", 0, 50),
        "overlap": length_of("--overlap", overlap, "mm", 0, 50),
    }
    return {"paper": paper, "landscape": landscape or None, "scale": scale, **lengths}


@contextmanager
def _named(option: str) -> Iterator[None]:
    """Name the option that a refusal is about."""
    try:
        yield
    except PaperError as error:
        raise SlotwrightError(f"{option}: {error}") from None


def _paged(sheet: Sheet, pages: dict[str, Any]) -> tuple[bytes, str, str]:
    """Write a PDF; tell how many pages it has, and what letters it lacks."""
    from slotwright.layout.export.letters import unprintable  # noqa: PLC0415 - only when asked for
    from slotwright.layout.export.pdf import pages_of, pdf  # noqa: PLC0415
    from slotwright.layout.export.tiling import share_out  # noqa: PLC0415

    try:
        layout = share_out(sheet, **pages)
    except PaperError as error:
        raise SlotwrightError(f"sheet {sheet.name}: {error}") from None
    covers, tiles = pages_of(sheet, layout)
    paper = pages["paper"]
    note = f"{tiles} tile{'s' * (tiles > 1)} {paper} and {'a cover page' if covers == 1 else f'{covers} cover pages'}"
    return pdf(sheet, layout), note if covers else f"1 page {paper}", unprintable(sheet)


def _report(drawn: Sequence[tuple[Path, Sheet, str]]) -> None:
    from slotwright.layout.units import show  # noqa: PLC0415

    rows = []
    for path, sheet, note in drawn:
        (width, height) = sheet.size
        rows.append(
            (
                str(path),
                f"{show(width, 'mm', 1)} x {show(height, 'mm', 1)} mm",
                f"{show(width, 'in', 2)} x {show(height, 'in', 2)} in",
                note,
            )
        )
    print_table(("file", "full size", "", ""), rows)
    if any(path.suffix != ".3mf" for path, _, _ in drawn):
        click.echo(cautions.PRINTS)
