"""Whatever stands in a configuration, the answer is settings or faults in plain lines: never
another error, never a secret."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from monitor.settings import Settings, SettingsFault, load_settings
from monitor.settings.file_model import FileSettings

pytestmark = pytest.mark.faults

EXAMPLE = (Path(__file__).parents[2] / "config/brooder.toml").read_text()
SECRET = "s3cretPlanted-Kolibri"
SETTINGS = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

names = st.sampled_from(
    sorted({*FileSettings.model_fields, "probes", "heat", "limits", "topic", "url", "password"})
)
scalars = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=40), st.just(SECRET)
)
values: st.SearchStrategy[Any] = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=4),
    max_leaves=12,
)


def outcome(file: Path, environ: dict[str, str]) -> None:
    faults: list[str] = []
    try:
        loaded = load_settings(file, environ, check_contacts=False)
        assert isinstance(loaded, Settings)
    except SettingsFault as fault:
        faults = [str(one) for one in fault.faults]
        if not faults:
            raise
    for text in faults:
        assert text.strip()
        assert "\n" not in text, "one line a fault"
        assert len(text) < 2000


@SETTINGS
@given(st.binary(max_size=400))
@example(b"\xff\xfe[site]")
@example(b"[site]\nname = 1e999\n")
@example(b"a." * 3000 + b"b = 1\n")
@example(b"x = " + b"[" * 5000)
def test_any_bytes_are_settings_or_faults(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "brooder.toml"
    file.write_bytes(data)
    outcome(file, {})


@SETTINGS
@given(st.data())
def test_the_example_with_lines_changed_is_settings_or_faults(
    tmp_path: Path, data: st.DataObject
) -> None:
    lines = EXAMPLE.splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        match data.draw(st.sampled_from(["drop", "twice", "cut", "value", "open"])):
            case "drop":
                del lines[at]
            case "twice":
                lines.insert(at, lines[at])
            case "cut":
                lines[at] = lines[at][: data.draw(st.integers(0, 40))]
            case "value":
                key = lines[at].split("=")[0]
                lines[at] = f"{key}= {data.draw(toml_values)}"
            case "open":
                lines[at] = lines[at].lstrip("# ")
    file = tmp_path / "brooder.toml"
    file.write_text("\n".join(lines), encoding="utf-8", errors="replace")
    outcome(file, {})


toml_values = st.one_of(
    st.integers().map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.sampled_from(["nan", "inf", "-inf", "true", "[]", "{}", '""', "2026-01-01", "07:00", "[1]"]),
    st.text("abc/+#°$ ", max_size=20).map(lambda t: f'"{t}"'),
)


@SETTINGS
@given(
    st.dictionaries(
        st.lists(names | st.sampled_from(["0", "1", "-1", "99", ""]), min_size=1, max_size=5).map(
            lambda parts: "BROODER_" + "__".join(parts).upper()
        ),
        st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]), max_size=60)
        | st.just("{" * 300)
        | st.just("[" * 3000),
        max_size=4,
    )
)
@example({"BROODER_SITE__PROBES__99999999999__NAME": "x"})
@example({"BROODER_CONTACTS__0__URL_FILE": "/nonexistent"})
@example({"BROODER_SITE": "{}"})
def test_any_environment_is_settings_or_faults(tmp_path: Path, environ: dict[str, str]) -> None:
    file = tmp_path / "brooder.toml"
    file.write_text(EXAMPLE)
    outcome(file, environ)


@pytest.mark.parametrize(
    "lines",
    [
        f'[[contacts]]\nname = "a"\nurl = "nothing://{SECRET}"\n',
        f'[[contacts]]\nname = "a"\nurl = ["{SECRET}"]\n',
        f'[[contacts]]\nname = "a/b"\nurl = "json://{SECRET}"\n',
        f'[broker]\nhost = "h"\npassword = ["{SECRET}"]\n',
        f'[broker]\npassword = "{SECRET}"\n',
        f'[page]\npassphrase = "{SECRET}"\nlisten = 5\n',
        f'[tell]\nheartbeat_url = {{ a = "{SECRET}" }}\n',
        f'[influx]\nurl = "ftp://x"\ntoken = "{SECRET}"\n',
        f'[forecast]\nurl = "http://{SECRET}"\ntopic = "a"\n',
    ],
)
def test_a_fault_beside_a_secret_does_not_repeat_it(tmp_path: Path, lines: str) -> None:
    file = tmp_path / "brooder.toml"
    file.write_text(EXAMPLE.replace("[journal]", lines + "[journal]"))
    with pytest.raises(SettingsFault) as caught:
        load_settings(file, {}, check_contacts=True)
    assert SECRET not in str(caught.value)
    assert SECRET not in repr(caught.value)
