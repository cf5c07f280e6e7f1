"""The commands of the console script, one file each."""
