"""What the trade knows, as tables with their sources and pure functions on them.

`schedules`, `age_limits`, `calendar`: how warm at what age, what is too far off, and when the next
step is. `bird_kinds`, `batch`, `objection`, `entries`: the birds and the ledger. `envelope`,
`birds_heat`, `heat_balance`, `circuit`, `lamp_safety`: will the box hold, and with how many watts.
`chick_skin`: how hot a chick on the probe can be. `space`, `losses`, `moving`, `advice`: what is
worth telling. `provenance`, `bibliography`: where every number comes from."""
