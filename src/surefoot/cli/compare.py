"""`surefoot compare`, `surefoot choose`, `surefoot configs`: what was gained, and which configuration to take."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, open_journal, pairs, show, working
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from surefoot.report.gather import Room

BaselineOption = Annotated[
    str | None,
    typer.Option("--baseline", metavar="NAME", help="What to compare with. Default: the last trial's, else the first."),
]
RoomOption = Annotated[
    str,
    typer.Option(
        "--ambient",
        metavar="CELSIUS",
        help="Give temperatures for this room; 'measured' leaves them as read.",
    ),
]


def register(app: typer.Typer) -> None:
    """Add `compare`, `choose` and `configs`."""
    app.command("compare")(compare)
    app.command("choose")(choose)
    app.command("configs")(configs)


def compare(
    unit: UnitName,
    wanted: Annotated[
        list[str] | None, typer.Argument(metavar="[CONFIG]...", help="Names or numbers; all when none is given.")
    ] = None,
    baseline: BaselineOption = None,
    metric: Annotated[
        list[str] | None, typer.Option("--metric", metavar="NAME", help="Only this metric; may be given again.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Also percentiles, peaks and minor channels.")] = False,
    room: RoomOption = "auto",
    confidence: Annotated[str, typer.Option("--confidence", help="Of intervals and findings.")] = "95%",
    strict: Annotated[
        bool, typer.Option("--strict", help="Correct over the whole table, not within each metric.")
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """Metric by configuration: mean, spread, runs, the difference to the baseline, and whether it is real."""
    from surefoot.cli.compare_views import comparison_view
    from surefoot.report.gather import comparison_of, equal_scores, gather

    with open_journal() as journal, working(f"Reading what was measured of {unit}") as tell:
        gathered = gather(journal, unit, tell=tell)
    comparison = comparison_of(
        gathered,
        wanted or (),
        baseline=baseline,
        confidence=_share(confidence, "--confidence"),
        room=_room(room),
        family="table" if strict else "metric",
        metrics=metric or (),
    )
    equal = equal_scores(comparison)
    kept = {one.key for one in comparison.configurations}
    supply = [one for one in gathered.supply if one.configuration in kept]
    result = {
        "unit": unit,
        "numbers": {one.key: gathered.numbers[one.key] for one in comparison.configurations},
        "comparison": comparison,
        "watts_at_equal_score": equal,
        "supply": supply,
        "sounds": [one for one in gathered.sounds if one.configuration in kept],
        "surfaces": [one for one in gathered.surfaces if one.configuration in kept],
        "problems": gathered.problems,
    }
    show(
        result,
        lambda: comparison_view(gathered, comparison, equal, supply, everything or bool(metric), bool(metric)),
        as_json,
    )


def choose(
    unit: UnitName,
    coolest: Annotated[bool, typer.Option("--coolest", help="The lowest temperature.")] = False,
    quietest: Annotated[bool, typer.Option("--quietest", help="The lowest sound level, else fan speed.")] = False,
    fastest: Annotated[bool, typer.Option("--fastest", help="The best score.")] = False,
    leanest: Annotated[bool, typer.Option("--leanest", help="The least power.")] = False,
    keeping: Annotated[str, typer.Option("--keeping", metavar="SHARE", help="Share of the speed to keep.")] = "97%",
    of: Annotated[
        str | None, typer.Option("--of", metavar="METRIC", help="What to keep a share of. Default: the first score.")
    ] = None,
    by: Annotated[
        str | None, typer.Option("--by", metavar="METRIC", help="What the goal is measured by, if not the usual.")
    ] = None,
    against: Annotated[
        str, typer.Option("--against", metavar="best|baseline", help="Whose speed is the whole.")
    ] = "best",
    baseline: BaselineOption = None,
    room: RoomOption = "auto",
    as_json: JsonFlag = False,
) -> None:
    """Name the configuration that does best on one measure while keeping a share of another, and how sure that is."""
    from surefoot.cli.compare_views import choice_view
    from surefoot.report.gather import comparison_of, gather
    from surefoot.scores.choose import choose as choose_configuration
    from surefoot.scores.choose import goal_named

    flags = {"coolest": coolest, "quietest": quietest, "fastest": fastest, "leanest": leanest}
    goal = goal_named([name for name, wanted in flags.items() if wanted])
    share = _share(keeping, "--keeping")
    with open_journal() as journal, working(f"Reading what was measured of {unit}") as tell:
        gathered = gather(journal, unit, tell=tell)
    comparison = comparison_of(gathered, baseline=baseline, room=_room(room))
    choice = choose_configuration(comparison, goal, keeping=share, of=of, measure=by, against=against)
    show({"unit": unit, "choice": choice}, lambda: choice_view(choice), as_json)


def configs(
    unit: UnitName,
    name: Annotated[
        list[str] | None,
        typer.Option("--name", metavar="WHICH=NAME", help="Call a configuration (name or number) NAME; empty: undo."),
    ] = None,
    order: Annotated[
        str | None, typer.Option("--order", metavar="2,1,3", help="The order to show them in; others follow.")
    ] = None,
    add: Annotated[
        str | None, typer.Option("--add", metavar="NAME", help="Make one without a run, from the options below.")
    ] = None,
    mode: Annotated[str | None, typer.Option("--mode", help="With --add: power mode.")] = None,
    cooling: Annotated[str | None, typer.Option("--cooling", help="With --add: cooling.")] = None,
    setting: Annotated[
        list[str] | None, typer.Option("--set", metavar="KNOB=VALUE", help="With --add: value of a knob.")
    ] = None,
    load: Annotated[str | None, typer.Option("--load", help="With --add: what is run.")] = None,
    firmware: Annotated[str | None, typer.Option("--firmware", help="With --add: firmware version.")] = None,
    as_json: JsonFlag = False,
) -> None:
    """List the configurations that runs fall into; name and order them."""
    from surefoot.cli.compare_views import configurations_view
    from surefoot.guide.arrange import add_configuration, name_configurations, order_configurations, setting_from
    from surefoot.journal.configured import list_configurations

    if add is None and (mode or cooling or setting or load or firmware):
        raise BadInput("--mode, --cooling, --set, --load and --firmware go with --add NAME.", where="surefoot configs")
    with open_journal() as journal:
        if name:
            name_configurations(journal, unit, pairs(name, "--name"))
        if add is not None:
            values = setting_from(pairs(setting, "--set"))
            add_configuration(
                journal, unit, add, power_mode=mode, cooling=cooling, setting=values, load=load, firmware=firmware
            )
        if order:
            order_configurations(journal, unit, [text for text in order.split(",") if text.strip()])
        found = list_configurations(journal, unit)
    show({"unit": unit, "configurations": found}, lambda: configurations_view(unit, found), as_json)


def _share(text: str, where: str) -> float:
    """``97%``, ``97 %`` or ``0.97`` as 0.97."""
    plain = text.strip()
    try:
        return float(plain.rstrip("% ")) / 100 if plain.endswith("%") else float(plain)
    except ValueError:
        raise BadInput(f"{text!r} is no share.", where=where, remedy="Write 97% or 0.97.") from None


def _room(text: str) -> Room:
    if text in ("auto", "measured"):
        return None if text == "measured" else "auto"
    try:
        return float(text)
    except ValueError:
        raise BadInput(
            f"{text!r} is no room temperature.", where="--ambient", remedy="Degrees Celsius, or 'measured'."
        ) from None
