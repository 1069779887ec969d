"""One InfluxDB 2 server through influxdb-client, asked synchronously: the client's own background
batching is not used, because what it gives up on is gone without a word. Called by `sending`,
`comparing` and `read_back`. The client takes a third of a second to import, so it is imported when
[influx] is configured.

Answers become one of five things, by what the sender can do: go on, wait, look for the bad line,
count what was dropped, or tell somebody. (Status codes:
docs.influxdata.com/influxdb/v2/write-data/troubleshoot/.)"""

import email.utils
import logging
import re
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Self

TIMEOUT_MS = 15_000


@dataclass(frozen=True, slots=True)
class Sent:
    """The server has every line."""


@dataclass(frozen=True, slots=True)
class Busy:
    """Not now: the server is away, overloaded or full. `after_s` is its own advice, if any."""

    words: str
    after_s: float | None = None


@dataclass(frozen=True, slots=True)
class BadLines:
    """At least one line cannot be taken, whatever is done; the server's reason."""

    words: str


@dataclass(frozen=True, slots=True)
class Refused:
    """Nothing will be taken until somebody changes something: token, bucket, organisation."""

    words: str


@dataclass(frozen=True, slots=True)
class Partly:
    """All lines are there but some that were dropped: older than the bucket keeps, or of another
    type than the field has there. InfluxDB says how many, not which ("partial write")."""

    dropped: int
    words: str


Answer = Sent | Busy | BadLines | Partly | Refused

_DROPPED = re.compile(r"\bdropped[= ](\d+)")
_NOTHING = "# brooder asks whether it may write"  # a comment of line protocol: no point comes of it
_LONGEST = 1000  # of an answer; a series with all its tags may stand before the reason


class InfluxFault(Exception):
    """A query was not answered; the words say why."""


class Server:
    def __init__(self, url: str, token: str, org: str, bucket: str) -> None:
        from influxdb_client import InfluxDBClient  # noqa: PLC0415 - see the module
        from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415

        # What it logs of a failing request repeats what the answer says, at every try.
        logging.getLogger("influxdb_client").setLevel(logging.CRITICAL)
        logging.getLogger("urllib3").setLevel(logging.ERROR)
        self.bucket = bucket
        shown = re.sub(r"//[^/@]*@", "//", url)
        self._name = f"InfluxDB at {shown}"
        self.where = f"bucket {bucket} of {org} at {shown}"
        self._org = org
        self._client = InfluxDBClient(
            url=url, token=token, org=org, timeout=TIMEOUT_MS, enable_gzip=True, retries=False
        )
        self._write = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: Sequence[str]) -> Answer:
        """Sends lines with nanosecond times, as one request."""
        from influxdb_client import WritePrecision  # noqa: PLC0415

        try:
            self._write.write(
                bucket=self.bucket,
                org=self._org,
                record="\n".join(lines).encode(),
                write_precision=WritePrecision.NS,
            )
        except Exception as error:  # the client raises its own, urllib3's and OSError alike
            return self._answer(error)
        return Sent()

    def may_write(self) -> Answer:
        """Would it take what we write? Leaves nothing behind. Sent: yes."""
        answer = self.write([_NOTHING])
        # Rights are looked at before the lines are: who hears that there are none may write.
        return Sent() if isinstance(answer, BadLines) else answer

    def keeps_s(self) -> int:
        """How long the bucket keeps a point; 0: for ever, or the token may not ask."""
        try:
            ask: Any = self._client.buckets_api().find_buckets
            found = ask(name=self.bucket, org=self._org)
            rules = found.buckets[0].retention_rules or []
            return max((rule.every_seconds or 0 for rule in rules), default=0)
        except Exception:
            return 0

    def query(self, flux: str) -> Iterator[dict[str, Any]]:
        """Rows of a Flux query's answer, as they come. Raises InfluxFault."""
        from influxdb_client.client.flux_csv_parser import (  # noqa: PLC0415
            FluxCsvParser,
            FluxCsvParserException,
            FluxQueryException,
            FluxSerializationMode,
        )

        begun = False
        try:
            answer = self._client.query_api().query_raw(flux, org=self._org)
            begun = True
            parser = FluxCsvParser(_Whole(answer), FluxSerializationMode.stream)
            for record in parser.generator():
                yield record.values
        except FluxQueryException as error:
            why = f"{self._name} gave up on the query ({_cut(error.message)})"
            raise InfluxFault(why) from error
        except (_CutOff, FluxCsvParserException) as error:
            why = f"the answer of {self._name} broke off in the middle of a row"
            raise InfluxFault(why) from error
        except Exception as error:
            if begun:
                why = f"{self._name} broke off before its answer was complete"
                raise InfluxFault(f"{why} ({_network_words(error)})") from error
            raise InfluxFault(self._unread(error)) from error

    def close(self) -> None:
        self._client.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _answer(self, error: Exception) -> Busy | BadLines | Partly | Refused:
        status = getattr(error, "status", None)
        said = _cut(getattr(error, "message", None))
        if status is None:
            return Busy(f"{self._name} cannot be reached ({_network_words(error)})")
        if status in (400, 413, 422):
            dropped = _DROPPED.search(said)
            if dropped is not None:
                return Partly(int(dropped[1]), said)
            return BadLines(said or f"status {status}")
        full = status == 507 or "no space" in said.lower()
        if full or status == 429 or status >= 500:
            trouble = f"has trouble of its own (status {status})"
            if full:
                trouble = "has no room left on its disk"
            elif status == 429:
                trouble = "asks us to slow down"
            return Busy(f"{self._name} {trouble}", _after(error))
        mend = {
            401: f"{self._name} does not accept the token; make one that may write to bucket "
            f"{self.bucket} and put it in [influx] token_file",
            403: f"the token may not write to {self.where}",
            404: f"there is no {self.where} ({said}); make the bucket or mend [influx]",
        }
        return Refused(mend.get(status, f"{self._name} answers with status {status} ({said})"))

    def _unread(self, error: Exception) -> str:
        """Why a query was not answered. A token that may not read is shown no bucket."""
        status = getattr(error, "status", None)
        if status == 401:
            return (
                f"{self._name} does not accept the token; make one that may read bucket "
                f"{self.bucket} and put it in [influx] token_file"
            )
        if status in (403, 404) and isinstance(self.may_write(), Sent):
            return (
                f"the token may write to {self.where} but not read it; make one that may do both "
                "and put it in [influx] token_file"
            )
        if status == 403:
            return f"the token may not read {self.where}"
        answer = self._answer(error)
        if isinstance(answer, BadLines | Partly):
            return f"{self._name} does not understand the query ({answer.words})"
        return answer.words


class _CutOff(Exception):
    """An answer ended in the middle of a line."""


class _Whole:
    """An answer line by line; one that is cut off is not taken for a whole one."""

    def __init__(self, answer: Any) -> None:
        self._answer = answer

    def __iter__(self) -> Iterator[bytes]:
        for line in self._answer:
            if not line.endswith(b"\n"):
                raise _CutOff
            yield line

    def close(self) -> None:
        """The connection may serve the next question."""
        self._answer.close()


def _cut(said: object) -> str:
    """What a server said, in one line; of a long one beginning and end, where the reasons stand."""
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said or "")
    text = " ".join(text.split())
    half = _LONGEST // 2
    return text if len(text) <= _LONGEST else f"{text[:half]} ... {text[-half:]}"


def _after(error: Exception) -> float | None:
    """The Retry-After that the client hands on: seconds, or a date."""
    said = getattr(error, "retry_after", None)
    if said is None:
        return None
    try:
        return max(0.0, float(said))
    except ValueError:
        pass
    try:
        return max(0.0, email.utils.parsedate_to_datetime(said).timestamp() - time.time())
    except ValueError:
        return None


def _network_words(error: Exception) -> str:
    reason = str(getattr(error, "reason", error))
    if "timed out" in reason:
        return "no answer in time"
    told = re.split(r"object at|\[Errno -?\d+\] ", reason)[-1]
    return " ".join(told.split(": ", 1)[-1].split())[:120]
