"""`brooder backup` beside the running service, and `brooder restore` after a disaster."""

import threading
from pathlib import Path

import pytest
from support.service import Service, Thermometer, wait_until

pytestmark = pytest.mark.faults


def test_a_copy_taken_in_the_flow_brings_back_all_that_was_acknowledged_before(
    tmp_path: Path,
) -> None:
    copy = tmp_path / "copy.db"
    with Service(tmp_path, commit_s=0.3) as service:
        service.placed()
        with Thermometer(service.broker_port) as probe:
            stop = threading.Event()

            def publish() -> None:
                number = 0
                while not stop.is_set():
                    probe.say(f"{30 + number / 1000:.3f}")
                    number += 1
                    stop.wait(0.02)

            publisher = threading.Thread(target=publish)
            publisher.start()
            try:
                wait_until(lambda: len(probe.acknowledged) > 30, 60)
                before = {float(v) for v in probe.acknowledged}
                done = service.command("backup", str(copy))
                assert done.returncode == 0, done.stderr
                refused = service.command("restore", str(copy))
                assert refused.returncode == 2, "a running service is not overwritten"
                assert "stop it first" in refused.stderr
            finally:
                stop.set()
                publisher.join()
            probe.wait_acknowledged()
        service.kill()
        for part in service.state.glob("journal.db*"):
            part.unlink()
        done = service.command("restore", str(copy))
        assert done.returncode == 0, done.stderr
        service.start()
        assert before <= set(service.temps())
        [placed] = service.ask("ledger")["entries"]
        assert placed["count"] == 50
        with Thermometer(service.broker_port, client_id="another") as probe:
            probe.say(25.5)
            probe.wait_acknowledged()
        assert 25.5 in service.temps(), "the restored journal goes on"
        assert service.stop() == 0
