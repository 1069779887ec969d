"""Whatever stands where a configuration belongs: it is read or named, and holds nothing up."""

import os
from pathlib import Path

import pytest

from monitor.child import ChildLate
from monitor.quantities import QUANTITIES
from monitor.settings import SettingsFault, load_settings
from monitor.settings.cross_checks import _OURS
from monitor.settings.load_apart import load_apart
from monitor.tell.status_topics import is_ours

GOOD = """
[[brooders]]
name = "porch"
length_m = 1
width_m = 1
  [[brooders.probes]]
  name = "floor"
  topic = "yard/floor"
  place = "floor"
"""


def written(folder: Path, text: str | bytes) -> Path:
    file = folder / "brooder.toml"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def refusal(file: Path) -> str:
    with pytest.raises(SettingsFault) as refused:
        load_settings(file, {}, check_contacts=False)
    return str(refused.value)


@pytest.mark.parametrize("key", ["name", "timezone"])
def test_a_value_of_hundreds_of_kilobytes_is_named_by_its_length(tmp_path: Path, key: str) -> None:
    said = refusal(written(tmp_path, f'[site]\n{key} = "{"x" * 900_000}"\n{GOOD}'))
    assert f"site.{key} is" in said
    assert "900000 characters" in said
    assert len(said) < 2000


def test_a_file_longer_than_a_megabyte_is_refused(tmp_path: Path) -> None:
    assert "is longer than 1024 KiB" in refusal(written(tmp_path, "#" * (1 << 20) + "\n" + GOOD))


@pytest.mark.parametrize(("form", "named"), [("utf-8-sig", "UTF-8"), ("utf-16", "UTF-16")])
def test_a_byte_order_mark_is_named_as_that(tmp_path: Path, form: str, named: str) -> None:
    said = refusal(written(tmp_path, GOOD.encode(form)))
    assert f"begins with a byte-order mark ({named}); save it as UTF-8 without" in said


@pytest.mark.parametrize("what", ["pipe", "/dev/zero", "folder", "long"])
def test_a_device_a_pipe_or_a_folder_in_a_files_place_is_named_at_once(
    tmp_path: Path, what: str
) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    (tmp_path / "long").write_text("x" * 70_000)
    said = refusal(written(tmp_path, f'{GOOD}[[contacts]]\nname = "phone"\nurl_file = "{what}"\n'))
    assert "contacts[0].url_file is" in said
    assert ("longer than 64 KiB" if what == "long" else "a device, a pipe or a folder") in said
    if what != "long":
        assert "a device, a pipe or a folder" in refusal_of_the_file(tmp_path, what)


def refusal_of_the_file(folder: Path, what: str) -> str:
    said = refusal(folder / what)
    return said.replace(
        "is a folder; name the configuration's file", "a device, a pipe or a folder"
    )


def test_what_is_loaded_apart_is_what_would_have_been_loaded_here(tmp_path: Path) -> None:
    file = written(tmp_path, GOOD)
    environ = {"BROODER_SITE__NAME": "Yonder", "PATH": os.environ["PATH"]}
    assert load_apart(file, environ) == load_settings(file, environ)
    wrong = written(tmp_path, GOOD.replace("length_m = 1\n", ""))
    with pytest.raises(SettingsFault) as there:
        load_apart(wrong, environ)
    with pytest.raises(SettingsFault) as here:
        load_settings(wrong, environ)
    assert str(there.value) == str(here.value)


def test_what_a_meter_measures_is_loaded_apart_as_the_row_itself(tmp_path: Path) -> None:
    """The watch asks whether a meter's kind is power, mains, a cover. A reload of a site with a
    cover's switch failed, and after that of one with plugs no lamp was known as off by its plug."""
    plug = '[[brooders.heat]]\nname = "lamp"\nkind = "lamp"\nwatts = 250\ntopic = "plugs/lamp"\n'
    meters = "".join(
        f'[[brooders.meters]]\nkind = "{kind}"\ntopic = "meters/{kind}"\n'
        for kind in ("cover", "humidity")
    )
    mains = '[mains]\ntopic = "mains"\nseconds_left = "/left"\nvalue = "/on"\n'
    loaded = load_apart(written(tmp_path, f"{GOOD}{plug}{meters}{mains}"))
    measured = [meter.quantity for meter in loaded.site.all_meters]
    assert {row.kind for row in measured} == {"power", "cover", "humidity", "mains", "battery-left"}
    assert all(row is QUANTITIES[row.kind] for row in measured)


def test_what_takes_too_long_to_load_is_given_up(tmp_path: Path) -> None:
    with pytest.raises(ChildLate, match="took longer than"):
        load_apart(written(tmp_path, GOOD), limit_s=0.001)


@pytest.mark.parametrize("own", sorted(_OURS))
def test_a_probe_or_forecast_on_a_topic_of_ours_is_refused(tmp_path: Path, own: str) -> None:
    assert is_ours(f"brooder/{own}")
    text = GOOD.replace("yard/floor", f"brooder/{own}")
    assert f'is "brooder/{own}", on which the monitor itself' in refusal(written(tmp_path, text))
    forecast = f'{GOOD}[tell]\ntopic_prefix = "yard/x"\n[forecast]\ntopic = "yard/x/{own}/more"\n'
    assert "forecast.topic is" in refusal(written(tmp_path, forecast))


def test_one_port_for_page_and_broker_is_refused(tmp_path: Path) -> None:
    both = f"{GOOD}[built_in_broker]\nport = 8420\n"
    assert "page.port is 8420, the port of built_in_broker too" in refusal(written(tmp_path, both))
    apart = f'{both}[page]\nlisten = "::1"\n'
    assert load_settings(written(tmp_path, apart), {}, check_contacts=False)
