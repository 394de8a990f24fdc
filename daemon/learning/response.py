"""The simulated source made to answer as the recorded one did: factors on its constants, by least squares.

The simulated source is given the night's own orders; display and heater output are compared at the same
instants. Gauss-Newton in the logarithms of the factors. A broad prior (a factor of e either way, common
practice, no source) holds what the night did not exercise; such a factor is not reported.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from daemon.fitting.arrays import FloatArray
from daemon.learning.night import Night
from daemon.rehearsal import Display, Looks, twin_answer
from daemon.stand_in import model_for
from plans.learned import Display as LearnedDisplay
from plans.learned import Figure, Part

PARTS: tuple[Part, ...] = ("heat_capacity", "exchange", "loss", "coolant", "gain", "integral")

_EVERY_S = 10.0
_SCALE_K, _SCALE_PERCENT = 0.1, 2.0
_ROUNDS = 6
_STEP = 0.02
_LARGEST_STEP = 0.5
_DONE = 1e-3
_PRIOR = 1.0
_KNOWN_WITHIN = 0.25
_LONGEST_LAG = 200

Progress = Callable[[str], None]


@dataclass(frozen=True)
class _Seen:
    model: str
    display: Display
    night: Night
    looks: Looks
    shown: FloatArray
    output: FloatArray

    def misfit(self, logs: FloatArray) -> FloatArray:
        factors: dict[str, float] = dict(zip(PARTS, np.exp(logs).tolist(), strict=True))
        shown, output = twin_answer(self.model, factors, self.display, self.night.orders, self.looks)
        return np.concatenate(
            [(np.array(shown) - self.shown) / _SCALE_K, (np.array(output) - self.output) / _SCALE_PERCENT]
        )


@dataclass(frozen=True)
class Followed:
    """The recorded display and that of the simulated source given the same orders, at (n,) times in s."""

    when_s: FloatArray
    recorded_c: FloatArray
    simulated_c: FloatArray


def follow(night: Night, display: LearnedDisplay, response: Mapping[Part, Figure]) -> Followed:
    """How the simulated source, with these factors, answers the night's own orders."""
    seen = _seen(night, display)
    factors: dict[str, float] = {part: figure.value for part, figure in response.items()}
    shown, _ = twin_answer(seen.model, factors, seen.display, night.orders, seen.looks)
    return Followed(np.array(seen.looks.when_s), seen.shown, np.array(shown))


def learn_response(nights: Sequence[Night], display: LearnedDisplay, say: Progress) -> dict[Part, Figure]:
    """Factors with standard uncertainties from all nights together; only those that the nights tell."""
    seen = [_seen(night, display) for night in nights if len(night.output_percent.value)]
    if not seen:
        return {}
    logs = np.zeros(len(PARTS))
    for number in range(_ROUNDS):
        say(f"answering as the source did: round {number + 1} of at most {_ROUNDS}")
        misfit, jacobian = _linearised(seen, logs)
        step = _step(misfit, jacobian, logs)
        logs = logs + step
        if np.abs(step).max() < _DONE:
            break
    misfit, jacobian = _linearised(seen, logs)
    u = _uncertainty(misfit, jacobian)
    return {
        part: Figure(value=float(np.exp(log)), u=float(np.exp(log) * u_log))
        for part, log, u_log in zip(PARTS, logs, u, strict=True)
        if u_log < _KNOWN_WITHIN
    }


def _seen(night: Night, display: LearnedDisplay) -> _Seen:
    trace, output = night.display_c, night.output_percent
    last_s = min(trace.when_s[-1], output.when_s[-1])
    when_s = np.arange(trace.when_s[0], last_s, _EVERY_S)
    shown = Display(display.offset_k.value, display.slope.value)
    start_c = (trace.value[0] - shown.offset_k) / (1.0 + shown.slope)
    return _Seen(
        model_for(night.run.bench),
        shown,
        night,
        Looks(when_s.tolist(), night.run.bench.ambient_c, float(start_c)),
        np.interp(when_s, trace.when_s, trace.value),
        np.interp(when_s, output.when_s, output.value),
    )


def _linearised(seen: Sequence[_Seen], logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(n,) misfits of all nights and their (n, k) derivatives."""
    here = np.concatenate([one.misfit(logs) for one in seen])
    columns = []
    for index in range(len(logs)):
        aside = logs.copy()
        aside[index] += _STEP
        columns.append((np.concatenate([one.misfit(aside) for one in seen]) - here) / _STEP)
    return here, np.stack(columns, axis=1)


def _step(misfit: FloatArray, jacobian: FloatArray, logs: FloatArray) -> FloatArray:
    normal = jacobian.T @ jacobian + np.eye(len(logs)) / _PRIOR**2
    step = -np.linalg.solve(normal, jacobian.T @ misfit + logs / _PRIOR**2)
    return np.clip(step, -_LARGEST_STEP, _LARGEST_STEP)


def _uncertainty(misfit: FloatArray, jacobian: FloatArray) -> FloatArray:
    """(k,) standard uncertainties; misfits follow one another, which the sandwich over lags counts."""
    bread = np.linalg.inv(jacobian.T @ jacobian + np.eye(jacobian.shape[1]) / _PRIOR**2)
    scores = jacobian * misfit[:, None]
    meat = scores.T @ scores
    for lag in range(1, min(_LONGEST_LAG, len(misfit) - 1)):
        weight = 1.0 - lag / _LONGEST_LAG
        cross = scores[lag:].T @ scores[:-lag]
        meat += weight * (cross + cross.T)
    standard: FloatArray = np.sqrt(np.diagonal(bread @ meat @ bread + bread).clip(0.0))
    return standard
