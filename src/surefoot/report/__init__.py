"""The report: what the journal holds of a unit, compared, as tables, pictures and a page."""
