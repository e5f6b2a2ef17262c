"""Whether two texts name the same road, railway or water, as maps and inventories write them.

Forms of the inventory: FHWA-PD-96-001, Items 6 and 7 (``I 81, US 51, MILL ROAD``; ``SR 42 (POND ROAD)``;
``C & 0 RAILROAD``; fields of 24 and 18 characters, so names are cut off). Forms of the map: OSM wiki,
Key:name and Key:ref (from memory). The lists of words are common usage, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

__all__ = ["Agreement", "Names", "compare", "inventory_names", "joined", "map_names"]


class Agreement(Enum):
    """What two sets of names tell about each other."""

    AGREE = "agree"
    DIFFER = "differ"
    UNTOLD = "untold"


@dataclass(frozen=True, slots=True)
class _Name:
    """One name taken apart: its own words, the kind of street, the side of the compass before or after it.

    `cut` is the word that the end of the field may have cut off, empty where none.
    """

    words: frozenset[str]
    street: str
    side: str
    cut: str


@dataclass(frozen=True, slots=True)
class Names:
    """All that a text or a set of tags calls one thing.

    `routes` are numbered roads such as ``I95``, ``US2``, ``S15`` (any state's), ``C450``. `headings` are
    the directions of travel it names (N, E, S, W). `rail` and `water` tell of words for such.
    """

    routes: frozenset[str] = frozenset()
    names: frozenset[_Name] = frozenset()
    headings: frozenset[str] = frozenset()
    rail: bool = False
    water: bool = False


_NOTHING = Names()

#: Every way to write a kind of street, by the first of each row; an extension is of any kind.
_STREETS = {
    form: forms[0]
    for forms in (
        ("street", "st", "str"),
        ("avenue", "ave", "av", "aven", "avenu"),
        ("road", "rd"),
        ("drive", "dr"),
        ("boulevard", "blvd", "bvd", "boul"),
        ("lane", "ln"),
        ("court", "ct"),
        ("place", "pl"),
        ("parkway", "pkwy", "pky", "pkway", "prkwy"),
        ("highway", "hwy", "hiway"),
        ("expressway", "expwy", "expy", "xway"),
        ("freeway", "fwy"),
        ("turnpike", "tpke", "tpk", "pike"),
        ("circle", "cir"),
        ("terrace", "ter", "terr"),
        ("square", "sq"),
        ("way", "wy"),
        ("trail", "trl", "tr"),
        ("alley", "aly"),
        ("", "extension", "ext"),
    )
    for form in forms
    if form
}
_SIDES = {
    form: forms[0]
    for forms in (("n", "no", "north"), ("s", "so", "south"), ("e", "east"), ("w", "west"))
    for form in forms
}
_HEADINGS = {
    f"{short}{tail}": short[0].upper()
    for short, tails in {
        "n": ("b", "bd", "bnd", "bound"),
        "north": ("bound", "bnd"),
        "s": ("b", "bd", "bnd", "bound"),
        "south": ("bound", "bnd"),
        "e": ("b", "bd", "bnd", "bound"),
        "east": ("bound", "bnd"),
        "w": ("b", "bd", "bnd", "bound"),
        "west": ("bound", "bnd"),
    }.items()
    for tail in tails
}
_RAIL = frozenset(
    {"railroad", "railway", "rr", "ry", "rwy", "rlwy", "rail", "railrd", "tracks", "amtrak", "csx"}
)
_WATER = frozenset(
    {
        *("river", "riv", "creek", "crk", "brook", "brk", "stream", "branch", "bayou", "slough", "canal"),
        *(
            "ditch",
            "pond",
            "lake",
            "inlet",
            "wash",
            "gulch",
            "arroyo",
            "harbor",
            "bay",
            "run",
            "fork",
            "drain",
        ),
    }
)
#: Words that call a road no more than a road: they agree with every one and so tell nothing.
_GENERIC = frozenset(
    {
        *("local", "city", "town", "county", "private", "public", "access", "service", "unnamed", "frontage"),
        *("ramp", "ramps", "municipal", "township", "twp", "rural", "farm", "field", "entrance", "exit"),
        *("the", "of", "and", "to", "from", "over", "under", "at", "on", "off", "route", "rte", "rt"),
        *(
            "connector",
            "interchange",
            "relief",
            "overflow",
            "pedestrian",
            "bridge",
            "walkway",
            "path",
            "bike",
        ),
        *(
            "parking",
            "lot",
            "other",
            "none",
            "unknown",
            "business",
            "bus",
            "alt",
            "alternate",
            "spur",
            "loop",
        ),
        *("bypass", "roads", "streets", "highways", "lanes", "ml", "mainline", "hov"),
    }
)

_ORDINALS = {
    word: f"{number}{tail}"
    for number, (word, tail) in enumerate(
        (
            *(("first", "st"), ("second", "nd"), ("third", "rd"), ("fourth", "th"), ("fifth", "th")),
            *(("sixth", "th"), ("seventh", "th"), ("eighth", "th"), ("ninth", "th"), ("tenth", "th")),
        ),
        start=1,
    )
}

_STATES = (
    "AL AK AZ AR CA CO CT DE FL GA HI ID IL IN IA KS KY LA ME MD MA MI MN MS MO MT NE NV NH NJ NM NY NC ND "
    "OH OK OR PA RI SC SD TN TX UT VT VA WA WV WI WY DC PR"
)
_STATE_WORDS = "|".join(s.lower() for s in _STATES.split())
_NUMBER = r"[ -]*0*(?P<number>\d{1,4})(?P<letter>[a-z]?)(?![a-z0-9])"
#: What stands before the number of a road, by whose road it is; the first that fits counts.
_ROUTES = [
    (letter, re.compile(rf"(?<![a-z0-9])(?:{before}){_NUMBER}"))
    for letter, before in (
        ("I", r"interstate(?: highway| hwy| route| rte)?|ih|i"),
        ("US", r"u ?s ?(?:highway|hwy|route|rte|rt)|ush|u ?s(?:r|h)?"),
        ("C", r"county (?:road|rd|highway|hwy|route|rte)|co (?:rd|road|hwy)|c ?r|cth|csah|c ?h"),
        (
            "S",
            r"(?:state|st) (?:road|rd|highway|hwy|route|rte|rt|rout)|state|s ?(?:r|h|th|hwy|rte)|"
            rf"(?:{_STATE_WORDS})(?: (?:highway|hwy|route|rte|rt))?|(?:route|rte|rt|highway|hwy)",
        ),
    )
]
_APART = re.compile(r"[;,/&()]| and | over | at ")


def _plain(text: str) -> str:
    """Lower case, without points and apostrophes, other marks as spaces."""
    text = text.lower().replace(".", "").replace("'", "").replace("’", "")
    return " ".join(re.sub(r"[^\w;,/&()]|_", " ", text).split())


def _take_routes(text: str) -> tuple[str, set[str]]:
    """The text without its numbered roads, and those."""
    routes: set[str] = set()
    if not any(c.isdigit() for c in text):
        return text, routes
    for letter, pattern in _ROUTES:
        for found in pattern.finditer(text):
            # A letter behind the number is a part of it (US 1A), but for a direction (I 95N).
            tail = found["letter"].upper()
            tail = "" if tail in ("N", "S", "E", "W") and letter == "I" else tail
            routes.add(f"{letter}{int(found['number'])}{tail}")
        text = pattern.sub(" ", text)
    return text, routes


#: Facilities are written in fields of 18 characters (Item 7), the longest names cut off there. A field of
#: 17 may have lost a space.
_FIELD = 17
#: So much of a word must be left to know it.
_STUMP = 3


def _name(words: list[str], *, full: bool) -> _Name | None:
    """One name of its words; None where they name nothing. `full`: its end may have been cut off."""
    street = side = cut = ""
    own: list[str] = []
    last = words[-1] if words else ""
    if full and len(words) > 1 and len(last) >= _STUMP:
        kinds = {kind for word, kind in _STREETS.items() if word.startswith(last)}
        if len(kinds) == 1:
            words, street = words[:-1], kinds.pop()
        elif last.isalpha():
            cut = last
    for place, word in enumerate(words, start=1):
        if word in _STREETS and own:
            street = _STREETS[word] or street
        elif word == "st" and place < len(words):
            own.append("saint")  # before a name, not behind it
        elif word in _STREETS:
            own.append(_STREETS[word])  # Court Street, Parkway South, North Street
        elif word in _SIDES and len(words) > 1:
            side = side or _SIDES[word]
        elif word not in _GENERIC and word not in _HEADINGS:
            own.append(_ORDINALS.get(word, word))
    if not own or (not side and not street and own[0] in _STREETS.values() and len(own) == 1):
        return None
    return _Name(frozenset(own), street, side, cut if cut in own else "")


@lru_cache(maxsize=200_000)
def inventory_names(text: str) -> Names:
    """What an item such as ``I 95 NB, MAIN ST; B&M RR`` names.

    >>> sorted(inventory_names("SR 42 (POND ROAD)").routes)
    ['S42']
    """
    routes: set[str] = set()
    names: set[_Name] = set()
    headings: set[str] = set()
    rail = water = False
    whole = _plain(text)
    # The & of a company's initials parts nothing.
    parts = _APART.split(re.sub(r"\b(\w) ?& ?(\w)\b", r"\1\2", whole))
    for number, part in enumerate(parts, start=1):
        rest, found = _take_routes(part)
        routes |= found
        words = rest.split()
        headings |= {_HEADINGS[w] for w in words if w in _HEADINGS}
        if not _RAIL.isdisjoint(words):
            rail = True
        elif words and words[-1] in _WATER:
            water = True
        elif (name := _name(words, full=number == len(parts) and len(text.strip()) >= _FIELD)) is not None:
            names.add(name)
    if not (routes or names or headings or rail or water):
        return _NOTHING
    return Names(frozenset(routes), frozenset(names), frozenset(headings), rail, water)


def map_names(tags: Mapping[str, str]) -> Names:
    """What the tags of a way name: names of all kinds, and numbers."""
    return joined([inventory_names(tags[key]) for key in _MAP_KEYS if key in tags])


#: Keys under which a map calls a road, the common ones first.
_MAP_KEYS = (
    *("name", "ref", "alt_name", "old_name", "official_name", "loc_name", "short_name"),
    *("name_1", "name_2", "nat_ref", "reg_ref", "unsigned_ref", "bridge:name", "tunnel:name"),
)


def joined(several: Iterable[Names]) -> Names:
    """All that several sets of names tell together; of none, nothing."""
    found: list[Names] = []
    for names in several:
        # Most things have one name, by one value: no need to build another.
        if names is not _NOTHING and (not found or names is not found[-1]):
            found.append(names)
    if len(found) < 2:
        return found[0] if found else _NOTHING
    return Names(
        routes=frozenset().union(*(n.routes for n in found)),
        names=frozenset().union(*(n.names for n in found)),
        headings=frozenset().union(*(n.headings for n in found)),
        rail=any(n.rail for n in found),
        water=any(n.water for n in found),
    )


def compare(one: Names, other: Names) -> Agreement:
    """Whether two sets of names have a road in common, cannot have, or do not tell enough.

    >>> compare(inventory_names("HAMMOND ST"), inventory_names("US 2; Hammond Street"))
    <Agreement.AGREE: 'agree'>
    >>> compare(inventory_names("OAK ST"), inventory_names("Oak Avenue"))
    <Agreement.DIFFER: 'differ'>
    >>> compare(inventory_names("LOCAL ROAD"), inventory_names("Oak Avenue"))
    <Agreement.UNTOLD: 'untold'>
    """
    if not one.routes.isdisjoint(other.routes):
        return Agreement.AGREE
    if any(_same(a, b) for a in one.names for b in other.names):
        return Agreement.AGREE
    both_routes = bool(one.routes and other.routes)
    both_names = bool(one.names and other.names)
    return Agreement.DIFFER if both_routes or both_names else Agreement.UNTOLD


def _same(a: _Name, b: _Name) -> bool:
    if a.street and b.street and a.street != b.street:
        return False
    if a.side and b.side and a.side != b.side:
        return False
    fewer, more = sorted((a, b), key=lambda name: len(name.words))
    cuts = (a.cut, b.cut)
    return all(any(_same_word(x, y, cuts) for y in more.words) for x in fewer.words)


def _same_word(x: str, y: str, cuts: tuple[str, str]) -> bool:
    """Equal, or one cut off at the end of its field."""
    if x == y:
        return True
    short, long = sorted((x, y), key=len)
    return short in cuts and long.startswith(short)
