"""Requests to a running keeper over its Unix socket."""
