"""`ohmvigil unit`: systemd units for daemon and guardian, to be looked at and installed by a person."""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

from daemon.cli import EXIT_DONE
from daemon.cli.say import refuse, say_json
from daemon.executor.reactions import LONGEST_CUT_S
from daemon.guardian.keeper import STANDING_ORDERS
from daemon.guardian.orders import Limits

WATCHDOG_S = 15.0
"""Above the guardian's limit, so that the guardian acts first; the service manager stands behind it."""

STOP_WITHIN_S = LONGEST_CUT_S + 3600.0
"""Longer than any way down is watched: who ends the daemon sooner ends the record as well."""

LAB, STATE = Path("/etc/ohmvigil/lab.toml"), Path("/var/lib/ohmvigil")

_ACCOUNT = r"[A-Za-z_][A-Za-z0-9_.-]{0,31}"
_ROOT = Path(__file__).resolve().parents[2]
_HARDENING = """\
NoNewPrivileges=yes
ProtectSystem=strict
ProtectHome=read-only
PrivateTmp=yes
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectControlGroups=yes
RestrictSUIDSGID=yes
LockPersonality=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
UMask=0077"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of this command."""
    parser.add_argument(
        "--user", default="ohmvigil", help="the account that both run under (default ohmvigil)"
    )
    parser.add_argument(
        "--lab",
        type=Path,
        default=LAB,
        help=f"the lab file; its state folder lies in {STATE} (default {LAB})",
    )


def run(args: argparse.Namespace) -> int:
    """Print both units, one after the other."""
    if not args.lab.is_absolute() or not str(args.lab).isprintable() or " " in str(args.lab):
        message = f"REFUSED: --lab {args.lab} is not a full path without spaces, such as {LAB}."
        return refuse(message, as_json=args.json)
    if not re.fullmatch(_ACCOUNT, args.user):
        message = f"REFUSED: --user {args.user!r} is no name of an account, such as ohmvigil."
        return refuse(message, as_json=args.json)
    texts = units(args.user, args.lab)
    if args.json:
        say_json(texts)
        return EXIT_DONE
    for name, text in texts.items():
        print(f"# /etc/systemd/system/{name}\n{text}")
    return EXIT_DONE


def units(user: str, lab: Path = LAB) -> dict[str, str]:
    """File name → text of each unit."""
    return {"ohmvigil.service": _daemon(user, lab), "ohmvigil-guardian.service": _guardian(user)}


def _daemon(user: str, lab: Path) -> str:
    python = sys.executable
    return f"""\
[Unit]
Description=ohmvigil, calibration of resistance thermometers
Wants=ohmvigil-guardian.service
After=ohmvigil-guardian.service

[Service]
Type=notify
User={user}
SupplementaryGroups=dialout
Environment=PYTHONPATH={_ROOT}
ExecStart={python} -m daemon serve {lab}
# A stop is for the daemon alone: it parks its benches and waits for them, which takes hours from high up.
# A second SIGTERM makes it leave at once; what is hot then is its guardian's.
KillMode=mixed
TimeoutStopSec={STOP_WITHIN_S:g}
# A control cycle that ends tells both: the guardian acts after {Limits().dead_after_s:g} s, this one later.
WatchdogSec={WATCHDOG_S:g}
# It comes up in state "interrupted": it looks first and never heats by itself.
Restart=on-failure
RestartSec=5
# Should daemon and guardian both be dead, the same program parks by what was last armed.
ExecStopPost=-{python} -S -s -m daemon.guardian --park %t/ohmvigil-daemon/{STANDING_ORDERS}
RuntimeDirectory=ohmvigil-daemon
RuntimeDirectoryPreserve=yes
StateDirectory=ohmvigil
OOMScoreAdjust=-500
{_HARDENING}

[Install]
WantedBy=multi-user.target
"""


def _guardian(user: str) -> str:
    python = sys.executable
    return f"""\
[Unit]
Description=ohmvigil's guardian: parks the heat source when the daemon dies or hangs
# Not bound to the daemon's unit: what ends the one must not end the other.

[Service]
Type=exec
User={user}
SupplementaryGroups=dialout
Environment=PYTHONPATH={_ROOT}
ExecStart={python} -S -s -m daemon.guardian --listen %t/ohmvigil/guardian.sock
RuntimeDirectory=ohmvigil
StateDirectory=ohmvigil
Restart=always
RestartSec=1
OOMScoreAdjust=-900
LimitMEMLOCK=infinity
# While it watches or parks it does not listen to a stop; this long it may go on.
TimeoutStopSec=60
{_HARDENING}

[Install]
WantedBy=multi-user.target
"""
