"""The daemon beside the printers: measures, judges, extracts, keeps, tells."""
