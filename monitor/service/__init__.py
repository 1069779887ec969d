"""The running service: wires intake, journal, watch and tell together, and ends them.

`run` starts and stops it all; `startup` opens journal and core, `rebuild` brings the state back.
`watch_thread` runs `core` (engine and plan), and takes what others bring by `watch_calls`;
`commit_queue` holds what waits for the disk, `writer` has the disk. `broker_side` and
`delivery_side` are the two ends; `service_api` answers the page, `control_requests`
commands. `replay`, `rehearsal` and `offline` run the same core without a service."""
