"""From template and data to PDF/A-3b bytes; a glyph that no font has is replaced and reported."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

MISSING = "▯"
_MOST_REPLACED = 2000
_LACKING = re.compile(r'the text `"(.+?)"` could not be displayed', re.DOTALL)


class TemplateError(Exception):
    """The template cannot be typeset; the message is the typesetter's, with its place."""


@dataclass(frozen=True, slots=True)
class Typeset:
    """The PDF, and the characters that had to be replaced because no font shipped has them."""

    pdf: bytes
    replaced: tuple[str, ...]


def typeset_pdf(template: bytes, files: Mapping[str, bytes], data: Mapping[str, Any]) -> Typeset:
    """Typeset as PDF/A-3b; the same input gives the same bytes. Raises TemplateError.

    Only the fonts shipped with the typesetter are used, so that every computer makes the same page.
    """
    import typst

    text, replaced = json.dumps(data, ensure_ascii=False), list[str]()
    while len(replaced) < _MOST_REPLACED:
        try:
            # Several files in memory are taken as a mapping, which the library's own types do not say.
            whole: Any = {"main.typ": template, **files}
            pdf = typst.compile(
                whole,
                pdf_standards=["a-3b"],
                ignore_system_fonts=True,
                sys_inputs={"data": text, "replaced": " ".join(map(_code_point, replaced))},
            )
            assert isinstance(pdf, bytes)
            return Typeset(pdf, tuple(replaced))
        except typst.TypstError as fault:
            lacking = _lacking(str(fault.message), text)
            if not lacking:
                raise TemplateError(f"{fault.message} {fault.diagnostic}".strip()) from fault
            replaced += lacking
            for character in lacking:
                text = text.replace(character, MISSING)
    raise TemplateError("more characters are missing from the fonts than a page can hold")


def _lacking(message: str, text: str) -> list[str]:
    """The characters that the typesetter complains of, as far as they come from the data."""
    found = _LACKING.search(message)
    named = dict.fromkeys(found[1]) if found else {}
    return [character for character in named if character != MISSING and character in text]


def _code_point(character: str) -> str:
    return f"U+{ord(character):04X}"
