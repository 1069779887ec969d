"""One InfluxDB 2 server through influxdb-client, asked synchronously: the client's own background
batching is not used, because what it gives up on is gone without a word. Called by `mirror` and
`read_back`. The client takes a third of a second to import, so it is imported when [influx] is.

Answers become one of four things, by what the sender can do: go on, wait, look for the bad line,
or tell somebody. (Status codes: docs.influxdata.com/influxdb/v2/write-data/troubleshoot/.)"""

import email.utils
import logging
import re
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

TIMEOUT_MS = 15_000


@dataclass(frozen=True, slots=True)
class Sent:
    """Every line is there."""


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

_DROPPED = re.compile(r"\bdropped[= ](\d+)")  # form of the message from memory


class Server:
    """A connection to one bucket."""

    def __init__(self, url: str, token: str, org: str, bucket: str) -> None:
        from influxdb_client import InfluxDBClient  # noqa: PLC0415 - see the module
        from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415

        # What it logs of a failing request repeats what the answer says, at every try.
        logging.getLogger("influxdb_client").setLevel(logging.CRITICAL)
        logging.getLogger("urllib3").setLevel(logging.ERROR)
        self._where = f"bucket {bucket} of {org} at {url}"
        self._url, self._org, self._bucket = url, org, bucket
        self._client = InfluxDBClient(
            url=url, token=token, org=org, timeout=TIMEOUT_MS, enable_gzip=True, retries=False
        )
        self._write = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: Sequence[str]) -> Answer:
        """Sends lines with nanosecond times, as one request."""
        from influxdb_client import WritePrecision  # noqa: PLC0415

        try:
            self._write.write(
                bucket=self._bucket,
                org=self._org,
                record="\n".join(lines).encode(),
                write_precision=WritePrecision.NS,
            )
        except Exception as error:  # the client raises its own, urllib3's and OSError alike
            return self._answer(error)
        return Sent()

    def query(self, flux: str) -> Iterator[dict[str, Any]]:
        """Rows of a Flux query's answer, as they come. Raises InfluxFault."""
        try:
            for record in self._client.query_api().query_stream(flux, org=self._org):
                yield record.values
        except Exception as error:
            raise InfluxFault(self._answer(error).words) from error

    def close(self) -> None:
        """Ends the connection."""
        self._client.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _answer(self, error: Exception) -> Busy | BadLines | Partly | Refused:
        status = getattr(error, "status", None)
        said = " ".join(str(getattr(error, "message", "") or "").split())[:200]
        if status is None:
            return Busy(f"{self._url} cannot be reached ({_network_words(error)})")
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
            return Busy(f"{self._url} {trouble}", _after(error))
        mend = {
            401: f"{self._url} does not accept the token; make one that may write to "
            f"{self._bucket} and put it in [influx] token_file",
            403: f"the token may not write to {self._where}",
            404: f"there is no {self._where} ({said}); make the bucket or mend [influx]",
        }
        return Refused(mend.get(status, f"{self._url} answers with status {status} ({said})"))


class InfluxFault(Exception):
    """A query was not answered; the words say why."""


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
    reason = getattr(error, "reason", error)
    return " ".join(str(reason).split("object at")[-1].split(": ", 1)[-1].split())[:120]
