"""What is told over MQTT as one document, made from the code that tells it; kept as `messages.md`."""

from __future__ import annotations

from typing import Any

from daemon.telemetry.command import LATEST_S, TOPIC, Command
from daemon.telemetry.payloads import UTC_PATTERN
from daemon.telemetry.settings import EXAMPLE, PORTS, QUERY
from daemon.telemetry.topics import TREE, schemas

_HEAD = f"""\
# What is told over MQTT

Written by `ohmvigil broker --messages`; a test compares it with the code. `ohmvigil broker --messages
--json` prints the JSON schema (draft 2020-12) of every topic, kept beside this file as `messages.json`.

## Pointing a daemon at a broker

In the lab file, one broker for all its benches:

```toml
[mqtt]
address = "{EXAMPLE}"
commands = false               # true: hold and halt, and nothing else, may come from the broker too
```

`ohmvigil run PLAN --mqtt ADDRESS` tells of one run in the foreground. An address is
`mqtt://HOST/STATION` (port {PORTS["mqtt"]}) or `mqtts://HOST/STATION` (TLS, port {PORTS["mqtts"]}; the
broker's certificate and name are checked), with another port behind HOST if need be. STATION is one
word. A password never stands in the address, since addresses are shown in process lists. Behind a `?`,
joined by `&`:
"""

_READERS = """\
## What a reader can rely on

- Every topic begins with `ohmvigil/STATION/BENCH/`; every payload is one JSON object.
- Every message has `seq` and `t`. A message may come twice, since one that was not confirmed is sent
  again: topic by topic, drop what does not have a higher `seq` than the newest of the same
  `run`. An event `opened` begins anew: a simulated night has the same `run` each time.
- What counts (everything but live readings) is sent with QoS 1 and waits, without a broker, in an
  SQLite file beside the daemon's own, up to 100 000 messages: hours without a broker lose nothing and
  hold up nothing. Of a live reading, QoS 0 and at most one a second, only the newest waits.
- `status` says `online` after every connection, and `offline` when the run's process leaves or, as its
  will, when the connection is lost. Judge by `t` and your own clock what is stale, as `ohmvigil watch`
  does.
- A new run takes what earlier runs left retained off the broker (an empty payload).
- A broker confirms even what its access list throws away. So `status` is read back at every connection,
  and until it arrives nothing is sent and the daemon says why. `plans/examples/broker/` has a broker's
  settings and an access list.
- Messages by which home automation finds devices by itself are left out: the common form belongs to one
  product and is no open standard. Every value here is plain JSON and retained where it is a state, so
  it can be named there by hand.
"""


_COMMANDS = f"""\
## Hold and halt from afar

Off, and nobody listens, unless the lab file says `commands = true`. Then a run takes `hold` and `halt`
from `ohmvigil/STATION/BENCH/{TOPIC}`, never a word that adds heat. Who may write there is for the
broker's access list to say. A retained message, and one whose `t` is more than {LATEST_S:.0f} s from
the daemon's own clock, is passed over. Whether it was taken is seen on `event` and `run`. BENCH is made
from the bench's name, as in all its topics.

```
mosquitto_pub -h HOST -q 1 -t ohmvigil/tern-rock/tern-rock-bath-bench/{TOPIC} \\
  -m "{{\\"t\\": \\"$(date -u +%FT%T.000Z)\\", \\"word\\": \\"halt\\", \\"who\\": \\"K. Sund\\"}}"
```
"""


def markdown() -> str:
    """The whole document."""
    query = [f"| `{key}` | {about} |" for key, about in QUERY.items()]
    parts = [
        _HEAD,
        "| setting | meaning |",
        "| --- | --- |",
        *query,
        "",
        _READERS,
        _COMMANDS,
        *_fields(Command.model_json_schema()),
        "",
        "## Topics",
        "",
        *_tree(),
        "",
    ]
    for topic in TREE:
        parts += [f"### `{topic.name}`", "", topic.about, "", *_fields(schemas()[topic.name]), ""]
    return "\n".join(parts).rstrip()


def _tree() -> list[str]:
    lines = ["| topic | retained | QoS | without a broker | says |", "| --- | --- | --- | --- | --- |"]
    for topic in TREE:
        kept, about = "newest" if topic.live else "all", topic.about.split(".")[0]
        lines.append(
            f"| `{topic.name}` | {'yes' if topic.retain else 'no'} | {topic.qos} | {kept} | {about} |"
        )
    return lines


def _fields(schema: dict[str, Any]) -> list[str]:
    lines = ["| field | type | meaning |", "| --- | --- | --- |"]
    for name, told in schema["properties"].items():
        lines.append(f"| `{name}` | {_type(told, schema)} | {told.get('description', '')} |")
    return lines


def _type(told: dict[str, Any], schema: dict[str, Any]) -> str:
    """A property's type in words."""
    if "enum" in told:
        return " or ".join(f'`"{one}"`' for one in told["enum"])
    if "const" in told:
        return "empty"
    if "anyOf" in told:
        return " or ".join(_type(one, schema) for one in told["anyOf"])
    if told.get("type") == "array":
        name = told["items"]["$ref"].rpartition("/")[2]
        parts = ", ".join(f"`{one}`" for one in schema["$defs"][name]["properties"])
        return f"list of objects with {parts}"
    if told.get("pattern") == UTC_PATTERN:
        return "UTC, ISO 8601"
    return str(told["type"])
