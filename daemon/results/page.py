"""The summary page: one file, readable on paper and on a telephone, needing no network and no program."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from daemon.journal.read import Verification
from daemon.results.calibrate import NightResult
from daemon.results.document import document
from daemon.results.judgement import SIMULATED, Judgement
from daemon.results.markup import Html, bullets, element, joined, section
from daemon.results.numbers import day_and_clock, duration
from daemon.results.page_events import events_section, record_section, touch_section
from daemon.results.page_figures import ItemPictures, figure
from daemon.results.page_items import item_section, items_section
from daemon.results.page_points import points_section
from daemon.results.page_review import review_section
from daemon.results.story import Story

_NIGHT_CAPTION = (
    "The whole night: temperatures, phases and states above; below, for each point, how far every "
    "thermometer stood from its own mean while soaking and reading. Verdicts of guards are vertical lines. "
    "Lowest and highest of each moment are drawn, never a mean; readings thrown away after a switch of "
    "channel are left out below."
)


def summary_page(
    night: NightResult,
    story: Story,
    record: Verification,
    judgement: Judgement,
    night_svg: Path,
    pictures: Mapping[str, ItemPictures],
    history: Html,
) -> str:
    """The whole page as text; `pictures` by serial, `history` the section on former runs."""
    title = night.run.plan.header.title
    mark = [element("div", SIMULATED, cls="mark")] if story.simulated else []
    parts = [
        *mark,
        element("h1", title),
        _when(night, story),
        _verdict(judgement),
        _contents(night),
        touch_section(night, story),
        _flags(judgement),
        review_section(night.review),
        section("The night", figure(night_svg, "night", _NIGHT_CAPTION), name="night"),
        items_section(night),
        history,
        points_section(night, story),
        *(
            item_section(night, item, pictures.get(item.serial), simulated=story.simulated)
            for item in night.items
        ),
        events_section(story),
        record_section(story, record),
        *mark,
    ]
    return document(f"{SIMULATED}: {title}" if story.simulated else title, joined(parts))


def _when(night: NightResult, story: Story) -> Html:
    span = f"{day_and_clock(story.opening.utc_s)} to {day_and_clock(story.utc_s(story.end_s))}"
    certified = " and ".join(
        f"{one.serial}, certificate {one.calibration.certificate} of {one.calibration.date.isoformat()}"
        for one in night.run.references
        if one.calibration is not None
    )
    reference = f"Reference thermometer{'s' if len(night.run.references) > 1 else ''} {certified}."
    return element("p", f"{span} ({duration(story.end_s)}), {night.run.bench.name}. {reference}", cls="quiet")


def _verdict(judgement: Judgement) -> Html:
    why = [element("span", judgement.why)] if judgement.why else []
    return element(
        "div", element("b", judgement.headline), *why, cls="verdict good" if judgement.good else "verdict"
    )


def _flags(judgement: Judgement) -> Html:
    notes = [element("p", f"Worth knowing: {note}", cls="quiet") for note in judgement.notes]
    if not judgement.flags:
        words = "Nothing was flagged. A person still reviews and signs before anything is issued."
        return joined([element("p", words), *notes])
    note = element("p", "Nothing is left out by itself: what is flagged here, a person decides.", cls="quiet")
    return section("To look at before anyone signs", bullets(judgement.flags), note, *notes, name="flags")


def _contents(night: NightResult) -> Html:
    links = {
        "review": "Review",
        "night": "The night",
        "items": "Thermometers",
        "history": "Check standard",
        "points": "Points",
    }
    links |= {f"item-{item.serial}": item.serial for item in night.items}
    links |= {"events": "What happened", "record": "The record"}
    return element("nav", *(element("a", words, href=f"#{name}") for name, words in links.items()))
