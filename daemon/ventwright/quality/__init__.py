"""Says of every reading whether it can be judged, or why not."""
