"""What sheets, files, work of a machine and kinds of bridges are called: words a type checker knows."""

from __future__ import annotations

from typing import Final, Literal, get_args

SheetName = Literal[
    "board", "slots", "marks", "stick", "index", "radius", "nut", "saddle", "bridge", "template", "setup"
]
Format = Literal["dxf", "svg", "pdf", "3mf"]
Version = Literal["R12", "R2000", "R2010"]
Operation = Literal["surface", "slots", "marks", "pockets", "holes", "outline"]
Lettering = Literal["text", "outline"]
Reader = Literal["maker", "bench", "customer"]
BridgeKind = Literal["individual saddles", "saddle slot", "two posts", "floating"]

SHEETS: Final[tuple[SheetName, ...]] = get_args(SheetName)
FORMATS: Final[tuple[Format, ...]] = get_args(Format)
USUAL_FORMATS: Final[tuple[Format, ...]] = ("dxf", "svg")
SOLIDS: Final[tuple[SheetName, ...]] = ("index", "radius", "template")  # whose parts can be printed in the round
VERSIONS: Final[tuple[Version, ...]] = get_args(Version)
OPERATIONS: Final[tuple[Operation, ...]] = get_args(Operation)
LETTERINGS: Final[tuple[Lettering, ...]] = get_args(Lettering)
READERS: Final[tuple[Reader, ...]] = get_args(Reader)
BRIDGE_KINDS: Final[tuple[BridgeKind, ...]] = get_args(BridgeKind)
UNKNOWN_KIND: Final = "?"  # of a bridge: missing or misspelt
ONE_TABLE: Final = "one table"  # of a key that may hold a list of tables or one table instead
SEVERAL_TABLES: Final = "several tables"
