"""What was learned as a file for people and for `check` and `rehearse`, and as a simulated bench."""

from __future__ import annotations

from daemon.results.numbers import true_minus
from plans.learned import Cooling, Direction, Figure, Learned


def as_toml(learned: Learned) -> str:
    """The text of bench.learned.toml."""
    about, timing, source = learned.about, learned.timing, learned.source
    names = ", ".join(f'"{_quoted(name)}"' for name in about.records)
    blocks = [
        "# What past nights taught of this bench; written by learn, read by check and rehearse.\n"
        "# It moves forecasts and simulations, never a limit. u: standard uncertainty in the key's unit.\n",
        _table(
            "learned",
            f'bench = "{_quoted(about.bench)}"',
            f'kind = "{about.kind}"',
            f"simulated = {str(about.simulated).lower()}",
            f"records = [{names}]",
            f"until_utc = {about.until_utc:%Y-%m-%dT%H:%M:%SZ}",
        ),
        _table(
            "timing",
            f"lead_in_s = {timing.lead_in_s:.1f}",
            f"small_step_s = {timing.small_step_s:.1f}",
            f"hotter_s = {timing.hotter_s:.1f}",
        ),
        _cooling(timing.cooling),
        _direction("timing.rising", timing.rising),
        _direction("timing.falling", timing.falling),
    ]
    if learned.display is not None:
        display = learned.display
        blocks.append(
            _table(
                "display",
                f"offset_k = {_figure(display.offset_k)}   # at 0 °C, controller minus reference",
                f"slope = {_figure(display.slope)}   # K/K",
                f"scatter_mk = {display.scatter_mk:.2f}",
            )
        )
    figures = {
        "heating_k_per_min": source.heating_k_per_min,
        "cooling_k_per_min": source.cooling_k_per_min,
        "overshoot_k": source.overshoot_k,
    }
    known = [f"{key} = {_figure(figure)}" for key, figure in figures.items() if figure is not None]
    blocks += [_table("source", *known)] if known else []
    factors = [f"{part} = {_figure(figure)}" for part, figure in learned.response.items()]
    blocks += [_table("response", *factors)] if factors else []
    blocks += [
        f'[[probes]]\nserial = "{lag.serial}"\nlag_s = {_figure(lag.lag_s)}\n' for lag in learned.probes
    ]
    return "\n".join(block for block in blocks if block)


def as_simulation(learned: Learned, sensor_lag_s: float) -> str:
    """Tables that a simulated bench's file takes on, so that it answers as the one learned from did.

    `sensor_lag_s`: of the simulated controller, behind whose display the lags were seen.
    """
    factors = [f"{part} = {figure.value:.5g}" for part, figure in learned.response.items()]
    lags = {lag.serial: lag.lag_s.value + sensor_lag_s for lag in learned.probes}
    blocks = ["", _table("simulation.response", *factors)] if factors else [""]
    if learned.display is not None:
        offset_k, slope = learned.display.offset_k.value, learned.display.slope.value
        blocks.append(_table("simulation.display", f"offset_k = {offset_k:.5f}", f"slope = {slope:.6f}"))
    if lags:
        lines = [f'"{serial}" = {max(lag_s, SHORTEST_LAG_S):.2f}' for serial, lag_s in lags.items()]
        blocks.append(_table("simulation.lags_s", *lines))
    return "\n".join(blocks)


def as_lines(learned: Learned) -> list[str]:
    """The same for the terminal, one sentence or figure a line."""
    timing, display, source = learned.timing, learned.display, learned.source
    lines = [f"sets out for the first point {timing.lead_in_s / 60.0:.0f} min after the start"]
    for name, way in (("rising", timing.rising), ("falling", timing.falling)):
        if way is not None:
            lines.append(
                f"{name}: {100.0 * way.approach_ratio:.0f} % of the ramp's own time, then "
                f"{way.settling_s / 60.0:.0f} min to rest, ±{way.scatter_s / 60.0:.1f} min "
                f"from point to point ({way.points} point{'s' if way.points != 1 else ''})"
            )
    if timing.hotter_s:
        later = "later" if timing.hotter_s > 0.0 else "sooner"
        lines.append(f"that for 100 °C; at 200 °C {abs(timing.hotter_s) / 60.0:.1f} min {later}")
    if timing.cooling is not None:
        rates = (f"{_fastest_k_per_min(timing.cooling, t_c):.1f} K/min at {t_c:g} °C" for t_c in _SHOWN_C)
        lines.append(f"cools at most at {', '.join(rates)}")
    if display is not None:
        lines.append(
            f"display minus reference: {_mk(display.offset_k)} at 0 °C, "
            f"{_mk(display.slope, 1e5)} for each 100 K; scatter at rest {display.scatter_mk:.1f} mK"
        )
    for what, figure in (
        ("fastest heating seen", source.heating_k_per_min),
        ("fastest cooling seen", source.cooling_k_per_min),
    ):
        if figure is not None:
            lines.append(f"{what}: {true_minus(f'{figure.value:.2f}')} K/min")
    if source.overshoot_k is not None:
        lines.append(f"swings {source.overshoot_k.value:.2f} K past its set-point")
    lines += [
        f"{lag.serial} runs {true_minus(f'{lag.lag_s.value:.1f}')} s ± {2.0 * lag.lag_s.u:.1f} s "
        "behind the display"
        for lag in learned.probes
    ]
    lines += [
        f"simulated source: {part.replace('_', ' ')} × {figure.value:.3f} ± {2.0 * figure.u:.3f}"
        for part, figure in learned.response.items()
    ]
    return lines


SHORTEST_LAG_S = 0.1


def _direction(name: str, way: Direction | None) -> str:
    if way is None:
        return ""
    return _table(
        name,
        f"approach_ratio = {way.approach_ratio:.4f}",
        f"settling_s = {way.settling_s:.1f}",
        f"scatter_s = {way.scatter_s:.1f}",
        f"points = {way.points}",
    )


_SHOWN_C = (200.0, 100.0, 30.0)


def _fastest_k_per_min(law: Cooling, temperature_c: float) -> float:
    return 60.0 * max(0.0, temperature_c - law.towards_c) / law.time_constant_s


def _cooling(law: Cooling | None) -> str:
    if law is None:
        return ""
    return _table(
        "timing.cooling",
        f"towards_c = {law.towards_c:.1f}",
        f"time_constant_s = {law.time_constant_s:.0f}   # cools by (t - towards_c) / this, at the fastest",
    )


def _table(name: str, *lines: str) -> str:
    return "\n".join([f"[{name}]", *lines]) + "\n"


def _figure(figure: Figure) -> str:
    return f"{{ value = {figure.value:.6g}, u = {figure.u:.2g} }}"


def _mk(figure: Figure, factor: float = 1e3) -> str:
    return f"{true_minus(f'{factor * figure.value:.1f}')} mK ± {2.0 * factor * figure.u:.1f} mK"


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')
