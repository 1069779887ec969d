"""Boards with the program of deploy/probe and the real service with its built-in broker, at the
service's own pace: nobody waits in vain, nothing comes twice."""

import threading
from contextlib import ExitStack

import pytest
from support.probe_board import board
from support.service import Service

pytestmark = pytest.mark.live

# As after ten minutes of readings: no commit is left that might be made for promptness' sake.
BUSY = """
import functools
import monitor.journal.pacing as allowance
allowance.CommitAllowance = functools.partial(allowance.CommitAllowance, _saved=0.0)
"""
TOPICS = {f"floor {n}": f"brooder/porch/floor{n}" for n in range(3)}
ROUNDS = 12


def test_at_the_pace_that_spares_the_card_boards_keep_their_connection_and_their_rhythm(tmp_path):
    with ExitStack() as stack:
        service = stack.enter_context(Service(tmp_path, probes=TOPICS, commit_s=60, prelude=BUSY))
        probes = []
        for number, topic in enumerate(TOPICS.values()):
            names = {"28-000005e2fdc3": topic}
            there, program = stack.enter_context(
                board(PORT=service.broker_port, TOPICS=names, EVERY_S=2)
            )
            there.number = bytes([number])
            there.hurries = False
            probes.append((program, program.Probe()))
        connections = [0] * len(probes)

        def run(number: int) -> None:
            program, probe = probes[number]
            plain = probe.broker.connect

            def connect() -> None:
                connections[number] += 1
                plain()

            probe.broker.connect = connect
            for _ in range(ROUNDS):
                started = program.time.ticks_ms()
                probe.round()
                probe.rest(started)
            probe.listen(60_000)

        threads = [threading.Thread(target=run, args=(n,)) for n in range(len(probes))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [probe.store.kept for _, probe in probes] == [[], [], []]
        assert connections == [1, 1, 1]
        assert service.stop() == 0
        assert [len(service.temps(f"porch/{name}")) for name in TOPICS] == [ROUNDS] * 3
