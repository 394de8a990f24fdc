"""`ohmvigil fit RECORD` or `fit READINGS.csv`: coefficients with their uncertainties."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.characteristics import read_characteristic
from daemon.cli.say import refuse, say_json
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.classes import tolerance_class
from daemon.fitting.comparison import compare
from daemon.fitting.conformity import Rule, judge_class
from daemon.fitting.errors import FittingError
from daemon.fitting.exchange import to_dict
from daemon.fitting.printing import check_pairs, printed_coefficients
from daemon.fitting.table import two_digits
from daemon.fitting.uncertainty import Component
from daemon.journal.read import RecordError
from plans.errors import PlanError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument("source", type=Path, help="a record, or a CSV of hand-collected readings")
    parser.add_argument("--probe", help="record: only this serial")
    parser.add_argument("--kind", choices=("sprt", "semi_standard", "iprt"), help="CSV: kind of thermometer")
    parser.add_argument("--film", action="store_true", help="CSV: it has a film element")
    parser.add_argument("--bench", type=Path, help="CSV: bench file whose uncertainty budget applies")
    parser.add_argument("--register", type=Path, help="CSV: register with the reference's certificate")
    parser.add_argument("--reference", metavar="SERIAL", help="CSV: the reference thermometer")
    parser.add_argument(
        "--reference-dcc", type=Path, metavar="XML", help="CSV: the reference's digital certificate instead"
    )
    parser.add_argument(
        "--scatter-ohm", type=float, metavar="OHM", help="CSV without repeats: s of one reading"
    )
    parser.add_argument(
        "--class", dest="class_name", metavar="NAME", help="judge a class, e.g. 'IEC 60751 A'"
    )
    parser.add_argument("--rule", choices=[rule.name.lower() for rule in Rule], default="guard_band")
    parser.add_argument(
        "--nominal-ohm", type=float, default=100.0, help="R0 the class is judged from (100 Ω)"
    )
    parser.add_argument("--former", type=Path, help="compare with a former calibration (JSON of `fit --to`)")
    parser.add_argument(
        "--to", type=Path, help="CSV: write the characteristic as JSON (for `ohmvigil table`)"
    )


def run(args: argparse.Namespace) -> int:
    """Fit; exit 1 when a thermometer could not be fitted, 2 on bad input."""
    try:
        fits, problems = _from_csv(args) if args.source.suffix.lower() == ".csv" else _from_record(args)
        more = {name: _more(fit, args) for name, fit in fits.items()}
        if args.to is not None:
            with args.to.open("x", encoding="utf-8") as file:
                json.dump(to_dict(next(iter(fits.values()))), file, indent=2, allow_nan=False)
    except (FittingError, RecordError, PlanError, OSError, UnicodeDecodeError) as error:
        return refuse(f"REFUSED: {args.source.name}: {error}", as_json=args.json)
    if args.json:
        fitted = {name: to_dict(fit) | more[name] for name, fit in fits.items()}
        say_json(fitted | {"problems": problems})
    else:
        for name, fit in fits.items():
            print("\n".join([*_words(name, fit), *more[name].values()]), end="\n\n")
        for name, problem in problems.items():
            print(f"{name}: not fitted: {problem}")
    return EXIT_BAD_OUTCOME if problems else EXIT_DONE


def _from_record(args: argparse.Namespace) -> tuple[dict[str, Characteristic], dict[str, str]]:
    from daemon.results.calibrate import calibrate

    items = calibrate(args.source).items
    if args.probe is not None and args.probe not in {item.serial for item in items}:
        known = ", ".join(item.serial for item in items)
        raise RecordError(f"there is no item {args.probe!r} in this record (there are: {known})")
    wanted = [item for item in items if args.probe in (None, item.serial)]
    fits = {item.serial: item.characteristic for item in wanted if item.characteristic is not None}
    return fits, {item.serial: item.problem for item in wanted if item.problem}


def _from_csv(args: argparse.Namespace) -> tuple[dict[str, Characteristic], dict[str, str]]:
    from daemon.fitting.readings_csv import parse_readings
    from daemon.fitting.readings_points import points_from_readings
    from daemon.results.choose import Making, fit_best

    if args.kind is None:
        raise FittingError("say what was calibrated with --kind sprt, semi_standard or iprt")
    reference, components = _budget(args)
    readings = parse_readings(args.source.read_text(encoding="utf-8"), reference)
    points = points_from_readings(readings, args.scatter_ohm)
    fit = fit_best(Making(args.kind, args.film), points, components, (), 10.0)
    return {args.source.stem: fit}, {}


def _budget(args: argparse.Namespace) -> tuple[Characteristic | None, Sequence[Component]]:
    from daemon.certified import certified, component_of
    from plans.loading import load_bench, load_register

    reference: Characteristic | None = None
    components: list[Component] = []
    if (args.register is None) != (args.reference is None):
        raise FittingError("--register and --reference belong together")
    if args.register is not None:
        thermometer = load_register(args.register).find(args.reference)
        if thermometer is None:
            raise FittingError(f"{args.register.name}: there is no thermometer {args.reference!r}")
        reference = certified(thermometer.calibration)
        components += reference.added
    if args.reference_dcc is not None:
        reference = _from_dcc(args)
        components += reference.added
    if args.bench is not None:
        bench = load_bench(args.bench)
        components += [component_of(term, bench.ambient_c) for term in bench.budget]
    return reference, components


def _from_dcc(args: argparse.Namespace) -> Characteristic:
    from daemon.results.dcc.quantity import DccError
    from daemon.results.dcc.read import characteristic_from_dcc

    if args.reference is not None:
        raise FittingError("give --reference from the register or --reference-dcc, not both")
    try:
        return characteristic_from_dcc(args.reference_dcc)
    except DccError as problem:
        raise FittingError(str(problem)) from problem


def _more(fit: Characteristic, args: argparse.Namespace) -> dict[str, str]:
    """Sentences on conformity and on a former calibration, where asked for."""
    said = {}
    if args.class_name is not None:
        wanted = tolerance_class(args.class_name, "film" if args.film else "wire")
        judged = judge_class(fit, wanted, args.nominal_ohm, Rule[args.rule.upper()])
        where = f"worst at {judged.worst_c:.1f} °C: {1e3 * judged.worst_error_k:+.0f} mK"
        allowed_mk = 1e3 * float(wanted.tolerance_k(judged.worst_c))
        figures = f"{where}, U {1e3 * judged.worst_expanded_k:.0f} mK, allowed ±{allowed_mk:.0f} mK"
        rule = f"decision rule: {judged.rule.value}"
        reasons = "; ".join(judged.sentences)
        said["conformity"] = (
            f"  class {judged.class_name}: {judged.verdict.upper()} ({figures}; {rule}; {reasons})"
        )
    if args.former is not None:
        said["former"] = f"  former calibration: {compare(fit, read_characteristic(args.former)).sentence}"
    return said


def _words(name: str, fit: Characteristic) -> list[str]:
    low, high = fit.range_c
    lines = [
        f"{name}: {fit.equation.description}",
        f"  {fit.reason}",
        f"  valid {low:.3f} °C to {high:.3f} °C",
    ]
    for one in printed_coefficients(fit):
        lines.append(f"    {one.name:<6} {one.printed:>18} {one.unit}   u = {one.standard:.2g}")
    if fit.fit is not None:
        lines.append(f"  chi-squared {fit.chi_squared:.2f} with {fit.degrees_of_freedom} degrees of freedom")
        rows = zip(fit.fit.used, fit.residuals_mk, fit.fit.point_standard_mk, strict=True)
        for point, residual, standard in rows:
            lines.append(f"    {point.label:<34} residual {residual:+7.2f} mK   U {2 * standard:5.1f} mK")
        lines += [f"  ! {sentence}" for sentence in fit.fit.findings.sentences]
    ends = fit.uncertainty_at([low, 0.5 * (low + high), high]).expanded_k
    lines.append(
        "  U (95 %) at the ends and in the middle: " + ", ".join(f"{two_digits(1e3 * u)} mK" for u in ends)
    )
    for pair in check_pairs(fit):
        lines.append(f"  check: {pair.resistance_ohm:g} Ω is {pair.temperature_c:.4f} °C")
    return lines + [f"  note: {sentence}" for sentence in fit.cautions]
