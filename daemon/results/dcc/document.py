"""The digital calibration certificate of one thermometer, from the same facts as the printed one."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from lxml import etree

from daemon.results.certificate.facts import DRAFT, Facts
from daemon.results.certificate.method import conditions, method_sentences, traceability
from daemon.results.dcc.results import results_node
from daemon.results.dcc.tree import DCC_VERSION, as_bytes, node, validate, words

_CONFORMITY = {
    "pass": "pass",
    "conditional pass": "conditionalPass",
    "conditional fail": "conditionalFail",
    "fail": "fail",
}


def dcc_xml(facts: Facts, schema: Path | None = None) -> bytes:
    """The XML text; checked by our own model while it is built, and by the XSD when `schema` has it.

    Raises DccError.
    """
    root = node(
        "dcc:digitalCalibrationCertificate",
        _administrative(facts),
        node("dcc:measurementResults", _measurement(facts)),
        schemaVersion=DCC_VERSION,
    )
    data = as_bytes(root)
    if schema is not None:
        validate(data, schema)
    return data


def _administrative(facts: Facts) -> etree._Element:
    return node(
        "dcc:administrativeData",
        node("dcc:dccSoftware", _software("ohmvigil", facts.program)),
        _core(facts),
        node("dcc:items", _item(facts)),
        node("dcc:calibrationLaboratory", _contact("dcc:contact", *_laboratory(facts))),
        node("dcc:respPersons", _responsible(facts)),
        _contact("dcc:customer", *_customer(facts)),
        _statements(facts),
    )


def _software(name: str, release: str) -> etree._Element:
    return node(
        "dcc:software",
        words("dcc:name", name),
        node("dcc:release", text=release),
        node("dcc:type", text="application"),
    )


def _core(facts: Facts) -> etree._Element:
    parts = [
        node("dcc:countryCodeISO3166_1", text=facts.papers.laboratory.country),
        node("dcc:usedLangCodeISO639_1", text="en"),
        node("dcc:mandatoryLangCodeISO639_1", text="en"),
        node("dcc:uniqueIdentifier", text=identifier(facts)),
    ]
    if facts.ordered.received is not None:
        parts.append(node("dcc:receiptDate", text=facts.ordered.received.isoformat()))
    parts += [
        node("dcc:beginPerformanceDate", text=facts.begun.isoformat()),
        node("dcc:endPerformanceDate", text=facts.ended.isoformat()),
        node("dcc:performanceLocation", text="laboratory"),
    ]
    if facts.issued is not None:
        parts.append(node("dcc:issueDate", text=facts.issued.isoformat()))
    if facts.authorised is not None and facts.authorised.replaces:
        replaced = node("dcc:replacedUniqueIdentifier", text=facts.authorised.replaces)
        parts.append(node("dcc:reportAmendedSubstituted", node("dcc:typeOfChange", text="amended"), replaced))
    return node("dcc:coreData", *parts)


def identifier(facts: Facts) -> str:
    """The unique identifier; a draft's is told from a certificate's at first sight."""
    if facts.authorised is not None:
        return facts.authorised.number
    what = "DRAFT" if facts.mark == DRAFT else "SIMULATED"
    return f"{what}-{facts.evaluated.verification.closed_head[:12]}-{facts.item.serial}"


def _item(facts: Facts) -> etree._Element:
    serial = node(
        "dcc:identification",
        node("dcc:issuer", text="manufacturer"),
        node("dcc:value", text=facts.item.serial),
        words("dcc:name", "serial number"),
    )
    return node(
        "dcc:item",
        words("dcc:name", facts.ordered.description),
        words("dcc:description", f"condition on receipt: {facts.ordered.condition or 'not stated'}"),
        node("dcc:identifications", serial),
    )


def _laboratory(facts: Facts) -> tuple[str, tuple[str, ...], str, str]:
    laboratory = facts.papers.laboratory
    return laboratory.name, laboratory.address, laboratory.city, laboratory.country


def _customer(facts: Facts) -> tuple[str, tuple[str, ...], str, str]:
    customer = facts.papers.order.customer
    return customer.name, customer.address, customer.city, ""


def _contact(name: str, who: str, address: tuple[str, ...], city: str, country: str) -> etree._Element:
    place = [node("dcc:city", text=city)]
    if country:
        place.append(node("dcc:countryCode", text=country))
    if address:
        place.append(words("dcc:further", ", ".join(address)))
    return node(name, words("dcc:name", who), node("dcc:location", *place))


def _responsible(facts: Facts) -> etree._Element:
    by = facts.authorised.by if facts.authorised is not None else None
    person = node("dcc:person", words("dcc:name", by.name if by else "nobody: not authorised"))
    if by is None:
        return node("dcc:respPerson", person)
    return node("dcc:respPerson", person, node("dcc:role", text=by.role), node("dcc:mainSigner", text="true"))


def _statements(facts: Facts) -> etree._Element:
    authorised = facts.authorised
    sentences = [
        *((facts.mark,) if facts.mark else ()),
        "The results relate only to the item identified here and to its condition when calibrated.",
        "The stated uncertainty does not include drift after the calibration.",
        traceability(facts, *facts.evaluated.night.run.references),
        *(authorised.reasons if authorised is not None and authorised.replaces else ()),
        *facts.remarks,
    ]
    said = [node("dcc:statement", words("dcc:declaration", sentence)) for sentence in sentences]
    judged = facts.conformity
    if judged is not None:
        verdict = node("dcc:conformity", text=_CONFORMITY[judged.verdict])
        rule = f"class {judged.class_name}; decision rule: {judged.rule.value}; {'; '.join(judged.sentences)}"
        norm = node("dcc:norm", text="IEC 60751")
        said.append(node("dcc:statement", norm, words("dcc:declaration", rule), verdict))
    return node("dcc:statements", *said)


def _measurement(facts: Facts) -> etree._Element:
    method = node(
        "dcc:usedMethod",
        words("dcc:name", "Comparison with a reference thermometer"),
        words("dcc:description", " ".join(method_sentences(facts))),
        refType="basic_calibrationMethod",
    )
    opening = facts.evaluated.story.opening.body
    room = node(
        "dcc:influenceCondition",
        words("dcc:name", "Room"),
        node("dcc:data", words("dcc:text", conditions(facts))),
    )
    return node(
        "dcc:measurementResult",
        words("dcc:name", "Calibration of a platinum resistance thermometer by comparison"),
        node("dcc:usedMethods", method),
        node("dcc:usedSoftware", _software("ohmvigil", str(opening["program"]))),
        node("dcc:measuringEquipments", *_references(facts)),
        node("dcc:influenceConditions", room),
        results_node(facts),
    )


def _references(facts: Facts) -> Iterator[etree._Element]:
    for one in facts.evaluated.night.run.references:
        serial = node(
            "dcc:identification",
            node("dcc:issuer", text="calibrationLaboratory"),
            node("dcc:value", text=one.serial),
        )
        yield node(
            "dcc:measuringEquipment",
            words("dcc:name", "Reference thermometer"),
            words("dcc:description", traceability(facts, one)),
            node("dcc:identifications", serial),
        )
