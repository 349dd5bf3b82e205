"""The words by which loggers call quantities and parts, in English and some in German, French and Spanish.

Patterns run over a header in lower case without accents, its words separated by single blanks (`plain`).
"""

from __future__ import annotations

import re
import unicodedata

_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})")
_NOT_WORD = re.compile(r"[^a-z0-9%+#/]+")
_LETTER_DIGIT = re.compile(r"(?<=[a-z])(?=[0-9])|(?<=[0-9])(?=[a-z])")


def plain(header: str) -> str:
    """A header in lower case, accents off, words apart: ``GPUCoreClock_MHz`` gives ``gpu core clock mhz``."""
    text = _CAMEL.sub(" ", header)
    text = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    text = "".join(char for char in text if not unicodedata.combining(char)).lower()
    text = _LETTER_DIGIT.sub(" ", _NOT_WORD.sub(" ", text))
    return " ".join(text.split())


def _any(patterns: str) -> re.Pattern[str]:
    """Any of some patterns, which two or more blanks or line ends set apart."""
    return re.compile("|".join(re.split(r"\s{2,}", patterns.strip())))


TIME = _any(
    r"""
    \btime\b  \btime ?stamps?\b  \bdate  \bday\b  \belapsed  \buptime  ^seconds?$  ^secs?$  ^sec\b  \bzeit
    uhrzeit  \bdatum\b  laufzeit  dauer\b  sekunden  \btemps$  ^temps\b  \bheure\b  horodat  \bduree\b  \bhora\b
    \bfecha  \btiempo  \bduracion  \brun ?time  \bepoch  \bunix  \butc\b  \bwhen\b  ^t$  ^ms$  ^s$  ^ts$
    \bmoment\b  \bms since  \bsince start  segundos  secondes  millisec  \bclock time
    """
)
NOT_TIME = _any(
    r"""
    frame  render  between  latency  response  \bcpu\b  \bgpu\b  bild  busy  present  remaining  charge  display
    wait  \bbatter  verbleib  restant
    """
)
DATE = _any(r"dat(?:e|um)  \bday\b  fecha  \bjour  \btag\b")
ELAPSED = _any(
    r"""
    elapsed  uptime  duration  laufzeit  dauer  duree  ecoule  duracion  transcurrid  run ?time  since  relative
    offset  vergangen
    """
)
COUNTER = _any(r"^#$  ^no$  ^n$  \bindex\b  \bsample\b  ^row\b  ^id$  \bnumber\b  ^frame$  ^nr$  \bcount\b")

DOMAINS: tuple[tuple[str, re.Pattern[str]], ...] = (
    (
        "frame",
        _any(
            r"""
        \bframe ?times?\b  ms ?between  between presents  bildzeit  bilddauer  frame duration  temps de trame
        tiempo de (?:cuadro|fotograma)  temps d image  \bframe ms\b  \bms per frame\b
        """
        ),
    ),
    (
        "room",
        _any(
            r"""
        \broom\b  ambient  umgebung  \braum  ambiant  ambiente  \bintake\b  zuluft  \binlet\b  habitacion
        zimmer  \bpiece\b
        """
        ),
    ),
    ("battery", _any(r"batter  \bakku  bateria  \bbat\b")),
    ("igpu", _any(r"\bigpu\b  \bigd\b  integrated (?:gpu|graphics)  \bi gpu\b  \bgt cores?\b  cpu graphics")),
    ("gpu", _any(r"gpu  graphic  grafik  graphique  grafic  \bvga\b  video ?card  \bvram\b  \bgrafica\b")),
    (
        "ssd",
        _any(
            r"""
        \bssd  \bnvme  \bhdd  \bdisk  \bdrives?\b  festplatte  disque  \bdisco\b  \bm 2 slot
        """
        ),
    ),
    ("cpu", _any(r"cpu  \btctl\b  \btdie\b  \bccd  \bia cores?\b")),
    (
        "memory",
        _any(
            r"""
        \bmemory\b  \bram\b  \bdimm  \bdram\b  \bddr  arbeitsspeicher  \bspeicher  \bmemoire  \bmemoria
        """
        ),
    ),
    (
        "cpu",
        _any(
            r"""
        processor  prozessor  processeur  procesador  \bpackage\b  \bpkg\b  \bpeci\b  \b[pe] ?cores?\b
        \bv ?core\b  \bkern  \bcoeur  \bnucleo  \bsoc\b  \buncore\b  \bring\b  \bprochot\b  \bvid\b  \bppt\b
        \btdc\b  \bedc\b  \bcores?\b  \bthreads?\b  \bpl ?[124]\b
        """
        ),
    ),
    (
        "board",
        _any(
            r"""
        mother ?board  main ?board  chipset  \bpch\b  \bvrm\b  \bboard\b  \bsystin\b  hauptplatine  carte mere
        placa base
        """
        ),
    ),
    (
        "system",
        _any(
            r"""
        \bsystem  \btotal\b  \bwall\b  \bpsu\b  netzteil  adapter  steckdose  alimentation  \bchassis\b
        \bcase\b  gehause  boitier  \bcaja\b  \bmains\b  \bsys\b  \boutlet\b  \bplug\b
        """
        ),
    ),
)

QUANTITIES: tuple[tuple[str, re.Pattern[str]], ...] = (
    (
        "frame-time",
        _any(
            r"""
        \bframe ?times?\b  ms ?between  between presents  bildzeit  bilddauer  frame duration  temps de trame
        tiempo de (?:cuadro|fotograma)  temps d image  \bframe ms\b  \bms per frame\b
        """
        ),
    ),
    ("reasons", _any(r"reasons?\b  \bgrunde\b  throttle (?:bits|mask|code)  event mask")),
    (
        "thermal-flag",
        _any(
            r"""
        thermal ?thrott  thrott\w* ?(?:by |due to )?(?:temp|therm)  (?:temp\w*|therm\w*) thrott  \bprochot\b
        thermal (?:limit|event|alert|slow)  thermisch\w* (?:drossel|limit|begrenz)  temperaturlimit
        limit\w* ?(?:by |due to )?(?:therm|temp)  temp\w* limit  thermal$  limite thermique  limite termico
        overheat  critical temp
        """
        ),
    ),
    (
        "power-flag",
        _any(
            r"""
        power (?:limit|cap|thrott|brake)  thrott\w* ?(?:by |due to )?power  limit\w* ?(?:by |due to )?power
        \bpl ?[124]\b  \btdp (?:limit|thrott)  leistungs ?(?:limit|begrenz|drossel)  power ?limited
        limite (?:de )?(?:puissance|potencia)  package power thrott  sw power  \bppt limit
        """
        ),
    ),
    (
        "current-flag",
        _any(
            r"""
        (?:current|edp|edc|tdc|icc|icc ?max|electrical) ?(?:point |design )?(?:limit|thrott|cap)
        strom ?(?:limit|begrenz)  limit\w* ?(?:by |due to )?current  thrott\w* ?(?:by |due to )?current
        \bvr ?m? (?:thrott|current limit)  limite de (?:courant|corriente)  voltage regulator.*(?:limit|thrott)
        """
        ),
    ),
    (
        "throttle-flag",
        _any(
            r"""
        throttl  drossel  \bbridage  \bbride  estrangul  ralenti  performance limit\w*
        """
        ),
    ),
    (
        "temperature",
        _any(
            r"""
        temp(?!s\b|o\b|orary)  \btctl\b  \btdie\b  \bhot ?spot\b  junction  \bt (?:core|package|cpu|gpu)\b
        \bcelsius\b  thermal (?:sensor|zone|diode)  \bthermistor
        """
        ),
    ),
    (
        "clock",
        _any(
            r"""
        clock(?!s? ?time)  \bfreq  takt  frequen  horloge  frecuen  reloj  \bmhz\b  \bghz\b  \bspeed\b  cadence
        """
        ),
    ),
    ("energy", _any(r"energy  energie  energia  \bjoule")),
    (
        "power",
        _any(
            r"""
        power  leistung  puissance  potencia  \bwatt  consumption  \bdraw\b  verbrauch  consommation  consumo
        \bppt\b  \btdp\b  \bpwr\b
        """
        ),
    ),
    (
        "voltage",
        _any(
            r"""
        volt  v ?core  \bvid\b  \bvdd  spannung  tension  \bvcc  voltaje  \bv core\b  \bvddc
        """
        ),
    ),
    ("duty", _any(r"\bfans?\b.*(?:%|pwm|duty|percent)  \bpwm\b  duty")),
    (
        "fan",
        _any(
            r"""
        \bfans?\b  \bfan(?=[0-9])  lufter  ventilat  \brpm\b  \bpump\b  drehzahl  ventola  cooler
        """
        ),
    ),
    (
        "busy",
        _any(
            r"""
        \bload\b  usage  utili[sz]ation  \butil\b  \bbusy\b  activity  auslastung  utilisation
        \bcharge (?:du )?(?:cpu|gpu|proc)  (?:cpu|gpu|processeur) charge  \buso\b
        \bcarga (?:de )?(?:la )?(?:cpu|gpu)  (?:cpu|gpu) carga  \blast\b
        """
        ),
    ),
    (
        "charge",
        _any(
            r"""
        \bcharge\b(?! rate)  \blevel\b  ladestand  ladezustand  \bcapacity\b  niveau  \bnivel\b  remaining
        state of charge  \bsoc\b  \bcarga\b  percent
        """
        ),
    ),
    (
        "current",
        _any(
            r"""
        \bcurrent\b  \bamps?\b  strom\b  stromstarke  courant  corriente  \bampere  \btdc\b  \bedc\b
        """
        ),
    ),
)

# A quantity that a unit's family can mean, the first when no word says otherwise.
FAMILY_QUANTITIES: dict[str, tuple[str, ...]] = {
    "temperature": ("temperature", "temperature-limit"),
    "clock": ("clock", "clock-limit"),
    "power": ("power", "power-limit"),
    "energy": ("energy",),
    "voltage": ("voltage",),
    "current": ("current",),
    "speed": ("fan",),
    "share": ("busy", "duty", "charge", "thermal-flag", "power-flag", "current-flag", "throttle-flag"),
    "time": ("frame-time",),
    "flag": ("throttle-flag", "thermal-flag", "power-flag", "current-flag"),
}

# Words that make of a reading something else, with what to say.
NOT_LIVE: tuple[tuple[re.Pattern[str], str], ...] = (
    (
        _any(r"distance  \bmargin\b  abstand  headroom  \bdelta\b  to tj ?max  reserve"),
        "a distance to a limit, not a reading",
    ),
    (_any(r"multiplier  \bratio\b  multiplikator"), "a multiplier, not a clock"),
    (_any(r"\boffset\b"), "an offset, not a reading"),
    (_any(r"\btarget\b  \brequested?\b  \bsoll"), "a target, not a reading"),
    (_any(r"of tdp  % ?tdp  tdp ?%"), "a share of a power limit, not watts"),
)
LIMIT = _any(
    r"""
    \blimit  \bcap\b  \bpl ?[124]\b  \bmax(?:imum)? allowed  tj ?max  grenze?\b  \blimite\b  \bthreshold\b
    """
)
STATISTIC = (
    ("min", _any(r"\bmin(?:imum|imal|imo)?\b  \blowest\b  niedrigst")),
    ("max", _any(r"\bmax(?:imum|imal|imo)?\b  \bpeak\b  \bhighest\b  hochst  spitze")),
    (
        "avg",
        _any(
            r"""
            \bavg\b  \baverage\b  \bmean\b  durchschn  mittelwert  \bmittel\b  \bmoyenn?e?\b  promedio
            \bmedia\b
            """
        ),
    ),
)
FRAME_RATE = _any(
    r"""
    \bfps\b  frames? per sec  frame ?rate  bildrate  bilder pro  images par sec  cuadros por
    """
)

PARTS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("hotspot", _any(r"hot ?spot  junction(?! temperature limit)  heissester")),
    ("memory", _any(r"\bmem(?:ory)?\b  \bvram\b  speicher  memoire  memoria")),
    ("vrm", _any(r"\bvrm?\b  \bmos(?:fet)?\b  regulator")),
    ("soc", _any(r"\bsoc\b  \bsystem agent\b  \bsa\b")),
    ("ring", _any(r"\bring\b  \bllc\b  \bcache\b  \buncore\b")),
    ("bus", _any(r"\bbus\b  \bbclk\b  \bfsb\b")),
    ("shader", _any(r"\bshader\b")),
    ("video", _any(r"\bvideo\b(?! ?card)  \bencode  \bdecode")),
    ("effective", _any(r"\beffective\b  effektiv  \beff\b")),
    ("cores", _any(r"\bia cores?\b  \bcores power\b  \bpp ?0\b  \bcore power\b(?<!gpu core power)")),
    ("vid", _any(r"\bvid\b")),
    ("pump", _any(r"\bpump\b  pumpe")),
)
CORE = re.compile(r"\b(?:[pe] ?)?(?:cores?|kern|coeur|nucleo) ?#? ?(\d{1,3})\b")
CORE_GLUED = re.compile(r"\bcpu ?#? ?(\d{1,3})\b")
THREAD = re.compile(r"\b(?:t|thread) ?#? ?(\d{1,3})\b")
CCD = re.compile(r"\bccd ?#? ?(\d{1,2})\b")
GPU_NUMBER = re.compile(r"\bgpu ?#? ?(\d)\b")
FAN_NUMBER = re.compile(r"\b(?:fans?|lufter|ventil\w*) ?#? ?(\d{1,2})\b")
WHOLE = _any(r"\bpackage\b  \bpkg\b  \btotal\b  \bdie\b")

# Words that say nothing about which of two like columns is which.
_COMMON_WORDS = (
    "cpu gpu core the of in and temperature temp clock clocks frequency power voltage fan fans speed usage load "
    "current value sensor reading live now actual package graphics processor total board all"
)
COMMON = frozenset(_COMMON_WORDS.split())


FOOTER = _any(
    r"""
    ^(?:min|max|avg|mean|sum|total|std|median|end|stop|count)\b  ^(?:minimum|maximum|average|minima|maxima)
    ^(?:end of|ende\b|fin\b)  ^(?:durchschnitt|mittelwert|mittel\b|summe\b|moyenne|promedio|media\b|total)
    ^(?:statistic|summary|zusammenfassung|resume|resumen)  \bstopped\b  \bbeendet\b
    \blog(?:ging)? (?:end|stop|finished)
    """
)
