"""Values and files that nobody means, the same from one seed: numbers, texts, bytes, JSON, TOML changed at random."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from random import Random
from typing import Any

__all__ = ["bytes_", "form", "json_", "number", "text", "toml", "value"]

_EDGES = (
    0, -0.0, 1, -1, 2, 3.5, 0.1, 1e-9, 5e-324, 1e9, 1e15, 1e17, 1e308, -1e308, -1e9, 127, 128, 255, 256, 65536,
    2**31, 2**32,
    2**53 + 1, 2**63, 2**64, -(2**63), 86_400, 1_000_000, float("nan"), float("inf"), float("-inf"),
)  # fmt: skip
_TEXTS = (
    "", " ", "\n", "\t", "\0", "\x1b[2J\x1b]0;x\x07", "\x9b31m", "\ud800", "\ufeff", "\u202eabc",
    "e\u0301" * 50, "שלום", "漢字かな",
    "🎛️👩‍🎤", "=1+1", "@x", "-2+3", "<script>x</script>", "]]>", "a\r\nb", "../../x", "/dev/null", "..", "NaN",
    "1e999", "-1",
    "9999-99-99T99:99:99Z", "null", "%s%n", "{}", "'",
    '"', "\\", "$(x)", "A1", "B2", "suggested", "0" * 400, "x" * 300, "ß" * 5000,
)  # fmt: skip
# A number of so many digits as JSON has it: Python itself would not write it.
_DIGITS = re.compile(r'"@digits (\d+)"')


def number(chance: Random, was: object = None) -> Any:
    """Return a number: on an edge, of many digits, near what was there, or any."""
    how = chance.random()
    if how < 0.45:
        return chance.choice(_EDGES)
    if how < 0.55:
        return chance.choice((1, -1)) * 10 ** chance.randint(18, 400)
    if how < 0.8 and isinstance(was, int | float) and not isinstance(was, bool):
        changed = (
            was + chance.choice((-1, 1)) if chance.random() < 0.5 else was * chance.choice((0.5, 0.999, 1.001, 2, -1))
        )
        return changed if isinstance(was, float) or chance.random() < 0.2 else int(changed)
    return chance.choice((chance.randint(-300, 300), chance.uniform(-300, 300), round(chance.uniform(0, 50), 2)))


def text(chance: Random, was: object = None) -> str:
    """Return a text: a bad one, a long one, or what was there with a letter changed."""
    how = chance.random()
    if how < 0.6:
        return chance.choice(_TEXTS)
    if how < 0.62:
        return chance.choice("xé\n ") * 10 ** chance.randint(4, 6)
    if isinstance(was, str) and was:
        at = chance.randrange(len(was))
        return (
            was[:at] + chance.choice((*_TEXTS[:20], chr(chance.randint(1, 0x2FFF)))) + was[at + chance.randint(0, 2) :]
        )
    return "".join(
        chr(chance.choice((chance.randint(32, 126), chance.randint(1, 0x2FFF)))) for _ in range(chance.randint(1, 30))
    )


def value(chance: Random, was: object = None) -> Any:
    """Return a value of any kind, most often of the kind that was there."""
    how = chance.random()
    if how < 0.55 and isinstance(was, str):
        return text(chance, was)
    if how < 0.65:
        return number(chance, was)
    nested: Any = 1
    for _ in range(chance.choice((3, 60))):
        nested = [nested] if chance.random() < 0.5 else {"a": nested}
    many = [chance.uniform(0, 100) for _ in range(chance.choice((1, 5, 2000)))]
    return chance.choice((None, True, False, [], {}, [None], [[]], {"": 1}, nested, many, text(chance), "@digits 5000"))


def json_(chance: Random, parsed: Any, most: int = 3) -> bytes:
    """Return JSON with a few of its values changed, cut, doubled, exchanged or taken from elsewhere in it.

    Parameters
    ----------
    chance : Random
    parsed : object
        What to change; it is left as it is.
    most : int
        Changes.
    """
    root = [json.loads(json.dumps(parsed))]
    for _ in range(chance.randint(1, most)):
        places = list(_places(root))
        # Half of the changes are found by going down from the top, or long lists would have all of them.
        holder, key = _descended(chance, root) if chance.random() < 0.5 else chance.choice(places)
        _change_one(chance, holder, key, places)
    written = _DIGITS.sub(lambda found: "7" * int(found[1]), json.dumps(root[0], ensure_ascii=chance.random() < 0.7))
    if chance.random() < 0.01:
        deep = chance.choice((1000, 100_000))
        written = "[" * deep + written + "]" * deep
    return written.encode("utf-8", "surrogatepass")


def _descended(chance: Random, root: Any) -> tuple[Any, Any]:
    holder, key = root, 0
    while isinstance(holder[key], dict | list) and holder[key] and (holder is root or chance.random() < 0.85):
        holder = holder[key]
        key = chance.choice(list(holder)) if isinstance(holder, dict) else chance.randrange(len(holder))
    return holder, key


def _places(root: Any) -> Iterator[tuple[Any, Any]]:
    waiting = [root]
    while waiting:
        holder = waiting.pop()
        for key, inner in list(holder.items() if isinstance(holder, dict) else enumerate(holder)):
            yield holder, key
            if isinstance(inner, dict | list):
                waiting.append(inner)


def _change_one(chance: Random, holder: Any, key: Any, places: list[tuple[Any, Any]]) -> None:
    inner = holder[key]
    how = chance.random()
    if how < 0.5:
        holder[key] = number(chance, inner) if isinstance(inner, int | float) else value(chance, inner)
    elif how < 0.6:
        other, at = chance.choice(places)
        holder[key] = json.loads(json.dumps(other[at]))
    elif how < 0.7 and isinstance(holder, dict):
        del holder[key]
    elif how < 0.75 and isinstance(holder, dict):
        holder[text(chance, key)] = inner
    elif isinstance(holder, list):
        _change_list(chance, holder, key)
    elif isinstance(inner, list) and inner:
        _change_list(chance, inner, chance.randrange(len(inner)))
    else:
        holder[key] = value(chance, inner)


def _change_list(chance: Random, items: list[Any], at: int) -> None:
    how = chance.randrange(6)
    if how == 0:
        del items[at]
    elif how == 1:
        del items[at + 1 :]
    elif how == 2:
        items.insert(at, json.loads(json.dumps(items[at])))
    elif how == 3:
        items.reverse()
    elif how == 4:
        items.extend(json.loads(json.dumps(items * chance.choice((1, 1, 20)))))
    else:
        other = chance.randrange(len(items))
        items[at], items[other] = items[other], items[at]


def bytes_(chance: Random, data: bytes, most: int = 4) -> bytes:
    """Return bytes with a few places changed: cut off, flipped, doubled, exchanged, zeroed, other sizes in the head."""
    found = bytearray(data)
    for _ in range(chance.randint(1, most)):
        chance.choice(_BYTES)(chance, found)
    return bytes(found)


def _span(chance: Random, found: bytearray) -> tuple[int, int]:
    start = chance.randrange(len(found) + 1)
    return start, min(len(found), start + chance.choice((1, 2, 4, 16, 256, 4096)))


def _cut(chance: Random, found: bytearray) -> None:
    del found[chance.choice((chance.randrange(len(found) + 1), chance.randrange(min(len(found), 200) + 1))) :]


def _flip(chance: Random, found: bytearray) -> None:
    for _ in range(chance.choice((1, 1, 8, 100))):
        if found:
            found[chance.randrange(len(found))] ^= 1 << chance.randrange(8)


def _double(chance: Random, found: bytearray) -> None:
    start, stop = _span(chance, found)
    found[start:start] = found[start:stop] * chance.choice((1, 1, 3, 50))


def _exchange(chance: Random, found: bytearray) -> None:
    (a, b), (c, d) = sorted((_span(chance, found), _span(chance, found)))
    if b <= c:
        found[a:d] = found[c:d] + found[b:c] + found[a:b]


def _zero(chance: Random, found: bytearray) -> None:
    start, stop = _span(chance, found)
    found[start:stop] = bytes([chance.choice((0, 255))]) * (stop - start)


def _remove(chance: Random, found: bytearray) -> None:
    start, stop = _span(chance, found)
    del found[start:stop]


def _noise(chance: Random, found: bytearray) -> None:
    start, stop = _span(chance, found)
    found[start:stop] = chance.randbytes(stop - start)


def _size(chance: Random, found: bytearray) -> None:
    wide = chance.choice((2, 4, 4, 8))
    at = chance.randrange(min(len(found), 256) + 1)
    edges = (0, 1, 2, 255, (1 << 8 * wide) - 1, (1 << 8 * wide - 1) - 1, chance.randrange(1 << 8 * wide))
    found[at : at + wide] = chance.choice(edges).to_bytes(wide, chance.choice(("little", "big")))


_BYTES: tuple[Callable[[Random, bytearray], None], ...] = (
    _cut, _flip, _flip, _double, _exchange, _zero, _remove, _noise, _size, _size, _size,
)  # fmt: skip

_TOML = (
    "1e999", "-inf", "nan", "0", "-1", "0.0", "9" * 19, "9" * 400, "9" * 5000, "1e-300", '""', '"x"', "true",
    "[]", "{}", "[[]]", "[1, 2, 3]",
    "1979-05-27T07:32:00Z", "07:32:00", '{a = 1, b = {c = "d"}}', "[1, 'a']", "0x7fffffffffffffff",
    '"\\u0000"', '"""\na\n"""', "'\x7f'",
    '"band"', '"song.toml"', '"."', '"/dev/zero"', "[" * 80 + "]" * 80, "[" * 3000 + "]" * 3000,
    "{a=" * 1200 + "1" + "}" * 1200,
)  # fmt: skip


def toml(chance: Random, source: str, most: int = 3) -> bytes:
    """Return TOML with a few lines changed: other values, keys, order, heads; now and then no TOML any more."""
    lines = source.split("\n")
    for _ in range(chance.choice((1, 1, most))):
        at = chance.randrange(len(lines))
        key, equals, was = lines[at].partition("=")
        how = chance.random()
        if equals and how < 0.6:
            lines[at] = f"{key}= {_toml_value(chance, was)}"
        elif how < 0.68:
            lines[at] = ""
        elif how < 0.74:
            lines.insert(at, lines[at])
        elif how < 0.8:
            other = chance.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif how < 0.88:
            lines.insert(
                at, f"{chance.choice(('based_on', 'x', 'name', 'a.b.c', chr(34) * 2))} = {_toml_value(chance, was)}"
            )
        elif how < 0.93:
            lines.insert(
                at,
                chance.choice(
                    ("[x]", "[[sides]]", "[looks.'']", "[" + ".".join("a" * 900) + "]", "[[a]]\nb=1\n" * 300)
                ),
            )
        else:
            lines[at] = text(chance, lines[at])
    written = "\n".join(lines).encode("utf-8", "surrogatepass")
    return bytes_(chance, written, 2) if chance.random() < 0.1 else written


def _toml_value(chance: Random, was: str) -> str:
    how = chance.random()
    if how < 0.3:
        return chance.choice(_TOML)
    try:
        near = float(was.split("#")[0])
        int(near)  # of 400 digits, from a change before this one, it is none
    except (ValueError, OverflowError):
        return json.dumps(text(chance, was.strip(' "')), ensure_ascii=False)
    if how < 0.7:  # near enough that many are taken
        return f"{near * chance.uniform(0.5, 1.5):.3f}" if "." in was else str(int(near) + chance.choice((-1, 1, 2)))
    return repr(number(chance, near if "." in was else int(near)))


_PARTS = (
    "intro",
    "verse",
    "Chorus",
    "bridge",
    "solo",
    "A",
    "B",
    "Strophe 2",
    "outro",
    "x",
    "bars",
    "Refrain",
    "8",
    "ß",
    "intro/verse",
    "-",
)
_GLUE = (
    ", ",
    "; ",
    "\n",
    " ",
    " x2",
    "x 3",
    " (",
    ") ",
    ")x2, ",
    " 8, ",
    " 4 ",
    " x",
    ": ",
    " bars ",
    "|",
    "+",
    "/2",
    " 0",
    " 1e9",
    " -4",
    "#",
)


def form(chance: Random) -> str:
    """Return a form as somebody in a hurry might type it, or worse."""
    made = "".join(
        chance.choice(_PARTS) + chance.choice((" 8, ", " 4\n", *_GLUE))
        for _ in range(chance.choice((2, 3, 4, 4, 6, 40)))
    )
    how = chance.random()
    if how < 0.15:
        made = made.replace("8", chance.choice(("9" * 30, "9" * 5000, "1000000", "x99999", "0", "8.5", "٨")))
    elif how < 0.25:
        deep = chance.choice((3, 30, 3000))
        made = "(" * deep + made.rstrip(", \n") + (") x2" * deep if chance.random() < 0.7 else ")" * deep)
    elif how < 0.4:
        made = text(chance, made)
    elif how < 0.45:
        made *= chance.choice((50, 1000))
    return made
