"""The running service: wires intake, journal, watch, tell and page together, and ends them.

`run` starts and stops it all; `startup` opens journal and core, `rebuild` brings the state back.
`watch_thread` owns `core` (engine and plan), `commit_queue` what waits for the disk, `writer` the
disk. `broker_side` and `delivery_side` are its two ends; `live_service_api` answers page and
commands. `replay`, `rehearsal` and `offline` run the same core without a service."""
