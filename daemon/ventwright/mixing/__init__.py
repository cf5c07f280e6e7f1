"""The well-mixed room: mass balance, decay fits, flows; knows no store and no part."""
