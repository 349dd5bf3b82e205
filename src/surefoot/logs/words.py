"""The words by which loggers call quantities and parts, in English and some in German, French and Spanish.

Patterns run over a header in lower case without accents, its words separated by single blanks (`plain`).
"""

from __future__ import annotations

import re
import unicodedata

_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})")
_NOT_WORD = re.compile(r"(?:[^\w%+#/]|_)+")
_SCRIPTS = re.compile(r"(?<=[a-z])(?=[^\W\d_a-z])|(?<=[^\W\d_a-z])(?=[a-z])")
_LETTER_DIGIT = re.compile(r"(?<=[a-z])(?=[0-9])|(?<=[0-9])(?=[a-z])")


def plain(header: str) -> str:
    """A header in lower case, accents off, words apart: ``GPUCoreClock_MHz`` gives ``gpu core clock mhz``."""
    text = _CAMEL.sub(" ", header)
    text = _without_accents(text.replace("ß", "ss")).lower()
    text = _SCRIPTS.sub(" ", _LETTER_DIGIT.sub(" ", _NOT_WORD.sub(" ", text)))
    return " ".join(text.split())


def _without_accents(text: str) -> str:
    if text.isascii():
        return text
    return "".join(char for char in unicodedata.normalize("NFKD", text) if not unicodedata.combining(char))


def _any(patterns: str) -> re.Pattern[str]:
    """Any of some patterns, which two or more blanks or line ends set apart."""
    return re.compile(_without_accents("|".join(re.split(r"\s{2,}", patterns.strip()))))


TIME = _any(
    r"""
    \btime\b  \btime ?stamps?\b  \bdate  \bday\b  \belapsed  \buptime  ^seconds?$  ^minutes?$  ^mins?$
    ^minuten$  ^hours?$  ^secs?$  ^sec\b  \bzeit
    uhrzeit  \bdatum\b  laufzeit  dauer\b  sekunden  \btemps$  ^temps\b  \bheure\b  horodat  \bduree\b  \bhora\b
    \bfecha  \btiempo  \bduracion  \brun ?time  \bepoch  \bunix  \butc\b  \bwhen\b  ^t$  ^ms$  ^s$  ^ts$
    время  \bдата  часы  секунд  時刻  時間  日時  日付  时间  日期  時間  秒
    \bmoment\b  \bms since  \bsince start  segundos  secondes  millisec  \bclock time
    """
)
NOT_TIME = _any(
    r"""
    frame  render  between  latency  response  \bcpu\b  \bgpu\b  bild  busy  present  remaining  charge  display
    wait  \bbatter  verbleib  restant
    """
)
DATE = _any(r"dat(?:e|um)  \bday\b  fecha  \bjour  \btag\b  \bдата  日付  日期")
ELAPSED = _any(
    r"""
    elapsed  uptime  duration  laufzeit  dauer  duree  ecoule  duracion  transcurrid  run ?time  since  relative
    offset  vergangen  прошло  経過  经过  已用
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
        комнат  окруж  室温  室內  室内  环境  周囲
        \broom\b  ambient  umgebung  \braum  ambiant  ambiente  \bintake\b  zuluft  \binlet\b  habitacion
        zimmer  \bpiece\b
        """
        ),
    ),
    ("battery", _any(r"batter  \bakku  bateria  \bbat\b  батаре  аккум  電池  电池  バッテリ")),
    ("igpu", _any(r"\bigpu\b  \bigd\b  integrated (?:gpu|graphics)  \bi gpu\b  \bgt cores?\b  cpu graphics")),
    (
        "gpu",
        _any(
            r"""видеокарт  видеопроц  графич  グラフィック  ビデオ  显卡  顯示卡  显存  gpu  graphic  grafik
            graphique  grafic
            \bvga\b  video ?card  \bvram\b  \bgrafica\b"""
        ),
    ),
    (
        "ssd",
        _any(
            r"""
        \bssd  \bnvme  \bhdd  \bdisk  \bdrives?\b  festplatte  disque  \bdisco\b  \bm 2 slot
        """
        ),
    ),
    (
        "cpu",
        _any(r"\bцп\b  процессор  プロセッサ  处理器  處理器  中央处理  cpu  \btctl\b  \btdie\b  \bccd  \bia cores?\b"),
    ),
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
        температур  темп\b  温度  溫度  temp(?!s\b|o\b|orary)  \btctl\b  \btdie\b  \bhot ?spot\b  junction
        \bt (?:core|package|cpu|gpu)\b
        \bcelsius\b  thermal (?:sensor|zone|diode)  \bthermistor
        """
        ),
    ),
    (
        "clock",
        _any(
            r"""
        частот  クロック  周波数  频率  頻率  时钟  clock(?!s? ?time)  \bfreq  takt  frequen  horloge  frecuen  reloj
        \bmhz\b  \bghz\b  \bspeed\b  cadence
        """
        ),
    ),
    ("energy", _any(r"energy  energie  energia  \bjoule")),
    (
        "power",
        _any(
            r"""
        мощност  потреблен  電力  功率  功耗  power  leistung  puissance  potencia  \bwatt  consumption  \bdraw\b
        verbrauch  consommation  consumo
        \bppt\b  \btdp\b  \bpwr\b
        """
        ),
    ),
    (
        "voltage",
        _any(
            r"""
        напряж  電圧  电压  電壓  volt  v ?core  \bvid\b  \bvdd  spannung  tension  \bvcc  voltaje  \bv core\b  \bvddc
        """
        ),
    ),
    ("duty", _any(r"\bfans?\b.*(?:%|pwm|duty|percent)  \bpwm\b  duty")),
    (
        "fan",
        _any(
            r"""
        вентилят  оборот  ファン  回転数  风扇  風扇  转速
        \bfans?\b  \bfan(?=[0-9])  lufter  ventilat  \brpm\b  \bpump\b  drehzahl  ventola  cooler
        """
        ),
    ),
    (
        "busy",
        _any(
            r"""
        загрузк  нагрузк  使用率  負荷  占用  负载
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
        _any(r"distance  \bmargin\b  abstand  headroom  \bdelta\b  to tj ?max  reserve  remaining (?:power|thermal)"),
        "a distance to a limit, not a reading",
    ),
    (_any(r"multiplier  \bratio\b  multiplikator"), "a multiplier, not a clock"),
    (_any(r"\boffset\b  \bversatz\b  decalage"), "an offset, not a reading"),
    (
        _any(
            r"""
            \btarget  \brequest  \bsoll  \bset ?points?\b  \bsetpt\b  \bsp\b
            \bset (?:value|speed|power|temp\w*|clock|volt\w*)
            \bpreset  \bcommand  \bdemand  \bdesired  \bwanted  \bwunsch  \bprogrammed  \bconfigured  \bcfg\b
            \breference\b  \bref\b  \bconsigne  \bconsigna  \bobjecti  \bobjeti  \bvorgabe  \bziel  \bgoal\b
            \bassigned\b  \bscheduled\b  \bplanned\b  \bsetting\b  \bset$  ^set\b
            уставк  заданн  целев  目標  設定  目标  设定
            """
        ),
        "a target, not a reading",
    ),
    (
        _any(
            r"""
            \brated\b  \brating\b  \bnominal  \bnenn  \btdp\b  \bdesign\b  \bdefault\b  \bbase (?:clock|freq\w*|power)
            \bspec\b  \bspecified  \bspecification  \bfactory\b  \bstock\b  \bguaranteed  \bbudget
            \ballowance  \ballotted
            \bcapability  \bcapable  \badvertised  \bstandard\b  \bname ?plate  номинал  定格  额定
            """
        ),
        "a rated or budgeted value, not a reading",
    ),
    (
        _any(
            r"""
            \bpredict  \bforecast  \bprojected  \bprevious\b  \bprior\b  \bstd ?dev  \bstdev\b  \bdeviation
            \bvariance
            \bvarianz  \bpercentile  \bp ?(?:50|90|95|99)\b  \bmedian  \berror\b  \bcalibration  \brate of change
            \bslope\b  \bgradient\b  \btrend\b
            """
        ),
        "worked out from readings, no reading itself",
    ),
    (_any(r"of tdp  % ?tdp  tdp ?%"), "a share of a power limit, not watts"),
)
LIMIT = _any(
    r"""
    \blimit  \bcap\b  \bcapped\b  \bpl ?[124]\b  \bmax(?:imum)? (?:allowed|operating|permitted|safe|rated)  tj ?max
    grenz(?:e|en|wert)\b  \blimite\b  \bthreshold  \bcritical\b  \bcrit\b  \bwarning\b  \bwarn\b
    \bshut ?down\b  \bslow ?down\b
    \btrip\b  \bceiling\b  \balarm  \bemergency\b  \ballowed\b  \bpermitted\b  \bplafond  \bschwell  obergrenz
    \bumbral
    \bseuil  \bhyst  \bbound\b  \bupper\b  предел  лимит  порог  上限  閾値  限制  阈值
    """
)
STATISTIC = (
    (
        "min",
        _any(
            r"""\bmin(?:imum|imal|imale?|imo|imi)?\b  \blowest\b  \blow\b  \blo\b  niedrigst  tiefst  \bfloor\b
            миним  最小  最低"""
        ),
    ),
    (
        "max",
        _any(
            r"""\bmax(?:imum|imal|imale?|imo|imi)?\b  \bpeaks?\b  \bhighest\b  \bhigh\b  \bhi\b  hochst  spitze
            \bcrete\b  \bpico\b  \bspike  макс  最大  最高  峰值"""
        ),
    ),
    (
        "avg",
        _any(
            r"""
            \bavg\b  \baver\w*\b  \bmean\b  durchschn  mittelwert  \bmittel\b  \bmittlere  \bmoyenn?e?\b
            \bmoy\b  promedio
            \bmedia\b  \bmedio\b  \brolling\b  \bmoving\b  \bsmooth  \bfiltered\b  \bema\b  \bsma\b  \baggregate
            \bsustained\b  \blong ?term\b  \bsince (?:start|boot|reset)  \bover (?:the )?last  средн  平均  均值
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
