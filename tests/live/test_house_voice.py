"""Urgent alarms are said aloud by the real espeak-ng, into a file in place of a sound card."""

import os
import shutil
import wave
from pathlib import Path

import pytest
from support.patience import LEAST_S
from support.service import QUICK_LIMITS, Service, Thermometer, wait_until

from monitor.tell.house_voice import HouseVoice

pytestmark = [
    pytest.mark.live,
    pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed"),
]

RECORD = """#!/bin/sh
tee "$SAID/words.new" | {real} "$@" -w "$SAID/sound.wav"
cat "$SAID/words.new" >>"$SAID/words"
"""


@pytest.fixture
def sound(tmp_path: Path) -> Path:
    """The folder with `words` and `sound.wav`; `bin` goes first on the service's path."""
    (tmp_path / "bin").mkdir()
    program = tmp_path / "bin" / "espeak-ng"
    program.write_text(RECORD.format(real=shutil.which("espeak-ng")))
    program.chmod(0o755)
    return tmp_path


def speaking(sound: Path) -> Service:
    path = f"{sound / 'bin'}:{os.environ['PATH']}"
    return Service(
        sound / "site",
        tell="voice = true",
        limits=QUICK_LIMITS,
        commit_s=0.5,
        env={"PATH": path, "SAID": str(sound)},
    )


def words(sound: Path) -> str:
    file = sound / "words"
    return file.read_text() if file.exists() else ""


def test_an_urgent_alarm_is_said_aloud_and_nothing_else_is(sound: Path) -> None:
    service = speaking(sound)
    with service, Thermometer(service.broker_port) as probe:
        service.placed(100)
        for _ in range(15):
            probe.say(10.0)
        wait_until(lambda: "dangerously cold" in words(sound), 60, "the words")
        assert "°" not in words(sound)
        assert "Now 10.0 degrees, should be" in words(sound)
        assert words(sound).count("Brooder alarm.") >= 2, "somebody asleep hears the second"
        with wave.open(str(sound / "sound.wav")) as heard:
            assert heard.getnframes() / heard.getframerate() > 5.0
        assert service.ask("about")["voice_trouble"] is None


def test_it_is_silent_unless_asked_for(sound: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", f"{sound / 'bin'}:{os.environ['PATH']}")
    monkeypatch.setenv("SAID", str(sound))
    for wanted in (False, True):
        voice = HouseVoice(lambda wanted=wanted: wanted)
        voice.say("Brooder alarm. ")
        voice.start()
        if wanted:
            wait_until(lambda: words(sound), 30, "the words")
        voice.stop()
        voice._thread.join(LEAST_S)
        assert ("Brooder alarm" in words(sound)) is wanted


def test_a_board_without_sound_is_said(sound: Path) -> None:
    shutil.rmtree(sound / "bin")
    service = speaking(sound)
    with service, Thermometer(service.broker_port) as probe:
        service.placed(100)
        for _ in range(15):
            probe.say(10.0)
        wait_until(lambda: service.ask("about")["voice_trouble"], 60, "the trouble")
        assert "finds no sound on this board" in service.command("check").stdout
