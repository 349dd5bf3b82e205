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


def _any(*patterns: str) -> re.Pattern[str]:
    return re.compile("|".join(patterns))


TIME = _any(
    r"\btime\b", r"\btime ?stamps?\b", r"\bdate", r"\bday\b", r"\belapsed", r"\buptime", r"^seconds?$", r"^secs?$", r"^sec\b",
    r"\bzeit", r"uhrzeit", r"\bdatum\b", r"laufzeit", r"dauer\b", r"sekunden", r"\btemps$", r"^temps\b", r"\bheure\b", r"horodat",
    r"\bduree\b", r"\bhora\b", r"\bfecha", r"\btiempo", r"\bduracion", r"\brun ?time", r"\bepoch", r"\bunix", r"\butc\b", r"\bwhen\b",
    r"^t$", r"^ms$", r"^s$", r"^ts$", r"\bmoment\b", r"\bms since", r"\bsince start", r"segundos", r"secondes", r"millisec", r"\bclock time",
)  # fmt: skip
NOT_TIME = _any(
    r"frame", r"render", r"between", r"latency", r"response", r"\bcpu\b", r"\bgpu\b", r"bild", r"busy", r"present", r"remaining", r"charge",
    r"display", r"wait", r"\bbatter", r"verbleib", r"restant",
)  # fmt: skip
ELAPSED = _any(
    r"elapsed", r"uptime", r"duration", r"laufzeit", r"dauer", r"duree", r"ecoule", r"duracion", r"transcurrid", r"run ?time", r"since",
    r"relative", r"offset", r"vergangen",
)  # fmt: skip
COUNTER = _any(r"^#$", r"^no$", r"^n$", r"\bindex\b", r"\bsample\b", r"^row\b", r"^id$", r"\bnumber\b", r"^frame$", r"^nr$", r"\bcount\b")

DOMAINS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("frame", _any(r"\bframe ?times?\b", r"ms ?between", r"between presents", r"bildzeit", r"bilddauer", r"frame duration", r"temps de trame",
                   r"tiempo de (?:cuadro|fotograma)", r"temps d image", r"\bframe ms\b", r"\bms per frame\b")),
    ("room", _any(r"\broom\b", r"ambient", r"umgebung", r"\braum", r"ambiant", r"ambiente", r"\bintake\b", r"zuluft", r"\binlet\b", r"habitacion",
                  r"zimmer", r"\bpiece\b")),
    ("battery", _any(r"batter", r"\bakku", r"bateria", r"\bbat\b")),
    ("igpu", _any(r"\bigpu\b", r"\bigd\b", r"integrated (?:gpu|graphics)", r"\bi gpu\b", r"\bgt cores?\b", r"cpu graphics")),
    ("gpu", _any(r"gpu", r"graphic", r"grafik", r"graphique", r"grafic", r"\bvga\b", r"video ?card", r"\bvram\b", r"\bgrafica\b")),
    ("storage", _any(r"\bssd", r"\bnvme", r"\bhdd", r"\bdisk", r"\bdrives?\b", r"festplatte", r"disque", r"\bdisco\b", r"\bm 2 slot")),
    ("cpu", _any(r"cpu", r"\btctl\b", r"\btdie\b", r"\bccd", r"\bia cores?\b")),
    ("memory", _any(r"\bmemory\b", r"\bram\b", r"\bdimm", r"\bdram\b", r"\bddr", r"arbeitsspeicher", r"\bspeicher", r"\bmemoire", r"\bmemoria")),
    ("cpu", _any(r"processor", r"prozessor", r"processeur", r"procesador", r"\bpackage\b", r"\bpkg\b", r"\bpeci\b", r"\b[pe] ?cores?\b",
                 r"\bv ?core\b", r"\bkern", r"\bcoeur", r"\bnucleo", r"\bsoc\b", r"\buncore\b", r"\bring\b", r"\bprochot\b", r"\bvid\b",
                 r"\bppt\b", r"\btdc\b", r"\bedc\b", r"\bcores?\b", r"\bthreads?\b", r"\bpl ?[124]\b")),
    ("board", _any(r"mother ?board", r"main ?board", r"chipset", r"\bpch\b", r"\bvrm\b", r"\bboard\b", r"\bsystin\b", r"hauptplatine", r"carte mere",
                   r"placa base")),
    ("system", _any(r"\bsystem", r"\btotal\b", r"\bwall\b", r"\bpsu\b", r"netzteil", r"adapter", r"steckdose", r"alimentation", r"\bchassis\b",
                    r"\bcase\b", r"gehause", r"boitier", r"\bcaja\b", r"\bmains\b", r"\bsys\b", r"\boutlet\b", r"\bplug\b")),
)  # fmt: skip

QUANTITIES: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("frame-time", _any(r"\bframe ?times?\b", r"ms ?between", r"between presents", r"bildzeit", r"bilddauer", r"frame duration",
                        r"temps de trame", r"tiempo de (?:cuadro|fotograma)", r"temps d image", r"\bframe ms\b", r"\bms per frame\b")),
    ("reasons", _any(r"reasons?\b", r"\bgrunde\b", r"throttle (?:bits|mask|code)", r"event mask")),
    ("thermal-flag", _any(r"thermal ?thrott", r"thrott\w* ?(?:by |due to )?(?:temp|therm)", r"(?:temp\w*|therm\w*) thrott", r"\bprochot\b",
                          r"thermal (?:limit|event|alert|slow)", r"thermisch\w* (?:drossel|limit|begrenz)", r"temperaturlimit",
                          r"limit\w* ?(?:by |due to )?(?:therm|temp)", r"temp\w* limit", r"thermal$", r"limite thermique", r"limite termico",
                          r"overheat", r"critical temp")),
    ("power-flag", _any(r"power (?:limit|cap|thrott|brake)", r"thrott\w* ?(?:by |due to )?power", r"limit\w* ?(?:by |due to )?power",
                        r"\bpl ?[124]\b", r"\btdp (?:limit|thrott)", r"leistungs ?(?:limit|begrenz|drossel)", r"power ?limited",
                        r"limite (?:de )?(?:puissance|potencia)", r"package power thrott", r"sw power", r"\bppt limit")),
    ("current-flag", _any(r"(?:current|edp|edc|tdc|icc|icc ?max|electrical) ?(?:point |design )?(?:limit|thrott|cap)", r"strom ?(?:limit|begrenz)",
                          r"limit\w* ?(?:by |due to )?current", r"thrott\w* ?(?:by |due to )?current", r"\bvr ?m? (?:thrott|current limit)",
                          r"limite de (?:courant|corriente)", r"voltage regulator.*(?:limit|thrott)")),
    ("throttle-flag", _any(r"throttl", r"drossel", r"\bbridage", r"\bbride", r"estrangul", r"ralenti", r"performance limit\w*")),
    ("temperature", _any(r"temp(?!s\b|o\b|orary)", r"\btctl\b", r"\btdie\b", r"\bhot ?spot\b", r"junction", r"\bt (?:core|package|cpu|gpu)\b",
                         r"\bcelsius\b", r"thermal (?:sensor|zone|diode)", r"\bthermistor")),
    ("clock", _any(r"clock(?!s? ?time)", r"\bfreq", r"takt", r"frequen", r"horloge", r"frecuen", r"reloj", r"\bmhz\b", r"\bghz\b", r"\bspeed\b",
                   r"cadence")),
    ("energy", _any(r"energy", r"energie", r"energia", r"\bjoule")),
    ("power", _any(r"power", r"leistung", r"puissance", r"potencia", r"\bwatt", r"consumption", r"\bdraw\b", r"verbrauch", r"consommation",
                   r"consumo", r"\bppt\b", r"\btdp\b", r"\bpwr\b")),
    ("voltage", _any(r"volt", r"v ?core", r"\bvid\b", r"\bvdd", r"spannung", r"tension", r"\bvcc", r"voltaje", r"\bv core\b", r"\bvddc")),
    ("duty", _any(r"\bfans?\b.*(?:%|pwm|duty|percent)", r"\bpwm\b", r"duty")),
    ("fan", _any(r"\bfans?\b", r"\bfan(?=[0-9])", r"lufter", r"ventilat", r"\brpm\b", r"\bpump\b", r"drehzahl", r"ventola", r"cooler")),
    ("busy", _any(r"\bload\b", r"usage", r"utili[sz]ation", r"\butil\b", r"\bbusy\b", r"activity", r"auslastung", r"utilisation", r"\bcharge (?:du )?"
                  r"(?:cpu|gpu|proc)", r"(?:cpu|gpu|processeur) charge", r"\buso\b", r"\bcarga (?:de )?(?:la )?(?:cpu|gpu)", r"(?:cpu|gpu) carga",
                  r"\blast\b")),
    ("charge", _any(r"\bcharge\b(?! rate)", r"\blevel\b", r"ladestand", r"ladezustand", r"\bcapacity\b", r"niveau", r"\bnivel\b", r"remaining",
                    r"state of charge", r"\bsoc\b", r"\bcarga\b", r"percent")),
    ("current", _any(r"\bcurrent\b", r"\bamps?\b", r"strom\b", r"stromstarke", r"courant", r"corriente", r"\bampere", r"\btdc\b", r"\bedc\b")),
)  # fmt: skip

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
    (_any(r"distance", r"\bmargin\b", r"abstand", r"headroom", r"\bdelta\b", r"to tj ?max", r"reserve"), "a distance to a limit, not a reading"),
    (_any(r"multiplier", r"\bratio\b", r"multiplikator"), "a multiplier, not a clock"),
    (_any(r"\boffset\b"), "an offset, not a reading"),
    (_any(r"\btarget\b", r"\brequested?\b", r"\bsoll"), "a target, not a reading"),
    (_any(r"of tdp", r"% ?tdp", r"tdp ?%"), "a share of a power limit, not watts"),
)
LIMIT = _any(r"\blimit", r"\bcap\b", r"\bpl ?[124]\b", r"\bmax(?:imum)? allowed", r"tj ?max", r"grenze?\b", r"\blimite\b", r"\bthreshold\b")
STATISTIC = (
    ("min", _any(r"\bmin(?:imum|imal|imo)?\b", r"\blowest\b", r"niedrigst")),
    ("max", _any(r"\bmax(?:imum|imal|imo)?\b", r"\bpeak\b", r"\bhighest\b", r"hochst", r"spitze")),
    ("avg", _any(r"\bavg\b", r"\baverage\b", r"\bmean\b", r"durchschn", r"mittelwert", r"\bmittel\b", r"\bmoyenn?e?\b", r"promedio", r"\bmedia\b")),
)
FRAME_RATE = _any(r"\bfps\b", r"frames? per sec", r"frame ?rate", r"bildrate", r"bilder pro", r"images par sec", r"cuadros por")

PARTS: tuple[tuple[str, re.Pattern[str]], ...] = (
    ("hotspot", _any(r"hot ?spot", r"junction(?! temperature limit)", r"heissester")),
    ("memory", _any(r"\bmem(?:ory)?\b", r"\bvram\b", r"speicher", r"memoire", r"memoria")),
    ("vrm", _any(r"\bvrm?\b", r"\bmos(?:fet)?\b", r"regulator")),
    ("soc", _any(r"\bsoc\b", r"\bsystem agent\b", r"\bsa\b")),
    ("ring", _any(r"\bring\b", r"\bllc\b", r"\bcache\b", r"\buncore\b")),
    ("bus", _any(r"\bbus\b", r"\bbclk\b", r"\bfsb\b")),
    ("shader", _any(r"\bshader\b")),
    ("video", _any(r"\bvideo\b(?! ?card)", r"\bencode", r"\bdecode")),
    ("effective", _any(r"\beffective\b", r"effektiv", r"\beff\b")),
    ("cores", _any(r"\bia cores?\b", r"\bcores power\b", r"\bpp ?0\b", r"\bcore power\b(?<!gpu core power)")),
    ("vid", _any(r"\bvid\b")),
    ("pump", _any(r"\bpump\b", r"pumpe")),
)
CORE = re.compile(r"\b(?:[pe] ?)?(?:cores?|kern|coeur|nucleo) ?#? ?(\d{1,3})\b")
CORE_GLUED = re.compile(r"\bcpu ?#? ?(\d{1,3})\b")
THREAD = re.compile(r"\b(?:t|thread) ?#? ?(\d{1,3})\b")
CCD = re.compile(r"\bccd ?#? ?(\d{1,2})\b")
GPU_NUMBER = re.compile(r"\bgpu ?#? ?(\d)\b")
FAN_NUMBER = re.compile(r"\b(?:fans?|lufter|ventil\w*) ?#? ?(\d{1,2})\b")
WHOLE = _any(r"\bpackage\b", r"\bpkg\b", r"\btotal\b", r"\bdie\b")

# Words that say nothing about which of two like columns is which.
COMMON = frozenset(
    "cpu gpu core the of in and temperature temp clock clocks frequency power voltage fan fans speed usage load current value sensor "
    "reading live now actual package graphics processor total board all [ ]".split()
)

FOOTER = _any(
    r"^(?:min|max|avg|mean|sum|total|std|median|end|stop|count)\b", r"^(?:minimum|maximum|average|minima|maxima)", r"^(?:end of|ende\b|fin\b)",
    r"^(?:durchschnitt|mittelwert|mittel\b|summe\b|moyenne|promedio|media\b|total)", r"^(?:statistic|summary|zusammenfassung|resume|resumen)",
    r"\bstopped\b", r"\bbeendet\b", r"\blog(?:ging)? (?:end|stop|finished)",
)  # fmt: skip
