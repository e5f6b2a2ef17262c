"""Inputs made from sound ones: changed bytes, moved pieces, and values that are asking for trouble."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy

__all__ = ["NUMBERS", "ODD_TEXTS", "changed", "coordinates", "mutated", "mutated_text", "spoilt", "varied"]

#: Numbers as texts: ordinary ones, ends of ranges, and what only looks like one.
NUMBERS = (
    *("0", "1", "3.5", "4.11", "4.1148", "13.6", "13", "6", "11.99", "12", "90", "180", "45.1", "-40.2"),
    *("-1", "-0", "+3", "007", "1e3", "1e999", "-1e-999", ".5", "5.", "3,5", "3,500", "1.000,5", "0x10"),
    *("90.0000001", "-180.0000001", "91", "181", "360", "1_000", "1 000", "1/2", "9223372036854775807"),
    *("9223372036854775808", "-9223372036854775809", "4294967296", "2147483648", "9" * 40, "0." + "3" * 40),
    *("NaN", "nan", "inf", "Infinity", "-Infinity", "None", "null", "true", "", " "),
    *("３.５", "٣", "४", "1²", "½", "Ⅳ", "三", "1\u200f", "\u202e5.3", "3\u00a05", "−3", "3\u20445"),
)
#: Pieces of text that have broken readers before, here or elsewhere.
ODD_TEXTS = (
    *(
        "\x00",
        "\x1a",
        "\x7f",
        "\u0085",
        "\u2028",
        "\ufeff",
        "\ufffe",
        "\ud7ff",
        "\U0010ffff",
        "\u200f",
        "\u202e",
    ),
    *(
        "'",
        '"',
        "''",
        "’",
        "″",
        "`",
        "\\",
        "/",
        "%s",
        "{}",
        "&",
        "<",
        ">",
        "]]>",
        "-->",
        "<!--",
        "&#0;",
        "&amp;",
    ),
    *(
        ";",
        "|",
        ",",
        "\t",
        "\r",
        "\n",
        "\r\n",
        "=",
        "@",
        "(",
        ")",
        "((",
        "[",
        "]",
        "#",
        "AND",
        "-",
        "--",
        "..",
        "../",
    ),
    *(
        "none",
        "default",
        "below_default",
        "unsigned",
        "maxheight",
        "13' 6\"",
        "13'6",
        "4.0 m",
        "150",
        "14 ft",
    ),
    *("<!DOCTYPE a [<!ENTITY b 'c'>]>", "&b;", "<a>" * 40, "[" * 40, "{" * 40, "a." * 40, "(" * 40),
)


def coordinates(most: float) -> SearchStrategy[str]:
    """Degrees as texts, most of them in range."""
    sound = st.floats(-most, most, allow_nan=False).map(lambda value: f"{value:.7f}")
    return st.one_of(sound, sound, sound, st.sampled_from(NUMBERS))


@st.composite
def spoilt(draw: DrawFn, sound: SearchStrategy[str]) -> str:
    """A text of `sound`, now and then with a piece put in, taken out or doubled."""
    text = draw(sound)
    for _ in range(draw(st.sampled_from((0, 0, 0, 1, 1, 2)))):
        at = draw(st.integers(0, len(text)))
        piece = draw(
            st.one_of(st.sampled_from(ODD_TEXTS), st.sampled_from(NUMBERS), st.characters(codec="utf-8"))
        )
        kind = draw(st.sampled_from(("in", "over", "out", "twice")))
        if kind == "in":
            text = text[:at] + piece + text[at:]
        elif kind == "over":
            text = text[:at] + piece + text[at + len(piece) :]
        elif kind == "out":
            text = text[:at] + text[at + draw(st.integers(1, 8)) :]
        else:
            text = text[:at] + text
    return text


@st.composite
def mutated(draw: DrawFn, documents: Sequence[bytes], tokens: Sequence[bytes] = ()) -> bytes:
    """One of `documents` with up to eight changes: bits, bytes, pieces moved, doubled, cut, put in."""
    data = bytearray(draw(st.sampled_from(documents)))
    kinds = ("bit", "byte", "cut", "out", "twice", "swap", "noise", *(("token",) * 3 if tokens else ()))
    for _ in range(draw(st.integers(0, 8))):
        if not data:
            break
        at = draw(st.integers(0, len(data) - 1))
        length = draw(st.sampled_from((1, 2, 4, 8, 16, 64, 256, 1024)))
        match draw(st.sampled_from(kinds)):
            case "bit":
                data[at] ^= 1 << draw(st.integers(0, 7))
            case "byte":
                data[at] = draw(st.sampled_from((0, 1, 0x7F, 0x80, 0xFF, 0x22, 0x27, 0x3C, 0x0A)))
            case "cut":
                del data[at:]
            case "out":
                del data[at : at + length]
            case "twice":
                data[at:at] = data[at : at + length]
            case "swap":
                other = draw(st.integers(0, len(data) - 1))
                one, two = bytes(data[at : at + length]), bytes(data[other : other + length])
                data[at : at + length], data[other : other + length] = two, one
            case "noise":
                data[at : at + length] = draw(st.binary(max_size=16))
            case _:
                data[at:at] = draw(st.sampled_from(tokens))
    return bytes(data)


def mutated_text(documents: Sequence[str]) -> SearchStrategy[bytes]:
    """The same for texts, with odd numbers and pieces of text to put in."""
    tokens = [text.encode("utf-8", "surrogatepass") for text in (*NUMBERS, *ODD_TEXTS) if text]
    return mutated([document.encode() for document in documents], tokens)


_PIECES = [text.encode("utf-8", "surrogatepass") for text in (*NUMBERS, *ODD_TEXTS) if text]


def changed(content: bytes, chance: random.Random) -> bytes:
    """`content` with one to four changes by chance: many more of them in a time than by drawing each."""
    data = bytearray(content)
    for _ in range(chance.randint(1, 4)):
        if not data:
            break
        at, length = chance.randrange(len(data)), chance.choice((1, 2, 4, 16, 64, 512))
        match chance.randrange(6):
            case 0:
                data[at] ^= 1 << chance.randrange(8)
            case 1:
                data[at] = chance.choice((0, 1, 0x7F, 0x80, 0xFF, 0x22, 0x3C, 0x0A, chance.randrange(256)))
            case 2:
                del data[at : at + length]
            case 3:
                data[at:at] = data[at : at + length]
            case 4:
                data[at:at] = chance.choice(_PIECES)
            case _:
                other = chance.randrange(len(data))
                one, two = bytes(data[at : at + length]), bytes(data[other : other + length])
                data[at : at + length], data[other : other + length] = two, one
    return bytes(data)


def varied(value: Any, chance: random.Random) -> Any:
    """`value` with its bytes and texts changed as `changed` does, wherever they stand in plain containers."""
    if isinstance(value, bytes):
        return changed(value, chance)
    # Words of an enumeration are texts too, and stay.
    if type(value) is str:
        return changed(value.encode("utf-8", "surrogatepass"), chance).decode("utf-8", "replace")
    if isinstance(value, dict):
        return {key: varied(inner, chance) for key, inner in value.items()}
    if type(value) in (list, tuple):
        return type(value)(varied(inner, chance) for inner in value)
    return value
