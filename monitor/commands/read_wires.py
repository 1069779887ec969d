"""`brooder read-wires`: publishes the 1-Wire thermometers of this board over MQTT.

Needs no configuration file: it may run on another board than the service. With one it finds the
broker there."""

import signal
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from monitor.commands.common import NOT_WELL, complain, fail, out, settings_or_exit
from monitor.intake.forward import Forwarder
from monitor.intake.link import BrokerAddress
from monitor.intake.topics import topic_fault
from monitor.intake.wires import SYS_FOLDER, WireSample, sample, sensors
from monitor.service.configured import broker_address
from monitor.settings import Settings


def read_wires(
    host: Annotated[
        str | None, typer.Option(help="The broker's name or address. Default: localhost.")
    ] = None,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Its port. 0: 1883, or 8883 with --tls.")
    ] = 0,
    username: Annotated[str | None, typer.Option(help="User name at the broker.")] = None,
    password_file: Annotated[
        Path | None,
        typer.Option(help="File with the password alone (or set BROODER_WIRES_PASSWORD)."),
    ] = None,
    password: Annotated[
        str | None, typer.Option(envvar="BROODER_WIRES_PASSWORD", hidden=True)
    ] = None,
    tls: Annotated[bool, typer.Option("--tls", help="Encrypt; check the broker's name.")] = False,
    ca_file: Annotated[
        Path | None, typer.Option(help="The certificate to trust, if it is the site's own.")
    ] = None,
    topic_prefix: Annotated[
        str, typer.Option(help="Each sensor is published on PREFIX/SENSOR.")
    ] = "brooder/wires",
    name: Annotated[
        list[str] | None,
        typer.Option(help="SENSOR=NAME: that sensor on PREFIX/NAME. May be given several times."),
    ] = None,
    every: Annotated[
        float, typer.Option(min=1.0, max=3600.0, help="Seconds from one reading to the next.")
    ] = 10.0,
    sys_folder: Annotated[
        Path, typer.Option(help="Where the kernel shows the 1-Wire bus.")
    ] = SYS_FOLDER,
    once: Annotated[
        bool, typer.Option("--once", help="Print what the sensors say now, and publish nothing.")
    ] = False,
    config: Annotated[
        Path | None,
        typer.Option("--config", help="Take the broker from this file, unless --host names one."),
    ] = None,
) -> None:
    """Publish the 1-Wire thermometers of this board.

    Readings are sent as SenML with their own time, so the probe needs no more than its topic in
    the configuration. While the broker is away they are kept (about a day of eight sensors) and
    sent when it is back."""
    names = _names(name or [], topic_prefix)
    _bus_is_there(sys_folder)
    if once:
        _print_once(sys_folder)
        return
    address = BrokerAddress(
        host=host or "localhost",
        port=port,
        username=username,
        password=password if password_file is None else _password_in(password_file),
        tls=tls,
        ca_file=None if ca_file is None else str(ca_file),
    )
    if config is not None and host is None:
        address = _configured(settings_or_exit(config), address)
    _forward(address, topic_prefix, names, sys_folder, every)


def _bus_is_there(folder: Path) -> None:
    if not folder.is_dir():
        fail(
            f"{folder} does not exist: is 1-Wire switched on? On a Raspberry Pi add "
            '"dtoverlay=w1-gpio" to /boot/firmware/config.txt and start it anew'
        )


def _password_in(file: Path) -> str:
    try:
        return file.read_text().strip()
    except OSError as error:
        fail(f"--password-file {file} cannot be read ({error.strerror})")


def _configured(settings: Settings, given: BrokerAddress) -> BrokerAddress:
    """The site's broker; what the call says goes before."""
    broker = broker_address(settings)
    if broker is None:
        return replace(given, port=given.port or settings.file.built_in_broker.port)
    return replace(
        broker,
        port=given.port or broker.port,
        username=given.username or broker.username,
        password=given.password or broker.password,
        tls=given.tls or broker.tls,
        ca_file=given.ca_file or broker.ca_file,
    )


def _forward(
    address: BrokerAddress, prefix: str, names: dict[str, str], folder: Path, every_s: float
) -> None:
    """Until told to stop; then what is still waiting is sent, if the broker takes it."""
    stopped = threading.Event()

    def say(words: str) -> None:
        if not stopped.is_set():  # a connection that we end ourselves is not lost
            out().print(words[:1].upper() + words[1:] + ".")

    forwarder = Forwarder(address, prefix=prefix, names=names, now=time.time, on_words=say)
    try:
        forwarder.start()
    except OSError as error:
        fail(f"--ca-file {address.ca_file} cannot be used ({error.strerror or error})")
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopped.set())
    _publish(forwarder, folder, every_s, stopped)
    if lost := forwarder.stop():
        complain(f"{lost} readings could not be sent and are lost.")
        raise typer.Exit(NOT_WELL)


def _publish(forwarder: Forwarder, folder: Path, every_s: float, stopped: threading.Event) -> None:
    """Until told to stop. A sensor once seen is asked for ever: one that left is a fault."""
    known: dict[str, str | None] = {}
    due = time.monotonic()
    while not stopped.is_set():
        for sensor in sorted({*known, *sensors(folder)}):
            taken = sample(sensor, time.time(), folder)
            if sensor not in known:
                out().print(f"{sensor}: publishing on {forwarder.topic_of(sensor)}.")
            if known.get(sensor) != taken.fault:
                out().print(f"{sensor}: {taken.fault or 'well again'}.")
            known[sensor] = taken.fault
            forwarder.add(taken)
        if not known:
            out().print("No sensor is on the bus yet.")
        # Eight sensors take eight conversions of 0.75 s; late rounds are left out, not piled up.
        due = max(due + every_s, time.monotonic())
        stopped.wait(due - time.monotonic())


def _print_once(folder: Path) -> None:
    found: list[WireSample] = [sample(sensor, time.time(), folder) for sensor in sensors(folder)]
    for one in found:
        said = one.fault if one.temp_c is None else f"{one.temp_c:.2f} °C"
        out().print(f"{one.sensor}: {said}")
    if not found:
        complain(f"No thermometer is on the bus ({folder}).")
    if not found or any(one.fault for one in found):
        raise typer.Exit(NOT_WELL)


def _names(pairs: list[str], prefix: str) -> dict[str, str]:
    """Sensor to name; every topic that comes of it can be published on."""
    names = {}
    for pair in pairs:
        sensor, equals, name = pair.partition("=")
        if not equals or not sensor or not name:
            fail(f'--name is "{pair}"; write it as 28-000005e2fdc3=porch/floor')
        names[sensor.lower()] = name
    for topic in (prefix, *(f"{prefix}/{one}" for one in names.values())):
        if fault := topic_fault(topic):
            fail(f'the topic "{topic}" {fault}')
    return names
