"""Plots for reports; needs the analysis extra, and knows no store."""
