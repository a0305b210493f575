"""The form of a song as a band writes it on a sheet: "intro 4, (verse 8, chorus 8 x2) x2, outro".

docs/form.md has the notation. `read_form` reads it and `form_text` writes it; what is written reads as the same parts.

A text becomes tokens with their places; tokens become parts as they are written, brackets and repeats are multiplied
out, and at the end numbers that count the parts of a name (verse 1 … verse 2) are told from numbers of bars, which
only the whole form can tell.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, NoReturn

from cuesuggest.analysis.form import Part
from cuesuggest.errors import EditError

__all__ = ["FormText", "form_text", "read_form"]

MOST_PARTS = 200
MOST_BARS = 999
_LONGEST_NAME = 80  # characters
_LONGEST_WORDS = 200  # characters
_DEEPEST = 8  # brackets in brackets

_SEPARATORS = ",;，、；،؛"
_BRACKETS = {"(": ")", "[": "]", "（": "）", "［": "］"}
# What opens a quotation, and what closes it.
_QUOTES = {'"': '"', "“": "”", "„": "“”", "«": "»", "「": "」"}
_CLOSERS = "".join({*_QUOTES.values()})
_MARKS = {*_SEPARATORS, *_BRACKETS, *_BRACKETS.values(), *_QUOTES, *_CLOSERS}
_TIMES = re.compile(r"[x×](\d+)|(\d+)[x×]", re.IGNORECASE)
_TWO_NUMBERS = re.compile(r"\d+[x×]\d+", re.IGNORECASE)
_BAR_WORDS = ("bar", "bars")
_BRACKETS_ARE_FOR = (
    "brackets are for what is repeated: (verse 8, chorus 8) x2. A remark starts with # and ends with its line."
)


@dataclass(frozen=True, slots=True)
class FormText:
    """What a text says of a form."""

    parts: tuple[Part, ...]
    remarks: tuple[str, ...] = ()
    """How it was read where it could be read in two ways; sentences without a capital or a full stop."""


@dataclass(frozen=True, slots=True)
class _Token:
    kind: Literal["word", "quoted", "open", "close", "break"]
    text: str
    line: int
    column: int
    """Both from 1."""


@dataclass(frozen=True, slots=True, eq=False)
class _Written:
    """A part as it stands in the text, however often it comes round."""

    name: str
    numbers: tuple[int, ...]
    stated: bool
    """Whether the number can only be bars: it says so, or the name is in quotes."""
    first_words: str
    token: _Token

    @property
    def material(self) -> str:
        return self.name.casefold()


def read_form(text: str, where: str = "The form") -> FormText:
    """Read a form.

    Parameters
    ----------
    text : str
    where : str
        What messages call it, such as the name of its file.

    Returns
    -------
    FormText
        At least one part, at most 200.

    Raises
    ------
    EditError
        If it is none; says at which line and column, and what to write instead.
    """
    return _Reader(text, where).read()


class _Reader:
    def __init__(self, text: str, where: str) -> None:
        # Composed, so that the same name is the same text however it was typed.
        self._lines = unicodedata.normalize("NFC", text.removeprefix("\ufeff")).splitlines()
        self._where = where
        self._tokens = list(self._tokenized())
        self._at = 0
        lines = {token.line for token in self._tokens if token.kind != "break"}
        # Without separators every word is a name.
        self._listed = len(lines) > 1 or any(t.kind == "break" and t.text for t in self._tokens)

    def read(self) -> FormText:
        written = self._parts(None, 0)
        if not written:
            raise EditError(
                f"{self._where}: there are no parts in it. Write them in order, such as: intro 4, verse 8, chorus 8 x2."
            )
        sizes = dict(self._bars(written))
        parts = tuple(Part(each.name, sizes[each], each.first_words) for each in written)
        return FormText(parts, tuple(self._remarks(written, sizes)))

    def _fail(self, token: _Token, text: str) -> NoReturn:
        line = f"line {token.line}, " if len(self._lines) > 1 else ""
        raise EditError(f"{self._where}, {line}column {token.column}: {text}")

    # Text to tokens.

    def _tokenized(self) -> Iterator[_Token]:
        for number, line in enumerate(self._lines, 1):
            yield from self._line_tokens(line, number)
            yield _Token("break", "", number, len(line) + 1)

    def _line_tokens(self, line: str, number: int) -> Iterator[_Token]:
        at, first = 0, True
        while at < len(line):
            char = line[at]
            here = _Token("word", char, number, at + 1)
            if char.isspace():
                at += 1
                continue
            if char == "#":
                if not first and line[at + 1 : at + 2].isdecimal():
                    self._fail(here, "a # starts a remark. If it is a number, write it without.")
                return
            if char in _SEPARATORS:
                yield _Token("break", char, number, at + 1)
                end = at + 1
            elif char in _BRACKETS or char in _BRACKETS.values():
                yield _Token("open" if char in _BRACKETS else "close", char, number, at + 1)
                end = at + 1
            elif char in _QUOTES:
                end = next((k + 1 for k in range(at + 1, len(line)) if line[k] in _QUOTES[char]), 0)
                if not end:
                    self._fail(here, f"a quotation begins with {char} and does not end. Close it on the same line.")
                yield _Token("quoted", " ".join(line[at + 1 : end - 1].split()), number, at + 1)
            elif char in _CLOSERS:
                self._fail(here, f"{char} closes a quotation that was not opened. Put both marks or none.")
            else:
                end = at + 1
                while end < len(line) and not line[end].isspace() and line[end] not in _MARKS:
                    end += 1
                word = line[at:end].rstrip(":：")
                if word:
                    yield _Token("word", word, number, at + 1)
            at, first = end, False

    # Tokens to parts.

    def _next(self) -> _Token | None:
        return self._tokens[self._at] if self._at < len(self._tokens) else None

    def _parts(self, opened: _Token | None, depth: int) -> list[_Written]:
        """Parts up to the end, or to the bracket that closes the opened one; repeats multiplied out."""
        found: list[_Written] = []
        apart = True  # from what stands before, by a separator
        while (token := self._next()) is not None:
            if token.kind == "break":
                self._at += 1
                apart = True
                continue
            if token.kind == "close":
                if opened is None:
                    self._fail(token, f"{token.text} closes a bracket that was not opened.")
                if token.text != _BRACKETS[opened.text]:
                    self._fail(token, f"{token.text} does not close {opened.text}.")
                return found
            if self._listed and not apart and token.kind == "open":
                self._fail(token, _BRACKETS_ARE_FOR)
            if self._listed and not apart:
                self._fail(token, f"{_named(token)} follows without a comma. Put a comma between parts.")
            parts, times = self._group(token, depth) if token.kind == "open" else self._part()
            if len(found) + len(parts) * times > MOST_PARTS:
                self._fail(token, f"with this the form has more than {MOST_PARTS} parts.")
            found += parts * times
            apart = False
        if opened is not None:
            self._fail(opened, f"the bracket {opened.text} is not closed.")
        return found

    def _group(self, opened: _Token, depth: int) -> tuple[list[_Written], int]:
        if depth == _DEEPEST:
            self._fail(opened, f"brackets lie more than {_DEEPEST} deep in one another.")
        self._at += 1
        parts = self._parts(opened, depth + 1)
        self._at += 1
        times = self._times()
        if times is None:
            self._fail(opened, _BRACKETS_ARE_FOR)
        if not parts:
            self._fail(opened, "there is nothing in these brackets.")
        return parts, times

    def _part(self) -> tuple[list[_Written], int]:
        begin = self._tokens[self._at]
        name = self._name(begin)
        numbers: list[int] = []
        times: int | None = None
        words, stated = "", begin.kind == "quoted"
        while (token := self._next()) is not None and token.kind in ("word", "quoted"):
            if times is None and (times := self._times()) is not None:
                continue
            if token.kind == "word" and token.text.isdecimal():
                if len(numbers) == (1 if stated else 2):
                    self._fail(token, f"“{name}” has its bars already. {_name_in_quotes(name)}")
                numbers.append(self._number(token))
                stated = self._bar_word() or stated
            elif token.kind == "quoted" and self._listed and not words:
                words = self._checked(token, "the first words", _LONGEST_WORDS)
                self._at += 1
            elif self._listed:
                self._fail(
                    token,
                    f"{_named(token)} follows what is said of “{name}”. Put a comma between parts, and “quotes” "
                    "around a name that has a number in it.",
                )
            else:
                break
        return [_Written(name, tuple(numbers), stated, words, begin)], times or 1

    def _name(self, begin: _Token) -> str:
        if begin.kind == "quoted":
            self._at += 1
            return self._checked(begin, "a name", _LONGEST_NAME)
        words: list[str] = []
        while (token := self._next()) is not None and token.kind == "word":
            if words and not self._listed:
                break
            if token.text.isdecimal() or self._reads_times() is not None:
                break
            if _TWO_NUMBERS.fullmatch(token.text):
                self._fail(token, f"{_named(token)} does not tell bars from repeats. For twice eight bars write: 8 x2.")
            if not _has_letter(token.text) and any(char.isnumeric() for char in token.text):
                self._fail(token, f"{_named(token)} is no whole number. Write bars as 8 and repeats as x2.")
            words.append(token.text)
            self._at += 1
        name = " ".join(words)
        if not words:
            self._fail(begin, f"a part begins with its name, not with {_named(begin)}. Write: verse 8, or verse 8 x2.")
        if not _has_letter(name):
            self._fail(begin, f"“{name}” is no name, it has no letter. Separate parts with commas.")
        return self._checked(_Token("word", name, begin.line, begin.column), "a name", _LONGEST_NAME)

    def _checked(self, token: _Token, what: str, longest: int) -> str:
        if not token.text:
            self._fail(token, f"there is nothing between the quotes, where {what} should be.")
        if len(token.text) > longest:
            self._fail(token, f"{what} of more than {longest} characters is too long. Put a comma between parts.")
        if any(unicodedata.category(char) in ("Cc", "Cs") for char in token.text):
            self._fail(token, f"{what} has a character in it that cannot be shown. Write it again.")
        return token.text

    def _number(self, token: _Token) -> int:
        self._at += 1
        value = int(token.text) if len(token.text) <= 6 else 10**6
        if not 1 <= value <= MOST_BARS:
            self._fail(token, f"{token.text[:10]} is no number of bars; write 1 to {MOST_BARS}.")
        return value

    def _bar_word(self) -> bool:
        token = self._next()
        if token is None or token.kind != "word" or token.text.casefold() not in _BAR_WORDS:
            return False
        self._at += 1
        return True

    def _reads_times(self) -> tuple[str, int] | None:
        """The number of a repeat that stands here, and how many words that is: "x2", "2x", or "x 2"."""
        here, after = (*self._tokens[self._at : self._at + 2], None, None)[:2]
        if here is None or here.kind != "word":
            return None
        if found := _TIMES.fullmatch(here.text):
            return found[1] or found[2], 1
        if here.text in ("x", "X", "×") and after is not None and after.kind == "word" and after.text.isdecimal():
            return after.text, 2
        return None

    def _times(self) -> int | None:
        found = self._reads_times()
        if found is None:
            return None
        token, (digits, words) = self._tokens[self._at], found
        self._at += words
        value = int(digits) if len(digits) <= 6 else 10**6
        if not 1 <= value <= MOST_PARTS:
            self._fail(token, f"a repeat is x1 to x{MOST_PARTS}.")
        return value

    # What numbers mean.

    def _bars(self, written: Sequence[_Written]) -> Iterator[tuple[_Written, int | None]]:
        for part in dict.fromkeys(written):
            alike = [each for each in written if each.material == part.material]
            counts = _count_up(alike)
            if len(part.numbers) == 2:
                if not counts and part.numbers[0] > len(alike):
                    self._fail(
                        part.token,
                        f"the first number would count the parts called “{part.name}”, and the form has "
                        f"{len(alike)} of them. {_name_in_quotes(part.name)}",
                    )
                yield part, part.numbers[1]
            else:
                yield part, None if not part.numbers or (counts and not part.stated) else part.numbers[0]

    def _remarks(self, written: Sequence[_Written], sizes: dict[_Written, int | None]) -> Iterator[str]:
        for material in dict.fromkeys(part.material for part in written):
            alike = [part for part in dict.fromkeys(written) if part.material == material]
            counted = [part for part in alike if len(part.numbers) == 1 and sizes[part] is None]
            if counted:
                said = ", ".join(f"{part.name} {part.numbers[0]}" for part in counted)
                yield (
                    f"“{said}”: the number counts the parts of that name, it is no length; if it is, write: "
                    f"{counted[0].name} {_bars_said(counted[0].numbers[0], stated=True)}"
                )
            name = alike[0].name
            stuck = re.fullmatch(r"(.*?[^\W\d_])(\d+)", name)
            if stuck and alike[0].token.kind == "word" and not any(sizes[part] for part in alike):
                bars = f"{stuck[1]} {stuck[2]}"
                yield f"“{name}” is a name with a number in it; if {stuck[2]} are its bars, write: {bars}"


def _count_up(alike: Sequence[_Written]) -> bool:
    """Whether the numbers of the parts of one name are 1, 2, 3 … in the order of writing."""
    firsts = [
        part.numbers[0] for part in dict.fromkeys(alike) if len(part.numbers) == 2 or (part.numbers and not part.stated)
    ]
    return len(firsts) > 1 and firsts == list(range(1, len(firsts) + 1))


def _has_letter(text: str) -> bool:
    return any(char.isalpha() for char in text)


def _named(token: _Token) -> str:
    return f"“{token.text[:30]}”"


def _name_in_quotes(name: str) -> str:
    return f"A number that belongs to the name goes into the quotes with it: “{name} …” 8."


def form_text(parts: Sequence[Part]) -> str:
    """Write a form in one line.

    Parameters
    ----------
    parts : sequence of Part
        As `read_form` gives them.

    Returns
    -------
    str
        `read_form` makes the same parts of it; equal parts in a row are written once, with their number.
    """
    rows = [(part, len(list(same))) for part, same in groupby(parts)]
    plain, stated = (", ".join(_part_text(part, times, stated) for part, times in rows) for stated in (False, True))
    # Without a comma every word would be a name; and bars that rise from one would count the parts of a name.
    ways = (plain, f"{plain},", stated, f"{stated},")
    return next((text for text in ways if _reads_as(text, parts)), stated)


def _part_text(part: Part, times: int, stated: bool) -> str:
    said = [] if part.bars is None else [_bars_said(part.bars, stated)]
    said += [f"x{times}"] if times > 1 else []
    said += [_quoted(part.first_words)] if part.first_words else []
    text = " ".join([part.name, *said])
    return text if _reads_as(f"{text},", [part] * times) else " ".join([_quoted(part.name), *said])


def _bars_said(bars: int, stated: bool) -> str:
    return f"{bars} {_BAR_WORDS[bars > 1]}" if stated else str(bars)


def _quoted(text: str) -> str:
    opening, closing = next(pair for pair in _QUOTES.items() if not set(pair[1]) & set(text))
    return f"{opening}{text}{closing[0]}"


def _reads_as(text: str, parts: Sequence[Part]) -> bool:
    try:
        return read_form(text).parts == tuple(parts)
    except EditError:
        return False
