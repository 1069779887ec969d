"""The forms in which the record is written out: journal lines, CSV, SenML."""
