"""`brooder probes try`: a reading without hardware, over the very way a probe's readings take."""

import json
import os
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

import typer

from monitor.commands.ask import request
from monitor.commands.common import NOT_WELL, ConfigOption, complain, fail, out, settings_or_exit
from monitor.commands.tonight import temperature_or_exit
from monitor.intake.link import BrokerAddress
from monitor.intake.rights import accounts_of
from monitor.intake.try_broker import try_broker
from monitor.measures import span
from monitor.service.configured import broker_address
from monitor.settings import Settings
from monitor.site import Probe
from monitor.units import from_celsius, shown

_HEARD_WITHIN_S = 15.0
_PROBE_C = (-55.0, 125.0)  # what a DS18B20 can say
_SPEAKS_S = 900.0  # a probe heard within this speaks for itself


def attempt(
    probe: Annotated[str, typer.Argument(help="Which probe, e.g. porch/floor.")],
    reading: Annotated[str, typer.Argument(help="What it says: 95F or 35C.")],
    password_file: Annotated[
        Path | None, typer.Option(help="File with the password of the probe's account.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Ask nothing.")] = False,
    config: ConfigOption = None,
) -> None:
    """Send an invented reading, as a probe would. Then see whether the service hears it. It stands
    in the records as that probe's reading. Exit code 1: it was not heard."""
    settings = settings_or_exit(config)
    meant = _probe(settings, probe)
    temp_c = temperature_or_exit(reading, settings.site.units, "READING", _PROBE_C)
    if temp_c is None:
        fail("READING is missing; write a temperature such as 95F or 35C")
    row = _row(settings, meant)
    if row["age_s"] is not None and row["age_s"] < _SPEAKS_S:
        fail(
            f"{meant.key} speaks for itself: it was heard {span(row['age_s'])} ago. An invented "
            f"reading would stand between its own; it is taken after {span(_SPEAKS_S)} of silence"
        )
    _agree(meant, shown(temp_c, settings.site.units), sure=yes)
    why = try_broker(_address(settings, meant, password_file), (meant.topic, sample(meant, temp_c)))
    if why is not None:
        complain(f"Not sent: {why}.")
        raise typer.Exit(NOT_WELL)
    sent = time.monotonic()
    while time.monotonic() - sent < _HEARD_WITHIN_S:
        heard = _row(settings, meant)
        if heard["age_s"] is not None and heard["age_s"] < _SPEAKS_S:
            said = shown(heard["temp_c"], settings.site.units)
            out().print(f"{meant.key} was heard: {said}.")
            return
        time.sleep(0.2)
    complain(
        f"The broker took it, but the service has not heard it within {_HEARD_WITHIN_S:.0f} s: "
        f"this account may not publish {meant.topic}, or the service may not read it."
    )
    raise typer.Exit(NOT_WELL)


def sample(probe: Probe, temp_c: float) -> str:
    """A payload as this probe would send it."""
    document: Any = round(from_celsius(temp_c, probe.unit), 2)
    for step in reversed((probe.value_pointer or "").split("/")[1:]):
        name = step.replace("~1", "/").replace("~0", "~")
        document = [document] if name == "0" else {name: document}
    return json.dumps(document)


def _probe(settings: Settings, name: str) -> Probe:
    probes = settings.site.all_probes
    found = [p for p in probes if name in (p.key, p.name)]
    if len(found) != 1:
        fail(f'PROBE is "{name}"; it must be one of {", ".join(p.key for p in probes)}')
    return found[0]


def _row(settings: Settings, probe: Probe) -> dict[str, Any]:
    rows = request(settings, "probes")["probes"]
    found: dict[str, Any] | None = next((row for row in rows if row["key"] == probe.key), None)
    if found is None:
        fail(f"the running service does not know {probe.key} yet; restart it")
    return found


def _agree(probe: Probe, reading: str, *, sure: bool) -> None:
    words = (
        f"{reading} will stand in the records as a reading of {probe.key}. With birds in the box "
        "it hides for some minutes what the floor really does."
    )
    if sure:
        return
    if not sys.stdin.isatty():
        fail(f"{words} If that is right, say it again with --yes.")
    if not typer.confirm(f"{words} Send it?"):
        fail("nothing was sent")


def _address(settings: Settings, probe: Probe, password_file: Path | None) -> BrokerAddress:
    """As the probe itself would come in: as the service, it would push that out at some brokers."""
    own = settings.file.built_in_broker
    broker = broker_address(settings) or BrokerAddress(
        host="127.0.0.1" if own.listen in ("0.0.0.0", "::") else own.listen,  # noqa: S104 - compared
        port=own.port,
        tls=own.cert_file is not None,
        ca_file=str(settings.source.parent / own.cert_file) if own.cert_file else None,
    )
    password = os.environ.get("BROODER_PROBE_PASSWORD")
    if password_file is not None:
        try:
            password = password_file.read_text(encoding="utf-8").strip()
        except OSError as fault:
            fail(f"--password-file {password_file} cannot be read ({fault.strerror})")
    elif password is None and (
        own.accounts_file if settings.file.broker is None else broker.username
    ):
        if not sys.stdin.isatty():
            fail("--password-file is missing: the broker wants the password of the probe's account")
        password = typer.prompt(f"Password of {accounts_of(probe)[0]}", hide_input=True)
    if password is None:
        return broker
    return replace(broker, username=accounts_of(probe)[0], password=password)
