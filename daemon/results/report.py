"""The report folder of a record: summary page, plots, coefficients, tables, reduced readings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from daemon.history.check_standard import CheckStandard, check_standard_of
from daemon.history.past import Past, past_of
from daemon.history.since_last import since_last
from daemon.journal.read import verify
from daemon.results.calibrate import ItemResult, NightResult, calibrate
from daemon.results.files import coefficients_json, table_csv
from daemon.results.item_points import item_points, largest_residual_mk
from daemon.results.judgement import SIMULATED, judge_night
from daemon.results.numbers import signed, uncertainty
from daemon.results.page import summary_page
from daemon.results.page_figures import ItemPictures
from daemon.results.page_history import history_section
from daemon.results.page_items import KINDS, largest_expanded_mk
from daemon.results.readings import readings_csv
from daemon.results.story import Story, tell


@dataclass(frozen=True, slots=True)
class ReportSummary:
    """What was written, in words: the verdict, one line a thermometer, what to look at, and the paths."""

    good: bool
    simulated: bool
    verdict: str
    why: str
    item_lines: tuple[str, ...]
    flags: tuple[str, ...]
    paths: tuple[Path, ...]

    def lines(self) -> list[str]:
        """Plain text for a terminal."""
        mark = [SIMULATED] if self.simulated else []
        why = [self.why] if self.why else []
        return [*mark, self.verdict, *why, *self.item_lines, *(f"look at: {flag}" for flag in self.flags)]


def write_report(record: Path, folder: Path) -> ReportSummary:
    """Evaluate a record and write its report; the same record among the same ones gives the same bytes.

    Raises RecordError, PlanError, FittingError (unusable certificate of the reference), OSError.
    """
    verification, story, night = verify(record), tell(record), calibrate(record)
    past = past_of(record, night)
    check = check_standard_of(night, past)
    since = since_last(past)
    judgement = judge_night(night, story, verification, check, since)
    folder.mkdir(parents=True, exist_ok=True)
    night_paths, item_paths = _draw(night, story, folder)
    past_paths = _draw_past(past, check, folder, simulated=story.simulated)
    texts = {
        "summary.html": summary_page(
            night,
            story,
            verification,
            judgement,
            night_paths[0],
            {serial: ItemPictures(paths[0], paths[2]) for serial, paths in item_paths.items()},
            history_section(past, check, since, past_paths[0] if past_paths else None),
        ),
        "coefficients.json": coefficients_json(night, story, verification, judgement),
        "readings.csv": readings_csv(night, story),
        **_tables(night),
    }
    written = [_write(folder / name, text) for name, text in texts.items()]
    drawn = [*night_paths, *past_paths, *(path for paths in item_paths.values() for path in paths)]
    return ReportSummary(
        judgement.good,
        story.simulated,
        judgement.headline,
        judgement.why,
        tuple(item_line(night, item) for item in night.items),
        judgement.flags,
        tuple([*written, *drawn]),
    )


def _draw(
    night: NightResult, story: Story, folder: Path
) -> tuple[tuple[Path, Path], dict[str, tuple[Path, ...]]]:
    """Paths of SVG and PNG: of the night, and by serial of the residuals and of the range."""
    # Plotting takes long to import: only whoever wants a report pays for it.
    from daemon.results.night_plot import draw_night
    from daemon.results.range_plot import draw_range
    from daemon.results.residual_plot import draw_residuals

    night_paths = draw_night(night.run, story, folder / "night")
    by_item: dict[str, tuple[Path, ...]] = {}
    for item in night.items:
        found = item.characteristic
        if found is not None:
            points, simulated = item_points(night, item), story.simulated
            thermometer = night.run.thermometer(item.serial)
            residuals, over_range = folder / f"residuals-{item.serial}", folder / f"range-{item.serial}"
            by_item[item.serial] = (
                *draw_residuals(item, found, points, residuals, simulated=simulated),
                *draw_range(item.serial, found, thermometer, over_range, simulated=simulated),
            )
    return night_paths, by_item


def _draw_past(past: Past, check: CheckStandard | None, folder: Path, *, simulated: bool) -> tuple[Path, ...]:
    """Nothing when there was no run before: one dot is no history."""
    from daemon.history.plot import draw_past

    return draw_past(past, check, folder / "history", simulated=simulated) if past.runs > 1 else ()


def _tables(night: NightResult) -> dict[str, str]:
    fitted = [(item.serial, item.characteristic) for item in night.items if item.characteristic is not None]
    return {f"table-{serial}.csv": table_csv(characteristic) for serial, characteristic in fitted}


def _write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def item_line(night: NightResult, item: ItemResult) -> str:
    """One thermometer in one line."""
    found = item.characteristic
    if found is None:
        return f"{item.serial}: no characteristic, {item.problem or 'nothing was measured'}"
    residual = signed(largest_residual_mk(item_points(night, item)), 2, "mK")
    return (
        f"{item.serial}: {KINDS[found.equation.kind]}, {_shift(item)}, "
        f"largest residual {residual}, U up to {uncertainty(largest_expanded_mk(found))}"
    )


def _shift(item: ItemResult) -> str:
    if item.return_mk is not None:
        return f"change at the return point {signed(item.return_mk, 2, 'mK')}"
    return f"R0 shift {signed(item.shift_mk, 2, 'mK')}"
