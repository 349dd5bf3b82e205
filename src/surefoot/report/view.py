"""What a page consists of: sections, blocks of charts, tables, the answer. Plain data; how it looks is elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.report.picture import LegendItem, Picture


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its heading, whether it holds numbers, and whether its cells stay on one line."""

    title: str
    number: bool = False
    short: bool = False


@dataclass(frozen=True, slots=True)
class TableCell:
    """A cell: its text, and the sign beside it where there is one."""

    text: str
    sign: LegendItem | None = None


@dataclass(frozen=True, slots=True)
class TableView:
    """A table as it is shown."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[TableCell, ...], ...]
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Block:
    """Charts beside or under each other; ``legend``: one for all of them, whose switches act on all."""

    charts: tuple[Picture, ...]
    legend: tuple[LegendItem, ...] = ()
    pairs: bool = True


@dataclass(frozen=True, slots=True)
class Empty:
    """Why a section has nothing to show, and the command that would fill it."""

    what: str
    command: str


@dataclass(frozen=True, slots=True)
class GainView:
    """One figure of what was gained."""

    what: str
    value: str
    detail: str


@dataclass(frozen=True, slots=True)
class GainGroup:
    """What one change brought: ``title``, what is set beside what and what differs in ``says``, and the figures."""

    title: str
    says: str
    figures: tuple[GainView, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """The known-stable setting, its certificate in words, and what was gained, the setting's own share first.

    ``aside``: what moves along with the setting; ``small``: lines of lesser
    weight; ``table``: the certificates.
    """

    setting: tuple[str, ...]
    words: tuple[str, ...]
    gains: tuple[GainGroup, ...] = ()
    aside: str = ""
    small: tuple[str, ...] = ()
    table: TableView | None = None


@dataclass(frozen=True, slots=True)
class Section:
    """One section of the page."""

    key: str
    short: str
    title: str
    lead: str = ""
    answer: Answer | None = None
    blocks: tuple[Block, ...] = ()
    tables: tuple[TableView, ...] = ()
    list: tuple[str, ...] = ()
    after: str = ""
    empty: Empty | None = None


@dataclass(frozen=True, slots=True)
class PageView:
    """Everything on the page. ``stamp``: what a saved picture says of itself: the unit, and whether it is virtual;
    ``about``: what the page reports on, at its head."""

    unit: str
    title: str
    sentence: str
    sections: tuple[Section, ...]
    footer: str = ""
    stamp: str = ""
    about: str = "one unit"

    def pictures(self) -> list[Picture]:
        """Every chart, in the order of the page."""
        return [chart for section in self.sections for block in section.blocks for chart in block.charts]
