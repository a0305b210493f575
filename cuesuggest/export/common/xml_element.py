"""Elements of XML in one expression, for pictures and scores."""

from __future__ import annotations

from xml.etree.ElementTree import Element, indent, tostring

__all__ = ["element", "xml_bytes"]


def element(tag: str, *inside: Element | str, **attributes: str | None) -> Element:
    """Make an element with what is inside it: texts on one line each, or elements.

    An underscore in an attribute's name is a hyphen; an attribute that is None is left out.
    """
    made = Element(tag, {name.replace("_", "-"): value for name, value in attributes.items() if value is not None})
    made.extend(each for each in inside if not isinstance(each, str))
    made.text = "".join(each for each in inside if isinstance(each, str)) or None
    return made


def xml_bytes(root: Element, head: str = '<?xml version="1.0" encoding="UTF-8"?>') -> bytes:
    """Write a document, an element a line, after its first lines."""
    indent(root, "")
    return f"{head}\n{tostring(root, 'unicode')}\n".encode()
