"""What is told of days and months: from the store, not from the running keeper."""
