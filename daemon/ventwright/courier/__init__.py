"""The second process: tells, pushes, and never touches hardware."""
