"""The mains voltage that is usual where a plan lies: by its time zone, whose country is known.

Which country a zone belongs to comes from the time zone database that the tzdata package installs;
the voltages are a table of our own.
"""

from functools import cache
from importlib.resources import files
from typing import NamedTuple

LOWEST_V = 100.0  # of all mains in use: IEC 60038 (Japan)

# Household voltages by country, ISO 3166: IEC TR 60083 and the IEC world plugs list, from memory.
# Where two are in use, or sources differ, both stand and the lower decides.
_BY_VOLTS = {
    (100,): "JP",
    (110,): "AI CO GU HT JM PA SX TW VG VI",
    (115,): "BB",
    (120,): "AS AW BM BS CA CR DO EC FM GT HN KY MH MP NI PR PW SV TC UM US VE",
    (127,): "MX",
    (220,): (
        "AF AR AZ BD BF BI BJ CD CF CI CL CM CN DJ EG EH ET GA GE GF GN GQ GW HK ID KG KM KR KZ"
        " LS ML MO MQ MR MZ NA NC NE PE PH PM PY RU SN SO SY TD TG TJ TM UY UZ VN WF"
    ),
    (230,): (
        "AD AE AG AL AM AO AT AU AX BA BE BG BH BL BT BW BY CC CG CH CV CX CY CZ DE DK DM DZ EE ER"
        " ES FI FO FR GB GD GG GH GI GL GM GP GR GS HR HU IE IL IM IN IQ IR IS IT JE JO KH LA LB"
        " LC LI LK LT LU LV MC MD ME MK MM MN MS MT MU MV MW MY NF NG NL NO NP NU NZ PK PL PN PS PT"
        " RE RO RS RW SB SD SE SG SH SI SJ SK SL SM SS ST SZ TF TH TK TL TN TR TV TZ UA VA VU WS YE"
        " YT ZA ZM"
    ),
    (240,): "BN CK FJ FK KE KI KW NR OM PG QA SC TO UG ZW",
    (110, 127, 220): "BQ",
    (110, 220): "BZ CU KP PF",
    (110, 230): "KN VC",
    (115, 230): "BO TT",
    (120, 220): "LR MF",
    (120, 240): "GY",
    (127, 220): "BR CW MA MG SR",
    (127, 230): "LY SA",
}
USUAL_V = {code: volts for volts, codes in _BY_VOLTS.items() for code in codes.split()}
WITH_ARTICLE = "AE AX BS CC CD CF CG CK DO FK FO GM IM KM KY MH MP MV NL PH SB SC TC UM US VG VI"
# Older names whose clock the database links to one in another country.
ELSEWHERE = {
    "Africa/Asmera": "ER",
    "Africa/Timbuktu": "ML",
    "America/Coral_Harbour": "CA",
    "America/Virgin": "VI",
    "Atlantic/Jan_Mayen": "SJ",
    "Iceland": "IS",
    "Pacific/Ponape": "FM",
    "Pacific/Truk": "FM",
    "Pacific/Yap": "FM",
}
# A clock alone, whatever the database links it to.
NO_COUNTRY = (
    "CET", "CST6CDT", "EET", "EST", "EST5EDT", "HST", "MET", "MST", "MST7MDT", "PST8PDT", "WET",
    "Antarctica/South_Pole",
)  # fmt: skip


class Mains(NamedTuple):
    """A voltage [V] and the words that say where it is usual."""

    volts: float
    words: str


@cache
def usual_mains(timezone: str) -> Mains | None:
    """The mains of the country in which a time zone lies; None where no country is known.

    >>> usual_mains("America/New_York")
    Mains(volts=120.0, words='120 V mains, usual in the United States')
    >>> usual_mains("America/Sao_Paulo").words
    '127 V mains, the lower of 127 and 220 V usual in Brazil'
    >>> usual_mains("Etc/GMT+5")
    """
    code = _country(timezone)
    several = USUAL_V.get(code)
    if several is None:
        return None
    name = dict(_rows("iso3166.tab"))[code]
    where = f"usual in {'the ' * (code in WITH_ARTICLE.split())}{name}"
    if len(several) > 1:
        where = f"the lower of {' and '.join(f'{v:g}' for v in several)} V {where}"
    return Mains(float(several[0]), f"{several[0]:g} V mains, {where}")


def _country(timezone: str) -> str:
    """The ISO 3166 code of a zone's country, through older names; empty where there is none."""
    if timezone in NO_COUNTRY:
        return ""
    if timezone in ELSEWHERE:
        return ELSEWHERE[timezone]
    zones = {zone: code for code, _, zone, *_ in _rows("zone.tab")}
    return zones.get(timezone) or zones.get(_links().get(timezone, ""), "")


def _links() -> dict[str, str]:
    """The name in use for each older one; lines of the database's source: L target name."""
    lines = (line.split(" ") for line in _text("tzdata.zi").splitlines() if line.startswith("L "))
    return {name: target for _, target, name in lines}


def _rows(table: str) -> list[list[str]]:
    return [line.split("\t") for line in _text(table).splitlines() if not line.startswith("#")]


def _text(name: str) -> str:
    return (files("tzdata") / "zoneinfo" / name).read_text(encoding="utf-8")
