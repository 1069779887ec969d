"""The record once more in InfluxDB: sending it there, and reading it back."""
