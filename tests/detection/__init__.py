"""How early prints are noticed, and how often something else is taken for one: see report.py."""
