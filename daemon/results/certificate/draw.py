"""Drawing one certificate: the digital certificate first, then the page that carries it inside."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from daemon.results.certificate.content import content
from daemon.results.certificate.facts import Facts
from daemon.results.certificate.figures import conformity_svg, residuals_svg, uncertainty_svg
from daemon.results.certificate.typeset import typeset_pdf
from daemon.results.dcc.document import dcc_xml


@dataclass(frozen=True, slots=True)
class Drawn:
    """A certificate's two files, and the characters that no font had."""

    pdf: bytes
    dcc: bytes
    replaced: tuple[str, ...]

    @property
    def pdf_sha256(self) -> str:
        """Of the PDF's bytes."""
        return hashlib.sha256(self.pdf).hexdigest()

    @property
    def dcc_sha256(self) -> str:
        """Of the XML's bytes."""
        return hashlib.sha256(self.dcc).hexdigest()


def draw(facts: Facts, schema: Path | None = None) -> Drawn:
    """Draw it; the same facts give the same bytes. Raises TemplateError, DccError (`schema`: by XSD)."""
    dcc = dcc_xml(facts, schema)
    parts = {
        "dcc.xml": dcc,
        "residuals.svg": residuals_svg(facts),
        "uncertainty.svg": uncertainty_svg(facts),
    }
    if facts.conformity is not None:
        parts["conformity.svg"] = conformity_svg(facts)
    if facts.papers.logo is not None:
        suffix, data = facts.papers.logo
        parts[f"logo{suffix}"] = data
    template = facts.papers.template or _own_template()
    typeset = typeset_pdf(template, parts, content(facts))
    return Drawn(typeset.pdf, dcc, typeset.replaced)


def _own_template() -> bytes:
    return files("daemon.results.certificate").joinpath("template.typ").read_bytes()
