"""Building and checking XML of the digital calibration certificate; the pinned versions stand here alone."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from lxml import etree

from daemon.results.dcc.quantity import DccError, Quantity

DCC_VERSION, DSI_VERSION = "3.2.1", "2.1.0"
DCC, SI = "https://ptb.de/dcc", "https://ptb.de/si"
NAMES = {"dcc": DCC, "si": SI}
_ILLEGAL = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
LARGEST_BYTES = 20 * 1024 * 1024
_FILES = {
    "dcc.xsd": f"dcc-{DCC_VERSION}.xsd",
    "SI_Format.xsd": f"SI_Format-{DSI_VERSION}.xsd",
    "xmldsig-core-schema.xsd": "xmldsig-core-schema.xsd",
}


def node(name: str, *children: etree._Element, text: str | None = None, **attributes: str) -> etree._Element:
    """An element of the dcc or si namespace ("dcc:name"); attributes as given."""
    prefix, local = name.split(":")
    made = etree.Element(f"{{{NAMES[prefix]}}}{local}", attributes, nsmap=NAMES)
    # What XML cannot hold must not stop the morning; everything else is kept as it is.
    made.text = None if text is None else _ILLEGAL.sub("\ufffd", " ".join(text.split()))
    made.extend(children)
    return made


def words(name: str, text: str) -> etree._Element:
    """An element that holds English text."""
    return node(name, node("dcc:content", text=text, lang="en"))


def quantity_node(quantity: Quantity) -> etree._Element:
    """A dcc:quantity: one number as si:real, more as si:realListXMLList."""
    single = len(quantity.values) == 1
    inside = _real(quantity) if single else _real_list(quantity)
    return node("dcc:quantity", words("dcc:name", quantity.name), inside, refType=quantity.ref_type)


def _real(quantity: Quantity) -> etree._Element:
    parts = [node("si:value", text=quantity.values[0]), node("si:unit", text=quantity.unit)]
    if quantity.expanded is not None:
        parts.append(
            node(
                "si:expandedUnc",
                node("si:uncertainty", text=quantity.expanded.values[0]),
                node("si:coverageFactor", text=quantity.expanded.factors[0]),
                node("si:coverageProbability", text=quantity.expanded.probability),
            )
        )
    return node("si:real", *parts)


def _real_list(quantity: Quantity) -> etree._Element:
    parts = [
        node("si:valueXMLList", text=" ".join(quantity.values)),
        node("si:unitXMLList", text=quantity.unit),
    ]
    if quantity.expanded is not None:
        parts.append(
            node(
                "si:expandedUncXMLList",
                node("si:uncertaintyXMLList", text=" ".join(quantity.expanded.values)),
                node("si:coverageFactorXMLList", text=" ".join(quantity.expanded.factors)),
                node("si:coverageProbabilityXMLList", text=quantity.expanded.probability),
            )
        )
    return node("si:realListXMLList", *parts)


def as_bytes(root: etree._Element) -> bytes:
    """The document's bytes; the same tree gives the same."""
    etree.indent(root, "  ")
    data: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8")
    return data


def parse(data: bytes) -> etree._Element:
    """The root of an XML text; no network, no entities. Raises DccError."""
    if len(data) > LARGEST_BYTES:
        raise DccError(
            f"larger than {LARGEST_BYTES // 1024 // 1024} MiB: not a digital certificate of this kind"
        )
    try:
        return etree.fromstring(data, _parser())
    except etree.XMLSyntaxError as fault:
        raise DccError(f"not XML: {fault.msg}") from fault


def validate(data: bytes, folder: Path) -> None:
    """Validate against the schema files in `folder`; raises DccError naming what is wrong or missing."""
    missing = [name for name in _FILES.values() if not (folder / name).is_file()]
    if missing:
        raise DccError(f"{folder}: the schema files {', '.join(missing)} are not there")
    parser = _parser()
    parser.resolvers.add(_Local(folder))
    try:
        schema = etree.XMLSchema(etree.parse(folder / _FILES["dcc.xsd"], parser))
    except (etree.XMLSchemaParseError, etree.XMLSyntaxError) as fault:
        raise DccError(f"{folder}: these schema files cannot be used ({fault})") from fault
    if not schema.validate(parse(data)):
        errors: Any = schema.error_log
        raise DccError(f"not valid by the DCC schema {DCC_VERSION}: {_first(list(errors))}")


class _Local(etree.Resolver):
    """The addresses that the schema imports, mapped to files: nothing is ever fetched."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def resolve(self, system_url: str, public_id: str, *context: Any) -> Any:
        """The file for an address; None for an unknown one, which the parser then refuses."""
        name = _FILES.get(system_url.rsplit("/", 1)[-1])
        own: Any = self
        return own.resolve_filename(str(self._folder / name), *context) if name else None


def _parser() -> etree.XMLParser:
    return etree.XMLParser(no_network=True, resolve_entities=False, load_dtd=False, huge_tree=False)


def _first(errors: Sequence[Any]) -> str:
    return "; ".join(f"line {entry.line}: {entry.message}" for entry in errors[:3])
