"""The command line: one table of commands, each imported only when it is asked for."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

COMMANDS = {
    "check": ("check", "judge a plan before any heat; print the night as a timetable"),
    "plan": ("plan", "make a commented plan from a few answers, fitted to every rating"),
    "channels": ("channels", "warm each thermometer by hand and see which channel moves, before any heat"),
    "run": ("run", "run a plan on its bench (a simulated bench runs in simulated time)"),
    "rehearse": ("rehearse", "run a plan on simulated instruments, with the faults asked for"),
    "resume": ("resume", "go on with an interrupted run"),
    "replay": ("replay", "would today's program, other guards or another plan have decided the same?"),
    "fit": ("fit", "fit the thermometers of a record, or of a table of readings"),
    "report": ("report", "write the report folder of a record"),
    "review": ("review", "the morning in one minute; accept, exclude a point with its cause, amend"),
    "certificate": ("certificate", "draw a thermometer's certificate with its DCC, or authorise it by name"),
    "evidence": ("evidence", "attach a file to a record by its hash, or check those attached"),
    "table": ("table", "print R(t), dR/dt and U(t) of one thermometer"),
    "history": ("history", "every run of a thermometer, its R0 over time, the control chart"),
    "learn": ("learn", "learn a bench's timing, display, rates and lags from its records"),
    "validate": ("validate", "check this copy of the program before use: published tables, nights, faults"),
    "verify": ("verify", "check that nobody changed a record, and that its results come out the same"),
    "export": ("export", "write a record's entries, readings or points as CSV, JSON Lines or Parquet"),
    "unit": ("unit", "print the units with which a service manager looks after daemon and guardian"),
    "guards": ("guards", "list the guards, their figures and reactions"),
    "keys": ("keys", "list every key of the files you write, with what it takes"),
    "instruments": ("instruments", "list what is attached, ask who it is, try what of it works"),
    "simulate": ("simulate", "serve the simulated instruments of a plan's bench on sockets and serial lines"),
    "serve": ("serve", "look after all benches of a lab file, with a page on this machine"),
    "submit": ("submit", "queue a plan with the daemon"),
    "arm": ("words_arm", "confirm a real bench's checklist, so that its waiting run may begin"),
    "status": ("status", "what the daemon's benches are doing; --follow for a live view"),
    "hold": ("words", "stay where it is, add no heat"),
    "release": ("words", "go on after a hold"),
    "halt": ("words", "park the source; anyone may say it"),
    "cut": ("words", "switch the heater off at once"),
    "acknowledge": ("words", "silence the alarm; never resumes heat"),
    "broker": ("broker", "an MQTT broker on this machine alone, for one bench without one"),
    "watch": ("watch", "show every bench that tells an MQTT broker, and notice silence"),
}

EXIT_DONE, EXIT_BAD_OUTCOME, EXIT_REFUSED = 0, 1, 2


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line, then where help is."""

    def error(self, message: str) -> NoReturn:
        self.exit(EXIT_REFUSED, f"{self.prog}: {message}\nTry: {self.prog} --help\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code: 0 done, 1 bad outcome, 2 refused or bad input."""
    try:
        code = _main(list(sys.argv[1:] if arguments is None else arguments))
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read has seen enough (`| head`); what is still buffered goes nowhere, without a complaint.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_BAD_OUTCOME
    return code


def _main(words: list[str]) -> int:
    if not words or words[0] in ("-h", "--help"):
        print(_overview())
        return EXIT_DONE if words else EXIT_REFUSED
    if words[0] == "--version":
        from daemon.program import program_version

        print(f"ohmvigil {program_version()}")
        return EXIT_DONE
    if words[0] not in COMMANDS:
        print(f"ohmvigil: there is no command {words[0]!r}\n\n{_overview()}", file=sys.stderr)
        return EXIT_REFUSED
    return _run(words[0], words[1:])


def _run(name: str, words: list[str]) -> int:
    module_name, summary = COMMANDS[name]
    module = importlib.import_module(f"daemon.cli.{module_name}")
    parser = _Parser(prog=f"ohmvigil {name}", description=summary[0].upper() + summary[1:] + ".")
    parser.add_argument("--json", action="store_true", help="print one JSON document for programs")
    module.add_arguments(parser)
    try:
        code: int = module.run(parser.parse_args(words))
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else EXIT_REFUSED
    except KeyboardInterrupt:
        print("\nstopped", file=sys.stderr)
        return EXIT_BAD_OUTCOME
    return code


def _overview() -> str:
    width = max(map(len, COMMANDS))
    lines = [f"  {name:<{width}}  {summary}" for name, (_, summary) in COMMANDS.items()]
    return (
        "ohmvigil: unattended calibration of platinum resistance thermometers by comparison\n\n"
        "usage: ohmvigil COMMAND [options]\n\ncommands:\n" + "\n".join(lines) + "\n\n"
        "Each command: --help for its options, --json for programs.\n"
        "Exit codes: 0 done, 1 ran but the outcome is bad, 2 refused or bad input.\n"
        "ohmvigil is not a safety system: the heat source's own independent over-temperature\n"
        "cut-out stays required."
    )
