"""The thermometry against published tables: ITS-90, IEC 60751, Student's t of the GUM."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from importlib.resources import files

import numpy as np

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting import its90
from daemon.fitting.coverage import student_factor
from daemon.results.numbers import significant, true_minus
from daemon.validation.check import Check, Part

_ITS90 = "ITS-90 text, Metrologia 27 (1990) 3-10, Table 1"
_IEC = "IEC 60751, table of resistance over temperature"
_GUM = "JCGM 100:2008, Table G.2"


def check_published() -> Part:
    """Every fixed point, every printed resistance, every printed coverage factor."""
    return Part(
        "Published tables",
        "The program's functions at every entry of the table; the largest deviation is shown.",
        (*_its90(), *_iec60751(), *_student()),
    )


def rows(name: str) -> list[dict[str, str]]:
    """A table that this program carries, as text by column."""
    text = files("daemon.validation").joinpath("data", name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def _its90() -> Iterator[Check]:
    table = [row for row in rows("its90_fixed_points.csv") if _single(row["wr_published"])]
    for row in table:
        t90, printed = float(row["t90_C"]), row["wr_published"]
        found = float(its90.reference_ratio(t90))
        yield Check(
            f"Wr at {true_minus(f'{t90:.4f}')} °C ({row['substance']})",
            printed,
            f"{found:.{_decimals(printed)}f}",
            _ITS90,
            f"{found:.{_decimals(printed)}f}" == printed,
        )
    # At 0.01 °C the two functions meet within 1.4 µK only, so the way back may take the other one.
    where = np.array([float(row["t90_C"]) for row in table if row["t90_C"] != "0.01"])
    back_k = np.abs(its90.temperature_c(its90.reference_ratio(where)) - where).max()
    yield Check(
        "t90 from Wr, back at every fixed point but water's, where both functions meet",
        "within 1 nK",
        f"{significant(1e9 * float(back_k))} nK at most",
        "the inverse undoes the function",
        bool(back_k < 1e-9),
    )


def _iec60751() -> Iterator[Check]:
    table = rows("iec60751_table.csv")
    off = [row for row in table if f"{_resistance(float(row['t90_C'])):.2f}" != row["r_ohm"]]
    lowest, highest = (true_minus(table[i]["t90_C"]) for i in (0, -1))
    yield Check(
        f"R(t) of a 100 Ω thermometer, {len(table)} temperatures from {lowest} °C to {highest} °C",
        "every printed digit",
        f"{len(off)} differ",
        _IEC,
        not off,
    )


def _resistance(temperature_c: float) -> float:
    where = np.array([temperature_c])
    return 100.0 * float(cvd.ratio(where, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)[0])


def _student() -> Iterator[Check]:
    for row in rows("coverage_factors.csv"):
        printed, freedom = row["t95_published"], row["nu"]
        found = student_factor(float(freedom), 0.95)
        text = f"{found:.{_decimals(printed)}f}"
        yield Check(f"k for 95 %, {freedom} degrees of freedom", printed, text, _GUM, text == printed)


def _single(printed: str) -> bool:
    """Gold and copper lie above the range of platinum thermometers; both functions meet at 273.16 K."""
    return bool(printed) and ";" not in printed


def _decimals(printed: str) -> int:
    return len(printed.partition(".")[2])
