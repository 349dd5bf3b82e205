"""The words by which people write down how a run ended, in English, German, French and Spanish.

Everything here is common practice, no source. Phrases run over a cell as `surefoot.logs.words.plain` gives it: lower
case, accents off, words apart. What is not listed is not understood, and is asked.
"""

from __future__ import annotations

from typing import Final

from surefoot.runs import Outcome


def words_of(text: str) -> frozenset[str]:
    """The words of a text, blanks between them."""
    return frozenset(text.split())


def phrases_of(text: str) -> frozenset[str]:
    """The phrases of a text, a semicolon or a line end between them."""
    return frozenset(phrase.strip() for phrase in text.replace("\n", ";").split(";")) - {""}


HELD: Final = phrases_of(
    """
    held; hold; holds; pass; passed; passes; passing; stable; rock solid; solid; ok; okay; good; fine; success;
    successful; successfully; succeeded; clean; survived; survives; worked; works; no complaint; all good
    gehalten; halt; haelt; bestanden; stabil; gut; erfolgreich; durchgelaufen; durchgehalten; in ordnung; i o
    tenu; tenue; tient; a tenu; reussi; reussie; reussit; bon; bonne; ca tient; valide
    estable; aguanto; aguanta; aguantado; superado; superada; paso; pasa; bien; bueno; buena; correcto; mantuvo
    exito; con exito; exitoso
    """
)
"""The run survived."""

ENDED: Final = phrases_of(
    """
    done; complete; completed; finished; ended; ran; ran through; fertig; beendet; gelaufen; abgeschlossen
    termine; terminee; fini; finie; complet; terminado; terminada; acabado; completado; completada
    """
)
"""It came to its end, which does not say that nothing went wrong on the way."""

FAILED: Final[dict[Outcome, str]] = {
    Outcome.DRIVER_RESET: """
        driver reset; driver crash; driver crashed; driver crashes; driver restart; driver restarted; driver failed
        driver timeout; driver timed out; driver stopped; driver stopped responding; driver not responding
        driver hang; driver hung; driver lost; driver error; driver recovered; display driver; tdr; device lost
        treiber; treiberreset; treiberabsturz; treiber abgesturzt; treiber zuruckgesetzt; treiberfehler
        pilote; pilote reinitialise; pilote plante; crash pilote; crash du pilote; erreur pilote
        controlador; fallo del controlador; controlador reiniciado; reinicio del controlador
        """,
    Outcome.OVERHEAT: """
        overheat; overheated; overheating; overheats; too hot; over temperature; thermal shutdown; ceiling
        uberhitzt; ueberhitzt; uberhitzung; zu heiss; surchauffe; trop chaud; sobrecalentamiento; sobrecalento
        sobrecalentado; demasiado caliente
        """,
    Outcome.MISCOMPUTE: """
        miscompute; miscomputed; wrong; wrong result; wrong results; error; errors; errored; artifact; artifacts
        artefact; artefacts; artifacting; invalid; rounding; rounding error; mismatch; corrupt; corrupted; corruption
        incorrect; glitch; glitches; uncorrected; flicker; flickering
        fehler; fehlerhaft; falsch; rechenfehler; artefakt; artefakte; bildfehler; ungultig
        erreur; erreurs; faux; fausse; artefacts; invalide; errores; incorrecto; incorrecta; artefacto; artefactos
        invalido; invalida
        """,
    Outcome.CORRECTED: """
        corrected; corrected error; corrected errors; whea; whea error; whea errors; ecc; ecc error; ecc errors; mce
        machine check; machine check error; machine check errors; korrigiert; korrigierte fehler; korrigierter fehler
        erreur corrigee; erreurs corrigees; corrige; corrigee; corrigees; corregido; corregidos; errores corregidos
        error corregido
        """,
    Outcome.HANG: """
        hang; hangs; hanging; hung; freeze; freezes; freezing; froze; frozen; stuck; unresponsive; not responding
        not respond; did not respond; stopped responding; no response; locked; locked up; lock up; lockup; lockups
        hangt; aufgehangt; aufgehangen; eingefroren; friert; friert ein; hangengeblieben; reagiert nicht
        keine reaktion; fige; figee; gele; gel; bloque; bloquee; blocage; ne repond plus; ne repond pas
        colgado; colgo; se colgo; cuelgue; congelado; congelo; se congelo; bloqueado; bloqueo; no responde
        """,
    Outcome.RESET: """
        crash; crashed; crashes; crashing; reset; resets; reboot; reboots; rebooted; restart; restarts; restarted; bsod
        gsod; blue screen; bluescreen; black screen; green screen; panic; kernel panic; shutdown; shut down; shut off
        shuts down; powered off; power off; turned off; switched off; went down; died; dies; dead
        absturz; absturze; abgesturzt; abgestuerzt; sturzt ab; neustart; neustarts; neu gestartet; neugestartet
        blauer bildschirm; schwarzer bildschirm; ausgegangen; ausgeschaltet; crash
        plante; plantee; plantage; plantages; ecran bleu; ecran noir; redemarre; redemarrage; redemarrages; eteint
        crashe; pantalla azul; pantalla negra; pantallazo; pantallazo azul; reinicio; reinicios; reiniciado; se reinicio
        apagado; apagon; se apago; murio
        fail; fails; failed; failing; failure; failures; unstable; instable; instability; unsteady; bad; nok; ko; broken
        unsuccessful; problem; problems; issue; issues; trouble
        instabil; durchgefallen; nicht bestanden; fehlgeschlagen; gescheitert; schlecht; versagt; ausfall; n i o
        probleme; problem
        echec; echoue; echouee; mauvais; mauvaise; rate; ratee; fallo; fallos; fallido; fallida; fallado; falla; fallas
        inestable; malo; mala; mal; problema; problemas
        """,
    Outcome.SLOW: """
        slow; slower; score fell; score dropped; lost score; lower score; lost speed; langsam; langsamer
        weniger punkte; lent; lente; ralenti; ralentie; lento; lenta; mas lento; stretched
        """,
}
"""Failures by outcome, and `overheat`, which says nothing of stability."""

NO_EVIDENCE: Final = phrases_of(
    """
    void; abort; aborted; interrupted; interrupt; cancel; cancelled; canceled; skipped; skip; n a; not run; power cut
    not tested; untested; abgebrochen; abbruch; unterbrochen; ubersprungen; nicht getestet; stromausfall
    annule; annulee; interrompu; interrompue; abandonne; non teste; coupure de courant
    cancelado; cancelada; interrumpido; interrumpida; abortado; omitido; no probado; corte de luz
    """
)
"""It was interrupted: no evidence."""

NOT: Final = words_of(
    """
    not no never none without zero 0 nothing neither nor cannot hasnt havent wasnt werent isnt arent didnt
    doesnt dont wont couldnt wouldnt cant aint nicht kein keine keinen keiner keinerlei nie niemals ohne nichts
    pas non jamais sans aucun aucune rien ni nunca jamas sin ningun ninguna ninguno nada
    """
)
"""Words that turn what follows round; where nothing follows, what stands before them (French and German)."""

OR: Final = words_of(
    """
    or nor oder noch ou ni o either weder
    """
)

HEDGES: Final = words_of(
    """
    almost nearly mostly probably maybe perhaps possibly barely hardly seems seemed seemingly somewhat partly
    partially semi quite unsure unclear unknown apparently likely usually sometimes occasionally rarely
    borderline if unless until except sort kind ish fast beinahe meist meistens vielleicht wohl kaum scheinbar
    teilweise manchmal halbwegs bis presque peut etre probablement parfois semble quasi sauf jusqu casi quizas
    quiza probablemente parece apenas veces excepto hasta first initially then later afterwards anfangs zuerst
    spater puis ensuite luego despues dann
    """
)
"""Words that leave in doubt what is said beside them."""

YES: Final = words_of(
    """
    yes y ja j oui si true wahr vrai verdadero 1
    """
)
NO: Final = words_of(
    """
    no n nein non false falsch faux falso 0
    """
)
"""Answers whose meaning hangs on the heading they stand under."""

TICKS: Final = "✓✔☑✅"
CROSSES: Final = "✗✘✕✖☒❌"

FILLERS: Final = words_of(
    """
    a an the it this that was were is are be been being did does do had has have got after at in on of to for
    with while during when and but min mins minute minutes h hr hrs hour hours s sec secs second seconds ms day
    days week night overnight run runs test tests testing tested still so far all whole entire both time times
    through result results any more single sign signs system pc machine computer screen worker workers core
    cores thread threads very completely fully totally perfectly again there nach im in bei der die das den dem
    ein eine einen es war waren ist sind hat haben wurde wird mit und aber lief lange minuten stunden std
    sekunden tag lauf test tests ganz voll vollig komplett immer wieder noch apres le la les l un une de du des
    d en est etait ete et mais minute minutes heure heures pendant tout toute tres de el los las uno una es fue
    ha estuvo y pero durante minuto minutos hora horas tras se del todo toda muy sigue ne n
    """
)
"""Words that change nothing."""

POSITIVE_HEADINGS: Final = words_of(
    """
    stable stability held hold pass passed ok okay success good stabil bestanden gehalten erfolg erfolgreich
    tenu reussi valide estable superado exito aguanto
    """
)
NEGATIVE_HEADINGS: Final = words_of(
    """
    crash crashed crashes fail failed failure failures error errors unstable bsod absturz fehler abgesturzt
    instabil plantage echec erreur erreurs instable fallo fallos errores inestable cuelgue reset hang artifacts
    artefakte
    """
)
"""Headings under which *yes* means that it held, or that it failed."""
