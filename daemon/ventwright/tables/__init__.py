"""Exports stored data as CSV and Parquet, and copies the store while it is written."""
