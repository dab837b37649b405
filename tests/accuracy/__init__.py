"""Accuracy on pictures with exact truth, on request; nothing here runs in the test suite."""
