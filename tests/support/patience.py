"""How long a test waits for what must come. A deadline is there only so that a failed test ends: it
measures nothing, and a machine that is busy with other things must not be taken for a fault."""

LEAST_S = 150.0


def patience_s(within_s: float) -> float:
    """What the test asks for, and never less than a busy machine needs."""
    return max(within_s, LEAST_S)
