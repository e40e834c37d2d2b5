"""Hostile input: real files changed at random, and inputs built to do harm."""
