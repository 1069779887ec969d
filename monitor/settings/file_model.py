"""The configuration file's shape. A field's description ends the sentence "it must be ...".

Called by `load`. Everything here is what a grower writes; `load` turns it into `monitor.site`."""

import difflib
import re
from collections.abc import Callable, Iterable
from datetime import time
from ipaddress import IPv4Address
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    AliasChoices,
    AliasGenerator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    IPvAnyAddress,
    SecretStr,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from monitor.brooding.envelope import COVERS, WALLS
from monitor.brooding.schedules import BUILT_IN
from monitor.doorway import THIS_MACHINE
from monitor.measures import PRICE_FORM, length_m, step_c, temp_c
from monitor.quantities import QUANTITIES
from monitor.site import Limits
from monitor.tell.policy import Policy

Name = Annotated[
    str,
    Field(
        pattern=r"^[^/+#\x00-\x1f\x7f]{1,40}$",
        description="1 to 40 characters without / + or #",
    ),
]
Topic = Annotated[
    str,
    Field(
        pattern=r"^[^+#\x00]{1,512}$",
        description="one MQTT topic without the wildcards + and #, as the probe publishes it",
    ),
]
Pointer = Annotated[
    str,
    Field(
        pattern=r"^(/([^~]|~[01])*)?$",
        description='a JSON Pointer (RFC 6901) such as "/temperature", starting with /',
    ),
]
Port = Annotated[int, Field(ge=0, le=65535, description="a port number from 0 to 65535")]


def _with_its_unit(read: Callable[[str], float]) -> BeforeValidator:
    """Text such as `5 ft` as a number in the field's unit. A bare number is in that unit already:
    that is the older spelling of the key, with the unit in its name (`length_m`)."""

    def value(given: object) -> object:
        try:
            return read(given) if isinstance(given, str) else given
        except ValueError:
            pass
        try:
            return float(str(given))  # out of the environment
        except ValueError:
            raise PydanticCustomError("measure", "no measure") from None

    return BeforeValidator(value)


Length = Annotated[float, _with_its_unit(length_m)]
Temperature = Annotated[float, _with_its_unit(temp_c)]
Step = Annotated[float, _with_its_unit(step_c)]


def _spelt(name: str) -> str | AliasChoices:
    """`length_m` is written as `length = "5 ft"`, or as before, `length_m = 1.5`."""
    plain, _, unit = name.rpartition("_")
    return AliasChoices(plain, name) if unit in ("m", "c") else name


_LIMITS, _POLICY = Limits(), Policy()
PRIORITIES = Literal["urgent", "warning", "advice"]


_PAIRS = (("cert_file", "key_file"), ("quiet_from", "quiet_to"), ("latitude", "longitude"))


class FileTable(BaseModel):
    """A table of the file: unknown keys are faults."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        hide_input_in_errors=True,
        alias_generator=AliasGenerator(validation_alias=_spelt),
    )

    @model_validator(mode="after")
    def _both_or_neither(self) -> Self:
        for one, other in _PAIRS:
            if (getattr(self, one, None) is None) != (getattr(self, other, None) is None):
                raise ValueError(f"give both {one} and {other}, or neither")
        return self


class PublishedSettings(FileTable):
    """Where in what a sensor publishes its value stands."""

    value: Pointer | None = Field(
        None,
        description='a JSON Pointer such as "/temperature" or "/power"; leave it out for a bare '
        "number",
    )
    time: Pointer | None = Field(
        None, description="a JSON Pointer to its own time stamp, if it sends one"
    )
    senml_name: str | None = Field(
        None, description="the SenML name of its record, if one pack carries several"
    )


class ProbeSettings(PublishedSettings):
    """`[[brooders.probes]]`, or `[[site.probes]]` for an outside probe that serves every box
    without one of its own."""

    name: Name
    topic: Topic
    place: Literal["floor", "under-heat", "cool-end", "outside"] = Field(
        description="floor, under-heat, cool-end or outside"
    )
    unit: Literal["celsius", "fahrenheit", "kelvin"] = Field(
        "celsius", description="celsius, fahrenheit or kelvin"
    )
    offset_c: Step = Field(
        0.0,
        ge=-10,
        le=10,
        description='what to add, such as "-0.9 F" or "0.5 C", at most 18 F (10 C) either way '
        "(ice-water check)",
    )


class HeatSettings(PublishedSettings):
    """`[[brooders.heat]]`: one lamp, plate or panel, and what its plug measures, if it does."""

    name: Name
    kind: Literal["lamp", "plate", "panel", "other"] = Field(
        description="lamp, plate, panel or other"
    )
    watts: float = Field(
        gt=0, le=5000, description="its watts as a number, more than 0 and at most 5000"
    )
    topic: Topic | None = Field(
        None, description="the MQTT topic on which its plug says the watts it draws"
    )
    thermostat: bool | None = Field(
        None, description="true or false: does a thermostat switch it? Left out, it is found out"
    )

    @model_validator(mode="after")
    def _pointers_need_a_topic(self) -> "HeatSettings":
        if self.topic is None and (self.value or self.time or self.senml_name):
            raise ValueError("value, time and senml_name are of a topic: give the plug's topic too")
        return self


def _one_of(names: Iterable[str]) -> str:
    """A pattern of these names alone; they are the trade's tables', not the file's."""
    return f"^({'|'.join(map(re.escape, names))})$"


_KINDS = tuple(kind for kind, row in QUANTITIES.items() if row.of_box)


class MeterSettings(PublishedSettings):
    """`[[brooders.meters]]`: humidity, or whether the cover is open."""

    kind: str = Field(description=f"one of {', '.join(_KINDS)}")
    name: Name | None = Field(None, description="a name, where there are several of one kind")
    topic: Topic

    @field_validator("kind")
    @classmethod
    def _known_kind(cls, value: str) -> str:
        if value not in QUANTITIES or not QUANTITIES[value].of_box:
            raise ValueError(f"it must be one of {', '.join(_KINDS)}")
        return value


class MainsSettings(FileTable):
    """`[mains]`: what knows whether there is mains power. One of topic, file and ups."""

    topic: Topic | None = Field(None, description="the MQTT topic of what knows it")
    value: Pointer | None = Field(
        None, description='a JSON Pointer such as "/ups.status"; leave it out for a bare word'
    )
    seconds_left: Pointer | None = Field(
        None, description="a JSON Pointer to the seconds that the battery lasts, if it is said"
    )
    file: str | None = Field(
        None, description="a file of this board's, such as /sys/class/power_supply/AC/online"
    )
    ups: str | None = Field(
        None,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9_.@:-]{0,99}$",
        description='a UPS as Network UPS Tools names it, such as "ups@localhost"',
    )

    @model_validator(mode="after")
    def _one_origin(self) -> "MainsSettings":
        if sum(one is not None for one in (self.topic, self.file, self.ups)) != 1:
            raise ValueError("give exactly one of topic, file and ups")
        if self.topic is None and (self.value or self.seconds_left):
            raise ValueError("value and seconds_left are of a topic: leave them out")
        return self


class LimitSettings(FileTable):
    """`[brooders.limits]`: how far from target is wrong, and for how long."""

    band_c: Step = Field(
        _LIMITS.band_c,
        gt=0,
        le=15,
        description='how far from target is still right, such as "5 F" or "2.8 C", at most 27 F '
        "(15 C)",
    )
    harm_c: Step = Field(
        _LIMITS.harm_c,
        gt=0,
        le=20,
        description='how far from target harms, such as "10 F" or "5.6 C", more than band, at '
        "most 36 F (20 C)",
    )
    overheat_c: Temperature | None = Field(
        _LIMITS.overheat_c,
        ge=30,
        le=50,
        description='a temperature such as "102 F" or "39 C", from 86 F (30 C) to 122 F (50 C): '
        "hotter is an overheat, however near the target; left out, 39 C until day 31 of age, then "
        "34.4 C",
    )
    fire_c: Temperature = Field(
        _LIMITS.fire_c,
        ge=40,
        le=90,
        description='a temperature such as "122 F" or "50 C", from 104 F (40 C) to 194 F (90 C)',
    )
    band_delay_s: float = Field(
        _LIMITS.band_delay_s, ge=0, le=3600, description="seconds from 0 to 3600"
    )
    harm_delay_s: float = Field(
        _LIMITS.harm_delay_s, ge=0, le=3600, description="seconds from 0 to 3600"
    )
    clear_delay_s: float = Field(
        _LIMITS.clear_delay_s, ge=0, le=3600, description="seconds from 0 to 3600"
    )
    dead_band_c: Step = Field(
        _LIMITS.dead_band_c,
        ge=0,
        le=5,
        description='how far back over a limit counts, such as "1 F" or "0.5 C", at most 9 F (5 C)',
    )
    silent_s: float = Field(_LIMITS.silent_s, ge=5, le=86400, description="seconds from 5 to 86400")
    open_s: float = Field(
        _LIMITS.open_s, ge=60, le=86400, description="seconds from 60 to 86400: a cover left open"
    )

    @model_validator(mode="after")
    def _harm_is_further_out(self) -> "LimitSettings":
        if self.harm_c <= self.band_c:
            raise ValueError(f"harm ({self.harm_c:g} C) must be more than band ({self.band_c:g} C)")
        return self


class ScheduleRowSettings(FileTable):
    """One row of `own_schedule`: from this day of age on, this target."""

    from_day: float = Field(ge=0, le=200, description="age in days, hatch day is 0, at most 200")
    target_c: Temperature | None = Field(
        None,
        ge=5,
        le=40,
        description='a temperature such as "95 F" or "35 C", from 41 F (5 C) to 104 F (40 C)',
    )
    target_f: float | None = Field(
        None, ge=41, le=104, description="the target in degrees Fahrenheit from 41 to 104"
    )

    @model_validator(mode="after")
    def _one_target(self) -> "ScheduleRowSettings":
        if (self.target_c is None) == (self.target_f is None):
            raise ValueError('give one target, such as "95 F"')
        return self


_LENGTH = 'a {0} such as "5 ft", "5 ft 6 in" or "1.5 m", more than 0, at most {1} m'


def _listed(titles: dict[str, str]) -> str:
    """Names, each with what the hardware store calls it where that is another word."""
    return ", ".join(
        name if title in (name, f"a {name}") else f"{name} ({title})"
        for name, title in titles.items()
    )


class BrooderSettings(FileTable):
    """`[[brooders]]`: one box."""

    name: Name
    renamed_from: Name | None = Field(
        None, description="the name it had before, so that its birds stay known"
    )
    length_m: Length = Field(gt=0, le=50, description=_LENGTH.format("length", 50))
    width_m: Length = Field(gt=0, le=50, description=_LENGTH.format("width", 50))
    height_m: Length = Field(0.5, gt=0, le=10, description=_LENGTH.format("height", 10))
    cover: str = Field(
        "none",
        pattern=_one_of(COVERS),
        description=f"one of {_listed({name: cover.title for name, cover in COVERS.items()})}",
    )
    walls: str = Field(
        "plywood",
        pattern=_one_of(WALLS),
        description=f"one of {_listed({name: wall.title for name, wall in WALLS.items()})}",
    )
    stands: Literal["sheltered", "windy"] = Field(
        "sheltered",
        description="sheltered (in a shed, a garage, on a sheltered porch) or windy (where wind "
        "blows on the box)",
    )
    schedule: str | None = Field(
        None,
        pattern=_one_of(BUILT_IN),
        description=f"one of {', '.join(BUILT_IN)}; left out, the usual one for the birds",
    )
    own_schedule: tuple[ScheduleRowSettings, ...] = Field(
        (), description="rows of from_day and target, in order of age"
    )
    steps: Literal["weekly", "straight"] = Field(
        "weekly",
        description="weekly (one step down a week) or straight (a little less every day)",
    )
    probes: tuple[ProbeSettings, ...] = Field((), description="one [[brooders.probes]] a probe")
    heat: tuple[HeatSettings, ...] = Field((), description="one [[brooders.heat]] a lamp or plate")
    meters: tuple[MeterSettings, ...] = Field(
        (), description="one [[brooders.meters]] a sensor of something else than temperature"
    )
    limits: LimitSettings = Field(default_factory=LimitSettings, description="a table of limits")


class SiteSettings(FileTable):
    """`[site]`."""

    name: Name = "Brooder"
    timezone: str = Field("UTC", description="a time zone's name such as America/Chicago")
    units: Literal["fahrenheit", "celsius"] = Field(
        "fahrenheit", description="fahrenheit or celsius"
    )
    mains_volts: float = Field(120, ge=100, le=250, description="volts from 100 to 250")
    circuit_amps: float = Field(15, ge=1, le=63, description="amperes from 1 to 63")
    price_per_kwh: str | None = Field(
        None,
        pattern=PRICE_FORM,
        description='what a kWh costs you, with its currency, such as "0.17 USD" or "$0.17"',
    )
    probes: tuple[ProbeSettings, ...] = Field(
        (), description="outside probes that serve every box without one of its own"
    )

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (KeyError, ValueError, OSError):
            near = difflib.get_close_matches(value, available_timezones(), n=1, cutoff=0.5)
            hint = near[0] if near else "America/Chicago"
            raise ValueError(f"no such time zone; write one like {hint}") from None
        return value


class BrokerSettings(FileTable):
    """`[broker]`: a broker of your own. Left out, the built-in broker runs."""

    host: str = Field(min_length=1, description="the broker's name or address")
    port: int | None = Field(
        None, ge=1, le=65535, description="a port number; left out, 1883, or 8883 with TLS"
    )
    username: str | None = Field(None, description="the user name, if the broker asks for one")
    password: SecretStr | None = Field(None, description="the password (better: password_file)")
    tls: bool = Field(False, description="true or false")
    ca_file: str | None = Field(None, description="the file of the certificate to trust")
    client_id: str | None = Field(
        None, description="this service's name at the broker, different for each service"
    )


class BuiltInBrokerSettings(FileTable):
    """`[built_in_broker]`: used when there is no `[broker]`."""

    listen: str = Field(
        "127.0.0.1", description='"127.0.0.1" (this machine alone) or the board\'s own address'
    )
    port: Port = 1883
    accounts_file: str | None = Field(
        None, description="a file of user names and password hashes, as mosquitto_passwd writes it"
    )
    rights_file: str | None = Field(
        None, description="a file of who may read and write what, as Mosquitto's acl_file"
    )
    cert_file: str | None = Field(None, description="this board's certificate, for TLS")
    key_file: str | None = Field(None, description="the certificate's key, for TLS")


class ContactSettings(FileTable):
    """`[[contacts]]`: one way to reach one person."""

    name: Name
    url: SecretStr = Field(description="an Apprise URL (see brooder contacts kinds)")
    priorities: tuple[PRIORITIES, ...] = Field(
        ("urgent", "warning", "advice"),
        min_length=1,
        description='a list of "urgent", "warning", "advice"',
    )
    quiet_from: time | None = Field(None, description='a time of day such as "21:00"')
    quiet_to: time | None = Field(None, description='a time of day such as "06:30"')
    after_minutes: float = Field(
        0,
        ge=0,
        le=1440,
        description="minutes that an urgent alarm waits for an answer first, 0 to 1440",
    )


class TellSettings(FileTable):
    """`[tell]`: how often, when in the morning, and the sign of life to the outside."""

    morning_at: time = Field(_POLICY.morning_at, description='a time of day such as "07:00"')
    evening_at: time = Field(_POLICY.evening_at, description='a time of day such as "20:00"')
    urgent_repeat_minutes: float = Field(
        int(_POLICY.urgent_repeat_s / 60), ge=1, le=1440, description="minutes, 1 to 1440"
    )
    warning_repeat_minutes: float = Field(
        int(_POLICY.warning_repeat_s / 60), ge=5, le=1440, description="minutes, 5 to 1440"
    )
    contact_time_limit_s: float = Field(20, ge=2, le=300, description="seconds from 2 to 300")
    most_pending: int = Field(50, ge=5, le=10000, description="messages per contact, 5 to 10000")
    heartbeat_url: SecretStr | None = Field(
        None, description="a URL fetched at an interval, whose silence somebody else notices"
    )
    heartbeat_minutes: float = Field(5, ge=0.05, le=1440, description="minutes, 0.05 to 1440")
    voice: bool = Field(
        False, description="true: urgent alarms are said aloud on this board (espeak-ng); or false"
    )
    topic_prefix: str = Field(
        "brooder", pattern=r"^[^+#\x00]{1,100}$", description="the first part of our own topics"
    )


class ForecastSettings(FileTable):
    """`[forecast]`: the coming outside temperatures, from a topic, a URL, or for a place."""

    topic: str | None = Field(
        None, pattern=r"^[^+#\x00]{1,512}$", description="an MQTT topic without + and #"
    )
    url: SecretStr | None = Field(None, description="a URL that answers with JSON")
    latitude: float | None = Field(
        None, ge=-90, le=90, description="degrees north from -90 to 90, with longitude"
    )
    longitude: float | None = Field(
        None, ge=-180, le=180, description="degrees east from -180 to 180, with latitude"
    )
    service_url: str = Field(
        "https://api.open-meteo.com/v1/forecast",
        pattern=r"^https?://[^?#\s]+$",
        description="who is asked for the place, in the form of Open-Meteo's forecast interface",
    )
    times: Pointer = Field("/hourly/time", description="a JSON Pointer to the list of times")
    temperatures: Pointer = Field(
        "/hourly/temperature", description="a JSON Pointer to the list of temperatures"
    )
    unit: Literal["celsius", "fahrenheit", "kelvin"] = Field(
        "celsius", description="celsius, fahrenheit or kelvin"
    )
    every_minutes: float = Field(60, ge=10, le=1440, description="minutes, 10 to 1440")

    @model_validator(mode="after")
    def _one_origin(self) -> "ForecastSettings":
        given = [self.topic is not None, self.url is not None, self.latitude is not None]
        if sum(given) != 1:
            raise ValueError("give exactly one of topic, url, and latitude with longitude")
        return self


class InfluxSettings(FileTable):
    """`[influx]`: the mirror, the history once more off the board."""

    url: str = Field(pattern=r"^https?://", description="the server's http or https URL")
    token: SecretStr = Field(SecretStr(""), description="an access token (better: token_file)")
    org: str = Field("brooder", description="the organisation's name")
    bucket: str = Field("brooder", description="the bucket's name")


class PageSettings(FileTable):
    """`[page]`: the page on the home network."""

    enabled: bool = Field(True, description="true or false")
    listen: str = Field(
        "127.0.0.1", description='"127.0.0.1" (this machine alone) or the board\'s own address'
    )
    port: Port = 8420
    passphrase: SecretStr | None = Field(
        None, description="at least 10 characters (better: passphrase_file)"
    )
    hosts: tuple[str, ...] = Field((), description="names this page may be asked by")
    public_url: str | None = Field(
        None,
        pattern=r"^https?://",
        description="where a phone finds the page, such as http://brooder.local:8420",
    )
    behind_proxy: bool = Field(False, description="true or false")
    proxy_address: IPvAnyAddress = Field(
        IPv4Address("127.0.0.1"),
        description="the address from which the proxy asks; nobody else's word is believed",
    )
    cert_file: str | None = Field(None, description="the page's certificate, for https")
    key_file: str | None = Field(None, description="the certificate's key, for https")

    @field_validator("passphrase")
    @classmethod
    def _long_enough(cls, passphrase: SecretStr | None) -> SecretStr | None:
        if passphrase is not None and len(passphrase.get_secret_value()) < 10:
            raise ValueError("it is too short; use at least 10 characters")
        return passphrase

    @model_validator(mode="after")
    def _network_needs_a_passphrase(self) -> "PageSettings":
        home = self.listen in THIS_MACHINE
        if self.enabled and not home and self.passphrase is None:
            raise ValueError(
                "listen opens the page to the network, which needs a passphrase "
                '(passphrase_file), or write listen = "127.0.0.1"'
            )
        return self


class JournalSettings(FileTable):
    """`[journal]`: where the records are kept."""

    folder: str | None = Field(None, description="a folder this service may write to")
    # Longer than fifteen messages of eight probes every ten seconds take (19 s): see pacing.
    commit_s: float = Field(25, ge=0.05, le=60, description="seconds from 0.05 to 60")
    # Of readings alone: the ledger and the alarms are kept for ever.
    keep_days: int | None = Field(None, ge=7, description="a number of days, 7 or more")


class FileSettings(BaseSettings):
    """The whole file, after the environment and the secret files were laid over it."""

    model_config = SettingsConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Only what `load` hands over, laid together by `overlay`: the library's own sources know
        no item of a list (`BROODER_CONTACTS__0__URL`), let a misspelt variable pass unsaid, and
        look for secrets in one folder instead of in the file that a `_file` key names."""
        return (init_settings,)

    site: SiteSettings = Field(default_factory=SiteSettings, description="a table [site]")
    broker: BrokerSettings | None = Field(None, description="a table [broker]")
    built_in_broker: BuiltInBrokerSettings = Field(
        default_factory=BuiltInBrokerSettings, description="a table [built_in_broker]"
    )
    brooders: tuple[BrooderSettings, ...] = Field(
        min_length=1, description="at least one [[brooders]]"
    )
    mains: MainsSettings | None = Field(None, description="a table [mains]")
    contacts: tuple[ContactSettings, ...] = Field((), description="one [[contacts]] a contact")
    tell: TellSettings = Field(default_factory=TellSettings, description="a table [tell]")
    forecast: ForecastSettings | None = Field(None, description="a table [forecast]")
    influx: InfluxSettings | None = Field(None, description="a table [influx]")
    page: PageSettings = Field(default_factory=PageSettings, description="a table [page]")
    journal: JournalSettings = Field(
        default_factory=JournalSettings, description="a table [journal]"
    )
