"""Answers what-if questions about flows, filters and waiting times; knows no store."""
