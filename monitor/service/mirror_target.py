"""Where the mirror goes and what of the journal goes there, from the configuration. Called by
`copying` and by the commands that ask the mirror."""

from monitor.journal.mirror.influx_server import Server
from monitor.journal.mirror.state import Scope, target_of
from monitor.settings import Settings
from monitor.settings.file_model import InfluxSettings, SiteSettings


def server_of(influx: InfluxSettings) -> Server:
    """A connection to the bucket of `[influx]`."""
    return Server(influx.url, influx.token.get_secret_value(), influx.org, influx.bucket)


def scope_of(settings: Settings, influx: InfluxSettings) -> Scope:
    """What this service sends. The site's own probes are heard by every service of a site: the one
    that follows the first brooder of the configuration sends what they say."""
    site = settings.site
    names = frozenset(box.name for box in site.brooders)
    first = settings.file.brooders[0].name
    return Scope(
        target=target_of(influx.url, influx.org, influx.bucket, site.name),
        site=site.name,
        boxes=None if settings.pattern is None else names,
        site_probes=settings.pattern is None or first in names,
    )


def objection(settings: Settings) -> str | None:
    """Why nothing is sent, whatever the server says."""
    default = SiteSettings.model_fields["name"].default
    if settings.site.name != default:
        return None
    return (
        f'nothing is sent: [site] name is still "{default}", and the records of another board left '
        "at that name would be mixed with these in the bucket; give this site a name of its own"
    )
