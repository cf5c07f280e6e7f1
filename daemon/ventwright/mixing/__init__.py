"""The well-mixed room: mass balance, decay fits, flows; plain formulas that know no store and no part."""
