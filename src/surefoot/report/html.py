"""The page as one HTML text. Text is escaped by Jinja, data is packed, scripts are allowed by
their hash alone."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from surefoot import __version__
from surefoot.harmless import for_eyes
from surefoot.report.library import Library, made_here
from surefoot.report.picture import PAGE, LegendItem, Picture
from surefoot.report.stills import still
from surefoot.report.theme import OUTCOMES, ink
from surefoot.report.view import Column, PageView, TableCell, TableView
from surefoot.report.words import tidy
from surefoot.runs import Outcome

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class _Figure:
    picture: Picture
    numbers: TableView = field(repr=False)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.picture, name)


def table_of(frame: pd.DataFrame, caption: str = "") -> TableView:
    """A DataFrame as a table, numbers to four figures."""
    columns = tuple(Column(str(name).replace("_", " "), frame[name].dtype.kind in "iuf") for name in frame.columns)
    names = [str(name) for name in frame.columns]
    rows = tuple(
        tuple(TableCell(_shown(value), _sign(name, value)) for name, value in zip(names, row, strict=True))
        for row in frame.itertuples(index=False, name=None)
    )
    return TableView(columns, rows, caption)


def _sign(column: str, value: Any) -> LegendItem | None:
    """The sign of an outcome, beside its word."""
    if column != "outcome":
        return None
    look = OUTCOMES[Outcome(value)]
    return LegendItem(str(value), ink(look.color), shape=look.shape)


def _shown(value: Any) -> str:
    if value is None or value != value:
        return "–"
    if isinstance(value, float):
        if value == int(value) and abs(value) < 1e6:
            return f"{int(value)}".replace("-", "−")
        return (f"{value:.1f}" if abs(value) >= 100 else f"{value:.3g}").replace("-", "−")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def data_text(value: Any) -> str:
    """JSON that is safe inside a script element: no ``<``, ``>`` or ``&`` is left, nor a line separator."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def render(view: PageView, library: Library | None = None) -> str:
    """The whole page as one HTML text that needs nothing else. Scripts are allowed by their hash alone.

    ``library``: where the JavaScript was started already; else it is made here.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    from surefoot.report.patterns import pattern_definitions

    specs = {picture.key: picture.spec(PAGE) for picture in view.pictures()}
    stills = {picture.key: Markup(still(picture)) for picture in view.pictures()}
    bundle = library.text() if library else made_here()
    script = f"\n{_asset('page.js')}\n"
    environment = Environment(
        loader=PackageLoader("surefoot.report", "assets"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=False,
        lstrip_blocks=False,
        # Markup itself is escaped; marks that turn text round or are not seen are no markup.
        finalize=lambda value: for_eyes(value) if type(value) is str else value,
    )
    environment.filters["tidy"] = tidy
    environment.filters["figure"] = lambda picture: _Figure(picture, table_of(picture.table))
    # Markup: our own files and what `data_text` has made safe. Everything else is escaped by the template.
    return environment.get_template("page.html.j2").render(
        page=view,
        version=__version__,
        css=Markup(theme_css() + _asset("page.css")),
        patterns=Markup(pattern_definitions().replace("<defs>", '<defs id="patterns">')),
        pictures=stills,
        specs=packed(data_text(specs)),
        bundle=packed(bundle),
        script=Markup(script),
        policy=policy((bundle, script)),
    )


def packed(text: str) -> str:
    """A text made small for the page: gzip in base 64, nine tenths of the charts' data and half of the library less.

    The same text gives the same letters: no time of day goes in.
    """
    return base64.b64encode(gzip.compress(text.encode(), 9, mtime=0)).decode()


def policy(scripts: Sequence[str]) -> str:
    """A content security policy: nothing is fetched, nothing runs but these scripts, no expression is compiled."""
    hashes = " ".join(
        "'sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() + "'" for script in scripts
    )
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'"
    )


def theme_css() -> str:
    """The colours of both themes as CSS variables; print is always light."""
    from surefoot.report.theme import DARK, LIGHT

    def block(palette: Any) -> str:
        return "".join(f"--{name}:{colour};" for name, colour in palette.items())

    light, dark = block(LIGHT), block(DARK)
    return (
        f":root{{{light}}}\n"
        f"@media screen and (prefers-color-scheme: dark){{:root:not([data-theme=light]){{{dark}color-scheme:dark}}}}\n"
        f"@media screen{{:root[data-theme=dark]{{{dark}color-scheme:dark}}}}\n"
    )


def _asset(name: str) -> str:
    return (files("surefoot.report") / "assets" / name).read_text(encoding="utf-8")
