"""From the air to readings: brokers, payloads, plausibility.

`payload` (with `senml`, `plausible`) turns bytes into readings and reasons; `router` knows whose
topic it is; `session` is the way to a broker of the site, `builtin` (with `hardened`, `rights`) is
a broker of our own, both fill an `inbox` and fulfil `link.BrokerLink`; `redelivered` keeps anything
from counting twice; `refused`, `unclaimed` (with `guessing`, `listener`) remember the rest; `wires`
and `forward` are `brooder read-wires`. Import the modules: amqtt is loaded only where used."""
