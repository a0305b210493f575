"""What the program needs of this machine, looked at piece by piece: one that is broken is told, and hides no other."""

from __future__ import annotations

import importlib
import importlib.metadata
import os
import platform
import re
import shlex
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

__all__ = ["LIBRARIES", "Looked", "looked_at", "size_text"]

LIBRARIES = {
    "anyascii": ("anyascii", "exports in ASCII letters"),
    "anyio": ("anyio", "the page of review"),
    "arabic-reshaper": ("arabic_reshaper", "paper in Arabic letters"),
    "av": ("av", "recordings that libsndfile does not open, such as M4A and MP4"),
    "click": ("click", ""),
    "jinja2": ("jinja2", "paper, and the page for a tablet"),
    "markupsafe": ("markupsafe", "paper, and the page for a tablet"),
    "mido": ("mido", "reading of exported MIDI files"),
    "numpy": ("numpy", ""),
    "pillow": ("PIL", "the chart as a picture"),
    "platformdirs": ("platformdirs", ""),
    "pydantic": ("pydantic", ""),
    "pypdfium2": ("pypdfium2", "the chart as a picture"),
    "python-bidi": ("bidi", "paper from right to left"),
    "reportlab": ("reportlab", "paper as PDF"),
    "rich": ("rich", "progress on a terminal"),
    "scipy": ("scipy", ""),
    "soundfile": ("soundfile", ""),
    "soxr": ("soxr", ""),
    "starlette": ("starlette", "the page of review"),
    "typing_extensions": ("typing_extensions", ""),
    "uvicorn": ("uvicorn", "the page of review"),
    "XlsxWriter": ("xlsxwriter", "the workbook"),
}
"""Each library that is asked for: the module that shows whether it works, and what cannot be had without it; nothing
where no cue list can be made."""

_PIP = f"{shlex.quote(sys.executable)} -m pip install --force-reinstall"

# Kinds of files, and the format and coding that show whether a decoder has them.
_BY_SOUNDFILE = {
    "WAV": ("WAV", "PCM_24"), "AIFF": ("AIFF", "PCM_24"), "FLAC": ("FLAC", "PCM_24"), "Ogg Vorbis": ("OGG", "VORBIS"),
    "Ogg Opus": ("OGG", "OPUS"), "CAF": ("CAF", "PCM_24"), "W64": ("W64", "PCM_24"),
    "AU": ("AU", "PCM_16"),
}  # fmt: skip
_BY_AV = {
    "M4A, MP4 and MOV": ("mov", "aac"), "Apple Lossless": ("mov", "alac"), "AAC": ("aac", "aac"),
    "WebM": ("webm", "opus"), "MKV and MKA": ("matroska", "vorbis"), "WMA": ("asf", "wmav2"), "AMR": ("amr", "amrnb"),
    "WavPack": ("wv", "wavpack"), "MP3": ("mp3", "mp3"), "AC-3": ("ac3", "ac3"),
}  # fmt: skip

# A letter of each script that somebody may write titles and notes in.
_SCRIPTS = {
    "Latin": "ő", "Greek": "ω", "Cyrillic": "ж", "Hebrew": "ש", "Arabic": "ش", "Armenian": "ժ", "Georgian": "ჟ",
    "Chinese": "光", "Japanese": "か", "Korean": "빛", "Thai": "ก", "Devanagari": "क", "Bengali": "ক", "Tamil": "க",
    "Ethiopic": "ሀ", "Khmer": "ក", "emoji": "🔥",
}  # fmt: skip


Verdict = Literal["here", "lacking", "stops"]


@dataclass(frozen=True, slots=True)
class Looked:
    """What was found of one thing."""

    topic: str
    text: str
    verdict: Verdict = "here"
    """Whether it is here, something else than the cue list cannot be had, or no cue list can be made."""


def looked_at() -> list[Looked]:
    """Look at everything that the program needs of this machine.

    Returns
    -------
    list of Looked
        In the order in which they are told. Nothing is left behind on disk.
    """
    found: list[Looked] = []
    for topic, look in _TOPICS.items():
        try:
            found += look(topic)
        except Exception as error:  # what is broken breaks in its own way
            verdict: Verdict = "stops" if topic in _NEEDED else "lacking"
            found.append(Looked(topic, f"This cannot be looked at ({_said(error)}).", verdict))
    return found


def size_text(size: int) -> str:
    """Write bytes as megabytes."""
    return f"{size / 1e6:.1f} MB"


def _python(topic: str) -> Iterator[Looked]:
    text = f"{platform.python_version()} at {sys.executable}, on {platform.platform(terse=True)} {platform.machine()}"
    yield Looked(topic, text)


def _libraries(topic: str) -> Iterator[Looked]:
    asked = _asked_for()
    good: list[str] = []
    for name, (module, purpose) in LIBRARIES.items():
        versions = asked.get(name.lower(), "")
        wrong = _wrong_with(name, module, versions)
        if wrong is None:
            good.append(f"{name} {_version(name)}")
            continue
        how = f"Install it: {_PIP} {shlex.quote(name + versions)}"
        without = f"Without it there is no {purpose}." if purpose else "Without it no cue list can be made."
        yield Looked(topic, f"{name} {wrong}. {without} {how}", "lacking" if purpose else "stops")
    yield Looked(topic, ", ".join(good))


def _asked_for() -> dict[str, str]:
    """Return the versions that the installed program asks for: name in small letters to what stands behind it."""
    try:
        lines = importlib.metadata.requires("cuesuggest") or []
    except importlib.metadata.PackageNotFoundError:  # run from its folder
        return {}
    found = (re.match(r"([\w.-]+)\s*([^;]*)(;.*)?$", line) for line in lines)
    return {each[1].lower(): each[2].strip() for each in found if each and "extra" not in (each[3] or "")}


def _wrong_with(name: str, module: str, asked: str) -> str | None:
    try:
        importlib.import_module(module)
    except ModuleNotFoundError:
        return "is not installed"
    except Exception as error:
        return f"is installed but does not work ({_said(error)})"
    lowest = re.search(r">=\s*([\d.]+)", asked)
    version = _version(name)
    if lowest and version and _numbers(version) < _numbers(lowest[1]):
        return f"{version} is older than {lowest[1]}, the oldest that works"
    return None


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return ""


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in re.findall(r"\d+", version))


def _decoders(topic: str) -> Iterator[Looked]:
    try:
        import soundfile
    except Exception as error:
        yield Looked(topic, f"libsndfile does not work ({_said(error)}): no recording can be opened.", "stops")
    else:
        has = {kind for kind, asked in _BY_SOUNDFILE.items() if soundfile.check_format(*asked)}
        yield from _kinds(topic, f"libsndfile {soundfile.__libsndfile_version__}", _BY_SOUNDFILE, has, "soundfile")
    try:
        import av

        containers, codings = av.formats_available, av.codecs_available
        libraries = {key: ".".join(map(str, each)) for key, each in av.library_versions.items()}
    except Exception as error:
        yield Looked(topic, f"FFmpeg does not work ({_said(error)}): M4A, MP4 and others cannot be opened.", "lacking")
    else:
        has = {kind for kind, (box, coding) in _BY_AV.items() if box in containers and coding in codings}
        used = ", ".join(f"{name} {libraries[name]}" for name in ("libavformat", "libavcodec") if name in libraries)
        yield from _kinds(topic, f"FFmpeg ({used})", _BY_AV, has, "av")


def _kinds(topic: str, name: str, kinds: dict[str, tuple[str, str]], has: set[str], package: str) -> Iterator[Looked]:
    yield Looked(topic, f"{name} opens {', '.join(kind for kind in kinds if kind in has) or 'nothing'}.")
    if lacks := [kind for kind in kinds if kind not in has]:
        yield Looked(
            topic,
            f"{name} does not open {', '.join(lacks)}. Save such recordings as WAV, or install a whole one: "
            f"{_PIP} {package}",
            "lacking",
        )


def _networks(topic: str) -> Iterator[Looked]:
    from cuesuggest.draft.listening import weights_digest

    try:
        yield Looked(topic, f"Both networks are here (weights {weights_digest()}).")
    except OSError as error:
        yield Looked(
            topic, f"The networks' weights cannot be read ({_said(error)}). Install cuesuggest again.", "stops"
        )


def _cache(topic: str) -> Iterator[Looked]:
    from cuesuggest.draft.cache import MOST_BYTES, kept_files
    from cuesuggest.draft.folders import cache_folder
    from cuesuggest.score.records import counted

    folder = cache_folder()
    if folder is None:
        yield Looked(
            topic,
            "What was heard is not kept, so each correction listens again. Set HOME, or name a folder in "
            "CUESUGGEST_CACHE.",
            "lacking",
        )
        return
    files = kept_files(folder)
    used = size_text(sum(size for _, size in files))
    parts = counted(len(files), "recording")
    yield Looked(
        topic,
        f"{folder} has what was heard of {parts}: {used} of {size_text(MOST_BYTES)} at most. --clear-cache frees it.",
    )
    yield from _may_write(topic, folder, "What was heard cannot be kept there; each correction listens again.")


def _undo(topic: str) -> Iterator[Looked]:
    from cuesuggest.draft.folders import states_folder

    folder = states_folder()
    if folder is None:
        yield Looked(topic, "Earlier states of documents are not kept: there is no home folder. Set HOME.", "lacking")
        return
    yield Looked(topic, f"{folder} has the last states of documents.")
    yield from _may_write(topic, folder, "Earlier states cannot be kept there; an undo may have to listen again.")


def _writing(topic: str) -> Iterator[Looked]:
    try:
        here = Path.cwd()
    except OSError as error:
        yield Looked(topic, f"The current folder is gone ({_said(error)}). Go to another.", "stops")
    else:
        wrong = list(
            _may_write(topic, here, "Nothing can be saved here. Go to a folder that you may write in.", stops=True)
        )
        yield from wrong or [Looked(topic, f"Files can be written in the current folder, {here}.")]
    try:
        temporary = Path(tempfile.gettempdir())
    except OSError as error:
        yield Looked(topic, f"There is no temporary folder ({_said(error)}). Set TMPDIR to one.", "lacking")
    else:
        wrong = list(_may_write(topic, temporary, "The page of review cannot play all recordings. Set TMPDIR."))
        yield from wrong or [Looked(topic, f"Files can be written in the temporary folder, {temporary}.")]


def _may_write(topic: str, folder: Path, without: str, *, stops: bool = False) -> Iterator[Looked]:
    """Yield what is wrong, if files cannot be written in a folder, or in the one that it would be made in."""
    there = next((each for each in (folder, *folder.parents) if each.is_dir()), folder)
    try:
        # Tried: what permissions say is not what happens on a disk that is full or read-only.
        with tempfile.TemporaryFile(dir=there) as file:
            file.write(b"0" * 4096)
    except OSError as error:
        yield Looked(topic, f"{there} cannot be written in: {_said(error)}. {without}", "stops" if stops else "lacking")


def _browser(topic: str) -> Iterator[Looked]:
    import webbrowser

    try:
        browser = webbrowser.get()
    except webbrowser.Error:
        yield Looked(
            topic,
            "None was found, so review cannot open its page. Install one, name it in the environment variable BROWSER, "
            "or open the address that review prints yourself.",
            "lacking",
        )
    else:
        yield Looked(
            topic, f"{getattr(browser, 'name', '') or 'The default one of this system'}, for the page of review."
        )


def _typeface(topic: str) -> Iterator[Looked]:
    from cuesuggest.export.paper.further_fonts import EXTRA
    from cuesuggest.export.paper.typeface import drawn, typeface_for

    try:
        has = [script for script, letter in _SCRIPTS.items() if drawn(letter)]
        face = typeface_for("".join(_SCRIPTS.values()))
        more = [script for script, letter in _SCRIPTS.items() if script not in has and face.to_print(letter) == letter]
    except Exception as error:
        yield Looked(topic, f"Paper has no typeface ({_said(error)}). Install cuesuggest again.", "lacking")
        return
    lacks = [script for script in _SCRIPTS if script not in (*has, *more)]
    extra = f" Further fonts that are installed add {', '.join(more)}." if more else ""
    install = "" if more else f"For Chinese, Japanese, Korean and emoji: {EXTRA}. "
    yield Looked(
        topic,
        f"Paper is set in DejaVu Sans Condensed, which comes along: {', '.join(has)}.{extra} It prints boxes for "
        f"{', '.join(lacks)}. {install}Else name a typeface that has them (export --font FILE), or print the page for "
        "a tablet (export --to run) from a browser.",
    )


def _playing(topic: str) -> Iterator[Looked]:
    from importlib.util import find_spec

    from cuesuggest.play.senders import EXTRA

    midi = "and MIDI." if find_spec("rtmidi") else f"to other programs and desks. For MIDI as well: {EXTRA}."
    yield Looked(topic, f"play sends OSC {midi}")


def _said(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return os.strerror(error.errno) if error.errno else error.strerror
    return " ".join(str(error).split()) or type(error).__name__


_TOPICS: dict[str, Callable[[str], Iterator[Looked]]] = {
    "Python": _python,
    "Libraries": _libraries,
    "Decoders": _decoders,
    "Networks": _networks,
    "Cache": _cache,
    "Undo": _undo,
    "Writing": _writing,
    "Browser": _browser,
    "Typeface": _typeface,
    "Playing": _playing,
}
_NEEDED = {"Libraries", "Decoders", "Networks", "Writing"}
