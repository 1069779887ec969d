"""How patient the teller is. Read by `notification_plan`; `settings` takes its defaults from
here."""

from dataclasses import dataclass
from datetime import time


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """All common practice; the first four are the grower's to set."""

    # Ten minutes: long enough to dress and walk out, short enough that several repeats fall into
    # the time that a box with a dead lamp takes to its chill limit.
    urgent_repeat_s: float = 600.0
    warning_repeat_s: float = 7200.0
    morning_at: time = time(7, 0)
    evening_at: time = time(20, 0)  # early enough to hang a lamp before bed
    # Who answered from bed may have fallen asleep again (OPC 10000-9 calls this re-alarm time).
    # An hour: long enough to mend a lamp and see the floor come back, so that it seldom disturbs.
    ask_anew_s: float = 3600.0
    gather_s: float = 5.0  # warnings of one cause within this are one message; urgent never waits
    # Probes fall silent as far apart as they publish, often a minute; a silence that took a
    # quarter of an hour to be sure of can wait one more, so that a silent site is one message.
    silence_gather_s: float = 60.0
