"""The plan as a commented file that a person reads, changes and keeps."""

from __future__ import annotations

from daemon.assistant.answers import Answers, Fitted, fit_to_ratings, thermometers
from daemon.assistant.points import Chosen, choose_points
from plans.bench import Bench
from plans.crosscheck import WARMEST_PARKING_C
from plans.register import Register
from plans.settings import usual


def write_plan(answers: Answers, bench: Bench, register: Register) -> str:
    """TOML text of a plan that fits the ratings; raises CannotPlan."""
    placed = thermometers(answers, register)
    fitted = fit_to_ratings(answers, bench, placed)
    chosen = choose_points(fitted, placed, answers.points)
    parts = (
        _head(answers, fitted, chosen),
        _places(answers),
        _defaults(bench, fitted),
        _zero(bench, fitted),
        _points(fitted, chosen),
        _end(bench, fitted),
    )
    return "\n".join(parts)


def _head(answers: Answers, fitted: Fitted, chosen: Chosen) -> str:
    cut = "".join(f"# {sentence}.\n" for sentence in fitted.because)
    return f"""# Made by `ohmvigil plan`; read it, change it, then `ohmvigil check` it.
# {chosen.reason}.
{cut}
[plan]
title = {_quoted(answers.title)}
bench = {_quoted(answers.bench_file)}
register = {_quoted(answers.register_file)}
order = "up_and_down"          # the middle is reached from below and from above: that shows hysteresis
"""


def _places(answers: Answers) -> str:
    lines = [f"[reference]\nserial = {_quoted(answers.reference)}\nchannel = 1\n"]
    for channel, serial in enumerate(answers.items, 2):
        lines.append(f"[[items]]\nserial = {_quoted(serial)}\nchannel = {channel}\n")
    if answers.check_standard is not None:
        lines.append(
            "# In every run: a failing reference is noticed by it.\n"
            f"[[items]]\nserial = {_quoted(answers.check_standard)}\n"
            f'channel = {len(answers.items) + 2}\nrole = "check_standard"\n'
        )
    return "\n".join(lines)


def _defaults(bench: Bench, fitted: Fitted) -> str:
    figures = usual(bench.heat_source.kind, fitted.high_c)
    return f"""# The criterion is left to the figures for this kind of source. At {fitted.high_c:g} °C:
# drift {figures.drift_mk:g} mK and scatter {figures.scatter_mk:g} mK in ten minutes,
# soak {figures.soak_minutes:g} min, at most {figures.wait_minutes:g} min of waiting.
[defaults]
ramp_k_per_min = {fitted.ramp_k_per_min:g}           # no faster than any thermometer or the source may
current_ma = {fitted.current_ma:g}               # the smallest that any of them may carry
on_timeout = "take_and_mark"   # or "skip", or "end"
"""


def _zero(bench: Bench, fitted: Fitted) -> str:
    if fitted.return_c == 0.0:
        return "[zero]\ntemperature_c = 0.0            # the source itself goes there, first and last\n"
    spoken = bench.heat_source.spoken
    return f"""[zero]
kind = "attended_ice_point"
temperature_c = {fitted.return_c:.1f}           # the point to which the {spoken} returns
reason = "the {spoken} does not reach 0 °C; ice point by hand before loading and after unloading"
"""


def _points(fitted: Fitted, chosen: Chosen) -> str:
    *rising, again_c = chosen.temperatures_c
    lines = []
    for t_c in rising:
        label = "top" if t_c == fitted.high_c else "middle, from below" if t_c == chosen.middle_c else ""
        lines.append(f"[[points]]\ntemperature_c = {t_c:.1f}\n" + (f'label = "{label}"\n' if label else ""))
    lines.append(f'[[points]]\ntemperature_c = {again_c:.1f}\nlabel = "middle, from above"\n')
    return "\n".join(lines)


def _end(bench: Bench, fitted: Fitted) -> str:
    resume = '[resume]\npolicy = "park"                # after a crash: park and wait for a person\n'
    if bench.molten is not None:
        return resume  # parked as the bench says, for salt must not freeze
    parking_c, why = min(bench.heat_source.parking_c, WARMEST_PARKING_C), "what may be touched in the morning"
    if fitted.return_c < bench.ambient_c < parking_c:
        parking_c, why = bench.ambient_c, "the run ends cold; nothing is heated up again for parking"
    return f"""{resume}
[finish]
parking_c = {parking_c:.1f}               # {why}
heater = "off"
"""


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
