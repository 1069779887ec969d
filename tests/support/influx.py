"""The other end of the mirror, for its tests: a real InfluxDB 2 where one is named by
BROODER_INFLUX_URL, _ORG, _BUCKET and _TOKEN, and everywhere a likeness of one.

The likeness is a real HTTP server that keeps points as InfluxDB does (a point is measurement, tags
and time; a field has one type) and answers our own five forms of query in annotated CSV, written as
Go's writer does (docs.influxdata.com/influxdb/v2/reference/syntax/annotated-csv/). Status codes and
texts are those of a 2.7 and 2.8. It understands no other Flux."""

import json
import re
import time
import urllib.error
import urllib.parse
import urllib.request
from collections import Counter
from datetime import UTC, datetime
from typing import Any

from support.answering import Answer, Answering, Asked
from support.patience import LEAST_S

NS = 1_000_000_000
DAY_NS = 86_400 * NS
_POINT = re.compile(r"((?:[^\s,\\]|\\.)+)((?:,(?:[^\s\\]|\\.)+?)?) (.+) (-?\d+)", re.DOTALL)
_TAG = re.compile(r",((?:[^=,\\]|\\.)+)=((?:[^,\\]|\\.)+)")
_FIELD = re.compile(r'([a-z_0-9]+)=("(?:[^"\\]|\\["\\])*"|[^,]+)(?:,|$)')
Series = tuple[str, tuple[tuple[str, str], ...]]


class Likeness(Answering):
    """Answers from `url` until closed."""

    org = "farm"

    def __init__(self) -> None:
        self.buckets: dict[str, int] = {"brooder": 0}  # how long each keeps, in s
        self.rights = {"both": "rw", "write only": "w", "read only": "r"}  # by token
        self.points: dict[str, dict[Series, dict[int, dict[str, Any]]]] = {}
        self.asked: list[str] = []
        self.cut_after: int | None = None  # bytes of an answer, then nothing more
        self.away = False
        super().__init__(self._answer)

    def _answer(self, asked: Asked) -> Answer:
        token = asked.headers.get("Authorization", "").removeprefix("Token ")
        status, said = self.answer(asked.path, token, asked.body)
        sent = said.encode() if isinstance(said, str) else json.dumps(said).encode()
        kind = {"Content-Type": "text/csv" if isinstance(said, str) else "json"}
        cut = self.cut_after
        return Answer(status, b"" if status == 204 else sent[:cut], kind, says_length=cut is None)

    # -- what a test does beside the mirror

    def bucket(self, keeps_s: int = 0) -> str:
        name = f"bucket {len(self.buckets)}"
        self.buckets[name] = keeps_s
        return name

    def keep(self, bucket: str, keeps_s: int) -> None:
        self.buckets[bucket] = keeps_s

    def token(self, bucket: str, rights: str) -> str:
        return {"rw": "both", "w": "write only", "r": "read only"}[rights]

    def empty(self, bucket: str, site: str) -> None:
        self.points.pop(bucket, None)

    def write(self, bucket: str, line: str) -> None:
        self._write(bucket, line.encode())

    # -- the server

    def answer(self, path: str, token: str, body: bytes) -> tuple[int, Any]:
        where = urllib.parse.urlsplit(path)
        query = dict(urllib.parse.parse_qsl(where.query))
        rights = self.rights.get(token)
        if self.away:
            return 503, _fault("unavailable", "away")
        if rights is None:
            return 401, _fault("unauthorized", "unauthorized access")
        bucket = query.get("bucket") or query.get("name") or ""
        if where.path == "/api/v2/write":
            if bucket not in self.buckets:
                return 404, _fault("not found", f'bucket "{bucket}" not found')
            if "w" not in rights:
                return 403, _fault("forbidden", "insufficient permissions for write")
            return self._write(bucket, body)
        if where.path == "/api/v2/buckets":
            if "r" not in rights or bucket not in self.buckets:
                return 404, _fault("not found", f'bucket "{bucket}" not found')
            rule = {"type": "expire", "everySeconds": self.buckets[bucket]}
            return 200, {"buckets": [{"name": bucket, "retentionRules": [rule]}]}
        return self._query(json.loads(body)["query"], rights)

    def _write(self, bucket: str, body: bytes) -> tuple[int, Any]:
        if not body:
            return 400, _fault("invalid", "writing requires points")
        found: list[tuple[Series, int, dict[str, Any]]] = []
        for line in _lines(body.decode()):
            try:
                found.append(_parsed(line))
            except ValueError:
                return 400, _fault("invalid", f"unable to parse '{line}': invalid field format")
        kept = self.points.setdefault(bucket, {})
        types = {
            (series[0], name): type(value)
            for series, points in kept.items()
            for fields in points.values()
            for name, value in fields.items()
        }
        oldest = time.time_ns() - self.buckets[bucket] * NS if self.buckets[bucket] else 0
        old: list[Series] = []
        conflict: list[str] = []
        for series, at, fields in found:
            wrong = [
                n for n, v in fields.items() if types.get((series[0], n), type(v)) is not type(v)
            ]
            if at < oldest:
                old.append(series)
            elif wrong:
                conflict.append(f'input field "{wrong[0]}" on measurement "{series[0]}"')
            else:
                kept.setdefault(series, {}).setdefault(at, {}).update(fields)
        begin = "failure writing points to database: partial write: "
        if old:
            keys = ",".join([old[0][0], *("=".join(tag) for tag in old[0][1])])
            return 422, _fault(
                "unprocessable entity",
                f"{begin}dropped {len(old)} points outside retention policy of duration"
                f" {self.buckets[bucket]}s - oldest point {keys} at 2026-02-10T00:00:00Z dropped"
                " because it violates a Retention Policy Lower Bound at 2026-11-28T00:00:00Z"
                f" dropped={len(old)} for database: 9f282d63c7d3a5c0 for retention policy: autogen",
            )
        if conflict:
            return 422, _fault(
                "unprocessable entity",
                f"{begin}field type conflict: {conflict[0]} is type float, already exists as type"
                f" string dropped={len(conflict)}",
            )
        return 204, ""

    def _query(self, flux: str, rights: str) -> tuple[int, Any]:
        self.asked.append(flux)
        bucket = _texts(flux)[0]
        if "r" not in rights or bucket not in self.buckets:
            why = f'failed to initialize execute state: could not find bucket "{bucket}"'
            return 404, _fault("not found", why)
        bounds = re.search(r"range\(start: (\S+), stop: (\S+)\)", flux)
        start, stop = (_ns(text) for text in bounds.groups()) if bounds else (0, 0)
        site = re.search(r'r\.site == ("(?:[^"\\]|\\.)*")', flux)
        asked_site = None if site is None else _texts(site[1])[0]
        measurements = set(re.findall(r'r\._measurement == "(\w+)"', flux))
        boxes = [_texts(text)[0] for text in re.findall(r'r\.brooder == ("(?:[^"\\]|\\.)*")', flux)]
        rows = []
        for (measurement, tags), points in self.points.get(bucket, {}).items():
            named = dict(tags)
            if named.get("site") != asked_site or measurement not in measurements:
                continue
            if boxes and named.get("brooder") not in boxes:
                continue
            for at in sorted(points):
                if start <= at < stop:
                    rows += [(measurement, named, at, n, v) for n, v in points[at].items()]
        if "aggregateWindow" in flux:
            return 200, _counted(rows, flux)
        if "pivot(" in flux:
            return 200, _pivoted(rows)
        rows = [row for row in rows if row[0] == "brooder" or row[3] == "celsius"]
        if "first()" in flux or "last()" in flux:
            times = sorted(row[2] for row in rows if row[0] == "temperature")
            ends = times[:1] if "first()" in flux else times[-1:]
            return 200, _csv([{"_time": at} for at in ends])
        return 200, _csv(
            [
                {"_measurement": m, "_field": n, "_time": at, "_value": v, **tags}
                for m, tags, at, n, v in rows
            ]
        )


def _counted(rows: list[Any], flux: str) -> str:
    fields = dict(re.findall(r'r\._measurement == "(\w+)" and r\._field == "(\w+)"', flux))
    found = Counter(
        (measurement, tags["brooder"], at // DAY_NS * DAY_NS)
        for measurement, tags, at, name, _ in rows
        if fields.get(measurement, name) == name
    )
    return _csv(
        [
            {"_measurement": m, "brooder": box, "_time": day, "_value": number}
            for (m, box, day), number in found.items()
        ]
    )


def _pivoted(rows: list[Any]) -> str:
    found: dict[Any, dict[str, Any]] = {}
    for measurement, tags, at, name, value in rows:
        key = (measurement, tuple(tags.items()), at)
        found.setdefault(key, {"_measurement": measurement, "_time": at, **tags})[name] = value
    return _csv(list(found.values()))


def _csv(rows: list[dict[str, Any]]) -> str:
    """One table for each set of columns. Line ends as Go's writer has them, in texts too."""
    tables: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        tables.setdefault(tuple(sorted(row)), []).append(row)
    kinds = {str: "string", int: "long", float: "double"}
    said = ""
    for number, (columns, members) in enumerate(tables.items()):
        types = [
            "dateTime:RFC3339" if c == "_time" else kinds[type(members[0][c])] for c in columns
        ]
        said += "#group,false,false" + ",false" * len(columns) + "\r\n"
        said += ",".join(["#datatype", "string", "long", *types]) + "\r\n"
        said += "#default,_result" + "," * (len(columns) + 1) + "\r\n"
        said += ",".join(["", "result", "table", *columns]) + "\r\n"
        for row in members:
            cells = [_cell(_at(row[c]) if c == "_time" else str(row[c])) for c in columns]
            said += ",".join(["", "", str(number), *cells]) + "\r\n"
        said += "\r\n"
    return said


def _cell(text: str) -> str:
    if not re.search(r'[",\r\n]|^\s', text):
        return text
    return '"' + text.replace('"', '""').replace("\r", "").replace("\n", "\r\n") + '"'


def _at(at: int) -> str:
    seconds, rest = divmod(at, NS)
    fraction = f".{rest:09d}".rstrip("0").rstrip(".")
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}{fraction}Z"


def _ns(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000) * 1_000_000


def _texts(flux: str) -> list[str]:
    return [re.sub(r"\\(.)", r"\1", found) for found in re.findall(r'"((?:[^"\\]|\\.)*)"', flux)]


def _lines(body: str) -> list[str]:
    """Lines of line protocol: a line end within quotes is none."""
    found = re.findall(r'(?:[^\n"]|"(?:[^"\\]|\\.)*")+', body)
    return [line for line in found if not line.startswith("#")]


def _parsed(line: str) -> tuple[Series, int, dict[str, Any]]:
    whole = _POINT.fullmatch(line)
    if whole is None:
        raise ValueError(line)
    measurement, tags, fields, at = whole.groups()
    named = tuple((k, re.sub(r"\\([,= ])", r"\1", v)) for k, v in _TAG.findall(tags))
    values: dict[str, Any] = {}
    for name, said in _FIELD.findall(fields):
        if said.startswith('"'):
            values[name] = re.sub(r"\\([\"\\])", r"\1", said[1:-1])
        else:
            values[name] = int(said[:-1]) if said.endswith("i") else float(said)
    if not values:
        raise ValueError(line)
    return (measurement, named), int(at), values


def _fault(code: str, message: str) -> dict[str, str]:
    return {"code": code, "message": message}


class Real:
    """A real server. The token must be allowed to make buckets and tokens; what a test has made is
    taken away again."""

    def __init__(self, url: str, org: str, bucket: str, token: str) -> None:
        self.url, self.org, self._token = url.rstrip("/"), org, token
        self._bucket = bucket
        self._made: list[tuple[str, str]] = []
        found = self._call("GET", f"/api/v2/orgs?org={urllib.parse.quote(org)}")["orgs"]
        self._org_id = found[0]["id"]

    def bucket(self, keeps_s: int = 0) -> str:
        name = f"{self._bucket}-test-{time.time_ns()}"
        rules = [{"type": "expire", "everySeconds": keeps_s}] if keeps_s else []
        said = {"orgID": self._org_id, "name": name, "retentionRules": rules}
        self._made.append(("buckets", self._call("POST", "/api/v2/buckets", said)["id"]))
        return name

    def keep(self, bucket: str, keeps_s: int) -> None:
        rules = [{"type": "expire", "everySeconds": keeps_s}]
        path = f"/api/v2/buckets/{self._id(bucket)}"
        self._call("PATCH", path, {"retentionRules": rules})

    def token(self, bucket: str, rights: str) -> str:
        resource = {"type": "buckets", "id": self._id(bucket), "orgID": self._org_id}
        names = {"r": "read", "w": "write"}
        allowed = [{"action": names[right], "resource": resource} for right in rights]
        said = {"orgID": self._org_id, "description": "test", "permissions": allowed}
        made = self._call("POST", "/api/v2/authorizations", said)
        self._made.append(("authorizations", made["id"]))
        return str(made["token"])

    def empty(self, bucket: str, site: str) -> None:
        where = urllib.parse.urlencode({"org": self.org, "bucket": bucket})
        said = {"start": "1970-01-01T00:00:00Z", "stop": "2100-01-01T00:00:00Z"}
        self._call("POST", f"/api/v2/delete?{where}", {**said, "predicate": f'site="{site}"'})

    def write(self, bucket: str, line: str) -> None:
        where = urllib.parse.urlencode({"org": self.org, "bucket": bucket, "precision": "ns"})
        self._call("POST", f"/api/v2/write?{where}", line)

    def close(self) -> None:
        for kind, number in reversed(self._made):
            self._call("DELETE", f"/api/v2/{kind}/{number}")

    def _id(self, bucket: str) -> str:
        where = urllib.parse.urlencode({"org": self.org, "name": bucket})
        return str(self._call("GET", f"/api/v2/buckets?{where}")["buckets"][0]["id"])

    def _call(self, method: str, path: str, said: object = None) -> Any:
        body = said.encode() if isinstance(said, str) else said and json.dumps(said).encode()
        headers = {"Authorization": f"Token {self._token}", "Content-Type": "application/json"}
        request = urllib.request.Request(self.url + path, body or None, headers, method=method)
        try:
            with urllib.request.urlopen(request, timeout=LEAST_S) as answer:
                text = answer.read()
        except urllib.error.HTTPError as error:
            raise AssertionError(f"{method} {path}: {error.read().decode()}") from error
        return json.loads(text) if text else {}
