"""What a certificate needs beyond the record: the laboratory, its signatories, the customer's order."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Annotated, Literal, Self, TypeVar

from pydantic import Field, ValidationError, model_validator

from daemon.fitting.classes import class_names
from plans.errors import PlanError
from plans.reading import parse_tree, read_text
from plans.values import FileName, MilliKelvin, Name, Serial, Table, Text
from plans.wording import problems_of

M = TypeVar("M", bound=Table)
Country = Annotated[str, Field(pattern=r"^[A-Z]{2}$")]
Prefix = Annotated[str, Field(min_length=1, max_length=20, pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$")]
Lines = Annotated[tuple[Name, ...], Field(max_length=6)]


class Signatory(Table):
    """[[signatories]]: who may authorise certificates."""

    id: Serial
    name: Name
    role: Name


class Laboratory(Table):
    """laboratory.toml; `smallest_uncertainty_mk` is the least U the laboratory may state (its CMC).

    Logo, template and the folder `dcc_schema` lie beside the file.
    """

    name: Name
    address: Lines = ()
    city: Name
    country: Country
    number_prefix: Prefix
    accreditation: Text = ""
    traceability: Annotated[str, Field(max_length=800)] = ""
    smallest_uncertainty_mk: MilliKelvin | None = None
    logo: FileName | None = None
    template: FileName | None = None
    dcc_schema: FileName | None = None
    signatories: tuple[Signatory, ...] = ()

    def signatory(self, who: str) -> Signatory | None:
        """The signatory with this id."""
        return next((one for one in self.signatories if one.id == who), None)


class Customer(Table):
    """[customer]."""

    name: Name
    address: Lines = ()
    city: Name


class OrderedItem(Table):
    """[[items]]: one thermometer as it came in, and the statement of conformity if one was asked for."""

    serial: Serial
    description: Name = "platinum resistance thermometer"
    received: date | None = None
    condition: Text = ""
    history: Text = ""
    tolerance_class: Text = ""
    decision_rule: Literal["simple", "guard_band", "probability"] | None = None
    rule_agreed: date | None = None

    @model_validator(mode="after")
    def _a_class_has_its_rule(self) -> Self:
        given = (bool(self.tolerance_class), self.decision_rule is not None, self.rule_agreed is not None)
        if any(given) and not all(given):
            raise ValueError(
                "a statement of conformity needs tolerance_class, decision_rule and rule_agreed "
                "(the day on which the customer agreed to the rule)."
            )
        if self.tolerance_class and self.tolerance_class not in class_names():
            raise ValueError(f"tolerance_class is one of {', '.join(class_names())}.")
        return self


class Order(Table):
    """order.toml: for whom, what, and what the room was like."""

    customer: Customer
    environment: Text = ""
    method_deviations: Text = ""
    items: tuple[OrderedItem, ...] = ()

    def item(self, serial: str) -> OrderedItem:
        """What the order says of a thermometer; the bare minimum when it says nothing."""
        return next((one for one in self.items if one.serial == serial), OrderedItem(serial=serial))


@dataclass(frozen=True)
class Papers:
    """Both files, with their texts as they go into the record, and what the laboratory's file points to."""

    laboratory: Laboratory
    order: Order
    laboratory_text: str = ""
    order_text: str = ""
    logo: tuple[str, bytes] | None = None
    template: bytes | None = None
    dcc_schema: Path | None = None


NOT_NAMED = Papers(
    Laboratory(name="Laboratory not named", city="–", country="XX", number_prefix="NONE"),
    Order(customer=Customer(name="Customer not named", city="–")),
)
"""Good enough for a draft: country XX is left free by ISO 3166 for uses like this."""


def read_papers(laboratory: Path | None, order: Path | None) -> Papers:
    """Read what was given; raises PlanError with everything wrong in a file, OSError for logo or template."""
    texts = ["" if path is None else read_text(path, path.name) for path in (laboratory, order)]
    return parse_papers(texts[0], texts[1], laboratory.parent if laboratory is not None else None)


def parse_papers(laboratory_text: str, order_text: str, folder: Path | None) -> Papers:
    """The papers from their texts; `folder` is where the laboratory's logo and template lie."""
    papers = NOT_NAMED
    if laboratory_text:
        laboratory = _model(Laboratory, laboratory_text, "laboratory file")
        papers = replace(papers, laboratory=laboratory, laboratory_text=laboratory_text)
    if order_text:
        order = _model(Order, order_text, "order file")
        papers = replace(papers, order=order, order_text=order_text)
    return papers if folder is None else _with_files(papers, folder)


def _with_files(papers: Papers, folder: Path) -> Papers:
    logo, template = papers.laboratory.logo, papers.laboratory.template
    schema = papers.laboratory.dcc_schema
    return replace(
        papers,
        logo=(Path(logo).suffix.lower(), (folder / logo).read_bytes()) if logo else None,
        template=(folder / template).read_bytes() if template else None,
        dcc_schema=folder / schema if schema else None,
    )


def _model(model: type[M], text: str, name: str) -> M:
    try:
        return model.model_validate(parse_tree(text, name))
    except ValidationError as fault:
        raise PlanError(problems_of(fault, model, name)) from None
