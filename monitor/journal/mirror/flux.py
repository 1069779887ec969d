"""What the mirror is asked, in Flux. Pure; called by `comparing` and `read_back`.

Every range has an end: without one a server leaves out what is later than its own clock."""

from datetime import UTC, datetime

from monitor.journal.mirror import influx_schema as schema

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
END = datetime(2100, 1, 1, tzinfo=UTC)


def numbers(bucket: str, site: str, start: datetime, stop: datetime) -> str:
    """Readings and derived numbers of a stretch: start included and stop not."""
    return (
        f"{_range(bucket, start, stop)}"
        f' |> filter(fn: (r) => (r._measurement == "{schema.BROODER}" or'
        f' r._measurement == "{schema.TEMPERATURE}" and r._field == "celsius")'
        f" and r.site == {_text(schema.tag_text(site))})"
        ' |> keep(columns: ["_measurement", "_field", "_time", "_value", "brooder", "place",'
        ' "probe"])'
    )


def texts(bucket: str, site: str, measurements: tuple[str, ...]) -> str:
    """Entries or alarm changes, the fields of each side by side."""
    which = " or ".join(f'r._measurement == "{name}"' for name in measurements)
    return (
        f"{_range(bucket, EPOCH, END)}"
        f" |> filter(fn: (r) => ({which}) and r.site == {_text(schema.tag_text(site))})"
        ' |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")'
    )


def edge(bucket: str, site: str, which: str) -> str:
    return (
        f"{_range(bucket, EPOCH, END)}"
        f' |> filter(fn: (r) => r._measurement == "{schema.TEMPERATURE}" and r._field == "celsius"'
        f" and r.site == {_text(schema.tag_text(site))})"
        f' |> {which}() |> keep(columns: ["_time"])'
    )


def counts(
    bucket: str, site: str, start: datetime, stop: datetime, brooders: list[str] | None
) -> str:
    """How many points there are of each fact, by measurement, brooder and UTC day. `brooders`: as
    their tags are; None: of all."""
    facts = " or ".join(
        f'r._measurement == "{name}"'
        if field is None
        else f'r._measurement == "{name}" and r._field == "{field}"'
        for name, field in schema.COUNTED.items()
    )
    of_whom = "" if brooders is None else _one_of(brooders)
    return (
        f"{_range(bucket, start, stop)}"
        f" |> filter(fn: (r) => r.site == {_text(schema.tag_text(site))} and ({facts}){of_whom})"
        ' |> aggregateWindow(every: 1d, fn: count, createEmpty: false, timeSrc: "_start")'
        ' |> group(columns: ["_measurement", "brooder", "_time"]) |> sum()'
    )


def _range(bucket: str, start: datetime, stop: datetime) -> str:
    return f"from(bucket: {_text(bucket)}) |> range(start: {_time(start)}, stop: {_time(stop)})"


def _one_of(brooders: list[str]) -> str:
    return f" and ({' or '.join(f'r.brooder == {_text(name)}' for name in brooders)})"


def _time(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z".replace(".000Z", "Z")


def _text(text: str) -> str:
    """A Flux string: quotes, backslashes and the beginning of an interpolation are escaped."""
    escaped = text.replace("\\", r"\\").replace('"', r"\"").replace("${", r"\${")
    return f'"{escaped}"'
