"""What the floor of a box is doing, why, and what it will do tonight. Pure: time is passed in.

The door is `estimate.Estimate`: fed with readings, asked for a diagnosis and for the coming night.
The records that come out of it are in `diagnosis`. Everything else is behind that door."""
