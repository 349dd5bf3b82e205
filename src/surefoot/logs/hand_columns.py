"""Which column of a hand-kept table holds what, from headings in English, German, French and Spanish."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from surefoot.errors import BadInput
from surefoot.logs.hand_minutes import unit_of_heading
from surefoot.logs.hand_words import NEGATIVE_HEADINGS, POSITIVE_HEADINGS, phrases_of, words_of
from surefoot.logs.words import plain
from surefoot.units import Knob, Unit

IGNORED: Final = "ignore"

# Common practice, no source.
FIELDS: Final[Mapping[str, frozenset[str]]] = {
    name: phrases_of(words)
    for name, words in {
        "minutes": """
            minutes; minute; min; mins; duration; time under load; runtime; run time; length; how long; dauer; laufzeit
            minuten; duree; duracion; minutos; tiempo
            """,
        "hours": "hours; hour; hrs; h; std; stunden; heures; heure; horas; hora",
        "seconds": "seconds; secs; sec; sekunden; secondes; segundos",
        "outcome": """
            outcome; result; results; status; state; verdict; ended; how it ended; ergebnis; resultat; ausgang; urteil
            etat; issue; resultado; estado; veredicto; salida
            """
        + ";".join(POSITIVE_HEADINGS | NEGATIVE_HEADINGS),
        "when": """
            when; date; day; timestamp; started; start; datetime; date and time; datum; tag; wann; zeitpunkt; beginn
            date et heure; jour; quand; debut; fecha; dia; cuando; inicio; fecha y hora
            """,
        "load": """
            load; test; workload; stress; stress test; program; programme; tool; last; lasttest; belastung; programm
            charge; programme de test; carga; prueba; programa
            """,
        "note": """
            note; notes; comment; comments; remark; remarks; notiz; notizen; bemerkung; bemerkungen; kommentar
            anmerkung; remarque; remarques; commentaire; commentaires; nota; notas; comentario
            comentarios; observaciones
            """,
        "ambient": """
            ambient; room; room temperature; ambient temperature; raum; raumtemperatur; zimmer; umgebung
            umgebungstemperatur; piece; ambiante; temperature ambiante; ambiente; temperatura ambiente; habitacion
            """,
        "mode": "mode; power mode; profile; modus; profil; energieprofil; modo; perfil; mode d alimentation",
    }.items()
}
_QUANTITIES: Final = words_of(
    """
    offset undervolt undervolting overclock voltage clock uv oc versatz spannung takt unterspannung ubertaktung
    decalage tension frequence desplazamiento voltaje frecuencia reloj volt
    """
)
_DOMAINS: Final[Mapping[str, frozenset[str]]] = {
    "cpu": words_of(
        """
    cpu processor prozessor processeur procesador core kern coeur nucleo
    """
    ),
    "gpu": words_of(
        """
    gpu graphics graphic grafik grafikkarte graphique grafica grafico
    """
    ),
    "memory": words_of(
        """
    memory ram vram speicher memoire memoria
    """
    ),
}


@dataclass(frozen=True, slots=True)
class HandColumn:
    """A column: its heading, what it is taken as (a knob's name, a field, or ``ignore``), whether the user said so,
    and for a length of time the unit of its numbers, None where the heading names none."""

    heading: str
    meaning: str
    told: bool = False
    unit: str | None = None


def meanings(unit: Unit) -> tuple[str, ...]:
    """Everything a column can hold, for this unit."""
    return (*(knob.name for knob in unit.knobs), *FIELDS, IGNORED)


def match_columns(unit: Unit, header: Sequence[str], given: Mapping[str, str]) -> tuple[HandColumn, ...]:
    """What each column holds. ``given`` decides first; a knob is found by its name, then by its domain and unit.

    Raises BadInput for a heading or a meaning that is not known, and for one meaning given twice.
    """
    for name, meaning in given.items():
        if name not in header:
            raise BadInput(f"there is no column {name!r}.", where="--map", remedy=f"Columns: {', '.join(header)}.")
        if meaning not in meanings(unit):
            raise BadInput(
                f"{meaning!r} is nothing a column can hold.",
                where="--map",
                remedy=f"Known: {', '.join(sorted(meanings(unit)))}.",
            )
    said = [meaning for meaning in given.values() if meaning != IGNORED]
    for meaning in said:
        if said.count(meaning) > 1:
            raise BadInput(f"two columns cannot both hold {meaning!r}.", where="--map")
    taken = set(said)
    found: dict[str, str] = {}
    # A heading that is a field's very word goes before one that only contains it: "Result" before "Test result".
    for exact in (True, False):
        for name in header:
            if name in given or name in found:
                continue
            guess = _knob_named(unit, name, taken) or _field_named(name, taken, exact)
            if guess:
                found[name] = guess
                taken.add(guess)
    return tuple(_column(name, given.get(name), found.get(name, IGNORED)) for name in header)


def _column(heading: str, told: str | None, found: str) -> HandColumn:
    meaning = told or found
    unit = None
    if meaning in ("hours", "seconds"):
        unit = meaning
    elif meaning == "minutes":
        unit = unit_of_heading(heading) or ("minutes" if told else None)
    return HandColumn(heading, meaning, told is not None, unit)


def _knob_named(unit: Unit, heading: str, taken: set[str]) -> str | None:
    said = set(plain(heading).split())
    free = [knob for knob in unit.knobs if knob.name not in taken]
    named = [knob for knob in free if set(plain(knob.name).split()) <= said]
    if named:
        return max(named, key=lambda knob: len(plain(knob.name).split())).name
    leaders = [knob for knob in free if knob.linked_to is None]
    fits = [knob for knob in leaders if _fits(knob, heading)]
    if not fits and len(unit.leaders()) == 1 and said & _QUANTITIES:
        # On a unit of one knob "Offset" can be nothing else, unless it names another part.
        elsewhere = set().union(*(words for domain, words in _DOMAINS.items() if domain != unit.leaders()[0].domain))
        fits = [] if said & elsewhere else leaders
    return fits[0].name if len(fits) == 1 else None


def _fits(knob: Knob, heading: str) -> bool:
    said = set(plain(heading).split())
    others = set().union(*(words for domain, words in _DOMAINS.items() if domain != knob.domain))
    own = _DOMAINS.get(knob.domain, frozenset({knob.domain.lower()}))
    if said & (others - _DOMAINS["cpu"]) - own:
        return False  # "GPU core" is of the graphics, though a core alone is the processor's
    spoken = f" {plain(heading)} "
    in_unit = f" {plain(knob.unit)} " in spoken or f" {knob.unit.lower()} " in spoken
    of_domain, quantity = bool(said & own), bool(said & _QUANTITIES)
    return (in_unit and (of_domain or not said & others)) or (of_domain and quantity)


def _field_named(heading: str, taken: set[str], exact: bool) -> str | None:
    said = plain(heading).split()
    bare = [word for word in said if unit_of_heading(word) is None] if unit_of_heading(heading) else said
    for field, names in FIELDS.items():
        if field in taken or (field in ("hours", "seconds", "minutes") and taken & {"hours", "seconds", "minutes"}):
            continue
        if " ".join(said) in names or " ".join(bare) in names:
            return field
        if not exact and any(word in names and len(word) > 2 for word in said):
            return field
    return None
