"""What the heads of a laboratory's columns may mean, in English, German and French.

A head is compared without accents, case, signs and what stands in brackets. Likeness proposes; it decides
nothing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal

from stability.services.mapping import targets_of
from stability.services.mapping_units import unit_in, unit_named

__all__ = ["age_in", "header_place", "likeliest", "phrases_known"]

_PHRASES: Mapping[str, str] = {
    "sample": "sample|sample id|sample code|sample no|sample nr|sample number|code|tin|tin no|tin code|"
    "can|vial|label|probe|probe nr|proben nr|probennr|probennummer|proben id|muster|"
    "muster nr|musternummer|dose|dosen nr|echantillon|n echantillon|no echantillon|"
    "ref echantillon|reference|boite|flacon",
    "taken_at": "date|datum|messdatum|measured|measured on|date measured|measurement date|"
    "date of measurement|reading date|taken at|taken on|test date|gemessen am|prufdatum|"
    "zeitpunkt|timestamp|date time|date de mesure|date mesure|mesure le",
    "at": "date|datum|zeitpunkt|timestamp|date time|date heure",
    "viscosity_mpas": "viscosity|visc|visco|viskositat|viskositaet|visk|viscosite|eta|η|dynamic viscosity|"
    "dynamische viskositat|viscosite dynamique|dyn viscosity|reading|messwert",
    "temperature_c": "temperature|temp|temperatur|t|liquid temperature|sample temperature|messtemperatur|"
    "probentemperatur|temperature de mesure|temp mesure|meas temp",
    "gel_grade": "gel|gel grade|grade|gelgrad|gelierung|gelnote|note gel|degre de gel|gelification|gel note",
    "operator": "operator|by|measured by|analyst|initials|prufer|bearbeiter|laborant|laborantin|kurzel|"
    "gemessen von|name|operateur|mesure par|technicien|who|wer",
    "instrument": "instrument|device|viscometer|gerat|viskosimeter|messgerat|appareil|viscosimetre|rheometer",
    "spindle": "spindle|spindel|broche|mobile",
    "speed_rpm": "speed|rpm|drehzahl|u min|vitesse|umdrehungen|revolutions",
    "torque_pct": "torque|drehmoment|couple",
    "cup": "cup|flow cup|becher|auslaufbecher|coupe",
    "efflux_s": "efflux|efflux time|flow time|auslaufzeit|temps d ecoulement|duree d ecoulement|ecoulement",
    "density_g_ml": "density|dichte|densite|masse volumique|rho",
    "mass_g": "mass|weight|gross mass|gross weight|masse|gewicht|bruttogewicht|brutto|poids|poids brut|"
    "masse brute",
    "appearance": "appearance|look|aussehen|aspect|optik",
    "photo": "photo|picture|foto|bild|image",
    "note": "note|notes|remark|remarks|comment|comments|bemerkung|bemerkungen|kommentar|anmerkung|"
    "remarque|remarques|commentaire|observation|observations",
    "entered_at": "entered|entered at|entered on|eingetragen am|saisi le",
    "age": "age|day|days|tag|tage|jour|jours|week|weeks|woche|wochen|semaine|semaines|alter|"
    "lagerdauer|lagerzeit|storage time|storage days|standzeit|duree|duree de stockage",
    "time_of_day": "time|uhrzeit|zeit|heure|time of day",
    "placed_at": "start|start date|started|placed at|placed on|filled|filled on|einlagerung|eingelagert|"
    "eingelagert am|einlagerungsdatum|abgefullt|abgefullt am|abfulldatum|startdatum|beginn|"
    "date de debut|debut|mise en stockage",
    "humidity_pct": "humidity|rh|rel humidity|relative humidity|luftfeuchte|luftfeuchtigkeit|feuchte|"
    "humidite|hr",
    "dry_through_h": "dry through|dry through time|through dry|drying time|durchtrocknung|trockenzeit|"
    "sechage|temps de sechage",
    "film_um": "film|film thickness|wet film|schichtdicke|nassfilm|nassfilmdicke|epaisseur",
    "store": "store|storage|oven|location|lager|lagerort|ofen|schrank|stockage|etuve|lieu|kammer|chamber",
    "study": "study|studie|etude|project|projekt|projet",
    "product": "product|produkt|produit|crosslinker|binder|vernetzer|bindemittel|liant",
    "product_lot": "lot|batch|product lot|charge|charge nr|chargennummer|chargennr|n lot|no lot|lot produit",
    "thinner": "thinner|solvent|verdunner|verdunnung|losemittel|losungsmittel|diluant|solvant",
    "thinner_lot": "thinner lot|solvent lot|verdunner charge|charge verdunner|lot diluant|lot solvant",
    "level_pct": "level|thinner level|gehalt|anteil|konzentration|teneur|taux",
    "additive": "additive|additiv|additif|stabiliser|stabilisator",
    "pack": "pack|container|package|gebinde|verpackung|emballage|packaging",
    "fill_pct": "fill|fill level|fullgrad|taux de remplissage",
}
_KNOWN: Mapping[str, tuple[str, ...]] = {target: tuple(text.split("|")) for target, text in _PHRASES.items()}


def phrases_known(target: str) -> tuple[str, ...]:
    """Return the heads under which a column of ours is known, plainly spelt."""
    return (*_KNOWN.get(target, ()), _plain(target))


def _plain(head: str) -> str:
    """Return a head without accents, case, signs and brackets."""
    bare = re.sub(r"[\[({][^\])}]*[\])}]", " ", head)
    spread = unicodedata.normalize("NFKD", bare.casefold().replace("ß", "ss"))
    letters = "".join(c for c in spread if not unicodedata.combining(c))
    return " ".join(re.sub(r"[\W_]+", " ", letters).split())


def _likeness(target: str, head: str) -> int:
    """Return 3 where a head is one of a column's, 2 where it begins or ends so, 1 where the unit says it."""
    plain = _plain(head)
    phrases = phrases_known(target)
    if head.strip() == target or plain in phrases:
        return 4
    unit = unit_in(target, head)
    last = plain.rsplit(" ", 1)
    if unit is not None and len(last) == 2 and unit_named(target, last[1]) and last[0] in phrases:
        return 4
    if any(plain.startswith(f"{p} ") or plain.endswith(f" {p}") for p in phrases if len(p) > 2):
        return 3 if unit is not None else 2
    return 1 if unit is not None and target in ("viscosity_mpas", "density_g_ml") else 0


def likeliest(table: str, heads: Sequence[str]) -> dict[str, str]:
    """Return head → column of ours for a table; where two heads are equally like, neither is proposed."""
    targets = targets_of(table)
    scores = {
        (head, target): likeness
        for head in heads
        for target in targets
        if (likeness := _likeness(target, head))
    }
    found: dict[str, str] = {}
    while scores:
        best = max(scores.values())
        (head, target), *_ = [pair for pair, score in scores.items() if score == best]
        rivals = [h for (h, t), score in scores.items() if t == target and score == best and h not in found]
        if len(rivals) == 1:
            found[head] = target
        scores = {
            (h, t): score
            for (h, t), score in scores.items()
            if t != target and not (len(rivals) == 1 and h == head)
        }
    if table == "temperatures" and "at" not in found.values():
        # a logger's column "Time" holds the date too where there is no other
        return {head: "at" if target == "time_of_day" else target for head, target in found.items()}
    return found


_UNITS_OF_AGE = r"d|days?|tage?|jours?|j|w|wks?|weeks?|wochen?|wo|semaines?|sem"
_AGE = re.compile(
    rf"(?:(?P<before>{_UNITS_OF_AGE}|t)\s*)?(?P<number>\d{{1,4}}(?:[.,]\d)?)(?:\s*(?P<after>{_UNITS_OF_AGE}))?",
    re.ASCII,
)


def age_in(head: str) -> tuple[Decimal, str | None] | None:
    """Return the age that a head names and its unit, where it says one: "day 7", "Woche 4", "28".

    >>> age_in("Woche 4"), age_in("28"), age_in("KW 12")
    ((Decimal('4'), 'weeks'), (Decimal('28'), None), None)
    """
    plain = re.sub(r"[\s+._:#-]+", " ", head.casefold().strip().strip("[](){}")).strip()
    found = _AGE.fullmatch(plain.replace(" ", "")) if len(plain) < 30 else None
    if found is None or (found["before"] and found["after"]):
        return None
    spelt = found["after"] or found["before"]
    number = Decimal(found["number"].replace(",", "."))
    if spelt is None and number >= 1000:
        return None  # a year
    # T7 may be day 7 or the seventh time
    unit = None if spelt in (None, "t") else unit_named("age", str(spelt))
    return number, unit.name if unit else None


def header_place(rows: Sequence[Sequence[str]], samples: Collection[str]) -> int:
    """Return the place of the row that most looks like a header: the first with the most heads known."""

    def known(head: str) -> bool:
        if not head.strip():
            return False
        if head.strip() in samples or age_in(head) is not None:
            return True
        plain = _plain(head)
        return any(plain in phrases for phrases in _KNOWN.values()) or any(
            _likeness(target, head) for target in ("sample", "taken_at", "viscosity_mpas", "temperature_c")
        )

    def words(row: Sequence[str]) -> int:
        return sum(any(c.isalpha() for c in head) for head in row)

    # a row of readings has numbers that look like ages, but few words
    scores = [sum(map(known, row)) if words(row) else 0 for row in rows[:30]]
    if not scores or max(scores) == 0:
        return next((place for place, row in enumerate(rows[:30]) if sum(map(bool, row)) > 1), 0)
    return scores.index(max(scores))
