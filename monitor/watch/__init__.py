"""Judges readings: thermal estimate, alarm table, life cycle. Pure: time comes with the event."""
