"""The message of `brooder contacts try`."""

from monitor.tell.wording.words import Voice, Words, compose


def trial(voice: Voice, contact: str, at: float, *, linked: bool = False) -> Words:
    """Shows that this contact is reached, and woken: it is sent as an urgent alarm is."""
    boxes = voice.site.brooders
    tap = "Tap the link below as you would at night. " if linked else ""
    return compose(
        f"{voice.where(boxes[0].name if boxes else None)}: trial alarm",
        f"Nothing is wrong. {tap}An urgent alarm comes as this does, as loud or as quiet.",
        f'Contact "{contact}", sent at {voice.clock(at, at)}. Try it with the phone set for the '
        "night: an alarm that it silences wakes nobody.",
    )
