"""Stands for a decoder that dies without a word."""
