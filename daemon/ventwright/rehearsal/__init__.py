"""The real daemon on emulated parts in a simulated room."""
