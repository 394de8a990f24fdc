"""HTML that cannot be broken by what people type: every text is escaped unless it is already HTML."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape

_MINUS = re.compile(r"(?<![\w.])-(?=\s?\d)")
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°C|mK|K|Ω|min|h|s|%|UTC)\b|°C|%)")


class Html(str):
    """Text that is HTML already."""


def element(name: str, *children: str, **attributes: str) -> Html:
    """An element; plain strings among its children are escaped. `cls` stands for class."""
    inside = "".join(child if isinstance(child, Html) else text(child) for child in children)
    words = "".join(f' {"class" if k == "cls" else k}="{escape(v)}"' for k, v in attributes.items())
    return Html(f"<{name}{words}>{inside}</{name}>")


def text(words: str) -> Html:
    """Escaped words, with true minus signs and no line break between a number and its unit."""
    return Html(escape(plain(words)))


def plain(words: str) -> str:
    """The same without escaping, for a page that is not HTML."""
    return _BEFORE_UNIT.sub("\u00a0", _MINUS.sub("−", words))


def joined(parts: Iterable[Html]) -> Html:
    """Parts one after another, a line each."""
    return Html("\n".join(parts))


def bullets(sentences: Iterable[str]) -> Html:
    """A list, or nothing when there are no sentences."""
    items = [element("li", sentence) for sentence in sentences]
    return element("ul", joined(items)) if items else Html("")


def table(header: Iterable[str], rows: Iterable[Iterable[str]], *, words: int = 1) -> Html:
    """A table that scrolls sideways when narrow; the first `words` columns are words, the rest numbers."""
    head = element("tr", joined(_cell("th", i, cell, words) for i, cell in enumerate(header)))
    body = [element("tr", joined(_cell("td", i, cell, words) for i, cell in enumerate(row))) for row in rows]
    whole = element("table", element("thead", head), element("tbody", joined(body)))
    return element("div", whole, cls="wide")


def section(title: str, *parts: Html, name: str = "") -> Html:
    """A section with its heading."""
    attributes = {"id": name} if name else {}
    return element("section", element("h2", title), joined(parts), **attributes)


def _cell(name: str, place: int, text: str, words: int) -> Html:
    return element(name, text) if place < words else element(name, text, cls="n")
