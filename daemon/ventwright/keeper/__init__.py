"""The first process: samples, judges, switches, stores."""
