"""Looking back on a batch: what the birds went through. Reads the journal and changes nothing.

`record` gathers everything known of one box and span; `exposure`, `sheet`, `loss_review`, `verdict`
work on it; `scenes` and `chart` draw it, `report` writes it for paper. The service never imports
this folder: children do."""
