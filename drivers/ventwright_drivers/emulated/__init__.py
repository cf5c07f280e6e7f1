"""The same parts from the other side of the wire, as strict as the hardware."""
