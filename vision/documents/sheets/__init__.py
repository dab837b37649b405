"""Printed sheets: the setting-out plan of a job, and its marks true to size."""
