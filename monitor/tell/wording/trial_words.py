"""The message of `brooder contacts try`."""

from monitor.tell.wording.words import Voice, Words, compose


def trial(voice: Voice, contact: str, at: float) -> Words:
    """Shows that this contact is reached."""
    return compose(
        f"{voice.where(None)}: a trial message",
        f"If {contact} reads this, alarms get through. Sent at {voice.clock(at, at)}.",
        "Nothing is wrong. Check that your phone sounds for it at night, in silent mode too.",
    )
