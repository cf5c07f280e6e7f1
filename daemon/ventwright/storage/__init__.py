"""The store: what is kept, how, and how it is read back."""
