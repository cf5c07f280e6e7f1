"""Decides when the extractor runs."""
